"""A way carried over to a twin: a pair whose skis are alike hole by hole. Names differ, places do not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from operator import attrgetter

from fleet.facts.holes import Hole, Side
from fleet.facts.pairs import Pair
from fleet.facts.skis import Ski
from planner.geometry.placement.frames import frame_of
from planner.geometry.placement.intervals import union
from planner.geometry.placement.placed import centre_from_tail
from planner.geometry.placement.stance import Stance
from planner.plan.values import PlannedHole, PlannedSki, Way

_SIDES = tuple(Side)
_OF_HOLE = attrgetter("x_um", "y_um", "diameter_um", "state", "knowledge")


def ski_state(ski: Ski) -> tuple[object, ...]:
    """Return all of a ski that says where holes may go, by its own mark: of twins the same."""
    return (
        ski.zone_back_um,
        ski.zone_front_um,
        ski.zone_half_width_um,
        tuple(union((area.from_um, area.to_um) for area in ski.inspected)),
        tuple(map(_OF_HOLE, ski.holes)),
    )


def way_of_twin(way: Way, stance: Stance, pair: Pair, twin: Pair) -> Way | None:
    """Return the way of ``pair`` for its twin; None where the twin's names sort otherwise: names break ties.

    Alike means what `planner.planning.assign.classes` merges. Distances from the tail and depths of old
    holes, which it does not look at, are the twin's own.
    """
    frame = frame_of(twin)
    skis: dict[Side, PlannedSki] = {}
    for side in _SIDES:
        planned, old, new = way.skis[side], pair.skis[side].holes, twin.skis[side].holes
        drilled = [f"{h.piece} {h.number}" for h in planned.holes if h.do == "drill"]
        if len(old) != len(new) or _order(old, drilled) != _order(new, drilled):
            return None
        of = {a.hole_id: b for a, b in zip(old, new, strict=True)}
        skis[side] = PlannedSki(
            from_tail_um=centre_from_tail(frame, stance, way.offset_um, side),
            pieces=planned.pieces,
            holes=tuple(_of_twin(hole, of) for hole in planned.holes),
            plug=tuple(of[name].hole_id for name in planned.plug),
        )
    return replace(way, skis=skis)


def _of_twin(hole: PlannedHole, of: Mapping[str, Hole]) -> PlannedHole:
    old = None if hole.hole_id is None else of[hole.hole_id]
    near = None if hole.nearest_id is None else of.get(hole.nearest_id)
    if old is None and near is None:
        return hole
    return PlannedHole(
        piece=hole.piece,
        number=hole.number,
        x_um=hole.x_um,
        y_um=hole.y_um,
        diameter_um=hole.diameter_um,
        depth_um=hole.depth_um if old is None else old.depth_um,
        do=hole.do,
        hole_id=None if old is None else old.hole_id,
        nearest_um=hole.nearest_um,
        nearest_id=hole.nearest_id if near is None else near.hole_id,
    )


def _order(holes: Sequence[Hole], drilled: Sequence[str]) -> list[int]:
    names = [hole.hole_id for hole in holes] + list(drilled)
    return sorted(range(len(names)), key=names.__getitem__)
