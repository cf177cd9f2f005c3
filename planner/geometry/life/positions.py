"""The positions where each piece could still be screwed down on both skis, half a millimetre apart."""

from collections.abc import Sequence

from fleet.base.units import BENCH_STEP_UM
from fleet.base.values import Value
from fleet.facts.holes import Knowledge, Side
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Follows, Pattern, Piece
from planner.geometry.placement.rule import Rule
from planner.geometry.placement.sweep import RoleStretch, stretches_of


class Position(Value, frozen=True, kw_only=True):
    """One piece at one place: ``reference_um`` from the pair's reference.

    ``drilled_um`` are the (x, y) of the holes it would drill, from the reference, both skis' together;
    empty for a position whose every screw goes into an old hole. ``roles`` are the same relative to the
    piece, so that equal roles at an equal distance answer alike; ``reuses`` the old holes it stands on.
    """

    piece: int
    reference_um: int
    drilled_um: tuple[tuple[int, int], ...]
    roles: tuple[tuple[int, int], ...] = ()
    reuses: frozenset[str] = frozenset()

    @property
    def is_new(self) -> bool:
        """True if a piece at this position adds a hole to the ski."""
        return bool(self.drilled_um)


def positions_of(pair: Pair, pattern: Pattern, rule: Rule, bsls_um: Sequence[int]) -> list[Position]:
    """Return all positions that some sole of the fleet could use, in canonical order.

    Old positions stand at one representative each (where all screws reuse); new ones on the bench's grid.
    """
    found: list[Position] = []
    for index, piece in enumerate(pattern.pieces):
        low, high = _reach_um(piece, rule, bsls_um)
        each = stretches_of(rule, pair, piece=piece, drill=True)
        for a in each[Side.A]:
            for b in each[Side.B]:
                found += _met(pair, index, piece, a, b, low, high)
    return sorted(set(found), key=lambda p: (p.piece, p.reference_um, p.drilled_um, sorted(p.reuses)))


def _met(
    pair: Pair, index: int, piece: Piece, a: RoleStretch, b: RoleStretch, low: int, high: int
) -> list[Position]:
    start, end = max(a.low, b.low, low), min(a.high, b.high, high)
    if start > end:
        return []
    drilled = tuple(
        sorted(
            {
                (hole.x_um, hole.y_um)
                for stretch in (a, b)
                for hole, claim in zip(piece.holes, stretch.claims, strict=True)
                if claim is None
            }
        )
    )
    reuses = frozenset(
        pair.skis[side].holes[claim].hole_id
        for side, stretch in ((Side.A, a), (Side.B, b))
        for claim in stretch.claims
        if claim is not None
    )
    if not drilled:
        return [Position(piece=index, reference_um=(start + end) // 2, drilled_um=(), reuses=reuses)]
    first = -(-start // BENCH_STEP_UM) * BENCH_STEP_UM
    return [
        Position(
            piece=index,
            reference_um=r,
            drilled_um=tuple((x + r, y) for x, y in drilled),
            roles=drilled,
            reuses=reuses,
        )
        for r in range(first, end + 1, BENCH_STEP_UM)
    ]


def _reach_um(piece: Piece, rule: Rule, bsls_um: Sequence[int]) -> tuple[int, int]:
    """Return the stretch of r (µm) that any sole within the offset limit could ask for."""
    limit = 0 if piece.follows is Follows.MARK else rule.limit_um
    ends = [piece.follows.reference_um(0, bsl) for bsl in (min(bsls_um), max(bsls_um))]
    return min(ends) - limit - piece.forward_um, max(ends) + limit + piece.back_um


def apart_um(rule: Rule) -> int:
    """Return the distance asked between two further mounts: the first is *drilled here* when the second
    comes.
    """
    return rule.asked_by_knowledge_um[Knowledge.DRILLED_HERE]


def offsets_um(
    pattern: Pattern, references_um: Sequence[int], bsl_um: int, limit_um: int
) -> tuple[int, int] | None:
    """Return the boot centre's offsets (µm) that these pieces reach for a sole by their travel; None if
    none.
    """
    low, high = -limit_um, limit_um
    for piece, reference_um in zip(pattern.pieces, references_um, strict=True):
        ends = (
            reference_um - piece.back_um,
            reference_um + piece.forward_um,
        )
        if piece.follows is Follows.MARK:
            if not ends[0] <= 0 <= ends[1]:
                return None
            continue
        end = piece.follows.reference_um(0, bsl_um)
        low, high = max(low, ends[0] - end), min(high, ends[1] - end)
    return (low, high) if low <= high else None
