"""The geometric facts that block a pattern on a pair, each shown at the place of least work.

The smallest set of facts that together block every place is a smallest hitting set, found by search. And the
changes that unblock, nearest first: every change is tried, none is guessed.
"""

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise, product

from fleet.base.units import counted, half_mm_down, length_text, toward, um_to_mm
from fleet.facts.holes import HoleState, Knowledge, Side
from fleet.facts.pairs import InspectedArea, Pair, Ski
from fleet.facts.patterns import Pattern, Piece
from fleet.facts.policy import Policy
from planner.geometry.placement.frames import Stance, frame_of
from planner.geometry.placement.intervals import Interval
from planner.geometry.placement.legal import LegalFinder, offsets_only
from planner.geometry.placement.rule import Rule, may_drill, rule_for
from planner.geometry.why.facts import Fact, FactKind, Ground, grounds, hole_of, uninspected


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of r of one piece, with the facts against it and the number of holes it would drill."""

    low: int
    high: int
    against: frozenset[Fact]
    drilled: int


@dataclass(frozen=True, slots=True)
class OffsetCell:
    """A range of offsets with one segment for every piece."""

    low: int
    high: int
    segments: tuple[Segment, ...]

    @property
    def against(self) -> frozenset[Fact]:
        """The facts against a mount in this cell."""
        return frozenset().union(*(segment.against for segment in self.segments))

    @property
    def drilled(self) -> int:
        """The holes that a mount in this cell would drill, both skis."""
        return sum(segment.drilled for segment in self.segments)


def cells(pattern: Pattern, stance: Stance, limit_um: int, grounds: Sequence[Ground]) -> list[OffsetCell]:
    """Return all cells within the limit."""
    lines = [_segments(piece, stance, limit_um, grounds) for piece in pattern.pieces]
    low, high = -limit_um, limit_um
    for piece in pattern.pieces:
        own = stance.offsets_um(piece, limit_um)
        low, high = max(low, own[0]), min(high, own[1])
    turns = {low, high + 1}
    for piece, line in zip(pattern.pieces, lines, strict=True):
        end = stance.end_um(piece.follows)
        if end is not None:
            for segment in line:
                turns |= {
                    segment.low - piece.back_um - end,
                    segment.high + piece.forward_um - end + 1,
                }
    marks = sorted(turn for turn in turns if low <= turn <= high + 1)
    found = []
    for start, after in pairwise(marks):
        reachable = [
            _reachable(piece, line, stance, start) for piece, line in zip(pattern.pieces, lines, strict=True)
        ]
        found += [OffsetCell(start, after - 1, chosen) for chosen in product(*reachable)]
    return found


def _segments(piece: Piece, stance: Stance, limit_um: int, grounds: Sequence[Ground]) -> list[Segment]:
    end = stance.end_um(piece.follows)
    if end is None:
        low = high = 0
    else:
        low, high = end - limit_um - piece.forward_um, end + limit_um + piece.back_um
    turns = {low, high + 1}
    for ground in grounds:
        for wanted in piece.holes:
            turns |= ground.turns(wanted)
    marks = sorted(turn for turn in turns if low <= turn <= high + 1)
    return [_segment(piece, start, after - 1, grounds) for start, after in pairwise(marks)]


def _segment(piece: Piece, low: int, high: int, grounds: Sequence[Ground]) -> Segment:
    against: set[Fact] = set()
    drilled = 0
    for ground in grounds:
        for wanted in piece.holes:
            facts, reuse = ground.against(wanted, low)
            against |= facts
            drilled += not reuse
    return Segment(low, high, frozenset(against), drilled)


def _reachable(piece: Piece, line: list[Segment], stance: Stance, offset: int) -> list[Segment]:
    end = stance.end_um(piece.follows)
    if end is None:
        return line
    low, high = offset + end - piece.forward_um, offset + end + piece.back_um
    first = bisect_right(line, low, key=lambda segment: segment.low) - 1
    return [segment for segment in line[max(first, 0) :] if segment.low <= high and segment.high >= low]


_SEARCHED = 6
"""Beyond this many facts the search gives way to a greedy set: nobody reads a list that long for its size."""


def smallest_blocking(places: Iterable[frozenset[Fact]]) -> list[Fact] | None:
    """Return a smallest hitting set: an element of every place; among equals the first in sorted order.

    None if some place has nothing against it.
    """
    needed = _least(places)
    if not needed:
        return []
    if not needed[0]:
        return None
    for size in range(1, _SEARCHED + 1):
        found = _hit(needed, size)
        if found is not None:
            return sorted(found)
    return sorted(_greedy(needed))


def _least(places: Iterable[frozenset[Fact]]) -> list[frozenset[Fact]]:
    """Return only the sets that contain no other one: a set that meets these meets all."""
    kept: list[frozenset[Fact]] = []
    for place in sorted(set(places), key=lambda p: (len(p), sorted(p))):
        if not any(other <= place for other in kept):
            kept.append(place)
    return kept


def _hit(needed: list[frozenset[Fact]], size: int) -> set[Fact] | None:
    if not needed:
        return set()
    if size == 0 or _disjoint(needed) > size:
        return None
    for fact in sorted(needed[0]):
        rest = _hit([place for place in needed if fact not in place], size - 1)
        if rest is not None:
            return rest | {fact}
    return None


def _disjoint(needed: list[frozenset[Fact]]) -> int:
    """Return a lower bound on the facts needed: the number of places whose sets share no fact."""
    seen: set[Fact] = set()
    count = 0
    for place in needed:
        if seen.isdisjoint(place):
            seen |= place
            count += 1
    return count


def _greedy(needed: list[frozenset[Fact]]) -> set[Fact]:
    chosen: set[Fact] = set()
    while needed:
        facts = sorted({fact for place in needed for fact in place})
        best = max(facts, key=lambda fact: sum(fact in place for place in needed))
        chosen.add(best)
        needed = [place for place in needed if best not in place]
    return chosen


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


_WIDE_UM = 2_000_000
_LITTLE_MORE_UM = 5_000
"""A window opened further than this is no help beside other changes (our choice, no source)."""
_BEST = Knowledge.MEASURED_HERE


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """The question that every change is tried on: one pattern on one pair for one sole."""

    pair: Pair
    pattern: Pattern
    bsl_um: int
    pin_um: int | None
    policy: Policy

    def legal_with(self, pair: Pair, *, drill: bool | None = None) -> bool:
        """Return True if the pair, changed like this, has a legal offset."""
        return self.nearest_with(pair, drill=drill, limit_um=None) is not None

    def nearest_with(self, pair: Pair, *, drill: bool | None, limit_um: int | None) -> int | None:
        """Return the distance (µm) from the mark to the nearest legal offset; None if there is none."""
        finder = LegalFinder(pair=pair, pattern=self.pattern, policy=self.policy, drill=drill)
        legal = offsets_only(finder.offsets(self.bsl_um, pin_um=self.pin_um, limit_um=limit_um))
        return min((max(low, -high, 0) for low, high in legal), default=None)


def changes(question: Question, beyond: list[Interval]) -> Iterator[str]:
    """Yield the changes that would unblock, nearest first: measure, then look, then change a policy."""
    pair = question.pair
    rule = rule_for(question.policy, pair.construction)
    known = _measured(question, rule)
    if known is not None:
        yield known
    surveyed = replace(pair, skis={side: _seen(pair, side) for side in Side})
    if question.legal_with(surveyed):
        skis = _needed(question, lambda side: _seen(pair, side))
        yield f"take binding and plate off, look at {skis} bare, and enter the survey"
    if not all(ski.zone_known for ski in pair.skis.values()):
        if question.legal_with(replace(pair, skis={side: _zoned(pair, side) for side in Side})):
            yield "measure and enter the mounting zone"
        elif question.legal_with(replace(pair, skis={side: _zoned(surveyed, side) for side in Side})):
            yield "measure and enter the mounting zone, and survey both skis bare"
    if beyond:
        more = min(min(abs(low), abs(high)) for low, high in beyond)
        wider = f"{_up_to_half(more - rule.limit_um)} mm more from the mark"
        yield f"a manager allows {wider} (offset_limit_mm {_up_to_half(more)})"
    if not may_drill(pair, rule) and question.legal_with(pair, drill=True):
        yield (
            f"a manager allows one mount more (mounts_max {pair.drilled_mounts + 1});"
            f" the pair has had {pair.drilled_mounts}{pair.earlier_text}"
        )


def together(question: Question) -> str | None:
    """Return the fewest changes (two or three) that unblock only together; None if there are none."""
    pair = question.pair
    rule = rule_for(question.policy, pair.construction)
    every = {(side, hole.hole_id) for side in Side for hole in pair.skis[side].holes}
    steps: list[tuple[str, Callable[[Pair], Pair]]] = [
        ("survey both skis bare", lambda p: replace(p, skis={s: _seen(p, s) for s in Side})),
        ("measure and enter the mounting zone", lambda p: replace(p, skis={s: _zoned(p, s) for s in Side})),
        ("measure all old holes again, place and diameter", lambda p: _sure(p, every, rule)),
        (f"let a manager allow one mount more (mounts_max {pair.drilled_mounts + 1})", lambda p: p),
        ("window", lambda p: p),
    ]
    mounts, window = len(steps) - 2, len(steps) - 1
    for count in (2, 3):
        for chosen in combinations(range(len(steps)), count):
            changed = pair
            for index in chosen:
                changed = steps[index][1](changed)
            nearest = question.nearest_with(
                changed,
                drill=True if mounts in chosen else None,
                limit_um=rule.limit_um + _LITTLE_MORE_UM if window in chosen else None,
            )
            if nearest is not None:
                said = [steps[index][0] for index in chosen if index != window]
                if window in chosen:
                    wider = f"{_up_to_half(nearest)} mm from the mark (offset_limit_mm)"
                    said.append(f"let a manager allow {wider}")
                return ", and ".join(said)
    return None


def _measured(question: Question, rule: Rule) -> str | None:
    """Return the fewest holes that unblock when measured again, if they are found where they are recorded."""
    pair = question.pair
    unsure = [
        (side, hole.hole_id)
        for side in Side
        for hole in pair.skis[side].holes
        if hole.knowledge is not _BEST
        or (hole.diameter_um is None and hole.state in (HoleState.OPEN, HoleState.SCREWED))
    ]
    if not unsure or not question.legal_with(_sure(pair, set(unsure), rule)):
        return None
    needed = unsure
    for hole in list(unsure):
        rest = [other for other in needed if other != hole]
        if question.legal_with(_sure(pair, set(rest), rule)):
            needed = rest
    names = ", ".join(f"{name} (ski {side.value})" for side, name in needed)
    return f"measure hole{'s' if len(needed) > 1 else ''} {names} again, place and diameter"


def _sure(pair: Pair, holes: set[tuple[Side, str]], rule: Rule) -> Pair:
    skis = {
        side: replace(
            ski,
            holes=tuple(
                replace(hole, knowledge=_BEST, diameter_um=hole.diameter_um or rule.drill_um)
                if (side, hole.hole_id) in holes
                else hole
                for hole in ski.holes
            ),
        )
        for side, ski in pair.skis.items()
    }
    return replace(pair, skis=skis)


def _seen(pair: Pair, side: Side) -> Ski:
    area = InspectedArea(from_um=-_WIDE_UM, to_um=_WIDE_UM, how="bare", on="")
    return replace(pair.skis[side], inspected=(area,))


def _zoned(pair: Pair, side: Side) -> Ski:
    ski = pair.skis[side]
    return (
        ski
        if ski.zone_known
        else replace(ski, zone_back_um=_WIDE_UM, zone_front_um=_WIDE_UM, zone_half_width_um=_WIDE_UM)
    )


def _needed(question: Question, changed: Callable[[Side], Ski]) -> str:
    """Return the one ski for which the change is enough, else both."""
    pair = question.pair
    for side in Side:
        if question.legal_with(replace(pair, skis={**pair.skis, side: changed(side)})):
            return f"ski {side.value}"
    return "both skis"


def _up_to_half(value_um: int) -> str:
    return length_text(-(-value_um // 500) * 500)
