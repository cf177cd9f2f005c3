"""Life left of 5,000 different skis, one pattern each, against trying everything one by one.

    python -m tests.bench.life_bench [SKIS] [SUBSET]

Every pair has one to three old mounts of eight invented patterns (four of them travel) at random soles and
offsets, a tenth of the holes gone unnoticed on one ski, both skis' holes up to 0.6 mm apart along and
across, and is asked for one pattern with 16 soles ("life left of 5,000 skis" read as one pattern a ski).
The reference, on a seeded subset in the same run: each pair of positions and each combination of them
tried with the same exact rule in plain Python, then the exact model of a general solver, without the quick
orders and without the search. The two proven ranges must meet; the script fails otherwise.
"""

from __future__ import annotations

import random
import sys
from dataclasses import replace
from itertools import combinations, product
from pathlib import Path
from time import process_time

sys.path.insert(0, str(Path(__file__).parents[1] / "naming"))
from surveys import eight_patterns

from fleet.facts.holes import Hole, HoleState, Knowledge, Side
from fleet.facts.kinds import Kind
from fleet.facts.pairs import Construction, InspectedArea, Pair, Ski
from fleet.facts.patterns import Follows, Pattern, Piece
from fleet.facts.policy import default_policy
from fleet.facts.standing import Place
from planner.geometry.life.compatibility import AgreementCache, CompatibilityGraph
from planner.geometry.life.positions import apart_um, offsets_um, positions_of
from planner.geometry.life.sequence import LifeLeft, longest_life
from planner.geometry.placement.rule import rule_for
from tests.bench.rows import row
from tests.life.model import exact_order
from tests.life.one_by_one import agree

RULE = rule_for(default_policy(), Construction.NO_METAL)
SOLES_UM = [1000 * bsl for bsl in range(265, 345, 5)]
TRAVEL_UM = 8_000
SECONDS = 0.2


def bench_patterns() -> list[Pattern]:
    """The eight patterns; every other one's pieces at the toe and heel travel, as bindings for rent do."""

    def travelling(piece: Piece) -> Piece:
        if piece.follows not in (Follows.TOE, Follows.HEEL):
            return piece
        return replace(piece, travel_back_um=TRAVEL_UM, travel_forward_um=TRAVEL_UM)

    return [
        replace(pattern, pieces=tuple(map(travelling, pattern.pieces))) if index % 2 else pattern
        for index, pattern in enumerate(eight_patterns())
    ]


def seeded_pair(number: int, patterns: list[Pattern]) -> tuple[Pair, Pattern]:
    """A pair that no other number gives, and the pattern it is asked for."""
    rng = random.Random(number)
    places = []
    for _ in range(rng.randint(1, 3)):
        pattern = rng.choice(patterns)
        soles = [bsl for bsl in SOLES_UM if pattern.takes_bsl(bsl)]
        bsl, offset = rng.choice(soles), 500 * rng.randint(-10, 10)
        for piece in pattern.pieces:
            reference = piece.follows.reference_um(offset, bsl)
            places += [(reference + hole.x_um, hole.y_um) for hole in piece.holes]
    skis = {}
    for side in Side:
        holes = tuple(
            Hole(
                hole_id=f"S{number}/{side.value}{k}",
                x_um=x + 100 * rng.randint(-3, 3),
                y_um=y + 100 * rng.randint(-3, 3),
                diameter_um=3_600,
                depth_um=None,
                state=rng.choice((HoleState.OPEN, HoleState.PLUGGED)),
                knowledge=Knowledge.MEASURED_BARE,
            )
            for k, (x, y) in enumerate(places, start=1)
            if side is Side.A or rng.random() > 0.1
        )
        skis[side] = Ski(
            side=side,
            mark_from_tail_um=735_000,
            zone_back_um=260_000,
            zone_front_um=240_000,
            zone_half_width_um=40_000,
            inspected=(InspectedArea(from_um=-260_000, to_um=240_000, how="bare", on="2026-09-01"),),
            holes=holes,
        )
    pair = Pair(
        tag=f"S{number}",
        model="seeded",
        kind=Kind.ALPINE,
        length_mm=1700,
        waist_um=80_000,
        construction=Construction.NO_METAL,
        rack="",
        place=Place.FLAT,
        skis=skis,
    )
    return pair, rng.choice(patterns)


class PlainField(CompatibilityGraph):
    """The same field, each question asked one by one."""

    def __init__(self, cache: AgreementCache, positions: list) -> None:
        import numpy as np

        super().__init__(cache, positions)
        asked = apart_um(cache.rule)
        matrix = np.zeros((len(positions), len(positions)), dtype=bool)
        for v, w in combinations(range(len(positions)), 2):
            a, b = positions[v], positions[w]
            fine = a.reuses.isdisjoint(b.reuses) and agree(a, b, asked)
            matrix[v, w] = matrix[w, v] = fine
        self.__dict__["agree_matrix"] = matrix
        rows = [c for c in product(*self.by_piece) if self._is_mount(c, matrix)]
        self.__dict__["combinations"] = np.array(rows, dtype=np.int64).reshape(-1, len(self.by_piece))

    def _is_mount(self, c: tuple[int, ...], matrix) -> bool:
        if not any(self.positions[v].is_new for v in c):
            return False
        if not all(matrix[a, b] for a, b in combinations(c, 2)):
            return False
        places = [self.positions[v].reference_um for v in c]
        return any(
            offsets_um(self.cache.pattern, places, bsl, self.cache.rule.limit_um) is not None
            for bsl in self.cache.bsls_um
        )


def ours(number: int, patterns: list[Pattern], memories: dict[str, AgreementCache]) -> LifeLeft:
    pair, pattern = seeded_pair(number, patterns)
    cache = memories[pattern.name]
    return longest_life(CompatibilityGraph(cache, positions_of(pair, pattern, cache.rule, cache.bsls_um)))


def plain(number: int, patterns: list[Pattern]) -> tuple[int, int]:
    pair, pattern = seeded_pair(number, patterns)
    cache = AgreementCache(pattern, RULE, SOLES_UM)
    made = PlainField(cache, positions_of(pair, pattern, RULE, cache.bsls_um))
    found, bound = exact_order(made, [], len(made.positions), seconds=SECONDS)
    return len(found), bound


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 5_000
    subset = int(sys.argv[2]) if len(sys.argv) > 2 else 24
    patterns = bench_patterns()
    memories = {pattern.name: AgreementCache(pattern, RULE, SOLES_UM) for pattern in patterns}
    started = process_time()
    lives = [ours(number, patterns, memories) for number in range(count)]
    seconds = process_time() - started
    exact = sum(life.at_least == life.at_most for life in lives)
    print(f"{count} skis, one pattern each: {seconds:.1f} s of one core, {count / seconds:.0f} skis/s")
    print(f"exact: {exact} of {count}, {100 * exact / count:.2f} %")
    gained = sum(life.at_least > life.nearest_first for life in lives)
    print(f"planned ahead gives more mounts than the nearest offset on {gained}")
    table = {n: sum(life.at_least == n for life in lives) for n in sorted({x.at_least for x in lives})}
    print("further mounts:", ", ".join(f"{n}: {k}" for n, k in table.items()))

    chosen = random.Random(1).sample(range(count), min(subset, count))
    started = process_time()
    again = [ours(number, patterns, memories) for number in chosen]
    fast = process_time() - started
    started = process_time()
    reference = [plain(number, patterns) for number in chosen]
    slow = process_time() - started
    both = 0
    for number, life, (least, most) in zip(chosen, again, reference, strict=True):
        # Two proven ranges of one number: they meet, and where both are one number it is the same.
        assert max(life.at_least, least) <= min(life.at_most, most), (number, life, least, most)
        both += life.at_least == life.at_most and least == most
    print(f"of {len(chosen)} also tried one by one, {both} exact both ways, all of them equal")
    per_ours, per_plain = 1000 * fast / len(chosen), 1000 * slow / len(chosen)
    row(
        f"life left of a ski, {len(chosen)} of {count} seeded",
        f"{per_ours:.1f} ms",
        f"{per_plain:.0f} ms, one by one in plain Python and a general solver",
        f"{per_plain / per_ours:.0f} times faster",
    )
    row(
        f"life left of {count} skis, one pattern each",
        f"{seconds:.0f} s, {100 * exact / count:.1f} % exact",
        "180 s asked for 5000",
        f"{180 * count / 5_000 / seconds:.1f} times faster",
    )


if __name__ == "__main__":
    main()
