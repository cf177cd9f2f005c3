"""Past rentals as a table: one row a set that was out, or one that had to be refused."""

import csv
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from io import StringIO

from fleet.base.errors import BadInput
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
    try:
        lines = list(csv.reader(StringIO(text), delimiter=_delimiter(text)))
    except csv.Error as fault:
        raise BadInput(f"the file is no table of rentals: {fault}", cure="save the list as csv") from fault
    header = [cell.strip().lower() for cell in lines[0]] if lines else []
    missing = [name for name in COLUMNS if name not in header]
    if missing:
        raise BadInput(
            f"the file has no column {', '.join(missing)}", cure=f"name the columns {', '.join(COLUMNS)}"
        )
    rentals: list[Rental] = []
    faults: list[RentalFault] = []
    for number, line in enumerate(lines[1:], start=2):
        if not any(cell.strip() for cell in line):
            continue
        cells = {name: cell.strip() for name, cell in zip(header, line, strict=False)}
        found = list(_faults(number, cells, kinds))
        faults += found
        if not found:
            rentals.append(_rental(cells))
    return tuple(rentals), tuple(faults)


def _delimiter(text: str) -> str:
    first = text.split("\n", 1)[0]
    return max(",;\t", key=first.count)


def _faults(number: int, cells: dict[str, str], kinds: Collection[str]) -> Iterator[RentalFault]:
    days: list[date] = []
    for column in ("out", "back"):
        try:
            days.append(date.fromisoformat(cells.get(column, "")))
        except ValueError:
            yield RentalFault(
                row=number, column=column, raw=cells.get(column, ""), fix="write a day like 2026-12-28"
            )
    if len(days) == 2 and days[1] < days[0]:
        yield RentalFault(
            row=number, column="back", raw=cells["back"], fix="it comes back on or after the day it went"
        )
    kind = cells.get("kind", "").lower()
    if kind not in kinds:
        yield RentalFault(row=number, column="kind", raw=kind, fix=f"say {', '.join(kinds)}")
    length = tenths_of(cells.get("length_cm", ""))
    if length is None or not 600 <= length <= 2400:
        yield RentalFault(
            row=number, column="length_cm", raw=cells.get("length_cm", ""), fix="centimetres, like 170"
        )
    if _shell(cells.get("mondopoint", "")) is None:
        yield RentalFault(
            row=number, column="mondopoint", raw=cells.get("mondopoint", ""), fix="a shell like 27.5"
        )
    refused = cells.get("refused", "")
    if refused and not (refused.isascii() and refused.isdigit()):
        yield RentalFault(row=number, column="refused", raw=refused, fix="how many were refused, or blank")


def _rental(cells: dict[str, str]) -> Rental:
    refused = int(cells.get("refused") or 0)
    length, shell = tenths_of(cells["length_cm"]), _shell(cells["mondopoint"])
    assert length is not None  # `_faults` found none
    assert shell is not None
    return Rental(
        first=date.fromisoformat(cells["out"]),
        last=date.fromisoformat(cells["back"]),
        kind=Kind(cells["kind"].lower()),
        length_mm=length,
        mondopoint_mm=shell,
        sets=refused or 1,
        refused=refused > 0,
    )


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
