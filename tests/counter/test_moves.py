"""The table of moves against what the ledger does, and the table as the documentation draws it."""

from __future__ import annotations

import itertools

import pytest

from fleet.base.errors import Refused
from fleet.events.facts import place_of
from fleet.events.movement import MOVED_TO
from fleet.facts.equipment import Place
from fleet.rules.moves import MOVES, Move, check_move, moves_table


def test_every_move_stands_in_the_table_once() -> None:
    assert [line.move for line in MOVES] == list(Move)


def test_only_a_ready_pair_goes_out() -> None:
    for place in Place:
        if place is Place.READY:
            check_move(Move.OUT, "K-1", place)
        else:
            with pytest.raises(Refused, match="it cannot go out"):
                check_move(Move.OUT, "K-1", place)


def test_nothing_comes_back_from_sold_or_retired() -> None:
    for line in MOVES:
        assert Place.SOLD not in line.frm
        assert Place.RETIRED not in line.frm


def test_only_a_pass_leads_to_ready_but_for_a_hold_lifted_from_a_passed_pair() -> None:
    assert {line.move for line in MOVES if Place.READY in line.to} == {Move.PASS, Move.CLEAR_HOLD}


def test_every_line_says_why() -> None:
    assert all(len(line.why) > 15 for line in MOVES)
    table = moves_table()
    assert all(line.why in table for line in MOVES)
    assert len({len(row.split("|")) for row in table.splitlines()}) == 1


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
