"""One reference for both skis. Ski A's mark is the pair's zero; ski B is compared by tail distance.

And the mount convention: the place of the boot that belongs on the mark. Mid-sole on the mark is usual; pin
line on the mark is telemark's (both common practice, no source).
"""

from collections.abc import Mapping
from functools import lru_cache
from operator import attrgetter, eq

from fleet.base.units import length_text
from fleet.base.values import Value
from fleet.facts.holes import Side
from fleet.facts.pairs import Pair, Ski
from fleet.facts.patterns import Follows, Pattern, Piece
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


class Stance(Value, frozen=True, kw_only=True):
    """One boot over the mark.

    ``pin_um`` None: offsets are those of the boot centre; else of the pin line, which lies ``pin_um`` behind
    the toe end of the sole.
    """

    bsl_um: int
    pin_um: int | None = None

    def end_um(self, follows: Follows) -> int | None:
        """The followed place of the boot relative to the offset; None for a piece that stays at the mark."""
        if follows is Follows.MARK:
            return None
        return follows.reference_um(self.centre_um, self.bsl_um)

    @property
    def centre_um(self) -> int:
        """The boot centre relative to the offset: 0 unless the pin line is what counts."""
        return 0 if self.pin_um is None else self.pin_um - self.bsl_um // 2

    def offsets_um(self, piece: Piece, limit_um: int) -> tuple[int, int]:
        """Return the offsets that this piece allows by itself, wherever it is screwed down; the first above
        the second where it allows none.

        On a pin-line mount the pins of the piece at the mark hold the boot: only its travel moves it. Else it
        stands there unmoved, which may leave too little of its travel at one end.
        """
        if piece.follows is Follows.MARK:
            if self.pin_um is not None:
                return max(-limit_um, -piece.back_um), min(limit_um, piece.forward_um)
            if min(piece.back_um, piece.forward_um) < 0:
                return 1, 0
        return -limit_um, limit_um


def stance_for(pattern: Pattern, bsl_um: int, pin_um: int | None) -> Stance:
    """Return the stance: by pin line where the boot has one and the pattern a piece at the mark; else
    mid-sole.
    """
    by_pin = pin_um is not None and any(piece.follows is Follows.MARK for piece in pattern.pieces)
    return Stance(bsl_um=bsl_um, pin_um=pin_um if by_pin else None)
