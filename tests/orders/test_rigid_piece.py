"""Measured holes of one rigid piece: none bends, so a hole that lies off its piece is asked about.

Tolerance (ours, no source): the bench's error and one reading's, 0.5 mm each by the default policy.
"""

from __future__ import annotations

from typing import Any

import pytest

from fleet.base.errors import MountbookError
from fleet.facts.holes import Side
from fleet.facts.standing import Place
from fleet.ledger.people import set_policy
from planner.bench.orders.bench_record import Drilled, Measured, Screw
from planner.bench.orders.book import find_order
from planner.bench.orders.close import Closed, done, stop
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, SANNE, WIM
from tests.orders.bench_shop import BenchShop

ORDER = "WO-2612-0001 A"


def toe(shop: BenchShop, side: Side, *moved_um: tuple[int, int], all_by: tuple[int, int] = (0, 0)) -> Any:
    """The four toe holes of a ski as measured: all moved by ``all_by``, the first also by ``moved_um``."""
    found: dict[Screw, Measured] = {}
    holes = [h for h in shop.plan().sets[0].way.skis[side].holes if h.piece == "toe" and h.do == "drill"]
    for number, hole in enumerate(holes):
        dx, dy = moved_um[number] if number < len(moved_um) else (0, 0)
        found[side, hole.piece, hole.number] = Measured(
            x_um=hole.x_um + all_by[0] + dx, y_um=hole.y_um + all_by[1] + dy
        )
    assert len(found) == 4
    return found


def finish(shop: BenchShop, measured: dict[Screw, Measured], *, again: bool = False) -> Closed:
    with shop.desk(JORY) as desk:
        return done(desk, ORDER, measured=measured, glue="wood_glue", measured_again=again)


@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("along", [True, False])
def test_a_hole_off_its_piece_is_taken_to_a_millimetre_and_no_further(
    shop: BenchShop, side: Side, sign: int, along: bool
) -> None:
    shop.issue()
    shop.first_visit()
    before = shop.dump()
    for off in (1_001, 19_000):
        place = (sign * off, 0) if along else (0, sign * off)
        with pytest.raises(MountbookError, match=rf"hole \d+ of ski {side} \(toe\) is .* bench and reading"):
            finish(shop, toe(shop, side, place))
    assert shop.dump() == before
    measured = toe(shop, side, (sign * 1_000, 0) if along else (0, sign * 1_000))
    assert finish(shop, measured).place is not None


def test_the_refusal_says_which_hole_by_how_much_and_what_to_do(shop: BenchShop, command: Command) -> None:
    """Hole 3 of ski A, 18 along and 13 across: the root of 493, 22.2 mm, off its piece."""
    shop.issue()
    shop.first_visit()
    (screw, seen), *_ = toe(shop, Side.A).items()
    place = f"{(seen.x_um + 18_000) / 1000},{(seen.y_um + 13_000) / 1000}"
    number = _sheet_number(shop, screw)
    typed = ("order", "done", ORDER, "--hole", f"A {number}={place}", "--glue", "wood_glue", "--by", JORY)
    answer = command(*typed, "--json")
    assert answer.returncode == 1
    assert answer.json["refused"] == (
        f"hole {number} of ski A (toe) is 22.2 mm from where the other holes of its piece put it;"
        " a piece is rigid, and bench and reading allow 1.0 mm"
    )
    assert "measure" in answer.json["cure"]
    assert "--measured-again" in answer.json["cure"]
    again = command(*typed, "--measured-again", "--json")
    assert (again.returncode, again.json["place"]) == (0, "hold")
    assert "K-1/A11 is 22.2 mm from where" in again.json["hold"]


def _sheet_number(shop: BenchShop, screw: Screw) -> str:
    return find_order(shop.ledger.connection, ORDER).labels[screw]


def test_just_over_is_not_printed_as_within(shop: BenchShop) -> None:
    shop.issue()
    shop.first_visit()
    with pytest.raises(MountbookError, match=r"is just over 1\.0 mm from where"):
        finish(shop, toe(shop, Side.A, (1_001, 0)))


def test_measured_again_it_is_entered_and_held_until_the_head_technician_ends_it(shop: BenchShop) -> None:
    """It neither passes nor fits: a technician's clear does not let it go."""
    from fleet.rules.holds import clear

    shop.issue()
    shop.first_visit()
    finish(shop, toe(shop, Side.B, (5_000, 0)), again=True)
    assert shop.place("K-1") is Place.HOLD
    with pytest.raises(MountbookError, match="on hold"):
        shop.look("K-1", by=SANNE)
    with pytest.raises(MountbookError, match="only a head technician"), shop.desk(SANNE) as desk:
        clear(desk, "K-1", why="looks right")
    assert "5.0 mm from where" in next(u.reason for u in shop.plan().unplanned_pairs if u.pair == "K-1")
    with shop.desk(IDA) as desk:
        assert clear(desk, "K-1", why="a wrong reading after all").place is Place.SECOND_CHECK


def test_a_whole_piece_that_stands_elsewhere_is_rigid_all_the_same(shop: BenchShop) -> None:
    """All four toe holes 1.5 mm on, and 0.4 mm across: no hole is off the others."""
    shop.issue()
    shop.first_visit()
    assert finish(shop, toe(shop, Side.A, all_by=(1_500, -400))).place is Place.SECOND_CHECK


def test_one_measured_hole_is_held_against_those_drilled_as_planned(shop: BenchShop) -> None:
    """The other three are entered where the sheet put them, so they cannot all be right."""
    shop.issue()
    shop.first_visit()
    (screw, seen), *_ = toe(shop, Side.A).items()
    with pytest.raises(MountbookError, match=r"is 3\.0 mm from where"):
        finish(shop, {screw: Measured(x_um=seen.x_um - 3_000, y_um=seen.y_um)})


def test_two_holes_that_went_astray_together_are_found(shop: BenchShop) -> None:
    """Half of the piece moved: the distances within it say so, whichever half is right."""
    shop.issue()
    shop.first_visit()
    with pytest.raises(MountbookError, match=r"hole \d+ .* hole \d+ .* hole \d+ .* hole \d+"):
        finish(shop, toe(shop, Side.A, (4_000, 0), (4_000, 0)))


def test_the_policy_says_how_much(shop: BenchShop) -> None:
    for name, value in (("bench_error_mm", "0.5"), ("survey_error_mm", "1.5")):
        with shop.desk(WIM) as desk:
            set_policy(desk, name, value, origin="our rule")
    shop.issue()
    shop.first_visit()
    with pytest.raises(MountbookError, match=r"allow 2\.0 mm"):
        finish(shop, toe(shop, Side.A, (2_001, 0)))
    finish(shop, toe(shop, Side.A, (2_000, 0)))


def test_a_hole_far_from_its_place_goes_in_once_it_was_measured_again(shop: BenchShop) -> None:
    """30 mm: a slip of the pen at first; the whole piece there, measured again, is held as well."""
    shop.issue()
    shop.first_visit()
    with pytest.raises(MountbookError, match="was planned at"):
        finish(shop, toe(shop, Side.A, all_by=(-30_000, 0)))
    closed = finish(shop, toe(shop, Side.A, all_by=(-30_000, 0)), again=True)
    assert closed.place is Place.HOLD
    assert "30.0 mm from where the order put it" in closed.hold


def test_a_stopped_order_asks_the_same(shop: BenchShop) -> None:
    shop.issue()
    shop.first_visit()
    measured = toe(shop, Side.A, (5_000, 0))
    nothing = {Side.B: Drilled.NOTHING}
    with pytest.raises(MountbookError, match=r"is 5\.0 mm from where"), shop.desk(JORY) as desk:
        stop(desk, ORDER, why="core is wet", drilled=nothing, measured=measured)
    with shop.desk(JORY) as desk:
        closed = stop(desk, ORDER, why="core is wet", drilled=nothing, measured=measured, measured_again=True)
    assert "5.0 mm from where" in closed.hold
