"""The room that is left for further mounts, in words: places on the ski, not what its core bears."""

from __future__ import annotations

from collections.abc import Iterator

from fleet.base.units import counted, first_of
from fleet.tables.snapshot import Fleet
from planner.plan.mount_worth import mount_worths
from planner.plan.values import Plan, Room, Rung

_NAMED = 6
_SET_BY = "policy mount_worth_1 to mount_worth_3"


def room_text(room: Room, *, earlier_known: bool) -> str:
    """Places by the spacing and mounts by the shop's rule; each is named, because the smaller one counts."""
    rule = f"by the shop's rule: {'' if earlier_known else 'at most '}{room.rule}"
    if not room.rule:
        return rule
    return f"places by the spacing: {room.kept}{'' if room.kept < room.rule else ' or more'}; {rule}"


def mounts_left(room: Room, *, earlier_known: bool) -> str:
    """The further mounts once the work is done, in a few words for a sheet."""
    most = "" if earlier_known or not room.kept else "at most "
    return f"then {most}{room.kept or 'no'} further mount{'s' if room.kept > 1 else ''}"


def room_lines(fleet: Fleet, plan: Plan) -> Iterator[str]:
    """Yield what the plan takes of the room for further mounts, and which pairs worked on keep none."""
    if (worth := plan.totals.mount_worth) is not None:
        yield f"worth of the mounts drilled: {counted(worth, 'point')}; it came before the holes ({_SET_BY})"
    elif mount_worths(fleet.policy) is not None:
        yield f"the worth of mounts was not counted, holes came first: too many pairs, or no time ({_SET_BY})"
    if plan.totals.room_lost is None:
        if any(s.way.rung.rank > Rung.ADJUST.rank for s in plan.sets):
            yield "the room for further mounts was not counted: too many ways were equal, or time was short"
        return
    rooms = [(s.pair, s.way.room) for s in plan.sets if s.way.room is not None]
    if not rooms:
        return
    ended = [pair for pair, room in rooms if not room.kept]
    yield (
        f"room for further mounts: the work takes {plan.totals.room_lost}; of {counted(len(rooms), 'pair')}"
        f" worked on {len(rooms) - len(ended)} keep room for one or more"
        + (f", {len(ended)} for none: {first_of(ended, _NAMED)}" if ended else "")
    )
    if unknown := [pair for pair, _ in rooms if fleet.pair(pair).earlier_mounts is None]:
        yield f"at the most so, because earlier mounts are not known of {first_of(unknown, _NAMED)}"
