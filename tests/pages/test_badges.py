"""Badges for the scanner: made beside a manager, kept as hashes beside the server, and said by the audit."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import pytest

from fleet.audit.full import audit_file
from fleet.audit.name_removal import remove_name
from fleet.base.kept_names import read_names
from fleet.ledger.people import list_person
from planner.pages.desks import BADGE_FORM, Desks, Pins, desks_file, forget_person, open_desks
from planner.pages.web import ServedLedger
from tests.counter.shop import JORY, NELL, WIM, ZONE, Shop
from tests.pages.browser import PIN, SHOPS_HASHER, PagesBrowser, entries_of, words_of

BOSS = "739152"


@pytest.fixture
def shop_of_badges(browser: PagesBrowser) -> PagesBrowser:
    """A browser where the manager has a PIN, and Nell and Jory have theirs."""
    for name, pin in ((WIM, BOSS), (NELL, PIN), (JORY, PIN)):
        browser.pins.set_pin(name, pin, pin, by=WIM)
    return browser


def badge_of(browser: PagesBrowser, name: str) -> str:
    html = browser.post("/pin/badge", name=name, by=WIM, pin_by=BOSS, do="make")
    found = BADGE_FORM.search(words_of(html))
    assert found, html
    assert "<svg" in html
    return found[0]


def how_signed(browser: PagesBrowser, tag: str) -> tuple[str, str]:
    """Hold a pair and return who signed that, and how."""
    browser.post("/counter/scan", line=f"hold {tag} wobbles")
    [entry] = browser.shop.ledger.entries(after=browser.shop.ledger.head.seq - 1)
    return entry.by, entry.body["tap"].get("signed", "")


def test_a_badge_takes_the_place_of_the_name_and_the_pin_follows(shop_of_badges: PagesBrowser) -> None:
    browser = shop_of_badges
    code = badge_of(browser, NELL)
    words = words_of(browser.post("/sign/badge", badge=code, then="/counter"))
    assert f"Badge of {NELL}: now the PIN" in words
    assert how_signed(browser, "P-1") == ("Desk 1", "")
    browser.post("/sign/in", name=NELL, pin=PIN, then="/counter")
    assert how_signed(browser, "P-2") == (NELL, "badge and PIN")
    browser.post("/sign/badge", badge=code)
    browser.shop.tick(minutes=2)
    browser.post("/sign/in", name=NELL, pin=PIN)
    assert how_signed(browser, "P-3") == (NELL, "PIN"), "the badge was scanned too long before"
    browser.post("/sign/badge", badge=code)
    browser.post("/sign/in", name=JORY, pin=PIN)
    assert how_signed(browser, "P-4") == (JORY, "PIN"), "another's badge is nobody's second sign"


def test_a_badge_alone_signs_only_where_the_shop_says_so(shop_of_badges: PagesBrowser) -> None:
    browser = shop_of_badges
    browser.shop.policy("badge_alone", "yes")
    browser.post("/sign/badge", badge=badge_of(browser, NELL).lower(), then="/counter")
    assert how_signed(browser, "P-1") == (NELL, "badge")
    notes = [each.sentence for each in audit_file(browser.served.path, now=browser.shop.now).findings]
    assert "entries made on pages: 1 signed by badge" in notes


def test_a_badge_is_void_when_it_is_lost_or_made_anew_and_the_manager_signs_that(
    shop_of_badges: PagesBrowser,
) -> None:
    browser = shop_of_badges
    first = badge_of(browser, NELL)
    second = badge_of(browser, NELL)
    assert first != second
    assert "badge of nobody" in words_of(browser.post("/sign/badge", badge=first))
    assert f"Badge of {NELL}" in words_of(browser.post("/sign/badge", badge=second))
    said = words_of(browser.post("/pin/badge", name=NELL, by=WIM, pin_by="111222", do="make"))
    assert "not the PIN of" in said
    said = words_of(browser.post("/pin/badge", name=NELL, by=JORY, pin_by=PIN, do="make"))
    assert browser.status == 409
    assert BADGE_FORM.search(said) is None
    browser.post("/pin/badge", name=NELL, by=WIM, pin_by=BOSS, do="void")
    assert "badge of nobody" in words_of(browser.post("/sign/badge", badge=second))


def test_guesses_are_counted_and_wait(shop_of_badges: PagesBrowser) -> None:
    browser = shop_of_badges
    code = badge_of(browser, NELL)
    for guess in [code[:-1] + letter for letter in "ABCDEF" if letter != code[-1]][:5]:
        assert "badge of nobody" in words_of(browser.post("/sign/badge", badge=guess))
    assert "too many wrong" in words_of(browser.post("/sign/badge", badge=code))


@pytest.mark.parametrize(
    "badge", ["", "BADGE-", "BADGE--", "BADGE-1-", "BADGE-999999999999999999999-AAAA", "P-1"]
)
def test_what_is_no_badge_signs_nobody_in(shop_of_badges: PagesBrowser, badge: str) -> None:
    badge_of(shop_of_badges, NELL)
    assert "REFUSED" in words_of(shop_of_badges.post("/sign/badge", badge=badge))


def test_a_badge_comes_into_no_entry_and_on_no_page(shop_of_badges: PagesBrowser, tmp_path: Path) -> None:
    """Scanned into the field of the counter, of a look or of Find, without the page's script."""
    browser = shop_of_badges
    code = badge_of(browser, NELL)
    secret = code.rpartition("-")[2]
    head = browser.shop.ledger.head.seq
    pages = [
        browser.post("/counter/scan", scan=code),
        browser.post("/counter/scan", line=f"hold P-1 {code}"),
        browser.get(f"/evening/pair?scan={code}"),
        browser.get(f"/find/thing?tag={code}"),
        browser.get("/counter"),
        browser.get("/pin"),
    ]
    assert browser.shop.ledger.head.seq == head
    assert not any(secret in page for page in pages)
    assert all("that is a badge" in words_of(page) for page in pages[:4])
    kept = "".join(browser.desks._store.iterdump())
    assert secret not in kept
    assert re.search(r"\$argon2id\$", kept)


def test_a_shop_s_pins_are_kept_by_a_hash_that_takes_its_time() -> None:
    """19 MiB and two passes (OWASP's page on keeping passwords, from memory)."""
    assert SHOPS_HASHER.memory_cost >= 19_456
    assert SHOPS_HASHER.time_cost >= 2
    assert SHOPS_HASHER.type.name == "ID"


def test_whose_name_was_taken_out_is_signed_in_nowhere_from_then_on(shop: Shop, tmp_path: Path) -> None:
    """By the command beside the server, which knows the file of PINs and not who stands at which desk."""
    store = open_desks(desks_file(tmp_path, shop.ledger.path))
    desks, pins = Desks(store, now=lambda: shop.now), Pins(store, now=lambda: shop.now, zone=ZONE)
    browser = PagesBrowser(shop, ServedLedger(shop.ledger.path, now=lambda: shop.now), desks, pins)
    with shop.desk(WIM) as desk:
        list_person(desk, "Mika Invented", role="technician", until=shop.today)
    browser.sign_in("Mika Invented")
    assert "Mika Invented" in browser.get("/today")
    with shop.desk(WIM) as desk:
        list_person(desk, "Mika Invented", role="technician", until=shop.today - timedelta(days=1))
        gone = remove_name(shop.ledger, desk.tx, "Mika Invented", by=WIM, why="left", today=shop.today)
    forget_person(tmp_path, shop.ledger.path, "Mika Invented", mark=gone.mark)
    assert "Mika Invented" not in browser.get("/today")
    browser.post("/counter/scan", line="hold P-1 wobbles")
    assert [row.text for row in read_names(shop.ledger.connection)].count("Mika Invented") == 0
    assert next(iter(entries_of(shop.ledger, gone.entry)))[3] == "Desk 1"
