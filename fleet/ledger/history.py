"""The fleet as it was: entries up to one of them, replayed in memory; and every entry about one pair.

"As of a day" means: as the shop *knew* it at the end of that day. What was entered later about an
earlier time is not in that picture, and is listed beside it.
"""

import contextlib
import sqlite3
from collections.abc import Collection, Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any, Final

from fleet.base.days import day_text, midnight
from fleet.base.entries import Body, Entry, Head, utc_text
from fleet.base.errors import BadInput, MountbookError, Refused, did_you_mean
from fleet.base.typed_text import HAS_TEXTS, note_in, texts_in
from fleet.checks.derived import empty_state
from fleet.events import KINDS, derive, event_of
from fleet.events.event import Replay
from fleet.events.movement import CaseMade
from fleet.events.pairs import rename_rows
from fleet.facts.boots import Boot
from fleet.facts.notes import Note, on_boot, on_pair
from fleet.facts.pairs import Binding, Pair
from fleet.facts.standing import REMOVED, BindingSetting, read_setting
from fleet.facts.tags import names_of
from fleet.ledger.ledger import Ledger, named_entries, read_entries
from fleet.tables.connection import AMONG, among
from fleet.tables.snapshot import Fleet, read_bindings, read_fleet, read_notes, read_pairs

_OWN: Final = frozenset(what for what, kind in KINDS.items() if kind.REPLAY is not Replay.NOTHING)
"""Kinds that change what the ledger says of the pair they name."""
_PASSING: Final = frozenset(what for what, kind in KINDS.items() if kind.REPLAY is Replay.OTHER_PAIRS)
"""Kinds that may pass something (a binding, an open order) from one pair to another."""


def state_at(ledger: Ledger, entry: int) -> sqlite3.Connection:
    """Return the state tables as of entry ``entry``, with its number and hash as the head.

    Raises BadInput for an entry that is not there.
    """
    if not 1 <= entry <= ledger.head.seq:
        raise BadInput(
            f"there is no entry {entry}; the newest is {ledger.head.seq}", cure="name an entry of this ledger"
        )
    state = empty_state()
    state.execute("CREATE TABLE entries (seq INTEGER PRIMARY KEY, hash TEXT NOT NULL)")
    state.execute("CREATE TABLE notes (seq INTEGER PRIMARY KEY, text TEXT, redacted_by INTEGER)")
    for one in ledger.entries(until=entry):
        derive(state, one)
        state.execute("INSERT INTO entries VALUES (?, ?)", (one.seq, one.hash))
    # free text is not replayed, but what stands in a field is, as it is kept today
    texts = f"SELECT seq, text, redacted_by FROM notes WHERE seq <= ? AND (text IS NULL OR {HAS_TEXTS})"
    state.executemany("INSERT INTO notes VALUES (?, ?, ?)", ledger.connection.execute(texts, (entry,)))
    return state


def pair_state_at(ledger: Ledger, tag: str, head: Head) -> sqlite3.Connection:
    """Return the state of ONE pair and its bindings as `state_at` does, from the entries that concern them.

    Other rows of these tables are not what they were: other pairs come in only as far as bindings and
    orders went from one to the other. If the entries found so do not follow from each other, all are read.
    """
    state = empty_state()
    try:
        for entry in entries_concerning(ledger.connection, tag, until=head.seq):
            derive(state, entry)
        state.execute("SELECT 1 FROM standing")  # rows that were held are written, or refused, here
    except (MountbookError, ValueError, KeyError, TypeError, sqlite3.Error):
        state.close()
        return state_at(ledger, head.seq)
    return state


def entries_concerning(connection: sqlite3.Connection, tag: str, *, until: int) -> list[Entry]:
    """Return the pair's own entries, and those of other things that a binding or an order joined it with."""
    found: dict[int, Entry] = {}
    own = names_of(connection, tag)
    known, open_names = {*own}, [*own]
    while open_names:
        name = open_names.pop()
        kinds = _OWN if name in own else _PASSING
        for entry, *_ in named_entries(connection, name, until=until):
            if entry.what in kinds and entry.seq not in found:
                found[entry.seq] = entry
                fresh = event_of(entry).names() - known
                known |= fresh
                open_names += fresh
    return [found[seq] for seq in sorted(found)]


def fleet_at(ledger: Ledger, entry: int, *, called_today: bool = False) -> Fleet:
    """Return the fleet as of entry ``entry``; ``called_today``: by the tags that its pairs have today."""
    with closing(state_at(ledger, entry)) as state:
        query = "SELECT old, new FROM renamed WHERE entry > ?"
        for old, new in ledger.connection.execute(query, (entry,)) if called_today else ():
            rename_rows(state, old, new)
        return read_fleet(state)


_NEWEST: Final = 2**62


@dataclass(frozen=True, slots=True, kw_only=True)
class NotedEntry:
    """One entry with what people typed, as it is ``kept``: None where there is nothing or it was blanked."""

    entry: Entry
    kept: str | None = None
    blanked_by: int | None = None

    @property
    def note(self) -> str | None:
        """The free text; None where there is none, it was blanked, or it is only a case's salt."""
        return None if self.entry.what == CaseMade.WHAT else note_in(self.kept)

    @property
    def body(self) -> Body:
        """The body with the typed texts in their places."""
        body: Body = texts_in(self.entry.body, self.kept, self.blanked_by)
        return body


@dataclass(frozen=True, slots=True, kw_only=True)
class _History:
    """The entries about a thing that stood in a shop at ``head``, and the notes that stood on it."""

    head: Head
    zone: str
    as_of: date | None
    entries: tuple[NotedEntry, ...]
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PairHistory(_History):
    """A pair as it stood at ``head``, and the entries about it, oldest first.

    ``later`` holds entries made after that about a time before it; empty for the newest head. ``ever_on``:
    every binding that was on it at some time, as it is known at ``head``. ``stopped``: what was stopped at
    the bench and not ended by then; ``stop_note``: the reason in the words of its entry's note.
    """

    pair: Pair
    bindings: tuple[Binding, ...]
    ever_on: tuple[Binding, ...]
    setting: BindingSetting
    later: tuple[NotedEntry, ...] = ()
    stop_entry: int = 0
    stopped: str = ""
    stop_note: str = ""

    @property
    def stop_why(self) -> str:
        """Return the stop with the reason where one was given; "" if nothing is stopped."""
        return ": ".join(filter(None, (self.stopped, self.stop_note)))


def end_of_day(day: date, zone: str) -> datetime:
    """Return the first moment of the next day by the shop's calendar (aware)."""
    return midnight(day + timedelta(days=1), zone)


def head_before(connection: sqlite3.Connection, moment: datetime) -> Head:
    """Return the newest entry *recorded* before a moment. Raises Refused where there is none.

    Clocks are set back now and then, so a day may begin more than once: the stretches of entries of one
    day each are looked at from the newest on, and only within the moment's own day every entry.
    """
    text = utc_text(moment)
    until = _NEWEST
    for first, day in connection.execute("SELECT entry, day FROM day_begun ORDER BY entry DESC"):
        if day <= text[:10]:
            row = connection.execute(
                "SELECT seq, hash FROM entries WHERE seq >= ? AND seq < ? AND recorded_at_utc < ?"
                " ORDER BY seq DESC LIMIT 1",
                (first, until, text),
            ).fetchone()
            if row is not None:
                return Head(*row)
        until = first
    raise Refused("the ledger was not open yet on that day", cure="name a later day")


@contextmanager
def _state_of_pair(ledger: Ledger, tag: str, head: Head) -> Iterator[sqlite3.Connection]:
    """Yield tables like `state_at`, right for this pair and its bindings only, without reading every
    entry.
    """
    if head == ledger.head:
        with ledger.reading() as connection:
            yield connection
        return
    with contextlib.closing(pair_state_at(ledger, tag, head)) as memory:
        yield memory


def pair_history(ledger: Ledger, tag: str, *, as_of: date | None = None) -> PairHistory:
    """Return everything about one pair, today or as the shop knew it at the end of a day.

    Raises Refused where the pair was not in the ledger (yet).
    """
    zone = ledger.zone
    head = ledger.head if as_of is None else head_before(ledger.connection, end_of_day(as_of, zone))
    names = names_of(ledger.connection, tag)
    found = tuple(entries_about(ledger.connection, tag))
    was_on = {
        name for one in found if one.entry.seq <= head.seq for name in _bindings_of(one.entry.body, names)
    }
    with _state_of_pair(ledger, names[0], head) as state:
        pairs = {name: pair for each in names for name, pair in read_pairs(state, each).items()}
        if not pairs:
            raise _unknown(ledger, names[0], as_of)
        (tag,) = pairs  # as it was called then
        ever_on = tuple(read_bindings(state, tag, ids=was_on).values())
        stop_entry, stopped = state.execute(
            "SELECT stop_entry, stop_why FROM standing WHERE tag = ?", (tag,)
        ).fetchone()
        setting = read_setting(state, tag)
    bindings = tuple(binding for binding in ever_on if binding.on_pair == tag)
    stop_notes = [
        one.note or REMOVED
        for one in found
        if one.entry.seq == stop_entry and (one.note is not None or one.blanked_by is not None)
    ]
    limit = utc_text(end_of_day(as_of, zone)) if as_of is not None else ""
    return PairHistory(
        pair=pairs[tag],
        bindings=bindings,
        ever_on=ever_on,
        setting=setting,
        head=head,
        zone=zone,
        as_of=as_of,
        entries=tuple(one for one in found if one.entry.seq <= head.seq),
        stop_entry=stop_entry,
        stopped=stopped,
        stop_note=stop_notes[0] if stop_notes else "",
        notes=on_pair(_notes_at(ledger.connection, head), tag, binding_ids=[b.binding_id for b in bindings]),
        later=tuple(one for one in found if one.entry.seq > head.seq and one.entry.stated_at_utc < limit),
    )


def _notes_at(connection: sqlite3.Connection, head: Head) -> Iterator[Note]:
    """Yield the notes as they stood at that entry, with the texts as they are kept today."""
    for note in read_notes(connection, where="entry <= ?", args=(head.seq,)):
        yield replace(
            note,
            answer_entry=note.answer_entry if note.answer_entry <= head.seq else 0,
            ended_entry=note.ended_entry if note.ended_entry <= head.seq else 0,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class BootHistory(_History):
    """A boot as it stood at ``head``, the notes that stood on it, and the entries about it, oldest first."""

    boot: Boot


def boot_history(ledger: Ledger, tag: str, *, as_of: date | None = None) -> BootHistory:
    """Return everything about one boot, today or as the shop knew it at the end of a day.

    Raises Refused where the boot was not in the ledger (yet).
    """
    zone = ledger.zone
    head = ledger.head if as_of is None else head_before(ledger.connection, end_of_day(as_of, zone))
    now = head == ledger.head
    fleet = read_fleet(ledger.connection, pairs=()) if now else fleet_at(ledger, head.seq)
    return BootHistory(
        boot=fleet.boot(tag),
        notes=on_boot(_notes_at(ledger.connection, head), tag),
        head=head,
        zone=zone,
        as_of=as_of,
        entries=tuple(one for one in entries_about_boot(ledger.connection, tag) if one.entry.seq <= head.seq),
    )


def entries_about_boot(connection: sqlite3.Connection, tag: str) -> Iterator[NotedEntry]:
    """Yield every entry that names the boot, in order, and those about one of these."""
    found = connection.execute(
        "SELECT entry FROM boot_entry WHERE tag = ?1"
        " UNION SELECT entry_about.entry FROM entry_about JOIN thing_note ON about = thing_note.entry"
        " WHERE boot = ?1 ORDER BY 1",
        (tag,),
    )
    yield from (noted_entry(connection, seq) for (seq,) in found.fetchall())


def entries_about(connection: sqlite3.Connection, tag: str) -> Iterator[NotedEntry]:
    """Yield every entry about the pair, in order.

    These are the entries that name the pair, its holes or orders, or a binding ever on it, and those about
    one of these: a withdrawal, a remark, a blanked note, and remarks on them in turn. An order that was to
    take a binding off the pair is included with its end: until then the pair may not go out.
    """
    names = names_of(connection, tag)
    found = _entries_naming(connection, names)
    found |= _entries_naming(
        connection, {name for one in found.values() for name in _bindings_of(one.entry.body, names)}
    )
    # an end names the order's number, not its giver; what an index row holds never changes (fleet/migrations)
    ends = f"SELECT closed_entry FROM work_order WHERE giver {AMONG} AND closed_entry IS NOT NULL"
    ended = connection.execute(ends, among(names)).fetchall()
    found |= {seq: noted_entry(connection, seq) for (seq,) in ended}
    open_ones = list(found)
    while open_ones:
        query = "SELECT entry FROM entry_about WHERE about = ?"
        for (seq,) in connection.execute(query, (open_ones.pop(),)).fetchall():
            if seq not in found:
                found[seq] = noted_entry(connection, seq)
                open_ones.append(seq)
    yield from (found[seq] for seq in sorted(found))


def _entries_naming(connection: sqlite3.Connection, names: Iterable[str]) -> dict[int, NotedEntry]:
    return {
        entry.seq: NotedEntry(entry=entry, kept=note, blanked_by=by)
        for name in names
        for entry, note, by in named_entries(connection, name)
    }


def noted_entry(connection: sqlite3.Connection, seq: int) -> NotedEntry:
    """Return one entry with its free text."""
    (entry,) = read_entries(connection, after=seq - 1, until=seq)
    row = connection.execute("SELECT text, redacted_by FROM notes WHERE seq = ?", (seq,)).fetchone()
    return NotedEntry(entry=entry, kept=row[0] if row else None, blanked_by=row[1] if row else None)


def _bindings_of(body: Any, tags: Collection[str]) -> Iterator[str]:
    """Yield ids of bindings that an entry put on the pair, or took from it."""
    named = (body.get("on_pair"), *(body.get("changes") or {}).get("on_pair", ()))
    if any(tag in named for tag in tags):
        yield body["binding_id"]
    for row in body.get("bindings") or ():
        yield row["binding_id"]


def _unknown(ledger: Ledger, tag: str, as_of: date | None) -> Refused:
    tags = [row[0] for row in ledger.connection.execute("SELECT tag FROM pair ORDER BY tag")]
    if as_of is not None and tag in tags:
        return Refused(f"pair {tag} was not in the ledger yet on {day_text(as_of)}", cure="name a later day")
    return Refused(f"there is no pair {tag} in the ledger", cure=did_you_mean(tag, tags, "check the tag"))
