"""From positions to mounts: the most further mounts that one ski can take, each on holes of its own.

A further mount adds at least one hole, and no two further mounts share a hole: a piece may stand on old
holes once, else on fresh ones that keep the asked spacing from everything old and new. So counted, a mount
is what a bench calls one, and a ski's life is not stretched by moving one piece half a millimetre.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, product

from planner.life.memory import Memory
from planner.life.packing import bits, largest_set
from planner.life.positions import Position

Combination = tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FurtherMount:
    """One mount of the order: sole, offset, and how many holes it adds to a ski."""

    bsl_um: int
    offset_um: int
    adds: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeLeft:
    """Further mounts of one pattern. ``at_least`` is achieved by ``mounts``; equal to ``at_most``: exact.

    ``greedy``: what taking the nearest legal offset each time leads to.
    """

    pattern: str
    at_least: int
    at_most: int
    greedy: int
    mounts: tuple[FurtherMount, ...]


class Field:
    """Positions of one pattern on one pair, which of them agree, and which make a mount together."""

    def __init__(self, memory: Memory, positions: Sequence[Position]) -> None:
        self.memory = memory
        self.positions = list(positions)
        self.by_piece: list[list[int]] = [[] for _ in memory.pattern.pieces]
        for v, position in enumerate(self.positions):
            self.by_piece[position.piece].append(v)

    @cached_property
    def mounts(self) -> list[tuple[Combination, tuple[int, int]]]:
        """Every mount of agreeing positions that adds a hole, with its (bsl, offset)."""
        place = self.memory.place
        found = []
        for c in product(*self.by_piece):
            placed = place(tuple(self.positions[v].reference_um for v in c))
            if placed is None or not any(self.positions[v].is_new for v in c):
                continue
            if all(self.agrees[a] >> b & 1 for a, b in combinations(c, 2)):
                found.append((c, placed))
        return found

    @cached_property
    def useful(self) -> int:
        """Positions that some mount uses, as bits."""
        mask = 0
        for mount, _ in self.mounts:
            for v in mount:
                mask |= 1 << v
        return mask

    @cached_property
    def agrees(self) -> list[int]:
        """For every position a bit for each other one that may be used in the same life."""
        agrees = [0] * len(self.positions)
        agree = self.memory.agree
        for v, a in enumerate(self.positions):
            for w in range(v):
                if agree(a, self.positions[w]):
                    agrees[v] |= 1 << w
                    agrees[w] |= 1 << v
        return agrees

    def fits_beside(self, mount: Combination, standing: int) -> bool:
        """Whether a mount shares nothing with what stands and keeps its distance."""
        return all(standing & ~self.agrees[v] == 0 for v in mount)

    def upper_bound(self) -> int:
        """No life is longer than the largest set of agreeing positions of its scarcest piece."""
        return min(
            (
                largest_set(self.agrees, sum(1 << v for v in piece) & self.useful).bit_count()
                for piece in self.by_piece
            ),
            default=0,
        )

    def describe(self, order: Iterable[Combination]) -> tuple[FurtherMount, ...]:
        """The mounts in a person's terms, the ones nearest the mark first."""
        told = []
        for mount in order:
            placed = self.memory.place(tuple(self.positions[v].reference_um for v in mount))
            assert placed is not None  # an order holds mounts of `mounts` only
            adds = sum(len(self.positions[v].drilled_um) for v in mount)
            told.append(FurtherMount(bsl_um=placed[0], offset_um=placed[1], adds=adds))
        return tuple(sorted(told, key=lambda m: (abs(m.offset_um), m.bsl_um)))


def longest_life(field: Field, *, seconds: float = 1.0) -> LifeLeft:
    """The most further mounts; exact where ``at_least`` equals ``at_most``, else both are told.

    ``seconds`` bounds the exact model (the solver's own deterministic seconds, so that every run and
    machine answers alike).
    """
    greedy = greedy_order(field)
    bound = field.upper_bound()
    best = greedy
    if len(best) < bound:
        best = max(best, edge_order(field, rising=True), edge_order(field, rising=False), key=len)
    if len(best) < bound and seconds > 0:
        from planner.life.exact import exact_order

        best, bound = exact_order(field, best, bound, seconds=seconds)
    return LifeLeft(
        pattern=field.memory.pattern.name,
        at_least=len(best),
        at_most=bound,
        greedy=len(greedy),
        mounts=field.describe(best),
    )


def greedy_order(field: Field) -> list[Combination]:
    """Always the legal mount nearest the mark: what a bench without a plan does."""
    return _taken(field, [m for _, m in sorted((abs(placed[1]), m) for m, placed in field.mounts)])


def edge_order(field: Field, *, rising: bool) -> list[Combination]:
    """Always the mount closest to one edge of what is free, which leaves the rest in one stretch."""
    order = sorted(
        (m for m, _ in field.mounts),
        key=lambda m: sum(field.positions[v].reference_um for v in m),
        reverse=not rising,
    )
    return _taken(field, order)


def _taken(field: Field, ranked: Sequence[Combination]) -> list[Combination]:
    standing = 0
    order: list[Combination] = []
    for mount in ranked:
        if field.fits_beside(mount, standing):
            order.append(mount)
            for v in mount:
                standing |= 1 << v
    return order


def opened(order: Iterable[Combination]) -> list[int]:
    """The positions that an order uses."""
    mask = 0
    for mount in order:
        for v in mount:
            mask |= 1 << v
    return bits(mask)
