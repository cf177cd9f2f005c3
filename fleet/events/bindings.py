"""Entries about bindings: recorded, and changed or moved."""

import sqlite3

from fleet.base.entries import Entry
from fleet.base.errors import Refused
from fleet.events.event import (
    BindingChanges,
    BindingId,
    EntryPart,
    Event,
    PairTag,
    change_columns,
    delete_made,
    insert,
    must_change,
)
from fleet.events.facts import facts_of, touched
from fleet.facts.columns import names_of, plain_facts
from fleet.facts.holes import Side
from fleet.facts.pairs import Binding, BindingFacts, BrakeWidth


class MovedBinding(EntryPart, frozen=True, kw_only=True):
    """A binding that work took off a ski, or put on one.

    binding_id: its id
    changes: of ``on_pair`` and ``on_ski``, the old value and the new one
    """

    binding_id: BindingId
    changes: BindingChanges


class BindingRecorded(Event, BindingFacts, frozen=True, kw_only=True):
    """The binding of one ski came into the ledger.

    on_pair: the pair it is on; null in the stock
    on_ski: the ski it is on; null in the stock
    """

    WHAT = "binding recorded"
    on_pair: PairTag | None
    on_ski: Side | None

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It is there; no earlier pass of the pair it is on counts."""
        if self.on_pair is not None:
            facts_of(state, self.on_pair)
        insert(state, "binding", plain_facts(Binding, self) | {"entry": entry.seq})
        if self.on_pair is not None:
            touched(state, self.on_pair, entry)

    def withdraw(self, state: sqlite3.Connection, seq: int, entry: Entry) -> None:
        """It is gone; refused where it was moved since."""
        row = state.execute("SELECT on_pair FROM binding WHERE entry = ?", (seq,)).fetchone()
        if row is None or row[0] != self.on_pair:
            raise Refused(f"binding {self.binding_id} was moved since", cure="enter what is true now")
        delete_made(state, "binding", seq, f"the binding of entry {seq}")
        if row[0] is not None:
            touched(state, row[0], entry)


class BindingChanged(Event, frozen=True, kw_only=True):
    """Recorded facts of a binding were set right, or it came off one ski and onto another.

    binding_id: its id
    changes: by column, the old value and the new one
    """

    WHAT = "binding changed"
    binding_id: BindingId
    changes: BindingChanges

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """The new values stand; a pair it was on, or is on now, loses its pass."""
        before = _pair_of(state, self.binding_id)
        change_binding(state, self.binding_id, self.changes, allowed=names_of(Binding))
        now_on = _pair_of(state, self.binding_id)
        if now_on is not None:
            facts_of(state, now_on)
        for tag in sorted({before, now_on} - {None}, key=str):
            touched(state, str(tag), entry)


class StockIn(Event, frozen=True, kw_only=True):
    """Pairs of bindings came into the stock; the reason is the note.

    binding_ids: their ids, of ski A and ski B in turn
    model: the model
    pattern: its pattern; "" where not known
    brake_um: the brake width, in micrometres, or ``none``, ``not known``; null: told as none, not seen
    season: the season of purchase; "" where not stated
    """

    WHAT = "stock in"
    binding_ids: tuple[BindingId, ...]
    model: str
    pattern: str
    brake_um: BrakeWidth
    season: str

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """They are there."""
        facts = self.body()
        for binding_id in facts.pop("binding_ids"):
            binding = Binding(**facts, binding_id=binding_id)
            insert(state, "binding", plain_facts(Binding, binding) | {"entry": entry.seq})


class StockOut(Event, frozen=True, kw_only=True):
    """Pairs of bindings left the stock for good; the reason is the note.

    binding_ids: their ids
    """

    WHAT = "stock out"
    binding_ids: tuple[BindingId, ...]

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """They count no more; what is on a ski does not leave so."""
        for binding_id in self.binding_ids:
            must_change(
                state,
                "UPDATE binding SET gone_entry = ?"
                " WHERE binding_id = ? AND gone_entry = 0 AND on_pair IS NULL",
                (entry.seq, binding_id),
                Refused(f"binding {binding_id} is not in the stock", cure="see `mountbook stock list`"),
            )


class StockBack(Event, frozen=True, kw_only=True):
    """Bindings that had left the stock came back, under the ids that they had; the reason is the note.

    binding_ids: their ids
    """

    WHAT = "stock back"
    binding_ids: tuple[BindingId, ...]

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """They count again, with what was known of them."""
        for binding_id in self.binding_ids:
            must_change(
                state,
                "UPDATE binding SET gone_entry = 0 WHERE binding_id = ? AND gone_entry > 0",
                (binding_id,),
                Refused(f"binding {binding_id} did not leave the stock", cure="see `mountbook stock list`"),
            )


def change_binding(
    state: sqlite3.Connection, binding_id: str, changes: BindingChanges, *, allowed: tuple[str, ...]
) -> None:
    """Set those columns of the binding from old to new."""
    change_columns(state, "binding", key={"binding_id": binding_id}, changes=changes, allowed=allowed)


def _pair_of(state: sqlite3.Connection, binding_id: str) -> str | None:
    row = state.execute("SELECT on_pair FROM binding WHERE binding_id = ?", (binding_id,)).fetchone()
    return row[0] if row else None
