"""Which pairs stand on today's recheck list, why, and in which order: each rule at its limit."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from fleet.base.entries import Head
from fleet.facts.holes import Mount, PieceSlide, Side
from fleet.facts.standing import NEVER, NOT_KNOWN, BindingSetting, Moment, Standing, standing_from_row
from fleet.ledger.corrections import redact
from fleet.ledger.people import set_policy
from fleet.rules.holds import end_repair
from fleet.rules.notes import end_notes, make_note
from fleet.rules.recheck import (
    Group,
    RecheckList,
    RecheckRow,
    ScrewDot,
    UnreturnedPair,
    _PairFacts,
    _why,
    recheck_list,
    screw_dots,
)
from tests.counter.shop import IDA, JORY, NELL, SANNE, WIM, ZONE, Shop, binding_body, lark
from tests.counter.test_standing import ROW

A, B = Side.A, Side.B
FIRST, DUE, ROUTINE = Group.CHECK_FIRST, Group.DUE, Group.ROUTINE
QUIET: Standing = replace(
    standing_from_row(ROW),
    said_entry=0,
    loose=(),
    unreached=(),
    returns_since_fault=3,
    returns_since_work=3,
    passed=Moment(50, "at 50"),
    days_out=3,
    work_what="a repair",
)
"""Nothing to look at first: two returns count as the first ones, four days out are due."""
RATE = "its pattern moves more often than the fleet"


def why(
    *, said: str = "clicks", rate: str = "", found: Any = None, unskied: str = "", **facts: Any
) -> tuple[Group, int, tuple[str, ...], set[Any]]:
    group, weight, reasons, marked = _why(
        replace(QUIET, **facts),
        first_returns=2,
        due_days=4,
        said=said,
        rate=rate,
        found=found or {},
        unskied=unskied,
    )
    return group, weight, reasons, set(marked)


LOOSE: dict[str, Any] = {"loose": (("B", "heel"), ("A", "toe"))}
LOOSE_WORDS = ("loose last time: ski B heel", "loose last time: ski A toe")
NEVER_PASSED = "never passed: nothing is known"
AGED = "passed on Sun 27 Dec 2026, and a pass counts for 10 days in the rack"
REASONS: dict[str, tuple[dict[str, Any], tuple[Group, int, tuple[str, ...], set[Any]]]] = {
    "nothing": ({}, (ROUTINE, 0, ("routine",), set())),
    "a pattern that moves more often": ({"rate": RATE}, (ROUTINE, 1, (RATE,), set())),
    "a day before it is due": ({"days_out": 3}, (ROUTINE, 0, ("routine",), set())),
    "due": ({"days_out": 4}, (DUE, 0, ("4 days out since the last pass",), set())),
    "due, of a pattern that moves": (
        {"days_out": 9, "rate": RATE}, (DUE, 0, ("9 days out since the last pass", RATE), set()),
    ),
    "the renter said so": ({"said_entry": 7}, (FIRST, 8, ("renter: “clicks”",), set())),
    "said, due and of a pattern that moves": (
        {"said_entry": 7, "days_out": 9, "rate": RATE}, (FIRST, 8, ("renter: “clicks”", RATE), set()),
    ),
    "loose, second return": (
        {**LOOSE, "returns_since_fault": 2}, (FIRST, 4, LOOSE_WORDS, {(B, "heel"), (A, "toe")}),
    ),
    "loose, as the look said it": (
        {**LOOSE, "returns_since_fault": 2, "found": {"B": {"heel": "spins"}, "A": {"toe": "more"}}},
        (FIRST, 4, ("spins last time: ski B heel", "turned last time: ski A toe"), {(B, "heel"), (A, "toe")}),
    ),
    "loose, third return": ({**LOOSE, "returns_since_fault": 3}, (ROUTINE, 0, ("routine",), set())),
    "a repair, second return": ({"returns_since_fault": 2}, (FIRST, 3, ("after a repair",), set())),
    "a repair, third return": ({"returns_since_fault": 3}, (ROUTINE, 0, ("routine",), set())),
    "said, after a repair": (
        {"said_entry": 7, "returns_since_fault": 1},
        (FIRST, 11, ("renter: “clicks”", "after a repair"), set()),
    ),
    "not reached": (
        {"unreached": (("B", "toe"), ("A", "heel"))},
        (
            FIRST,
            4,
            ("could not reach last time: ski B toe", "could not reach last time: ski A heel"),
            {(B, "toe"), (A, "heel")},
        ),
    ),
    "loose on one ski, not reached on the other": (
        {"loose": (("A", "toe"),), "unreached": (("B", "toe"),), "returns_since_fault": 1},
        (
            FIRST,
            8,
            ("loose last time: ski A toe", "could not reach last time: ski B toe"),
            {(A, "toe"), (B, "toe")},
        ),
    ),
    "work, first return": ({"returns_since_work": 1}, (FIRST, 2, ("1st return after a repair",), set())),
    "work, second return": (
        {"returns_since_work": 2, "work_what": "a mount"}, (FIRST, 2, ("2nd return after a mount",), set()),
    ),
    "work, third return": ({"returns_since_work": 3}, (ROUTINE, 0, ("routine",), set())),
    "work, not out since": ({"returns_since_work": 0}, (FIRST, 2, ("0th return after a repair",), set())),
    "never passed": ({"passed": NEVER}, (FIRST, 1, (NEVER_PASSED,), set())),
    "in the rack, not skied since its pass": (
        {"unskied": AGED, "returns_since_work": 1}, (ROUTINE, -1, (AGED,), set()),
    ),
    "in the rack, of a pattern that moves": (
        {"unskied": AGED, "rate": RATE}, (ROUTINE, -1, (AGED, RATE), set()),
    ),
    "passed by the first entry": ({"passed": Moment(1, "at 1")}, (ROUTINE, 0, ("routine",), set())),
    "all at once": (
        {
            "said_entry": 7,
            "loose": (("B", "heel"),),
            "returns_since_fault": 1,
            "unreached": (("A", "toe"),),
            "returns_since_work": 1,
            "passed": NEVER,
            "days_out": 9,
            "rate": RATE,
        },
        (
            FIRST,
            19,
            (
                "renter: “clicks”",
                "loose last time: ski B heel",
                "could not reach last time: ski A toe",
                "1st return after a repair",
                NEVER_PASSED,
                RATE,
            ),
            {(B, "heel"), (A, "toe")},
        ),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", REASONS)
def test_why_a_pair_is_looked_at(name: str) -> None:
    facts, found = REASONS[name]
    assert why(**facts) == found


@pytest.mark.parametrize(("returns", "words"), [(1, "1st"), (2, "2nd"), (3, "3rd"), (4, "4th"), (11, "11th")])
def test_a_shop_that_counts_more_returns_as_the_first_ones_reads_their_number(
    returns: int, words: str
) -> None:
    standing = replace(QUIET, returns_since_work=returns, returns_since_fault=99)
    _, _, reasons, _ = _why(standing, first_returns=11, due_days=4, said="", rate="", found={})
    assert reasons == (f"{words} return after a repair",)


# the list


def listed(shop: Shop) -> RecheckList:
    return recheck_list(shop.ledger.connection, today=shop.today)


def dots(*marked: str) -> tuple[ScrewDot, ...]:
    """Lark 4 for 305 mm on the mark, in the order of its holes [derived: 152.5 mm and what the hole adds]."""
    toe = [
        ("toe", x, y)
        for x, y in ((142_500, 18_000), (142_500, -18_000), (107_500, 20_000), (107_500, -20_000))
    ]
    heel = [("heel", x, y) for x in (-137_500, -97_500) for y in (18_000, -18_000)]
    return tuple(
        ScrewDot(piece=piece, x_um=x_um, y_um=y_um, marked=piece in marked)
        for piece, x_um, y_um in (*toe, *heel)
    )


def test_a_row_holds_what_the_bench_reads(shop: Shop) -> None:
    shop.look("P-2", found={"B heel": "more"})
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-2", did="new screw")
    shop.look("P-2", by=SANNE)
    shop.set_binding("P-2", 310)
    shop.out("P-2")
    shop.back("P-2", said="clicks")
    standing = shop.standing("P-2")
    assert listed(shop).rows == (
        RecheckRow(
            tag="P-2",
            model="Invented ski",
            kind="alpine",
            length_mm=1720,
            rack="R-1",
            group=FIRST,
            reasons=("renter: “clicks”", "turned last time: ski B heel", "1st return after a repair"),
            marked=frozenset({(B, "heel")}),
            screws={A: dots(), B: dots("heel")},
            pattern="Lark 4",
            returned_at=standing.returned.at,
            seconds=75,
            setting=standing.setting,
            entry=standing.returned.entry,
        ),
    )


def test_the_words_of_the_renter_are_those_of_that_pair_or_were_removed(shop: Shop) -> None:
    shop.back("P-1", said="clicks")
    shop.back("P-2", said="squeaks")
    said = {row.tag: row.reasons[0] for row in listed(shop).rows}
    assert said == {"P-1": "renter: “clicks”", "P-2": "renter: “squeaks”"}
    with shop.desk(IDA) as desk:
        redact(desk.tx, shop.standing("P-2").said_entry, by=IDA, why="asked for", today=shop.today)
    said = {row.tag: row.reasons[0] for row in listed(shop).rows}
    assert said == {"P-1": "renter: “clicks”", "P-2": "renter: “(text removed)”"}


def test_a_pattern_that_moves_more_often_is_said_of_the_pairs_that_carry_it(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fleet.rules.recheck.worse_patterns", lambda connection: {"Other 4": RATE})
    mounted(shop, "P-1", pattern="Other 4")
    shop.pair("N-1", mounted=False)
    shop.enter("binding recorded", binding_body("N-1/A", on_pair="N-1", on_ski=A))
    shop.back("P-1", "P-2", "N-1")
    assert listed(shop).faults == ()
    assert {row.tag: row.reasons for row in listed(shop).rows} == {
        "P-1": (RATE,),
        "P-2": ("routine",),
        "N-1": (NEVER_PASSED,),
    }


def test_what_is_noted_on_a_pair_or_its_binding_stands_in_its_row_until_it_is_ended(shop: Shop) -> None:
    shop.enter("binding recorded", binding_body("X-1", on_pair="P-1"))
    shop.enter("binding recorded", binding_body("X-2"))
    with shop.desk(NELL) as desk:
        make_note(desk, "X-1", "spring squeaks")
        make_note(desk, "X-2", "box torn")
        make_note(desk, "P-2", "edge blunt")
    shop.back("P-1", "P-2", "P-3")

    def noted() -> dict[str, str]:
        return {row.tag: row.reasons[-1] for row in listed(shop).rows}

    assert noted() == {"P-1": "note: X-1: spring squeaks", "P-2": "note: edge blunt", "P-3": "routine"}
    with shop.desk(IDA) as desk:
        end_notes(desk, "X-1")
    assert noted() == {"P-1": "routine", "P-2": "note: edge blunt", "P-3": "routine"}


def test_the_head_and_the_counts_of_the_list(shop: Shop) -> None:
    shop.pair("P-10")
    shop.pair("P-9")
    shop.out("P-3")
    shop.look("P-4", found={"A toe": "more"})
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-4", did="new screw")
    shop.look("T-1", found={"A toe": "more"})
    with shop.desk(JORY) as desk:
        end_repair(desk, "T-1", did="new screw")
    shop.back("P-1")
    seq, made = shop.ledger.connection.execute("SELECT max(seq), hash FROM entries").fetchone()
    found = listed(shop)
    assert [row.tag for row in found.rows] == ["P-1"]
    assert replace(found, rows=()) == RecheckList(
        list_id=f"RC-20261227-{seq}",
        day=date(2026, 12, 27),
        head=Head(seq, made),
        zone=ZONE,
        rows=(),
        second_check=("P-4", "T-1"),
        out=(UnreturnedPair(tag="P-3"),),
        never_back=("P-9", "P-10"),
        faults=(),
    )


def test_the_order_within_a_group(shop: Shop) -> None:
    """The weight, then the days out, then the earlier return, then the tag."""
    shop.out("P-1", "P-2", "P-3", "P-4")
    shop.tick(minutes=24 * 60)
    shop.back("P-4", said="clicks")
    shop.back("P-3")
    shop.back("P-2", "P-1")
    shop.back("T-1")  # never scanned out: one day
    assert [row.tag for row in listed(shop).rows] == ["P-4", "P-3", "P-1", "P-2", "T-1"]


def test_the_longest_out_comes_first_of_a_group(shop: Shop) -> None:
    shop.out("P-1")
    shop.tick(minutes=24 * 60)
    shop.out("P-2")
    shop.back("P-2")
    shop.tick(minutes=24 * 60)
    shop.back("P-1")
    assert [(row.tag, row.group) for row in listed(shop).rows] == [("P-1", ROUTINE), ("P-2", ROUTINE)]


@pytest.mark.parametrize(
    ("name", "value", "group"),
    [
        ("recheck_due_days", "2", DUE),
        ("recheck_due_days", "3", ROUTINE),
    ],
)
def test_the_days_are_the_policy_s(shop: Shop, name: str, value: str, group: Group) -> None:
    with shop.desk(WIM) as desk:
        set_policy(desk, name, value, origin="x")
    shop.out("P-1")
    shop.tick(minutes=2 * 24 * 60)
    shop.back("P-1")
    [row] = listed(shop).rows
    assert row.group is group


def test_the_returns_and_the_seconds_are_the_policy_s(shop: Shop) -> None:
    with shop.desk(WIM) as desk:
        set_policy(desk, "recheck_first_returns", "1", origin="x")
    with shop.desk(WIM) as desk:
        set_policy(desk, "recheck_seconds", "61", origin="x")
    shop.look("P-1", found={"B heel": "more"})
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did="new screw")
    shop.look("P-1", by=SANNE)
    groups = []
    for _ in range(2):
        shop.out("P-1")
        shop.back("P-1")
        [row] = listed(shop).rows
        groups.append(row.group)
        assert row.seconds == 61
        assert listed(shop).minutes == 2  # 61 seconds, rounded up
        assert listed(shop).minutes_short == (2 if row.group is FIRST else 0)
        shop.look("P-1")
    assert groups == [FIRST, ROUTINE]


def test_minutes_and_counts_by_group() -> None:
    row = RecheckRow(
        tag="P-1",
        model="",
        kind="alpine",
        length_mm=1700,
        rack="",
        group=ROUTINE,
        reasons=(),
        marked=frozenset(),
        screws={},
        pattern="",
        returned_at="",
        seconds=60,
    )
    rows = (row, replace(row, group=FIRST), replace(row, group=DUE, seconds=61), replace(row, group=FIRST))
    list_ = RecheckList(list_id="", day=date(2026, 12, 27), head=Head(1, ""), zone=ZONE, rows=rows)
    assert (list_.minutes, list_.minutes_short) == (5, 4)
    assert [list_.count(group) for group in Group] == [2, 1, 1]
    assert [group.may_wait for group in Group] == [False, False, True]
    assert (row.setting, row.setting.set_for) == (NOT_KNOWN, "set for sole: not known")
    assert BindingSetting(bsl_um=305_000).set_for == "set for sole 305 mm"


# what is not recorded, and what cannot be read


MOUNT = Mount(pattern="Lark 4", bsl_um=305_000, offset_um=0, mounted_on="2026-10-01")


def test_dots_where_the_pieces_were_recorded_and_none_where_nothing_was() -> None:
    marked = frozenset({(A, "toe")})
    assert screw_dots(MOUNT, lark(), marked) == {A: dots("toe"), B: dots()}
    moved = replace(MOUNT, slides=(PieceSlide(piece="heel", reference_um=-150_000, slide_um=0),))
    found = screw_dots(moved, lark(), marked)
    assert [dot.x_um for dot in found[B]] == [
        142_500,
        142_500,
        107_500,
        107_500,
        -135_000,
        -135_000,
        -95_000,
        -95_000,
    ]
    further = screw_dots(replace(MOUNT, offset_um=5_000), lark(), frozenset())
    assert [dot.x_um for dot in further[A]][::4] == [147_500, -132_500]
    assert screw_dots(None, lark(), marked) == {A: (), B: ()}
    assert screw_dots(MOUNT, None, marked) == {A: (), B: ()}


def mounted(shop: Shop, tag: str, **facts: Any) -> None:
    body = {
        "tag": tag, "pattern": "Lark 4", "bsl_um": 305_000, "offset_um": 0, "mounted_on": "2026-10-01",
        "removed_on": None, "drilled": True, "slides": [],
    }  # fmt: skip
    shop.enter("mount recorded", body | facts)


def test_a_pair_whose_mount_or_pattern_is_not_on_record_has_no_dots(shop: Shop) -> None:
    shop.pair("N-1", mounted=False)
    for side in Side:
        shop.enter("binding recorded", binding_body(f"N-1/{side.value}", on_pair="N-1", on_ski=side))
    shop.back("N-1")
    mounted(shop, "P-1", pattern="Never 4")
    shop.back("P-1")
    assert listed(shop).faults == ()
    rows = {row.tag: row for row in listed(shop).rows}
    assert (rows["N-1"].pattern, rows["N-1"].screws) == ("", {A: (), B: ()})
    assert (rows["P-1"].pattern, rows["P-1"].screws) == ("Never 4", {A: (), B: ()})


def test_the_newest_mount_that_is_on_is_drawn(shop: Shop) -> None:
    slides = [{"piece": "toe", "reference_um": 150_000, "slide_um": 0}]
    mounted(shop, "P-1", offset_um=2_000, bsl_um=310_000, slides=slides)
    mounted(shop, "P-1", offset_um=9_000, removed_on="2026-11-01")
    shop.back("P-1", "P-2")
    moved, as_ever = listed(shop).rows
    # the toe where it was recorded; the heel by 2 - 155 mm
    assert [dot.x_um for dot in moved.screws[A]][::4] == [140_000, -138_000]
    assert as_ever.screws == {A: dots(), B: dots()}


def test_a_pair_whose_record_cannot_be_read_stands_first_with_what_is_known(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    def spoilt(standing: Standing, **words: Any) -> object:
        if standing.tag == "P-2":
            raise ValueError("no such hole")
        return _why(standing, **words)

    shop.back("P-1", said="clicks")
    shop.back("P-2")
    good = listed(shop)
    assert ([row.tag for row in good.rows], good.faults) == (["P-1", "P-2"], ())
    monkeypatch.setattr("fleet.rules.recheck._why", spoilt)
    found = listed(shop)
    assert [row.tag for row in found.rows] == ["P-2", "P-1"]
    assert [(tag, str(fault)) for tag, fault in found.faults] == [("P-2", "no such hole")]
    assert found.rows[0] == RecheckRow(
        tag="P-2",
        model="Invented ski",
        kind="alpine",
        length_mm=1720,
        rack="R-1",
        group=FIRST,
        reasons=("its record cannot be read (ValueError: no such hole): look at every screw",),
        marked=frozenset(),
        screws={A: (), B: ()},
        pattern="",
        returned_at=shop.standing("P-2").returned.at,
        seconds=75,
        entry=shop.standing("P-2").returned.entry,
    )
    assert found.rows[1] == good.rows[0]


def test_a_pair_of_which_nothing_else_can_be_read_is_still_listed_by_its_tag(shop: Shop) -> None:
    facts = _PairFacts(shop.ledger.connection)  # P-1 is not back: no pair, no mount of it was read
    row = facts.unread(shop.standing("P-1"), KeyError("P-1"), 75)
    assert (row.tag, row.model, row.kind, row.length_mm, row.rack) == ("P-1", "", "", 0, "")
    assert row.reasons == ("its record cannot be read (KeyError: 'P-1'): look at every screw",)
