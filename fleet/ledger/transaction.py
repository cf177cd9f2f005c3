"""A transaction: the entries of one human action, and the state that follows from each."""

import secrets
import sqlite3
from collections import Counter
from collections.abc import Iterable
from datetime import datetime, timedelta
from operator import itemgetter
from typing import Any, Final

from fleet.base.entries import (
    GENESIS,
    Body,
    Entry,
    Head,
    canonical_json,
    checked_name,
    checked_text,
    entry_hash,
    name_key,
    note_digest,
    utc_text,
)
from fleet.base.errors import BadInput, Refused, or_bad_input
from fleet.base.kept_names import NamesToKeep, is_mark, listing, places_in
from fleet.base.typed_text import kept_text
from fleet.events import KINDS, derive
from fleet.events.corrections import NameRemoved, NoteBlanked
from fleet.events.event import TAP, Event, Tap
from fleet.events.typed import names_apart, texts_apart
from fleet.tables.connection import LedgerConnection

CLOCK_SLACK: Final = timedelta(minutes=2)
"""The time by which a stated time may be ahead of the clock: two counters' clocks are never quite alike."""


class Transaction:
    """Entries that are kept together or not at all; `Ledger.transaction` makes and closes it.

    ``tap``: the action on a page that this is, None for a command's; ``head``: the newest entry that it sees;
    ``connection``: for reading inside of it (rules look at the state before they append).
    """

    def __init__(
        self, connection: LedgerConnection, *, by: str, now: datetime, zone: str, tap: Tap | None = None
    ) -> None:
        self.tap = tap
        self.connection = connection
        self._names = NamesToKeep(connection)
        self._by = self._as_listed(_named(by))
        self._now = now
        self._recorded = utc_text(now)
        self._zone = zone
        row = connection.execute("SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1").fetchone()
        self.head = Head(*row) if row else Head(0, GENESIS)

    def enter(
        self,
        event: Event | str,
        body: Body | None = None,
        /,
        *,
        stated_at: datetime | None = None,
        note: str = "",
        by: str = "",
        carried: bool = False,
    ) -> int:
        """Append one entry, derive its state, and return its number.

        ``event`` is what it says, or the words of its kind with a ``body``, which is then read as that kind.
        ``stated_at`` is a time entered later than it happened; ``note`` is free text kept apart;
        ``by`` overrides the transaction's name (a second signer). ``carried``: another file of this ledger
        took that time already, so the clock, which may have been set back since, is not asked. Raises
        MountbookError for nonsense and for what the rules refuse; then nothing of this entry remains, and
        the caller decides about the rest (leaving the transaction by the exception takes all of it back).
        """
        written, body_json, salt, note = self._made(
            event, body, stated_at=stated_at, note=note, by=by, carried=carried
        )
        self.connection.execute("SAVEPOINT entry")
        try:
            with self.connection.unlatched():
                self._keep(written, body_json, salt=salt, note=note)
        except BaseException:
            if self.connection.in_transaction:  # a full disk has taken everything back already
                self.connection.execute("ROLLBACK TO entry")
                self.connection.execute("RELEASE entry")
            raise
        self.connection.execute("RELEASE entry")
        return self.head.seq

    def enter_all(self, events: Iterable[tuple[Event, str]]) -> None:
        """Append many entries, each with its note, as `enter` does one, and faster.

        What is raised for one of them leaves the others half done: leave the transaction by it.
        """
        self._names.begin()
        with self.connection.unlatched(), self.connection.holding():
            for number, (event, text) in enumerate(events):
                written, body_json, salt, note = self._made(event, note=text, alone=False)
                self._keep(written, body_json, salt=salt, note=note, same_day=number > 0)

    def _made(
        self,
        event: Event | str,
        body: Body | None = None,
        /,
        *,
        stated_at: datetime | None = None,
        note: str = "",
        by: str = "",
        carried: bool = False,
        alone: bool = True,
    ) -> tuple[dict[str, Any], str, str, str]:
        """Return the next entry without its body, that as JSON, the salt and the note; nothing is written."""
        what = event if isinstance(event, str) else event.WHAT
        try:
            said = event.body() if isinstance(event, Event) else (body or {})
            if self.tap is not None:
                said = said | {TAP: self.tap.body()}
            if what in KINDS:
                said, texts = texts_apart(KINDS[what], said, self.head.seq + 1)
                note = kept_text(note, texts)
            if stated_at is not None and stated_at > self._now + CLOCK_SLACK and not carried:
                raise ValueError(
                    f"the time {utc_text(stated_at)} has not come yet (the clock here says {self._recorded})"
                )
            self._names.begin(looks=alone)
            return *self._entry(what, said, stated_at=stated_at, note=note, by=by), note
        except (ValueError, TypeError) as fault:
            raise BadInput(f"{what} cannot be entered: {fault}", cure=_CURE) from fault

    def _keep(
        self, written: dict[str, Any], body_json: str, *, salt: str, note: str, same_day: bool = False
    ) -> None:
        try:
            self.connection.execute(_INSERT, _COLUMNS(written | {"body": body_json}))
            if note:
                self.connection.execute("INSERT INTO notes VALUES (?,?,?,NULL)", (written["seq"], salt, note))
            if self._names.new:
                self.connection.executemany("INSERT INTO names VALUES (?,?,?,?,?,?,?)", self._names.new)
            # Read back from its own text: a handler must see what a rebuild will see.
            said = self._names.said
            entry = Entry(**written | {"by": said.of(written["by"]), "body": said.body(body_json)})
            derive(self.connection, entry, same_day=same_day)
        except _NONSENSE as fault:
            if isinstance(fault, UnicodeDecodeError):
                raise
            raise BadInput(f"{written['what']} cannot be entered: {_said(fault)}", cure=_CURE) from fault
        self.head = Head(written["seq"], written["hash"])

    def blank_note(self, seq: int, *, why: str = "") -> int:
        """Blank the free text of entry ``seq`` by a visible entry, and return that entry's number.

        The hash of the text stays in the chain; text and salt are overwritten in the file. Raises
        Refused where there is no text to blank. Older backups still hold it.
        """
        row = self.connection.execute("SELECT text FROM notes WHERE seq = ?", (seq,)).fetchone()
        if row is None:
            raise Refused(
                f"entry {seq} has no note: nothing that a person typed freely is kept with it",
                cure="see the numbers in `mountbook ski PAIR`; a person's name is taken out of all entries by"
                " mountbook redact --person NAME",
            )
        if row[0] is None:
            raise Refused(f"the note of entry {seq} is blanked already")
        blanking = self.enter(NoteBlanked(entry=seq), note=why)
        with self.connection.unlatched():
            self.connection.execute(
                "UPDATE notes SET text = NULL, salt = '', redacted_by = ? WHERE seq = ?", (blanking, seq)
            )
        return blanking

    def take_name_out(self, name: str, *, why: str = "") -> int:
        """Take the name of a person out by a visible entry, and return that entry's number.

        ``name``: the person's first name as it is kept. Texts and salts of all its spellings are overwritten;
        every entry reads as the mark then, so the caller derives the state again.
        """
        removing = self.enter(NameRemoved(name=name), note=why)
        with self.connection.unlatched():
            self.connection.execute(
                "UPDATE names SET text = NULL, salt = '', removed_by = ?1 WHERE text IS NOT NULL AND person ="
                " (SELECT json_extract(body, '$.name') FROM entries WHERE seq = ?1)",
                (removing,),
            )
        return removing

    def _entry(
        self, what: str, body: Body, *, stated_at: datetime | None, note: str, by: str
    ) -> tuple[dict[str, Any], str, str]:
        seq = self.head.seq + 1
        placed: list[str] = []

        def place(name: str) -> str:
            placed.append(self._names.place(name, seq))
            return placed[-1]

        signed = self._names.place(self._as_listed(checked_name(by)) if by else self._by, seq)
        if what in KINDS:
            body = names_apart(KINDS[what], body, place)
        body_json = canonical_json(body | listing(self._names.new))
        found = places_in(body_json)
        if found and (typed := Counter(found) - Counter(placed)):
            raise BadInput(
                f"{what} cannot be entered: {next(iter(typed))!r} is how the ledger itself says a name",
                cure="write it otherwise; nothing was entered",
            )
        salt = secrets.token_hex(16) if note else ""
        said: dict[str, Any] = {
            "seq": seq,
            "recorded_at_utc": self._recorded,
            "stated_at_utc": utc_text(stated_at) if stated_at is not None else self._recorded,
            "zone": self._zone,
            "by": signed,
            "what": what,
            "note_hash": note_digest(salt, checked_text(note)) if note else None,
            "prev_hash": self.head.hash,
        }
        said["hash"] = entry_hash(body_json=body_json, **said)
        return said, body_json, salt

    def _as_listed(self, name: str) -> str:
        """Return the name as the staff list spells it, so that one person has one name in the ledger."""
        key = name_key(name)
        rows = self.connection.execute("SELECT name FROM staff ORDER BY entry DESC")
        return next((checked_name(row[0]) for row in rows if name_key(row[0]) == key), name)


_INSERT: Final = "INSERT INTO entries VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
_COLUMNS: Final = itemgetter(
    *("seq", "recorded_at_utc", "stated_at_utc", "zone", "by", "what", "body"),
    *("note_hash", "prev_hash", "hash"),
)
"""The columns of `entries`, in the table's order: by place, a row is written twice as fast as by name."""
_CURE: Final = "check what was given; nothing was entered"
_NONSENSE = (ValueError, TypeError, KeyError, AttributeError, OverflowError, sqlite3.IntegrityError)


def _said(fault: BaseException) -> str:
    return f"{fault.args[0]!r} is missing" if isinstance(fault, KeyError) and fault.args else str(fault)


def _named(by: str) -> str:
    with or_bad_input(cure="say who acts with --by NAME"):
        name = checked_name(by)
    if is_mark(name):
        raise BadInput(
            f"{name!r} is no name", cure="it stands for a name that was taken out; sign with your own"
        )
    return name
