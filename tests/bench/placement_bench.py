"""How fast legal offsets are found: numpy batch beside the same exact rule in plain Python, in one run.

10,000 distinct skis x 30 sole lengths x 3 patterns. A check is one piece of one pattern on one ski (or
one pair) for one sole: its legal ranges, and the offset nearest the mark. The plain figures are taken on a
sample (printed) and the answers are compared there. Seconds are processor time of one core, best of
several, so that a busy machine disturbs little. Run: python -m tests.bench.placement_bench
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Sequence
from random import Random

from fleet.facts.holes import Hole, HoleState, Knowledge, Side
from fleet.facts.kinds import Kind
from fleet.facts.pairs import Construction, InspectedArea, Pair, Ski
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece, PieceName
from fleet.facts.places import Place
from fleet.facts.policy import Policy, default_policy
from planner.geometry.placement.batch import NOWHERE, BatchFinder
from planner.geometry.placement.frames import frame_of
from planner.geometry.placement.hole_table import HoleTable, hole_tables
from planner.geometry.placement.intervals import union
from planner.geometry.placement.legal import LegalFinder, offsets_only
from planner.geometry.placement.rule import rule_for
from planner.geometry.placement.stance import Stance
from planner.geometry.placement.sweep import stretches
from tests.bench.rows import row

BSLS_UM = [bsl * 1000 for bsl in range(260, 350, 3)]
SEED = 20_261_125


def _piece(
    name: PieceName, follows: Follows, places_mm: Sequence[tuple[float, float]], travel_mm: int
) -> Piece:
    return Piece(
        name=name,
        follows=follows,
        holes=tuple(PatternHole(x_um=round(x * 1000), y_um=round(y * 1000)) for x, y in places_mm),
        travel_back_um=travel_mm * 1000,
        travel_forward_um=travel_mm * 1000,
    )


def three_patterns(travel_mm: int = 0) -> list[Pattern]:
    """Three invented ones of four holes a piece."""
    shapes = (
        (((-10, 18), (-10, -18), (-45, 20), (-45, -20)), ((15, 18), (15, -18), (55, 18), (55, -18))),
        (((-14, 20), (-14, -20), (-52, 16), (-52, -16)), ((8, 17), (8, -17), (42, 21), (42, -21))),
        (((-6, 15), (-6, -15), (-36, 21), (-36, -21)), ((20, 15), (20, -15), (63, 15), (63, -15))),
    )
    return [
        Pattern(
            name=f"P{n}",
            binding_model="invented",
            pieces=(
                _piece(PieceName.TOE, Follows.TOE, toe, 0),
                _piece(PieceName.HEEL, Follows.HEEL, heel, travel_mm),
            ),
        )
        for n, (toe, heel) in enumerate(shapes)
    ]


def distinct_pairs(count: int) -> list[Pair]:
    """Every ski its own holes: one to three old mounts, measured with 0.2 mm error, two thirds of it bare."""
    chance, patterns = Random(SEED), three_patterns()
    return [_pair(chance, patterns, number) for number in range(count)]


def _pair(chance: Random, patterns: list[Pattern], number: int) -> Pair:
    mounts = [
        (chance.choice(patterns), chance.randrange(265, 345, 5) * 1000, chance.choice([0, 0, 2500, -4000]))
        for _ in range(chance.choice([1, 1, 2, 3]))
    ]

    def ski(side: Side) -> Ski:
        places = [
            (piece.follows.reference_um(u, bsl) + hole.x_um, hole.y_um)
            for pattern, bsl, u in mounts
            for piece in pattern.pieces
            for hole in piece.holes
        ]
        return Ski(
            side=side,
            mark_from_tail_um=800_000,
            zone_back_um=400_000,
            zone_front_um=400_000,
            zone_half_width_um=45_000,
            inspected=(InspectedArea(from_um=-500_000, to_um=500_000, how="bare", on="2026-11-02"),),
            holes=tuple(
                Hole(
                    hole_id=f"{number}{side}{n}",
                    x_um=x + round(chance.gauss(0, 200)),
                    y_um=y + round(chance.gauss(0, 100)),
                    diameter_um=3_600,
                    depth_um=9_000,
                    state=chance.choice([HoleState.OPEN, HoleState.OPEN, HoleState.PLUGGED]),
                    knowledge=chance.choice(
                        [Knowledge.MEASURED_BARE, Knowledge.DRILLED_HERE, Knowledge.TEMPLATE]
                    ),
                )
                for n, (x, y) in enumerate(places)
            ),
        )

    return Pair(
        tag=f"P-{number}",
        model="invented",
        kind=Kind.ALPINE,
        length_mm=1700,
        waist_um=None,
        construction=Construction.NO_METAL,
        rack="",
        place=Place.FLAT,
        skis={side: ski(side) for side in Side},
    )


def raw_policy() -> Policy:
    """Spacing alone: no bench error, no allowances."""
    zero = {name: "0" for name in default_policy().settings if name.startswith("allowance_")}
    return default_policy().with_values(**zero, bench_error_mm="0")


Timed = tuple[float, list[list[tuple[int, int]]]]


def plain_one_piece(pairs: Sequence[Pair], pattern: Pattern, policy: Policy, *, each: bool) -> Timed:
    """(seconds, answers) for ski A alone; ``each``: a sweep per check, else one per ski and pattern."""
    (piece,) = pattern.pieces
    limit = policy.um("offset_limit_mm")
    rules = {c: rule_for(policy, c) for c in {p.construction for p in pairs}}
    started = time.process_time()
    answers = []
    for pair in pairs:
        shift, rule = frame_of(pair).shift_um[Side.A], rules[pair.construction]
        swept = None
        row = []
        for bsl in BSLS_UM:
            if swept is None or each:
                found = stretches(rule, pair.skis[Side.A], shift_um=shift, piece=piece, drill=True)
                swept = union((s.low, s.high) for s in found)
            at = Stance(bsl_um=bsl).end_um(piece.follows) or 0
            legal = [
                (max(a, at - limit), min(b, at + limit))
                for a, b in swept
                if a <= at + limit and b >= at - limit
            ]
            nearest = min(
                ((min(max(a, at), b) - at) for a, b in legal), key=lambda u: (abs(u), u), default=NOWHERE
            )
            row.append((nearest, len(legal)))
        answers.append(row)
    return time.process_time() - started, answers


def plain_pairs(pairs: Sequence[Pair], pattern: Pattern, policy: Policy, *, each: bool) -> Timed:
    """The same for whole patterns on both skis."""
    started = time.process_time()
    answers = []
    for pair in pairs:
        finder = None
        row = []
        for bsl in BSLS_UM:
            if finder is None or each:
                finder = LegalFinder(pair=pair, pattern=pattern, policy=policy)
            legal = offsets_only(finder.offsets(bsl))
            nearest = min((min(max(a, 0), b) for a, b in legal), key=lambda u: (abs(u), u), default=NOWHERE)
            row.append((nearest, len(legal)))
        answers.append(row)
    return time.process_time() - started, answers


def batch(tables: dict[Side, HoleTable], patterns: Sequence[Pattern], policy: Policy, repeat: int) -> Timed:
    """(best seconds of several, answers of the first pattern)."""
    best, answers = float("inf"), []
    for _ in range(repeat):
        started = time.process_time()
        found = [BatchFinder(pattern=p, policy=policy, tables=tables).offsets(BSLS_UM) for p in patterns]
        best = min(best, time.process_time() - started)
        first = found[0]
        answers = [
            list(zip(map(int, near), map(int, count), strict=True))
            for near, count in zip(first.nearest_um[:200], first.ranges[:200], strict=True)
        ]
    return best, answers


Plain = Callable[..., Timed]


def report(
    title: str,
    pairs: Sequence[Pair],
    tables: dict[Side, HoleTable],
    patterns: Sequence[Pattern],
    policy: Policy,
    plain: Plain,
    sample: int,
    repeat: int,
) -> None:
    """One block of figures; stops if batch and plain differ anywhere in the sample."""
    checks = len(pairs) * len(BSLS_UM) * len(patterns)
    seconds, answers = batch(tables, patterns, policy, repeat)
    few = pairs[:sample]
    per_pattern, expected = plain(few, patterns[0], policy, each=False)
    per_check, again = plain(few[: max(sample // 10, 1)], patterns[0], policy, each=True)
    same = expected == answers[: len(expected)] and again == answers[: len(again)]
    rate = checks / seconds
    swept = len(few) * len(BSLS_UM) / per_pattern
    checked = len(again) * len(BSLS_UM) / per_check
    print(f"{title}: {checks:,} checks in {seconds:.3f} s")
    print(f"  numpy batch                  {rate:>12,.0f} checks/s")
    print(f"  plain, a sweep per pattern   {swept:>12,.0f} checks/s   batch is {rate / swept:,.0f} times")
    print(f"  plain, a sweep per check     {checked:>12,.0f} checks/s   batch is {rate / checked:,.0f} times")
    print(
        f"  answers in the sample of {len(expected)} skis: {'the same' if same else 'DIFFERENT'}", flush=True
    )
    if not same:
        raise SystemExit(1)
    for plain_rate, how in ((swept, "per pattern"), (checked, "per check")):
        row(
            title,
            f"{rate / 1e6:.2f} M checks/s",
            f"plain Python, a sweep {how}, {plain_rate / 1e6:.3f} M/s",
            f"{rate / plain_rate:,.0f} times faster",
        )


def main() -> None:
    """Print all blocks."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--skis", type=int, default=10_000)
    ask.add_argument("--sample", type=int, default=100)
    ask.add_argument("--repeat", type=int, default=3)
    given = ask.parse_args()
    pairs = distinct_pairs(given.skis)
    started = time.process_time()
    raw_tables = hole_tables(pairs, raw_policy())
    print(f"{len(pairs):,} distinct pairs into arrays, once: {time.process_time() - started:.2f} s")
    tables = hole_tables(pairs, default_policy())
    toes = [Pattern(name=p.name, binding_model=p.name, pieces=p.pieces[:1]) for p in three_patterns()]
    only_a = {Side.A: raw_tables[Side.A]}
    allowed_a = {Side.A: tables[Side.A]}
    for title, of, patterns, policy, plain in (
        ("one piece, one ski, spacing alone", only_a, toes, raw_policy(), plain_one_piece),
        ("one piece, one ski, allowances", allowed_a, toes, default_policy(), plain_one_piece),
        ("two pieces, both skis, spacing alone", raw_tables, three_patterns(), raw_policy(), plain_pairs),
        ("two pieces, both skis, allowances", tables, three_patterns(), default_policy(), plain_pairs),
        ("the same, heel travels 15 mm each way", tables, three_patterns(15), default_policy(), plain_pairs),
    ):
        report(title, pairs, of, patterns, policy, plain, given.sample, given.repeat)


if __name__ == "__main__":
    main()
