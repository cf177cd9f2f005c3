"""Facts entered after a copy of the ledger was made, read from the file that the copy replaces.

A restore goes back in the records, but nothing goes back in the skis: whoever has a pair out still has
it, and a hold, a quarantine or a hole drilled since is as true as before. What is carried over only ever
stops a pair or takes its pass; what was lifted since is lifted again by a person.
"""

import sqlite3
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from fleet.base.entries import Body, Entry, Head, name_key
from fleet.base.errors import MountbookError
from fleet.base.kept_names import KeptName, NamesSaid, read_names
from fleet.base.typed_text import note_in, said
from fleet.checks.chain import checked_links
from fleet.events import derive
from fleet.events.event import IN_SHOP
from fleet.events.pairs import PairRenamed
from fleet.facts.boots import Boot
from fleet.facts.notes import Note
from fleet.facts.order_numbers import highest, used_numbers
from fleet.facts.pairs import pair_state
from fleet.facts.recalls import Reach, Recall, read_recalls
from fleet.facts.staff import Staff
from fleet.facts.standing import Place
from fleet.facts.tags import names_of
from fleet.ledger.migrations.bring_up import derive_anew
from fleet.tables.connection import connect_copy, trust
from fleet.tables.snapshot import read_bindings, read_boots, read_notes, read_staff, rows_by_name
from fleet.tables.sqlite_faults import SQLITE_FAULTS

Row = Mapping[str, Any]
_FAULTS: Final = (*SQLITE_FAULTS, MountbookError, ValueError, KeyError, TypeError, AttributeError)
_HANDS: Final = frozenset(
    {"order plugged", "order done", "order stopped"}
    | {"holes recorded", "hole changed", "mount recorded", "mount removed"}
)
"""Kinds that tell of a hand at a ski, unless a file brought them in: a restore is there to take that back."""
_GOES_ALONG: Final = frozenset(
    {"pair out", "pair back", "pair looked at", "pair held", "pair quarantined", "pair moved", "due changed"}
    | {"repair begun", "repair done", "partner lost", "pair carried over", "recall opened", "staff listed"}
    | {
        "name removed",
        "ski closed",
        "ski fault found",
        "binding set",
        "boot held",
        "boot moved",
        "note made",
        "pair renamed",
    }
)
"""Kinds whose effect is carried over, or stopped instead."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplacedFile:
    """The replaced file as it was read, before anything is entered.

    ``complete``: it holds the copy's newest entry, and every entry after it was read and followed, so that
    nothing that came after the copy is unknown. Where it does not, its tables are asked for what they say.

    ``renamed``: renamed since the copy, in order: ``tag``, the tag it had, and ``to``, the one it has.
    ``ordered``: open work orders that the copy does not know, by pair. ``closed``: skis closed since the
    copy, with why: pair -> side -> words. ``in_need``: people listed in need since the copy, by name, each
    with the two who signed that. ``reached``: open recalls that reach a binding of a pair by that file, and
    none by the copy: pair -> recalls. ``rules``: rules, fits, models, soles and failed tests stated since
    the copy, each with its body in full. ``removed``: digests of names that were taken out of that file, and
    stand in the copy. ``numbers``: the highest number of a work order by month, where it was used since the
    copy. ``gone``: the number of entries of each other kind that only the replaced file has.
    """

    complete: bool = False
    head: Head | None = None
    staff: Mapping[str, Staff] = field(default_factory=dict)
    standings: Mapping[str, Row] = field(default_factory=dict)
    notes: Mapping[int, str] = field(default_factory=dict)
    recalls: tuple[Row, ...] = ()
    waiting: tuple[Row, ...] = ()
    renamed: tuple[Row, ...] = ()
    ordered: Mapping[str, str] = field(default_factory=dict)
    touched: frozenset[str] = frozenset()
    worked: frozenset[str] = frozenset()
    closed: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    boots: tuple[tuple[Boot, str], ...] = ()
    noted: tuple[Note, ...] = ()
    in_need: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    reached: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    rules: tuple[tuple[Entry, Body], ...] = ()
    removed: frozenset[str] = frozenset()
    numbers: Mapping[str, int] = field(default_factory=dict)
    gone: Mapping[str, int] = field(default_factory=dict)


def read_replaced_file(
    file: sqlite3.Connection | None, copy: sqlite3.Connection, *, copy_head: Head
) -> ReplacedFile:
    """Read the replaced file (None: there is none, or it is not even a database), beside the open copy."""
    if file is None:
        return ReplacedFile()
    gone = {row["digest"] for row in rows_of(file, "SELECT digest FROM names WHERE text IS NULL")}
    if removed := frozenset(row.digest for row in kept_names_of(copy, gone)):
        with closing(_without_names(copy, removed)) as as_there:
            return replace(_read(file, as_there, copy_head=copy_head), removed=removed)
    return _read(file, copy, copy_head=copy_head)


def kept_names_of(copy: sqlite3.Connection, digests: Collection[str]) -> list[KeptName]:
    """Return the names kept in the copy that have these marks and were not taken out of it."""
    return [row for row in read_names(copy) if row.digest in digests and row.text is not None]


def _without_names(copy: sqlite3.Connection, digests: Collection[str]) -> sqlite3.Connection:
    """Return the copy in memory with these names taken out, as the replaced file has them."""
    memory = connect_copy(copy)
    trust(memory)
    memory.execute("DROP TRIGGER names_only_removed")  # the entry that says so is not in the copy
    for digest in digests:
        memory.execute("UPDATE names SET text = NULL, salt = '' WHERE digest = ?", (digest,))
    derive_anew(memory, Path("the copy"))
    return memory


def _read(file: sqlite3.Connection, copy: sqlite3.Connection, *, copy_head: Head) -> ReplacedFile:
    head = next((Head(row["seq"], row["hash"]) for row in rows_of(file, _NEWEST)), None)
    if head is not None and head.seq < copy_head.seq and _holds(copy, head):
        return ReplacedFile(head=head)  # an older file than the copy: nothing in it is news
    try:
        state, later = _followed(file, copy, copy_head)
    except _FAULTS:
        return _said(file, file, copy, head=head, later=None)
    with closing(state):
        return _said(file, state, copy, head=head, later=later)


_NEWEST: Final = "SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1"


def _followed(
    file: sqlite3.Connection, copy: sqlite3.Connection, copy_head: Head
) -> tuple[sqlite3.Connection, list[Entry]]:
    """Return the state by the replaced file's entries, and the entries after the copy. Raises one of
    `_FAULTS`.
    """
    if not _holds(file, copy_head):
        raise ValueError("the copy is not of this file")
    (newest,) = file.execute("SELECT max(seq) FROM entries").fetchone()
    if file.execute("PRAGMA quick_check(1)").fetchone()[0] != "ok":
        raise ValueError("pages of the file are damaged: later entries may be lost")
    memory, later = connect_copy(copy), []
    trust(memory)
    names = NamesSaid(file)
    with memory.unlatched():
        for link, fault in checked_links(file, after=copy_head.seq, until=newest, prev_hash=copy_head.hash):
            if fault:
                raise ValueError(fault)
            later.append(link.entry(names))
            derive(memory, later[-1])
    return memory, later


def _holds(connection: sqlite3.Connection, head: Head) -> bool:
    row = connection.execute("SELECT hash FROM entries WHERE seq = ?", (head.seq,)).fetchone()
    return row is not None and row[0] == head.hash


def _said(
    file: sqlite3.Connection,
    state: sqlite3.Connection,
    copy: sqlite3.Connection,
    *,
    head: Head | None,
    later: list[Entry] | None,
) -> ReplacedFile:
    standings = {row["tag"]: row for row in rows_of(state, "SELECT * FROM standing")}
    waiting = tuple(rows_of(state, "SELECT * FROM waiting_stop"))
    texts = f"SELECT seq, text FROM notes WHERE text > '' AND seq > {later[0].seq - 1 if later else 0}"
    open_recalls = "SELECT * FROM recall WHERE closed_entry IS NULL ORDER BY recall"
    open_orders = "SELECT number, revision, tag, giver FROM work_order WHERE state = 'open'"
    known = [(row["number"], row["revision"]) for row in rows_of(copy, open_orders)]
    ordered = {
        tag: f"{row['number']} {row['revision']}"
        for row in rows_of(state, open_orders)
        if (row["number"], row["revision"]) not in known
        for tag in (row["tag"], row["giver"])
        if tag
    }
    stated = tuple(_stated(later or []))
    along = {entry.seq for entry in stated}
    reached = _reached(state, copy)
    boots, noted = _things_of(state)
    return ReplacedFile(
        complete=later is not None,
        head=head,
        staff=read_staff(state) if later is not None else {},
        standings=standings,
        notes={row["seq"]: note_in(row["text"]) or "" for row in rows_of(file, texts)},
        recalls=tuple(said(file, row) for row in rows_of(state, open_recalls)),
        waiting=waiting,
        renamed=tuple(
            rows_of(state, 'SELECT old AS tag, new AS "to" FROM renamed ORDER BY entry')
            if later is None
            else (entry.body for entry in later if entry.what == PairRenamed.WHAT)
        ),
        ordered=ordered,
        touched=frozenset(standings)
        if later is None
        else _named(state, later) | ordered.keys() | reached.keys(),
        worked=frozenset() if later is None else _worked(state, copy, later),
        closed=_closed(state, copy),
        boots=boots,
        noted=noted,
        in_need={
            name_key(e.body["name"]): (e.body.get("first", e.by), e.body["second"])
            for e in later or ()
            if e.what == "staff listed" and "second" in e.body
        },
        reached=reached,
        rules=tuple((entry, said(file, entry.body)) for entry in stated),
        numbers={} if later is None else _numbers(state, copy, later),
        gone=dict(
            sorted(
                Counter(
                    e.what for e in later or () if e.what not in _GOES_ALONG and e.seq not in along
                ).items()
            )
        ),
    )


def _numbers(state: sqlite3.Connection, copy: sqlite3.Connection, later: Iterable[Entry]) -> dict[str, int]:
    """Return the highest number of an order by month, where the copy does not know it."""
    skipped = (entry.body.get("orders", {}) for entry in later if entry.what == "ledger restored")
    known = used_numbers(copy)
    used = highest([used_numbers(state), *skipped])
    return {month: number for month, number in used.items() if number > known.get(month, 0)}


_STATED: Final = frozenset({"policy set", "fit taken back", "binding model stated", "boot changed"})
"""Kinds that say by themselves what holds since then, and that nobody can withdraw. What lets more out (a
fit, a pass) is none."""


def _stated(later: Sequence[Entry]) -> Iterator[Entry]:
    for entry in later:
        failed = entry.what == "release test recorded" and entry.body.get("outcome") == "failed"
        if entry.what in _STATED or failed:
            yield entry


def rows_of(connection: sqlite3.Connection, query: str) -> Iterator[dict[str, Any]]:
    """Yield rows by column name, as many as a damaged file gives."""
    try:
        yield from rows_by_name(connection, query)
    except SQLITE_FAULTS:
        return


def _named(state: sqlite3.Connection, entries: list[Entry]) -> frozenset[str]:
    first = entries[0].seq if entries else 2**62
    return frozenset(row[0] for row in state.execute("SELECT name FROM naming WHERE entry >= ?", (first,)))


def _worked(state: sqlite3.Connection, copy: sqlite3.Connection, entries: list[Entry]) -> frozenset[str]:
    """Return pairs that hands were at since the copy, and whose holes, mounts, bindings or inspected
    stretches are not those of the copy; each by the tag that it has now.

    Of a pair that the copy does not know only the bench's work counts: it will be entered anew.
    """
    known = {row["tag"] for row in rows_of(copy, "SELECT tag FROM pair")}
    found, import_ends = set(), 0
    for entry in entries:
        if entry.what == "import applied":
            import_ends = entry.seq + int(entry.body.get("entries", 0))
        if entry.what in _HANDS and entry.seq > import_ends:
            names = state.execute("SELECT name FROM naming WHERE entry = ?", (entry.seq,))
            found |= {(names_of(state, tag), entry.what.startswith("order ")) for (tag,) in names}
    changed = set()
    for (now, *before), at_bench in found:
        then = next((tag for tag in (now, *before) if tag in known), None)
        if (then or at_bench) and pair_state(state, now) != pair_state(copy, then or now):
            changed.add(now)
    return frozenset(changed)


def _closed(state: sqlite3.Connection, copy: sqlite3.Connection) -> dict[str, dict[str, str]]:
    query = "SELECT tag, side, closed_entry, closed_why FROM ski WHERE closed_entry > 0"
    now = _renamed(state)
    known = {
        (now.get(row["tag"], row["tag"]), row["side"]): row["closed_entry"] for row in rows_of(copy, query)
    }
    found: dict[str, dict[str, str]] = {}
    for row in rows_of(state, query):
        if known.get((row["tag"], row["side"])) != row["closed_entry"]:
            found.setdefault(row["tag"], {})[row["side"]] = row["closed_why"]
    return found


def _renamed(state: sqlite3.Connection) -> dict[str, str]:
    """Return the tag that a pair has now, by each that it had: the copy may call it so."""
    return {row["old"]: row["new"] for row in rows_of(state, "SELECT old, new FROM renamed")}


def _reached(state: sqlite3.Connection, copy: sqlite3.Connection) -> dict[str, tuple[str, ...]]:
    """Return what only the replaced file knows of: a serial read since then may be one that is recalled."""
    found: dict[str, tuple[str, ...]] = {}
    try:
        recalls = read_recalls(state)
        theirs, ours = (_on_pairs(recalls, each) for each in (state, copy))
    except _FAULTS:
        return {}  # a damaged row; every pass is void in that case
    now = _renamed(state)
    ours = {now.get(tag, tag): names for tag, names in ours.items()}
    for tag, names in theirs.items():
        if new := names - ours.get(tag, set()):
            found[tag] = tuple(sorted(new))
    return found


def _on_pairs(recalls: Iterable[Recall], connection: sqlite3.Connection) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for binding in read_bindings(connection).values():
        reach = {each.recall for each in recalls if each.reaches(binding) is not Reach.NOT}
        if binding.on_pair is not None and reach:
            found.setdefault(binding.on_pair, set()).update(reach)
    return found


def _things_of(
    state: sqlite3.Connection,
) -> tuple[tuple[tuple[Boot, str], ...], tuple[Note, ...]]:
    """Return the boots that are stopped or away, each with the place that a person gave it, and the notes
    that stand; nothing from tables that are damaged.
    """
    try:
        where = dict(state.execute("SELECT tag, whereabouts FROM boot"))
        boots = tuple(
            (boot, where[tag])
            for tag, boot in read_boots(state).items()
            if boot.hold_entry or where[tag] not in (IN_SHOP, Place.OUT.value)
        )
        return boots, read_notes(state, where="ended_entry = 0")
    except _FAULTS:
        return (), ()
