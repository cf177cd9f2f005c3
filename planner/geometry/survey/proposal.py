"""The entries a survey would make: new holes, holes now better known, marks, areas seen bare."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fleet.base.units import length_text
from fleet.events.event import Changes, Event, Plain
from fleet.events.pairs import AreaInspected, HoleChanged, HolesRecorded, NewHole, PairChanged
from fleet.facts.holes import Hole, HoleState, Knowledge, Side, fresh_hole_ids
from fleet.facts.pairs import Pair
from planner.geometry.survey.readings import BareReading, HoleReading, Reading
from planner.geometry.survey.slips import PlacedHole, compare_skis, one_in_another, place_readings
from planner.geometry.survey.slips import Slip as Slip

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
