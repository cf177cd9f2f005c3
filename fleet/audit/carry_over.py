"""The entries of a restore: each stop, hold and fact that the replaced file knew since the copy was made.

It only ever stops a pair, by its cause, or takes its pass; what was lifted since is lifted again by a person.
"""

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from fleet.audit.name_removal import take_out
from fleet.audit.since_copy import ReplacedFile, Row, kept_names_of, rows_of
from fleet.base.days import time_text
from fleet.base.entries import Body, name_key, parse_utc
from fleet.base.errors import MountbookError, Refused
from fleet.base.kept_names import KeptName
from fleet.events import event_of
from fleet.events.boots import BootHeld, BootMoved
from fleet.events.event import IN_SHOP, LEFT_OUT
from fleet.events.notes import NoteMade
from fleet.events.pairs import PairRenamed, SkiClosed
from fleet.events.settings import StaffListed
from fleet.events.stops import PairCarriedOver, RecallOpened
from fleet.facts.carried import BENCH, PEOPLE, STOPS, carried_body, carried_work, quarantine_apart
from fleet.facts.columns import facts_in
from fleet.facts.holes import Side
from fleet.facts.staff import Staff, listed
from fleet.facts.standing import Place
from fleet.facts.tags import called_now
from fleet.ledger.transaction import Transaction
from fleet.tables.snapshot import read_boots, read_notes, read_staff


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
    for row in kept_names_of(tx.connection, replaced.removed):
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
    ours = {row["tag"]: row for row in rows_of(tx.connection, "SELECT * FROM standing")}
    waits = {(row["tag"], row["entry"]) for row in rows_of(tx.connection, "SELECT * FROM waiting_stop")}
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
