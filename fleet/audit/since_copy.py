"""Facts entered after a copy of the ledger was made, read from the file that the copy replaces.

A restore goes back in the records, but nothing goes back in the skis: whoever has a pair out still has
it, and a hold, a quarantine or a hole drilled since is as true as before. What is carried over only ever
stops a pair or takes its pass; what was lifted since is lifted again by a person.
"""

import json
import sqlite3
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from fleet.audit.name_removal import take_out
from fleet.base.days import time_text
from fleet.base.entries import Body, Entry, Head, name_key, parse_utc
from fleet.base.errors import MountbookError, Refused
from fleet.base.kept_names import KeptName, NamesSaid, read_names
from fleet.base.typed_text import note_in, said
from fleet.checks.chain import checked_links
from fleet.events import derive, event_of
from fleet.events.boots import BootHeld, BootMoved
from fleet.events.event import IN_SHOP, LEFT_OUT
from fleet.events.notes import NoteMade
from fleet.events.pairs import PairRenamed, SkiClosed
from fleet.events.settings import StaffListed
from fleet.events.stops import PairCarriedOver, RecallOpened
from fleet.facts.boots import Boot
from fleet.facts.carried import BENCH, PEOPLE, STOPS, carried_body, carried_work, quarantine_apart
from fleet.facts.columns import facts_in
from fleet.facts.holes import Side
from fleet.facts.notes import Note
from fleet.facts.order_numbers import highest, used_numbers
from fleet.facts.pairs import pair_state
from fleet.facts.recalls import Reach, Recall, read_recalls
from fleet.facts.staff import Staff, listed
from fleet.facts.standing import Place
from fleet.facts.tags import called_now, names_of
from fleet.ledger.migrations.bring_up import derive_anew
from fleet.ledger.transaction import Transaction
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


@dataclass(frozen=True, slots=True, kw_only=True)
class CarriedPair:
    """One pair, boot, noted thing or rule that was carried over, for the person at the screen."""

    tag: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """All facts that were carried over.

    ``removed``: the marks of names that were taken out again.
    """

    carried: tuple[CarriedPair, ...]
    recalls: tuple[str, ...]
    staff: tuple[str, ...]
    removed: tuple[str, ...]


def read_replaced_file(
    file: sqlite3.Connection | None, copy: sqlite3.Connection, *, copy_head: Head
) -> ReplacedFile:
    """Read the replaced file (None: there is none, or it is not even a database), beside the open copy."""
    if file is None:
        return ReplacedFile()
    gone = {row["digest"] for row in _rows(file, "SELECT digest FROM names WHERE text IS NULL")}
    if removed := frozenset(row.digest for row in _names_of(copy, gone)):
        with closing(_without_names(copy, removed)) as as_there:
            return replace(_read(file, as_there, copy_head=copy_head), removed=removed)
    return _read(file, copy, copy_head=copy_head)


def _names_of(copy: sqlite3.Connection, digests: Collection[str]) -> list[KeptName]:
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
    head = next((Head(row["seq"], row["hash"]) for row in _rows(file, _NEWEST)), None)
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
    standings = {row["tag"]: row for row in _rows(state, "SELECT * FROM standing")}
    waiting = tuple(_rows(state, "SELECT * FROM waiting_stop"))
    texts = f"SELECT seq, text FROM notes WHERE text > '' AND seq > {later[0].seq - 1 if later else 0}"
    open_recalls = "SELECT * FROM recall WHERE closed_entry IS NULL ORDER BY recall"
    open_orders = "SELECT number, revision, tag, giver FROM work_order WHERE state = 'open'"
    known = [(row["number"], row["revision"]) for row in _rows(copy, open_orders)]
    ordered = {
        tag: f"{row['number']} {row['revision']}"
        for row in _rows(state, open_orders)
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
        notes={row["seq"]: note_in(row["text"]) or "" for row in _rows(file, texts)},
        recalls=tuple(said(file, row) for row in _rows(state, open_recalls)),
        waiting=waiting,
        renamed=tuple(
            _rows(state, 'SELECT old AS tag, new AS "to" FROM renamed ORDER BY entry')
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


def _rules(tx: Transaction, replaced: ReplacedFile) -> Iterator[CarriedPair]:
    """Enter again what was stated since the copy, at the time it was stated; what cannot be is said."""
    for entry, body in replaced.rules:
        named = (body.get(key) for key in ("tag", "name", "model", "sole_type", "pattern", "value"))
        words = " ".join(str(each) for each in named if each)
        if "tag" in body:
            body = {**body, "tag": called_now(tx.connection, body["tag"])}
        try:
            stated_at = parse_utc(entry.stated_at_utc)
            tx.enter(event_of(replace(entry, body=body)), stated_at=stated_at, carried=True)
        except MountbookError as fault:
            words += f"; enter it again: {fault.sentence}"
        yield CarriedPair(tag=entry.what, words=words)


def _rows(connection: sqlite3.Connection, query: str) -> Iterator[dict[str, Any]]:
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
    known = {row["tag"] for row in _rows(copy, "SELECT tag FROM pair")}
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
        (now.get(row["tag"], row["tag"]), row["side"]): row["closed_entry"] for row in _rows(copy, query)
    }
    found: dict[str, dict[str, str]] = {}
    for row in _rows(state, query):
        if known.get((row["tag"], row["side"])) != row["closed_entry"]:
            found.setdefault(row["tag"], {})[row["side"]] = row["closed_why"]
    return found


def _renamed(state: sqlite3.Connection) -> dict[str, str]:
    """Return the tag that a pair has now, by each that it had: the copy may call it so."""
    return {row["old"]: row["new"] for row in _rows(state, "SELECT old, new FROM renamed")}


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


def carry_over(tx: Transaction, replaced: ReplacedFile, *, zone: str, path: Path) -> Carried:
    """Enter all that still stops a ski into the copy that replaces the file, which is at ``path``; return it
    in words.
    """
    removed = tuple(_names(tx, replaced, path))
    source = f"the file that this copy replaced, which ended at {replaced.head}"
    for row in replaced.renamed:
        here = {tag for (tag,) in tx.connection.execute("SELECT tag FROM pair")}
        if row["tag"] in here and row["to"] not in here:
            tx.enter(PairRenamed(tag=row["tag"], to=row["to"]), note=source)
    return Carried(
        removed=removed,
        staff=tuple(_staff(tx, replaced)),
        recalls=tuple(_recalls(tx, replaced)),
        carried=(
            *_pairs(tx, replaced, source, zone),
            *_rules(tx, replaced),
            *_things(tx, replaced),
        ),
    )


def _names(tx: Transaction, replaced: ReplacedFile, path: Path) -> Iterator[str]:
    """Take out again what was taken out of the replaced file."""
    persons: dict[str, tuple[KeptName, ...]] = {}
    for row in _names_of(tx.connection, replaced.removed):
        persons[row.person] = (*persons.get(row.person, ()), row)
    if persons:
        why = "taken out of the file that this copy replaced"
        yield from (removed.mark for removed in take_out(tx, path, *persons.values(), why=why))


def _staff(tx: Transaction, replaced: ReplacedFile) -> Iterator[str]:
    known = read_staff(tx.connection)
    for person in replaced.staff.values():
        if listed(known, person.name) != person:
            first, second = replaced.in_need.get(name_key(person.name), (LEFT_OUT, LEFT_OUT))
            tx.enter(StaffListed(**facts_in(Staff, person), second=second, first=first))
            yield person.name


def _recalls(tx: Transaction, replaced: ReplacedFile) -> Iterator[str]:
    known = {row[0] for row in tx.connection.execute("SELECT recall FROM recall")}
    for row in replaced.recalls:
        if row["recall"] not in known:
            tx.enter(RecallOpened(**{k: v for k, v in row.items() if not k.endswith("_entry")}))
            yield row["recall"]


def _pairs(tx: Transaction, replaced: ReplacedFile, source: str, zone: str) -> Iterator[CarriedPair]:
    ours = {row["tag"]: row for row in _rows(tx.connection, "SELECT * FROM standing")}
    waits = {(row["tag"], row["entry"]) for row in _rows(tx.connection, "SELECT * FROM waiting_stop")}
    for row in replaced.waiting:
        if (row["tag"], row["entry"]) not in waits:
            waiting = PairCarriedOver.read(json.loads(row["body"]))
            tx.enter(waiting, note=replaced.notes.get(row["entry"], ""))
            yield CarriedPair(tag=row["tag"], words=f"{waiting.stops}, as soon as it is entered again")
    for tag in sorted(replaced.touched & (replaced.standings.keys() | ours.keys())):
        try:
            found = _one(replaced, tag, ours.get(tag), source=source, zone=zone)
        except (ValueError, TypeError, KeyError):  # a damaged row; every pass is void in that case
            continue
        said = []
        if found is not None:
            entries, words = found
            for carried, cause in entries:
                tx.enter(carried, note=cause)
            said.append(words)
        for side, why in replaced.closed.get(tag, {}).items() if tag in ours else ():
            tx.enter(SkiClosed(tag=tag, side=Side(side), why=why))
            said.append(f"ski {side} is closed")
        if said:
            yield CarriedPair(tag=tag, words="; ".join(said))


def _one(
    replaced: ReplacedFile, tag: str, ours: Row | None, *, source: str, zone: str
) -> tuple[list[tuple[PairCarriedOver, str]], str] | None:
    """Return the entries about one pair with their causes, and words; None where nothing about it is new.

    A quarantine, whatever else stops it, and what a renter said have an entry each, so that each keeps its
    own cause.
    """
    theirs = replaced.standings.get(tag)
    if theirs is None:
        gone = PairCarriedOver.read(carried_body(tag, (), source=source))
        return [(gone, "")], "it was taken out of the ledger since: no pass counts"
    old: Row = ours or {}
    stops = {
        word: _cause(replaced, theirs, word)
        for word, column in STOPS.items()
        if theirs[column] and theirs[column] != old.get(column)
    }
    if tag in replaced.ordered:
        order = f"work order {replaced.ordered[tag]}"
        stops[order] = (
            f"{order} was issued after the copy: collect its sheet, and look whether anything was drilled"
        )
    for recall in replaced.reached.get(tag, ()):
        stops[f"recall {recall}"] = (
            f"recall {recall} reached its binding as it was read after the copy: take off and read"
        )
    if tag in replaced.worked:
        stops["worked on"] = (
            "worked on after the copy: its holes, mounts, bindings or inspected stretches are not those of"
            " this ledger; look"
        )
    if ours is None and tag in replaced.closed:
        closed = replaced.closed[tag].items()
        stops["closed"] = "; ".join(f"ski {side} was closed: {why}" for side, why in closed)
    where = _where(theirs, old)
    same = all(theirs[key] == old.get(key) for key in theirs if key not in ("undo_entry", "undo_row"))
    if not stops and not where and not _hands(theirs, old) and (same or not replaced.complete or not old):
        return None
    parts = [
        (carried_body(tag, words, source=source) | {"where": where}, _joined(stops[word] for word in words))
        for words in quarantine_apart(stops)
    ]
    said = replaced.notes.get(theirs["said_entry"], "")
    if said and theirs["said_entry"] != old.get("said_entry"):
        parts.append((carried_body(tag, (), source=source) | {"where": where, "said": True}, said))
    body, _ = parts[-1]
    body |= carried_work(theirs) | {"unseen": tag in replaced.worked}
    if replaced.complete:
        counted = ("hires", "days_out", "days_hired", "returns_since_work", "returns_since_fault")
        body["counts"] = {key: theirs[key] for key in counted}
    words = _words([*stops, *_where_words(where, zone)], _joined(cause for _, cause in parts))
    return [(PairCarriedOver.read(body), cause) for body, cause in parts], words


def _joined(causes: Iterable[str]) -> str:
    return "; ".join(dict.fromkeys(cause for cause in causes if cause))


def _hands(theirs: Row, old: Row) -> bool:
    """Return whether it names people whose hands were at the pair, or glue, that the copy does not."""
    people = (set(json.loads(theirs[key])) - set(json.loads(old.get(key, "[]"))) for key in PEOPLE)
    return any(people) or theirs["glued_at"] > old.get("glued_at", "")


def _cause(replaced: ReplacedFile, theirs: Row, word: str) -> str:
    if word == Place.SECOND_CHECK.value:
        return word
    if word == Place.QUARANTINE.value:
        return replaced.notes.get(theirs["quarantine_entry"], "")
    stop = "stop" if word == BENCH else "hold"
    said = (str(theirs[f"{stop}_why"]), replaced.notes.get(theirs[f"{stop}_entry"], ""))
    return ": ".join(filter(None, said))


def _where(theirs: Row, old: Row) -> Body:
    """Return the pair's place since then and its newest return; empty where the copy knows them."""
    keys = ("whereabouts", "out_entry", "return_entry")
    if all(theirs[key] == old.get(key, {"whereabouts": IN_SHOP}.get(key, 0)) for key in keys):
        return {}
    returned = theirs["return_entry"] != old.get("return_entry", 0)
    return {
        "whereabouts": theirs["whereabouts"],
        "out_at": theirs["out_at"],
        "out_boot": theirs["out_boot"],
        "out_due": theirs["out_due"],
        "return_at": theirs["return_at"] if returned else "",
    }


def _where_words(where: Row, zone: str) -> list[str]:
    if not where:
        return []
    if where["whereabouts"] == Place.OUT.value:
        return [f"out since {time_text(where['out_at'], zone)}"]
    if where["whereabouts"] != IN_SHOP:
        return [str(where["whereabouts"])]
    return [f"back since {time_text(where['return_at'], zone)}"] if where["return_at"] else ["here again"]


def _words(parts: list[str], cause: str) -> str:
    said = ", ".join(parts) or "its passes before this do not count"
    return f"{said}: {cause}" if cause else said


_UNKNOWN: Final = "this copy does not know it: enter it again, then {} it"


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


def _things(tx: Transaction, replaced: ReplacedFile) -> Iterator[CarriedPair]:
    """Enter again stops of boots, and notes, that the copy does not have."""
    yield from _boots(tx, replaced)
    known = {(note.name, note.text) for note in read_notes(tx.connection, where="ended_entry = 0")}
    for note in replaced.noted:
        text = replaced.notes.get(note.entry, note.text)
        if (note.name, text) in known or not text:
            continue
        words = f"note: {' '.join(text.split())}"
        made = NoteMade(
            tag=note.tag, side=note.side, boot=note.boot, binding_id=note.binding_id, proposes=note.proposes
        )
        try:
            tx.enter(made, note=text)
        except Refused:  # the copy does not have the thing
            words += f"; {_UNKNOWN.format('note')}"
        yield CarriedPair(tag=note.name, words=words)


def _boots(tx: Transaction, replaced: ReplacedFile) -> Iterator[CarriedPair]:
    known = read_boots(tx.connection)
    places = dict(tx.connection.execute("SELECT tag, whereabouts FROM boot"))
    for boot, whereabouts in replaced.boots:
        ours, said = known.get(boot.tag), []
        if boot.hold_entry and not (ours and ours.hold_entry):
            why = replaced.notes.get(boot.hold_entry, boot.hold_why)
            if ours:
                tx.enter(BootHeld(tag=boot.tag), note=why)
            said.append(f"hold: {why}")
        if whereabouts not in (IN_SHOP, Place.OUT.value, places.get(boot.tag)):
            if ours:
                tx.enter(BootMoved(tag=boot.tag, to=whereabouts))
            said.append(whereabouts)
        if said:
            unknown = [] if ours else [_UNKNOWN.format("stop")]
            yield CarriedPair(tag=f"boot {boot.tag}", words="; ".join(said + unknown))
