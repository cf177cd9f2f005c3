"""Entries about entries: withdrawn, remarked, blanked, given other times, and the trace of a restore."""

import sqlite3
from collections.abc import Iterator
from typing import Any

import msgspec

from fleet.base.entries import Entry
from fleet.base.errors import Refused
from fleet.events.event import (
    LEFT_OUT,
    EntryPart,
    Event,
    Later,
    OnRecord,
    PairTag,
    PersonName,
    Replay,
    cannot_be_withdrawn,
    facts_of,
    insert,
    kinds,
    not_known,
    store,
    work_done,
)


class EntryWithdrawn(Event, frozen=True, kw_only=True):
    """An entry was a slip; what it made is taken out again. The old entry stays where it is.

    entry: its number
    what: its kind
    body: its body, in full
    """

    WHAT = "entry withdrawn"
    ABOUT_ENTRY = "entry"
    entry: int
    what: str
    said: dict[str, Any] = msgspec.field(name="body")

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """As its kind says. Refused where something came after it that builds on it."""
        withdrawn = self._withdrawn()
        for name in withdrawn.names():
            query = "SELECT new, entry FROM renamed WHERE old = ? AND entry > ?"
            for new, renamed in state.execute(query, (name, self.entry)):
                raise Refused(
                    f"entry {self.entry} is about {name}, which is called {new} since entry {renamed}",
                    cure=f"enter what is true now for {new}",
                )
        withdrawn.withdraw(state, self.entry, entry)

    def names(self) -> set[str]:
        """Those of the withdrawn entry."""
        return self._withdrawn().names()

    def names_in_state(self, state: sqlite3.Connection) -> Iterator[str]:
        """Those of the withdrawn entry."""
        return self._withdrawn().names_in_state(state)

    def _withdrawn(self) -> Event:
        kind = kinds().get(self.what)
        if kind is None:
            raise cannot_be_withdrawn(self.what)
        return kind.read(self.said)


class EntryRemarked(OnRecord, frozen=True, kw_only=True):
    """Says what happened about an entry; the remark is the note.

    entry: its number
    """

    WHAT = "entry remarked"
    ABOUT_ENTRY = "entry"
    entry: int


class NoteBlanked(OnRecord, frozen=True, kw_only=True):
    """The note of an entry was blanked (`Transaction.blank_note`).

    entry: its number
    """

    WHAT = "note blanked"
    ABOUT_ENTRY = "entry"
    entry: int


class NameRemoved(OnRecord, frozen=True, kw_only=True):
    """A person's name was taken out wherever the ledger keeps it (`Transaction.take_name_out`).

    name: the place of the name; read, the mark that stands for it
    """

    WHAT = "name removed"
    name: PersonName


class LedgerRestored(Event, frozen=True, kw_only=True):
    """This file was put back from a backup.

    head: the newest entry of the backup
    replaced: the newest entry of the file it replaced, or null
    passes: "void" where nobody can tell what came after the backup; not in the oldest bodies
    orders: month -> the number after which its work orders go on; left out where none was used since
    """

    WHAT = "ledger restored"
    REPLAY = Replay.ITS_PAIR
    head: str
    replaced: str | None
    passes: str = "stand"
    orders: dict[str, int] | Later = LEFT_OUT

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """Void passes: no pass before this counts, and no setting of a binding is known."""
        if self.passes != "void":
            return
        for tag, passed in state.execute("SELECT tag, pass_entry FROM standing").fetchall():
            facts = facts_of(state, tag)
            not_known(facts)
            if passed:
                work_done(facts, entry, what="a restore of the ledger")
            store(state, facts, entry)

    def names_in_state(self, state: sqlite3.Connection) -> Iterator[str]:
        """Every pair, where passes are void: its record as of a later day, and its case, must know it."""
        if self.passes == "void":
            yield from (tag for (tag,) in state.execute("SELECT tag FROM standing"))


class StateRebuilt(OnRecord, frozen=True, kw_only=True):
    """Rows of the state differed from the entries and were made anew.

    rows: how many
    """

    WHAT = "state rebuilt"
    rows: int


class DayConfirmed(OnRecord, frozen=True, kw_only=True):
    """A listed person says after a long silence that the machine's clock is right.

    newest: when the newest entry before it was made (UTC text)
    """

    WHAT = "day confirmed"
    newest: str


class MendedTimes(EntryPart, frozen=True, kw_only=True):
    """The times of one pair, as its entries give them with the clock set right (UTC text, "" for never).

    tag: the pair
    place_at: since when it is where it is
    out_at: when it went out
    return_at: when it came back
    work_at: the newest work
    fault_at: the newest fault
    unfinished_at: the newest look that reached not every piece
    pass_at: the newest pass
    glued_at: the newest glue
    stands: what each piece stands at, and since when, as JSON
    days_out: days out since its pass
    days_hired: days out in all
    glue: of each use of glue the entry, the hour from which it cures, and the stated one
    tests: of each release test the entry and the time
    """

    tag: PairTag
    place_at: str
    out_at: str
    return_at: str
    work_at: str
    fault_at: str
    unfinished_at: str
    pass_at: str
    glued_at: str
    stands: str
    days_out: int
    days_hired: int
    glue: tuple[tuple[int, str, str], ...]
    tests: tuple[tuple[int, str], ...]


NOT_COLUMNS = ("glue", "tests")
"""The fields of `MendedTimes` that are rows of other tables than `standing`."""


class ClockMended(Event, frozen=True, kw_only=True):
    """A clock was wrong while a run of entries was made; what was wrong with it is the note.

    The entries stay as they are. An hour that a person typed with one of them stays too.

    first: the first entry of the run
    last: the last one
    seconds: how much later than written it was; negative for a clock that was ahead
    pairs: the times of each pair that the run names
    """

    WHAT = "clock mended"
    REPLAY = Replay.ITS_PAIR
    first: int
    last: int
    seconds: int
    pairs: tuple[MendedTimes, ...]

    def change(self, state: sqlite3.Connection, entry: Entry) -> None:
        """Only times change: by number, no pass slips over what came after it."""
        for times in self.pairs:
            tag, said = times.tag, times.body()
            state.execute("DELETE FROM glue WHERE tag = ?", (tag,))
            for seq, at, stated in times.glue:
                insert(state, "glue", {"entry": seq, "tag": tag, "at": at, "stated": stated})
            for seq, at in times.tests:
                state.execute("UPDATE release_test SET at = ? WHERE entry = ?", (at, seq))
            facts = facts_of(state, tag) | {key: said[key] for key in said if key not in NOT_COLUMNS}
            store(state, facts, entry)
