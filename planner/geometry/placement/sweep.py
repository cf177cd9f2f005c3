"""The stretches where one piece may stand on one ski: a sweep over forbidden intervals, hole by hole.

Everything is in terms of r, the x of the piece's listed end from the pair's reference. An old hole and a
wanted one coincide at r = c; `fleet.facts.spacing` says how far from c a new hole is forbidden and a reuse
allowed.
"""

from collections.abc import Iterator, Sequence

from fleet.base.units import to_half_mm
from fleet.base.values import Value
from fleet.facts.holes import Hole, Side
from fleet.facts.pairs import Pair, Ski
from fleet.facts.patterns import PatternHole, Piece
from fleet.facts.spacing import forbidden_half_um, window_half_um
from planner.geometry.placement.frames import frame_of, skis_alike
from planner.geometry.placement.intervals import EVERYWHERE, Interval, without
from planner.geometry.placement.rule import Ground, Rule, ground_of

Claims = tuple[int | None, ...]
"""For every hole of a piece the index of the old hole it goes into, None where it is drilled."""


class RoleStretch(Value, frozen=True):
    """A closed stretch of r over which every hole of the piece keeps its role."""

    low: int
    high: int
    claims: Claims

    @property
    def drilled(self) -> int:
        """The number of holes to drill on this ski for this piece."""
        return self.claims.count(None)

    @property
    def reused(self) -> int:
        """The number of screws that go into old holes."""
        return len(self.claims) - self.drilled


_Role = tuple[int, int, int | None]
"""A stretch of r in which a wanted hole goes into the old hole of this index; None: is drilled."""
Asked = tuple[int, Hole, int]
"""An old hole: its index on the ski, the hole, and what a new one keeps from it."""


def asked_of(rule: Rule, ski: Ski) -> list[Asked]:
    """Return the old holes of a ski with the distance that each asks."""
    return [(index, hole, rule.asked_um(hole)) for index, hole in enumerate(ski.holes)]


def _roles(
    rule: Rule,
    ground: Ground,
    olds: Sequence[Asked],
    *,
    shift_um: int,
    wanted: PatternHole,
    drill: bool,
    printed: bool,
    within: Interval,
) -> list[_Role]:
    """Return the roles of one wanted hole. ``printed``: also as it would be printed, y to half a millimetre.

    An old hole that the screw goes into does not repel it; every other one does: a drilled hole by
    spacing, bench error and allowance, a reused one (nothing is drilled) by the spacing for reuse. No screw
    is looked for that goes into an old hole only beyond ``within``.
    """
    windows: list[tuple[int, int, int]] = []
    taken: list[Interval] = []
    heights = {wanted.y_um, to_half_mm(wanted.y_um)} if printed else {wanted.y_um}
    for index, hole, asked in olds:
        c = hole.x_um - wanted.x_um - shift_um
        for y_um in heights if drill else ():
            half = forbidden_half_um(y_um - hole.y_um, asked)
            if half >= 0:
                taken.append((c - half, c + half))
        half = window_half_um(wanted.y_um - hole.y_um, rule.reuse_um)
        reached = within[0] <= c + half and c - half <= within[1]
        if half >= 0 and reached and rule.may_reuse(hole, wanted):
            windows.append((c - half, c + half, index))
    taken.extend((low, high) for low, high, _ in windows)
    found = list(_surviving(rule, olds, shift_um, wanted, windows)) if windows else []
    ranges, half_width = ground
    if drill and max(map(abs, heights)) <= half_width:
        own = wanted.x_um + shift_um
        free = without([(low - own, high - own) for low, high in ranges], taken)
        found += [(low, high, None) for low, high in free]
    return sorted(found, key=lambda role: role[:2])


def _surviving(
    rule: Rule,
    olds: Sequence[Asked],
    shift_um: int,
    wanted: PatternHole,
    windows: list[tuple[int, int, int]],
) -> Iterator[_Role]:
    """Yield each reuse window without the parts that other old holes forbid (not those also reused
    there).
    """
    near: list[tuple[int, int, int]] = []
    for index, hole, _ in olds:
        half = forbidden_half_um(wanted.y_um - hole.y_um, rule.reuse_spacing_um)
        if half >= 0:
            c = hole.x_um - wanted.x_um - shift_um
            near.append((c - half, c + half, index))
    for low, high, index in windows:
        spoilt: list[Interval] = []
        for n_low, n_high, other in near:
            if other == index or n_high < low or n_low > high:
                continue
            same = [(w_low, w_high) for w_low, w_high, w in windows if w == other]
            spoilt.extend(without([(n_low, n_high)], same))
        yield from ((a, b, index) for a, b in without([(low, high)], spoilt))


def stretches(
    rule: Rule,
    ski: Ski,
    *,
    shift_um: int,
    piece: Piece,
    drill: bool,
    printed: bool = False,
    within: Interval = EVERYWHERE,
) -> list[RoleStretch]:
    """Return all stretches of one piece on one ski, sorted; no old hole is used twice.

    With ``within`` they are exact for every r of it and anything beyond: far holes are not looked at.
    """
    olds, ground = asked_of(rule, ski), ground_of(rule, ski)
    far = max((asked for _, _, asked in olds), default=0) + rule.reuse_spacing_um + rule.reuse_um
    first, last = within[0] + shift_um - far, within[1] + shift_um + far
    found: list[tuple[int, int, Claims]] | None = None
    for wanted in piece.holes:
        near = [old for old in olds if first <= old[1].x_um - wanted.x_um <= last]
        roles = _roles(
            rule, ground, near, shift_um=shift_um, wanted=wanted, drill=drill, printed=printed, within=within
        )
        found = [(low, high, (claim,)) for low, high, claim in roles] if found is None else _met(found, roles)
        if not found:
            return []
    return [RoleStretch(*stretch) for stretch in sorted(found or [], key=lambda s: s[:2])]


def stretches_of(
    rule: Rule, pair: Pair, *, piece: Piece, drill: bool, within: Interval = EVERYWHERE
) -> dict[Side, list[RoleStretch]]:
    """Return the stretches of both skis, exact and as printed; skis that are alike are swept once."""

    def swept(side: Side) -> list[RoleStretch]:
        shift_um = frame_of(pair).shift_um[side]
        return stretches(
            rule, pair.skis[side], shift_um=shift_um, piece=piece, drill=drill, printed=True, within=within
        )

    on_a = swept(Side.A)
    return {Side.A: on_a, Side.B: on_a if skis_alike(pair) else swept(Side.B)}


def _met(found: list[tuple[int, int, Claims]], roles: list[_Role]) -> list[tuple[int, int, Claims]]:
    met = []
    for low, high, claims in found:
        for r_low, r_high, claim in roles:
            if r_low > high:
                break
            if r_high < low or (claim is not None and claim in claims):
                continue
            met.append((max(low, r_low), min(high, r_high), (*claims, claim)))
    return met
