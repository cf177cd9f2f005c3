"""The table of moves against what the ledger does, and what a person reads where it says no."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from fleet.base.errors import Refused
from fleet.events.event import place_of
from fleet.events.movement import MOVED_TO
from fleet.facts.standing import Place
from fleet.rules.moves import MOVES, Move, check_move


def test_every_move_stands_in_the_table_once() -> None:
    assert [line.move for line in MOVES] == list(Move)


def test_only_a_ready_pair_goes_out() -> None:
    for place in Place:
        if place is Place.READY:
            check_move(Move.OUT, "K-1", place)
        else:
            with pytest.raises(Refused, match="it cannot go out"):
                check_move(Move.OUT, "K-1", place)


def test_nothing_comes_back_from_sold_or_retired_but_what_a_van_took_and_brings_home() -> None:
    """That nothing else may be sent home from there is checked with the vans (`tests/chain`)."""
    for line in MOVES:
        assert Place.SOLD not in line.frm
        assert Place.RETIRED not in line.frm or line.move is Move.COME_HOME


def test_only_a_pass_leads_to_ready_but_for_a_hold_lifted_from_a_passed_pair() -> None:
    assert {line.move for line in MOVES if Place.READY in line.to} == {Move.PASS, Move.CLEAR_HOLD}


def test_every_line_says_why() -> None:
    assert all(len(line.why) > 15 for line in MOVES)


def test_the_table_for_people_is_this_table() -> None:
    """A rule that changes here changes there."""
    text = (Path(__file__).parents[2] / "fleet" / "rules" / "MOVES.md").read_text(encoding="utf-8")
    for line in MOVES:
        frm, to = (", ".join(place.value for place in places) for places in (line.frm, line.to))
        assert f"\n| {line.move.value} | {frm} | {to or '(stays)'} | {line.why} |\n" in text


def test_each_move_is_allowed_from_the_places_of_its_line_and_from_no_other() -> None:
    for line in MOVES:
        for place in Place:
            if place in line.frm:
                check_move(line.move, "K-1", place)
                check_move(line.move, "K-1", place, detail="heel turned")
                continue
            for detail, said in (("", ""), ("heel turned", " (heel turned)")):
                with pytest.raises(Refused) as refused:
                    check_move(line.move, "K-1", place, detail=detail)
                is_there = f"K-1 is {place.words}{said}"
                assert refused.value.sentence == f"{is_there}: it cannot {line.move.value}"
                froms = ", ".join(each.words for each in line.frm)
                assert refused.value.cure == f"only from: {froms}; the rule: {line.why}"


def test_a_place_is_said_in_the_words_of_the_trade() -> None:
    assert {place.value: place.words for place in Place if place.words != place.value} == {
        "hold": "on hold",
        "second check": "waiting for its second check",
        "quarantine": "in quarantine",
        "flat": "flat (no binding on)",
        "back": "back and not passed",
    }
    assert (Place.OUT.words, Place.IN_REPAIR.words) == ("out", "in repair")


def test_a_stop_always_outranks_a_pass() -> None:
    """All 128 combinations of stops: the pair is ready only with none of them and a pass that counts."""
    for quarantine, repair, hold, stop, second, mounted, passed in itertools.product((0, 1), repeat=7):
        facts = {
            "whereabouts": "shop",
            "quarantine_entry": quarantine,
            "repair_entry": repair,
            "hold_entry": hold,
            "stop_entry": stop,
            "second_check": second,
            "return_entry": 5,
            "return_at": "2026-12-27T10",
            "work_entry": 0,
            "work_at": "",
            "fault_entry": 0,
            "fault_at": "",
            "unfinished_entry": 0,
            "unfinished_at": "",
            "pass_entry": 6 if passed else 4,
            "pass_at": "2026-12-27T11",
        }
        place = place_of(facts, mounted=bool(mounted))
        stopped = quarantine or repair or hold or stop or second or not mounted
        assert (place is Place.READY) == (not stopped and bool(passed))
        for away in (*MOVED_TO, Place.OUT):
            assert place_of(facts | {"whereabouts": away.value}, mounted=bool(mounted)) is away
