"""Each shop's fleet as it is once the things of a chain's plan have moved."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Final

from fleet.facts.boots import Boot
from fleet.facts.kinds import Kind
from fleet.facts.pairs import Binding, Pair
from fleet.facts.standing import Place
from fleet.tables.snapshot import Fleet
from planner.plan.chain import Chain, ChainMove, VanThing

_FROM: Final = " (from "


def as_received(pair: Pair, *, mounted: bool) -> Pair:
    """The pair as another shop's ledger has it: nobody there knows for which sole its binding stands."""
    return replace(
        pair,
        place=Place.BACK if mounted else Place.FLAT,
        mounts=tuple(
            replace(mount, stands=(), still_set=False, set_again=True, set_for_um=None, set_words="")
            for mount in pair.mounts
        ),
    )


def boots_as_received(boot: Boot) -> Boot:
    """The boots with what their model is for said of themselves: the other ledger may say nothing of it."""
    said = Kind(boot.model_kind) if boot.model_kind else None
    return replace(boot, kind=boot.kind or said, model_kind="")


def with_received(fleet: Fleet, senders: Iterable[tuple[Fleet, VanThing, tuple[str, ...]]]) -> Fleet:
    """The fleet with what comes from other shops."""
    pairs, boots, bindings = dict(fleet.pairs), dict(fleet.boots), dict(fleet.bindings)
    for sender, thing, names in senders:
        came: list[Binding] = []
        if thing is VanThing.PAIR:
            on = sender.bindings_on(names[0])
            bindings = {name: b for name, b in bindings.items() if b.on_pair != names[0]}  # of when it left
            pairs[names[0]] = as_received(sender.pairs[names[0]], mounted=bool(on))
            came = list(on.values())
        elif thing is VanThing.BOOT:
            boots[names[0]] = boots_as_received(sender.boots[names[0]])
        else:
            came = [sender.bindings[name] for name in names]
        for binding in came:
            name = id_there(binding.binding_id, sender.shop, fleet.shop)
            bindings[name] = replace(binding, binding_id=name)
    return replace(
        fleet,
        pairs=dict(sorted(pairs.items())),
        boots=dict(sorted(boots.items())),
        bindings=dict(sorted(bindings.items())),
    )


def id_there(binding_id: str, shop: str, there: str) -> str:
    """The id of a binding of ``shop`` in the shop ``there``: the one it had there before, else with its shop
    added, because the stock there may have one of that name.
    """
    known, before, _ = binding_id.partition(f"{_FROM}{there})")
    return known if before else f"{binding_id}{_FROM}{shop})"


def first_shop(binding_id: str) -> str:
    """The shop that a binding came from first, by its id here; "" for one of the shop's own."""
    return binding_id.partition(_FROM)[2].partition(")")[0]


def without_sent(fleet: Fleet, sent: Iterable[tuple[VanThing, tuple[str, ...]]]) -> Fleet:
    """The fleet without what was sent: pairs and boots are on the way, loose bindings gone."""
    pairs, boots, bindings = dict(fleet.pairs), dict(fleet.boots), dict(fleet.bindings)
    for thing, names in sent:
        for name in names:
            if thing is VanThing.PAIR:
                pairs[name] = replace(pairs[name], place=Place.IN_TRANSIT)
            elif thing is VanThing.BOOT:
                boots[name] = replace(boots[name], place=Place.IN_TRANSIT)
            else:
                del bindings[name]
    return replace(fleet, pairs=pairs, boots=boots, bindings=bindings)


def after_moves(fleets: Mapping[str, Fleet], chain: Chain, moves: Iterable[ChainMove]) -> dict[str, Fleet]:
    """Every shop's fleet once everything has moved, by the shop's name in the chain."""
    sent: dict[str, list[tuple[VanThing, tuple[str, ...]]]] = {name: [] for name in fleets}
    come: dict[str, list[tuple[Fleet, VanThing, tuple[str, ...]]]] = {name: [] for name in fleets}
    for move in moves:
        run = chain.run(move.run)
        sent[run.leaves].append((move.thing, move.names))
        come[run.reaches].append((fleets[run.leaves], move.thing, move.names))
    return {
        name: with_received(without_sent(fleet, sent[name]), come[name]) for name, fleet in fleets.items()
    }
