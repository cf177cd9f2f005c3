"""From ledgers and vans to one job a shop: what may leave and come by which run, things alike together."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from fleet.facts.boots import Boot
from fleet.facts.kinds import KindRule
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Pattern
from fleet.rules.loads import binding_stays, boot_stays, pair_stays
from fleet.tables.snapshot import Fleet
from planner.plan.chain import Chain, VanRun, VanThing, id_there, with_received
from planner.plan.part_prices import mount_worths
from planner.planning.assign.classes import BindingSort, boot_classes, count_bindings, pair_classes
from planner.planning.assign.geometry import SweptWays
from planner.planning.chain.shop_program import Coming, Leaving, Names, ShopJob


def loose_kits(fleet: Fleet) -> dict[BindingSort, list[tuple[str, str]]]:
    """The bindings in stock that a van may take, two of a sort together, by sort."""
    loose: dict[BindingSort, list[str]] = defaultdict(list)
    for binding in fleet.bindings.values():
        if not binding_stays(fleet, binding):
            loose[BindingSort.of(binding)].append(binding.binding_id)
    return {
        sort: [(ids[at], ids[at + 1]) for at in range(0, len(ids) - 1, 2)]
        for sort, ids in sorted(loose.items())
        if len(ids) > 1
    }


def pattern_differs(sender: Fleet, receiver: Fleet, name: str) -> str:
    """Return why what carries this pattern cannot be planned there: both shops must mean the same by it."""
    ours, theirs = sender.patterns.get(name), receiver.patterns.get(name)
    if theirs is None or ours is None:
        return f"{receiver.shop} has no pattern {name}"
    if _bare(ours) != _bare(theirs):
        return f"the pattern {name} is another in {receiver.shop}"
    if not ours.model_kinds <= theirs.model_kinds:
        return f"{receiver.shop} has not stated what {ours.binding_model} is for"
    return ""


def _bare(pattern: Pattern) -> Pattern:
    return replace(pattern.leaving(0), model_kinds=frozenset())


def pair_not_there(sender: Fleet, receiver: Fleet, pair: Pair) -> str:
    """Return why a pair that may leave cannot go to that shop; "" where it can."""
    if pair.tag not in receiver.lent and (pair.tag in receiver.pairs or pair.tag in receiver.renamed):
        return f"{receiver.shop} has a pair {pair.tag} of its own"
    names = {mount.pattern for mount in pair.mounts}
    names |= {binding.pattern for binding in sender.bindings_on(pair.tag).values() if binding.pattern}
    return next((why for name in sorted(names) if (why := pattern_differs(sender, receiver, name))), "")


def boot_not_there(receiver: Fleet, boot: Boot) -> str:
    """Return why boots that may leave cannot go to that shop; "" where they can."""
    theirs = boot.tag in receiver.boots and boot.tag not in receiver.lent
    return f"{receiver.shop} has boots {boot.tag} of its own" if theirs else ""


def kit_not_there(sender: Fleet, receiver: Fleet, kit: Sequence[str]) -> str:
    """Return why two loose bindings that may leave cannot go to that shop; "" where they can."""
    for name in kit:
        there = receiver.bindings.get(id_there(name, sender.shop, receiver.shop))
        if there is not None and there.on_pair not in receiver.lent:
            return f"{receiver.shop} has a binding {there.binding_id} of its own"
    return pattern_differs(sender, receiver, sender.bindings[kit[0]].pattern)


def movable(sender: Fleet, receiver: Fleet, now: datetime) -> Iterator[tuple[VanThing, tuple[str, ...]]]:
    """The things that may move from one shop to the other, each thing by its names, in canonical order."""
    for tag, pair in sender.pairs.items():
        if not (pair_stays(sender, pair, now) or pair_not_there(sender, receiver, pair)):
            yield VanThing.PAIR, (tag,)
    for tag, boot in sender.boots.items():
        if not (boot_stays(boot) or boot_not_there(receiver, boot)):
            yield VanThing.BOOT, (tag,)
    for kits in loose_kits(sender).values():
        for kit in kits:
            if not kit_not_there(sender, receiver, kit):
                yield VanThing.BINDINGS, kit


def not_there(sender: Fleet, receiver: Fleet) -> Iterator[tuple[str, str]]:
    """Yield the pairs, boots and sorts of bindings that cannot go to that shop whatever their standing."""
    for tag, pair in sender.pairs.items():
        if why := pair_not_there(sender, receiver, pair):
            yield tag, why
    for tag, boot in sender.boots.items():
        if why := boot_not_there(receiver, boot):
            yield tag, why
    for sort in loose_kits(sender):
        if why := pattern_differs(sender, receiver, sort.pattern):
            yield f"bindings {sort.pattern}", why


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainLink:
    """Things that no shop tells apart, and a shop that they may go to. ``members``: their names at home."""

    home: str
    reaches: str
    thing: VanThing
    members: tuple[Names, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainJobs:
    """A job for each shop, in the order of the chain. ``links``: by their number in the jobs.

    ``runs``: of each shop those that reach it, in the order of its rooms.
    """

    jobs: tuple[ShopJob, ...]
    links: tuple[ChainLink, ...]
    runs: tuple[tuple[VanRun, ...], ...]


def chain_jobs(
    fleets: Mapping[str, Fleet], chain: Chain, now: datetime, ways: SweptWays | None = None
) -> ChainJobs:
    """The jobs of a chain. ``fleets``: by the shop's name, each as its ledger has it."""
    offered = _offered(fleets, chain, now)
    extended: dict[str, Fleet] = {}
    for name, fleet in fleets.items():
        come = [
            (fleets[home], *thing)
            for (home, reaches), found in offered.items()
            if reaches == name
            for thing in found
        ]
        extended[name] = with_received(fleet, come)
    alike = {name: _Classes(fleet) for name, fleet in extended.items()}
    links: list[ChainLink] = []
    leaving: dict[str, list[Leaving]] = defaultdict(list)
    coming: dict[str, list[Coming]] = defaultdict(list)
    runs = {name: tuple(run for run in chain.runs if run.reaches == name) for name in fleets}
    for home in fleets:
        for (thing, _, where), members in _groups(home, offered, alike).items():
            numbers = []
            for reaches, _ in where:
                numbers.append(len(links))
                links.append(ChainLink(home=home, reaches=reaches, thing=thing, members=members))
                shops = fleets[home].shop, fleets[reaches].shop
                there = tuple(names_there(thing, names, *shops) for names in members)
                coming[reaches] += [
                    Coming(
                        thing=thing,
                        members=there,
                        link=numbers[-1],
                        room=len(VanThing) * number + list(VanThing).index(thing),
                        minutes=run.minutes,
                        price_cents=run.price_cents,
                    )
                    for number, run in enumerate(runs[reaches])
                    if run.leaves == home
                ]
            leaving[home].append(Leaving(thing=thing, members=members, links=tuple(numbers)))
    priorities = tuple(sorted({w.priority for fleet in fleets.values() for w in fleet.wishes}))
    return ChainJobs(
        jobs=tuple(
            ShopJob(
                fleet=extended[shop.name],
                minutes_limit=shop.minutes_limit,
                priorities=priorities,
                worth=any(mount_worths(fleet.policy) is not None for fleet in fleets.values()),
                leaving=tuple(leaving[shop.name]),
                coming=tuple(coming[shop.name]),
                rooms=tuple(run.room.get(thing, 0) for run in runs[shop.name] for thing in VanThing),
                budget_cents=shop.budget_cents,
                ways=ways or SweptWays(),
            )
            for shop in chain.shops
        ),
        links=tuple(links),
        runs=tuple(runs[shop.name] for shop in chain.shops),
    )


def names_there(thing: VanThing, names: Names, shop: str, there: str) -> Names:
    """The names of a thing of ``shop`` in the shop ``there``."""
    return tuple(id_there(name, shop, there) for name in names) if thing is VanThing.BINDINGS else names


def _offered(
    fleets: Mapping[str, Fleet], chain: Chain, now: datetime
) -> dict[tuple[str, str], tuple[tuple[VanThing, Names], ...]]:
    """The things that may move, by (from, to). Of two of one name for one shop, that of the first shop."""
    found: dict[tuple[str, str], tuple[tuple[VanThing, Names], ...]] = {}
    taken: dict[str, set[tuple[VanThing, Names]]] = defaultdict(set)
    for leaves, reaches in dict.fromkeys((run.leaves, run.reaches) for run in chain.runs):
        some = tuple(
            each
            for each in movable(fleets[leaves], fleets[reaches], now)
            if each[0] is VanThing.BINDINGS or each not in taken[reaches]
        )
        taken[reaches].update(some)
        found[leaves, reaches] = some
    return found


class _Classes:
    """The classes of things that a shop does not tell apart, in its fleet with everything that may come."""

    def __init__(self, fleet: Fleet) -> None:
        wishes = sorted(fleet.wishes, key=lambda w: w.wish)
        rule, bindings = KindRule(fleet.policy), count_bindings(fleet.bindings.values())
        plannable = [pair for pair in fleet.pairs.values() if pair.plannable]
        self.own, self.fleet = bindings.on_pair, fleet
        self.pairs = _number(c.tags for c in pair_classes(plannable, wishes, bindings, rule))
        self.boots = _number(c.tags for c in boot_classes(fleet.boots.values(), wishes, rule))

    def key(self, thing: VanThing, names: Names) -> object:
        """The same for what this shop does not tell apart; None for what it has no use for."""
        if thing is VanThing.BOOT:
            return self.boots.get(names[0])
        if thing is VanThing.BINDINGS:
            return BindingSort.of(self.fleet.bindings[names[0]])
        key = (self.pairs.get(names[0]), self.own.get(names[0]))
        return None if key == (None, None) else key


def _number(classes: Iterable[tuple[str, ...]]) -> dict[str, int]:
    return {tag: number for number, tags in enumerate(classes) for tag in tags}


_Key = tuple[VanThing, object, tuple[tuple[str, object], ...]]


def _groups(
    home: str,
    offered: Mapping[tuple[str, str], tuple[tuple[VanThing, Names], ...]],
    alike: Mapping[str, _Classes],
) -> dict[_Key, tuple[Names, ...]]:
    """The things that may leave a shop, by what it is there and everywhere that it may go to."""
    goes: dict[tuple[VanThing, Names], list[tuple[str, object]]] = defaultdict(list)
    for (leaves, reaches), things in offered.items():
        if leaves != home:
            continue
        for thing, names in things:
            shops = alike[home].fleet.shop, alike[reaches].fleet.shop
            there = alike[reaches].key(thing, names_there(thing, names, *shops))
            if there is not None:
                goes[thing, names].append((reaches, there))
    groups: dict[_Key, list[Names]] = defaultdict(list)
    for (thing, names), where in goes.items():
        groups[thing, alike[home].key(thing, names), tuple(where)].append(names)
    return {key: tuple(members) for key, members in groups.items()}
