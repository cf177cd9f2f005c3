"""The evening's pages: the same looks typed as commands, the rings' words, and one signature for the rest."""

from __future__ import annotations

import re
import shutil
from datetime import datetime, timedelta
from pathlib import Path
from urllib.parse import urlencode

import pytest

from fleet.base.errors import BadInput
from fleet.facts.holes import Side
from fleet.facts.standing import Place
from fleet.ledger.ledger import Ledger
from fleet.rules.quick_passes import quick_passes
from fleet.rules.recheck import ScrewDot
from planner.pages.screws import STRIP_WIDE, TAP_WORDS, findings, strips_of
from planner.pages.web import LedgerCare
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, SANNE, Shop
from tests.pages.browser import PagesBrowser, entries_of, words_of

PIECES = ("toe", "heel")
RINGS = [f"ring {side} {piece} {n}" for side in "AB" for piece in PIECES for n in range(1, 5)]
ALL = dict.fromkeys(RINGS, "not-moved")


@pytest.fixture
def evening(browser: PagesBrowser) -> PagesBrowser:
    """P-1 to P-4 came back, P-2's renter fell; Ida has signed in."""
    shop = browser.shop
    shop.out("P-1", "P-2", "P-3", "P-4")
    for tag in ("P-1", "P-3", "P-4"):
        shop.back(tag)
    browser.post("/counter/scan", line="back")
    browser.post("/counter/scan", scan="P-2", said="fell hard")
    browser.sign_in(IDA)
    return browser


def look(browser: PagesBrowser, tag: str, wanted: str, **rings: str) -> str:
    return browser.post("/evening/look", tag=tag, wanted=wanted, **rings)


def test_an_evening_on_the_pages_is_the_same_typed_as_commands(
    evening: PagesBrowser,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    shop, typed = evening.shop, tmp_path / "typed.db"
    shutil.copyfile(shop.ledger.path, typed)
    head = shop.ledger.head.seq
    command = Command(typed, monkeypatch, capsys)

    def too(*words: str) -> None:
        command._now = shop.now - timedelta(minutes=1)
        command(*words)

    spins = "ski B, heel, screw 3 of 4: spins"
    look(evening, "P-2", "hold", **ALL | {"ring B heel 3": "spins", "remark": "loose at the back"})
    too(*f"recheck record P-2 --all not-moved --by {IDA.split()[0]}".split(), "--found", "B heel=spins",
        "--remark", f"loose at the back; {spins}")  # fmt: skip
    look(evening, "P-1", "pass", **ALL)
    too("recheck", "record", "P-1", "--all", "not-moved", "--by", IDA)
    html = evening.get("/evening")
    [list_id] = re.findall(r'name="list" value="([^"]*)"', html)
    evening.post("/evening/rest", **{"list": list_id, "but P-4": "1"})
    too("recheck", "enter", list_id, "--but", "P-4", "--by", IDA)
    look(evening, "P-4", "pass", **ALL)
    too("recheck", "record", "P-4", "--all", "not-moved", "--by", IDA)
    page = words_of(evening.post("/evening/close"))
    assert "CLOSED 4 out - 4 back - 0 later - 0 missing = 0" in page
    too("recheck", "close", "--by", IDA)
    with Ledger.open(typed) as other:
        assert entries_of(shop.ledger, head) == entries_of(other, head)
    assert [shop.place(f"P-{n}") for n in (1, 2, 3, 4)] == [
        Place.READY,
        Place.HOLD,
        Place.READY,
        Place.READY,
    ]


def test_an_evening_is_not_closed_while_a_pair_waits_or_is_out(evening: PagesBrowser) -> None:
    head = evening.shop.ledger.head.seq
    assert "1 pair that may not wait was not looked at: P-2" in words_of(evening.post("/evening/close"))
    assert evening.shop.ledger.head.seq == head
    look(evening, "P-2", "pass", **ALL)
    evening.shop.look("P-1")
    evening.shop.out("P-1")
    assert "1 missing" not in (page := words_of(evening.post("/evening/close")))
    assert "the evening does not add up: 4 out - 3 back - 0 later - 0 missing = 1: P-1" in page


def test_the_ledger_gets_its_care_once_a_day_and_when_the_evening_is_closed(shop: Shop) -> None:
    """After the request, so that nobody at a page waits for it."""
    taken: list[str] = []
    care = LedgerCare(day=lambda _: taken.append("day"), evening=lambda _: taken.append("evening"))
    browser = PagesBrowser.on(shop, care=care)
    browser.get("/counter")
    browser.sign_in(IDA)
    assert taken == [], "the command that serves has taken it"
    browser.post("/evening/close")
    shop.now += timedelta(days=1)
    for _ in range(3):
        browser.get("/counter")
    browser.served.close()
    assert taken == ["evening", "day"]


def test_the_list_is_worst_first_and_says_why(evening: PagesBrowser) -> None:
    page = words_of(evening.get("/evening"))
    assert "CHECK FIRST 1 not to be skipped P-2" in page
    assert "renter: “fell hard”" in page
    assert page.index("P-2") < page.index("P-1")


def test_the_page_of_a_pair_has_a_ring_for_each_screw_of_both_skis(evening: PagesBrowser) -> None:
    html = evening.get("/evening/pair?scan=P-2")
    assert sorted(re.findall(r'data-ring="([^"]*)"', html)) == sorted(RINGS)
    assert "Renter: “fell hard”" in words_of(html)
    assert "1 of 4" in words_of(html)


def test_both_skis_are_scanned_and_two_pairs_mixed_are_caught(evening: PagesBrowser) -> None:
    first = evening.get("/evening/pair?" + urlencode({"scan": "P-2 A"}))
    assert "A yes · B no" in words_of(first)
    other = {"of": "P-2", "seen": "A"}
    assert "A yes · B yes" in words_of(evening.get("/evening/pair?" + urlencode(other | {"scan": "P-2 B"})))
    mixed = evening.get("/evening/pair?" + urlencode(other | {"scan": "P-1 B"}))
    assert "P-2 A and P-1 B are of two pairs: mixed" in words_of(mixed)
    assert "A no · B yes" in words_of(
        evening.get("/evening/pair?" + urlencode({"of": "P-2", "seen": "AB", "scan": "P-1 B"}))
    )


REFUSED: dict[str, tuple[str, dict[str, str], str]] = {
    "a pass of what moved": ("pass", ALL | {"ring A toe 1": "eighth"}, "a hold, never a pass"),
    "a hold of what did not move": ("hold", ALL, "no ring says that a screw moved"),
    "a pass with one ring not tapped": ("pass", ALL | {"ring B toe 4": ""}, "was not seen whole: B toe"),
    "a word that no button has": ("pass", ALL | {"ring B toe 4": "fine"}, "no word of a ring"),
    "no ring at all": ("pass", {}, "was not seen whole"),
    "a screw that another mount had spins": ("pass", ALL | {"ring B toe 5": "spins"}, "are not those of"),
    "a screw that another mount had": ("pass", ALL | {"ring B plate 1": "not-moved"}, "are not those of"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_look_that_does_not_say_what_the_rings_say_is_refused(evening: PagesBrowser, name: str) -> None:
    wanted, rings, words = REFUSED[name]
    head = evening.shop.ledger.head.seq
    assert words in words_of(look(evening, "P-1", wanted, **rings))
    assert evening.shop.ledger.head.seq == head


def test_a_screw_out_of_reach_leaves_the_look_unfinished(evening: PagesBrowser) -> None:
    page = words_of(look(evening, "P-1", "pass", **ALL | {"ring A heel 2": "not-reached"}))
    assert "BACK P-1 not passed: could not reach A heel" in page


def test_a_hold_leads_to_its_tag(evening: PagesBrowser) -> None:
    html = look(evening, "P-1", "hold", **{"ring A heel 2": "cracked"})
    assert "HOLD P-1 ski A heel: cracked" in words_of(html)
    [address] = re.findall(r'href="(/evening/hold-tag[^"]*)"', html)
    answer = evening.ask("GET", address)
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")
    assert "P-3 is not held" in words_of(evening.get("/evening/hold-tag?tag=P-3"))


def test_who_may_not_sign_a_look_is_refused_by_the_ledger_s_rule(evening: PagesBrowser) -> None:
    head = evening.shop.ledger.head.seq
    evening.post("/sign/out")
    assert "nobody is signed in at this desk" in words_of(look(evening, "P-1", "pass", **ALL))
    evening.sign_in(NELL)
    assert "counter staff and cannot sign a look" in words_of(look(evening, "P-1", "pass", **ALL))
    assert evening.shop.ledger.head.seq == head


def test_the_rest_of_a_rack_is_one_signature_shown_as_a_bulk_pass(evening: PagesBrowser) -> None:
    evening.shop.policy("bulk_passes", "3")
    html = evening.get("/evening?rack=R")
    [list_id] = re.findall(r'name="list" value="([^"]*)"', html)
    assert list_id.endswith("/R")
    tap = "0123456789abcdef"
    page = words_of(evening.post("/evening/rest", tap=tap, list=list_id))
    assert "4 PASSED" in page
    head = evening.shop.ledger.head.seq
    again = words_of(evening.post("/evening/rest", tap=tap, list=list_id))
    assert "ENTERED BEFORE 4 pairs, not counted twice: P-1, P-2, P-3, P-4" in again
    assert evening.shop.ledger.head.seq == head, "sent twice, entered once"
    [shown] = quick_passes(evening.shop.ledger.connection, since=evening.shop.now.date())
    assert (shown.by, shown.bulk) == (IDA, 4)


def test_the_rest_that_nobody_signs_is_refused_and_says_who_may(evening: PagesBrowser) -> None:
    """Ida's signature ended while the page was open."""
    [list_id] = re.findall(r'name="list" value="([^"]*)"', evening.get("/evening"))
    evening.post("/sign/out")
    head = evening.shop.ledger.head.seq
    page = words_of(evening.post("/evening/rest", list=list_id))
    assert evening.status == 409
    assert "REFUSED P-1 nobody is signed in at this desk, and this needs a signature; one of these" in page
    assert evening.shop.ledger.head.seq == head


def test_the_rest_of_which_a_part_was_entered_before_says_which(evening: PagesBrowser) -> None:
    """The server was killed after two pairs: the same form, sent again, enters the others."""
    [list_id] = re.findall(r'name="list" value="([^"]*)"', evening.get("/evening"))
    tap = "0123456789abcdef"
    evening.post("/evening/rest", tap=tap, list=list_id, **{"but P-3": "1", "but P-4": "1"})
    page = words_of(evening.post("/evening/rest", tap=tap, list=list_id))
    assert "2 PASSED" in page
    assert "ENTERED BEFORE 2 pairs, not counted twice: P-1, P-2" in page


def test_a_second_check_is_another_person_s_as_the_rule_says(evening: PagesBrowser) -> None:
    from fleet.rules.holds import begin_repair, end_repair

    look(evening, "P-1", "hold", **{"ring A heel 2": "spins"})
    with evening.shop.desk(JORY) as desk:
        begin_repair(desk, "P-1")
    with evening.shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did="reset")
    page = words_of(evening.get("/evening"))
    assert "a second person looks P-1" in page
    assert "Second check" in words_of(evening.get("/evening/pair?scan=P-1"))
    evening.sign_in(JORY)
    assert "REFUSED" in words_of(look(evening, "P-1", "pass", **ALL))
    evening.sign_in(SANNE)
    assert "PASSED P-1" in words_of(look(evening, "P-1", "pass", **ALL))


def dots(n: int, piece: str, x: int) -> tuple[ScrewDot, ...]:
    return tuple(
        ScrewDot(piece=piece, x_um=(x + 30 * (k // 2)) * 1000, y_um=18_000 * (-1) ** k) for k in range(n)
    )


def test_what_the_rings_say_of_a_piece_is_the_worst_of_its_screws() -> None:
    """Each word alone, then each beside every other one on the same piece; ski A and ski B differ."""
    screws = {
        Side.A: (*dots(4, "heel", -100), *dots(4, "toe", 150)),
        Side.B: (*dots(4, "heel", -100), *dots(2, "toe", 150)),
    }
    strips = strips_of(screws, ("heel", "toe"))
    order = ["missing", "cracked", "spins", "more", "half", "quarter", "eighth", "not-reached", "not-moved"]
    assert sorted(order) == sorted(word.key for word in TAP_WORDS)
    found = {word.key: word.found for word in TAP_WORDS}
    for at, worse in enumerate(order):
        for better in order[at:]:
            fields = {f"ring B toe {n}": key for n, key in ((1, better), (2, worse))}
            typed, said = findings(strips, fields)
            assert typed == (f"B toe={found[worse].value}",)
            assert len(said) == sum(key != "not-moved" for key in (better, worse))
    assert findings(strips, {"ring A toe 1": "not-moved"}) == ((), ()), "three of its screws were not seen"
    typed, _ = findings(strips, {"ring A toe 1": "spins"})
    assert typed == ("A toe=spins",), "one that spins is enough"
    for name, word in (("ring A toe 1", "<b>"), ("ring B toe 3", "spins"), ("ring C toe 1", "spins")):
        with pytest.raises(BadInput):
            findings(strips, {name: word})


@pytest.mark.parametrize("count", [2, 4, 6, 8])
def test_each_ring_is_a_finger_wide_on_a_phone_and_none_lies_on_another(count: int) -> None:
    """44 px on a strip of 330 px; measured between the squares that take the tap."""
    strips = strips_of(
        {side: (*dots(count, "heel", -100), *dots(count, "toe", 150)) for side in Side}, ("heel", "toe")
    )
    assert 5.8 * 330 / STRIP_WIDE >= 44
    for strip in strips:
        rings = [(x, y) for piece in strip.pieces for x, y, *_ in strip.rings(piece)]
        assert len(rings) == 2 * count
        for a in rings:
            assert 2.5 <= a[0] <= STRIP_WIDE - 2.5
            assert all(max(abs(a[0] - b[0]), abs(a[1] - b[1])) >= 5.8 for b in rings if b is not a)


def test_a_pair_whose_screws_nobody_recorded_has_one_ring_a_piece(evening: PagesBrowser) -> None:
    evening.shop.pair("P-9", mounted=False)
    html = evening.get("/evening/pair?scan=P-9")
    assert sorted(re.findall(r'data-ring="([^"]*)"', html)) == [
        "ring A heel 1",
        "ring A toe 1",
        "ring B heel 1",
        "ring B toe 1",
    ]
    assert "one ring stands for every screw of a piece" in words_of(html)


def test_markup_in_what_a_renter_said_stays_text(browser: PagesBrowser) -> None:
    browser.shop.out("P-1")
    browser.post("/counter/scan", line="back")
    browser.post("/counter/scan", scan="P-1", said='"><script>alert(1)</script>')
    for address in ("/evening", "/evening/pair?scan=P-1"):
        assert "<script>alert" not in browser.get(address)


def test_a_shop_is_untouched_by_looking(evening: PagesBrowser, shop: Shop) -> None:
    head = shop.ledger.head.seq
    for address in ("/evening", "/evening?rack=R", "/evening/pair?scan=P-1", "/evening/pair?scan=P-99"):
        evening.get(address)
    assert shop.ledger.head.seq == head


def test_a_look_that_waited_is_entered_at_the_time_it_was_made(evening: PagesBrowser) -> None:
    """A tablet had lost the network for ten minutes, and P-1 came back again in between."""
    shop = evening.shop
    head = shop.ledger.head.seq
    shop.tick(minutes=30)
    evening.sign_in(IDA)
    look(evening, "P-4", "pass", **ALL | {"waited": "600", "person": IDA})
    [entry] = shop.ledger.entries(after=head)
    made = datetime.fromisoformat(entry.stated_at_utc)
    assert datetime.fromisoformat(entry.recorded_at_utc) - made == timedelta(minutes=10)
    assert shop.place("P-4") is Place.READY
    look(evening, "P-3", "pass", **ALL | {"waited": "29"})
    assert shop.place("P-3") is Place.READY
    look(evening, "P-1", "pass", **ALL)
    shop.out("P-1")
    shop.back("P-1")
    head = shop.ledger.head.seq
    words = words_of(look(evening, "P-1", "pass", **ALL | {"waited": "600", "person": IDA}))
    assert "P-1 came back" in words
    assert "check the time of this look" in words
    assert shop.ledger.head.seq == head
    assert shop.place("P-1") is Place.BACK, "a pass made before the return opens no door"
    look(evening, "P-1", "pass", **ALL | {"waited": "0", "person": IDA})
    assert shop.place("P-1") is Place.READY


@pytest.mark.parametrize("waited", ["-5", "soon", "99999999", "1e3"])
def test_a_look_of_which_nobody_knows_how_long_it_waited_is_refused(
    evening: PagesBrowser, waited: str
) -> None:
    head = evening.shop.ledger.head.seq
    assert "how long this look waited" in words_of(look(evening, "P-1", "pass", **ALL | {"waited": waited}))
    assert evening.shop.ledger.head.seq == head


def test_a_look_that_waited_is_never_signed_by_another(evening: PagesBrowser) -> None:
    head = evening.shop.ledger.head.seq
    evening.sign_in(SANNE)
    words = words_of(look(evening, "P-1", "pass", **ALL | {"waited": "600", "person": IDA}))
    assert f"{IDA} made this look" in words
    assert evening.shop.ledger.head.seq == head
