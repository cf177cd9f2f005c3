"""Cells: the offsets of a pattern, cut into ranges within which the facts against it do not change."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise, product

from fleet.facts.patterns import Pattern, Piece
from planner.geometry.placement.frames import Stance
from planner.geometry.why.facts import Fact, Ground


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
