"""Taking a person's name out of the ledger: who may, which names may not go yet, and the state after it."""

import json
import re
import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Final

from fleet.base.days import day_text
from fleet.base.entries import name_key
from fleet.base.errors import BadInput, Refused, did_you_mean
from fleet.base.kept_names import KeptName, NamesSaid, is_mark, read_names
from fleet.base.units import first_of
from fleet.events.typed import names_in
from fleet.facts.carried import PEOPLE, STOP_COLUMNS
from fleet.facts.staff import listed
from fleet.facts.standing import Place
from fleet.ledger.corrections import CORRECT
from fleet.ledger.desk import head
from fleet.ledger.ledger import Ledger, read_entries
from fleet.ledger.migrations.bring_up import derive_anew
from fleet.ledger.transaction import Transaction
from fleet.tables.snapshot import read_staff

_AWAY: Final = (Place.SOLD.value, Place.RETIRED.value)
_STOPPED: Final = tuple(column for column in STOP_COLUMNS if column.endswith("_entry"))
_UNTIL_PASSED: Final = ("fault_entry", "unfinished_entry")
_SHOWN: Final = 20
_OPEN_SHOWN: Final = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class RemovedName:
    """A name was taken out by ``entry``. ``mark`` stands for it; ``rows``: its spellings as they were kept;
    ``mentioned``: entries in whose typed texts it stands too, and ``stated``: in facts that are not texts.
    """

    entry: int
    mark: str
    rows: tuple[KeptName, ...]
    mentioned: tuple[int, ...] = ()
    stated: tuple[int, ...] = ()

    def lines(self) -> Iterator[str]:
        """Yield what stands for it from now on, and where else it may stand."""
        yield f"  it reads {self.mark!r} now, in every entry, list and sheet"
        if self.mentioned:
            yield (
                f"  it also stands in what was typed for entry {_some(self.mentioned)}: mountbook redact"
                " ENTRY, one by one"
            )
        if self.stated:
            yield f"  it also stands in a fact of entry {_some(self.stated)}, under the chain: it stays there"


def _some(entries: tuple[int, ...]) -> str:
    return first_of([*map(str, entries)], _SHOWN)


def remove_name(
    ledger: Ledger, transaction: Transaction, name: str, *, by: str, why: str, today: date
) -> RemovedName:
    """Take a person's name out of all entries and tables, and derive the state again.

    A head technician or a manager signs it.

    Raises BadInput where nobody is called so, Refused for a name that may not go yet.
    """
    connection = transaction.connection
    head(connection, by, days=[today], what=CORRECT)
    rows = _rows_of(connection, name)
    _may_go(connection, rows, today=today)
    mentioned, stated = _mentions(connection, rows)
    (removed,) = take_out(transaction, ledger.path, rows, why=why)
    return replace(removed, mentioned=mentioned, stated=stated)


def take_out(
    transaction: Transaction, path: Path, *persons: tuple[KeptName, ...], why: str
) -> tuple[RemovedName, ...]:
    """Take out the names that the rows of each person keep, without asking whether they may go, and derive
    the state again, once for all of them.
    """
    entries = [transaction.take_name_out(_spellings(rows)[0], why=why) for rows in persons]
    derive_anew(transaction.connection, path)
    names = NamesSaid(transaction.connection)
    return tuple(
        RemovedName(entry=entry, mark=names.of(rows[0].person), rows=rows)
        for entry, rows in zip(entries, persons, strict=True)
    )


def _rows_of(connection: sqlite3.Connection, name: str) -> tuple[KeptName, ...]:
    """Return the spellings of the person of that name, the first one first."""
    kept = [row for row in read_names(connection) if row.text is not None]
    person = next((row.person for row in kept if name_key(row.text or "") == name_key(name)), None)
    if person is not None:
        return tuple(row for row in kept if row.person == person)
    if is_mark(" ".join(name.split())):
        raise Refused(
            f"{name!r} stands for a name that was taken out already", cure="nothing needs to be done"
        )
    _not_in_the_clear(connection, name, {name_key(name)})
    otherwise = "write the name in full, as an entry shows it"
    raise BadInput(
        f"nobody is called {name!r} in this ledger", cure=did_you_mean(name, _spellings(kept), otherwise)
    )


def _spellings(rows: Iterable[KeptName]) -> list[str]:
    return [row.text for row in rows if row.text is not None]


def _may_go(connection: sqlite3.Connection, rows: tuple[KeptName, ...], *, today: date) -> None:
    """Raise Refused for a name that is still needed, or that could not be taken out wholly."""
    spellings = _spellings(rows)
    name, keys = spellings[0], set(map(name_key, spellings))
    person = listed(read_staff(connection), name)
    if person is not None and person.may_sign(today):
        raise Refused(
            f"{person.name} is listed and signs until {day_text(person.valid_until)}: the name is needed",
            cure=f'list the last day first: mountbook staff add "{person.name}" --role'
            f" {person.role.value.replace(' ', '-')} --until DATE, a day that is over",
        )
    open_things = sorted(set(_open_stops(connection, keys)) | set(_open_orders(connection, keys)))
    if open_things:
        raise Refused(
            f"{name} signed what is still open: {first_of(open_things, _OPEN_SHOWN)}",
            cure="end these first: pass or clear the pairs, close the orders",
        )
    _not_in_the_clear(connection, name, keys)


def _not_in_the_clear(connection: sqlite3.Connection, name: str, keys: set[str]) -> None:
    """Raise Refused for a name that stands itself in entries of older layouts."""
    found = [seq for each, seq in _in_the_clear(connection).items() if name_key(each) in keys]
    if found:
        raise Refused(
            f"{name} stands in the clear in entries up to {max(found)}, as names were written then: taken"
            " out, the chain would break",
            cure="a case shows no names; keep the file itself where few can read it",
        )


def _open_stops(connection: sqlite3.Connection, keys: set[str]) -> Iterator[str]:
    """Yield pairs in the shop's care that wait for somebody, where this person's signature says so."""
    names = NamesSaid(connection)
    entries = ", ".join((*_STOPPED, *(f"iif({each} > pass_entry, {each}, 0)" for each in _UNTIL_PASSED)))
    query = f"SELECT tag, {', '.join(PEOPLE)}, {entries} FROM standing WHERE place NOT IN (?, ?)"
    for tag, *rest in connection.execute(query, _AWAY).fetchall():
        hands = {each for column in rest[: len(PEOPLE)] for each in json.loads(column)}
        for seq in filter(None, rest[len(PEOPLE) :]):
            row = connection.execute("SELECT by FROM entries WHERE seq = ?", (seq,)).fetchone()
            hands.add(names.of(row[0]))
        if keys & set(map(name_key, hands)):
            yield f"pair {tag}"
    for tag, body in connection.execute("SELECT tag, body FROM waiting_stop"):
        said = json.loads(body)
        if keys & {name_key(each) for column in PEOPLE for each in said.get(column, ())}:
            yield f"pair {tag}"


def _open_orders(connection: sqlite3.Connection, keys: set[str]) -> Iterator[str]:
    names = NamesSaid(connection)
    for number, revision, by in connection.execute(
        "SELECT number, revision, by FROM work_order JOIN entries ON seq = issued_entry WHERE state = 'open'"
    ):
        if name_key(names.of(by)) in keys:
            yield f"order {number} {revision}"


def _in_the_clear(connection: sqlite3.Connection) -> dict[str, int]:
    """Return the names that stand themselves in entries of older layouts, each with the newest such entry."""
    found: dict[str, int] = {}
    first = min((row.seq for row in read_names(connection)), default=2**62)
    for entry in read_entries(connection, until=first - 1):
        found |= dict.fromkeys((entry.by, *names_in(entry)), entry.seq)
    return found


def _mentions(
    connection: sqlite3.Connection, rows: tuple[KeptName, ...]
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Return the entries in whose notes, and in whose other facts, the name stands within a text."""
    spelt = "|".join(map(re.escape, _spellings(rows)))
    word = re.compile(rf"(?<!\w)(?:{spelt})(?!\w)", re.IGNORECASE)

    def holding(query: str) -> tuple[int, ...]:
        return tuple(seq for seq, text in connection.execute(query) if word.search(text))

    return (
        holding("SELECT seq, text FROM notes WHERE text IS NOT NULL ORDER BY seq"),
        holding("SELECT seq, body FROM entries ORDER BY seq"),
    )
