"""The entries a survey would make: new holes, holes now better known, marks, areas seen bare.

And doubts, found by comparing its readings: place, numbers, and what to measure again.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from fleet.base.units import length_text
from fleet.events.event import Changes, Event, Plain
from fleet.events.pairs import AreaInspected, HoleChanged, HolesRecorded, NewHole, PairChanged
from fleet.facts.holes import Hole, HoleState, Knowledge, Side, fresh_hole_ids
from fleet.facts.pairs import Pair
from planner.geometry.survey.readings import BareReading, FourReading, HoleReading, MarkReading, Reading

NAMES = (
    "front width",
    "right length",
    "rear width",
    "left length",
    "front right to rear left",
    "front left to rear right",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FourHoles:
    """Front right, front left, rear right, rear left as (x, y) in micrometres; the worst residual.

    ``suspect`` names the one distance without which the others agree within ``agree_um``; None where all
    agree, and ``unclear`` is True where they disagree and no single distance explains it.
    """

    places_um: tuple[tuple[int, int], ...]
    worst_um: int
    suspect: str | None
    unclear: bool


def place_four(reading: FourReading, *, agree_um: int) -> FourHoles:
    """Fit the symmetric group of four by least squares; name the distance that does not fit, if one explains
    it.
    """
    measured = (
        reading.front_um,
        reading.right_um,
        reading.rear_um,
        reading.left_um,
        reading.right_to_left_um,
        reading.left_to_right_um,
    )
    everything = tuple(range(6))
    fitted, worst = _fit(measured, everything)
    suspect: str | None = None
    unclear = False
    if worst > agree_um:
        tries = []
        for kept in combinations(everything, 5):
            (dropped,) = set(everything) - set(kept)
            shape, residual = _fit(measured, kept)
            tries.append((residual, dropped, shape))
        tries.sort(key=lambda t: (t[0], t[1]))
        residual, dropped, shape = tries[0]
        # Another distance that explains it as well leaves the question open.
        if residual <= agree_um and tries[1][0] > agree_um:
            suspect, fitted = NAMES[dropped], shape
        else:
            unclear = True
    front, rear, length = fitted
    x0 = reading.front_x_um
    return FourHoles(
        places_um=tuple(
            (round(x), round(y))
            for x, y in (
                (x0, front / 2),
                (x0, -front / 2),
                (x0 - length, rear / 2),
                (x0 - length, -rear / 2),
            )
        ),
        worst_um=round(worst),
        suspect=suspect,
        unclear=unclear,
    )


def _model(front: float, rear: float, length: float) -> tuple[float, ...]:
    side = math.hypot(length, (front - rear) / 2)
    across = math.hypot(length, (front + rear) / 2)
    return (front, side, rear, side, across, across)


def _fit(measured: tuple[int, ...], kept: tuple[int, ...]) -> tuple[tuple[float, float, float], float]:
    """Fit (front, rear, length) by Gauss-Newton; return the shape and the worst residual of the kept
    distances.
    """
    import numpy as np

    values = np.array(measured, float)
    shape = np.array([values[0], values[2], (values[1] + values[3]) / 2])
    rows = list(kept)
    for _ in range(12):
        predicted = np.array(_model(*shape))
        # the model is close to linear at this size, so differences over one micrometre serve as derivatives
        jacobian = np.array([(np.array(_model(*(shape + step))) - predicted) / 1.0 for step in np.eye(3)]).T
        move, *_ = np.linalg.lstsq(jacobian[rows], (values - predicted)[rows], rcond=None)
        shape = shape + move
        # a thousandth of a micrometre: far below what a rule can read
        if float(np.abs(move).max()) < 1e-3:
            break
    residuals = np.abs(values - np.array(_model(*shape)))[rows]
    return (float(shape[0]), float(shape[1]), float(shape[2])), float(residuals.max())


SAME_HOLE_UM = 5_000
"""Holes of the two skis nearer than this are taken for each other's counterpart (ours, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """One doubt. ``lines``: the lines of the survey it is about; ``measure``: what to measure again at the
    bench.
    """

    code: str
    lines: tuple[int, ...]
    message: str
    measure: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedHole:
    """A reading turned into a place on the ski, µm from that ski's own mark."""

    line: int
    side: Side
    x_um: int
    y_um: int
    reading: HoleReading | FourReading


def place_readings(
    readings: Sequence[Reading], known_marks: Mapping[Side, int | None], *, agree_um: int
) -> tuple[list[PlacedHole], dict[Side, int | None], list[Slip]]:
    """Return holes with their places, the marks after this survey, and the doubts found on the way."""
    marks = dict(known_marks)
    slips: list[Slip] = []
    for reading in readings:
        if isinstance(reading, MarkReading):
            before = marks.get(reading.side)
            if before is not None and abs(before - reading.from_tail_um) > agree_um:
                slips.append(
                    Slip(
                        code="mark differs from the ledger",
                        lines=(reading.line,),
                        message=(
                            f"ski {reading.side}: mark to tail {length_text(reading.from_tail_um)} mm "
                            f"today, {length_text(before)} mm in the ledger"
                        ),
                        measure="lay the ruler flat from the rearmost point and measure the mark again",
                    )
                )
            marks[reading.side] = reading.from_tail_um
    placed: list[PlacedHole] = []
    for reading in readings:
        if isinstance(reading, HoleReading):
            hole = _place_hole(reading, marks.get(reading.side), agree_um, slips)
            if hole is not None:
                placed.append(hole)
        elif isinstance(reading, FourReading):
            placed += _place_four(reading, agree_um, slips)
    return placed, marks, slips


def _place_hole(
    reading: HoleReading, mark_um: int | None, agree_um: int, slips: list[Slip]
) -> PlacedHole | None:
    x = reading.x_um
    if reading.tail_um is not None:
        if mark_um is None:
            if x is None:
                slips.append(
                    Slip(
                        code="mark unknown",
                        lines=(reading.line,),
                        message=f"ski {reading.side}: a tail distance, but mark to tail is not known",
                        measure=f"measure mark to tail and type: {reading.side} mark 812",
                    )
                )
                return None
        else:
            by_tail = reading.tail_um - mark_um
            if x is not None and abs(by_tail - x) > agree_um:
                slips.append(
                    Slip(
                        code="tail and mark disagree",
                        lines=(reading.line,),
                        message=(
                            f"ski {reading.side}: {length_text(reading.tail_um)} mm from the tail less "
                            f"{length_text(mark_um)} mm mark to tail is {length_text(by_tail)} mm, "
                            f"but x reads {length_text(x)} mm"
                        ),
                        measure="measure this hole again, from the mark and from the tail",
                    )
                )
            x = by_tail if x is None else x
    assert x is not None  # the line reader gives x or the tail distance
    return PlacedHole(line=reading.line, side=reading.side, x_um=x, y_um=reading.y_um, reading=reading)


def _place_four(reading: FourReading, agree_um: int, slips: list[Slip]) -> list[PlacedHole]:
    four = place_four(reading, agree_um=agree_um)
    if four.suspect is not None:
        slips.append(
            Slip(
                code="one distance does not belong",
                lines=(reading.line,),
                message=(
                    f"ski {reading.side}: the six distances of this group disagree by up to "
                    f"{length_text(four.worst_um)} mm; without the {four.suspect} the others agree"
                ),
                measure=f"measure the {four.suspect} again",
            )
        )
    elif four.unclear:
        slips.append(
            Slip(
                code="diagonals differ",
                lines=(reading.line,),
                message=(
                    f"ski {reading.side}: diagonals {length_text(reading.right_to_left_um)} and "
                    f"{length_text(reading.left_to_right_um)} mm, the group disagrees by up to "
                    f"{length_text(four.worst_um)} mm"
                ),
                measure="measure both diagonals and both lengths again",
            )
        )
    return [
        PlacedHole(line=reading.line, side=reading.side, x_um=x, y_um=y, reading=reading)
        for x, y in four.places_um
    ]


def one_in_another(placed: Sequence[PlacedHole], *, least_drill_um: int) -> list[Slip]:
    """Return a doubt for every two holes of one ski that overlap: no drill makes them, so one is misread.

    ``least_drill_um``: the thinnest drill of the shop, for holes whose diameter was not measured.
    """
    return [
        Slip(
            code="one hole in another",
            lines=tuple(sorted({a.line, b.line})),
            message=(
                f"ski {a.side}: holes at ({length_text(a.x_um)}, {length_text(a.y_um)}) and "
                f"({length_text(b.x_um)}, {length_text(b.y_um)}) mm overlap: no drill makes two so near"
            ),
            measure="measure both again; if it is one hole, type it once",
        )
        for a, b in combinations(placed, 2)
        if a.side is b.side
        and 4 * _squared((a.x_um, a.y_um), (b.x_um, b.y_um))
        < (_diameter_um(a, least_drill_um) + _diameter_um(b, least_drill_um)) ** 2
    ]


def _diameter_um(hole: PlacedHole, least_drill_um: int) -> int:
    known = hole.reading.diameter_um if isinstance(hole.reading, HoleReading) else None
    return known or least_drill_um


def compare_skis(
    placed: Sequence[PlacedHole], marks: Mapping[Side, int | None], *, pair_difference_um: int
) -> list[Slip]:
    """Return doubts from comparing ski B with ski A, by tail distance where both marks are known."""
    mark_a, mark_b = marks.get(Side.A), marks.get(Side.B)
    shift = mark_b - mark_a if mark_a is not None and mark_b is not None else 0
    on_a = [h for h in placed if h.side is Side.A]
    on_b = [h for h in placed if h.side is Side.B]
    if not on_a or not on_b:
        return []
    as_is = [(h.x_um + shift, h.y_um) for h in on_b]
    turned = _wrong_way(on_a, on_b, as_is, shift, pair_difference_um)
    if turned is not None:
        return [turned]
    slips: list[Slip] = []
    free = set(range(len(on_b)))
    for a in on_a:
        nearest = min(
            free,
            key=lambda i: (_squared((a.x_um, a.y_um), as_is[i]), i),
            default=None,
        )
        if nearest is None or _squared((a.x_um, a.y_um), as_is[nearest]) > SAME_HOLE_UM**2:
            slips.append(_alone(a))
            continue
        free.discard(nearest)
        squared = _squared((a.x_um, a.y_um), as_is[nearest])
        if squared > pair_difference_um**2:
            b = on_b[nearest]
            slips.append(
                Slip(
                    code="skis differ",
                    lines=tuple(sorted({a.line, b.line})),
                    message=(
                        f"a hole near x {length_text(a.x_um)}, y {length_text(a.y_um)} mm lies "
                        f"{length_text(round(squared**0.5))} mm apart on the two skis"
                    ),
                    measure="measure this hole again on both skis",
                )
            )
    slips += [_alone(on_b[i]) for i in sorted(free)]
    return slips


def _alone(hole: PlacedHole) -> Slip:
    other = Side.B if hole.side is Side.A else Side.A
    return Slip(
        code="only on one ski",
        lines=(hole.line,),
        message=(
            f"a hole at x {length_text(hole.x_um)}, y {length_text(hole.y_um)} mm on ski {hole.side} "
            f"has no counterpart on ski {other}"
        ),
        measure=f"look for it on ski {other}; if it is not there, say so with --as-measured",
    )


def _wrong_way(
    on_a: Sequence[PlacedHole],
    on_b: Sequence[PlacedHole],
    as_is: Sequence[tuple[int, int]],
    shift: int,
    near_um: int,
) -> Slip | None:
    """Return a doubt if ski B fits ski A better when read mirrored, or with tip and tail exchanged."""
    readings = {
        "mirrored (y's sign turned)": [(x, -y) for x, y in as_is],
        "tip for tail": [(-h.x_um + shift, -h.y_um) for h in on_b],
    }
    straight = _matches(on_a, as_is, near_um)
    for name, places in readings.items():
        found = _matches(on_a, places, near_um)
        if found >= 3 and found > straight and found >= 0.75 * min(len(on_a), len(on_b)):
            return Slip(
                code="read the wrong way",
                lines=tuple(sorted({h.line for h in on_b})),
                message=f"{found} holes of ski B fall on ski A's if B was read {name}; {straight} as typed",
                measure="lay both skis with their tips the same way and read ski B again",
            )
    return None


def _matches(on_a: Sequence[PlacedHole], places: Sequence[tuple[int, int]], near_um: int) -> int:
    return sum(any(_squared((a.x_um, a.y_um), place) <= near_um**2 for place in places) for a in on_a)


def _squared(a: tuple[int, int], b: tuple[int, int]) -> int:
    return (a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2


FOUND_AGAIN_UM = 3_000
"""A measured hole this near to one in the ledger is that hole, measured again (ours, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyProposal:
    """Entries to make, doubts, and counts; ``entered`` once they stand in the ledger."""

    entries: tuple[Event, ...]
    slips: tuple[Slip, ...]
    found_again: int
    new_holes: int
    entered: bool = False


def propose_survey(
    pair: Pair,
    readings: Sequence[Reading],
    *,
    on: str,
    knowledge: Knowledge,
    agree_um: int,
    pair_difference_um: int,
    least_drill_um: int,
) -> SurveyProposal:
    """Return the entries that readings of a pair would make. Pure; the caller enters them or shows them.

    ``knowledge`` is how the holes were seen (measured bare, or the binding drops in). A hole near one in
    the ledger corrects it, and never lowers what is known: a hole drilled here stays drilled here.
    """
    placed, marks, slips = place_readings(
        readings, {s: pair.skis[s].mark_from_tail_um for s in Side}, agree_um=agree_um
    )
    slips += one_in_another(placed, least_drill_um=least_drill_um)
    slips += compare_skis(placed, marks, pair_difference_um=pair_difference_um)
    entries: list[Event] = []
    changes: Changes = {
        f"{side.value}.mark_from_tail_um": (pair.skis[side].mark_from_tail_um, mark)
        for side, mark in marks.items()
        if mark != pair.skis[side].mark_from_tail_um
    }
    if changes:
        entries.append(PairChanged(tag=pair.tag, changes=changes))
    again = 0
    new: list[NewHole] = []
    for side in Side:
        bare = [r for r in readings if isinstance(r, BareReading) and r.side is side]
        mine = [h for h in placed if h.side is side]
        changed, fresh, missing = _against_ledger(pair.skis[side].holes, mine, bare)
        again += len(changed)
        for old, hole in changed:
            difference = _difference(old, hole, knowledge)
            if difference:
                entries.append(HoleChanged(hole_id=old.hole_id, changes=difference))
        slips += [_not_found(side, old) for old in missing]
        new += _new_holes(pair, side, fresh, knowledge)
        entries += [
            AreaInspected(tag=pair.tag, side=side, from_um=r.from_um, to_um=r.to_um, how="bare", on=on)
            for r in bare
        ]
    if new:
        entries.append(HolesRecorded(tag=pair.tag, holes=tuple(new)))
    return SurveyProposal(entries=tuple(entries), slips=tuple(slips), found_again=again, new_holes=len(new))


def _against_ledger(
    known: Sequence[Hole], mine: Sequence[PlacedHole], bare: Sequence[BareReading]
) -> tuple[list[tuple[Hole, PlacedHole]], list[PlacedHole], list[Hole]]:
    candidates = sorted(
        ((k.x_um - m.x_um) ** 2 + (k.y_um - m.y_um) ** 2, i, j)
        for i, k in enumerate(known)
        for j, m in enumerate(mine)
    )
    paired: dict[int, int] = {}
    for squared, i, j in candidates:
        if squared <= FOUND_AGAIN_UM**2 and i not in paired and j not in paired.values():
            paired[i] = j
    changed = [(known[i], mine[j]) for i, j in sorted(paired.items())]
    fresh = [m for j, m in enumerate(mine) if j not in paired.values()]
    missing = [
        k
        for i, k in enumerate(known)
        if i not in paired and any(b.from_um <= k.x_um <= b.to_um for b in bare)
    ]
    return changed, fresh, missing


def _difference(old: Hole, hole: PlacedHole, knowledge: Knowledge) -> Changes:
    """Return only the facts that the survey knows better. A diameter or depth left blank keeps the old
    figure.
    """
    reading = hole.reading
    ranks = list(Knowledge)
    better = ranks.index(knowledge) <= ranks.index(old.knowledge)
    new: dict[str, Plain] = {"state": reading.state.value}
    if better:
        new |= {"x_um": hole.x_um, "y_um": hole.y_um, "knowledge": knowledge.value}
    if reading.diameter_um is not None:
        new["diameter_um"] = reading.diameter_um
    if isinstance(reading, HoleReading) and reading.depth_um is not None:
        new["depth_um"] = reading.depth_um
    if reading.state is HoleState.OPEN and old.state in (HoleState.SCREWED, HoleState.INSERT):
        # "Open" is what an unremarked line says; it must not turn a screwed hole or an insert into air.
        del new["state"]
    before: dict[str, Plain] = {
        "x_um": old.x_um,
        "y_um": old.y_um,
        "diameter_um": old.diameter_um,
        "depth_um": old.depth_um,
        "state": old.state.value,
        "knowledge": old.knowledge.value,
    }
    return {k: (before[k], v) for k, v in new.items() if before[k] != v}


def _not_found(side: Side, old: Hole) -> Slip:
    return Slip(
        code="in the ledger, not found",
        lines=(),
        message=(
            f"ski {side}: the ledger has a hole at x {length_text(old.x_um)}, y {length_text(old.y_um)} mm "
            f"({old.hole_id}, {old.knowledge}) in the stretch seen bare, and no line gives it"
        ),
        measure="look for it; a filled hole counts, write it as plugged",
    )


def _new_holes(
    pair: Pair, side: Side, fresh: Sequence[PlacedHole], knowledge: Knowledge
) -> Iterator[NewHole]:
    ski = pair.skis[side]
    ids = fresh_hole_ids(pair.tag, side, [h.hole_id for h in ski.holes], above=ski.holes_numbered_to)
    for hole in sorted(fresh, key=lambda h: (-h.x_um, h.y_um)):
        reading = hole.reading
        yield NewHole(
            hole_id=next(ids),
            side=side,
            x_um=hole.x_um,
            y_um=hole.y_um,
            diameter_um=reading.diameter_um,
            depth_um=reading.depth_um if isinstance(reading, HoleReading) else None,
            state=reading.state,
            knowledge=knowledge,
        )
