"""The counter's page: the same day typed as commands gives the same entries, each answer said large."""

from __future__ import annotations

import re
import shutil
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from fleet.base.entries import utc_text
from fleet.facts.standing import Place
from fleet.ledger.ledger import Ledger
from fleet.rules.counter import undo
from planner.pages.web import ServedLedger
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, ZONE, Shop
from tests.pages.browser import PagesBrowser, entries_of, words_of

DESK = ("--by", "Desk 1")
BY_NELL = ("--by", NELL)
A_DAY: tuple[tuple[dict[str, str] | str, tuple[str, ...]], ...] = (
    ({"line": "out"}, ()),
    ({"line": "due 2026-12-30"}, ()),
    ({"scan": "P-1"}, ()),
    ({"scan": "b-305"}, ("out", "P-1", "--boot", "B-305", "--due", "2026-12-30", *DESK)),
    ({"day": "2026-12-28"}, ()),
    ({"scan": "P-2 A"}, ()),
    ({"scan": "P-2 B"}, ()),
    ({"own_mm": "305", "own_type": "alpine A"}, (
        "out", "P-2", "--own-boot", "305", "--sole-type", "alpine A", "--due", "2026-12-28", *DESK,
    )),
    ({"scan": "P-3"}, ()),
    ({"scan": "B-310"}, ("out", "P-3", "--boot", "B-310", "--due", "2026-12-28", *DESK)),
    ("sign in", ()),
    ({"line": "set P-3 B-310"}, ("out", "P-3", "--boot", "B-310", "--set", "--due", "2026-12-28", *BY_NELL)),
    ({"line": "undo"}, ("undo", "P-3", *BY_NELL)),
    ({"line": "back"}, ()),
    ({"scan": "P-1", "said": "felt loose"}, ("back", "P-1", "--said", "felt loose", *BY_NELL)),
    ({"scan": "P-2 B"}, ()),
    ({"scan": "P-2 A"}, ("back", "P-2", *BY_NELL)),
    ({"scan": "P-2"}, ("back", "P-2", *BY_NELL)),
    ({"scan": "hold P-4 toe wobbles"}, ("hold", "P-4", "--why", "toe wobbles", *BY_NELL)),
    ({"scan": "P-99"}, ("back", "P-99", *BY_NELL)),
)  # fmt: skip


def test_a_day_on_the_page_is_the_same_day_typed_as_commands(
    furnished: tuple[Path, Shop],
    browser: PagesBrowser,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    shop, typed = browser.shop, tmp_path / "typed.db"
    shop.policy("out_without_boot", "no")
    shutil.copyfile(shop.ledger.path, typed)
    head = shop.ledger.head.seq
    command = Command(typed, monkeypatch, capsys)
    for said, words in A_DAY:
        if isinstance(said, str):
            browser.sign_in(NELL)
        else:
            browser.post("/counter/scan", **said)
        if words:
            command._now = shop.now - timedelta(minutes=1)
            command(*words)
    with Ledger.open(typed) as other:
        entries = entries_of(other, head)
        assert entries_of(shop.ledger, head) == entries
    assert [entry[4] for entry in entries] == [
        "pair out",
        "pair out",
        "binding set",
        "pair out",
        "scan undone",
        "pair back",
        "pair back",
        "pair held",
    ]


@pytest.fixture
def strict(browser: PagesBrowser) -> PagesBrowser:
    """A counter of a shop that lets nothing out without its boot."""
    browser.shop.policy("out_without_boot", "no")
    browser.post("/counter/scan", line="out")
    return browser


def scan(browser: PagesBrowser, *scans: str) -> str:
    return [words_of(browser.post("/counter/scan", scan=each)) for each in scans][-1]


def test_nothing_is_out_before_the_page_says_out(strict: PagesBrowser) -> None:
    assert "Nothing is out before this says OUT" in words_of(strict.beside().get("/counter"))
    assert "NOT OUT YET P-1 waits for its boot" in scan(strict, "P-1")
    assert strict.shop.place("P-1") is Place.READY
    assert "out 1 · back 0" in scan(strict, "B-305")
    assert "OUT P-1 boot B-305 fits" in words_of(strict.get("/counter"))


def test_a_setting_is_asked_for_and_confirmed_by_whom_is_signed_in(strict: PagesBrowser) -> None:
    page = scan(strict, "P-3", "B-310")
    assert "SET FIRST P-3 + B-310 set for sole 305 mm → boot needs 310 mm" in page
    assert "Sign in to say that it is set" in page
    strict.sign_in(NELL)
    html = strict.get("/counter")
    assert f"Set and seen on both skis, boot in: {NELL}" in words_of(html)
    [line] = re.findall(r'name="line" value="(set [^"]*)"', html)
    assert "OUT P-3 boot B-310 fits; its binding was set for 310 mm" in words_of(
        strict.post("/counter/scan", line=line)
    )
    assert strict.shop.standing("P-3").setting.bsl_um == 310_000


def test_the_own_boot_of_a_customer_is_set_for_too(strict: PagesBrowser) -> None:
    scan(strict, "P-3")
    html = strict.post("/counter/scan", own_mm="310", own_type="alpine A")
    strict.sign_in(NELL)
    html = strict.get("/counter")
    [line] = re.findall(r'name="line" value="(set [^"]*)"', html)
    assert line == "set P-3 own 310 alpine A"
    assert "OUT P-3" in words_of(strict.post("/counter/scan", line=line))


def test_a_refusal_says_why_and_what_is_ready_instead(strict: PagesBrowser) -> None:
    scan(strict, "hold P-1 toe wobbles")
    page = scan(strict, "P-1")
    assert "REFUSED P-1 P-1 cannot go out: " in page
    assert strict.status == 409
    assert "Ready now instead pair rack length set for sole P-2" in page
    assert "172 cm 305 mm" in page


def test_two_pairs_mixed_are_caught_by_the_codes_of_their_skis(strict: PagesBrowser) -> None:
    assert "NOT OUT YET P-1 A seen, now ski B" in scan(strict, "P-1 A")
    assert "REFUSED P-1 A and P-2 B are of two pairs: mixed" in scan(strict, "P-2 B")
    strict.post("/counter/scan", line="back")
    assert "NOT BACK YET P-1 A seen, now ski B" in scan(strict, "P-1 A")


def test_the_own_boot_is_asked_for_once_the_pair_is_whole(strict: PagesBrowser) -> None:
    shown = []
    for line in ("out", "P-1 A", "P-1 B"):
        strict.post("/counter/scan", line=line)
        shown.append('name="own_mm"' in strict.get("/counter"))
    assert shown == [False, False, True]


def test_a_desk_undoes_its_own_newest_scan_and_no_other_s(browser: PagesBrowser) -> None:
    other = browser.beside()
    other.get("/counter")
    for desk, tag in ((browser, "P-1"), (other, "P-2")):
        desk.post("/counter/scan", line="out")
        desk.post("/counter/scan", scan=tag)
    assert "UNDONE P-1 undone: pair out" in words_of(browser.post("/counter/scan", line="undo"))
    assert browser.shop.place("P-2") is Place.OUT
    assert "Desk 1 has no scan to undo" in words_of(browser.post("/counter/scan", line="undo"))


def test_a_lost_answer_is_said_again_from_the_ledger(browser: PagesBrowser) -> None:
    browser.post("/counter/scan", line="out")
    for _ in range(2):
        page = words_of(browser.post("/counter/scan", tap="0123456789abcdef", scan="P-1"))
    assert "OUT P-1 this was entered before, and is not counted twice" in page
    assert "out 1" in page


def test_a_double_beep_is_said_as_what_it_was(browser: PagesBrowser) -> None:
    """Within two seconds, each beep with an id of its own; then the same id again."""
    browser.post("/counter/scan", line="out")
    head = browser.shop.ledger.head.seq
    for tap in ("0123456789abcdef", "0123456789abcdeg", "0123456789abcdef"):
        browser.shop.now -= timedelta(minutes=1)
        page = words_of(browser.post("/counter/scan", tap=tap, scan="P-1"))
        assert "NOT OUT YET" not in page
        assert " OUT P-1 " in page
    assert browser.shop.ledger.head.seq == head + 1


def test_the_due_day_is_chosen_by_a_button_and_holds_for_the_next_scans(browser: PagesBrowser) -> None:
    browser.post("/counter/scan", line="out")
    html = browser.get("/counter")
    days = re.findall(r'value="(due [^"]*)"[^>]*aria-pressed="(\w+)">\s*([^<]*?)\s*<', html)
    assert days == [
        ("due off", "true", "no day"),
        ("due 2026-12-27", "false", "today"),
        ("due 2026-12-28", "false", "Mon 28"),
        ("due 2026-12-29", "false", "Tue 29"),
        ("due 2026-12-30", "false", "Wed 30"),
    ]
    browser.post("/counter/scan", line="due 2026-12-31")  # no button of its own: with its month
    assert "<button>Thu 31 Dec</button>" in browser.get("/counter")
    browser.post("/counter/scan", line="due 2026-12-29")
    for tag in ("P-1", "P-2"):
        browser.post("/counter/scan", scan=tag)
        assert browser.shop.standing(tag).out_due == "2026-12-29"


def test_each_desk_has_its_own_counter(browser: PagesBrowser) -> None:
    other = browser.beside()
    other.get("/counter")
    browser.post("/counter/scan", line="back")
    browser.post("/counter/scan", scan="P-1")
    assert "back 1" in words_of(browser.get("/counter"))
    assert "back 0" in words_of(other.get("/counter"))


def test_a_restore_under_the_running_pages_is_seen(browser: PagesBrowser, tmp_path: Path) -> None:
    browser.post("/counter/scan", line="out")
    copy = tmp_path / "copy.db"
    shutil.copyfile(browser.served.path, copy)
    browser.post("/counter/scan", scan="P-1")
    copy.replace(browser.served.path)
    assert "OUT P-1" in words_of(browser.post("/counter/scan", scan="P-1")), "it is in again in that copy"
    with Ledger.open(browser.served.path) as ledger:
        assert [entry.by for entry in ledger.entries()][-1] == "Desk 1"


def started_anew(browser: PagesBrowser) -> PagesBrowser:
    """The same desk's page, at the pages of a server that was started again."""
    browser.served.close()
    served = ServedLedger(browser.served.path, now=lambda: browser.shop.now)
    later = PagesBrowser(browser.shop, served, browser.desks, browser.pins)
    later.cookies = browser.cookies
    return later


def test_the_count_is_that_of_the_ledger_for_this_desk_and_day(browser: PagesBrowser) -> None:
    """It outlives the server; what is undone, here or at the terminal, is not counted; each desk has its own,
    and each day begins with none.
    """
    shop, counted = (
        browser.shop,
        lambda desk: re.findall(r"out \d+ · back \d+", words_of(desk.get("/counter"))),
    )
    for line in ("back", "P-1", "P-2", "P-3", "out"):
        browser.post("/counter/scan", line=line)
    browser = started_anew(browser)
    assert "at this desk today: out 0 · back 3" in words_of(browser.get("/counter"))
    for line in ("P-4", "undo", "back", "undo"):
        browser.post("/counter/scan", line=line)
    assert counted(browser) == ["out 0 · back 2"]
    with shop.desk(JORY) as desk:
        undo(desk, "P-1")
    assert counted(browser) == ["out 0 · back 1"]
    other = browser.beside()
    other.get("/counter")
    for line in ("back", "P-3", "P-1"):
        other.post("/counter/scan", line=line)
    assert (counted(browser), counted(other)) == (["out 0 · back 1"], ["out 0 · back 2"])
    midnight = datetime(2026, 12, 28, tzinfo=ZoneInfo(ZONE))
    shop.now = midnight - timedelta(minutes=2)
    other.post("/counter/scan", line="P-4")
    assert counted(other) == ["out 0 · back 3"]
    shop.now = midnight
    assert counted(browser) == counted(other) == ["out 0 · back 0"]
    other.post("/counter/scan", line="P-2")
    assert counted(other) == counted(started_anew(other)) == ["out 0 · back 1"]


def fields_of_the_scan(html: str) -> dict[str, str]:
    """What the page sends with a scan beside it."""
    form = re.search(r'<form[^>]*class="scan".*?</form>', html, re.S)
    assert form
    hidden = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', form[0]))
    return {name: value for name, value in hidden.items() if name != "tap"}


def test_a_page_that_outlived_its_server_means_what_it_shows(browser: PagesBrowser) -> None:
    """Else a scan that comes BACK would be one that goes OUT, and a due day that the page shows be lost."""
    browser.post("/counter/scan", line="out")
    page = browser.post("/counter/scan", line="due 2026-12-30")
    browser = started_anew(browser)
    page = browser.post("/counter/scan", scan="P-1", **fields_of_the_scan(page))
    assert "OUT P-1" in words_of(page)
    assert "due Wed 30 Dec 2026" in words_of(page)
    page = browser.post("/counter/scan", line="back")
    browser = started_anew(browser)
    assert "BACK P-1" in words_of(browser.post("/counter/scan", scan="P-1", **fields_of_the_scan(page)))
    stated, head = browser.shop.now, browser.shop.ledger.head.seq
    page = browser.post("/counter/scan", line=f"at {stated.isoformat()} from the drawer")
    browser.shop.tick(minutes=30)
    browser = started_anew(browser)
    browser.post("/counter/scan", scan="P-2", **fields_of_the_scan(page))
    [entry] = browser.shop.ledger.entries(after=head)
    assert entry.stated_at_utc == utc_text(stated)


@pytest.mark.parametrize("fields", [{"mode": "sideways"}, {"mode": "out", "due": "soon"}, {"paper": "noon"}])
def test_what_a_page_shows_is_no_word_that_it_cannot_have_shown(
    browser: PagesBrowser, fields: dict[str, str]
) -> None:
    head = browser.shop.ledger.head.seq
    browser = started_anew(browser)
    assert "open the page again" in words_of(browser.post("/counter/scan", scan="P-1", **fields))
    assert (browser.status, browser.shop.ledger.head.seq) == (400, head)


def test_a_held_pair_says_so_when_it_comes_back(browser: PagesBrowser) -> None:
    browser.sign_in(IDA)
    browser.post("/counter/scan", line="out")
    browser.post("/counter/scan", scan="P-1")
    assert "HOLD P-1 HOLD: a crack at the heel" in scan(browser, "hold P-1 a crack at the heel")
    browser.post("/counter/scan", line="back")
    assert "HOLD P-1 HOLD" in (page := scan(browser, "P-1")), page
