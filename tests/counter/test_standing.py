"""How a pair stands, read from the file: every fact in its own place, and the words made of it."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from fleet.base.errors import Refused
from fleet.facts.standing import (
    NEVER,
    NOT_KNOWN,
    REMOVED,
    BindingSetting,
    Moment,
    Place,
    Standing,
    pass_counts,
    pieces_text,
    read_setting,
    read_standing,
    read_standings,
    standing_from_row,
)
from fleet.rules.holds import hold, quarantine
from tests.counter.shop import IDA, NELL, Shop

SET = {"sole_um": 305_500, "entry": 15, "at": "at 15", "by": "Gil", "how": "set, boot in"}
ROW: dict[str, object] = {
    "tag": "K-1",
    "place": "hold",
    "place_entry": 1,
    "place_at": "at 1",
    "out_entry": 2,
    "out_at": "at 2",
    "out_boot": "B-9",
    "out_due": "2026-12-30",
    "return_entry": 3,
    "return_at": "at 3",
    "said_entry": 4,
    "days_out": 5,
    "work_entry": 6,
    "work_at": "at 6",
    "work_what": "a repair",
    "workers": '["Ann", "Bea"]',
    "second_check": 1,
    "returns_since_work": 7,
    "glued_at": "at 8",
    "glued_with": '["epoxy", "wood_glue"]',
    "look_entry": 9,
    "fault_entry": 10,
    "fault_at": "at 10",
    "loose": '[["B", "heel"], ["A", "toe"]]',
    "returns_since_fault": 11,
    "unfinished_entry": 12,
    "unfinished_at": "at 12",
    "unreached": '[["A", "heel"]]',
    "pass_entry": 13,
    "pass_at": "at 13",
    "pass_by": "Cleo",
    "hold_entry": 14,
    "hold_why": "B heel: spins",
    "hold_note": None,
    "stop_entry": 0,
    "stop_why": "",
    "stop_noted": None,
    "stop_note": None,
    "finders": '["Dora"]',
    "cleared_by": '["Ella", "Fay"]',
    "quarantine_entry": 0,
    "quarantine_note": None,
    "stands": json.dumps({side: {"": SET} for side in "AB"}),
    "undo_entry": 16,
}
STANDING = Standing(
    tag="K-1",
    place=Place.HOLD,
    since=Moment(1, "at 1"),
    out=Moment(2, "at 2"),
    out_boot="B-9",
    out_due="2026-12-30",
    returned=Moment(3, "at 3"),
    said_entry=4,
    days_out=5,
    work=Moment(6, "at 6"),
    work_what="a repair",
    workers=("Ann", "Bea"),
    second_check=True,
    returns_since_work=7,
    glued_at="at 8",
    glued_with=("epoxy", "wood_glue"),
    look_entry=9,
    fault=Moment(10, "at 10"),
    loose=(("B", "heel"), ("A", "toe")),
    returns_since_fault=11,
    unfinished=Moment(12, "at 12"),
    unreached=(("A", "heel"),),
    passed=Moment(13, "at 13"),
    pass_by="Cleo",
    hold_entry=14,
    hold_why="B heel: spins",
    stop_entry=0,
    stop_why="",
    finders=("Dora",),
    cleared_by=("Ella", "Fay"),
    quarantine_entry=0,
    quarantine_why="",
    setting=BindingSetting(bsl_um=305_500, when=Moment(15, "at 15"), by="Gil"),
    undo_entry=16,
)


def test_every_column_of_the_row_is_the_fact_of_its_name() -> None:
    assert standing_from_row(ROW) == STANDING


NOT_HELD = {"hold_entry": 0, "hold_why": "old words"}
STOPPED = {"stop_entry": 20, "stop_why": "drilled askew, B heel"}
# what the row says; what the pair is then held or locked away for
STOPS: dict[str, tuple[dict[str, object], dict[str, Any]]] = {
    "not held: old words do not count": (NOT_HELD, {"hold_entry": 0, "hold_why": ""}),
    "held, with the words of a note": (
        {"hold_why": "", "hold_note": "tag fell off"},
        {"hold_why": "tag fell off"},
    ),
    "what the look found goes before a note": ({"hold_note": "a note"}, {"hold_why": "B heel: spins"}),
    "held, and the note was blanked": ({"hold_why": "", "hold_note": None}, {"hold_why": REMOVED}),
    "stopped at the bench": (
        {**NOT_HELD, **STOPPED},
        {
            "hold_entry": 20,
            "hold_why": "drilled askew, B heel",
            "stop_entry": 20,
            "stop_why": "drilled askew, B heel",
        },
    ),
    "stopped, with a reason in words": (
        {**NOT_HELD, **STOPPED, "stop_noted": 20, "stop_note": "the jig slipped"},
        {
            "hold_entry": 20,
            "hold_why": "drilled askew, B heel: the jig slipped",
            "stop_entry": 20,
            "stop_why": "drilled askew, B heel: the jig slipped",
        },
    ),
    "stopped, and the reason was blanked": (
        {**NOT_HELD, **STOPPED, "stop_noted": 20, "stop_note": None},
        {
            "hold_entry": 20,
            "hold_why": "drilled askew, B heel: (text removed)",
            "stop_entry": 20,
            "stop_why": "drilled askew, B heel: (text removed)",
        },
    ),
    "stopped and held: the stop is said first": (
        STOPPED,
        {
            "hold_entry": 14,
            "hold_why": "drilled askew, B heel; B heel: spins",
            "stop_entry": 20,
            "stop_why": "drilled askew, B heel",
        },
    ),
    "stopped and held for the same: said once": (
        {**STOPPED, "hold_why": "drilled askew, B heel"},
        {
            "hold_entry": 14,
            "hold_why": "drilled askew, B heel",
            "stop_entry": 20,
            "stop_why": "drilled askew, B heel",
        },
    ),
    "a stop that was ended says nothing": ({"stop_why": "old words"}, {}),
    "in quarantine": (
        {"quarantine_entry": 17, "quarantine_note": "a fall"},
        {"quarantine_entry": 17, "quarantine_why": "a fall"},
    ),
    "in quarantine, and the note was blanked": (
        {"quarantine_entry": 17},
        {"quarantine_entry": 17, "quarantine_why": "(text removed)"},
    ),
    "not in quarantine any more": ({"quarantine_note": "a fall"}, {}),
    "out with nobody's boot, for no stated time": (
        {"out_boot": None, "out_due": None},
        {"out_boot": None, "out_due": None},
    ),
    "no second check": ({"second_check": 0}, {"second_check": False}),
    "never set": (
        {"stands": "{}"},
        {"setting": NOT_KNOWN},
    ),
}


@pytest.mark.parametrize("name", STOPS)
def test_what_the_row_says_is_what_the_pair_stands_for(name: str) -> None:
    row, facts = STOPS[name]
    assert standing_from_row(ROW | row) == replace(STANDING, **facts)


def test_what_a_person_reads_of_it() -> None:
    assert NOT_KNOWN.words == "not known"
    assert BindingSetting(bsl_um=305_000).words == "305 mm"
    assert pieces_text((("A", "toe"), ("B", "heel"))) == "ski A toe, ski B heel"
    assert STANDING.causes == "B heel: spins"
    assert replace(STANDING, quarantine_why="a fall").causes == "a fall; B heel: spins"
    assert replace(STANDING, hold_why="").causes == ""


PASS = Moment(50, "2026-12-28T09:00:00.000Z")
# an event; whether a pass by entry 50 at nine is later than it
EVENTS = {
    "nothing happened": (NEVER, True),
    "before it in both": (Moment(49, "2026-12-28T08:59:59.999Z"), True),
    "entered after it, said to be before": (Moment(51, "2026-12-28T08:59:59.999Z"), False),
    "entered before it, said to be at the same time": (Moment(49, PASS.at), False),
    "entered before it, said to be after": (Moment(49, "2026-12-28T09:00:00.001Z"), False),
    "the same entry": (Moment(50, "2026-12-28T08:59:59.999Z"), False),
    "after it in both": (Moment(51, "2026-12-28T09:00:00.001Z"), False),
}


@pytest.mark.parametrize("name", EVENTS)
@pytest.mark.parametrize("what", ["returned", "work", "fault", "unfinished"])
def test_a_pass_counts_only_if_it_is_later_than_each_event(what: str, name: str) -> None:
    event, later = EVENTS[name]
    quiet = {"returned": NEVER, "work": NEVER, "fault": NEVER, "unfinished": NEVER}
    standing = replace(STANDING, passed=PASS, **{**quiet, what: event})
    assert standing.passes is later
    # work done alone is no look: who did it is not asked for another
    assert standing.waits_for_a_look is (not later and what != "work")


def test_without_a_pass_nothing_passes() -> None:
    assert pass_counts(PASS, ())
    assert pass_counts(Moment(1, PASS.at), ())
    assert not pass_counts(NEVER, ())
    assert not pass_counts(NEVER, (NEVER,))
    assert pass_counts(PASS, (NEVER, Moment(49, "2026"), NEVER))
    assert not pass_counts(PASS, (Moment(49, "2026"), Moment(51, "2026"), NEVER))
    nothing = {"passed": NEVER, "returned": NEVER, "work": NEVER, "fault": NEVER, "unfinished": NEVER}
    assert not replace(STANDING, **nothing).waits_for_a_look
    assert not replace(STANDING, **nothing).passes


def test_a_pair_that_is_not_there_is_refused_with_the_nearest(shop: Shop) -> None:
    for tag, cure in (("P-11", "did you mean P-1?"), ("something else", "check the tag")):
        with pytest.raises(Refused) as refused:
            read_standing(shop.ledger.connection, tag)
        assert refused.value.sentence == f"there is no pair {tag} in the ledger"
        assert refused.value.cure == cure


def test_each_pair_has_its_own_row_and_its_own_words(shop: Shop) -> None:
    """P-2 is held for one thing and in quarantine for another; P-1 and P-3 beside it are not."""
    with shop.desk(IDA) as desk:
        hold(desk, "P-2", why="tag fell off")
    with shop.desk(IDA) as desk:
        quarantine(desk, "P-2", why="a fall")
    connection = shop.ledger.connection
    assert [s.tag for s in read_standings(connection)] == ["P-1", "P-2", "P-3", "P-4", "T-1"]
    assert [s.tag for s in read_standings(connection, where="tag IN (?, ?)", args=("T-1", "P-3"))] == [
        "P-3",
        "T-1",
    ]
    assert [(s.hold_why, s.quarantine_why) for s in read_standings(connection, where="tag <= 'P-3'")] == [
        ("", ""),
        ("tag fell off", "a fall"),
        ("", ""),
    ]
    assert read_standing(connection, "P-3").tag == "P-3"


def test_what_a_pair_is_set_for_is_read_for_that_pair(shop: Shop) -> None:
    shop.set_binding("P-2", 310, by=IDA)
    connection = shop.ledger.connection
    assert read_setting(connection, "P-1") == read_standing(connection, "P-1").setting
    assert (read_setting(connection, "P-1").bsl_um, read_setting(connection, "P-1").by) == (305_000, NELL)
    assert read_setting(connection, "P-2") == read_standing(connection, "P-2").setting
    assert (read_setting(connection, "P-2").bsl_um, read_setting(connection, "P-2").by) == (310_000, IDA)
    assert read_setting(connection, "P-9") == NOT_KNOWN
