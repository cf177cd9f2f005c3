"""Entries about mounts and bindings, and what other entries do to them."""

import sqlite3
from collections.abc import Sequence

from fleet.base.entries import Entry, canonical_json
from fleet.base.errors import Refused
from fleet.events.event import (
    LEFT_OUT,
    BindingChanges,
    BindingId,
    EntryPart,
    Event,
    Later,
    PairTag,
    change_columns,
    delete_made,
    facts_of,
    insert,
    must_change,
    set_for,
    store,
    touched,
)
from fleet.facts.columns import names_of, plain_facts
from fleet.facts.holes import MountFacts, PieceSlide, Side, StatedMountFacts
from fleet.facts.pairs import Binding, BindingFacts, BrakeWidth
from fleet.tables.snapshot import read_pairs


class Slide(EntryPart, PieceSlide, frozen=True, kw_only=True):
    """The place where a mounted piece was screwed down, and how far it is slid.

    piece: which piece
    reference_um: x of the piece's listed end from ski A's mark, in micrometres
    slide_um: the sole's end minus the listed end, toward the tip, in micrometres
    """


class NewMount(EntryPart, MountFacts, frozen=True, kw_only=True):
    """One mount of a pair.

    tag: the pair
    slides: where its pieces were screwed down
    """

    tag: PairTag
    slides: tuple[Slide, ...] = ()


class MountRecorded(Event, NewMount, frozen=True, kw_only=True):
    """A mount of a pair, of which all is known.

    completes: true where it is the mount that was on as stated, now that its pattern is known; else left out
    stands: where its pieces were measured to stand since; left out where nobody measured
    set_for_um: the sole length for which they stand so, in micrometres; left out as ``stands``
    """

    WHAT = "mount recorded"
    completes: bool | Later = LEFT_OUT
    stands: tuple[Slide, ...] | Later = LEFT_OUT
    set_for_um: int | Later = LEFT_OUT

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """It counts among the pair's mounts, and no earlier pass counts."""
        facts_of(state, self.tag)
        if self.completes:
            _forget_present_stated(state, self.tag)
        insert_mount(state, self, entry=entry.seq, stands=self.stands or ())
        touched(state, self.tag, entry)
        if self.set_for_um and self.removed_on is None:
            facts = facts_of(state, self.tag)
            pieces = [slide.piece for slide in self.stands or ()]
            set_for(facts, entry, bsl_um=self.set_for_um, how="measured where it stands", pieces=pieces)
            store(state, facts, entry)

    def withdraw(self, state: sqlite3.Connection, seq: int, entry: Entry) -> None:
        """It never was; refused where it was removed since."""
        row = state.execute("SELECT removed_on FROM mount WHERE entry = ?", (seq,)).fetchone()
        if row is None or row[0] != self.removed_on:
            raise Refused(f"the mount of entry {seq} was removed since", cure="enter what is true now")
        delete_made(state, "mount", seq, f"the mount of entry {seq}")
        touched(state, self.tag, entry)


class MountStated(Event, StatedMountFacts, frozen=True, kw_only=True):
    """A mount as a sheet states it, null or empty where it says nothing.

    tag: the pair
    """

    WHAT = "mount stated"
    tag: PairTag

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """One that is on takes the place of what was stated of it before."""
        facts_of(state, self.tag)
        if self.removed_on is None:
            _forget_present_stated(state, self.tag)
        facts = plain_facts(StatedMountFacts, self)
        insert(state, "stated_mount", facts | {"tag": self.tag, "entry": entry.seq})

    def withdraw(self, state: sqlite3.Connection, seq: int, entry: Entry) -> None:
        """Nobody stated it."""
        delete_made(state, "stated_mount", seq, f"the stated mount of entry {seq}")


class MountRemoved(Event, frozen=True, kw_only=True):
    """Every mount of the pair that was on is off.

    tag: the pair
    removed_on: the day
    """

    WHAT = "mount removed"
    tag: PairTag
    removed_on: str

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """They are off from that day, and no earlier pass counts."""
        keep_what_holes_show(state, self.tag)
        mounts_off(state, self.tag, self.removed_on)
        touched(state, self.tag, entry)


def insert_mount(
    state: sqlite3.Connection, said: NewMount, *, entry: int, stands: Sequence[Slide] = ()
) -> None:
    """One mount of a pair; ``stands``: where its pieces were measured to stand since it was screwed down."""
    places = {"slides": said.slides} | ({"stands": stands} if stands else {})
    insert(
        state,
        "mount",
        plain_facts(MountFacts, said)
        | {
            "tag": said.tag,
            "slides": canonical_json(
                {name: [slide.body() for slide in slides] for name, slides in places.items()}
            ),
            "entry": entry,
        },
    )


def mounts_off(state: sqlite3.Connection, tag: str, removed_on: str) -> None:
    """Every mount of the pair that was on, or stated to be, is off."""
    for table in ("mount", "stated_mount"):
        state.execute(
            f"UPDATE {table} SET removed_on = ? WHERE tag = ? AND removed_on IS NULL", (removed_on, tag)
        )


def keep_what_holes_show(state: sqlite3.Connection, tag: str) -> None:
    """Before work changes holes and mounts: how many mounts they show that nobody stated."""
    row = state.execute("SELECT earlier_mounts FROM pair WHERE tag = ?", (tag,)).fetchone()
    if row is not None and row[0] is None:
        shown = read_pairs(state, tag)[tag].earlier_shown
        state.execute("UPDATE pair SET earlier_at_least = ? WHERE tag = ?", (shown, tag))


def _forget_present_stated(state: sqlite3.Connection, tag: str) -> None:
    state.execute("DELETE FROM stated_mount WHERE tag = ? AND removed_on IS NULL", (tag,))


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
