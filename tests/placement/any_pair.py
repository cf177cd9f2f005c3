"""Any pair and any pattern: old holes of real places and of none, states, knowledge, zones and travel."""

from __future__ import annotations

from random import Random

from fleet.facts.holes import HoleState, Knowledge, Side
from fleet.facts.patterns import Follows, Pattern, PieceName
from tests.placement import conftest as make


def any_holes(chance: Random, name: str):
    old = []
    for _ in range(chance.choice([0, 1, 1, 2, 3])):
        old += make.mount_holes_mm(make.t4h4(), chance.randrange(275, 340, 5), chance.choice([0, 0, 2.5, -4]))
    if old and chance.random() < 0.3:  # some are entered twice, a little apart, and a third lies close by
        x, y = chance.choice(old)
        old += [(x + 0.2, y), (x - 0.2, y), (x + chance.choice([8.5, 9.7, 10.2]), y)]
    found = []
    for number, (x, y) in enumerate(old):
        found += make.holes(
            [(round(x + chance.gauss(0, 0.2), 2), round(y + chance.gauss(0, 0.1), 2))],
            state=chance.choice([HoleState.OPEN] * 6 + list(HoleState)),
            knowledge=chance.choice([Knowledge.MEASURED_BARE] * 6 + list(Knowledge)),
            diameter_mm=chance.choice([3.6] * 8 + [4.1, 6, None]),
            name=f"{name}{number}-",
        )
    return found


def any_pair(chance: Random):
    def ski(side: Side):
        return make.ski(
            side,
            any_holes(chance, side.value),
            mark_mm=chance.choice([800, 800, 801.5, None]),
            zone_mm=chance.choice([(400, 400, 45)] * 4 + [(185, 170, 45), (400, 400, 27), None]),
            inspected_mm=chance.choice([[(-500, 500)]] * 4 + [[(-500, 120), (140, 500)], []]),
        )

    return make.pair(
        ski(Side.A),
        ski(Side.B),
        construction=chance.choice([make.Construction.NO_METAL] * 5 + [make.Construction.METAL, None]),
        earlier_mounts=chance.choice([0] * 6 + [2]),
    )


def any_pattern(chance: Random) -> Pattern:
    travel = chance.choice([(0, 0), (0, 0), (3, 5), (15, 15)])
    whole = make.t4h4(heel_travel=travel, toe_travel=chance.choice([(0, 0), (0, 0), (1, 0)]))
    centre = make.piece(PieceName.PLATE, Follows.CENTRE, [(0, 18), (0, -18), (40, 0)], diameter_mm=6)
    mark = make.piece(PieceName.PLATE, Follows.MARK, [(0, 18), (0, -18), (40, 0)])
    pieces = chance.choice(
        [whole.pieces, whole.pieces, whole.pieces[:1], whole.pieces[1:], (centre,), (mark,)]
    )
    made = Pattern(name="any", binding_model="any", pieces=pieces, bsl_max_um=330_000)
    return made.leaving(chance.choice([0, 0, 0, 500, 2_000]))
