"""The place of each piece of a binding, in words: the same on the sheet, on the page and in the workbook.

A distance is said only from a place that the ledger knows; else where the piece must stand, to be measured.
Lengths are read to half a millimetre, and to a tenth where the place lies beside that grid.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from fleet.base.units import along_text, length_text, toward
from fleet.facts.binding_kinds import BindingKinds
from fleet.facts.holes import Side
from fleet.facts.pairs import Pair, Ski
from fleet.facts.patterns import Follows, Pattern
from planner.plan.values import Jig, PlannedPiece, PlannedSet, Rung, Way

_MEASURED_AT: Final = {
    Follows.TOE: "toe end of the sole",
    Follows.HEEL: "heel end of the sole",
    Follows.CENTRE: "middle of the sole",
    Follows.MARK: "pin line",
}
NO_JIG: Final = "NO JIG"
NOT_KNOWN: Final = "not known"


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceWords:
    """One piece that travels. ``lead`` says where it goes, ``detail`` how that is measured.

    ``begins``: what the ruler reads before, ``not known`` where the ledger does not say; ``expects``: what it
    reads then, each on ski A and on ski B.
    """

    piece: str
    lead: str
    detail: str
    measured_at: str
    begins: tuple[str, str]
    expects: tuple[str, str]


def piece_words(
    pair: Pair,
    pattern: Pattern,
    planned: PlannedSet,
    kinds: BindingKinds,
    sides: tuple[Side, ...] = tuple(Side),
) -> tuple[PieceWords, ...]:
    """Each piece with travel, in the pattern's order; what does not travel stands where its holes are.

    ``sides``: both skis, or the one that the words are about.
    """
    return tuple(
        _words(pair, pattern, planned, name, kinds.words(pattern.binding_kind, name), sides)
        for name in pattern.travelling
    )


def _words(
    pair: Pair,
    pattern: Pattern,
    planned: PlannedSet,
    name: str,
    brought: str,
    sides: tuple[Side, ...],
) -> PieceWords:
    """``brought``: how a binding of this kind has that piece brought to the boot."""
    stands = [at for side in sides for at in planned.way.skis[side].pieces if at.piece == name]
    a, b = stands[0], stands[-1]
    follows = next(piece.follows for piece in pattern.pieces if piece.name.value == name)
    end = _end_of_travel(pattern, name, (a, b))
    tail = _tail_words([pair.skis[side] for side in (sides[0], sides[-1])], a, b)
    if a.move_um is not None and b.move_um is not None:
        lead = f"{name}: {_move_words(a.move_um, b.move_um)}"
        place = place_words(a.end_um, b.end_um)
        detail = f"{brought}{end}Measure then, boot in: {_MEASURED_AT[follows]} {place}{tail}."
    else:
        lead = f"{name}: must stand {place_words(a.end_um, b.end_um)}"
        why = _why_measured(planned)
        detail = f"{brought}{end}{why}: measure at the {_MEASURED_AT[follows]}, boot in{tail}."
    return PieceWords(
        piece=name,
        lead=lead,
        detail=detail,
        measured_at=_MEASURED_AT[follows],
        begins=(_begins(a), _begins(b)),
        expects=(along_text(a.end_um), along_text(b.end_um)),
    )


def _begins(at: PlannedPiece) -> str:
    return NOT_KNOWN if at.move_um is None else along_text(at.end_um - at.move_um)


def _end_of_travel(pattern: Pattern, name: str, stands: tuple[PlannedPiece, ...]) -> str:
    """``END OF TRAVEL. `` where the piece may be slid no further one way, on one of these skis."""
    piece = next(piece for piece in pattern.pieces if piece.name.value == name)
    ends = (-piece.back_um, piece.forward_um)
    return "END OF TRAVEL. " if any(at.slide_um in ends for at in stands) else ""


def _why_measured(planned: PlannedSet) -> str:
    return "Not known where it stands" if planned.way.rung is Rung.ADJUST else "Screwed on anew"


def ski_words(pattern: Pattern, planned: PlannedSet, at: PlannedPiece) -> tuple[str, str, str]:
    """(how far one piece of one ski is moved, where it must stand then, measured at what), a line each."""
    if at.piece not in pattern.travelling:
        moved = "stands where its screws are"
    elif at.move_um is None:
        moved = f"{_why_measured(planned).lower()}: measure"
    else:
        moved = _move_words(at.move_um, at.move_um)
    follows = next(piece.follows for piece in pattern.pieces if piece.name.value == at.piece)
    return moved, place_words(at.end_um, at.end_um), _MEASURED_AT[follows]


def place_words(a_um: int, b_um: int) -> str:
    """``5.5 mm toward TAIL of the mark``, ``on the mark``; of both skis where they differ."""
    words = two_ways(a_um, b_um)
    return words if words.endswith("on the mark") else f"{words} of the mark"


def two_ways(a_um: int, b_um: int, *, zero: str = "on the mark") -> str:
    """Return what ski A and ski B take: one length where they print alike, else each with its letter."""
    a, b = (toward(value_um, zero=zero) for value_um in (a_um, b_um))
    if a == b:
        return a
    if zero not in (a, b) and (a_um > 0) == (b_um > 0):
        return f"A {length_text(abs(a_um))}, B {b}"
    return f"A {a}, B {b}"


def _move_words(a_um: int, b_um: int) -> str:
    words = two_ways(a_um, b_um, zero="stays")
    return f"{words} where it stands" if words == "stays" else f"{words} from where it stands"


def _tail_words(skis: Sequence[Ski], a: PlannedPiece, b: PlannedPiece) -> str:
    """From the tail, where both marks were measured."""
    marks = [ski.mark_from_tail_um for ski in skis]
    said = [length_text(mark + at.end_um) for mark, at in zip(marks, (a, b), strict=True) if mark is not None]
    if len(said) < len(marks):
        return ""
    return f" ({said[0]} tail)" if said[0] == said[1] else f" (A {said[0]}, B {said[1]} tail)"


def jig_words(jig: Jig) -> str:
    """Return how the jig is set, and where its centre lies: both numbers, whatever they are."""
    return f"set to {length_text(jig.sole_um)} mm, its centre {place_words(jig.centre_um, jig.centre_um)}"


def jig_text(way: Way) -> str | None:
    """The jig of a way, or how it is drilled without one; None where nothing is drilled."""
    if not way.drilled:
        return None
    return f"{NO_JIG}: by template or by hand" if way.jig is None else jig_words(way.jig)
