"""How a piece, a jig and the boot's centre are told: never a bare sign, A and B apart where they differ."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.facts.binding_kinds import default_kinds
from fleet.facts.holes import Side
from fleet.facts.patterns import Follows, Pattern, PieceName
from planner.paper.work_order import set_words
from planner.paper.work_order_facts import WorkOrderSheet, work_order_sheet
from planner.paper.work_order_steps import MOST_STEPS
from planner.plan.plan_words import jig_text, jig_words, piece_words, place_words
from planner.plan.values import How, Jig, PlannedPiece, PlannedSet, Rung
from tests.paper.invented_shop import CASES, PRINTED_AT, _piece

KINDS = default_kinds()
HIRE = Pattern(
    name="T4/H4",
    binding_model="Teaching binding",
    binding_kind="alpine two-piece",
    pieces=(
        _piece(PieceName.TOE, Follows.TOE, [(-10, 18), (-10, -18), (-45, 20), (-45, -20)], 10_000),
        _piece(PieceName.HEEL, Follows.HEEL, [(15, 18), (15, -18), (55, 18), (55, -18)], 15_000),
    ),
)


def moved(stands_um: tuple[int | None, int | None], slide_um: tuple[int, int]) -> PlannedSet:
    """An adjustment whose toe piece is slid like this on each ski; its listed end lies at +150 mm."""
    _, planned = CASES["part reused"]()
    skis = {
        side: replace(
            planned.way.skis[side],
            pieces=(
                PlannedPiece(
                    piece="toe", reference_um=150_000, slide_um=slide, stands_um=stands, how=How.SLIDE
                ),
                PlannedPiece(piece="heel", reference_um=-150_000, slide_um=0, stands_um=0, how=How.SLIDE),
            ),
        )
        for side, stands, slide in zip(Side, stands_um, slide_um, strict=True)
    }
    return replace(planned, way=replace(planned.way, rung=Rung.ADJUST, skis=skis))


@pytest.mark.parametrize(
    ("stands_um", "slide_um", "lead"),
    [
        ((0, 0), (-7_500, -7_500), "toe: 7.5 mm toward TAIL from where it stands"),
        ((-2_000, -2_000), (5_500, 5_500), "toe: 7.5 mm toward TIP from where it stands"),
        ((0, 0), (-7_500, -7_000), "toe: A 7.5, B 7.0 mm toward TAIL from where it stands"),
        (
            (0, 0),
            (-7_500, 500),
            "toe: A 7.5 mm toward TAIL, B 0.5 mm toward TIP from where it stands",
        ),
        ((0, 0), (0, 0), "toe: stays where it stands"),
        ((0, 0), (40, -49), "toe: stays where it stands"),
        ((0, 0), (0, 500), "toe: A stays, B 0.5 mm toward TIP from where it stands"),
        ((0, 0), (-2_567, -2_567), "toe: 2.6 mm toward TAIL from where it stands"),
        ((None, None), (-7_500, -7_500), "toe: must stand 142.5 mm toward TIP of the mark"),
        ((None, None), (-7_500, -4_500), "toe: must stand A 142.5, B 145.5 mm toward TIP of the mark"),
        ((None, 0), (-7_500, -7_500), "toe: must stand 142.5 mm toward TIP of the mark"),
        ((None, None), (-150_000, 0), "toe: must stand A on the mark, B 150.0 mm toward TIP of the mark"),
    ],
)
def test_a_piece_is_told_from_where_it_stands_or_else_from_the_mark(
    stands_um: tuple[int | None, int | None], slide_um: tuple[int, int], lead: str
) -> None:
    fleet, _ = CASES["part reused"]()
    pair = fleet.pairs["K4-0417"]
    toe, _ = piece_words(pair, HIRE, moved(stands_um, slide_um), KINDS)
    assert toe.lead == lead
    assert all(toe.expects)
    assert ("Not known where it stands: measure at the toe end of the sole" in toe.detail) == (
        None in stands_um
    )


def test_what_the_rule_reads_is_told_for_each_ski_and_from_the_tail() -> None:
    fleet, _ = CASES["part reused"]()
    toe, heel = piece_words(fleet.pairs["K4-0417"], HIRE, moved((0, 0), (-7_500, -7_000)), KINDS)
    assert toe.expects == ("142.5 TIP", "143.0 TIP")
    assert "(A 954.5, B 955.0 from the tail)" in toe.detail
    assert heel.lead == "heel: stays where it stands"
    assert "heel end of the sole 150.0 mm toward TAIL of the mark (662.0 from the tail)" in heel.detail


def test_a_piece_without_travel_is_told_of_nobody() -> None:
    fleet, planned = CASES["part reused"]()
    still = replace(
        HIRE, pieces=tuple(replace(p, travel_back_um=0, travel_forward_um=0) for p in HIRE.pieces)
    )
    assert piece_words(fleet.pairs["K4-0417"], still, planned, KINDS) == ()


def test_a_jig_is_told_with_both_numbers() -> None:
    assert jig_words(Jig(sole_um=284_000, centre_um=-4_000)) == (
        "set to 284.0 mm, its centre 4.0 mm toward TAIL of the mark"
    )
    assert jig_words(Jig(sole_um=305_500, centre_um=0)) == "set to 305.5 mm, its centre on the mark"
    _, planned = CASES["part reused"]()
    assert jig_text(planned.way) == "NO JIG: by template or by hand"
    assert jig_text(replace(planned.way, drilled=0)) is None


def test_a_place_is_told_in_words() -> None:
    assert place_words(0, 0) == "on the mark"
    assert place_words(-500, 500) == "A 0.5 mm toward TAIL, B 0.5 mm toward TIP of the mark"
    assert place_words(500, 0) == "A 0.5 mm toward TIP, B on the mark"


@pytest.mark.parametrize(
    ("pieces", "words"),
    [((), "see its maker's sheet"), (("heel",), "heel is set"), (("toe", "heel"), "toe and heel are set")],
)
def test_the_quiet_box_names_what_is_set(pieces: tuple[str, ...], words: str) -> None:
    assert set_words(pieces) == words


def fullest(*, core_known: bool) -> WorkOrderSheet:
    """Plugs, new holes, a brake, and three pieces that all travel: as much as an order can ask."""
    fleet, planned = CASES["part reused"]()
    plate = _piece(PieceName.PLATE, Follows.CENTRE, [(0, 10), (0, -10)], 5_000)
    three = replace(
        HIRE,
        pieces=(HIRE.pieces[0], plate, HIRE.pieces[1]),
    )
    skis = {
        side: replace(ski, pieces=(*ski.pieces, PlannedPiece(piece="plate", reference_um=-6_000, slide_um=0)))
        for side, ski in planned.way.skis.items()
    }
    pair = fleet.pairs[planned.pair]
    if not core_known:
        pair = replace(pair, construction=None)
    return work_order_sheet(
        replace(fleet, patterns={three.name: three}, pairs={pair.tag: pair}),
        replace(planned, way=replace(planned.way, skis=skis)),
        number="WO-2611-0417", revision="A", proposal=False, plan_hash="", printed_at=PRINTED_AT,
    )  # fmt: skip


@pytest.mark.parametrize("core_known", [True, False])
def test_the_fullest_order_has_ten_steps_and_leaves_no_word_out(core_known: bool) -> None:
    order = fullest(core_known=core_known)
    assert len(order.steps) == MOST_STEPS
    words = " ".join(f"{step.lead} {step.detail}" for step in order.steps)
    for said in (
        "Brake 95 mm opens, closes and clears the edges",
        "Second person SIGNS before the first hole",
        "Plug and fill flush. FIRST VISIT ENDS; write the time",
        "Next step NOT BEFORE",
        "Wet core: STOP",
        "NO JIG: positions marked, then measured again",
        "toe: must stand",
        "plate: must stand",
        "heel: must stand",
        "Boot in: boot centre 6.0 mm toward TAIL of the mark",
    ):
        assert said in words
    if core_known:
        assert "Bit and stop tried on scrap, 3.6 × 9; print on the ski differs: STOP." in words
    else:
        read = next(step for step in order.steps if step.lead.startswith("READ"))
        assert read.stop
        assert read.lead.startswith("READ THE SKI")
        assert "no size is printed" in read.detail
