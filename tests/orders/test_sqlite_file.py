"""The export as a SQLite file: what stands in it is what the ledger says, read with plain SQL."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from fleet.base.errors import BadInput
from fleet.base.program import program
from planner.exchange.export.both import write_export
from planner.exchange.export.folder import in_columns
from planner.exchange.export.sqlite_file import VIEWS
from planner.exchange.export.tables import TABLES
from tests.orders.bench_shop import BenchShop


def rows(file: Path, sql: str) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(file)) as connection:
        return connection.execute(sql).fetchall()


def export(shop: BenchShop, file: Path, at_entry: int | None = None) -> Path:
    write_export(shop.ledger, None, None, file, at_entry=at_entry)
    return file


def as_kept(kind: str, value: object) -> object:
    """A number as a number, also where a column may hold words beside numbers: ``none``."""
    if value is None or kind not in ("number", "any"):
        return value
    try:
        return float(str(value))
    except ValueError:
        return value


def test_every_exported_table_stands_in_it_row_for_row(shop: BenchShop, tmp_path: Path) -> None:
    file = export(shop, tmp_path / "fleet.db")
    fleet = shop.fleet()
    for table in TABLES:
        told = [
            tuple(
                as_kept(column.type, value)
                for column, value in zip(table.columns, in_columns(table.columns, row), strict=True)
            )
            for row in table.rows(fleet)
        ]
        assert rows(file, f"SELECT * FROM {table.name}") == told
    assert rows(file, "SELECT count(*), max(hash) <> '' FROM entries") == [(fleet.head.seq, 1)]
    assert rows(file, "SELECT program, ledger_entry, ledger_head FROM about") == [
        (program(), fleet.head.seq, fleet.head.hash)
    ]
    assert rows(file, "PRAGMA foreign_key_check") == []


def test_the_views_show_the_pairs_of_today_their_holes_and_the_open_orders(
    shop: BenchShop, tmp_path: Path
) -> None:
    before = shop.ledger.head.seq
    (order,) = shop.issue().orders
    file = export(shop, tmp_path / "fleet.db")
    assert rows(file, "SELECT number, revision, pair_tag, state FROM open_orders") == [
        (order.number, order.revision, order.tag, "open")
    ]
    tags = [tag for (tag,) in rows(file, "SELECT tag FROM pairs_today ORDER BY tag")]
    assert tags == sorted(shop.fleet().pairs)
    for tag, pair in shop.fleet().pairs.items():
        known = {side.value: len(ski.holes) for side, ski in pair.skis.items()}
        assert rows(file, f"SELECT holes_known_a, holes_known_b FROM pairs_today WHERE tag = '{tag}'") == [
            (known["A"], known["B"])
        ]
    held = "SELECT count(*) FROM holes_known WHERE from_tail_mm IS NOT"
    marks = "(SELECT mark_from_tail_mm FROM skis AS s WHERE s.pair_tag = holes_known.pair_tag"
    assert rows(file, f"{held} {marks} AND s.ski = holes_known.ski) + x_mm") == [(0,)]
    assert rows(export(shop, tmp_path / "old.db", before), "SELECT * FROM open_orders") == []
    assert set(VIEWS) == {
        name for (name,) in rows(file, "SELECT name FROM sqlite_master WHERE type = 'view'")
    }


def test_a_hole_of_a_ski_whose_mark_was_never_measured_has_no_place_from_the_tail(
    shop: BenchShop, tmp_path: Path
) -> None:
    file = export(shop, tmp_path / "fleet.db")
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("UPDATE skis SET mark_from_tail_mm = NULL WHERE ski = 'B'")
        told = connection.execute(
            "SELECT DISTINCT ski, from_tail_mm IS NULL FROM holes_known ORDER BY ski"
        ).fetchall()
    assert told == [("A", 0), ("B", 1)]


def test_it_never_takes_the_place_of_a_ledger(shop: BenchShop) -> None:
    with pytest.raises(BadInput, match="nothing is written over it"):
        export(shop, shop.ledger.path)
    assert shop.fleet().pairs


def test_a_text_that_would_be_a_formula_or_sql_stays_as_it_is(shop: BenchShop, tmp_path: Path) -> None:
    shop.pair("=1+1'); DROP TABLE pairs --")
    file = export(shop, tmp_path / "fleet.db")
    assert ("=1+1'); DROP TABLE pairs --",) in rows(file, "SELECT tag FROM pairs_today")
