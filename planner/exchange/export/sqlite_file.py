"""The exported tables as a fresh SQLite file with views, to read in other programs. Never the ledger."""

import sqlite3
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path
from typing import Any, Final

from fleet.base.program import program
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import Fleet, rows_by_name
from planner.exchange.export.folder import ENTRIES, entry_rows, in_columns
from planner.exchange.export.tables import TABLES, ExportColumn, ExportRow, ExportTable
from planner.exchange.export.whole_file import whole_file

_PYTHON_TYPE: Final = {"integer": int, "number": float, "any": float}
VIEWS: Final = {
    "pairs_today": """
        SELECT p.*,
            (SELECT group_concat(DISTINCT pattern) FROM bindings WHERE on_pair = p.tag) AS patterns_on_it,
            (SELECT count(*) FROM holes WHERE pair_tag = p.tag AND ski = 'A') AS holes_known_a,
            (SELECT count(*) FROM holes WHERE pair_tag = p.tag AND ski = 'B') AS holes_known_b
        FROM pairs AS p WHERE p.status NOT IN ('sold', 'retired')
        """,
    "holes_known": """
        SELECT h.*, p.model, p.status, round(s.mark_from_tail_mm + h.x_mm, 3) AS from_tail_mm
        FROM holes AS h JOIN pairs AS p ON p.tag = h.pair_tag JOIN skis AS s USING (pair_tag, ski)
        """,
    "open_orders": """
        SELECT o.*, p.model, p.status, p.rack
        FROM work_orders AS o JOIN pairs AS p ON p.tag = o.pair_tag WHERE o.state = 'open'
        """,
}
"""Name -> what it shows. A ski whose mark was never measured has no place from the tail: it stays empty."""
_ORDERS: Final = ExportTable(
    name="work_orders",
    title="every revision of every work order",
    columns=tuple(
        ExportColumn(name, title, type=kind, required=True)
        for name, kind, title in (
            ("number", "string", "number on the sheet"),
            ("revision", "string", "letter on the sheet"),
            ("pair_tag", "string", "asset tag of the pair"),
            ("boot", "string", "asset tag of the boot"),
            ("state", "string", "open, done, stopped or cancelled"),
            ("way", "string", "how the pair is made to serve the boot"),
            ("minutes", "integer", "bench minutes"),
        )
    ),
    key=("number", "revision"),
    rows=lambda _: (),
    foreign=(("pair_tag", "pairs", "tag"),),
)


def order_rows(state: sqlite3.Connection) -> list[ExportRow]:
    """Every revision of every work order, as rows of that table."""
    query = (
        "SELECT number, revision, tag AS pair_tag, boot, state, way, minutes FROM work_order"
        " ORDER BY number, length(revision), revision"
    )
    return list(rows_by_name(state, query))


def write_sqlite(ledger: Ledger, fleet: Fleet, orders: Iterable[ExportRow], path: Path) -> dict[str, int]:
    """Write every table and view in place of ``path``; returns table -> rows. A ledger is never replaced."""
    from sqlite_utils import Database

    with whole_file(path) as beside, closing(Database(beside)) as database:
        written = {table.name: _fill(database, table, table.rows(fleet)) for table in TABLES}
        written[_ORDERS.name] = _fill(database, _ORDERS, orders)
        written[ENTRIES.name] = _fill(database, ENTRIES, entry_rows(ledger, fleet.head.seq))
        database.table("about").insert(
            {
                "program": program(),
                "shop": fleet.shop,
                "time_zone": fleet.zone,
                "ledger_entry": fleet.head.seq,
                "ledger_head": fleet.head.hash,
            }
        )
        for name, select in VIEWS.items():
            database.create_view(name, select)
    return written


def _fill(database: Any, table: ExportTable, rows: Iterable[ExportRow]) -> int:
    """Texts as they are, lengths as numbers, what is not known as NULL."""
    types = [_PYTHON_TYPE.get(column.type, str) for column in table.columns]
    names = [column.key for column in table.columns]
    made = database[table.name].create(
        dict(zip(names, types, strict=True)),
        pk=table.key or None,
        not_null=[column.key for column in table.columns if column.required],
        foreign_keys=table.foreign or None,
    )
    made.insert_all(
        {
            name: None if value is None else _as(kind, value)
            for name, kind, value in zip(names, types, in_columns(table.columns, row), strict=True)
        }
        for row in rows
    )
    return int(made.count)


def _as(kind: type, value: Any) -> Any:
    """The value as its column holds it; a word in the place of a number stays a word."""
    try:
        return kind(value)
    except ValueError:
        return value
