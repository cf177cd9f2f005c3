"""The legal offsets of a pattern on a pair: closed, exact, with every hole reused or drilled.

This is the rule itself, with the policy as given: one offset and one place for each piece on both skis.
Planning asks more (see `ways`): a reused piece stands where its holes are, and numbers are printed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, product

from fleet.facts.holes import Side
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Pattern, Piece
from fleet.facts.policy import Policy
from fleet.facts.spacing import forbidden_half_um
from planner.geometry.placement.frames import PairFrame, Stance, frame_of, stance_for
from planner.geometry.placement.intervals import EVERYWHERE, Interval, union, without
from planner.geometry.placement.rule import Rule, may_drill, rule_for
from planner.geometry.placement.sweep import Claims, stretches

_FAR_UM = 10**12
ClaimsBySide = Mapping[Side, Claims]


def gaps(
    one: Piece, one_claims: ClaimsBySide, other: Piece, other_claims: ClaimsBySide, *, spacing_um: int
) -> list[Interval]:
    """Return forbidden values of (r of the first piece minus r of the second), merged and closed, µm."""
    taken: set[Interval] = set()
    for side in Side:
        for a, a_claim in zip(one.holes, one_claims[side], strict=True):
            if a_claim is not None:
                continue
            for b, b_claim in zip(other.holes, other_claims[side], strict=True):
                half = forbidden_half_um(a.y_um - b.y_um, spacing_um)
                if b_claim is None and half >= 0:
                    c = b.x_um - a.x_um
                    taken.add((c - half, c + half))
    return union(taken)


def share_a_hole(one: ClaimsBySide, other: ClaimsBySide) -> bool:
    """Return True if two pieces use the same old hole."""
    return any(claim is not None and claim in other[side] for side in Side for claim in one[side])


@dataclass(frozen=True, slots=True)
class PieceRange:
    """The range of a piece: its r lies in ``stretch``, and r minus the offset in ``reach``."""

    stretch: Interval
    reach: Interval


def offsets_apart(
    offsets: Interval, pieces: Sequence[PieceRange], taken: Mapping[tuple[int, int], Sequence[Interval]]
) -> list[Interval]:
    """Return the offsets at which all pieces find places apart: exact closed ranges, sorted, disjoint.

    ``taken[i, j]``: forbidden values of r of piece i minus r of piece j. For every choice of a permitted
    range for each of these differences the rest is a system of difference constraints over the offset and
    the r of each piece; all bounds being whole numbers, shortest paths give its exact ends.
    """
    permitted = []
    for (i, j), forbidden in taken.items():
        one, other = pieces[i].stretch, pieces[j].stretch
        widest = (one[0] - other[1], one[1] - other[0])
        permitted.append([(i, j, low, high) for low, high in without([widest], forbidden)])
    found = []
    for chosen in product(*permitted):
        ends = _project(offsets, pieces, chosen)
        if ends is not None:
            found.append(ends)
    return union(found)


def _project(
    offsets: Interval, pieces: Sequence[PieceRange], differences: Sequence[tuple[int, int, int, int]]
) -> Interval | None:
    """Return the closed range of the offset under the bounds; None if they contradict one another."""
    zero, offset = len(pieces), len(pieces) + 1
    count = len(pieces) + 2
    upper = [[0 if i == j else _FAR_UM for j in range(count)] for i in range(count)]

    def bound(i: int, j: int, low: int, high: int) -> None:
        """low <= x_i - x_j <= high, kept as upper bounds of both differences."""
        upper[i][j] = min(upper[i][j], high)
        upper[j][i] = min(upper[j][i], -low)

    bound(offset, zero, *offsets)
    for index, piece in enumerate(pieces):
        bound(index, zero, *piece.stretch)
        bound(index, offset, *piece.reach)
    for i, j, low, high in differences:
        bound(i, j, low, high)
    for k, i, j in product(range(count), repeat=3):
        upper[i][j] = min(upper[i][j], upper[i][k] + upper[k][j])
    if any(upper[i][i] < 0 for i in range(count)):
        return None
    return -upper[zero][offset], upper[offset][zero]


@dataclass(frozen=True, slots=True, kw_only=True)
class LegalOffsets:
    """A closed range of offsets with one role for every hole.

    ``claims[side][piece index]``: for each hole of the piece the index of the old hole, None: drilled.
    Ranges of different roles may overlap where a piece travels.
    """

    low_um: int
    high_um: int
    claims: Mapping[Side, tuple[Claims, ...]]

    def reused(self, side: Side) -> int:
        """The number of screws in old holes on this ski."""
        return sum(claim is not None for piece in self.claims[side] for claim in piece)

    def drilled(self, side: Side) -> int:
        """The number of holes to drill on this ski."""
        return sum(claim is None for piece in self.claims[side] for claim in piece)

    @property
    def drilled_both(self) -> int:
        """The number of holes to drill on both skis."""
        return sum(self.drilled(side) for side in Side)


@dataclass(frozen=True, slots=True)
class Common:
    """A stretch of one piece at one place on both skis."""

    low: int
    high: int
    claims: Mapping[Side, Claims]


def common_stretches(rule: Rule, pair: Pair, frame: PairFrame, piece: Piece, *, drill: bool) -> list[Common]:
    """Return the stretches of one piece that both skis allow at once, each against its own holes."""
    each = {
        side: stretches(rule, pair.skis[side], shift_um=frame.shift_um[side], piece=piece, drill=drill)
        for side in Side
    }
    return [
        Common(max(a.low, b.low), min(a.high, b.high), {Side.A: a.claims, Side.B: b.claims})
        for a, b in product(each[Side.A], each[Side.B])
        if b.low <= a.high and b.high >= a.low
    ]


class LegalFinder:
    """The legal offsets of one pattern on one pair. The pair is swept once for many sole lengths."""

    def __init__(self, *, pair: Pair, pattern: Pattern, policy: Policy, drill: bool | None = None) -> None:
        """``drill`` None: new holes as mounts_max allows them. Raises BadInput for an unset policy."""
        self.rule = rule_for(policy, pair.construction)
        self.pattern = pattern
        frame = frame_of(pair)
        allowed = may_drill(pair, self.rule) if drill is None else drill
        self._common = [
            common_stretches(self.rule, pair, frame, piece, drill=allowed) for piece in pattern.pieces
        ]

    def offsets(
        self,
        bsl_um: int,
        *,
        pin_um: int | None = None,
        limit_um: int | None = None,
        stance: Stance | None = None,
    ) -> tuple[LegalOffsets, ...]:
        """Return the legal offsets within the limit (None: the policy's), sorted by low end, then high end.

        ``stance`` puts another mount convention in the place of the pattern's own (a what-if).
        """
        limit = self.rule.limit_um if limit_um is None else limit_um
        if not self.pattern.takes_bsl(bsl_um):
            return ()
        stance = stance_for(self.pattern, bsl_um, pin_um) if stance is None else stance
        windows = [
            _within(common, piece, stance, limit)
            for common, piece in zip(self._common, self.pattern.pieces, strict=True)
        ]
        found = [
            legal for combination in product(*windows) for legal in self._offsets_of(combination, stance)
        ]
        return tuple(sorted(found, key=lambda legal: (legal.low_um, legal.high_um, legal.drilled_both)))

    def _offsets_of(
        self, combination: tuple[tuple[Interval, Common], ...], stance: Stance
    ) -> list[LegalOffsets]:
        low = max(offsets[0] for offsets, _ in combination)
        high = min(offsets[1] for offsets, _ in combination)
        if low > high:
            return []
        taken = {}
        for (i, (_, one)), (j, (_, other)) in combinations(enumerate(combination), 2):
            if share_a_hole(one.claims, other.claims):
                return []
            a, b = self.pattern.pieces[i], self.pattern.pieces[j]
            between = gaps(a, one.claims, b, other.claims, spacing_um=self.rule.spacing_um)
            if between and between[0][0] <= one.high - other.low and one.low - other.high <= between[-1][1]:
                taken[i, j] = between
        legal = [(low, high)]
        if taken:
            reached = [
                PieceRange((common.low, common.high), _reach(piece, stance))
                for (_, common), piece in zip(combination, self.pattern.pieces, strict=True)
            ]
            legal = offsets_apart((low, high), reached, taken)
        claims = {side: tuple(common.claims[side] for _, common in combination) for side in Side}
        return [LegalOffsets(low_um=a, high_um=b, claims=claims) for a, b in legal]


def _within(commons: list[Common], piece: Piece, stance: Stance, limit: int) -> list[tuple[Interval, Common]]:
    """Return each stretch with the offsets that reach it: r + slide = offset + the followed end."""
    own = stance.offsets_um(piece, limit)
    end = stance.end_um(piece.follows)
    found = []
    for common in commons:
        if end is None:
            if common.low <= 0 <= common.high:
                found.append((own, Common(0, 0, common.claims)))
            continue
        low = max(own[0], common.low - piece.back_um - end)
        high = min(own[1], common.high + piece.forward_um - end)
        if low <= high:
            found.append(((low, high), common))
    return found


def _reach(piece: Piece, stance: Stance) -> Interval:
    """Return the range of (r - offset), µm."""
    end = stance.end_um(piece.follows)
    if end is None:
        return EVERYWHERE
    return end - piece.forward_um, end + piece.back_um


def legal_offsets(
    *, pair: Pair, pattern: Pattern, bsl_um: int, policy: Policy, pin_um: int | None = None
) -> tuple[LegalOffsets, ...]:
    """Return the legal offsets of the pattern for this sole: closed exact ranges, µm, both skis at one
    offset.

    Empty: nowhere. Raises BadInput where a needed policy is not set.
    """
    return LegalFinder(pair=pair, pattern=pattern, policy=policy).offsets(bsl_um, pin_um=pin_um)


def offsets_only(legal: tuple[LegalOffsets, ...]) -> list[Interval]:
    """Return the offsets without the roles: sorted, disjoint, closed."""
    return union((each.low_um, each.high_um) for each in legal)
