"""The geometric facts that block a pattern on a pair, each shown at the place of least work."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fleet.base.units import counted, half_mm_down, length_text, toward, um_to_mm
from fleet.facts.holes import Side
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Pattern
from planner.geometry.placement.frames import Stance, frame_of
from planner.geometry.placement.rule import Rule, may_drill
from planner.geometry.why.cells import OffsetCell, cells
from planner.geometry.why.facts import Fact, FactKind, Ground, grounds, hole_of, uninspected
from planner.geometry.why.smallest import smallest_blocking


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocking:
    """One blocking fact in words, with distances in micrometres where it has any."""

    what: str
    needs_um: int | None = None
    has_um: int | None = None

    def to_json(self) -> dict[str, object]:
        """Return the JSON object of a blocking fact, lengths in millimetres."""
        return {
            "what": self.what,
            "needs_mm": None if self.needs_um is None else um_to_mm(self.needs_um),
            "has_mm": None if self.has_um is None else um_to_mm(self.has_um),
        }


@dataclass(frozen=True, slots=True)
class _Shown:
    """One fact at one place: the boot centre there, the wanted hole, and its distance."""

    drilled: int
    near_um: int
    offset_um: int
    piece: str
    number: int


def blocked_by(pair: Pair, pattern: Pattern, stance: Stance, rule: Rule) -> list[Blocking]:
    """Return the smallest set of facts that together block every offset within the limit; empty if none
    does.
    """
    frame = frame_of(pair)
    sides = grounds(pair, rule, dict(frame.shift_um), drill=may_drill(pair, rule))
    places = cells(pattern, stance, rule.limit_um, sides)
    chosen = smallest_blocking(place.against for place in places)
    if chosen is None:
        return []
    if not chosen:
        return [Blocking(what=f"no offset within {length_text(rule.limit_um)} mm reaches the pins")]
    by_side = {ground.side: ground for ground in sides}
    return [
        _in_words(fact, pair, rule, _shown(fact, chosen, places, pattern, stance, by_side)) for fact in chosen
    ]


def _shown(
    fact: Fact,
    chosen: Sequence[Fact],
    places: list[OffsetCell],
    pattern: Pattern,
    stance: Stance,
    sides: Mapping[Side, Ground],
) -> _Shown | None:
    """Return the place at which the fact decides: least drilling, then most room, then nearest the mark."""
    if fact.kind not in (FactKind.HOLE, FactKind.OUTSIDE_ZONE):
        return None
    others = set(chosen) - {fact}
    alone = [cell for cell in places if fact in cell.against and others.isdisjoint(cell.against)]
    if not alone:
        return None
    least = min(cell.drilled for cell in alone)
    shown = [
        each
        for cell in alone
        if cell.drilled == least
        for each in _looked_at(fact, cell, pattern, stance, sides[fact.side])
    ]
    return min(shown, key=lambda s: (-s.near_um, abs(s.offset_um), s.offset_um), default=None)


def _looked_at(
    fact: Fact, cell: OffsetCell, pattern: Pattern, stance: Stance, ground: Ground
) -> list[_Shown]:
    """Return the ends of the cell; its middle where something is reused, because old holes are met exactly
    there.
    """
    reuse = any(
        segment.drilled < 2 * len(piece.holes)
        for piece, segment in zip(pattern.pieces, cell.segments, strict=True)
    )
    offsets = {(cell.low + cell.high) // 2} if reuse else {cell.low, cell.high}
    found = []
    for offset in sorted(offsets):
        nearest = None
        for piece, segment in zip(pattern.pieces, cell.segments, strict=True):
            if fact not in segment.against:
                continue
            end = stance.end_um(piece.follows)
            at = 0 if end is None else offset + end
            r = min(max(at, segment.low), segment.high)
            for number, wanted in enumerate(piece.holes, start=1):
                near = ground.nearness_um(fact, wanted, r)
                if near is not None and (nearest is None or near < nearest.near_um):
                    nearest = _Shown(cell.drilled, near, offset, piece.name.value, number)
        if nearest is not None:
            found.append(nearest)
    return found


def _in_words(fact: Fact, pair: Pair, rule: Rule, shown: _Shown | None) -> Blocking:
    ski = f"ski {fact.side.value}"
    where = "" if shown is None else f" (boot centre {toward(shown.offset_um)})"
    if fact.kind is FactKind.NOT_INSPECTED:
        parts = " and ".join(
            f"from {toward(low)} to {toward(high)}" for low, high in uninspected(pair.skis[fact.side])
        )
        seen = f"{parts} of its mark" if parts else "its whole length"
        return Blocking(what=f"{ski} was not looked at bare where new holes would go: {seen}")
    if fact.kind is FactKind.ZONE_UNKNOWN:
        return Blocking(what=f"the mounting zone of {ski} is unknown, so nothing new may be drilled")
    if fact.kind is FactKind.OUTSIDE_ZONE:
        hole = "a hole" if shown is None else f"{shown.piece} hole {shown.number}"
        edge = length_text(rule.edge_um)
        return Blocking(
            what=f"{ski}: {hole} would lie outside the mounting zone or within {edge} mm of its edge{where}"
        )
    if fact.kind is FactKind.MOUNTS:
        return Blocking(
            what=f"the pair has had {counted(pair.drilled_mounts, 'mount')}{pair.earlier_text}; the shop's"
            f" rule allows {rule.mounts_max},"
            " so only old holes may be used"
        )
    old = hole_of(pair, fact)
    asked = rule.asked_um(old)
    if shown is None:
        return Blocking(what=f"{ski}: the {old.state.value} hole {old.hole_id} is too near", needs_um=asked)
    return Blocking(
        what=f"{ski}: {shown.piece} hole {shown.number} would lie {half_mm_down(shown.near_um)} mm from the"
        f" {old.state.value} hole {old.hole_id} ({old.knowledge.value}){where};"
        f" the shop's rule asks for {half_mm_down(asked)} mm",
        needs_um=asked,
        has_um=shown.near_um,
    )
