"""The rule in its plainest words, for comparison: every place tried one by one, nothing swept.

A wanted hole goes into an old one if that may take the screw and lies within the tolerance; then every
other old hole must be a bare spacing away, or what the shop asks between old holes, or be as near. Otherwise
it is drilled: spacing, bench error and allowance from every old hole, inside the zone, off its edges, where
somebody has looked.
"""

from __future__ import annotations

from itertools import product

from fleet.facts.holes import HoleState, Side
from fleet.facts.pairs import Pair, Ski
from fleet.facts.patterns import Follows, Pattern, PatternHole
from fleet.facts.policy import Policy


def may_take(ski_hole, wanted: PatternHole, pair: Pair, policy: Policy) -> bool:
    drills = {policy.um(f"drill_{core}_mm") for core in ("no_metal", "metal", "thin_core")}
    if ski_hole.diameter_um is None or ski_hole.knowledge.value in (
        "batch assumed",
        "template",
        "suspected",
    ):
        return False
    if ski_hole.state is HoleState.INSERT:
        return ski_hole.diameter_um == wanted.diameter_um and ski_hole.diameter_um not in drills
    if pair.construction is None:
        drill = wanted.diameter_um
    else:
        drill = policy.um(f"drill_{pair.construction.value.replace(' ', '_')}_mm")
    return ski_hole.state in (HoleState.OPEN, HoleState.SCREWED) and ski_hole.diameter_um == drill


def role_of(x: int, wanted: PatternHole, ski: Ski, pair: Pair, policy: Policy) -> set[int] | None:
    """The old holes the screw may go into, the empty set for a hole to drill, None for neither."""
    spacing, y = policy.um("spacing_mm"), wanted.y_um
    square = [(x - h.x_um) ** 2 + (y - h.y_um) ** 2 for h in ski.holes]
    into = {
        i
        for i, h in enumerate(ski.holes)
        if square[i] <= policy.um("reuse_tolerance_mm") ** 2 and may_take(h, wanted, pair, policy)
    }
    if into:
        between = policy.optional_um("reuse_spacing_mm")
        between = spacing if between is None else between
        return into if all(square[i] >= between**2 for i in range(len(square)) if i not in into) else None
    asked = spacing + policy.um("bench_error_mm")
    for i, h in enumerate(ski.holes):
        if square[i] < (asked + policy.um(f"allowance_{h.knowledge.value.replace(' ', '_')}_mm")) ** 2:
            return None
    edge = policy.um("edge_mm")
    if ski.zone_back_um is None or ski.zone_front_um is None or ski.zone_half_width_um is None:
        return None
    if not edge - ski.zone_back_um <= x <= ski.zone_front_um - edge:
        return None
    if abs(y) > ski.zone_half_width_um - edge:
        return None
    return set() if any(a.from_um <= x <= a.to_um for a in ski.inspected) else None


def shift_to(pair: Pair, side: Side) -> int:
    a, own = pair.skis[Side.A].mark_from_tail_um, pair.skis[side].mark_from_tail_um
    return 0 if a is None or own is None else a - own


def stands_legally(
    rs: tuple[int, ...], pair: Pair, pattern: Pattern, policy: Policy, *, drill: bool
) -> tuple[int, int] | None:
    """(reused, drilled) over both skis for pieces at these places, or None."""
    counts = [0, 0]
    for side in Side:
        ski, roles, fresh = pair.skis[side], [], []
        for number, (piece, r) in enumerate(zip(pattern.pieces, rs, strict=True)):
            for wanted in piece.holes:
                x = r + shift_to(pair, side) + wanted.x_um
                role = role_of(x, wanted, ski, pair, policy)
                if role is None or (not role and not drill):
                    return None
                roles.append(role)
                if not role:
                    fresh.append((number, x, wanted.y_um))
        if not _each_its_own([role for role in roles if role]):
            return None
        for n, x, y in fresh:
            for m, v, w in fresh:
                if n != m and (x - v) ** 2 + (y - w) ** 2 < policy.um("spacing_mm") ** 2:
                    return None
        counts[0] += sum(bool(role) for role in roles)
        counts[1] += sum(not role for role in roles)
    return counts[0], counts[1]


def _each_its_own(roles: list[set[int]]) -> bool:
    return any(len(set(chosen)) == len(chosen) for chosen in product(*roles))


def plainly_legal(
    pair: Pair, pattern: Pattern, bsl_um: int, policy: Policy, *, limit_um: int | None = None
) -> dict[int, set[tuple[int, int]]]:
    """Every whole-micrometre offset within the limit that is legal, with its possible (reused, drilled)."""
    limit = policy.um("offset_limit_mm") if limit_um is None else limit_um
    drill = pair.drilled_mounts < policy.count("mounts_max")
    known: dict[tuple[int, ...], tuple[int, int] | None] = {}
    found: dict[int, set[tuple[int, int]]] = {}
    for u in range(-limit, limit + 1):
        choices = []
        for piece in pattern.pieces:
            left = piece.reserve_um if piece.travel_back_um or piece.travel_forward_um else 0
            if piece.follows is Follows.MARK:  # it stands at 0, which may be too near an end of its travel
                choices.append(range(int(left <= min(piece.travel_back_um, piece.travel_forward_um))))
                continue
            end = piece.follows.reference_um(u, bsl_um)
            choices.append(range(end - piece.travel_forward_um + left, end + piece.travel_back_um - left + 1))
        for rs in product(*choices):
            if rs not in known:
                known[rs] = stands_legally(rs, pair, pattern, policy, drill=drill)
            if (counts := known[rs]) is not None:
                found.setdefault(u, set()).add(counts)
    return found
