"""The costs of the ways that touch no screw, for many pairs and soles: `untouched` in numpy, exact."""

from collections.abc import Iterator, Sequence

import numpy as np

from fleet.facts.pairs import Pair
from fleet.facts.patterns import Pattern
from fleet.facts.policy import Policy
from planner.geometry.placement.batch_settle import first_offset, ranges
from planner.geometry.placement.batch_spots import Long
from planner.geometry.placement.cost_keys import Keys
from planner.geometry.placement.frames import frame_of
from planner.geometry.placement.hole_table import Bools
from planner.geometry.placement.rule import Rule, rule_for
from planner.geometry.placement.stance import Stance, stance_for
from planner.geometry.placement.untouched import places_of, untouched_mount
from planner.plan.values import Rung


def add_untouched(
    keys: Keys,
    *,
    pairs: Sequence[Pair],
    pattern: Pattern,
    soles: Sequence[tuple[int, int | None]],
    policy: Policy,
    asked: Bools,
) -> None:
    """Add those ways for pairs that carry this pattern's binding, where ``asked`` (pairs, soles).

    *As it is* and the soles that are mounted by pin line are looked at one by one.
    """
    rule = rule_for(policy, None)
    stances = [stance_for(pattern, bsl, pin) for bsl, pin in soles]
    carrying = [
        p
        for p, pair in enumerate(pairs)
        if pair.current_mount is not None and pair.current_mount.pattern == pattern.name
    ]
    single = asked[carrying] & np.array(
        [
            [stance.pin_um is not None or stance.bsl_um == mount.stands_for_um for stance in stances]
            for p in carrying
            if (mount := pairs[p].current_mount) is not None
        ],
        np.bool_,
    ).reshape(len(carrying), len(soles))
    cap = policy.um("clearance_counted_max_mm")
    found = np.array(list(_one_by_one(rule, pairs, carrying, pattern, stances, single)), np.int64).reshape(
        -1, 5
    )
    pair, sole, rung, minutes, offset = found.T
    keys.add(pair, sole, rung, keys.of(np.zeros_like(minutes), minutes, offset, cap))
    offsets, there = _adjusted(rule, [pairs[p] for p in carrying], pattern, stances)
    at, sole = np.nonzero(there & asked[carrying] & ~single)
    size = np.abs(offsets[at, sole])
    key = keys.of(np.zeros_like(size), np.full_like(size, rule.minutes_to_adjust), size, cap)
    keys.add(np.array(carrying, np.intp)[at], sole, np.full_like(size, Rung.ADJUST.rank), key)


def _one_by_one(
    rule: Rule,
    pairs: Sequence[Pair],
    carrying: Sequence[int],
    pattern: Pattern,
    stances: Sequence[Stance],
    chosen: Bools,
) -> Iterator[tuple[int, int, int, int, int]]:
    """Yield (pair, sole, rung, minutes, size of the offset), asked pair by pair."""
    for p, of_pair in zip(carrying, chosen, strict=True):
        for s in np.flatnonzero(of_pair):
            untouched = untouched_mount(
                rule=rule, pair=pairs[p], frame=frame_of(pairs[p]), pattern=pattern, stance=stances[int(s)]
            )
            if untouched is not None:
                yield p, int(s), untouched.rung.rank, untouched.minutes, abs(untouched.offset_um)


def _adjusted(
    rule: Rule, pairs: Sequence[Pair], pattern: Pattern, stances: Sequence[Stance]
) -> tuple[Long, Bools]:
    """Return (offsets, found), both (pairs, soles), for boots that stand by their centre."""
    shape = (len(pairs), len(stances))
    low, high = np.full(shape, -rule.limit_um, np.int64), np.full(shape, rule.limit_um, np.int64)
    middle = Stance(bsl_um=0)
    places = np.array(
        [
            [r for r, _ in places_of(pattern, pair.current_mount, frame_of(pair), middle)]
            for pair in pairs
            if pair.current_mount is not None
        ],
        np.int64,
    ).reshape(len(pairs), len(pattern.pieces))
    for k, piece in enumerate(pattern.pieces):
        ends = [stance.end_um(piece.follows) for stance in stances]
        if None in ends:
            continue
        end = np.array(ends, np.int64)
        r = places[:, k, None]
        low = np.maximum(low, r - piece.back_um - end)
        high = np.minimum(high, r + piece.forward_um - end)
    found, offsets = first_offset(ranges(low, high, low, high))
    takes = np.array([pattern.takes_bsl(stance.bsl_um) for stance in stances], np.bool_)
    return offsets, found & (low <= high) & takes
