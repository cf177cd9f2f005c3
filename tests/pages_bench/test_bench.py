"""An order on the bench's page: from the first value to done, the same entries as typed commands make."""

from __future__ import annotations

import re
import shutil
import sqlite3
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest

from fleet.facts.holes import Side, SkiFault
from fleet.facts.standing import Place
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import Fleet, read_fleet
from planner.bench.orders.bench_record import Drilled, Measured, Screw
from planner.bench.orders.book import find_order
from planner.bench.orders.close import done, plugged, stop
from planner.paper.shapes import Page
from planner.paper.sheet_frame import Paper
from planner.paper.work_order import work_order_pages
from planner.paper.work_order_facts import WorkOrderSheet, issued_order_sheet
from planner.plan.values import PlannedHole
from tests.counter.shop import JORY, SANNE
from tests.orders.bench_shop import BenchShop
from tests.pages.browser import PIN, PagesBrowser, words_of

ORDER = "WO-2612-0001 A"


def the_same_by_hand(browser: PagesBrowser, tmp_path: Path) -> BenchShop:
    """The same shop, for the same work by the functions of the commands."""
    shutil.copyfile(browser.served.path, tmp_path / "by_hand.db")
    return BenchShop(Ledger.open(tmp_path / "by_hand.db"), now=browser.shop.now)


def bodies(shop: BenchShop, after: int) -> list[tuple[str, str, dict[str, object]]]:
    return [
        (entry.what, entry.by, {key: said for key, said in entry.body.items() if key != "tap"})
        for entry in shop.ledger.entries(after=after)
    ]


def first_new(shop: BenchShop) -> tuple[str, Screw, PlannedHole]:
    """The first hole that the order drills on ski A: its name on the sheet, its screw, its place."""
    order = find_order(shop.ledger.connection, ORDER)
    hole = next(each for each in order.planned.way.skis[Side.A].holes if each.do == "drill")
    screw = (Side.A, hole.piece, hole.number)
    return f"A{order.labels[screw]}", screw, hole


def expected(browser: PagesBrowser) -> dict[str, str]:
    """What the sheet expects, as somebody who reads exactly that would type it."""
    fleet = browser.shop.fleet()
    order = find_order(browser.shop.ledger.connection, ORDER)
    sheet = issued_order_sheet(fleet, order, printed_at=browser.shop.now)
    return {
        f"read{number}{side}": step.expects[place].replace("under ", "").replace("9 mm", "8.5 mm")
        if step.expects[place].startswith("under")
        else step.expects[place]
        for number, step in enumerate(sheet.steps)
        for place, side in enumerate(Side)
        if step.read
    }


def test_the_bench_lists_the_order_under_its_next_visit(browser: PagesBrowser) -> None:
    words = words_of(browser.get("/bench"))
    assert "Plug first: a first visit 1" in words
    assert "K-1" in words
    for typed in ("K-1", "k-1", "WO-2612-0001", ORDER):
        assert "K-1 Order WO-2612-0001 A" in words_of(
            browser.ask("GET", "/bench/order", params={"name": typed}).text
        )
    assert "is not the number of a work order" in words_of(browser.get("/bench/order?name=K-99"))


def test_from_the_first_visit_to_done_the_ledger_says_what_commands_would_have_said(
    browser: PagesBrowser, tmp_path: Path
) -> None:
    by_hand = the_same_by_hand(browser, tmp_path)
    head = browser.shop.ledger.head.seq
    browser.sign_in(JORY)
    browser.pins.set_pin(SANNE, PIN, PIN, by=SANNE)
    said = words_of(browser.post("/bench/plugged", name=ORDER))
    assert "drill and screw NOT BEFORE" in said
    browser.shop.tick(minutes=60)
    browser.sign_in(JORY)
    name, screw, hole = first_new(browser.shop)
    x_um, y_um = hole.x_um + 200, hole.y_um
    answer = words_of(
        browser.post(
            "/bench/done",
            name=ORDER,
            glue="wood_glue",
            seen_by=SANNE,
            seen_pin=PIN,
            **{f"x{name}": f"{x_um / 1000:g}", f"y{name}": f"{y_um / 1000:g}"},
            **expected(browser),
        )
    )
    assert "K-1 is waiting for its second check" in answer
    with by_hand.desk(JORY) as desk:
        plugged(desk, ORDER)
    by_hand.tick(minutes=62)
    with by_hand.desk(JORY) as desk:
        measured = {screw: Measured(x_um=x_um, y_um=y_um)}
        done(desk, ORDER, measured=measured, glue="wood_glue", seen_by=SANNE)
    assert bodies(browser.shop, head) == bodies(by_hand, head)


@pytest.mark.parametrize(("away", "taken"), [(0.5, True), (0.6, False)])
def test_a_value_that_differs_is_judged_where_it_is_typed_and_ends_nothing(
    browser: PagesBrowser, away: float, taken: bool
) -> None:
    """The boot's centre, at its limit of half a millimetre, on ski B alone."""
    browser.sign_in(JORY)
    browser.post("/bench/plugged", name=ORDER)
    browser.shop.tick(minutes=60)
    browser.sign_in(JORY)
    values = expected(browser)
    last = max(values, key=lambda name: (int(name[4:-1]), name[-1]))
    assert last.endswith("B")
    number, *toward = values[last].split()
    values[last] = f"{float(number) + away:g} {' '.join(toward)}"
    head = browser.shop.ledger.head.seq
    judged = words_of(browser.post("/bench/check", name=ORDER, **values))
    assert ("is asked for" in judged) is not taken
    assert judged.count("as it should be") == len(values) - (0 if taken else 1)
    assert browser.shop.ledger.head.seq == head
    page = unescape(browser.post("/bench/done", name=ORDER, glue="none", **values))
    assert (browser.status == 200) is taken
    if not taken:
        assert "ski B" in words_of(page)
        assert f'value="{values[last]}"' in page, "what was typed is still there"
    assert (browser.shop.place("K-1") is Place.SECOND_CHECK) is taken


@pytest.mark.parametrize(
    ("typed", "words"),
    [("tail", "no answer"), ("5", "say toward which end"), ("5 tail", "say toward which end")],
)
def test_a_place_says_toward_which_end_it_lies(browser: PagesBrowser, typed: str, words: str) -> None:
    browser.get("/bench")
    values = expected(browser)
    last = max(values, key=lambda name: (int(name[4:-1]), name[-1]))
    assert "TIP" in values[last]
    assert words in words_of(browser.post("/bench/check", name=ORDER, **{last: typed}))


def test_a_filler_set_anew_since_the_sheet_is_chosen_on_the_page(browser: PagesBrowser) -> None:
    shop = browser.shop
    browser.sign_in(JORY)
    shop.policy("plug_adhesive", "wood_glue")
    head = shop.ledger.head.seq
    asked = browser.post("/bench/plugged", name=ORDER)
    assert (browser.status, shop.ledger.head.seq) == (409, head)
    assert "which was used? say it as it stood on the sheet: choose the filler" in words_of(asked)
    assert '<select name="filler">' in asked
    assert "plugged, epoxy" in words_of(browser.post("/bench/plugged", name=ORDER, filler="epoxy"))
    assert shop.standing("K-1").glued_with == ("epoxy",)


def test_nobody_signed_in_ends_no_order_and_a_wrong_pin_of_the_second_person_neither(
    browser: PagesBrowser,
) -> None:
    head = browser.shop.ledger.head.seq
    browser.get("/bench")
    browser.post("/bench/plugged", name=ORDER)
    assert browser.status == 409
    browser.sign_in(JORY)
    browser.pins.set_pin(SANNE, PIN, PIN, by=SANNE)
    browser.post("/bench/plugged", name=ORDER)
    browser.shop.tick(minutes=60)
    browser.sign_in(JORY)
    said = words_of(browser.post("/bench/done", name=ORDER, glue="none", seen_by=SANNE, seen_pin="111111"))
    assert "that is not the PIN of" in said
    assert [what for what, *_ in bodies(browser.shop, head)] == ["order plugged"]


def test_a_wet_core_stops_the_order_as_the_command_does(browser: PagesBrowser, tmp_path: Path) -> None:
    by_hand = the_same_by_hand(browser, tmp_path)
    head = browser.shop.ledger.head.seq
    browser.sign_in(JORY)
    words = words_of(browser.get(f"/bench/branch?name={ORDER.replace(' ', '+')}&branch=wet-core&ski=A"))
    assert "page Bench, order WO-2612-0001 A: stop this order" in words
    form = browser.get(f"/bench/order?name={ORDER.replace(' ', '+')}&stop=wet-core&faultA=wet-core")
    assert '<option value="wet-core" selected>' in form.partition("Found on ski B")[0]
    assert '<option value="wet-core" selected>' not in form.partition("Found on ski B")[2]
    refused = words_of(browser.post("/bench/stop", name=ORDER, why="core is wet", drilledB="nothing"))
    assert "what was drilled on ski A is not said" in refused
    name, screw, _ = first_new(browser.shop)
    fields = {"why": "core is wet", "drilledB": "nothing", f"made{name}": "on", "faultA": "wet-core"}
    assert "HOLD" in words_of(browser.post("/bench/stop", name=ORDER, **fields))
    by_hand.tick(minutes=2)
    with by_hand.desk(JORY) as desk:
        stop(
            desk,
            ORDER,
            why="core is wet",
            drilled={Side.B: Drilled.NOTHING},
            made=[screw],
            faults={Side.A: SkiFault.WET_CORE},
        )
    assert bodies(browser.shop, head) == bodies(by_hand, head)


def test_the_sheet_is_there_as_a_picture_and_every_step_stands_in_words(browser: PagesBrowser) -> None:
    page = browser.get(f"/bench/order?name={ORDER.replace(' ', '+')}")
    words = unescape(words_of(page))
    sheet = issued_order_sheet(
        browser.shop.fleet(), find_order(browser.shop.ledger.connection, ORDER), printed_at=browser.shop.now
    )
    for step in sheet.steps:
        assert " ".join(step.lead.split()) in words
        assert " ".join(step.detail.split()) in words
    pictures = re.findall(r'<img class="picture" src="([^"]+)"', page)
    assert pictures
    for picture in pictures:
        assert browser.get(unescape(picture)).startswith("<svg")
    for page in ("99", "-1", "one", "9" * 5000):
        assert "the order has" in words_of(browser.get(f"/bench/sheet.svg?name=WO-2612-0001+A&page={page}"))
        assert browser.status == 400


def test_ticked_orders_that_were_refused_are_never_under_the_word_entered(browser: PagesBrowser) -> None:
    """Nobody is signed in: the large word says that nothing was entered, and who signs in."""
    browser.get("/bench")
    head = browser.shop.ledger.head.seq
    words = words_of(browser.post("/bench/ticked", **{f"tick {ORDER}": "on"}))
    assert browser.status == 409
    assert browser.shop.ledger.head.seq == head
    assert "1 NOT ENTERED" in words
    assert " ENTERED " not in words.replace("NOT ENTERED", "")
    assert "nobody is signed in at this desk" in words


@pytest.mark.parametrize(
    ("address", "fields"),
    [
        ("/bench/plugged", {}),
        ("/bench/stop", {"why": "core is wet", "drilledA": "nothing", "drilledB": "nothing"}),
    ],
)
def test_the_end_of_an_order_sent_twice_is_found_again(
    browser: PagesBrowser, address: str, fields: dict[str, str]
) -> None:
    """The answer was lost on its way: the second one says that it was entered, not that it was refused."""
    browser.sign_in(JORY)
    browser.post(address, tap="0123456789abcdef", name=ORDER, **fields)
    assert browser.status == 200
    head = browser.shop.ledger.head.seq
    again = words_of(browser.post(address, tap="0123456789abcdef", name=ORDER, **fields))
    assert (browser.status, browser.shop.ledger.head.seq) == (200, head)
    assert "This was entered before, and is not entered twice." in again
    assert "REFUSED" not in again


def test_a_sheet_is_drawn_once_for_its_page_and_all_its_pictures_until_something_is_entered(
    browser: PagesBrowser, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn: list[str | None] = []

    def counted(sheet: WorkOrderSheet, paper: Paper) -> Iterator[Page]:
        drawn.append(sheet.number)
        return work_order_pages(sheet, paper)

    monkeypatch.setattr("planner.pages.bench.work_order_pages", counted)
    browser.sign_in(JORY)
    page = browser.get(f"/bench/order?name={ORDER.replace(' ', '+')}")
    pictures = [unescape(each) for each in re.findall(r'<img class="picture" src="([^"]+)"', page)]
    before = [browser.get(picture) for picture in pictures]
    assert (len(pictures), len(drawn)) == (len(set(before)), 1)
    browser.post("/bench/plugged", name=ORDER)
    assert browser.get(pictures[0]) != before[0], "the head that it shows is another"
    browser.post("/bench/stop", name=ORDER, why="core is wet", drilledA="nothing", drilledB="nothing")
    assert "is stopped, not open" in words_of(browser.get(pictures[0]))


def test_an_order_s_page_reads_of_the_shop_its_own_pair_and_boot(
    browser: PagesBrowser, shop: BenchShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop.drilled_pair("K-2")
    shop.boot("B-320", 320, "alpine A")
    read: list[Fleet] = []

    def spy(connection: sqlite3.Connection, **of: tuple[str, ...]) -> Fleet:
        read.append(read_fleet(connection, **of))
        return read[-1]

    monkeypatch.setattr("planner.pages.bench.read_fleet", spy)
    assert "K-1 Order WO-2612-0001 A" in words_of(browser.get("/bench/order?name=K-1"))
    whole = shop.fleet()
    assert list(whole.pairs) == ["K-1", "K-2"]
    assert read[0].pairs == {"K-1": whole.pairs["K-1"]}
    assert read[0].boots == {"B-317": whole.boots["B-317"]}
    assert read[0].bindings_on("K-1") == whole.bindings_on("K-1")
    assert {each.on_pair for each in read[0].bindings.values()} == {"K-1"}
