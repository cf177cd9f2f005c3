"""A real browser walks the counter and the evening; a kept checker of accessibility (axe) reads every page.

Skipped aloud where no Chromium is installed.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from fleet.facts.standing import Place
from fleet.ledger.ledger import Ledger
from fleet.rules.holds import hold
from planner.pages.table import NAVIGATION
from tests.chromium import chromium
from tests.counter.shop import IDA, NELL, WIM, Shop
from tests.pages.browser import PIN
from tests.pages.served import served_in_a_thread
from tests.pages.test_every_page import PAGES

__all__ = ["chromium"]
WIDTHS = (1280, 768, 390)
TOO_SMALL = """() => [...document.querySelectorAll(
    "main button, main a.button, main input:not([type=hidden]):not(.sr), main select, main summary, .head a,"
    + " main .tool, main .choice, main g.ring .hit")]
  .filter((each) => each.checkVisibility())
  .map((each) => [each, each.closest(".choice") ?? each])
  .map(([each, box]) => [each.outerHTML.slice(0, 80), box.getBoundingClientRect()])
  .filter(([, box]) => box.right > 0 && (box.width < 43.9 || box.height < 43.9))
  .map(([said, box]) => `${said}: ${box.width} x ${box.height}`)"""
OPEN_ALL = "() => document.querySelectorAll('main details').forEach((each) => { each.open = true; })"
AXE = """() => axe.run({resultTypes: ["violations"]}).then((said) => said.violations.map(
  (each) => [each.id, each.nodes.map((node) => node.html.slice(0, 90))]))"""
TOO_WIDE = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"


@pytest.fixture
def tab(chromium: Any, shop: Shop) -> Iterator[Any]:
    """A tab on the pages of a shop whose boots go with their pairs; Ida and Nell have PINs."""
    shop.policy("out_without_boot", "no")
    shop.policy("undo_minutes", "10")
    start = time.monotonic()

    def now() -> datetime:
        return shop.now + timedelta(seconds=time.monotonic() - start)

    with served_in_a_thread(shop.ledger.path, now=now, signers=(IDA, NELL, WIM)) as address:
        context = chromium.new_context(base_url=address, viewport={"width": 768, "height": 1000})
        context.set_default_timeout(120_000)  # a busy machine is slow, not wrong
        page = context.new_page()
        faults: list[str] = []
        page.on("pageerror", lambda fault: faults.append(str(fault)))
        page.on("console", lambda said: faults.append(said.text) if "Content Security" in said.text else None)
        yield page
        context.close()
        assert faults == []


def checked(page: Any, *, widths: tuple[int, ...] = WIDTHS) -> None:
    """Nothing that axe finds, no target under 44 px, nothing that scrolls sideways: at each width."""
    from axe_playwright_python.sync_playwright import Axe

    for width in widths:
        page.set_viewport_size({"width": width, "height": 900})
        if not page.evaluate("() => 'axe' in window"):
            page.evaluate(Axe().axe_script)
        assert page.evaluate(AXE) == [], f"at {width} px"
        assert page.evaluate(TOO_SMALL) == [], f"at {width} px"
        assert page.evaluate(TOO_WIDE) == 0, f"at {width} px"


def scan(page: Any, code: str, until: str) -> None:
    """Type like a scanner, without looking where the focus is; wait for the answer."""
    page.keyboard.type(code)
    page.keyboard.press("Enter")
    page.get_by_role("region", name="Answer").get_by_text(until).first.wait_for()


def sign_in(page: Any, name: str, then: str) -> None:
    page.goto(f"/sign?then={then}")
    page.get_by_role("radio", name=name).check()
    page.get_by_role("textbox", name="PIN").fill(PIN)
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.wait_for_url(f"**{then}")


def kinds(path: Path, after: int) -> list[tuple[str, str]]:
    with Ledger.open(path) as ledger:
        return [(entry.what, entry.body.get("tag", "")) for entry in ledger.entries(after=after)]


def test_a_counter_by_scanner_and_keyboard_alone(tab: Any, shop: Shop) -> None:
    head = shop.ledger.head.seq
    tab.goto("/counter")
    checked(tab, widths=(390,))
    scan(tab, "P-1", "NOT OUT YET")
    scan(tab, "B-305", "boot B-305 fits")
    checked(tab, widths=(1280, 390))
    scan(tab, "P-2 A", "now ski B")
    scan(tab, "P-3 B", "mixed")
    scan(tab, "P-2", "NOT OUT YET")
    scan(tab, "B-310", "SET FIRST")
    checked(tab, widths=(390,))
    scan(tab, "back", "now scanning BACK")
    scan(tab, "P-1", "to the recheck rack")
    scan(tab, "undo", "undone: pair back")
    assert kinds(shop.ledger.path, head) == [
        ("pair out", "P-1"),
        ("pair back", "P-1"),
        ("scan undone", "P-1"),
    ]


def test_an_evening_with_rings_and_a_hold(tab: Any, shop: Shop) -> None:
    shop.policy("out_without_boot", "yes")
    shop.out("P-1", "P-2")
    shop.back("P-1", "P-2")
    head = shop.ledger.head.seq
    sign_in(tab, IDA, "/evening")
    checked(tab, widths=(390,))
    tab.keyboard.type("P-1 A\nP-1 B\n")  # a scanner waits for no page
    tab.get_by_text("skis scanned: A yes · B yes").wait_for()
    checked(tab, widths=(768, 390))
    for side in "AB":
        tab.get_by_role("button", name=f"rest of {side}: not moved").click()
    tab.get_by_role("button", name="PASS").click()
    tab.get_by_role("region", name="Answer").get_by_text("PASSED").first.wait_for()
    tab.get_by_role("link", name="P-2").click()
    assert tab.get_by_role("button", name="HOLD").is_disabled()
    tab.get_by_text("turned ½", exact=True).click()
    ring = tab.get_by_role("button", name="ski B, toe, screw 1 of 4")
    ring.focus()
    tab.keyboard.press("Enter")
    assert "turned ½. Any movement is a hold" in tab.locator("[data-verdict]").inner_text()
    assert tab.get_by_role("button", name="PASS").is_disabled()
    checked(tab, widths=(390,))
    tab.get_by_role("button", name="HOLD").click()
    tab.get_by_role("link", name="Print the hold tag of P-2").wait_for()
    checked(tab, widths=(390,))
    assert kinds(shop.ledger.path, head) == [("pair looked at", "P-1"), ("pair looked at", "P-2")]


def test_a_lost_network_is_said_and_the_tap_counts_once(tab: Any, shop: Shop) -> None:
    """The answer gets lost on its way; the page says NOT OUT, sends it again, and one entry is made."""
    shop.policy("out_without_boot", "yes")
    head, lost = shop.ledger.head.seq, [True]

    def drop_the_answer(route: Any) -> None:
        if lost:
            lost.clear()
            route.fetch()  # it reached the ledger
            route.abort()
        else:
            route.continue_()

    tab.route("**/counter/scan", drop_the_answer)
    tab.goto("/counter")
    tab.keyboard.type("P-1\n")
    tab.get_by_text("NOT OUT until it answers").wait_for()
    tab.get_by_text("this was entered before, and is not counted twice").first.wait_for()
    assert tab.locator("#lost").is_hidden()
    assert kinds(shop.ledger.path, head) == [("pair out", "P-1")]


def test_a_tag_as_long_as_a_tag_may_be_stays_within_a_phone(tab: Any, shop: Shop) -> None:
    tag = "ALPINE-HALL-" + "X" * 52
    shop.pair(tag)
    with shop.desk(IDA) as desk:
        hold(desk, tag, why="heel of ski B turned")
    tab.set_viewport_size({"width": 390, "height": 900})
    tab.goto("/counter")
    scan(tab, tag, "cannot go out")
    assert tab.evaluate(TOO_WIDE) == 0
    for address in ("/find/pair?tag=", "/evening/pair?scan="):
        tab.goto(f"{address}{tag}")
        assert tab.evaluate(TOO_WIDE) == 0, address


def tab_to(page: Any, words: str) -> None:
    """Press Tab until the focus is on what has these words, as somebody without a mouse does."""
    said = "() => document.activeElement.labels?.[0]?.innerText ?? document.activeElement.innerText ?? ''"
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate(said).strip().startswith(words):
            return
    raise AssertionError(f"the keyboard does not reach {words}")


def test_a_pair_is_held_repaired_and_noted_by_the_keyboard_alone(tab: Any, shop: Shop) -> None:
    head = shop.ledger.head.seq
    sign_in(tab, IDA, "/find")
    tab.keyboard.type("P-1\n")
    tab.get_by_role("heading", name="Pair P-1").wait_for()
    checked(tab)
    for summary, field, typed, until in (
        ("Stop it", "What was seen", "heel of ski B turned", "HOLD"),
        ("To the bench", "", "", "IN REPAIR"),
        ("Repaired", "What was done", "heel screwed down anew", "SECOND CHECK"),
        ("Note something", "Note, kept as free text", "edge blunt at the tip", "ENTERED"),
    ):
        tab_to(tab, summary)
        tab.keyboard.press("Enter")
        tab_to(tab, field or "Begin the repair")
        tab.keyboard.type(f"{typed}\n")
        tab.locator(".answer .word", has_text=until).wait_for()
        checked(tab, widths=(390,))
    tab_to(tab, "Note something")
    tab.keyboard.press("Enter")
    tab_to(tab, "Note, kept as free text")
    tab.keyboard.type("x\n")
    tab.get_by_role("alert").get_by_text("needs to be said in words").wait_for()
    tab.evaluate(OPEN_ALL)
    checked(tab)
    assert [what for what, _ in kinds(shop.ledger.path, head)][:4] == [
        *("pair held", "repair begun", "repair done", "note made"),
    ]


def test_a_badge_is_made_and_scanned_into_the_counter_s_field(tab: Any, shop: Shop) -> None:
    """Whatever field the scanner stands in: the badge signs in there, and comes back to the page."""
    shop.policy("badge_alone", "yes")
    tab.goto("/pin")
    tab.get_by_label("Badge for").select_option(NELL)
    tab.locator('form[action="/pin/badge"] select[name="by"]').select_option(WIM)
    tab.locator('input[name="pin_by"]').last.fill(PIN)
    tab.get_by_role("button", name="Make a badge").click()
    code = tab.get_by_role("status", name=f"Badge of {NELL}").locator(".typed").inner_text()
    checked(tab)
    tab.goto("/sign")
    checked(tab)
    tab.goto("/counter")
    tab.keyboard.type(f"{code}\n")
    tab.locator(".who strong", has_text=NELL).wait_for()
    assert tab.url.endswith("/counter")
    assert code not in tab.content()


def tap_all_rings(page: Any) -> None:
    for side in "AB":
        page.get_by_role("button", name=f"rest of {side}: not moved").click()


def test_a_look_waits_on_the_tablet_over_a_reload_and_counts_once(tab: Any, shop: Shop) -> None:
    """The network is lost, another page is loaded, an answer is lost: one entry, at the time it was made."""
    shop.policy("out_without_boot", "yes")
    shop.out("P-1")
    shop.back("P-1")
    shop.tick(minutes=30)
    head, ways = shop.ledger.head.seq, ["lost", "lost", "answer lost"]

    def lose(route: Any) -> None:
        how = ways.pop(0) if ways else ""
        if how == "answer lost":
            route.fetch()
        route.abort() if how else route.continue_()

    sign_in(tab, IDA, "/evening")
    tab.goto("/evening/pair?scan=P-1")
    tap_all_rings(tab)
    tab.route("**/evening/look", lambda route: route.abort())
    tab.get_by_role("button", name="PASS").click()
    waits = tab.get_by_role("region", name="Waiting on this tablet")
    waits.get_by_text("WAITING").wait_for()
    assert "look at P-1: PASS" in waits.inner_text()
    assert "NOT PASSED" in waits.inner_text()
    checked(tab, widths=(390,))
    kept = "mountbook waiting"
    tab.evaluate(
        "(name) => localStorage.setItem(name, JSON.stringify("
        "JSON.parse(localStorage.getItem(name)).map((each) => ({...each, at: each.at - 600000}))))",
        kept,
    )
    assert kinds(shop.ledger.path, head) == []
    tab.unroute("**/evening/look")
    tab.route("**/evening/look", lose)
    tab.goto("/find")  # any page of ours sends what waits
    waits.get_by_text("WAITING").wait_for()
    waits.wait_for(state="hidden")
    assert tab.evaluate("(name) => localStorage.getItem(name)", kept) == "[]"
    assert kinds(shop.ledger.path, head) == [("pair looked at", "P-1")]
    with Ledger.open(shop.ledger.path) as ledger:
        [entry] = ledger.entries(after=head)
    waited = datetime.fromisoformat(entry.recorded_at_utc) - datetime.fromisoformat(entry.stated_at_utc)
    assert timedelta(minutes=9, seconds=50) < waited < timedelta(minutes=12)
    assert shop.place("P-1") is Place.READY


def test_a_look_that_waited_and_is_refused_stays_until_somebody_decides(tab: Any, shop: Shop) -> None:
    shop.policy("out_without_boot", "yes")
    shop.out("P-1")
    shop.back("P-1")
    head = shop.ledger.head.seq
    sign_in(tab, IDA, "/evening")
    tab.goto("/evening/pair?scan=P-1")
    tap_all_rings(tab)
    tab.route("**/evening/look", lambda route: route.abort())
    tab.get_by_role("button", name="PASS").click()
    waits = tab.get_by_role("region", name="Waiting on this tablet")
    waits.get_by_text("WAITING").wait_for()
    sign_in(tab, NELL, "/find")
    tab.unroute("**/evening/look")
    waits.get_by_text("NOT ENTERED").wait_for()
    assert "made this look" in waits.inner_text()
    checked(tab, widths=(390,))
    sign_in(tab, IDA, "/find")
    waits.get_by_role("button", name="Send it again").click()
    waits.wait_for(state="hidden")
    assert kinds(shop.ledger.path, head) == [("pair looked at", "P-1")]


UNSIGNED = ("/sign", "/pin", "/evening/pair?scan=P-1")
"""Pages on which nobody signed in sees other forms; what else they have is on all pages."""


@pytest.mark.parametrize(
    ("signed", "pages"),
    [(False, UNSIGNED), pytest.param(False, PAGES, marks=pytest.mark.long), (True, PAGES)],
    ids=["nobody, where it differs", "nobody", "signed in"],
)
def test_every_page_is_read_by_axe_on_a_phone(
    tab: Any, shop: Shop, signed: bool, pages: tuple[str, ...]
) -> None:
    shop.policy("out_without_boot", "yes")
    shop.out("P-1", "P-2")
    shop.back("P-1")
    if signed:
        sign_in(tab, IDA, "/evening")
    for address in pages:
        tab.goto(address)
        tab.evaluate(OPEN_ALL)
        checked(tab, widths=(390,))


@pytest.mark.long
@pytest.mark.parametrize("width", WIDTHS)
def test_a_morning_and_an_evening_at_every_width(tab: Any, shop: Shop, width: int) -> None:
    """Forty scans out and back with slips between, then a look at each; every page read by axe."""
    shop.policy("out_without_boot", "yes")
    head = shop.ledger.head.seq
    tab.set_viewport_size({"width": width, "height": 900})
    tags = ["P-1", "P-2", "P-3", "P-4"]
    sign_in(tab, NELL, "/counter")
    for _ in range(5):
        for word, until in (("out", "fit not checked"), ("back", "to the recheck rack")):
            tab.get_by_role("button", name=word.upper(), exact=True).click()
            tab.get_by_text(f"now scanning {word.upper()}").first.wait_for()
            for tag in tags:
                scan(tab, tag, until)
            scan(tab, "P-99", "there is no pair P-99")
        sign_in(tab, IDA, "/evening")
        for tag in tags:
            scan_to = f"/evening/pair?scan={tag}"
            tab.goto(scan_to)
            for side in "AB":
                tab.get_by_role("button", name=f"rest of {side}: not moved").click()
            tab.get_by_role("button", name="PASS").click()
            tab.get_by_role("region", name="Answer").get_by_text("PASSED").first.wait_for()
        sign_in(tab, NELL, "/counter")
    assert len(kinds(shop.ledger.path, head)) == 5 * 3 * len(tags)
    for address in (*(page.address for page in NAVIGATION), "/desk", "/sign", "/pin", "/nowhere"):
        tab.goto(address)
        checked(tab, widths=(width,))
