"""Corrections: always a new entry that shows the old one.

Who may: a head technician or a manager of the staff list. Whatever a correction touches, the pair's
earlier passes no longer count (`fleet.events.event.touched`).
"""

import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from fleet.base.entries import Entry
from fleet.base.errors import BadInput, Refused, filled
from fleet.events import KINDS
from fleet.events.boots import BootChanged
from fleet.events.corrections import EntryRemarked, EntryWithdrawn
from fleet.events.event import Change, Changes, Event, facts_of
from fleet.events.mounts import BindingChanged
from fleet.events.pairs import HoleChanged, PairChanged, PairRecorded
from fleet.events.settings import LedgerOpened, SealingBegun
from fleet.events.typed import texts_apart
from fleet.facts.boots import BootFacts
from fleet.facts.carried import ORDER, stops_of
from fleet.facts.column_text import value_of_text
from fleet.facts.columns import LedgerFacts, columns_of
from fleet.facts.holes import HoleFacts
from fleet.facts.pairs import BindingFacts, PairFacts, SkiFacts
from fleet.facts.tags import names_of
from fleet.ledger.desk import head
from fleet.ledger.ledger import read_entries
from fleet.ledger.transaction import Transaction
from fleet.tables.snapshot import read_policy

CORRECT: Final = "correct the ledger"
_WHY: Final = 'add --why "what went wrong"'


def withdraw(transaction: Transaction, seq: int, *, by: str, why: str, today: date) -> int:
    """Undo entry ``seq`` by a new entry that quotes it in full. Returns the new entry's number.

    Raises Refused where the entry is of a kind that is not withdrawn, where something builds on it, or
    where ``by`` may not sign.
    """
    head(transaction.connection, by, days=[today], what=CORRECT)
    filled(why, "a correction needs a reason", cure=_WHY)
    old = read_entry(transaction.connection, seq)
    if old.what == PairRecorded.WHAT:
        _not_stopped(transaction.connection, old.body["tag"])
    return transaction.enter(EntryWithdrawn(entry=seq, what=old.what, said=old.body), note=why)


def remark(transaction: Transaction, seq: int, *, why: str) -> int:
    """Enter a remark about an older entry; nothing else changes. Returns the remark's number."""
    filled(why, "a correction needs a reason", cure=_WHY)
    read_entry(transaction.connection, seq)
    return transaction.enter(EntryRemarked(entry=seq), note=why)


def correct(
    transaction: Transaction,
    name: str,
    settings: Mapping[str, str],
    *,
    by: str,
    why: str,
    today: date,
) -> int:
    """Change recorded facts of one thing: a pair's tag, ``TAG/A`` for a ski, a hole, boot or binding id.

    ``settings`` are columns and values as the files of `mountbook export` write them (``x_mm``: ``12.5``;
    an empty value means unknown). The entry shows old and new. Returns its number.
    """
    head(transaction.connection, by, days=[today], what=CORRECT)
    filled(why, "a correction needs a reason", cure=_WHY)
    thing = _find(transaction.connection, name)
    columns = {column.key: column for column in columns_of(thing.facts) if column.correctable}
    policy = read_policy(transaction.connection)
    changes: dict[str, Change] = {}
    for field, text in settings.items():
        if field not in columns:
            raise BadInput(f"{field!r} cannot be corrected there", cure=f"known fields: {', '.join(columns)}")
        column, value = columns[field].name, value_of_text(columns[field], text.strip(), policy)
        (old,) = _row(transaction.connection, thing, column) or (None,)
        if old != value:
            changes[f"{thing.prefix}{column}"] = (old, value)
    if not changes:
        raise Refused(f"{name} says so already", cure="nothing was entered")
    return transaction.enter(thing.change(changes), note=why)


def redact(transaction: Transaction, seq: int, *, by: str, why: str, today: date) -> int:
    """Blank what was typed freely in entry ``seq``. Signed like a correction. Returns its number."""
    head(transaction.connection, by, days=[today], what=CORRECT)
    old = read_entry(transaction.connection, seq)
    if old.note_hash is None and old.what in KINDS and texts_apart(KINDS[old.what], old.body, seq)[1]:
        raise Refused(
            f"what was typed for entry {seq} stands in the entry itself, as entries were written then:"
            " blanked, the chain would break",
            cure="a case leaves it out all the same; keep the file itself where few can read it",
        )
    if old.what in (LedgerOpened.WHAT, SealingBegun.WHAT):
        raise Refused(
            f"entry {seq} holds the key by which cases are proved: nobody typed it, and it names nobody",
            cure="nothing needs to be done",
        )
    return transaction.blank_note(seq, why=why)


def parse_settings(fields: list[str]) -> dict[str, str]:
    """Return ``["x_mm=12.5", "rack=R4"]`` as a mapping. Raises BadInput for anything else."""
    settings: dict[str, str] = {}
    for text in fields:
        field, equals, value = text.partition("=")
        if not equals or not field.strip() or field.strip() in settings:
            raise BadInput(
                f"{text!r} does not set one field", cure="write it like x_mm=12.5, each field once"
            )
        settings[field.strip()] = value
    return settings


def read_entry(connection: sqlite3.Connection, seq: int) -> Entry:
    """Return one entry. Raises Refused where there is none."""
    for entry in read_entries(connection, after=seq - 1, until=seq):
        return entry
    raise Refused(f"there is no entry {seq}", cure="see the numbers in `mountbook ski PAIR`")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Thing:
    """A thing that can be corrected: its table and row, its facts, and the entry that changes them."""

    table: str
    key: Mapping[str, str]
    facts: type[LedgerFacts]
    change: Callable[[Changes], Event]
    prefix: str = ""


def _find(connection: sqlite3.Connection, name: str) -> _Thing:
    """Return the thing of that name, by any tag that its pair has or had: its holes keep their ids."""
    tag, slash, part = name.rpartition("/")
    also = [f"{each}/{part}" for each in names_of(connection, tag)] if slash else []
    for called in (name, *names_of(connection, name), *also):
        for thing in _things(called):
            if _row(connection, thing, next(iter(thing.key))) is not None:
                return thing
    raise Refused(
        f"there is no pair, boot, hole or binding called {name!r}",
        cure="a ski is named by its pair and side, like K-031/A",
    )


def _things(name: str) -> tuple[_Thing, ...]:
    tag, _, side = name.rpartition("/")
    return (
        _Thing(
            table="ski",
            key={"tag": tag, "side": side},
            facts=SkiFacts,
            change=lambda changes: PairChanged(tag=tag, changes=changes),
            prefix=f"{side}.",
        ),
        _Thing(
            table="pair",
            key={"tag": name},
            facts=PairFacts,
            change=lambda changes: PairChanged(tag=name, changes=changes),
        ),
        _Thing(
            table="boot",
            key={"tag": name},
            facts=BootFacts,
            change=lambda changes: BootChanged(tag=name, changes=changes),
        ),
        _Thing(
            table="hole",
            key={"hole_id": name},
            facts=HoleFacts,
            change=lambda changes: HoleChanged(hole_id=name, changes=changes),
        ),
        _Thing(
            table="binding",
            key={"binding_id": name},
            facts=BindingFacts,
            change=lambda changes: BindingChanged(binding_id=name, changes=changes),
        ),
    )


def _row(connection: sqlite3.Connection, thing: _Thing, column: str) -> tuple[Any] | None:
    """Return the value of that column; None where there is no such thing."""
    where = " AND ".join(f"{name} = ?" for name in thing.key)
    row: tuple[Any] | None = connection.execute(
        f"SELECT {column} FROM {thing.table} WHERE {where}", tuple(thing.key.values())
    ).fetchone()
    return row


def _not_stopped(connection: sqlite3.Connection, tag: str) -> None:
    """Refuse where the pair is stopped. A stop belongs to the ski: withdrawn and entered again it would be
    lost.
    """
    rows = connection.execute("SELECT 1 FROM standing WHERE tag = ?", (tag,)).fetchone()
    stops = [*stops_of(facts_of(connection, tag))] if rows else []
    orders = "SELECT number, revision FROM work_order WHERE state = 'open' AND ? IN (tag, giver)"
    stops += [f"{ORDER}{number} {revision}" for number, revision in connection.execute(orders, (tag,))]
    closed = "SELECT side FROM ski WHERE tag = ? AND closed_entry > 0"
    stops += [f"ski {side} closed" for (side,) in connection.execute(closed, (tag,))]
    if stops:
        raise Refused(
            f"{tag} is stopped ({', '.join(stops)}) and is not withdrawn with its stop",
            cure="lift the stop first (mountbook clear), or `mountbook move` it to retired if it is gone",
        )
