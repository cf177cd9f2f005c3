"""Things on a van from shop to shop: may they leave, sent, on their way, taken in; each shop its side."""

import json
import sqlite3
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from fleet.base.errors import Refused
from fleet.events.boots import BootMoved
from fleet.events.mounts import StockOut
from fleet.events.movement import LoadSent, LoadTakenIn, PairMoved
from fleet.events.pairs import SkiClosed
from fleet.facts.boots import Boot
from fleet.facts.holes import Side
from fleet.facts.pairs import Binding, Pair
from fleet.facts.recalls import Reach
from fleet.facts.standing import Place
from fleet.ledger.desk import Desk, any_listed
from fleet.rules.clearance import cured_after
from fleet.rules.moves import Move, may_move
from fleet.tables.snapshot import Fleet, read_boots

_CAME_BEFORE: Final = "it had come before this ledger was restored: what was drilled here since is not known"


def pair_stays(fleet: Fleet, pair: Pair, now: datetime) -> str:
    """Return why no van takes the pair, in words; "" where one may. What is stopped stays where it is."""
    if pair.stops:
        return "; ".join(pair.stops)
    if not pair.plannable:
        return fleet.where(pair.tag)
    if pair.tag in fleet.ordered:
        return "; ".join(fleet.ordered[pair.tag])
    for adhesive, at in pair.glued:
        cured = cured_after(at, fleet.policy.cure_hours(adhesive))
        if cured is None or cured > now:
            return f"{adhesive.replace('_', ' ')} in it may not have cured"
    bindings = fleet.bindings_on(pair.tag)
    if len(bindings) == 1:
        return "it carries a binding on one ski only"
    for side in Side:
        if side in bindings and (why := _recalled(fleet, bindings[side])):
            return why
    return ""


def boot_stays(boot: Boot) -> str:
    """Return why no van takes the boots, in words; "" where one may."""
    if boot.place is not Place.READY or boot.hold_entry:
        return boot.barred or f"the pair of boots is {boot.place.words}"
    return f"a note on it asks: {boot.asks}?" if boot.asks else ""


def binding_stays(fleet: Fleet, binding: Binding) -> str:
    """Return why no van takes a loose binding, in words; "" where one may."""
    if not binding.may_be_mounted:
        return "it is not in the stock, its brake is not known, or a note on it asks something"
    return _recalled(fleet, binding)


def _recalled(fleet: Fleet, binding: Binding) -> str:
    reached = (r.recall for r in fleet.recalls if r.reaches(binding) is not Reach.NOT)
    return next((f"recall {name} may reach its binding" for name in reached), "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """The things on the way by one run, by the entry that says so. ``sent``: what it says, less what came."""

    entry: int
    sent: LoadSent

    @property
    def names(self) -> tuple[str, ...]:
        """Everything in it by name, bindings by their ids."""
        return tuple(name for _, name in self.sent.rows())


def loads_on_the_way(connection: sqlite3.Connection) -> tuple[Load, ...]:
    """The loads of which something was not taken in yet, the oldest first."""
    found = []
    for entry, run, other, leaves, sha256 in connection.execute(
        "SELECT entry, run, other, leaves, sha256 FROM load ORDER BY entry"
    ):
        things = connection.execute(
            "SELECT tag, boot, binding_id FROM load_thing WHERE entry = ? ORDER BY tag, boot, binding_id",
            (entry,),
        ).fetchall()
        pairs, boots, bindings = (tuple(row[at] for row in things if row[at] is not None) for at in range(3))
        if things:
            sent = LoadSent(
                run=run,
                other=other,
                leaves=bool(leaves),
                sha256=sha256,
                pairs=pairs,
                boots=boots,
                binding_ids=bindings,
            )
            found.append(Load(entry=entry, sent=sent))
    return tuple(found)


def loads_ever(connection: sqlite3.Connection) -> list[LoadSent]:
    """Every load that left or came, taken in or not, the oldest first."""
    rows = connection.execute("SELECT body FROM load JOIN entries ON seq = entry ORDER BY entry")
    return [LoadSent.read(json.loads(body)) for (body,) in rows]


def names_ever_sent(connection: sqlite3.Connection, run: str, *, leaves: bool) -> dict[str, str]:
    """Everything that any load of a run had in it, taken in or not, by name: the hash that seals its load."""
    loads = [each for each in loads_ever(connection) if (each.run, each.leaves) == (run, leaves)]
    return {name: load.sha256 for load in loads for _, name in load.rows()}


def with_lent(fleet: Fleet, connection: sqlite3.Connection) -> Fleet:
    """The fleet with what is retired here because a van took it, and has not come home since."""
    return replace(fleet, lent=_lent(connection))


def _lent(connection: sqlite3.Connection) -> frozenset[str]:
    newest = {name: load.leaves for load in loads_ever(connection) for _, name in load.rows()}
    retired = connection.execute(
        "SELECT tag FROM standing WHERE place = ?1 UNION SELECT tag FROM boot WHERE whereabouts = ?1"
        " UNION SELECT binding_id FROM binding WHERE gone_entry > 0",
        (Place.RETIRED.value,),
    )
    return frozenset(tag for (tag,) in retired if newest.get(tag))


def expect(desk: Desk, load: LoadSent) -> None:
    """Enter that a load is on its way here; what had left this shop before is in transit again."""
    known = _lent(desk.connection)
    desk.enter(load)
    _move(desk, load, known, Move.COME_HOME, Place.IN_TRANSIT, note=f"sent home from {load.other}")


def why_not_sent(fleet: Fleet, name: str, now: datetime) -> str:
    """Return why a thing of that name may not leave, as its ledger has it now; "" where it may."""
    if name in fleet.pairs:
        return pair_stays(fleet, fleet.pairs[name], now)
    if name in fleet.boots:
        return boot_stays(fleet.boots[name])
    if name in fleet.bindings:
        return binding_stays(fleet, fleet.bindings[name])
    return f"{fleet.shop} has nothing of that name"


def send(desk: Desk, fleet: Fleet, load: LoadSent) -> int:
    """Enter that a load left: its pairs and boots are in transit, its loose bindings gone; the entry.

    ``fleet``: as this action sees it. Raises Refused where one of the things may not leave, and for whoever
    is not on the staff list.
    """
    any_listed(desk.connection, desk.by, days=desk.signing_days, what="send things to another shop")
    for name in (*load.pairs, *load.boots, *load.binding_ids):
        if why := why_not_sent(fleet, name, desk.now):
            raise Refused(f"{name} is not sent: {why}", cure="leave it here; the others may go")
    return _leave(desk, load, pairs=load.pairs, boots=load.boots)


def _leave(desk: Desk, load: LoadSent, *, pairs: Sequence[str], boots: Sequence[str]) -> int:
    entry = desk.enter(load)
    for tag in pairs:
        desk.enter(PairMoved(tag=tag, to=Place.IN_TRANSIT.value), note=f"sent to {load.other}")
    for tag in boots:
        desk.enter(BootMoved(tag=tag, to=Place.IN_TRANSIT.value), note=f"sent to {load.other}")
    if load.binding_ids:
        desk.enter(StockOut(binding_ids=load.binding_ids), note=f"sent to {load.other}")
    return entry


def sent_after_all(desk: Desk, fleet: Fleet, load: LoadSent) -> None:
    """Enter a load that left before this ledger was restored: the other one has it, and this one lost it.

    ``load``: of things that are in transit here, as a restore carries it over, or could have left.
    """
    _leave(
        desk,
        load,
        pairs=[tag for tag in load.pairs if fleet.pairs[tag].place is not Place.IN_TRANSIT],
        boots=[tag for tag in load.boots if fleet.boots[tag].place is not Place.IN_TRANSIT],
    )


def take_in(desk: Desk, load: Load, names: Sequence[str], *, again: Sequence[str] = ()) -> None:
    """Enter that these things of a load came: their pairs are back, to be looked at by somebody here.

    ``again``: those that had come before this ledger was restored, and may have been drilled here since.
    """
    any_listed(desk.connection, desk.by, days=desk.signing_days, what="take in what a van brought")
    desk.enter(_taken(load, names))
    note = f"taken in from {load.sent.other}"
    for tag in load.sent.pairs:
        if tag in names:
            desk.enter(PairMoved(tag=tag, to="shop"), note=note)
        for side in Side if tag in again else ():
            desk.enter(SkiClosed(tag=tag, side=side, why=_CAME_BEFORE))
    boots = read_boots(desk.connection)
    for tag in load.sent.boots:
        if tag in names and boots[tag].place is Place.IN_TRANSIT:
            desk.enter(BootMoved(tag=tag, to="shop"), note=note)


def taken_in_there(desk: Desk, load: Load, names: Sequence[str]) -> None:
    """Enter that the other shop took these things in: they have left this one for good."""
    desk.enter(_taken(load, names))
    _move(desk, load.sent, names, Move.LEAVE, Place.RETIRED, note=f"taken in at {load.sent.other}")


def _move(desk: Desk, load: LoadSent, names: Collection[str], move: Move, to: Place, *, note: str) -> None:
    """Enter for each pair and boot of the load that is among ``names`` where it is now."""
    for tag in load.pairs:
        if tag in names:
            may_move(desk, tag, move)
            desk.enter(PairMoved(tag=tag, to=to.value), note=note)
    for tag in load.boots:
        if tag in names:
            desk.enter(BootMoved(tag=tag, to=to.value), note=note)


def _taken(load: Load, names: Sequence[str]) -> LoadTakenIn:
    pairs, boots, bindings = (
        tuple(n for n in each if n in names)
        for each in (load.sent.pairs, load.sent.boots, load.sent.binding_ids)
    )
    return LoadTakenIn(load=load.entry, pairs=pairs, boots=boots, binding_ids=bindings)
