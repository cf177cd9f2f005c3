"""The mount convention: the place of the boot that belongs on the mark.

Mid-sole on the mark is usual; pin line on the mark is telemark's (both common practice, no source).
"""

from fleet.base.values import Value
from fleet.facts.patterns import Follows, Pattern, Piece


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
