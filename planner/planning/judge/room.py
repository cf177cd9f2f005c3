"""The room for further mounts that a plan says it leaves, counted anew from the coordinates of the holes.

A piece is tried on every half millimetre of both skis by the distances of its holes, and upon old holes as
they lie. Two such spots go together if their new holes keep apart and no old hole is used twice; a mount is a
spot for each piece that some sole of the shop reaches and that drills at least once. Whether so many
mounts go together is looked for by taking one after the other; sets of spots are bits of whole numbers.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache, partial, reduce
from itertools import accumulate, combinations, product
from math import isqrt
from operator import or_

from fleet.base.units import BENCH_STEP_UM, to_half_mm
from fleet.base.values import Value
from fleet.facts.holes import Hole, HoleState, Knowledge, Side
from fleet.facts.kinds import Kind
from fleet.facts.pairs import Pair, Ski
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece
from fleet.tables.snapshot import Fleet
from planner.plan.values import Plan, PlannedSet, Rung
from planner.planning.judge.limits import Limits, Objection
from planner.planning.judge.set_check import Facts, of_each, shift_of
from planner.planning.judge.ski_check import takes_screw

_STEPS = 200_000
"""Steps that one question may take; a claim that takes more is not followed."""

Point = tuple[int, int]


def judge_room(facts: Facts, plan: Plan, alike: Sequence[int]) -> Iterator[Objection]:
    """Objections to the room that the sets are said to leave; none to a plan that says nothing of it.

    ``alike``: of each set the same number as of those that it is like.
    """
    places, policy = Places(facts), facts.fleet.policy
    if plan.totals.mount_worth is not None and policy.optional_number("mount_worth_1") is None:
        yield Objection(
            about="the plan", rule="mount worth", message="it counts a worth that the shop does not set"
        )
    else:
        yield from of_each(plan.sets, alike, partial(_judge_worth, facts.fleet, plan, places))
    yield from of_each(plan.sets, alike, partial(_judge_left, facts.fleet, plan, places))


def _judge_left(fleet: Fleet, plan: Plan, places: Places, s: PlannedSet) -> Iterator[Objection]:
    room, pair = s.way.room, fleet.pairs.get(s.pair)
    touched = s.way.rung not in (Rung.AS_IS, Rung.ADJUST)
    if (room is not None) != (touched and plan.totals.room_lost is not None):
        yield _no(s, "room", "says of its room what the plan does not")
    if room is None or pair is None:
        return
    now = max(0, fleet.policy.count("mounts_max") - pair.drilled_mounts)
    rule = max(0, now - (1 if s.way.drilled else 0))
    truth = (places.left(pair, now), places.left(_worked(pair, s), rule), rule)
    if None in truth:
        yield _no(s, "room", "leaves room that takes too long to count")
    elif truth != (said := (room.before, room.kept, room.rule)):
        words = "further mounts before, after and by the shop's rule are"
        yield _no(s, "room", f"{words} {truth}, the plan says {said}")


def _judge_worth(fleet: Fleet, plan: Plan, places: Places, s: PlannedSet) -> Iterator[Objection]:
    """Objections to the worth of the mount drilled, by what its pair has room for before."""
    worth, pair = 0, fleet.pairs.get(s.pair)
    if plan.totals.mount_worth is not None and s.way.drilled and pair is not None:
        left = places.left(pair, max(0, fleet.policy.count("mounts_max") - pair.drilled_mounts))
        if left is None:
            yield _no(s, "mount worth", "drills a mount whose worth takes too long to count")
            return
        worth = fleet.policy.count(f"mount_worth_{min(3, max(1, left))}")
    if s.way.mount_worth != worth:
        yield _no(s, "mount worth", f"drills a mount worth {worth}, the plan says {s.way.mount_worth}")


def _no(planned: PlannedSet, rule: str, message: str) -> Objection:
    return Objection(about=f"{planned.wish} {planned.boot} on {planned.pair}", rule=rule, message=message)


def _worked(pair: Pair, planned: PlannedSet) -> Pair:
    """The pair with the holes of the plan, and plugs in those that it gives up."""
    skis = {}
    for side in Side:
        ski, work = pair.skis[side], planned.way.skis[side]
        holes = [replace(h, state=HoleState.PLUGGED) if h.hole_id in work.plug else h for h in ski.holes]
        holes += [
            Hole(
                hole_id=f"{h.piece} {h.number} planned",
                x_um=h.x_um,
                y_um=h.y_um,
                diameter_um=h.diameter_um,
                depth_um=h.depth_um,
                state=HoleState.SCREWED,
                knowledge=Knowledge.DRILLED_HERE,
            )
            for h in work.holes
            if h.do == "drill"
        ]
        skis[side] = replace(ski, holes=tuple(holes))
    return replace(pair, skis=skis)


class _Spot(Value, frozen=True):
    """A place of a piece: x from the pair's reference, its new holes from there, the old ones it uses."""

    at: int
    drilled: tuple[Point, ...]
    upon: frozenset[tuple[Side, int]]


class Places:
    """Further mounts by the spacing, for the patterns and soles of the shop; each answer kept."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        self._known: dict[object, int | None] = {}
        self._patterns = _patterns_of(facts.fleet)

    def left(self, pair: Pair, most: int) -> int | None:
        """Return how many, counted no further than ``most``; None where it takes too long to say."""
        skis = tuple(_as_drilled(pair.skis[side]) for side in Side)
        key = (pair.kind, pair.construction, pair.reference_from_tail_um, skis, most)
        if key not in self._known:
            self._known[key] = self._counted(pair, most)
        return self._known[key]

    def _counted(self, pair: Pair, most: int) -> int | None:
        found, limits = 0, self._facts.limits(pair)
        try:
            for pattern, soles in self._patterns.get(pair.kind, ()):
                if found == most:
                    break
                mounts = _Mounts(limits, pattern, soles, _spots(limits, pair, pattern, soles))
                while found < most and mounts.go_together(found + 1):
                    found += 1
        except _TooLong:
            return None
        return found


def _as_drilled(ski: Ski) -> tuple[object, ...]:
    """All of a ski that the count asks for: the names of holes are not among it, so that pairs are alike."""
    return (
        (ski.mark_from_tail_um, ski.zone_back_um, ski.zone_front_um, ski.zone_half_width_um),
        tuple((area.from_um, area.to_um) for area in ski.inspected),
        tuple((h.x_um, h.y_um, h.diameter_um, h.state, h.knowledge) for h in ski.holes),
    )


def _patterns_of(fleet: Fleet) -> dict[Kind, list[tuple[Pattern, list[int]]]]:
    """The patterns on pairs of each kind, now or before, with the soles that both makers declare for them."""
    names: dict[Kind, set[str]] = defaultdict(set)
    for pair in fleet.pairs.values():
        names[pair.kind].update(mount.pattern for mount in pair.mounts)
    for binding in fleet.bindings.values():
        if (on := fleet.pairs.get(binding.on_pair or "")) is not None:
            names[on.kind].add(binding.pattern)
    soles: dict[str, list[int]] = {}
    lengths = {(boot.sole_type, boot.bsl_um) for boot in fleet.boots.values()}
    for name, pattern in fleet.patterns.items():
        types = {fit.sole_type for fit in fleet.fits if fit.pattern == name}
        fitted = {bsl for sole, bsl in lengths if sole in types and bsl is not None}
        soles[name] = sorted(bsl for bsl in fitted if pattern.takes_bsl(bsl))
    return {
        kind: [(fleet.patterns[name], soles[name]) for name in sorted(used) if soles.get(name)]
        for kind, used in names.items()
    }


def _spots(limits: Limits, pair: Pair, pattern: Pattern, soles: Sequence[int]) -> list[list[_Spot]]:
    """The spots of each piece from tail to tip."""
    return [
        sorted(dict.fromkeys(_spots_of(limits, pair, piece, soles)), key=lambda spot: spot.at)
        for piece in pattern.pieces
    ]


def _spots_of(limits: Limits, pair: Pair, piece: Piece, soles: Sequence[int]) -> Iterator[_Spot]:
    """Half millimetre by half millimetre, then upon old holes alone."""
    far = limits.offset_limit_um
    ends = [_end(piece, bsl) for bsl in (soles[0], soles[-1])]
    low, high = min(ends) - far - piece.forward_um, max(ends) + far + piece.back_um
    if piece.follows is Follows.MARK:
        low, high = -piece.forward_um, piece.back_um
    first = -(-low // BENCH_STEP_UM) * BENCH_STEP_UM
    count = max(0, (high - first) // BENCH_STEP_UM + 1)
    skis, shifts = pair.skis, {side: shift_of(pair, side) for side in Side}
    alike = _as_drilled(skis[Side.A]) == _as_drilled(skis[Side.B])
    screws = [
        (sides, hole, shifts[sides[0]], _windows(limits, skis[sides[0]], hole))
        for sides in ((tuple(Side),) if alike else tuple((side,) for side in Side))
        for hole in piece.holes
    ]
    roles = [
        _roles(limits, skis[sides[0]], hole, windows, first + shift, count)
        for sides, hole, shift, windows in screws
    ]
    known: dict[tuple[int, ...], tuple[tuple[Point, ...], frozenset[tuple[Side, int]]] | None] = {}
    for n, each in enumerate(zip(*roles, strict=True)):
        if each not in known:
            does = list(zip(screws, each, strict=True))
            used = [(side, k) for (sides, *_), k in does if k >= 0 for side in sides]
            drilled = {(hole.x_um, hole.y_um) for (_, hole, *_), k in does if k == _DRILLED}
            apart = _NOT not in each and len(set(used)) == len(used)
            known[each] = (tuple(sorted(drilled)), frozenset(used)) if drilled and apart else None
        if (spot := known[each]) is not None:
            yield _Spot(first + n * BENCH_STEP_UM, *spot)
    yield from _standing(limits, pair, screws, low, high)


_DRILLED, _NOT = -1, -2
_Windows = Mapping[int, tuple[int, int]]
_Screw = tuple[tuple[Side, ...], PatternHole, int, _Windows]
"""The skis on which it is alike, its listed hole, the reference by their own mark, and its `_windows`."""


def _end(piece: Piece, bsl_um: int) -> int:
    if piece.follows is Follows.TOE:
        return bsl_um // 2
    return -(bsl_um // 2) if piece.follows is Follows.HEEL else 0


def _roles(
    limits: Limits, ski: Ski, hole: PatternHole, windows: _Windows, first: int, count: int
) -> list[int]:
    """Return what a listed hole does as its piece goes from ``first`` on (own mark) by half millimetres.

    It goes into the old hole of that number, or is drilled, or neither.
    """
    found = [_NOT] * count
    back, front, side = ski.zone_back_um, ski.zone_front_um, ski.zone_half_width_um
    heights, edge = {hole.y_um, to_half_mm(hole.y_um)}, limits.edge_um

    def put(what: int, low: int, high: int) -> None:
        """Say what it does at the half millimetres at which it lies in this stretch."""
        start = first + hole.x_um
        begin = min(count, max(0, -((start - low) // BENCH_STEP_UM)))
        end = max(begin, min(count, (high - start) // BENCH_STEP_UM + 1))
        found[begin:end] = [what] * (end - begin)

    if back is not None and front is not None and side is not None and max(map(abs, heights)) <= side - edge:
        for area in ski.inspected:
            put(_DRILLED, max(edge - back, area.from_um), min(front - edge, area.to_um))
    for old in ski.holes:
        for y_um in heights:
            if (room := limits.asked_um(old) ** 2 - (y_um - old.y_um) ** 2) > 0:
                half = isqrt(room - 1)
                put(_NOT, old.x_um - half, old.x_um + half)
    for k, (low, high) in windows.items():
        put(k, low, high)
        for start, end in _spoilt(limits, ski, hole, windows, k):
            put(_NOT, max(low, start), min(high, end))
    return found


def _windows(limits: Limits, ski: Ski, hole: PatternHole) -> _Windows:
    """Return where the screw of a listed hole goes into each old hole, by number, by the ski's own mark."""
    found = {}
    for k, old in enumerate(ski.holes):
        room = limits.tolerance_um**2 - (hole.y_um - old.y_um) ** 2
        if room >= 0 and takes_screw(limits, old, hole):
            found[k] = old.x_um - isqrt(room), old.x_um + isqrt(room)
    return found


def _spoilt(
    limits: Limits, ski: Ski, hole: PatternHole, windows: _Windows, own: int
) -> Iterator[tuple[int, int]]:
    """The stretches, by the ski's own mark, in which another old hole is too near for the screw in its own;
    one into which it may go as well is not.
    """
    for k, old in enumerate(ski.holes):
        room = limits.reuse_spacing_um**2 - (hole.y_um - old.y_um) ** 2
        if k == own or room <= 0:
            continue
        low, high = old.x_um - isqrt(room - 1), old.x_um + isqrt(room - 1)
        first, last = windows.get(k, (high + 1, high))
        yield from ((low, min(high, first - 1)), (max(low, last + 1), high))


def _standing(limits: Limits, pair: Pair, screws: Sequence[_Screw], low: int, high: int) -> Iterator[_Spot]:
    """The spots at which every screw of both skis goes into an old hole."""
    if not all(windows for *_, windows in screws):
        return
    _, hole, shift, windows = screws[0]
    for near in [start + end - 2 * (shift + hole.x_um) for start, end in windows.values()]:
        span, used, without = (low, high), [], []
        for sides, hole, shift, windows in screws:
            at = shift + hole.x_um
            middles = {k: start + end - 2 * at for k, (start, end) in windows.items()}
            own = min(middles, key=lambda k: abs(middles[k] - near))
            start, end = windows[own]
            span = max(span[0], start - at), min(span[1], end - at)
            used += [(side, own) for side in sides]
            spoilt = _spoilt(limits, pair.skis[sides[0]], hole, windows, own)
            without += [(start - at, end - at) for start, end in spoilt]
        if len(used) == len(set(used)):
            for at in _middles(span, without):
                yield _Spot(at, (), frozenset(used))


def _middles(span: tuple[int, int], without: Iterable[tuple[int, int]]) -> Iterator[int]:
    """The middle of each stretch that is left of a span."""
    start = span[0]
    for low, high in (*sorted(each for each in without if each[0] <= each[1]), (span[1] + 1, span[1] + 1)):
        if start < low and start <= span[1]:
            yield (start + min(low - 1, span[1])) // 2
        start = max(start, high + 1)


class _Mounts:
    """The spots that go together, and those that are a mount: of one lead piece, with the others' beside.

    What goes with a spot is worked out when the spot is looked at.
    """

    def __init__(
        self, limits: Limits, pattern: Pattern, soles: Sequence[int], spots: Sequence[Sequence[_Spot]]
    ) -> None:
        self._left = _STEPS
        self._spots = [spot for each in spots for spot in each]
        self._all = (1 << len(self._spots)) - 1
        self._starts = [sum(map(len, spots[:k])) for k in range(len(spots))]
        self._places = [[spot.at for spot in each] for each in spots]
        self._pieces = [((1 << len(each)) - 1) << at for each, at in zip(spots, self._starts, strict=True)]
        self._apart_um = limits.spacing_um + limits.bench_error_um
        self._apart_um += limits.allowance_um[Knowledge.DRILLED_HERE]
        self._lead = min(range(len(spots)), key=lambda k: len(spots[k]))
        self._new = sum(1 << v for v, spot in enumerate(self._spots) if spot.drilled)
        self._upon = [v for v, spot in enumerate(self._spots) if spot.upon]
        self._far, self._pattern, self._soles = limits.offset_limit_um, pattern, soles
        alike: dict[tuple[Point, ...], list[int]] = defaultdict(list)
        for v in sorted(range(len(self._spots)), key=lambda v: self._spots[v].at):
            alike[self._spots[v].drilled].append(v)  # two pieces may have one shape
        self._shapes = [
            (
                shape,
                [self._spots[v].at for v in some],
                list(accumulate((1 << v for v in some), initial=0)),
            )
            for shape, some in alike.items()
        ]
        self._agree: dict[int, int] = {}
        self._reach: dict[int, list[tuple[int, list[int]]]] = {}
        self._held: dict[tuple[int, int], bool] = {}
        self._failed: set[tuple[int, int]] = set()

    def go_together(self, count: int) -> bool:
        """Return whether so many mounts do. Raises _TooLong."""
        return self._fit(self._all, count)

    def _agreeing(self, v: int) -> int:
        """The spots that go together with this one, as bits; it does not with itself."""
        if v not in self._agree:
            spot, against = self._spots[v], 1 << v
            for shape, places, before in self._shapes:
                for low, high in _too_near(spot.drilled, shape, self._apart_um):
                    start, end = bisect_left(places, spot.at + low), bisect_right(places, spot.at + high)
                    against |= before[end] ^ before[start]
            against |= sum(1 << w for w in self._upon if w != v and self._spots[w].upon & spot.upon)
            self._agree[v] = self._all & ~against
        return self._agree[v]

    def _reached(self, lead: int) -> list[tuple[int, list[int]]]:
        """For each sole that this spot of the lead piece meets: the spots of each other piece that meet it
        with a centre in common, as bits.
        """
        if lead in self._reach:
            return self._reach[lead]
        pieces, at = self._pattern.pieces, self._places[self._lead][lead]
        meets = []
        for bsl in self._soles:
            low, high = _centres(pieces[self._lead], at, bsl, self._far)
            if low > high:
                continue
            masks = []
            for k, piece in enumerate(pieces):
                if k != self._lead:
                    first, last = _reach(piece, bsl)
                    if piece.follows is not Follows.MARK:
                        first, last = low + first, high + last
                    start, end = bisect_left(self._places[k], first), bisect_right(self._places[k], last)
                    masks.append(((1 << max(0, end - start)) - 1) << (self._starts[k] + start))
            if all(masks):
                meets.append((bsl, masks))
        if len(pieces) <= _TWO and meets:  # one mask for all soles
            bsl, masks = meets[0]
            meets = [(bsl, [reduce(or_, (each for _, (each,) in meets))] if masks else [])]
        self._reach[lead] = meets
        return meets

    def _beside(self, v: int, free: int) -> Iterator[int]:
        """The spots left free beside each mount of spot ``v`` of the lead piece."""
        for bsl, masks in self._reached(v - self._starts[self._lead]):
            for others in product(*(_numbers(mask & free & self._agreeing(v)) for mask in masks)):
                mount = (v, *others)
                left = free
                for w in mount:
                    left &= self._agreeing(w)
                if any(self._new >> w & 1 for w in mount) and self._as_one(bsl, others):
                    yield left

    def _as_one(self, bsl: int, others: Sequence[int]) -> bool:
        """Return whether the pieces beside the lead piece go together and have a centre in common.

        Each of them has one in common with the lead piece: then there is one for all.
        """
        if len(others) < _TWO:
            return True
        beside = [piece for k, piece in enumerate(self._pattern.pieces) if k != self._lead]
        spans = [
            _centres(piece, self._spots[v].at, bsl, self._far)
            for piece, v in zip(beside, others, strict=True)
        ]
        meet = max(low for low, _ in spans) <= min(high for _, high in spans)
        return meet and all(self._agreeing(v) >> w & 1 for v, w in combinations(others, 2))

    def _fit(self, free: int, count: int) -> bool:
        if count == 0:
            return True
        if (free, count) in self._failed:
            return False
        start, lead, tried = free, self._pieces[self._lead], set()
        while all(self._holds(free & piece, count) for piece in self._pieces):
            v = (free & lead & -(free & lead)).bit_length() - 1
            for left in self._beside(v, free):
                self._step()
                if left not in tried and self._fit(left, count - 1):
                    return True
                tried.add(left)
            free &= ~(1 << v)
        self._failed.add((start, count))
        return False

    def _holds(self, free: int, count: int) -> bool:
        """Return whether so many of these spots of one piece go together."""
        if count <= 1 or free.bit_count() < count:
            return free.bit_count() >= count
        if (free, count) not in self._held:
            self._step()
            v = (free & -free).bit_length() - 1
            rest, beside = free & (free - 1), free & self._agreeing(v)
            found = self._holds(beside, count - 1) or (beside != rest and self._holds(rest, count))
            self._held[free, count] = found
        return self._held[free, count]

    def _step(self) -> None:
        self._left -= 1
        if self._left < 0:
            raise _TooLong


_TWO = 2
"""Of two pieces each that meets a sole with the lead does so with it alone; of more, all at one centre."""


class _TooLong(Exception):
    """Raised where a question took all its steps."""


def _centres(piece: Piece, at: int, bsl_um: int, far: int) -> tuple[int, int]:
    """Return the boot centres, from the reference, to which a piece at this place travels for a sole."""
    first, last = at - piece.back_um, at + piece.forward_um
    if piece.follows is Follows.MARK:
        return (-far, far) if first <= 0 <= last else (1, 0)
    return max(-far, first - _end(piece, bsl_um)), min(far, last - _end(piece, bsl_um))


def _reach(piece: Piece, bsl_um: int) -> tuple[int, int]:
    """Return how far from the boot centre (by the mark: from the reference) the piece may stand."""
    end = _end(piece, bsl_um)
    return end - piece.forward_um, end + piece.back_um


@lru_cache(maxsize=4096)
def _too_near(one: tuple[Point, ...], other: tuple[Point, ...], asked_um: int) -> Sequence[tuple[int, int]]:
    """The stretches of how far another spot lies ahead in which some hole of it comes too near."""
    found = []
    for (ax, ay), (bx, by) in product(one, other):
        room = asked_um**2 - (by - ay) ** 2
        if room > 0:
            found.append((ax - bx - isqrt(room - 1), ax - bx + isqrt(room - 1)))
    return found


def _numbers(mask: int) -> list[int]:
    found = []
    while mask:
        found.append((mask & -mask).bit_length() - 1)
        mask &= mask - 1
    return found
