"""Seeded fleets with real old holes, of any size: the sample fleet's patterns, ski models and boots.

Each pair gets a history of its own: up to three mounts of patterns that fit its kind, for soles that boots of
the sample fleet have, new holes kept apart; two of three carry the last one's binding. All different: every
hole of either ski is measured, with an error of its own. ``batch``: so many pairs share history and holes.
"""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from fleet.base.units import to_half_mm
from fleet.facts.boots import Boot
from fleet.facts.holes import Hole, HoleState, Knowledge, Mount, Side
from fleet.facts.kinds import Kind
from fleet.facts.pairs import Binding, Pair
from fleet.facts.patterns import Pattern
from fleet.facts.standing import Place
from fleet.facts.wishes import Wish
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import Fleet, read_fleet
from planner.demo.shared import SAMPLE
from planner.demo.story import take_inventory
from tests.once import once

APART_UM = 10_500
"""New holes of seeded mounts keep so far from older ones: spacing and bench error of the sample fleet."""
ERROR_UM = 150.0
"""Standard error of a measured hole (invented)."""
SOLE_OF = {
    Kind.ALPINE: "ISO 5355 A",
    Kind.TOURING: "ISO 9523",
    Kind.TELEMARK: "75 mm",
    Kind.JUNIOR: "ISO 5355 C",
}
SHELLS_MM = {
    Kind.ALPINE: ((215, 245), (250, 255), (260, 270), (275, 300)),
    Kind.TOURING: ((220, 245), (250, 260), (265, 300)),
    Kind.TELEMARK: ((220, 250), (255, 300)),
    Kind.JUNIOR: ((180, 195), (200, 215), (220, 240)),
}
"""Shell windows of the sets wanted, apart from each other, the shortest skis first."""
SERVED = 0.85
"""Sets wanted for each pair."""
Place_um = tuple[int, int]


@cache
def sample_fleet() -> Fleet:
    """The sample fleet as the demo imports it."""
    return once("sample_fleet", _sample_fleet)


def _sample_fleet() -> Fleet:
    with TemporaryDirectory() as folder:
        (Path(folder) / "1_inventory").mkdir()
        take_inventory(Path(folder), Path(folder) / "shop.db", lambda _: None, SAMPLE)
        with Ledger.open(Path(folder) / "shop.db") as ledger:
            return read_fleet(ledger.connection)


def real_fleet(count: int, *, seed: int, batch: int = 1) -> Fleet:
    """``count`` pairs, a tenth more boots, bindings for every pair that wants another."""
    base, rng = sample_fleet(), random.Random(seed)
    models = [
        p
        for p in base.pairs.values()
        if p.skis[Side.A].zone_known and p.skis[Side.A].inspected and p.construction
    ]
    pairs, bindings = {}, []
    for first in range(0, count, batch):
        model = rng.choice(models)
        history = list(_history(rng, base, model))
        for number in range(first, min(first + batch, count)):
            tag = f"K-{number:06d}"
            pair = _pair(rng, base, model, tag, history, measured=batch == 1)
            pairs[tag] = pair
            mount = pair.current_mount
            if mount is not None:
                brake = _brake(pair)
                bindings += [_binding(f"{tag} {side}", mount.pattern, brake, tag, side) for side in Side]
    wishes = tuple(_wishes(list(pairs.values())))
    boots = {b.tag: b for b in _boots(rng, base, int(count * 1.1))}
    bindings += _stock(base, list(pairs.values()))
    return replace(
        base,
        pairs=pairs,
        boots=boots,
        bindings={b.binding_id: b for b in bindings},
        wishes=wishes,
    )


def patterns_for(fleet: Fleet, kind: Kind) -> list[Pattern]:
    """The patterns that take the usual sole of a kind."""
    fitted = {f.pattern for f in fleet.fits if f.sole_type == SOLE_OF[kind]}
    return [fleet.patterns[name] for name in sorted(fitted)]


def _history(rng: random.Random, fleet: Fleet, model: Pair) -> Iterator[tuple[Pattern, int, int]]:
    """(pattern, sole, offset) of each mount, first to last; what comes too near an older hole is left out."""
    soles = sorted(
        {b.bsl_um for b in fleet.boots.values() if b.sole_type == SOLE_OF[model.kind] and b.bsl_um}
    )
    taken: list[Place_um] = []
    for _ in range(rng.choice((0, 1, 1, 1, 2, 2, 3))):
        pattern = rng.choice(patterns_for(fleet, model.kind))
        bsl, offset = rng.choice(soles), 500 * rng.choice((0, 0, 0, -4, 3, 6))
        if not pattern.takes_bsl(bsl):
            continue
        places = _places(pattern, bsl, offset)
        if all((x - u) ** 2 + (y - v) ** 2 >= APART_UM**2 for x, y in places for u, v in taken):
            taken += places
            yield pattern, bsl, offset


def _places(pattern: Pattern, bsl_um: int, offset_um: int) -> list[Place_um]:
    return [
        (to_half_mm(piece.follows.reference_um(offset_um, bsl_um)) + hole.x_um, hole.y_um)
        for piece in pattern.pieces
        for hole in piece.holes
    ]


def _pair(
    rng: random.Random,
    fleet: Fleet,
    model: Pair,
    tag: str,
    history: list[tuple[Pattern, int, int]],
    *,
    measured: bool,
) -> Pair:
    mounts = []
    carries = bool(history) and (len(tag) + len(history) + history[-1][1] // 1000) % 3 != 0
    for number, (pattern, bsl, offset) in enumerate(history, start=1):
        on = carries and number == len(history)
        mounts.append(
            Mount(
                pattern=pattern.name,
                bsl_um=bsl,
                offset_um=offset,
                mounted_on=f"202{number}-10-01",
                removed_on=None if on else f"202{number + 1}-05-01",
            )
        )
    drill = fleet.policy.um(f"drill_{str(model.construction).replace(' ', '_')}_mm")
    skis = {
        side: replace(
            model.skis[side],
            mark_from_tail_um=model.skis[Side.A].mark_from_tail_um,
            holes=tuple(_holes(rng, tag, side, history, drill, carries=carries, measured=measured)),
        )
        for side in Side
    }
    return replace(
        model, tag=tag, place=Place.BACK if carries else Place.FLAT, skis=skis, mounts=tuple(mounts),
        earlier_mounts=0,
    )  # fmt: skip


def _holes(
    rng: random.Random,
    tag: str,
    side: Side,
    history: list[tuple[Pattern, int, int]],
    drill_um: int,
    *,
    carries: bool,
    measured: bool,
) -> Iterator[Hole]:
    number = 0
    for mount, (pattern, bsl, offset) in enumerate(history, start=1):
        last = mount == len(history)
        for x, y in _places(pattern, bsl, offset):
            number += 1
            if measured:
                x, y = (round(rng.gauss(v, ERROR_UM), -2) for v in (x, y))
            yield Hole(
                hole_id=f"{tag}/{side}{number}",
                x_um=int(x),
                y_um=int(y),
                diameter_um=drill_um,
                depth_um=9_000,
                state=HoleState.SCREWED
                if last and carries
                else HoleState.OPEN
                if last
                else HoleState.PLUGGED,
                knowledge=Knowledge.MEASURED_HERE if measured else Knowledge.DRILLED_HERE,
            )


def _brake(pair: Pair) -> int:
    """The next brake that is no narrower than the waist, in steps of 5 mm."""
    return -(-(pair.waist_um or 0) // 5_000) * 5_000


def _binding(name: str, pattern: str, brake_um: int, tag: str | None, side: Side | None) -> Binding:
    return Binding(
        binding_id=name, model=pattern, pattern=pattern, brake_um=brake_um, on_pair=tag, on_ski=side
    )  # fmt: skip


def _stock(fleet: Fleet, pairs: list[Pair]) -> Iterator[Binding]:
    """A binding of each pattern of its kind for every pair, in its brake width."""
    needed: dict[tuple[str, int], int] = defaultdict(int)
    for pair in pairs:
        for pattern in patterns_for(fleet, pair.kind):
            needed[pattern.name, _brake(pair)] += 1
    for (pattern_name, brake), count in sorted(needed.items()):
        for number in range(count):
            for side in Side:
                yield _binding(f"{pattern_name} {brake} no. {number} {side}", pattern_name, brake, None, None)


def _wishes(pairs: list[Pair]) -> Iterator[Wish]:
    """Sets wanted by kind: the lengths in as many groups as there are shell windows, none in two of them."""
    for kind, shells in SHELLS_MM.items():
        lengths = sorted(p.length_mm for p in pairs if p.kind is kind)
        cuts = (
            sorted({lengths[len(lengths) * k // len(shells)] for k in range(len(shells))}) if lengths else []
        )
        for k, low in enumerate(cuts):
            high = cuts[k + 1] - 1 if k + 1 < len(cuts) else lengths[-1]
            quantity = int(SERVED * sum(low <= length <= high for length in lengths))
            yield Wish(
                wish=f"{kind}-{k}",
                kind=kind,
                length_min_mm=low,
                length_max_mm=high,
                mondopoint_min_mm=shells[k][0],
                mondopoint_max_mm=shells[k][1],
                quantity=quantity,
                priority=1 + k % 2,
            )


def _boots(rng: random.Random, fleet: Fleet, count: int) -> Iterator[Boot]:
    models = [b for b in fleet.boots.values() if b.bsl_um is not None]
    for number in range(count):
        yield replace(rng.choice(models), tag=f"B-{number:06d}")
