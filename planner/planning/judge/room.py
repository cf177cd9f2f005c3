"""The room for further mounts that a plan says it leaves, counted anew from the coordinates of the holes.

A piece is tried on every half millimetre of both skis by the distances of its holes, and upon old holes as
they lie. Two such spots go together if their new holes keep apart and no old hole is used twice; a mount is a
spot for each piece that some sole of the shop reaches and that drills at least once. Whether so many
mounts go together is looked for by taking one after the other; sets of spots are bits of whole numbers.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from itertools import accumulate, product
from math import isqrt
from operator import or_

from fleet.base.units import BENCH_STEP_UM, to_half_mm
from fleet.base.values import Value
from fleet.facts.holes import Hole, HoleState, Knowledge, Side
from fleet.facts.kinds import Kind
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece
from fleet.facts.skis import Ski
from fleet.tables.snapshot import Fleet
from planner.plan.values import Plan, PlannedSet, Rung
from planner.planning.judge.alike import of_each
from planner.planning.judge.limits import Limits
from planner.planning.judge.objection import Objection
from planner.planning.judge.set_check import Facts, shift_of
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
        self._patterns: dict[Kind, list[tuple[Pattern, list[int]]]] = {}

    def left(self, pair: Pair, most: int) -> int | None:
        """Return how many, counted no further than ``most``; None where it takes too long to say."""
        skis = tuple(_as_drilled(pair.skis[side]) for side in Side)
        key = (pair.kind, pair.construction, pair.reference_from_tail_um, skis, most)
        if key not in self._known:
            self._known[key] = self._counted(pair, most)
        return self._known[key]

    def _counted(self, pair: Pair, most: int) -> int | None:
        found, limits = 0, self._facts.limits(pair)
        if pair.kind not in self._patterns:
            self._patterns[pair.kind] = _patterns_of(self._facts.fleet, pair.kind)
        try:
            for pattern, soles in self._patterns[pair.kind] if most else ():
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


def _patterns_of(fleet: Fleet, kind: Kind) -> list[tuple[Pattern, list[int]]]:
    """The patterns on pairs of a kind, now or before, with the soles that both makers declare for them."""
    alike = {tag for tag, other in fleet.pairs.items() if other.kind is kind}
    names = {b.pattern for b in fleet.bindings.values() if b.on_pair in alike}
    names |= {mount.pattern for tag in alike for mount in fleet.pairs[tag].mounts}
    found = []
    for name in sorted(names & set(fleet.patterns)):
        pattern = fleet.patterns[name]
        types = {fit.sole_type for fit in fleet.fits if fit.pattern == name}
        lengths = {b.bsl_um for b in fleet.boots.values() if b.sole_type in types and b.bsl_um is not None}
        if soles := sorted(bsl for bsl in lengths if pattern.takes_bsl(bsl)):
            found.append((pattern, soles))
    return found


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
    roles = [
        (side, hole, _roles(limits, pair.skis[side], hole, first + shift_of(pair, side), count))
        for side in Side
        for hole in piece.holes
    ]
    known: dict[tuple[int, ...], tuple[tuple[Point, ...], frozenset[tuple[Side, int]]] | None] = {}
    for n, each in enumerate(zip(*(role for _, _, role in roles), strict=True)):
        if each not in known:
            used = [(side, k) for (side, _, _), k in zip(roles, each, strict=True) if k >= 0]
            drilled = {(h.x_um, h.y_um) for (_, h, _), k in zip(roles, each, strict=True) if k == _DRILLED}
            apart = _NOT not in each and len(set(used)) == len(used)
            known[each] = (tuple(sorted(drilled)), frozenset(used)) if drilled and apart else None
        if (does := known[each]) is not None:
            yield _Spot(first + n * BENCH_STEP_UM, *does)
    yield from _standing(limits, pair, piece, low, high)


_DRILLED, _NOT = -1, -2


def _end(piece: Piece, bsl_um: int) -> int:
    return {Follows.TOE: bsl_um // 2, Follows.HEEL: -(bsl_um // 2)}.get(piece.follows, 0)


def _roles(limits: Limits, ski: Ski, hole: PatternHole, first: int, count: int) -> list[int]:
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
    windows = _windows(limits, ski, hole)
    for k, (low, high) in windows.items():
        put(k, low, high)
        for start, end in _spoilt(limits, ski, hole, windows, k):
            put(_NOT, max(low, start), min(high, end))
    return found


def _windows(limits: Limits, ski: Ski, hole: PatternHole) -> dict[int, tuple[int, int]]:
    """Return where the screw of a listed hole goes into each old hole, by number, by the ski's own mark."""
    found = {}
    for k, old in enumerate(ski.holes):
        room = limits.tolerance_um**2 - (hole.y_um - old.y_um) ** 2
        if room >= 0 and takes_screw(limits, old, hole):
            found[k] = old.x_um - isqrt(room), old.x_um + isqrt(room)
    return found


def _spoilt(
    limits: Limits, ski: Ski, hole: PatternHole, windows: Mapping[int, tuple[int, int]], own: int
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


def _standing(limits: Limits, pair: Pair, piece: Piece, low: int, high: int) -> Iterator[_Spot]:
    """The spots at which every screw of both skis goes into an old hole."""
    screws = [
        (side, hole, hole.x_um + shift_of(pair, side), _windows(limits, pair.skis[side], hole))
        for side, hole in product(Side, piece.holes)
    ]
    _, _, shift, windows = screws[0]
    for near in [start + end - 2 * shift for start, end in windows.values()]:
        span, used, without = (low, high), [], []
        for side, hole, shift, windows in screws:
            middles = {k: start + end - 2 * shift for k, (start, end) in windows.items()}
            if middles:
                own = min(middles, key=lambda k: abs(middles[k] - near))
                start, end = windows[own]
                span = max(span[0], start - shift), min(span[1], end - shift)
                used.append((side, own))
                spoilt = _spoilt(limits, pair.skis[side], hole, windows, own)
                without += [(start - shift, end - shift) for start, end in spoilt]
        if len(used) == len(screws) == len(set(used)):
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
    """The spots that go together, and those that are a mount: of one lead piece, with the others' beside."""

    def __init__(
        self, limits: Limits, pattern: Pattern, soles: Sequence[int], spots: Sequence[Sequence[_Spot]]
    ) -> None:
        self._left = _STEPS
        self._spots = [spot for each in spots for spot in each]
        starts = [sum(map(len, spots[:k])) for k in range(len(spots))]
        self._pieces = [((1 << len(each)) - 1) << at for each, at in zip(spots, starts, strict=True)]
        asked = limits.spacing_um + limits.bench_error_um + limits.allowance_um[Knowledge.DRILLED_HERE]
        self._agree = _together(self._spots, asked)
        self._lead = min(range(len(spots)), key=lambda k: len(spots[k]))
        self._new = sum(1 << v for v, spot in enumerate(self._spots) if spot.drilled)
        self._far, self._pattern = limits.offset_limit_um, pattern
        self._reach = self._reached(soles, spots, starts)
        self._sizes: dict[int, int] = {0: 0}
        self._failed: set[tuple[int, int]] = set()

    def go_together(self, count: int) -> bool:
        """Return whether so many mounts do. Raises _TooLong."""
        return self._fit((1 << len(self._spots)) - 1, count)

    def _reached(
        self, soles: Sequence[int], spots: Sequence[Sequence[_Spot]], starts: Sequence[int]
    ) -> list[list[tuple[int, list[int]]]]:
        """For each spot of the lead piece and each sole that it meets: the spots of each other piece that
        meet it with a centre in common, as bits.
        """
        pieces, far = self._pattern.pieces, self._far
        lead = pieces[self._lead]
        back, forward, by_mark = lead.back_um, lead.forward_um, lead.follows is Follows.MARK
        places = [[spot.at for spot in each] for each in spots]
        others = [(k, piece) for k, piece in enumerate(pieces) if k != self._lead]
        asked = [
            (
                bsl,
                _end(lead, bsl),
                [(k, *_reach(piece, bsl), piece.follows is not Follows.MARK) for k, piece in others],
            )
            for bsl in soles
        ]
        found: list[list[tuple[int, list[int]]]] = []
        for at in places[self._lead]:
            meets = []
            for bsl, end, beside in asked:
                low, high = max(-far, at - back - end), min(far, at + forward - end)
                if by_mark:
                    low, high = _centres(lead, at, bsl, far)
                if low > high:
                    continue
                masks = []
                for k, first, last, moves in beside:
                    start = bisect_left(places[k], low + first if moves else first)
                    count = bisect_right(places[k], high + last if moves else last) - start
                    masks.append(((1 << max(0, count)) - 1) << (starts[k] + start))
                if all(masks):
                    meets.append((bsl, masks))
            if len(pieces) <= _TWO and meets:  # one mask for all soles
                bsl, masks = meets[0]
                meets = [(bsl, [_any(each[0] for _, each in meets)] if masks else [])]
            found.append(meets)
        return found

    def _beside(self, v: int, free: int) -> Iterator[int]:
        """The spots left free beside each mount of spot ``v`` of the lead piece."""
        lead = v - (self._pieces[self._lead] & -self._pieces[self._lead]).bit_length() + 1
        for bsl, masks in self._reach[lead]:
            for others in product(*(_numbers(mask & free & self._agree[v]) for mask in masks)):
                mount = (v, *others)
                left = free
                for w in mount:
                    left &= self._agree[w]
                if any(self._new >> w & 1 for w in mount) and self._as_one(bsl, others):
                    yield left

    def _as_one(self, bsl: int, others: Sequence[int]) -> bool:
        """Return whether the pieces beside the lead piece go together and have a centre in common."""
        return all(
            self._agree[v] >> w & 1 and self._one_centre(bsl, v, w) for v in others for w in others if v < w
        )

    def _one_centre(self, bsl: int, *two: int) -> bool:
        """Stretches that meet by twos have a point in common all together."""
        spans = [
            _centres(piece, self._spots[v].at, bsl, self._far)
            for v in two
            for piece, spots in zip(self._pattern.pieces, self._pieces, strict=True)
            if spots >> v & 1
        ]
        return max(low for low, _ in spans) <= min(high for _, high in spans)

    def _fit(self, free: int, count: int) -> bool:
        if count == 0:
            return True
        if (free, count) in self._failed:
            return False
        start, lead, tried = free, self._pieces[self._lead], set()
        while all(self._size(free & piece) >= count for piece in self._pieces):
            v = (free & lead & -(free & lead)).bit_length() - 1
            for left in self._beside(v, free):
                self._step()
                if left not in tried and self._fit(left, count - 1):
                    return True
                tried.add(left)
            free &= ~(1 << v)
        self._failed.add((start, count))
        return False

    def _size(self, free: int) -> int:
        """The most spots of one piece that go together."""
        if free not in self._sizes:
            self._step()
            v = (free & -free).bit_length() - 1
            rest = free & (free - 1)
            size = 1 + self._size(rest & self._agree[v])
            if rest & ~self._agree[v]:
                size = max(size, self._size(rest))
            self._sizes[free] = size
        return self._sizes[free]

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


def _together(spots: Sequence[_Spot], asked_um: int) -> list[int]:
    """For each spot those that go together with it, as bits; none goes with itself."""
    alike: dict[tuple[Point, ...], list[int]] = {}
    for v in sorted(range(len(spots)), key=lambda v: spots[v].at):  # two pieces may have one shape
        alike.setdefault(spots[v].drilled, []).append(v)
    against = [1 << v for v in range(len(spots))]
    for one, ones in alike.items():
        for other, others in alike.items():
            places = [spots[w].at for w in others]
            before = list(accumulate((1 << w for w in others), or_, initial=0))
            for low, high in _too_near(one, other, asked_um):
                for v in ones:
                    start, end = (
                        bisect_left(places, spots[v].at + low),
                        bisect_right(places, spots[v].at + high),
                    )
                    against[v] |= before[end] ^ before[start]
    standing = [v for v, spot in enumerate(spots) if spot.upon]
    for v, w in product(standing, standing):
        if spots[v].upon & spots[w].upon:
            against[v] |= 1 << w
    every = (1 << len(spots)) - 1
    return [every & ~mask for mask in against]


def _too_near(one: Sequence[Point], other: Sequence[Point], asked_um: int) -> list[tuple[int, int]]:
    """The stretches of how far another spot lies ahead in which some hole of it comes too near."""
    found = []
    for (ax, ay), (bx, by) in product(one, other):
        room = asked_um**2 - (by - ay) ** 2
        if room > 0:
            found.append((ax - bx - isqrt(room - 1), ax - bx + isqrt(room - 1)))
    found.sort()
    merged: list[tuple[int, int]] = []
    for low, high in found:
        if merged and low <= merged[-1][1] + 1:
            merged[-1] = merged[-1][0], max(high, merged[-1][1])
        else:
            merged.append((low, high))
    return merged


def _any(masks: Iterator[int]) -> int:
    found = 0
    for mask in masks:
        found |= mask
    return found


def _numbers(mask: int) -> list[int]:
    found = []
    while mask:
        found.append((mask & -mask).bit_length() - 1)
        mask &= mask - 1
    return found
