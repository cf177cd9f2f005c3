"""One person alone presses every button of the pages for a pair that is stopped: it stays in."""

from __future__ import annotations

import re

import pytest

from fleet.facts.standing import Place
from tests.counter.shop import JORY, NELL, SANNE, WIM
from tests.counter.test_ways_round_the_door import STOPS
from tests.pages.browser import PIN, PagesBrowser
from tests.pages.test_evening import ALL

BUTTONS: tuple[tuple[str, dict[str, str]], ...] = (
    ("/find/do", {"do": "clear", "why": "looks fine again"}),
    ("/find/do", {"do": "begin"}),
    ("/find/do", {"do": "repaired", "did": "all screws seen"}),
    ("/find/do", {"do": "hold", "why": "to look", "cause": "other"}),
    ("/find/do", {"do": "clear", "why": "looked at by hand"}),
    ("/find/do", {"do": "move", "to": "missing", "why": "not seen"}),
    ("/find/do", {"do": "move", "to": "shop"}),
    ("/find/do", {"do": "bound", "boot": "B-305"}),
    ("/find/do", {"do": "not-so"}),
    ("/evening/look", {"tag": "P-1", "wanted": "pass", **ALL}),
    ("/evening/rest", {}),
    ("/staff/do", {"do": "list", "name": NELL, "role": "technician", "until": "2027-05-31"}),
    ("/staff/do", {"do": "list", "name": JORY, "role": "manager", "until": "2027-05-31"}),
    ("/pin/set", {"name": WIM, "by": WIM, "pin": "111222", "again": "111222"}),
    ("/sign/in", {"name": WIM, "pin": "111222"}),
    ("/counter/scan", {"line": "undo"}),
    ("/counter/scan", {"line": "clear P-1 looks fine"}),
    ("/counter/scan", {"line": "back"}),
    ("/counter/scan", {"line": "P-1"}),
    ("/evening/look", {"tag": "P-1", "wanted": "pass", **ALL}),
)


def _press_all(browser: PagesBrowser, by: str) -> set[Place]:
    """Press them in turn; return the places where the pair was after each."""
    if by:
        browser.sign_in(by)
    places = set()
    for address, fields in BUTTONS:
        said = dict(fields)
        if address == "/find/do":
            said["name"] = "P-1"
        if address == "/evening/rest":
            said["list"] = next(iter(re.findall(r'name="list" value="([^"]*)"', browser.get("/evening"))), "")
        browser.post(address, **said)
        places.add(browser.shop.place("P-1"))
    return places


QUICK = [("quarantined", ""), ("came back", NELL), ("found moved", JORY), ("worked on", JORY)]
"""What stops the pair, and who is signed in; "" for nobody."""
LONG = [
    *((stop, "") for stop in ("held", "came back", "found moved", "worked on", "cracked")),
    *((stop, NELL) for stop in ("quarantined", "held", "found moved", "worked on", "cracked")),
    *((stop, JORY) for stop in ("quarantined", "cracked")),
]


@pytest.mark.parametrize(
    ("stop", "by"), [*QUICK, *(pytest.param(*each, marks=pytest.mark.long) for each in LONG)]
)
def test_no_button_lets_a_stopped_pair_out(browser: PagesBrowser, stop: str, by: str) -> None:
    shop = browser.shop
    browser.pins.set_pin(WIM, PIN, PIN, by=WIM)
    STOPS[stop](shop)
    assert Place.READY not in _press_all(browser, by)
    browser.post("/counter/scan", line="out")
    for line in ("P-1 B-305", "set P-1 B-305", "own 305 alpine A", "P-1"):
        browser.post("/counter/scan", line=line)
    assert shop.place("P-1") is not Place.OUT


def test_the_same_buttons_let_out_what_a_second_person_looked_at(browser: PagesBrowser) -> None:
    """So that they are refused above for who presses them, and for nothing else."""
    STOPS["came back"](browser.shop)
    assert Place.READY in _press_all(browser, SANNE)
