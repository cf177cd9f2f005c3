"""Boots, notes and listings in need, entered since the copy was made: a restore carries them over too."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest

from fleet.audit.full import audit_file
from fleet.base.errors import Refused
from fleet.facts.standing import Place
from fleet.ledger.people import list_person, set_policy
from fleet.rules.boots import clear_boot, hold_boot
from fleet.rules.counter import move
from fleet.rules.notes import answer, end_notes, make_note, open_questions
from fleet.tables.snapshot import read_boots, read_notes, read_staff
from tests.counter.shop import IDA, JORY, NELL, SANNE, WIM, Shop
from tests.counter.way_back import Counter


@pytest.fixture
def counter(shop: Shop, tmp_path: Path) -> Counter[Shop]:
    return Counter(shop, tmp_path)


def held(shop: Shop, why: str = "buckle torn off", boot: str = "B-305") -> None:
    with shop.desk(NELL) as desk:
        hold_boot(desk, boot, why=why)


def moved(to: str) -> Callable[[Shop], None]:
    def act(shop: Shop) -> None:
        with shop.desk(WIM) as desk:
            move(desk, "B-305", to=to, reason="the season's end")

    return act


def held_and_missing(shop: Shop) -> None:
    held(shop)
    moved("missing")(shop)


SINCE: dict[str, tuple[Callable[[Shop], None], Place, str]] = {
    "held": (held, Place.HOLD, "hold: buckle torn off"),
    "missing": (moved("missing"), Place.MISSING, "missing"),
    "sold": (moved("sold"), Place.SOLD, "sold"),
    "held and missing": (held_and_missing, Place.MISSING, "hold: buckle torn off; missing"),
}


@pytest.mark.parametrize("name", SINCE)
def test_what_happened_to_a_boot_since_the_copy_still_keeps_it_in(counter: Counter[Shop], name: str) -> None:
    act, place, words = SINCE[name]
    shop = counter.shop
    act(shop)
    done = counter.back()
    boot = read_boots(shop.ledger.connection)["B-305"]
    assert boot.place is place
    if "hold" in words:
        assert boot.hold_why == "buckle torn off"
    with pytest.raises(Refused, match="boot B-305 is barred"):
        shop.out("P-1", boot="B-305")
    shop.out("P-2", boot="B-310", set_now=True)  # another boot of the copy goes
    assert [(line.tag, line.words) for line in done.carried] == [("boot B-305", words)]
    assert not {"boot held", "boot moved"} & done.gone.keys()
    assert audit_file(counter.path, now=shop.now).clean


def test_what_was_lifted_since_is_lifted_again_by_a_person(shop: Shop, tmp_path: Path) -> None:
    held(shop)
    counter = Counter(shop, tmp_path)
    with shop.desk(SANNE) as desk:
        clear_boot(desk, "B-305", why="sewn on")
    done = counter.back()
    assert read_boots(shop.ledger.connection)["B-305"].place is Place.HOLD
    assert done.carried == ()


def test_a_stopped_boot_that_the_copy_does_not_know_is_said(counter: Counter[Shop]) -> None:
    counter.shop.boot("B-NEW", 305, "alpine A")
    held(counter.shop, boot="B-NEW")
    done = counter.back()
    assert [(line.tag, line.words) for line in done.carried] == [
        ("boot B-NEW", "hold: buckle torn off; this copy does not know it: enter it again, then stop it")
    ]


def note(shop: Shop, name: str, text: str) -> None:
    with shop.desk(NELL) as desk:
        make_note(desk, name, text)


def test_notes_made_since_the_copy_stand_and_ask_as_they_did(shop: Shop, tmp_path: Path) -> None:
    note(shop, "P-4", "blue edge")
    counter = Counter(shop, tmp_path)
    note(shop, "P-1/A", "heel loose")
    note(shop, "B-305", "small crack?")
    note(shop, "P-2/B", "stored upstairs")
    note(shop, "P-3", "over")
    note(shop, "P-2", "heel loose")
    with shop.desk(JORY) as desk:
        end_notes(desk, "P-3")
        answer(desk, "P-2", took=False, why="looked")
    done = counter.back()
    found = [(n.name, n.text) for n in read_notes(shop.ledger.connection, where="ended_entry = 0")]
    assert found == [
        ("P-4", "blue edge"),
        ("P-1/A", "heel loose"),
        ("B-305", "small crack?"),
        ("P-2/B", "stored upstairs"),
        ("P-2", "heel loose"),
    ]
    asked = [each.note.name for each in open_questions(shop.ledger.connection)]
    assert asked[0] == "P-1/A"
    assert asked[-1] == "P-2"  # the answer is given again, by a person
    assert ("P-1/A", "note: heel loose") in [(line.tag, line.words) for line in done.carried]
    assert "note made" not in done.gone
    assert audit_file(counter.path, now=shop.now).clean


def test_a_note_on_a_thing_that_the_copy_does_not_know_is_said(counter: Counter[Shop]) -> None:
    counter.shop.boot("B-NEW", 305, "alpine A")
    note(counter.shop, "B-NEW", "lace torn")
    done = counter.back()
    assert [(line.tag, line.words) for line in done.carried] == [
        ("B-NEW", "note: lace torn; this copy does not know it: enter it again, then note it")
    ]


def test_a_listing_in_need_stays_one_and_neither_of_the_two_answers_for_it(
    shop: Shop, tmp_path: Path
) -> None:
    """Both of those who give rights ran out; Jory and Sanne list a manager. The copy is of before."""
    for name, role in ((IDA, "head technician"), (WIM, "manager")):
        shop.enter("staff listed", {"name": name, "role": role, "valid_until": "2026-12-28"})
    counter = Counter(shop, tmp_path)
    shop.now += timedelta(days=3)
    with shop.desk(JORY) as desk:
        list_person(desk, "Vera Lind", role="manager", until=date(2027, 5, 31), second=SANNE)
    assert not audit_file(counter.path, now=shop.now).clean
    counter.back(by="Vera Lind")
    assert read_staff(shop.ledger.connection)["Vera Lind"].valid_until == date(2027, 5, 31)
    [asked] = [f for f in audit_file(counter.path, now=shop.now).findings if f.code == "listed in need"]
    entry = asked.entry
    assert asked.sentence == (
        f"entry {entry} lists Vera Lind as manager by {JORY} and {SANNE},"
        " while no manager or head technician was in date"
    )
    for by, answers in (("Vera Lind", False), (JORY, False), (SANNE, False)):
        shop.enter("entry remarked", {"entry": entry}, by=by)
        assert audit_file(counter.path, now=shop.now).clean is answers
    shop.enter(
        "staff listed", {"name": "Oda", "role": "technician", "valid_until": "2027-05-31"}, by="Vera Lind"
    )
    shop.enter("entry remarked", {"entry": entry}, by="Oda")
    assert audit_file(counter.path, now=shop.now).clean


def _policy(shop: Shop) -> None:
    with shop.desk(WIM) as desk:
        set_policy(desk, "pass_days", "3", origin="our rule of this winter")


def _failed(shop: Shop, outcome: str = "failed") -> None:
    test = {"tag": "P-1", "side": "A", "piece": "toe", "device": "bench 1", "result": "as told"}
    shop.enter("release test recorded", test | {"outcome": outcome}, by=JORY)


def _sole(shop: Shop) -> None:
    shop.enter("boot changed", {"tag": "B-305", "changes": {"bsl_um": [305_000, 303_500]}}, by=IDA)


STATED: dict[str, tuple[Callable[[Shop], object], str, str]] = {
    "a rule": (_policy, "SELECT value FROM policy WHERE name = 'pass_days'", "3"),
    "a fit taken back": (
        lambda s: s.enter("fit taken back", {"sole_type": "alpine A", "pattern": "Lark 4"}, by=IDA),
        "SELECT count(*) FROM fit WHERE sole_type = 'alpine A' AND pattern = 'Lark 4'",
        "0",
    ),
    "a failed release test": (
        _failed,
        "SELECT outcome FROM release_test WHERE tag = 'P-1'",
        "failed",
    ),
    "a sole measured again": (_sole, "SELECT bsl_um FROM boot WHERE tag = 'B-305'", "303500"),
}


@pytest.mark.parametrize("set_back", [timedelta(0), timedelta(days=3)])
@pytest.mark.parametrize("name", STATED)
def test_what_was_stated_since_the_copy_holds_after_it_whatever_the_clock_says(
    counter: Counter[Shop], name: str, set_back: timedelta
) -> None:
    act, query, value = STATED[name]
    shop = counter.shop
    act(shop)
    (stated,) = [e.stated_at_utc for e in shop.ledger.entries(after=counter.copy.head.seq)]
    shop.now -= set_back
    done = counter.back()
    assert str(shop.ledger.connection.execute(query).fetchone()[0]) == value
    assert done.carried
    assert not any("enter it again" in line.words for line in done.carried)
    assert stated in [e.stated_at_utc for e in shop.ledger.entries(after=done.backup_head.seq)]
    assert not done.gone
    assert audit_file(shop.ledger.path, now=shop.now).sound


def test_a_passed_release_test_since_the_copy_is_not_carried_over_and_is_said_to_be_gone(
    counter: Counter[Shop],
) -> None:
    _failed(counter.shop, "passed")
    done = counter.back()
    assert counter.shop.ledger.connection.execute("SELECT count(*) FROM release_test").fetchone()[0] == 0
    assert done.gone == {"release test recorded": 1}


@pytest.mark.parametrize("renamed_first", [True, False])
def test_a_failed_test_of_a_pair_renamed_since_the_copy_is_carried_over(
    counter: Counter[Shop], renamed_first: bool
) -> None:
    shop = counter.shop
    test = {"side": "A", "piece": "toe", "device": "bench 1", "result": "as told", "outcome": "failed"}
    if not renamed_first:
        shop.enter("release test recorded", test | {"tag": "P-1"}, by=JORY)
    shop.enter("pair renamed", {"tag": "P-1", "to": "N-1"}, by=IDA)
    if renamed_first:
        shop.enter("release test recorded", test | {"tag": "N-1"}, by=JORY)
    done = counter.back()
    rows = shop.ledger.connection.execute("SELECT tag, outcome FROM release_test").fetchall()
    assert [tuple(row) for row in rows] == [("N-1", "failed")]
    assert not any("enter it again" in line.words for line in done.carried)
    assert audit_file(shop.ledger.path, now=shop.now).sound
