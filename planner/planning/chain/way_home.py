"""The things of a chain that stand in another shop than their own, and the run by which each goes home."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from fleet.events.movement import LoadSent
from fleet.facts.standing import Place
from fleet.facts.tags import tag_order
from fleet.rules.loads import binding_stays, why_not_sent
from fleet.tables.snapshot import Fleet
from planner.plan.chain import Chain, ChainMove, VanThing, first_shop
from planner.planning.assign.classes import BindingSort

_COLUMN: Final = {"tag": VanThing.PAIR, "boot": VanThing.BOOT, "binding_id": VanThing.BINDINGS}
_GONE: Final = (Place.RETIRED, Place.SOLD)


@dataclass(frozen=True, slots=True, kw_only=True)
class Away:
    """A thing that stands in another shop than its own, by its names there. ``stays``: why it cannot go home
    now; "" where it can.
    """

    thing: VanThing
    names: tuple[str, ...]
    stands: str
    home: str
    stays: str = ""


def away_from_home(
    fleets: Mapping[str, Fleet], loads: Mapping[str, Sequence[LoadSent]], now: datetime
) -> tuple[Away, ...]:
    """The things away, by shop, pairs before boots before loose bindings, each by tag.

    ``loads``: every load of each shop, the oldest first. A thing's own shop is the one that sent it before it
    ever came there by a van.
    """
    return tuple(each for name in fleets for each in _standing(name, fleets, _homes(loads), now))


def _homes(loads: Mapping[str, Sequence[LoadSent]]) -> dict[tuple[VanThing, str], str]:
    homes: dict[tuple[VanThing, str], str] = {}
    for shop, sent in loads.items():
        first: dict[tuple[VanThing, str], bool] = {}
        for load in sent:
            for column, name in load.rows():
                first.setdefault((_COLUMN[column], name), load.leaves)
        homes |= {thing: shop for thing, left in first.items() if left}
    return homes


def _standing(
    name: str, fleets: Mapping[str, Fleet], homes: Mapping[tuple[VanThing, str], str], now: datetime
) -> Iterator[Away]:
    fleet = fleets[name]
    for thing, things in ((VanThing.PAIR, fleet.pairs), (VanThing.BOOT, fleet.boots)):
        for tag in sorted(things, key=tag_order):
            home = homes.get((thing, tag), name)
            if home != name and things[tag].place not in _GONE:
                stays = why_not_sent(fleet, tag, now)
                yield Away(thing=thing, names=(tag,), stands=name, home=home, stays=stays)
    for old, tag in fleet.renamed.items():
        home = homes.get((VanThing.PAIR, old), name)
        if home != name and tag in fleet.pairs and fleet.pairs[tag].place not in _GONE:
            stays = f"its home knows it as {old}: mountbook rename {tag} {old} --why TEXT first"
            yield Away(thing=VanThing.PAIR, names=(tag,), stands=name, home=home, stays=stays)
    named = {each.shop: shop for shop, each in fleets.items()}
    loose: dict[tuple[str, BindingSort], list[str]] = defaultdict(list)
    for binding in fleet.bindings.values():
        home = named.get(first_shop(binding.binding_id), name)
        if home != name and binding.on_pair is None:
            if stays := binding_stays(fleet, binding):
                one = (binding.binding_id,)
                yield Away(thing=VanThing.BINDINGS, names=one, stands=name, home=home, stays=stays)
            else:
                loose[home, BindingSort.of(binding)].append(binding.binding_id)
    for (home, _), ids in sorted(loose.items()):
        for at in range(0, len(ids), 2):
            two = tuple(ids[at : at + 2])
            stays = "" if len(two) > 1 else "no other one of its sort lies here from there"
            yield Away(thing=VanThing.BINDINGS, names=two, stands=name, home=home, stays=stays)


def way_home(chain: Chain, away: Sequence[Away]) -> tuple[tuple[ChainMove, ...], tuple[Away, ...]]:
    """Return the moves home, as many as there is room for, the earliest runs first; and what stays."""
    room = Counter({(run.name, thing): run.room.get(thing, 0) for run in chain.runs for thing in VanThing})
    moves: list[ChainMove] = []
    stays: list[Away] = []
    for each in away:
        runs = [run for run in chain.runs if (run.leaves, run.reaches) == (each.stands, each.home)]
        free = (run for run in sorted(runs, key=lambda run: run.day) if room[run.name, each.thing])
        run = next(free, None)
        if each.stays:
            stays.append(each)
        elif run is None:
            why = "no room is left" if runs else "there is no run"
            stays.append(replace(each, stays=f"{why} from {each.stands} to {each.home}"))
        else:
            room[run.name, each.thing] -= 1
            moves.append(ChainMove(run=run.name, thing=each.thing, names=each.names))
    return tuple(moves), tuple(stays)
