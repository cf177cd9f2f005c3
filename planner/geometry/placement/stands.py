"""The stands of one piece on a pair: in old holes where it is reused, free where it is drilled."""

from collections.abc import Mapping, Sequence

from fleet.base.values import Value
from fleet.facts.holes import HoleState, Side
from fleet.facts.pairs import Pair, Ski
from fleet.facts.patterns import Piece
from fleet.facts.spacing import window_half_um
from planner.geometry.placement.frames import PairFrame, Stance
from planner.geometry.placement.intervals import EVERYWHERE, Interval
from planner.geometry.placement.rule import Rule
from planner.geometry.placement.sweep import Claims, RoleStretch, stretches_of


def best_fit(rule: Rule, ski: Ski, *, shift_um: int, piece: Piece, claims: Claims) -> tuple[int, int] | None:
    """Return the least-squares place of the piece over its reused holes, each within the tolerance.

    As r, µm from the reference, and the sum of its squared misses in µm².

    The mean of where the holes would put it, moved only as far as the tolerance of the worst hole
    demands. None where nothing is reused or no place admits all of them.
    """
    places, sideways = [], 0
    low, high = EVERYWHERE
    for wanted, claim in zip(piece.holes, claims, strict=True):
        if claim is None:
            continue
        hole = ski.holes[claim]
        c = hole.x_um - wanted.x_um - shift_um
        half = window_half_um(hole.y_um - wanted.y_um, rule.reuse_um)
        if half < 0:
            return None
        low, high = max(low, c - half), min(high, c + half)
        places.append(c)
        sideways += (hole.y_um - wanted.y_um) ** 2
    if not places or low > high:
        return None
    r = min(max(_mean(places), low), high)
    return r, sum((c - r) ** 2 for c in places) + sideways


def _mean(values: list[int]) -> int:
    """Return the nearest whole number. A half is rounded away from zero, so that a mirrored ski gives the
    same.
    """
    total, count = sum(values), len(values)
    half_up = (2 * abs(total) + count) // (2 * count)
    return half_up if total >= 0 else -half_up


class Stand(Value, frozen=True, kw_only=True):
    """One possible position of a piece on both skis.

    ``fixed[side]``: r of a piece with reused holes on that ski, None where the ski is free. ``low`` to
    ``high``: the range of r for the free skis (one place for both, where both are free). ``together``:
    where the rule itself allows one place for both skis in these roles. ``opened``: reused holes that
    would have to be plugged otherwise (all but inserts).
    """

    claims: Mapping[Side, Claims]
    fixed: Mapping[Side, int | None]
    low: int
    high: int
    together: Interval
    drilled: int
    reused: int
    opened: int

    @property
    def free(self) -> bool:
        """True if any ski leaves the place open."""
        return None in self.fixed.values()


class StandReach(Value, frozen=True):
    """A stand with its offsets: ``hard`` must hold; within ``fit`` no reused piece is forced."""

    stand: Stand
    hard: Interval
    fit: Interval


def planned_stands(
    rule: Rule,
    pair: Pair,
    frame: PairFrame,
    piece: Piece,
    *,
    drill: bool,
    within: Interval = EVERYWHERE,
) -> list[Stand]:
    """Return all stands of the piece, from the sweep of each ski; with ``within``, those that hold an r of
    it.

    (There may be others then, and a stand may end elsewhere, but only beyond it.)
    """
    swept = stretches_of(rule, pair, piece=piece, drill=drill, within=within)
    each = {side: _fitted(rule, pair.skis[side], frame.shift_um[side], piece, swept[side]) for side in Side}
    return [
        stand for a in each[Side.A] for b in each[Side.B] if (stand := _stand(rule, pair, a, b)) is not None
    ]


_Fitted = tuple[RoleStretch, int | None]


def _fitted(rule: Rule, ski: Ski, shift_um: int, piece: Piece, swept: Sequence[RoleStretch]) -> list[_Fitted]:
    """Return the stretches of one ski, each with its best fit where holes are reused.

    Of several ways to reuse the same screws at about one place (a hole entered twice), the best fit only.
    """
    free: list[_Fitted] = [(stretch, None) for stretch in swept if not stretch.reused]
    fitted = []
    for stretch in swept:
        if stretch.reused:
            fit = best_fit(rule, ski, shift_um=shift_um, piece=piece, claims=stretch.claims)
            if fit is not None and stretch.low <= fit[0] <= stretch.high:
                r, misfit = fit
                fitted.append((misfit, r, stretch))
    fitted.sort(key=lambda f: (f[0], f[1], f[2].low, _names(ski, f[2])))
    kept: dict[tuple[bool, ...], list[int]] = {}
    for _, r, stretch in fitted:
        taken = kept.setdefault(tuple(claim is None for claim in stretch.claims), [])
        if all(abs(r - other) > 2 * rule.reuse_um for other in taken):
            taken.append(r)
            free.append((stretch, r))
    return free


def _names(ski: Ski, stretch: RoleStretch) -> list[str]:
    return ["" if claim is None else ski.holes[claim].hole_id for claim in stretch.claims]


def _stand(rule: Rule, pair: Pair, on_a: _Fitted, on_b: _Fitted) -> Stand | None:
    """Return both skis together; None unless they are alike within what a pair may differ."""
    (a, a_fit), (b, b_fit) = on_a, on_b
    differ = rule.pair_difference_um
    if a_fit is not None and b_fit is not None:
        if abs(a_fit - b_fit) > differ:
            return None
        low, high = min(a_fit, b_fit), max(a_fit, b_fit)
    elif a_fit is not None:
        low, high = max(b.low, a_fit - differ), min(b.high, a_fit + differ)
    elif b_fit is not None:
        low, high = max(a.low, b_fit - differ), min(a.high, b_fit + differ)
    else:
        low, high = max(a.low, b.low), min(a.high, b.high)
    together = (max(a.low, b.low), min(a.high, b.high))
    if low > high or together[0] > together[1]:
        return None
    return Stand(
        together=together,
        claims={Side.A: a.claims, Side.B: b.claims},
        fixed={Side.A: a_fit, Side.B: b_fit},
        low=low,
        high=high,
        drilled=a.drilled + b.drilled,
        reused=a.reused + b.reused,
        opened=_opened(pair.skis[Side.A], a) + _opened(pair.skis[Side.B], b),
    )


def _opened(ski: Ski, stretch: RoleStretch) -> int:
    return sum(c is not None and ski.holes[c].state is not HoleState.INSERT for c in stretch.claims)


def reach(rule: Rule, stand: Stand, piece: Piece, stance: Stance) -> StandReach | None:
    """Return the offsets at which the travel of the piece reaches the boot; None if there are none.

    The rule itself must allow the offset; beyond that a reused piece may miss its place by the reuse
    tolerance at most, and only if nothing fits better.
    """
    low, high = stance.offsets_um(piece, rule.limit_um)
    fit_low, fit_high = EVERYWHERE
    end = stance.end_um(piece.follows)
    if end is not None:
        low = max(low, stand.together[0] - piece.back_um - end)
        high = min(high, stand.together[1] + piece.forward_um - end)
    elif not stand.together[0] <= 0 <= stand.together[1]:
        return None
    for side in Side:
        place = stand.fixed[side]
        if end is None:
            if place is None and not stand.low <= 0 <= stand.high:
                return None
            if place is not None and abs(place) > rule.reuse_um:
                return None
            continue
        if place is None:
            low = max(low, stand.low - piece.back_um - end)
            high = min(high, stand.high + piece.forward_um - end)
        else:
            first, last = place - piece.back_um - end, place + piece.forward_um - end
            fit_low, fit_high = max(fit_low, first), min(fit_high, last)
            low, high = max(low, first - rule.reuse_um), min(high, last + rule.reuse_um)
    return None if low > high else StandReach(stand, (low, high), (fit_low, fit_high))


def missed_um(chosen: Sequence[StandReach], pieces: Sequence[Piece], stance: Stance) -> int:
    """Return the sole length (µm) by which the reused pieces, each in its own holes, miss this sole.

    The worse ski counts; 0 where the travel makes up for it. Each piece may miss its place by the reuse
    tolerance, but together they may not miss the sole by more: no screw makes a track longer.
    """
    worst = 0
    for side in Side:
        low, high = EVERYWHERE
        for reached, piece in zip(chosen, pieces, strict=True):
            place, end = reached.stand.fixed[side], stance.end_um(piece.follows)
            if place is not None and end is not None:
                low = max(low, place - piece.back_um - end)
                high = min(high, place + piece.forward_um - end)
        worst = max(worst, low - high)
    return worst
