"""The hash chain: each entry follows from the one before, and each note belongs to its entry.

The quick form, at every open: under 50 ms at 100,000 entries (tests/bench/ledger_open.py). It compares the
schema word for word, checks the newest entries link by link and a spread of older ones. A single change far
back can slip past it; the full form (`fleet.audit.full`) reads everything.
"""

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, NamedTuple

from fleet.base.entries import GENESIS, Entry, entry_hash, fact_in, note_digest
from fleet.base.errors import LedgerFault
from fleet.base.kept_names import NamesSaid, is_mark, listed_in, place_of, read_names
from fleet.checks.findings import AuditFinding, bad
from fleet.tables.connection import reading
from fleet.tables.layout import APPLICATION_ID, LAYOUT, Thing, found_things, layout_things, marks_of

_QUERY: Final = (
    "SELECT e.seq, e.recorded_at_utc, e.stated_at_utc, e.zone, e.by, e.what, e.body, e.note_hash,"
    " e.prev_hash, e.hash, n.seq, n.salt, n.text, n.redacted_by"
    " FROM entries AS e LEFT JOIN notes AS n ON n.seq = e.seq"
    " WHERE e.seq > ? AND e.seq <= ? ORDER BY e.seq LIMIT ?"
)
_AT_ONCE: Final = 500


class Link(NamedTuple):
    """An entry as the file has it, damaged or not, with its note."""

    seq: int
    recorded_at_utc: Any
    stated_at_utc: Any
    zone: Any
    by: Any
    what: Any
    body: Any
    note_hash: Any
    prev_hash: Any
    hash: Any
    note_seq: Any
    salt: Any
    text: Any
    redacted_by: Any

    def fault(self, *, after: int, prev_hash: str | None) -> str | None:
        """Return what is wrong with this entry, given the one before it; None if nothing is.

        ``prev_hash`` None: the one before was not read, so only the entry itself is looked at.
        """
        if self.seq != after + 1:
            return f"stands where entry {after + 1} is missing"
        if prev_hash is not None and self.prev_hash != prev_hash:
            return f"does not follow from entry {after}: one of them was changed"
        try:
            digest = entry_hash(
                seq=self.seq,
                recorded_at_utc=self.recorded_at_utc,
                stated_at_utc=self.stated_at_utc,
                zone=self.zone,
                by=self.by,
                what=self.what,
                body_json=self.body,
                note_hash=self.note_hash,
                prev_hash=self.prev_hash,
            )
        except (TypeError, ValueError):  # bytes, or text that is no UTF-8
            return "was changed: it is not text any more"
        if digest != self.hash:
            return "was changed since it was written"
        return self._note_fault()

    def _note_fault(self) -> str | None:
        if self.note_hash is None:
            return None if self.note_seq is None else "has a note now that it was not written with"
        if self.note_seq is None:
            return "has lost its note"
        if self.text is None:
            blanked = self.redacted_by is not None and self.salt == ""
            return None if blanked else "has lost the text of its note"
        try:
            digest = note_digest(self.salt, self.text)
        except (TypeError, ValueError):
            return "has a note that was changed"
        if digest != self.note_hash or self.redacted_by is not None:
            return "has a note that was changed"
        return None

    def entry(self, names: NamesSaid) -> Entry:
        """As a value with the names that it says, once `fault` found nothing. Raises ValueError if the body
        is no JSON object.
        """
        body = names.body(self.body)
        if not isinstance(body, dict):
            raise ValueError("the body is no JSON object")
        return Entry(
            seq=self.seq,
            recorded_at_utc=self.recorded_at_utc,
            stated_at_utc=self.stated_at_utc,
            zone=self.zone,
            by=names.of(self.by),
            what=self.what,
            body=body,
            note_hash=self.note_hash,
            prev_hash=self.prev_hash,
            hash=self.hash,
        )


def links(connection: sqlite3.Connection, *, after: int, until: int) -> Iterator[Link]:
    """The entries from ``after + 1`` to ``until`` as the file has them.

    Sound ones are read some hundreds at a time, as the text that they should be; from the first that is
    not, one by one.
    """
    while after < until:
        rows = _at_once(connection, after, until)
        if not rows or rows[-1][0] != after + len(rows):
            yield from map(Link._make, connection.execute(_QUERY, (after, until, -1)))
            return
        yield from map(Link._make, rows)
        after += len(rows)


def checked_links(
    connection: sqlite3.Connection, *, after: int, until: int, prev_hash: str = GENESIS
) -> Iterator[tuple[Link, str | None]]:
    """The same, each with what is wrong with it; ``prev_hash``: the hash of entry ``after``."""
    for link in links(connection, after=after, until=until):
        yield link, link.fault(after=after, prev_hash=prev_hash)
        after, prev_hash = link.seq, link.hash


def _at_once(connection: sqlite3.Connection, after: int, until: int) -> list[tuple[Any, ...]]:
    factory, connection.text_factory = connection.text_factory, str
    try:
        return connection.execute(_QUERY, (after, until, _AT_ONCE)).fetchall()
    except sqlite3.Error:
        return []
    finally:
        connection.text_factory = factory


def blanking_faults(connection: sqlite3.Connection, *, after: int, until: int) -> Iterator[AuditFinding]:
    """Notes of these entries that are gone without an entry that says so."""
    for seq, by, what, body in connection.execute(
        "SELECT n.seq, n.redacted_by, e.what, e.body FROM notes AS n LEFT JOIN entries AS e"
        " ON e.seq = n.redacted_by WHERE n.text IS NULL AND n.seq > ? AND n.seq <= ?",
        (after, until),
    ):
        if what != "note blanked" or fact_in(body, "entry") != seq:
            yield bad(
                "note lost", f"the note of entry {seq} is gone and entry {by} does not say so", entry=seq
            )


def rows_beside(connection: sqlite3.Connection, *, after: int) -> Iterator[AuditFinding]:
    """Report rows outside the numbering of the chain, which nothing that follows the chain would meet."""
    for (seq,) in connection.execute("SELECT seq FROM entries WHERE seq < 1 ORDER BY seq LIMIT 3"):
        yield bad("beside the chain", f"there is a row numbered {seq}, and the first entry is 1", entry=seq)
    query = "SELECT seq FROM notes WHERE {} seq NOT IN (SELECT seq FROM entries) ORDER BY seq LIMIT 3"
    for (seq,) in connection.execute(query.format(f"seq > {after} AND" if after else "")):
        yield bad("beside the chain", f"there is a note of entry {seq}, and no such entry", entry=seq)


def name_faults(connection: sqlite3.Connection) -> Iterator[AuditFinding]:
    """Names that are not those which their entries list, or that are gone without an entry that says so."""
    listed: dict[int, dict[str, str]] = {}
    persons = {row.place: row for row in read_names(connection)}
    for row in persons.values():
        if row.seq not in listed:
            found = connection.execute("SELECT body FROM entries WHERE seq = ?", (row.seq,)).fetchone()
            said = listed_in(found[0]) if found else []
            listed[row.seq] = {place_of(number, row.seq): each for number, each in enumerate(said, start=1)}
        if listed[row.seq].get(row.place) != row.listed:
            yield bad(
                "name changed", f"a name is kept as {row.place}, and the entry lists none such", entry=row.seq
            )
        elif row.text is not None and (row.removed_by or note_digest(row.salt, row.text) != row.digest):
            yield bad("name changed", f"{row.place} was changed since it was written", entry=row.seq)
        elif row.text is None and not (row.salt == "" and _said_so(connection, row.removed_by, row.person)):
            by = row.removed_by
            yield bad("name lost", f"{row.place} is gone and entry {by} does not say so", entry=row.seq)
    for row in persons.values():
        first = persons.get(row.person)
        if first is None or (first.text is None) != (row.text is None):
            yield bad(
                "name came back", f"{row.person} was taken out, yet {row.place} is there", entry=row.seq
            )


def _said_so(connection: sqlite3.Connection, seq: int | None, person: str) -> bool:
    row = connection.execute("SELECT what, body FROM entries WHERE seq = ?", (seq,)).fetchone()
    return row is not None and row[0] == "name removed" and fact_in(row[1], "name") == person


def lost_names(connection: sqlite3.Connection, link: Link) -> str | None:
    """Return what is wrong with the names that a sound entry is the first to say."""
    for number in range(1, len(listed_in(link.body)) + 1):
        place = place_of(number, link.seq)
        if not connection.execute("SELECT 1 FROM names WHERE place = ?", (place,)).fetchone():
            return f"has lost {place}"
    return None


def about_faults(connection: sqlite3.Connection, entry: Entry) -> Iterator[AuditFinding]:
    """Return what is wrong with an entry about another entry, read beside it: a misquote, a note still
    there.
    """
    about = entry.body.get("entry")
    if entry.what == "note blanked":
        row = connection.execute("SELECT text FROM notes WHERE seq = ?", (about,)).fetchone()
        if row is not None and row[0] is not None:
            yield bad(
                "note came back",
                f"entry {entry.seq} blanked the note of entry {about}, yet it is there",
                entry=about,
            )
    if entry.what == "name removed" and not is_mark(entry.body["name"]):
        yield bad(
            "name came back",
            f"entry {entry.seq} took a name out, yet it is there",
            entry=entry.seq,
        )
    if entry.what == "entry withdrawn":
        row = connection.execute("SELECT what, body FROM entries WHERE seq = ?", (about,)).fetchone()
        quoted = (entry.body["what"], entry.body["body"])
        if row is None or (row[0], NamesSaid(connection).body(row[1])) != quoted:
            yield bad("misquoted", f"entry {entry.seq} quotes entry {about} wrongly", entry=entry.seq)


def readable_damage(raw: bytes) -> str:
    """A text_factory that never raises: bytes that are no UTF-8 stay visible, and never hash right."""
    return raw.decode("utf-8", "surrogateescape")


NEWEST: Final = 64
"""So many of the newest entries are checked link by link."""
SPREAD: Final = 64
"""So many older ones, evenly spread, are each checked against the one before."""

_CURE: Final = "see `mountbook audit`, then `mountbook restore` the newest good backup"


def quick_check(connection: sqlite3.Connection, path: Path) -> None:
    """Raise LedgerFault, one sentence, for the first thing that is wrong."""
    _one_file(connection, path)
    with reading(connection):
        if marks_of(connection) != (APPLICATION_ID, LAYOUT):
            raise LedgerFault(f"{path} is damaged: its marks were changed", cure=_CURE)
        _schema(connection, path)
        factory, connection.text_factory = connection.text_factory, readable_damage
        try:
            _chain(connection, path)
        finally:
            connection.text_factory = factory
        if connection.execute("SELECT count(*) FROM shop").fetchone()[0] != 1:
            raise LedgerFault(f"{path} is damaged: it names no shop", cure=_CURE)


def schema_differences(connection: sqlite3.Connection, wanted: frozenset[Thing] | None = None) -> list[str]:
    """Return how the schema differs from the expected one (this layout's if not given), each in a few
    words.
    """
    found, wanted = found_things(connection), layout_things() if wanted is None else wanted
    missing = {str(thing) for thing in wanted - found}
    extra = {str(thing) for thing in found - wanted}
    return (
        [f"{name} was changed" for name in sorted(missing & extra)]
        + [f"{name} is missing" for name in sorted(missing - extra)]
        + [f"{name} was added" for name in sorted(extra - missing)]
    )


def _one_file(connection: sqlite3.Connection, path: Path) -> None:
    """Back to the rollback journal if some tool switched to WAL: the ledger is ONE file to copy."""
    if connection.execute("PRAGMA journal_mode").fetchone()[0] == "wal":
        connection.execute("PRAGMA journal_mode = DELETE")
        if connection.execute("PRAGMA journal_mode").fetchone()[0] == "wal":
            raise LedgerFault(
                f"{path} was switched to another way of writing by a program that still holds it",
                cure="close that program and do it again",
            )


def _schema(connection: sqlite3.Connection, path: Path) -> None:
    differences = schema_differences(connection)
    if differences:
        more = f" (and {len(differences) - 1} more)" if len(differences) > 1 else ""
        raise LedgerFault(f"{path} was altered: {differences[0]}{more}", cure=_CURE)


def _chain(connection: sqlite3.Connection, path: Path) -> None:
    top = connection.execute("SELECT max(seq) FROM entries").fetchone()[0]
    if top is None:
        raise LedgerFault(f"{path} is damaged: it holds no entry", cure=_CURE)
    start = max(top - NEWEST, 0)
    step = max(start // SPREAD, 1)
    for before in range(0, start, step):
        _stretch(connection, path, after=before, until=before + 1)
    _stretch(connection, path, after=start, until=top)


def _stretch(connection: sqlite3.Connection, path: Path, *, after: int, until: int) -> None:
    newest, prev_hash = after, GENESIS
    if after:
        row = connection.execute("SELECT hash FROM entries WHERE seq = ?", (after,)).fetchone()
        if row is None:
            raise LedgerFault(f"{path} is damaged: entry {after} is missing", cure=_CURE)
        prev_hash = row[0]
    for link, fault in checked_links(connection, after=after, until=until, prev_hash=prev_hash):
        if fault:
            raise LedgerFault(f"{path}: entry {link.seq} {fault}", cure=_CURE)
        newest = link.seq
    if newest != until:
        raise LedgerFault(f"{path} is damaged: entry {newest + 1} is missing", cure=_CURE)
