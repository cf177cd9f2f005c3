"""Entries about work orders: issued, cancelled, plugged, done, stopped. Work becomes holes and mounts."""

import sqlite3
from abc import abstractmethod
from collections.abc import Iterator
from typing import Any, ClassVar

from fleet.base.entries import Entry, canonical_json
from fleet.base.errors import Refused
from fleet.events.event import (
    LEFT_OUT,
    EntryPart,
    Event,
    Facts,
    HoleId,
    Later,
    PairTag,
    PersonName,
    facts_of,
    glued,
    insert,
    must_be_none,
    must_change,
    not_known,
    set_for,
    store,
    with_names,
    work_done,
)
from fleet.events.mounts import (
    MovedBinding,
    NewMount,
    change_binding,
    insert_mount,
    keep_what_holes_show,
    mounts_off,
)
from fleet.events.pairs import ChangedHole, NewHole, change_hole, insert_hole, number_given
from fleet.facts.holes import Side
from fleet.facts.order_numbers import OrderFacts
from fleet.facts.pairs import pair_state


class OrderIssued(Event, OrderFacts, frozen=True, kw_only=True):
    """The bench may have the pair.

    number: the order's number
    revision: its letter
    tag: the pair
    boot: the boot it is for
    way: how it is done
    minutes: how long it takes
    giver: the pair that gives its binding, or null
    set: the planned set, as the plan has it
    plan_hash: the hash of the plan
    needed_by: when it is needed, or null
    pair_state: `pair_state` (`fleet/facts/pairs.py`) at issue: the sheet holds as long as it is the same
    giver_state: that of the giver, or null
    holes: the id of each screw's hole, ``A toe 1`` and ``K-031/A17``, new holes included; left out where
        the sheet names screws by the turn in which they are tightened, as older ones do
    """

    WHAT = "order issued"
    set: dict[str, Any]
    plan_hash: str
    needed_by: str | None
    holes: dict[str, HoleId] | Later = LEFT_OUT

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """The order is open, and the numbers that its sheet gives to holes are no other holes'."""
        facts_of(state, self.tag)
        for screw, hole_id in (self.holes or {}).items():
            number_given(state, self.tag, Side(screw[:1]), hole_id)
        must_be_none(
            state,
            "SELECT 1 FROM work_order WHERE tag = ? AND state = 'open'",
            (self.tag,),
            Refused(f"{self.tag} has an open work order already", cure="cancel it first"),
        )
        insert(
            state,
            "work_order",
            {key: getattr(self, key) for key in OrderFacts.__struct_fields__}
            | {
                "state": "open",
                "body": canonical_json(entry.body),
                "issued_entry": entry.seq,
                "closed_entry": None,
            },
        )


class OrderCancelled(Event, frozen=True, kw_only=True):
    """An order is not to be worked on.

    number: the order's number
    revision: its letter
    why: issued again, or not in the new plan
    """

    WHAT = "order cancelled"
    number: str
    revision: str
    why: str

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """The order is open no more."""
        _close(state, entry, self.number, self.revision, "cancelled")

    def names_in_state(self, state: sqlite3.Connection) -> Iterator[str]:
        """The order's pair."""
        query = "SELECT tag FROM work_order WHERE number = ? AND revision = ?"
        yield from (tag for (tag,) in state.execute(query, (self.number, self.revision)))


class Remade(EntryPart, frozen=True, kw_only=True):
    """A pair, such as the one that gave its binding, as the bench left its old holes and mount.

    tag: the pair
    changed_holes: what was done to its holes
    mount_removed_on: the day its mount came off, or null
    """

    tag: PairTag
    changed_holes: tuple[ChangedHole, ...]
    mount_removed_on: str | None


class _AtTheBench(Event, Remade, frozen=True, kw_only=True):
    """The work of the bench on a pair by an order."""

    number: str
    revision: str
    cure_from_entry: bool | Later = LEFT_OUT


class _BenchWork(_AtTheBench, frozen=True, kw_only=True):
    """The work of the bench on a pair, and on the pair that gave its binding."""

    ENDED: ClassVar[str]
    """The word for what became of the order."""
    new_holes: tuple[NewHole, ...]
    mount: NewMount | None
    bindings: tuple[MovedBinding, ...]
    giver: Remade | None
    glued_with: tuple[str, ...]
    hold: str
    stop: str | Later = LEFT_OUT

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """The order is open no more, and the skis are as the bench left them."""
        _close(state, entry, self.number, self.revision, self.ENDED)
        before = {tag: pair_state(state, tag) for tag in self._pairs()}
        self._on_the_skis(state, entry)
        for tag, then in before.items():
            _still_as_planned(state, tag, before=then)
        facts = facts_of(state, self.tag)
        self._note_work(facts, entry)
        glued(state, facts, entry, self.glued_with, from_entry=bool(self.cure_from_entry))
        if self.hold:
            facts |= {"hold_entry": entry.seq, "hold_why": self.hold}
        if self.stop:
            facts |= {"stop_entry": entry.seq, "stop_why": self.stop}
        store(state, facts, entry)

    @abstractmethod
    def _note_work(self, facts: Facts, entry: Entry) -> None:
        raise NotImplementedError

    def _pairs(self) -> tuple[str, ...]:
        return (self.tag, self.giver.tag) if self.giver is not None else (self.tag,)

    def _on_the_skis(self, state: sqlite3.Connection, entry: Entry) -> None:
        for tag in self._pairs():
            keep_what_holes_show(state, tag)
        for hole in self.new_holes:
            insert_hole(state, self.tag, hole, entry=entry.seq)
        _reshape(state, entry, self)
        if self.mount is not None:
            insert_mount(state, self.mount, entry=entry.seq)
        for moved in self.bindings:
            change_binding(state, moved.binding_id, moved.changes, allowed=("on_pair", "on_ski"))
        if self.giver is not None:
            _reshape(state, entry, self.giver)
            facts = facts_of(state, self.giver.tag)
            work_done(facts, entry, what=f"work order {self.number}")
            store(state, facts, entry)


class OrderPlugged(_AtTheBench, frozen=True, kw_only=True):
    """The first visit of an order ended: the old binding is off and its unused holes are filled.

    number: the order's number
    revision: its letter
    tag: the pair
    changed_holes: old holes that are open or plugged now
    mount_removed_on: the day the old mount came off, or null
    filled_with: the filler; its cure begins
    cure_from_entry: whether the cure counts from this entry, since it was entered later; left out where not,
        and in older bodies
    """

    WHAT = "order plugged"
    filled_with: str

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """The holes are as the bench left them; the order stays open."""
        order = (self.number, self.revision, self.tag)
        query = "SELECT 1 FROM work_order WHERE (number, revision, tag) = (?, ?, ?) AND state = 'open'"
        if state.execute(query, order).fetchone() is None:
            raise Refused(f"work order {self.number} {self.revision} is not open for {self.tag}")
        before = pair_state(state, self.tag)
        keep_what_holes_show(state, self.tag)
        _reshape(state, entry, self)
        _still_as_planned(state, self.tag, before=before)
        facts = facts_of(state, self.tag)
        work_done(facts, entry, what=_first_visit(self.number))
        facts |= {"workers": with_names(facts["workers"], entry.by)}
        glued(state, facts, entry, (self.filled_with,), from_entry=bool(self.cure_from_entry))
        store(state, facts, entry)

    def names_in_state(self, state: sqlite3.Connection) -> Iterator[str]:
        """The pair that gives the order its binding."""
        query = "SELECT giver FROM work_order WHERE number = ? AND revision = ? AND giver IS NOT NULL"
        yield from (tag for (tag,) in state.execute(query, (self.number, self.revision)))


def _first_visit(number: str) -> str:
    return f"plugging for work order {number}"


class OrderDone(_BenchWork, frozen=True, kw_only=True):
    """The work of an order was done.

    number: the order's number
    revision: its letter
    tag: the pair
    new_holes: the holes drilled
    changed_holes: old holes that are open, screwed or plugged now
    mount_removed_on: the day the old mount came off, or null
    mount: the new mount; null where none was made
    bindings: the bindings that went on or came off
    giver: what became of the pair that gave its binding, or null
    glued_with: the adhesives used
    jig: the jig used; not in the oldest bodies
    hold: what was drilled outside the rule, or empty
    stop: what only the head technician ends, or empty; not in the oldest bodies
    seen_by: who saw the marked places before the first hole; left out where nobody is named
    cure_from_entry: whether the cure counts from this entry, since it was entered later; left out where not,
        and in older bodies
    """

    WHAT = "order done"
    ENDED = "done"
    jig: str | Later = LEFT_OUT
    seen_by: PersonName | Later = LEFT_OUT

    def _note_work(self, facts: Facts, entry: Entry) -> None:
        """A second person looks; both skis stand at the sole length of ``mount``.

        A filler of the order's first visit has cured by now, else the order is not done.
        """
        if facts["work_what"] == _first_visit(self.number):
            facts |= {"glued_with": "[]"}
        work_done(facts, entry, what=f"work order {self.number}", worker=entry.by)
        if self.mount is not None:
            set_for(
                facts,
                entry,
                bsl_um=self.mount.bsl_um,
                how=f"work order {self.number}",
                pieces=[slide.piece for slide in self.mount.slides],
            )


class OrderStopped(_BenchWork, frozen=True, kw_only=True):
    """The work of an order was broken off.

    number: the order's number
    revision: its letter
    tag: the pair
    new_holes: the holes made so far
    changed_holes: old holes that are open, screwed or plugged now
    mount_removed_on: the day the old mount came off, or null
    mount: a mount that holes were made for; null where none were
    bindings: the bindings that went on or came off
    giver: what became of the pair that gave its binding, or null
    glued_with: the adhesives used
    hold: empty
    stop: what only the head technician ends, empty where the skis are not the reason; not in the oldest
    drilled: by ski: nothing, holes, or not known; not in the oldest
    cure_from_entry: whether the cure counts from this entry, since it was entered later; left out where not,
        and in older bodies
    """

    WHAT = "order stopped"
    ENDED = "stopped"
    drilled: dict[Side, str] | Later = LEFT_OUT

    def _note_work(self, facts: Facts, entry: Entry) -> None:
        """At which sole length its bindings stand is not known: work was begun.

        Only a stop that says that nothing was done and that the skis are not the reason (``stop`` is there
        and empty) leaves the pair as it was.
        """
        unknown = "not known" in (self.drilled or {}).values()
        if self.new_holes or self.changed_holes or self.bindings or unknown:
            work_done(facts, entry, what=f"work order {self.number}")
        elif self.stop != "":
            not_known(facts)


def _close(state: sqlite3.Connection, entry: Entry, number: str, revision: str, ended: str) -> None:
    must_change(
        state,
        "UPDATE work_order SET state = ?, closed_entry = ?"
        " WHERE number = ? AND revision = ? AND state = 'open'",
        (ended, entry.seq, number, revision),
        Refused(f"work order {number} {revision} is not open", cure="see `mountbook order list`"),
    )


def _still_as_planned(state: sqlite3.Connection, tag: str, *, before: str) -> None:
    """Orders that counted on this very work (a binding given from pair to pair) still hold after it."""
    after = pair_state(state, tag)
    for whose, column in (("tag", "pair_state"), ("giver", "giver_state")):
        state.execute(
            f"UPDATE work_order SET {column} = ? WHERE {whose} = ? AND {column} = ? AND state = 'open'",
            (after, tag, before),
        )


def _reshape(state: sqlite3.Connection, entry: Entry, part: Remade) -> None:
    """Old holes open, screwed or plugged now, and the old mount taken off."""
    for hole in part.changed_holes:
        change_hole(state, hole.hole_id, hole.changes, entry=entry.seq)
    if part.mount_removed_on:
        mounts_off(state, part.tag, part.mount_removed_on)
