"""A way carried over to a twin: a pair whose skis are alike hole by hole. Names differ, places do not."""

from __future__ import annotations

from collections.abc import Mapping
from operator import attrgetter

from msgspec.structs import replace

from fleet.facts.holes import Hole, Side
from fleet.facts.pairs import Pair
from fleet.facts.skis import Ski
from planner.geometry.placement.frames import frame_of
from planner.geometry.placement.intervals import union
from planner.geometry.placement.placed import centre_from_tail
from planner.geometry.placement.stance import Stance
from planner.plan.values import PlannedHole, PlannedSki, Way

_SIDES = tuple(Side)
_NAME = attrgetter("hole_id")
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
        names = [f"{h.piece} {h.number}" for h in planned.holes if h.do == "drill"]
        both = [*zip(map(_NAME, old), map(_NAME, new), strict=False), *zip(names, names, strict=True)]
        ranked = [name for _, name in sorted(both)]
        if len(old) != len(new) or ranked != sorted(ranked):
            return None
        of = dict(zip(map(_NAME, old), new, strict=True))
        skis[side] = PlannedSki(
            from_tail_um=centre_from_tail(frame, stance, way.offset_um, side),
            pieces=planned.pieces,
            holes=tuple([_of_twin(hole, of) for hole in planned.holes]),
            plug=tuple([of[name].hole_id for name in planned.plug]),
        )
    return replace(way, skis=skis)


def _of_twin(hole: PlannedHole, of: Mapping[str, Hole]) -> PlannedHole:
    near = hole.nearest_id
    if near is not None and near in of:
        near = of[near].hole_id
    if hole.hole_id is not None:
        old = of[hole.hole_id]
        return replace(hole, depth_um=old.depth_um, hole_id=old.hole_id, nearest_id=near)
    return hole if near is hole.nearest_id else replace(hole, nearest_id=near)
