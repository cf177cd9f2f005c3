"""Hostile requests change nothing, and are refused in a sentence."""

from __future__ import annotations

import asyncio
import re
from collections import Counter
from datetime import timedelta
from typing import Any

import pytest

from fleet.base.errors import Refused
from planner.pages.web import COOKIE
from tests.counter.shop import IDA, JORY, NELL, WIM, Shop
from tests.pages.browser import HOST, ORIGIN, PIN, PagesBrowser, words_of

TAP = "0123456789abcdef"
SCAN = {"tap": TAP, "line": "hold P-1 wobbles"}
OURS = {"origin": ORIGIN}
FORM = {"content-type": "application/x-www-form-urlencoded"}

HOSTILE: dict[str, tuple[int, str, dict[str, Any]]] = {
    "another host": (421, "not called that", {"data": SCAN, "headers": OURS | {"host": "shop.invalid"}}),
    "a host with our name in front": (
        421,
        "not called that",
        {"data": SCAN, "headers": OURS | {"host": f"{HOST}.shop.invalid"}},
    ),
    "our host at another port": (
        421,
        "not called that",
        {"data": SCAN, "headers": OURS | {"host": "127.0.0.1:80"}},
    ),
    "another site's page": (
        403,
        "not sent by a page",
        {"data": SCAN, "headers": {"origin": "http://shop.invalid"}},
    ),
    "another port's page": (
        403,
        "not sent by a page",
        {"data": SCAN, "headers": {"origin": "http://127.0.0.1:80"}},
    ),
    "a page that hides where it is": (
        403,
        "not sent by a page",
        {"data": SCAN, "headers": {"origin": "null"}},
    ),
    "no word of where it comes from": (403, "not sent by a page", {"data": SCAN}),
    "a browser that says cross-site": (
        403,
        "not sent by a page",
        {"data": SCAN, "headers": OURS | {"sec-fetch-site": "cross-site"}},
    ),
    "another name's page of this machine": (
        403,
        "not sent by a page",
        {"data": SCAN, "headers": OURS | {"sec-fetch-site": "same-site"}},
    ),
    "a huge body": (413, "more than", {"content": b"scan=" + b"x" * 70_000, "headers": OURS | FORM}),
    "a length that is a lie": (
        413,
        "more than",
        {"content": b"x", "headers": OURS | FORM | {"content-length": "99999999999"}},
    ),
    "a length that is no number": (
        400,
        "no number",
        {"content": b"x", "headers": OURS | FORM | {"content-length": "-1"}},
    ),
    "a form of a thousand fields": (
        400,
        "",
        {"content": "&".join(f"f{n}=1" for n in range(1000)).encode(), "headers": OURS | FORM},
    ),
    "a field twice": (
        400,
        "a field twice",
        {"content": f"tap={TAP}&line=hold+P-1+x&line=hold+P-2+x".encode(), "headers": OURS | FORM},
    ),
    "a file as a field": (
        400,
        "",
        {"files": {"scan": ("x.txt", b"P-1")}, "data": {"tap": TAP}, "headers": OURS},
    ),
    "a body that is no form": (
        200,
        "Nothing is out before this says OUT",
        {"content": b'{"line": "hold P-1 x"}', "headers": OURS | {"content-type": "application/json"}},
    ),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_post_is_refused_in_a_sentence(browser: PagesBrowser, name: str) -> None:
    status, words, said = HOSTILE[name]
    head = browser.shop.ledger.head.seq
    answer = browser.ask("POST", "/counter/scan", **said)
    assert answer.status_code == status, answer.text
    assert words in answer.text
    assert "Traceback" not in answer.text
    assert browser.shop.ledger.head.seq == head


def test_the_same_post_from_our_own_page_is_taken(browser: PagesBrowser) -> None:
    head = browser.shop.ledger.head.seq
    assert browser.ask("POST", "/counter/scan", data=SCAN, headers=OURS).status_code == 200
    assert browser.shop.ledger.head.seq == head + 1


def test_a_body_that_grows_while_it_is_sent_is_cut_off(browser: PagesBrowser) -> None:
    async def parts() -> Any:
        for _ in range(100):
            yield b"x" * 1000

    answer = browser.ask("POST", "/counter/scan", content=parts(), headers=OURS | FORM)
    assert answer.status_code == 413


@pytest.mark.parametrize("sent", [b"", b"tap=%b&line=hold+P-1+wobb" % TAP.encode()])
def test_a_form_whose_sender_is_lost_on_the_way_is_not_taken_for_whole(
    browser: PagesBrowser, sent: bytes
) -> None:
    """A tablet out of reach would pass the pairs that its page left out: their fields are the last ones."""
    said = [
        {"type": "http.request", "body": sent, "more_body": True},
        {"type": "http.disconnect"},
    ]

    async def receive() -> Any:
        return said.pop(0)

    async def send(_: Any) -> None:
        """Nobody hears the answer."""

    headers = {"host": HOST, **OURS, **FORM, "cookie": f"{COOKIE}={browser.cookies[COOKIE]}"}
    scope = {
        "type": "http",
        "method": "POST",
        "scheme": "http",
        "path": "/counter/scan",
        "query_string": b"",
        "headers": [(name.encode(), value.encode()) for name, value in headers.items()],
        "client": (browser.comes_from, 50000),
    }
    head = browser.shop.ledger.head.seq
    asyncio.run(browser.app(scope, receive, send))
    assert said == []
    assert browser.shop.ledger.head.seq == head


@pytest.mark.parametrize(
    "path",
    [
        "/static/../../../../etc/passwd",
        "/static/%2e%2e/%2e%2e/etc/passwd",
        "/static/x/pages.css",
        "//etc/passwd",
        "/counter/..%2f..%2fetc/passwd",
        "/templates/frame.html",
        "/static/pages.py",
    ],
)
def test_no_part_of_an_address_becomes_a_path_on_the_disk(browser: PagesBrowser, path: str) -> None:
    answer = browser.ask("GET", ORIGIN + path)
    assert answer.status_code == 404
    assert "root:" not in answer.text


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_requests_than_a_browser_s_are_refused(browser: PagesBrowser, method: str) -> None:
    assert browser.ask(method, "/counter").status_code == 405


def test_every_answer_forbids_foreign_and_inline_script(browser: PagesBrowser) -> None:
    for address in ("/counter", "/desk", "/sign", "/pin", "/let-in", "/nowhere"):
        answer = browser.ask("GET", address)
        policy = answer.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'; script-src 'self'; style-src 'self'")
        assert "unsafe" not in policy
        assert answer.headers["cache-control"] == "no-store"
        assert not re.search(r"<script(?![^>]*\bsrc=)|\son\w+=|style=|https?://", answer.text)


def test_a_page_has_a_cookie_that_no_script_reads_and_no_other_site_sends(shop: Shop) -> None:
    cookie = PagesBrowser.on(shop).ask("GET", "/counter").headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie


@pytest.mark.parametrize(("dest", "made"), [("image", 0), ("iframe", 0), ("empty", 0), ("document", 1)])
def test_a_picture_on_another_site_s_page_makes_no_desk(browser: PagesBrowser, dest: str, made: int) -> None:
    """The key of a desk is sent with no request of another site: each picture of it was another desk."""
    before = len(browser.desks.all())
    stranger = browser.beside()
    for _ in range(3):
        stranger.ask("GET", "/today", headers={"sec-fetch-site": "cross-site", "sec-fetch-dest": dest})
    assert len(browser.desks.all()) == before + made


@pytest.fixture
def tablet(browser: PagesBrowser) -> PagesBrowser:
    """A browser elsewhere in the shop's network, on the same pages."""
    found = browser.beside()
    found.comes_from = "192.0.2.7"
    return found


def test_a_tablet_is_let_in_by_a_code_that_counts_once(shop: Shop, tablet: PagesBrowser) -> None:
    head, codes = shop.ledger.head.seq, list[str]()
    tablet.desks._new_code = codes.append
    tablet.desks.show_code()
    assert "Let this tablet in" in words_of(tablet.get("/counter"))
    tablet.post("/counter/scan", line="hold P-1 wobbles")
    assert (tablet.status, shop.ledger.head.seq) == (403, head)
    assert "This desk" in words_of(tablet.post("/let-in", code=codes[0]))
    tablet.post("/counter/scan", line="hold P-1 wobbles")
    assert shop.ledger.head.seq == head + 1
    other = tablet.beside()
    other.comes_from = "192.0.2.8"
    assert "not the code" in words_of(other.post("/let-in", code=codes[0]))
    assert len(codes) == 2
    assert codes[0] != codes[1]


def test_a_code_that_is_guessed_at_is_changed(tablet: PagesBrowser) -> None:
    codes = list[str]()
    tablet.desks._new_code = codes.append
    assert "not the code" in words_of(tablet.post("/let-in", code="0")), "none was shown yet"
    tablet.desks.show_code()
    for _ in range(9):
        tablet.post("/let-in", code="1")
    assert len(codes) == 1
    tablet.post("/let-in", code="1")
    assert len(codes) == 2
    assert "not the code" in words_of(tablet.post("/let-in", code=codes[0]))


@pytest.mark.parametrize("key", ["", "x", "' OR 1=1 --", "A" * 4000])
def test_a_forged_key_lets_nobody_in(shop: Shop, tablet: PagesBrowser, key: str) -> None:
    head = shop.ledger.head.seq
    tablet.cookies.set("mountbook_desk", key, domain="127.0.0.1")
    tablet.post("/counter/scan", line="hold P-1 wobbles")
    assert (tablet.status, shop.ledger.head.seq) == (403, head)


def test_a_desk_that_is_thrown_out_comes_in_no_more(browser: PagesBrowser, tablet: PagesBrowser) -> None:
    tablet.desks._new_code = (codes := list[str]()).append
    tablet.desks.show_code()
    tablet.post("/let-in", code=codes[0])
    tablet.post("/desk/rename", name="Rack tablet")
    tablet.post("/desk/throw-out", name="Desk 1")
    assert {each.name for each in browser.desks.all()} == {"Desk 1", "Rack tablet"}, "nobody signed in there"
    browser.post("/desk/throw-out", name="Rack tablet")
    assert [each.name for each in browser.desks.all()] == ["Desk 1"]
    assert "Let this tablet in" in words_of(tablet.get("/counter"))


def test_a_desk_cannot_take_a_person_s_name(browser: PagesBrowser) -> None:
    assert "a person of the staff list" in words_of(browser.post("/desk/rename", name=IDA.upper()))
    browser.desks.rename(browser.desks.all()[0], "New Person")
    browser.shop.enter(
        "staff listed", {"name": "New Person", "role": "technician", "valid_until": "2027-01-01"}
    )
    head = browser.shop.ledger.head.seq
    assert "nobody has signed in" in words_of(browser.post("/counter/scan", line="hold P-1 wobbles"))
    assert browser.shop.ledger.head.seq == head


def test_who_signs_in_stands_in_the_entry_with_how(browser: PagesBrowser) -> None:
    head = browser.shop.ledger.head.seq
    browser.sign_in(NELL)
    browser.post("/counter/scan", line="hold P-1 wobbles", tap=TAP)
    [entry] = browser.shop.ledger.entries(after=head)
    assert (entry.by, entry.body["tap"]) == (NELL, {"id": TAP, "desk": "Desk 1", "signed": "PIN"})


def test_a_session_ends_without_an_action_and_by_hand(browser: PagesBrowser) -> None:
    browser.sign_in(NELL)
    browser.shop.now += timedelta(minutes=9)
    browser.post("/counter/scan", line="hold P-1 wobbles")
    browser.shop.now += timedelta(minutes=9)
    assert browser.desks.signed_in(browser.desks.all()[0]) == NELL, "the scan counts anew"
    browser.shop.now += timedelta(minutes=2)
    assert browser.desks.signed_in(browser.desks.all()[0]) == ""
    browser.sign_in(NELL)
    browser.post("/sign/out")
    assert browser.desks.signed_in(browser.desks.all()[0]) == ""


def test_wrong_pins_are_counted_and_then_none_is_taken_for_a_while(browser: PagesBrowser) -> None:
    browser.pins.set_pin(IDA, PIN, PIN, by=WIM)
    for _ in range(4):
        assert "not the PIN" in words_of(browser.post("/sign/in", name=IDA, pin="000001"))
    browser.sign_in(IDA)
    assert browser.desks.signed_in(browser.desks.all()[0]) == IDA, "four wrong, then right"
    browser.post("/sign/out")
    for _ in range(5):
        browser.post("/sign/in", name=IDA, pin="000001")
    for pin in ("000001", PIN):
        assert "none is taken until 08:" in words_of(browser.post("/sign/in", name=IDA, pin=pin))
    assert browser.desks.signed_in(browser.desks.all()[0]) == ""
    browser.shop.now += timedelta(minutes=11)
    assert "none is taken" in words_of(browser.post("/sign/in", name=IDA, pin=PIN))
    browser.shop.now += timedelta(minutes=2)
    browser.sign_in(IDA)
    assert browser.desks.signed_in(browser.desks.all()[0]) == IDA


def test_one_desk_does_not_try_one_person_after_the_other(browser: PagesBrowser) -> None:
    for name in (IDA, JORY, WIM):
        browser.pins.set_pin(name, PIN, PIN, by=WIM)
    for name in (IDA, JORY, IDA, JORY, WIM):
        browser.post("/sign/in", name=name, pin="000001")
    assert "none is taken" in words_of(browser.post("/sign/in", name=WIM, pin=PIN))
    other = browser.beside()
    other.sign_in(WIM)
    assert "none is taken" not in words_of(other.get("/sign"))


def test_ten_thousand_tries_find_no_pin(browser: PagesBrowser) -> None:
    """Five are looked at; the others are refused unseen, the right one among them."""
    tries = 10_000
    browser.pins.set_pin(IDA, PIN, PIN, by=WIM)
    [desk] = browser.desks.all()
    said = Counter[str]()
    for pin in (*(f"{n:06}" for n in range(tries)), PIN):
        with pytest.raises(Refused) as refused:
            browser.pins.check(IDA, pin, desk, tries=5, wait_minutes=15)
        said[refused.value.sentence.split(":")[0]] += 1
    assert said == {f"that is not the PIN of {IDA}": 5, "too many wrong PINs": tries - 4}


PINS = {
    "five digits": ("12903", "6 to 12 digits"),
    "six digits": ("129035", "is set"),
    "letters": ("12903a", "6 to 12 digits"),
    "digits of another script": ("١٢٩٠٣٥", "6 to 12 digits"),
    "one digit": ("111111", "too easy"),
    "counting": ("456789", "too easy"),
    "counting down": ("654321", "too easy"),
    "two digits": ("121212", "too easy"),
}


@pytest.mark.parametrize("name", PINS)
def test_a_pin_is_six_digits_that_are_not_guessed_at_once(browser: PagesBrowser, name: str) -> None:
    pin, words = PINS[name]
    assert words in words_of(browser.post("/pin/set", name=WIM, by=WIM, pin=pin, again=pin))


def test_the_first_pin_is_a_manager_s_own_at_the_machine_itself(
    browser: PagesBrowser, tablet: PagesBrowser
) -> None:
    both = {"pin": PIN, "again": PIN}
    assert "set your own PIN first" in words_of(browser.post("/pin/set", name=IDA, by=WIM, **both))
    assert "manager" in words_of(browser.post("/pin/set", name=IDA, by=IDA, **both))
    tablet.desks._new_code = (codes := list[str]()).append
    tablet.desks.show_code()
    tablet.post("/let-in", code=codes[0])
    assert "own machine" in words_of(tablet.post("/pin/set", name=WIM, by=WIM, **both))
    assert not any(browser.pins.has(name) for name in (IDA, WIM))
    assert f"The PIN of {WIM} is set" in words_of(browser.post("/pin/set", name=WIM, by=WIM, **both))


def test_every_other_pin_is_set_beside_a_manager(browser: PagesBrowser) -> None:
    browser.pins.set_pin(WIM, PIN, PIN, by=WIM)
    new = {"pin": "739204", "again": "739204"}
    assert "not the PIN" in words_of(browser.post("/pin/set", name=IDA, by=WIM, pin_by="000001", **new))
    assert not browser.pins.has(IDA)
    assert "differ" in words_of(
        browser.post("/pin/set", name=IDA, by=WIM, pin_by=PIN, pin="739204", again="739205")
    )
    browser.post("/pin/set", name=IDA, by=WIM, pin_by=PIN, **new)
    assert browser.pins.has(IDA)


def test_neither_pin_nor_key_stands_in_the_ledger_or_the_store(browser: PagesBrowser) -> None:
    browser.sign_in(NELL)
    browser.post("/counter/scan", line="hold P-1 wobbles")
    key = browser.cookies["mountbook_desk"]
    for text in (
        "\n".join(browser.desks._store.iterdump()),
        browser.served.path.read_bytes().decode("latin-1"),
    ):
        assert PIN not in text
        assert key not in text
