"""Past rentals as a table: one row a set that was out, or one that had to be refused."""

import csv
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from io import StringIO

from fleet.base.errors import BadInput, or_bad_input
from fleet.facts.kinds import Kind

COLUMNS = ("out", "back", "kind", "length_cm", "mondopoint")
"""Columns that must be there; ``refused`` (how many, 0 or blank: it was rented) may be."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rental:
    """A set from ``first`` to ``last``, both days included. ``refused``: it was asked for and not there."""

    first: date
    last: date
    kind: Kind
    length_mm: int
    mondopoint_mm: int
    sets: int = 1
    refused: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RentalFault:
    """A row that cannot be counted: 1-based row of the file, column, what stood there, what to do."""

    row: int
    column: str
    raw: str
    fix: str


def read_rentals(
    text: str, kinds: Collection[str] = tuple(Kind)
) -> tuple[tuple[Rental, ...], tuple[RentalFault, ...]]:
    """All rentals, and every fault at once. Raises BadInput if the header lacks a column.

    Lengths in centimetres, shells as 27.5 or 275; a day ends when the set comes back, that day included.
    """
    with or_bad_input("the file is no table of rentals:", cure="save the list as csv", of=csv.Error):
        lines = list(csv.reader(StringIO(text), delimiter=_delimiter(text)))
    header = [cell.strip().lower() for cell in lines[0]] if lines else []
    missing = [name for name in COLUMNS if name not in header]
    if missing:
        raise BadInput(
            f"the file has no column {', '.join(missing)}", cure=f"name the columns {', '.join(COLUMNS)}"
        )
    rentals: list[Rental] = []
    faults: list[RentalFault] = []
    for number, line in enumerate(lines[1:], start=2):
        if any(cell.strip() for cell in line):
            cells = {name: cell.strip() for name, cell in zip(header, line, strict=False)}
            found = _read(cells, kinds)
            if isinstance(found, Rental):
                rentals.append(found)
            else:
                faults += [
                    RentalFault(row=number, column=name, raw=cells.get(name, ""), fix=fix)
                    for name, fix in found
                ]
    return tuple(rentals), tuple(faults)


def _delimiter(text: str) -> str:
    first = text.split("\n", 1)[0]
    return max(",;\t", key=first.count)


def _read(cells: Mapping[str, str], kinds: Collection[str]) -> Rental | list[tuple[str, str]]:
    """The rental of a row; where it cannot be counted each column at fault, and what to do."""
    first, last = (_day(cells.get(name, "")) for name in ("out", "back"))
    kind = cells.get("kind", "").lower()
    length, shell = tenths_of(cells.get("length_cm", "")), _shell(cells.get("mondopoint", ""))
    refused = cells.get("refused") or "0"
    wrong = (
        ("out", first is None, "write a day like 2026-12-28"),
        ("back", last is None, "write a day like 2026-12-28"),
        ("back", bool(first and last and last < first), "it comes back on or after the day it went"),
        ("kind", kind not in kinds, f"say {', '.join(kinds)}"),
        ("length_cm", not 600 <= (length or 0) <= 2400, "centimetres, like 170"),
        ("mondopoint", shell is None, "a shell like 27.5"),
        ("refused", not (refused.isascii() and refused.isdigit()), "how many were refused, or blank"),
    )
    faults = [(column, fix) for column, at_fault, fix in wrong if at_fault]
    if faults or first is None or last is None or length is None or shell is None:
        return faults
    return Rental(
        first=first,
        last=last,
        kind=Kind(kind),
        length_mm=length,
        mondopoint_mm=shell,
        sets=int(refused) or 1,
        refused=int(refused) > 0,
    )


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def tenths_of(text: str) -> int | None:
    """Ten times a number as people write it; None for what is none."""
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        return None
    return round(value * 10) if value == value and abs(value) < 10_000 else None


def _shell(text: str) -> int | None:
    value = tenths_of(text)
    if value is None:
        return None
    value = value // 10 if value > 400 else value
    return value if 140 <= value <= 360 else None


def seasons_of(rentals: Sequence[Rental], *, gap_days: int) -> tuple[tuple[Rental, ...], ...]:
    """The rentals by season: a gap longer than ``gap_days`` without a set out begins a new one."""
    seasons: list[list[Rental]] = []
    latest: date | None = None
    for rental in sorted(rentals, key=lambda r: (r.first, r.last)):
        if latest is None or rental.first - latest > timedelta(days=gap_days):
            seasons.append([])
        seasons[-1].append(rental)
        latest = rental.last if latest is None else max(latest, rental.last)
    return tuple(tuple(season) for season in seasons)
