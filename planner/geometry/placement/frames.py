"""One reference for both skis. Ski A's mark is the pair's zero; ski B is compared by tail distance."""

from collections.abc import Mapping
from functools import lru_cache
from operator import attrgetter, eq

from fleet.base.units import length_text
from fleet.base.values import Value
from fleet.facts.holes import Side
from fleet.facts.pairs import Pair, Ski
from planner.geometry.placement.intervals import union

_SIDES = tuple(Side)
_OF_HOLE = attrgetter("x_um", "y_um", "diameter_um", "state", "knowledge")


class PairFrame(Value, frozen=True, kw_only=True):
    """The position of each ski's own mark relative to the pair's reference.

    ``shift_um[side]`` is added to an x from the reference to get the x from that ski's own mark.
    ``from_tail_um[side]``: the reference from that ski's tail, None where its mark was never measured.
    """

    shift_um: Mapping[Side, int]
    from_tail_um: Mapping[Side, int | None]


def frame_of(pair: Pair) -> PairFrame:
    """Return the pair's frame. A mark that nobody measured is assumed to lie as the other ski's.

    With a reference entered by the head technician, it takes the place of ski A's mark.
    """
    a, b = pair.skis[Side.A], pair.skis[Side.B]
    return _frame(a.mark_from_tail_um, b.mark_from_tail_um, pair.reference_from_tail_um)


@lru_cache(maxsize=4096)
def _frame(on_a: int | None, on_b: int | None, entered: int | None) -> PairFrame:
    marks = {Side.A: on_a, Side.B: on_b}
    reference = on_a if entered is None else entered
    known = {
        side: reference - mark for side, mark in marks.items() if reference is not None and mark is not None
    }
    assumed = next(iter(known.values()), 0) if entered is not None else 0
    shift = {side: known.get(side, assumed) for side in _SIDES}
    tails = {side: None if mark is None else mark + shift[side] for side, mark in marks.items()}
    return PairFrame(shift_um=shift, from_tail_um=tails)


def ski_state(ski: Ski) -> tuple[object, ...]:
    """Return all of a ski that says where holes may go, by its own mark."""
    areas = [(area.from_um, area.to_um) for area in ski.inspected]
    return (
        ski.zone_back_um,
        ski.zone_front_um,
        ski.zone_half_width_um,
        tuple(union(areas) if len(areas) > 1 else areas),
        tuple(map(_OF_HOLE, ski.holes)),
    )


def skis_alike(pair: Pair) -> bool:
    """Return whether both skis of a pair take holes at the same places from its reference."""
    a, b = (pair.skis[side] for side in _SIDES)
    same = len(a.holes) == len(b.holes) and all(map(eq, map(_OF_HOLE, a.holes), map(_OF_HOLE, b.holes)))
    shift = frame_of(pair).shift_um
    return same and shift[Side.A] == shift[Side.B] and ski_state(a) == ski_state(b)


def doubt_about_marks(pair: Pair, *, difference_um: int) -> str | None:
    """Return the reason for a first step "measure mark to tail on both skis"; None if there is none."""
    marks = {side: pair.skis[side].mark_from_tail_um for side in Side}
    unknown = [side.value for side, mark in marks.items() if mark is None]
    if unknown:
        return f"mark to tail is not known on ski {' and ski '.join(unknown)}"
    a, b = marks[Side.A], marks[Side.B]
    if a is not None and b is not None and abs(a - b) > difference_um:
        where = "closer to the tip" if b > a else "closer to the tail"
        return f"the printed marks differ: ski B's sits {length_text(abs(a - b))} mm {where} than ski A's"
    return None
