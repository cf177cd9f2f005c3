"""Setting right what was entered wrong: always by a new entry that shows the old one.

Who may: a head technician or a manager of the staff list. Whatever a correction touches, the pair's
earlier passes no longer count (`fleet.events.facts.touched`).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from fleet.base.entries import Entry
from fleet.base.errors import BadInput, Refused
from fleet.base.units import mm_to_um, typed_count
from fleet.events.corrections import EntryRemarked, EntryWithdrawn
from fleet.events.facts import facts_of
from fleet.events.pairs import PairRecorded
from fleet.facts.carried import stops_of
from fleet.facts.staff import Role
from fleet.ledger.ledger import read_entries
from fleet.ledger.signing import signer
from fleet.ledger.transaction import Transaction


def withdraw(transaction: Transaction, seq: int, *, by: str, why: str, today: date) -> int:
    """Take out what entry ``seq`` made, by an entry that quotes it in full. Returns its number.

    Raises Refused where the entry is of a kind that is not withdrawn, where something builds on it, or
    where ``by`` may not sign.
    """
    _corrector(transaction.connection, by, today=today)
    _reason(why)
    old = read_entry(transaction.connection, seq)
    if old.what == PairRecorded.WHAT:
        _not_stopped(transaction.connection, old.body["tag"])
    return transaction.enter(EntryWithdrawn(entry=seq, what=old.what, said=old.body), note=why)


def remark(transaction: Transaction, seq: int, *, why: str) -> int:
    """Say what happened about an older entry; nothing else changes. Returns the remark's number."""
    _reason(why)
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
    _corrector(transaction.connection, by, today=today)
    _reason(why)
    thing = _find(transaction.connection, name)
    changes: dict[str, list[Any]] = {}
    for field, text in settings.items():
        column, value = _value(thing, field, text)
        row = transaction.connection.execute(
            f"SELECT {column} FROM {thing.table} WHERE {' AND '.join(f'{k} = ?' for k in thing.key)}",
            tuple(thing.key.values()),
        ).fetchone()
        if row[0] != value:
            changes[f"{thing.prefix}{column}"] = [row[0], value]
    if not changes:
        raise Refused(f"{name} says so already", cure="nothing was entered")
    return transaction.enter(thing.what, {**thing.body, "changes": changes}, note=why)


def redact(transaction: Transaction, seq: int, *, by: str, why: str, today: date) -> int:
    """Blank the free text of entry ``seq``. Signed like a correction. Returns the blanking's number."""
    _corrector(transaction.connection, by, today=today)
    return transaction.blank_note(seq, why=why)


def parse_settings(fields: list[str]) -> dict[str, str]:
    """``["x_mm=12.5", "rack=R4"]`` as a mapping; BadInput for anything else."""
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
    """One entry, or Refused."""
    for entry in read_entries(connection, after=seq - 1, until=seq):
        return entry
    raise Refused(f"there is no entry {seq}", cure="see the numbers in `mountbook ski PAIR`")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Thing:
    """What a name names: where its row is, which entry changes it, which columns may be set."""

    table: str
    key: Mapping[str, str]
    what: str
    body: Mapping[str, Any]
    columns: tuple[str, ...]
    prefix: str = ""


_COLUMNS: Final = {
    "pair": ("model", "kind", "length_mm", "waist_um", "construction", "rack", "earlier_mounts"),
    "ski": ("mark_from_tail_um", "zone_back_um", "zone_front_um", "zone_half_width_um"),
    "hole": ("x_um", "y_um", "diameter_um", "depth_um", "state", "knowledge"),
    "boot": ("model", "mondopoint_mm", "bsl_um", "bsl_measured", "sole_type", "season", "pin_um"),
    "binding": ("model", "pattern", "brake_um", "season", "serial_toe", "serial_heel"),
}
_NUMBERS: Final = ("earlier_mounts", "length_mm", "mondopoint_mm")
_LONGEST_TEXT: Final = 500
"""As much as an import takes: what is exported can be imported again."""
_LEAST: Final[Mapping[str, int | None]] = {
    "x_um": None, "y_um": None, "earlier_mounts": 0, "mark_from_tail_um": 0, "zone_back_um": 0,
    "zone_front_um": 0, "zone_half_width_um": 0,
}  # fmt: skip
"""The smallest value that can be, where it is not 1; None: a place on either side of the mark."""


def _find(connection: sqlite3.Connection, name: str) -> _Thing:
    tag, slash, side = name.rpartition("/")
    if slash and side in ("A", "B") and _there(connection, "ski", "tag", tag):
        return _Thing(
            table="ski",
            key={"tag": tag, "side": side},
            what="pair changed",
            body={"tag": tag},
            columns=_COLUMNS["ski"],
            prefix=f"{side}.",
        )
    for table, column in (("pair", "tag"), ("boot", "tag"), ("hole", "hole_id"), ("binding", "binding_id")):
        if _there(connection, table, column, name):
            return _Thing(
                table=table,
                key={column: name},
                what=f"{table} changed",
                body={column: name},
                columns=_COLUMNS[table],
            )
    raise Refused(
        f"there is no pair, boot, hole or binding called {name!r}",
        cure="a ski is named by its pair and side, like K-031/A",
    )


def _there(connection: sqlite3.Connection, table: str, column: str, name: str) -> bool:
    return connection.execute(f"SELECT 1 FROM {table} WHERE {column} = ?", (name,)).fetchone() is not None


def _value(thing: _Thing, field: str, text: str) -> tuple[str, Any]:
    """The column and its value, from a field of the files: ``x_mm``, ``length_cm``, ``mondopoint``."""
    column = {"length_cm": "length_mm", "mondopoint": "mondopoint_mm"}.get(field, field)
    if field.endswith("_mm") and column not in _NUMBERS:
        column = f"{field.removesuffix('_mm')}_um"
    if column not in thing.columns:
        known = ", ".join(_shown(column) for column in thing.columns)
        raise BadInput(f"{field!r} cannot be corrected there", cure=f"known fields: {known}")
    text = text.strip()
    if column in _NUMBERS or column.endswith("_um"):
        return column, _number(column, field, text)
    if len(text) > _LONGEST_TEXT:
        raise BadInput(f"{field} has {len(text)} characters", cure="shorten it, or say the rest as a remark")
    return column, text or (None if column == "construction" else "")


def _number(column: str, field: str, text: str) -> int | None:
    if not text:
        return None
    try:
        if column.endswith("_um"):
            value = mm_to_um(text)
        elif field in ("length_cm", "mondopoint"):
            value = mm_to_um(text) // 100 if mm_to_um(text) % 100 == 0 else _odd(text)
        else:
            value = typed_count(text)
    except ValueError as fault:
        raise BadInput(f"{field}: {fault}", cure="write it like 12.5") from fault
    least = _LEAST.get(column, 1)
    if least is not None and value < least:
        raise BadInput(
            f"{field}: {text} must not be {'negative' if value < 0 else 'zero'}",
            cure=f'check it; where it is not known, leave it empty: "{field}="',
        )
    return value


def _odd(text: str) -> int:
    raise ValueError(f"{text} cm is finer than a millimetre")


def _shown(column: str) -> str:
    named = {"length_mm": "length_cm", "mondopoint_mm": "mondopoint"}
    return named.get(column, f"{column.removesuffix('_um')}_mm" if column.endswith("_um") else column)


def _not_stopped(connection: sqlite3.Connection, tag: str) -> None:
    """A stop belongs to the ski: a pair taken out and in again would come without it."""
    rows = connection.execute("SELECT 1 FROM standing WHERE tag = ?", (tag,)).fetchone()
    stops = stops_of(facts_of(connection, tag)) if rows else ()
    if stops:
        raise Refused(
            f"{tag} is stopped ({', '.join(stops)}) and is not withdrawn with its stop",
            cure="lift the stop first (mountbook clear), or `mountbook move` it to retired if it is gone",
        )


def _corrector(connection: sqlite3.Connection, by: str, *, today: date) -> None:
    person = signer(connection, by, days=[today], what="correct the ledger")
    if person.role not in (Role.HEAD_TECHNICIAN, Role.MANAGER):
        raise Refused(
            f"{by} is {person.role.value}; corrections are signed by a head technician or a manager",
            cure="the head technician looks at it and signs with --by NAME",
        )


def _reason(why: str) -> None:
    if not why.strip():
        raise BadInput("a correction needs a reason", cure='add --why "what went wrong"')
