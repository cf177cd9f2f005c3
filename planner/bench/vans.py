"""A van's run from a chain's plan to both ledgers: sent at one end, taken in at the other, listed at both.

The sending shop's entry comes first. Whatever breaks off between two entries leaves things on their way in
the ledger that has the first, and the same command typed again goes on from there.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from fleet.base.errors import BadInput, Refused
from fleet.events.movement import LoadSent
from fleet.facts.standing import Place
from fleet.ledger.desk import any_listed
from fleet.ledger.ledger import Ledger
from fleet.rules.loads import (
    Load,
    expect,
    loads_on_the_way,
    names_ever_sent,
    send,
    sent_after_all,
    take_in,
    taken_in_there,
    why_not_sent,
    with_lent,
)
from fleet.tables.snapshot import Fleet, read_fleet
from planner.exchange.van_load import bring_in, check_load, write_load
from planner.plan.chain import ChainMove, VanRun, VanThing, read_moves
from planner.plan.fault_isolation import Fault, one_by_one
from planner.planning.chain.plan import boot_not_there, kit_not_there, names_there, pair_not_there


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedRun:
    """A run of a chain's plan, what it takes along, the two ledgers, and the folder of its load."""

    run: VanRun
    moves: tuple[ChainMove, ...]
    leaves: Path
    reaches: Path
    folder: Path


@dataclass(frozen=True, slots=True, kw_only=True)
class SentRun:
    """The names of what left, and of what stays, each with why."""

    names: tuple[str, ...]
    stays: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenRun:
    """The names of what was taken in, and of what is still on the way; and the faults of the rest.

    ``still_there``: what came, and the other shop's ledger has as its own, with why.
    """

    names: tuple[str, ...]
    on_the_way: tuple[str, ...]
    faults: tuple[Fault, ...]
    still_there: Mapping[str, str]


def run_of(folder: Path, name: str) -> PlannedRun:
    """The run of that name in the folder of a chain's plan. Raises BadInput."""
    chain, moves = read_moves(folder)
    ledgers = {shop.name: shop.ledger for shop in chain.shops}
    for run in chain.runs:
        if run.name == name:
            return PlannedRun(
                run=run,
                moves=tuple(move for move in moves if move.run == name),
                leaves=ledgers[run.leaves],
                reaches=ledgers[run.reaches],
                folder=folder / "vans" / name,
            )
    raise BadInput(f"the plan has no run {name!r}", cure=f"one of: {'; '.join(r.name for r in chain.runs)}")


def send_run(
    planned: PlannedRun, home: Ledger, there: Ledger, *, by: str, now: datetime, but: Collection[str] = ()
) -> SentRun:
    """Enter at both ends that the van left. Each thing is looked up anew, and stays where it may not go.

    Raises BadInput where nothing leaves, or the run was entered before; Refused for whoever may not send.
    """
    theirs = with_lent(read_fleet(there.connection), there.connection)
    with home.desk(by=by, now=now) as desk:
        if _on_the_way(home, planned.run.name, leaves=True):
            raise BadInput(f"the run {planned.run.name} was sent already", cure="see `mountbook today`")
        ours = read_fleet(desk.connection)
        before = names_ever_sent(there.connection, planned.run.name, leaves=False)
        known = names_ever_sent(desk.connection, planned.run.name, leaves=True)
        stays = {
            move.names[0]: why
            for move in planned.moves
            if (
                why := "it was left out"
                if move.names[0] in but
                else "it left by this run before: `mountbook chain receive` enters that here again"
                if {*names_there(move.thing, move.names, ours.shop, theirs.shop)} <= {*before}
                and not {*move.names} <= {*known}
                else _why_it_stays(ours, theirs, move, now)
            )
        }
        going = [move for move in planned.moves if move.names[0] not in stays]
        if not going:
            said = "; ".join(f"{name}: {why}" for name, why in stays.items()) or "it takes nothing along"
            raise BadInput(f"nothing leaves by the run {planned.run.name}: {said}", cure="plan again")
        things = [(move.thing, move.names) for move in going]
        seal = write_load(ours, planned.folder, things, there=theirs.shop)
        send(desk, ours, _load(planned.run, going, seal))
    with there.desk(by=by, now=now) as desk:
        expect(desk, _load(planned.run, going, seal, between=(ours.shop, theirs.shop)))
    return SentRun(names=tuple(name for move in going for name in move.names), stays=stays)


def _why_it_stays(ours: Fleet, theirs: Fleet, move: ChainMove, now: datetime) -> str:
    for name in move.names:
        if why := why_not_sent(ours, name, now):
            return why
    if move.thing is VanThing.PAIR:
        return pair_not_there(ours, theirs, ours.pairs[move.names[0]])
    if move.thing is VanThing.BOOT:
        return boot_not_there(theirs, ours.boots[move.names[0]])
    return kit_not_there(ours, theirs, move.names)


def _load(
    run: VanRun, moves: Sequence[ChainMove], seal: str, *, between: tuple[str, str] | None = None
) -> LoadSent:
    """The entry of one end. ``between``: for the end that it reaches, both shops by their ledgers."""
    leaves = between is None
    names = {thing: [n for move in moves if move.thing is thing for n in move.names] for thing in VanThing}
    loose = tuple(names[VanThing.BINDINGS])
    return LoadSent(
        run=run.name,
        other=run.reaches if leaves else run.leaves,
        leaves=leaves,
        sha256=seal,
        pairs=tuple(names[VanThing.PAIR]),
        boots=tuple(names[VanThing.BOOT]),
        binding_ids=loose if between is None else names_there(VanThing.BINDINGS, loose, *between),
    )


def receive_run(
    planned: PlannedRun, home: Ledger, there: Ledger, *, by: str, now: datetime, missing: Collection[str] = ()
) -> TakenRun:
    """Enter at both ends what came. What is ``missing``, or in question, is still on its way.

    What broke off before goes on: a thing that is in the other ledger already is only entered here. Where a
    restored ledger has lost its side of the run, the other one tells it, and it is entered again.
    Raises Refused where nothing is on its way, the load is not the one that was sent, or ``by`` may not.
    """
    name, shop, reached = planned.run.name, home.shop, there.shop
    lost = _entered_again(planned, home, there, by=by, now=now)
    sent, coming = (_on_the_way(of, name, leaves=of is home) for of in (home, there))
    left = names_ever_sent(home.connection, name, leaves=True)
    fleet = with_lent(read_fleet(there.connection), there.connection)
    ids_of = {move: {*names_there(move.thing, move.names, shop, reached)} for move in planned.moves}
    at_home, on_way = ({*load.names} if load else set() for load in (sent, coming))
    by_run = names_ever_sent(there.connection, name, leaves=False)
    there_now = [
        move
        for move in planned.moves
        if _is_there(fleet, ids_of[move]) and (ids_of[move] <= {*by_run} or not ids_of[move] <= fleet.lent)
    ]
    open_moves = [
        move
        for move in planned.moves
        if {*move.names} <= at_home
        or ids_of[move] <= on_way
        or ({*move.names} <= {*left} and move not in there_now)
    ]
    if not open_moves and not coming:
        raise Refused(f"nothing is on the way by the run {name}", cure="see `mountbook today`")
    names = [n for move in open_moves for n in move.names]
    if unknown := sorted({*missing} - {*names}):
        raise BadInput(f"{unknown[0]} is not on the way by this run", cure=f"one of: {', '.join(names)}")
    done = [move for move in open_moves if move in there_now and not ids_of[move] <= on_way]
    things = [move for move in open_moves if move not in done and move.names[0] not in missing]
    late = [move for move in open_moves if move not in done and not ids_of[move] <= on_way]
    seals = left | by_run
    for seal in {seals[n] for move in open_moves for n in (*move.names, *ids_of[move]) if n in seals}:
        check_load(planned.folder, seal)
    with there.desk(by=by, now=now) as desk:
        any_listed(desk.connection, by, days=desk.signing_days, what="take in what a van brought")
        if late:
            seal = seals[late[0].names[0]]
            expect(desk, _load(planned.run, late, seal, between=(shop, reached)))
    came, faults = one_by_one(
        things,
        lambda move: _brought(there, planned.folder, move, other=shop, by=by, now=now),
        what="thing",
        name=lambda move: move.names[0],
    )
    if came:
        with there.desk(by=by, now=now) as desk:
            for load in loads_on_the_way(desk.connection):
                ids = [n for move in came for n in ids_of[move] if n in load.names]
                if (load.sent.run, load.sent.leaves) == (name, False) and ids:
                    again = [n for move in came if not {*move.names} <= at_home for n in ids_of[move]]
                    take_in(desk, load, ids, again=again if left else ())
    taken = tuple(n for move in (*done, *came) for n in move.names)
    if sent and {*taken} & at_home:
        with home.desk(by=by, now=now) as desk:
            taken_in_there(desk, sent, taken)
    return TakenRun(
        names=taken,
        on_the_way=tuple(n for n in names if n not in taken),
        faults=tuple(faults),
        still_there=lost,
    )


def _entered_again(
    planned: PlannedRun, home: Ledger, there: Ledger, *, by: str, now: datetime
) -> Mapping[str, str]:
    """Enter at home what the other ledger says came from there and a restored one lost.

    Return what could not be entered, with why.
    """
    name, fleet, reached = planned.run.name, read_fleet(home.connection), there.shop
    came = names_ever_sent(there.connection, name, leaves=False)
    left = names_ever_sent(home.connection, name, leaves=True)
    ids_of = {move: names_there(move.thing, move.names, fleet.shop, reached) for move in planned.moves}
    places = {
        move: _place(fleet, move)
        for move in planned.moves
        if {*ids_of[move]} <= {*came} and not {*move.names} <= {*left}
    }
    asked = [move for move, place in places.items() if place not in (None, Place.RETIRED)]
    why = {
        move: "" if places[move] is Place.IN_TRANSIT else why_not_sent(fleet, move.names[0], now)
        for move in asked
    }
    if gone := [move for move in asked if not why[move]]:
        seal = came[ids_of[gone[0]][0]]
        with home.desk(by=by, now=now) as desk:
            sent_after_all(desk, fleet, _load(planned.run, gone, seal))
    return {move.names[0]: why[move] for move in asked if why[move]}


def _place(fleet: Fleet, move: ChainMove) -> Place | None:
    """Return where a ledger has the thing; None where it has it no more."""
    name = move.names[0]
    if move.thing is VanThing.PAIR:
        return fleet.pairs[name].place if name in fleet.pairs else None
    if move.thing is VanThing.BOOT:
        return fleet.boots[name].place if name in fleet.boots else None
    return Place.READY if {*move.names} <= {*fleet.bindings} else None


def _on_the_way(ledger: Ledger, run: str, *, leaves: bool) -> Load | None:
    loads = loads_on_the_way(ledger.connection)
    return next((load for load in loads if (load.sent.run, load.sent.leaves) == (run, leaves)), None)


def _is_there(fleet: Fleet, names: Collection[str]) -> bool:
    """Return whether the other ledger has the thing, or had it, and says what became of it."""
    return {*names} <= {*fleet.pairs, *fleet.boots, *fleet.bindings, *fleet.renamed, *fleet.gone}


def _brought(
    ledger: Ledger, folder: Path, move: ChainMove, *, other: str, by: str, now: datetime
) -> ChainMove:
    bring_in(ledger, folder, move.names[0], other=other, by=by, now=now)
    return move
