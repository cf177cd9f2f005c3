"""The stock on the shelf: the shop's own lists in csv, and the ledger's loose bindings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from fleet.base.errors import BadInput
from fleet.base.files import typed_rows
from fleet.facts.pairs import BrakeWidth
from fleet.tables.snapshot import Fleet
from planner.bench.parts.needs import Part, ScrewNames, Sort, binding_name
from planner.bench.parts.shortage import stock_name


def read_stock(path: Path) -> dict[str, int]:
    """Return pieces by name from ``part,quantity``; equal names add up. Raises BadInput with the row."""
    stock: Counter[str] = Counter()
    for number, row in _rows(path, ("part", "quantity")):
        stock[row["part"]] += _whole(path, number, "quantity", row["quantity"])
    return stock


def read_screws(path: Path) -> ScrewNames:
    """Return screw names from ``pattern,piece,number,part``; an empty number means every screw of the
    piece.
    """
    rows = _rows(path, ("pattern", "piece", "number", "part"))
    places = ((row, _whole(path, n, "number", row["number"] or "0")) for n, row in rows)
    return ScrewNames({(row["pattern"], row["piece"].lower(), at): row["part"] for row, at in places})


def bindings_in_stock(fleet: Fleet) -> dict[str, int]:
    """Return the pairs of bindings that the ledger has loose, by the names of the parts lists."""
    loose: Counter[tuple[str, BrakeWidth]] = Counter()
    for binding in fleet.bindings.values():
        loose[binding.pattern, binding.brake_to_plan] += binding.may_be_mounted
    stock: Counter[str] = Counter()
    for (pattern, brake_um), count in loose.items():
        part = Part(sort=Sort.BINDING, name=binding_name(fleet, pattern, brake_um), unit="pairs")
        stock[stock_name(part)] += count // 2
    return dict(stock)


def _rows(path: Path, columns: tuple[str, ...]) -> Iterator[tuple[int, dict[str, str]]]:
    rows = typed_rows(path, columns, cure=f"its first line should be {','.join(columns)}")
    for number, row in enumerate(rows, start=2):
        if not row["part"]:
            raise BadInput(f"{path} row {number} names no part", cure="fill every column")
        yield number, row


def _whole(path: Path, row: int, column: str, text: str) -> int:
    if not text.isascii() or not text.isdigit():
        raise BadInput(
            f"{path} row {row}: {column} is {text!r}, not a whole number from 0 up", cure="correct the row"
        )
    return int(text)
