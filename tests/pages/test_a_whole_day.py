"""A real browser walks a whole day on the sample fleet, which is typed as commands on a second ledger, too.

At the end both ledgers say the same, entry by entry: who, when, what, and every fact. Skipped aloud where no
Chromium is installed.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from fleet.facts.holes import Side
from fleet.ledger.ledger import Ledger
from fleet.rules.clearance import Door
from fleet.tables.snapshot import read_policy
from planner.bench.orders.book import find_order
from planner.bench.today import Step, next_visits
from planner.demo.shared import COUNTER, HEAD_TECHNICIAN, MANAGER, SAMPLE, SECOND, TECHNICIAN, Story
from planner.demo.story import issue_orders, make_plan, prepare_the_season, take_inventory, work_the_bench
from planner.plan.values import Plan
from tests.chromium import chromium
from tests.counter.command import Command
from tests.pages.browser import PIN, entries_of
from tests.pages.served import served_in_a_thread
from tests.pages.test_in_a_browser import WIDTHS, checked, scan, sign_in, tap_all_rings

__all__ = ["chromium"]

pytestmark = pytest.mark.long
MORNING = datetime(2025, 12, 28, 7, 0, tzinfo=UTC)
NO = re.compile("^(REFUSED|SET FIRST)$")
OUTS, BACKS, LOOKED_AT = 60, 50, 40
SIGNERS = (COUNTER, HEAD_TECHNICIAN, MANAGER, SECOND, TECHNICIAN)


class Ready:
    """The sample fleet before its season: the ledger, and which boot is planned for which pair."""

    def __init__(self, folder: Path) -> None:
        self.ledger = folder / "mountbook.db"
        inventory = take_inventory(folder, self.ledger, print, SAMPLE)
        with Ledger.open(self.ledger) as ledger:
            plan, planned = make_plan(folder, ledger, print)
            story = Story(SAMPLE, folder, ledger, print, plan, [inventory, planned])
            issue_orders(story)
            work_the_bench(story)
            prepare_the_season(story)
        self.plan: Plan = plan


@pytest.fixture(scope="module")
def ready(tmp_path_factory: pytest.TempPathFactory) -> Ready:
    return Ready(tmp_path_factory.mktemp("sample"))


class TwoLedgers:
    """A tab on the pages of one ledger and a terminal at a copy of it. One clock for both: it moves on by a
    minute with each thing that is done on the page; what is typed happens at that same moment.
    """

    def __init__(self, served: Path, typed: Path, command: Command, patch: pytest.MonkeyPatch) -> None:
        self.served, self.typed, self.now = served, typed, MORNING
        self._command, self._patch = command, patch
        with Ledger.open(served) as ledger:
            self.head = ledger.head.seq
        self.page: Any = None

    def tick(self) -> None:
        self.now += timedelta(minutes=1)

    def typed_now(self, *words: str, by: str, refused: bool = False) -> str:
        self._patch.setenv("MOUNTBOOK_BY", by)
        self._command._now = self.now - timedelta(minutes=1)
        answer = self._command(*words)
        assert bool(answer.returncode) is refused, answer.stdout
        return answer.stdout

    def say_the_same(self) -> list[str]:
        """The kinds of the day's entries, after a look at each of them on both ledgers."""
        with Ledger.open(self.served) as ours, Ledger.open(self.typed) as theirs:
            mine, typed = entries_of(ours, self.head), entries_of(theirs, self.head)
        for one, other in zip(mine, typed, strict=True):
            assert one == other
        return [what for _, _, _, _, what, _, _ in mine]


@pytest.fixture(params=WIDTHS)
def both(
    request: pytest.FixtureRequest,
    ready: Ready,
    chromium: Any,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> Iterator[TwoLedgers]:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))
    served, typed = tmp_path / "served.db", tmp_path / "typed.db"
    for copy in (served, typed):
        shutil.copyfile(ready.ledger, copy)
    two = TwoLedgers(served, typed, Command(typed, monkeypatch, capsys), monkeypatch)
    with served_in_a_thread(served, now=lambda: two.now, signers=SIGNERS) as address:
        context = chromium.new_context(base_url=address, viewport={"width": request.param, "height": 900})
        two.page = context.new_page()
        faults: list[str] = []
        two.page.on("pageerror", lambda fault: faults.append(str(fault)))
        yield two
        context.close()
        assert faults == []


def sets_that_go(two: TwoLedgers, plan: Plan) -> list[tuple[str, str]]:
    """The pairs that go out today with the boots they are set for."""
    with Ledger.open(two.served) as ledger:
        connection = ledger.connection
        return [
            (each.pair, each.boot)
            for each in plan.sets
            if not Door(connection, at=two.now, zone=ledger.zone, boot=each.boot).ask(each.pair).reasons
        ]


def answer(page: Any, word: str, tag: str) -> None:
    """Wait for the large answer: its word, and the pair."""
    from playwright.sync_api import Error as BrowserError

    found = page.locator("section.answer").filter(has=page.locator(".word", has_text=re.compile(f"^{word}$")))
    try:
        found.locator(".tag", has_text=re.compile(rf"^{re.escape(tag)}\b")).first.wait_for(timeout=10_000)
    except BrowserError as fault:
        said = page.locator("section.answer").first.inner_text()
        raise AssertionError(f"not {word} {tag} but: {said}") from fault


def go_out(two: TwoLedgers, pair: str, boot: str) -> None:
    two.tick()
    scan(two.page, pair, "NOT OUT YET")
    two.page.keyboard.type(f"{boot}\n")
    answer(two.page, "OUT", pair)
    two.typed_now("out", pair, "--boot", boot, "--due", "2025-12-29", by=COUNTER)


def come_back(two: TwoLedgers, pair: str, said: str = "") -> None:
    two.tick()
    two.page.keyboard.type(f"{pair} {said}\n" if said else f"{pair}\n")
    answer(two.page, "BACK", pair)
    two.typed_now("back", pair, *(("--said", said) if said else ()), by=COUNTER)


def undone(two: TwoLedgers, pair: str) -> None:
    two.tick()
    two.page.keyboard.type("undo\n")
    answer(two.page, "UNDONE", pair)
    two.typed_now("undo", pair, by=COUNTER)


def refused(two: TwoLedgers, *codes: str, words: str | re.Pattern[str], typed: tuple[str, ...] = ()) -> None:
    """Scan what is refused; the same typed is refused too, and nothing is entered."""
    two.tick()
    for code in codes:
        two.page.keyboard.type(f"{code}\n")
    two.page.get_by_role("region", name="Answer").get_by_text(words).first.wait_for()
    if typed:
        two.typed_now(*typed, by=COUNTER, refused=True)


def look(two: TwoLedgers, pair: str, *, word: str = "", ring: str = "", found: str = "") -> None:
    """Tap every screw of a pair: none turned, but the one named."""
    two.tick()
    page = two.page
    page.goto(f"/evening/pair?scan={pair}")
    list_id = page.locator('input[name="list"]').first.get_attribute("value")
    remark = ""
    if ring:
        page.get_by_text(word, exact=True).click()
        named = page.locator(f'[data-ring="{ring}"]')
        named.click()
        remark = named.get_attribute("aria-label")
        page.get_by_text("not moved", exact=True).first.click()
    tap_all_rings(page)
    if found and not found.endswith("could-not-reach"):
        page.get_by_role("button", name="HOLD").click()
        answer(page, "HOLD", pair)
    else:
        page.get_by_role("button", name=re.compile("^(PASS|UNFINISHED)$")).click()
        answer(page, "BACK" if found else "PASSED", pair)
    more = ("--found", found, "--remark", remark) if found else ()
    two.typed_now(
        *("recheck", "record", pair, "--all", "not-moved", "--list", list_id, *more), by=HEAD_TECHNICIAN
    )


def test_a_morning_and_an_evening(both: TwoLedgers, ready: Ready) -> None:
    """60 outs and 50 backs with mistakes, then 40 looks: rings, holds, and the rest by one signature."""
    page = both.page
    going = sets_that_go(both, ready.plan)
    assert len(going) > OUTS, "the sample fleet has enough sets that go"
    spare, going = going[OUTS], going[:OUTS]
    with Ledger.open(both.served) as ledger:
        held = ledger.connection.execute("SELECT tag FROM standing WHERE place = 'hold'").fetchone()[0]
    sign_in(page, COUNTER, "/counter")
    page.get_by_role("button", name="OUT", exact=True).click()
    page.get_by_text("now scanning OUT").first.wait_for()
    page.locator(".days button").nth(2).click()
    page.locator('.days button[aria-pressed="true"]').nth(0).wait_for()
    for number, (pair, boot) in enumerate(going):
        match number:
            case 5:
                other = next(b for _, b in going if b != boot)
                refused(both, pair, other, words=NO, typed=("out", pair, "--boot", other))
            case 10:
                refused(both, f"{pair} A", f"{spare[0]} B", words="mixed")
            case 20:
                refused(both, "P-99X", words=NO, typed=("out", "P-99X"))
            case 25:
                refused(both, held, words=NO, typed=("out", held, "--boot", boot))  # before its boot
            case 30:
                refused(both, going[0][0], words=NO, typed=("out", going[0][0], "--boot", going[0][1]))
        go_out(both, pair, boot)
        if number == 15:
            undone(both, pair)
            go_out(both, pair, boot)
    page.get_by_role("button", name="BACK", exact=True).click()
    page.get_by_text("now scanning BACK").first.wait_for()
    back = [pair for pair, _ in going[:BACKS]]
    for number, pair in enumerate(back):
        come_back(both, pair, {7: "felt loose", 8: "fell hard on the home run"}.get(number, ""))
        if number == 3:
            page.keyboard.type(f"{pair}\n")  # the scanner beeps twice
        if number == 12:
            undone(both, pair)
            come_back(both, pair)
    come_back(both, spare[0])  # nobody had scanned it out
    evening(both, back)
    entered = both.say_the_same()
    assert entered.count("pair out") == OUTS + 1
    assert entered.count("pair back") == BACKS + 2
    assert entered.count("scan undone") == 2
    assert entered.count("pair looked at") == LOOKED_AT


def evening(two: TwoLedgers, back: list[str]) -> None:
    page = two.page
    sign_in(page, HEAD_TECHNICIAN, "/evening")
    looked_at = back[:LOOKED_AT]
    for number, pair in enumerate(looked_at[:10]):
        match number:
            case 2:
                look(two, pair, word="turned ½", ring="ring B toe 1", found="B toe=turned")
            case 5:
                look(two, pair, word="spins", ring="ring A heel 2", found="A heel=spins")
            case 8:
                look(two, pair, word="could not reach", ring="ring A toe 1", found="A toe=could-not-reach")
            case _:
                look(two, pair)
    two.tick()
    page.goto("/evening")
    list_id = page.locator('input[name="list"]').first.get_attribute("value")
    page.get_by_text("Rest of this list looked at").click()
    left_out = []
    for box in page.locator('input[name^="but "]').all():
        tag = box.get_attribute("name").removeprefix("but ")
        if tag not in looked_at[10:]:
            box.check()
            left_out += ["--but", tag]
    page.get_by_role("button", name=re.compile("All others passed")).click()
    page.get_by_text(f"{LOOKED_AT - 10} PASSED").wait_for()
    two.typed_now("recheck", "enter", list_id, *left_out, by=HEAD_TECHNICIAN)


def test_an_order_from_the_first_measure_to_done(both: TwoLedgers) -> None:
    """What was read is typed, judged, kept over a reload, and done with glue, a measured hole and a second
    person.
    """
    page = both.page
    name = an_open_order(both)
    sign_in(page, TECHNICIAN, "/bench")
    both.tick()
    page.goto(f"/bench/order?name={name}")
    fields = page.locator("form[data-keeps] input[name^=read]")
    assert fields.count() > 3
    for field in fields.all():
        field.fill(as_expected(field))
    page.get_by_role("button", name="Check what was read").click()
    page.locator(".judged").first.wait_for()
    assert page.locator(".judged.no").all_inner_texts() == []
    kept = [field.input_value() for field in fields.all()]
    page.goto("/today")
    page.goto(f"/bench/order?name={name}")
    assert [field.input_value() for field in fields.all()] == kept, "what was read waits on the tablet"
    page.get_by_text("typed here and not entered yet").wait_for()
    checked(page, widths=(page.viewport_size["width"],))
    page.locator("summary", has_text="New holes that were measured").click()
    hole, x, y = a_planned_hole(both, name)
    page.locator(f'input[name="x{hole}"]').fill(x)
    page.locator(f'input[name="y{hole}"]').fill(y)
    page.locator('select[name="seen_by"]').select_option(SECOND)
    page.locator('input[name="seen_pin"]').fill(PIN)
    if glued := page.locator('select[name="glue"]').count():
        page.locator('select[name="glue"]').select_option("wood_glue")
    both.tick()
    page.get_by_role("button", name="Done as the sheet says").click()
    page.locator("section.answer .word").wait_for()
    assert page.locator("section.answer .word").inner_text() == "ENTERED", page.locator("main").inner_text()
    assert page.evaluate("() => Object.keys(localStorage).filter((key) => key.includes('typed'))") == []
    with_glue = ("--glue", "wood_glue") if glued else ()
    both.typed_now(
        *("order", "done", name, "--hole", f"{hole}={x},{y}", "--seen-by", SECOND, *with_glue), by=TECHNICIAN
    )
    assert "order done" in both.say_the_same()


def an_open_order(two: TwoLedgers) -> str:
    """An order that drills, and plugs nothing first."""
    with Ledger.open(two.served) as ledger:
        connection = ledger.connection
        visits = next_visits(connection, policy=read_policy(connection), now=two.now, zone=ledger.zone)
        return next(
            visit.order
            for visit in visits
            if visit.step is Step.WORK
            and any(
                hole.do == "drill"
                for hole in find_order(connection, visit.order).planned.way.skis[Side.A].holes
            )
        )


def a_planned_hole(two: TwoLedgers, name: str) -> tuple[str, str, str]:
    """A hole that the order drills, as the sheet names it, measured where it was planned (mm)."""
    with Ledger.open(two.served) as ledger:
        order = find_order(ledger.connection, name)
    hole = next(each for each in order.planned.way.skis[Side.A].holes if each.do == "drill")
    label = order.labels[Side.A, hole.piece, hole.number]
    return f"A{label}", f"{hole.x_um / 1000:g}", f"{hole.y_um / 1000:g}"


def as_expected(field: Any) -> str:
    """What somebody types who reads exactly what the sheet expects, from the words at the field."""
    said: str = field.locator("xpath=..").locator(".asked").inner_text().partition(": ")[2].strip()
    return re.sub(r"^under (\d+) mm", lambda found: f"{int(found[1]) - 0.5:g} mm", said)


def messy(file: Path) -> Path:
    """A workbook as shops keep it: a title, blank rows, headers and words of its own, a total."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Skis neu"
    for row in (
        ("Our new skis, December",),
        (),
        ("Ski Nr", "Model", "Kind", "Length cm", "Waist mm", "Construction", "Farbe"),
        ("N-1", "Invented one", "alpine", 170, 80, "wood/ti", "red"),
        ("N-2", " Invented one ", "alpine", "176 cm", "80", "wood/ti", "red"),
        (),
        ("N-3", "Invented two", "alpine", 180, 95.5, "foamy", ""),
        ("N-4", "Invented two", "alpine", 180, 95.5, "foamy", None),
        ("Total", None, None, None, None, None, 4),
    ):
        sheet.append(row)
    book.save(file)
    return file


def test_an_import_of_a_messy_workbook(both: TwoLedgers, tmp_path: Path) -> None:
    """Each question is answered on the page; the same file with the same answers is typed."""
    page = both.page
    file = messy(tmp_path / "new skis.xlsx")
    sign_in(page, MANAGER, "/inventory")
    page.locator('input[type="file"]').set_input_files(file)
    page.get_by_role("button", name="Look at it").click()
    page.get_by_role("heading", name="What would be taken in").wait_for()
    checked(page, widths=(page.viewport_size["width"],))
    answers = answered_on(page, {"wood/ti": "metal", "foamy": "no metal"})
    assert len(answers) >= 2
    both.tick()
    page.get_by_role("button", name="Take in what is certain").click()
    page.get_by_text("TAKEN IN").wait_for()
    typed = tmp_path / "answers.txt"
    typed.write_text("".join(f"{identity} {said}\n" for identity, said in answers.items()))
    both.typed_now("import", str(file), "--answers", str(typed), "--apply", by=MANAGER)
    assert both.say_the_same().count("pair recorded") == 4


def answered_on(page: Any, words: dict[str, str]) -> dict[str, str]:
    """Answer what the page asks, by typed words or its first guess; question -> answer."""
    given: dict[str, str] = {}
    while (asked := page.locator("fieldset.asks")).count():
        one, before = asked.first, len(given)
        identity = one.locator('input[name^="question"]').get_attribute("value")
        text = one.inner_text()
        known: Callable[[], str] = lambda text=text: next((to for of, to in words.items() if of in text), "")  # noqa: E731
        if known():
            one.locator('input[name^="typed"]').fill(known())
            given[identity] = known()
        else:
            guess = one.locator("label.choice").first
            given[identity] = guess.locator("b").inner_text()
            guess.locator("input").check()
        assert len(given) == before + 1, f"asked twice: {text}"
        page.get_by_role("button", name="Take these answers").click()
        page.get_by_text(f"Answered so far: {len(given)}").wait_for()
    return given
