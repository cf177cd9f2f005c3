"""One want per boot, for a shop with neither a sheet of sets wanted nor past rentals.

A boot's sole type and shell size give the kind and the window of lengths, by the shop's own table; boots
of one row of the table want the same, so they stand in one want with a quantity.
"""

import csv
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

from fleet.base.errors import BadInput, or_bad_input
from fleet.facts.boots import Boot
from fleet.facts.kinds import Kind
from fleet.facts.standing import Place
from fleet.facts.wishes import Wish
from planner.planning.seasons.rentals import tenths_of

NAME = "BOOT"
"""Wants per boot are called BOOT-01 and on: the shop's own names stay its own."""

COLUMNS = ("sole_type", "kind", "mondopoint_min", "mondopoint_max", "length_min_cm", "length_max_cm")
"""Columns that must be there; ``origin`` may be. Windows are closed; the first row that fits counts."""

_DEFAULTS_FILE = Path(__file__).with_name("per_boot.csv")


@dataclass(frozen=True, slots=True, kw_only=True)
class LengthWindow:
    """Lengths of a kind that go with shells of a size, millimetres, both ends included."""

    sole_type: str
    kind: Kind
    mondopoint_min_mm: int
    mondopoint_max_mm: int
    length_min_mm: int
    length_max_mm: int
    origin: str

    def fits(self, boot: Boot) -> bool:
        """Return whether the boot's sole and shell are those of this row."""
        size = boot.mondopoint_mm
        return (
            boot.sole_type == self.sole_type
            and size is not None
            and self.mondopoint_min_mm <= size <= self.mondopoint_max_mm
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class PerBoot:
    """Wants with the origin of their windows, and tags of boots that get none, with the reason."""

    wants: tuple[tuple[Wish, str], ...]
    without: tuple[tuple[str, str], ...]


def default_windows() -> tuple[LengthWindow, ...]:
    """The table that mountbook brings along: our default, no source."""
    return read_windows(_DEFAULTS_FILE.read_text(encoding="utf-8"), name=_DEFAULTS_FILE.name)


def read_windows(text: str, *, name: str, kinds: Collection[str] = tuple(Kind)) -> tuple[LengthWindow, ...]:
    """The shop's table. Raises BadInput with every row at fault: a table is taken whole or not at all."""
    reader = csv.DictReader(StringIO(text))
    with or_bad_input(f"{name} is no table of lengths:", cure="save it as csv", of=csv.Error):
        missing = [column for column in COLUMNS if column not in (reader.fieldnames or ())]
        rows = list(reader)
    if missing:
        raise BadInput(f"{name} has no column {', '.join(missing)}", cure=f"name them {', '.join(COLUMNS)}")
    found: list[LengthWindow] = []
    faults: list[str] = []
    for number, row in enumerate(rows, start=2):
        try:
            found.append(_window(row, default_origin=name, kinds=kinds))
        except ValueError as fault:
            faults.append(f"row {number}: {fault}")
    if faults or not found:
        raise BadInput(
            f"{name}: {'; '.join(faults) or 'no row'}",
            cure="correct the table; shells like 27.5, lengths in cm",
        )
    return tuple(found)


def _window(row: dict[str, str | None], *, default_origin: str, kinds: Collection[str]) -> LengthWindow:
    cells = {key: (value or "").strip() for key, value in row.items() if key is not None}
    kind = cells["kind"].lower()
    if kind not in kinds:
        raise ValueError(f"kind {kind!r} is none of {', '.join(kinds)}")
    if not cells["sole_type"]:
        raise ValueError("the sole type is missing")
    sizes: list[int] = []
    for column in COLUMNS[2:]:
        if (size := tenths_of(cells[column])) is None:
            raise ValueError(f"{column} {cells[column]!r} is not a number")
        sizes.append(size)
    _check_window("shell", sizes[0], sizes[1], least=140, most=360)
    _check_window("length", sizes[2], sizes[3], least=600, most=2400)
    return LengthWindow(
        sole_type=cells["sole_type"],
        kind=Kind(kind),
        mondopoint_min_mm=sizes[0],
        mondopoint_max_mm=sizes[1],
        length_min_mm=sizes[2],
        length_max_mm=sizes[3],
        origin=cells.get("origin") or default_origin,
    )


def _check_window(what: str, low: int, high: int, *, least: int, most: int) -> None:
    if not least <= low <= high <= most:
        raise ValueError(f"the {what} window {low / 10:g} to {high / 10:g} cannot be")


def wants_per_boot(boots: Iterable[Boot], windows: Sequence[LengthWindow], *, priority: int = 1) -> PerBoot:
    """One set wanted for every boot of the shop that a row of the table fits; boots of one row together."""
    counts: Counter[int] = Counter()
    without: list[tuple[str, str]] = []
    for boot in sorted(boots, key=lambda b: b.tag):
        if boot.place in (Place.SOLD, Place.RETIRED):
            continue
        row = next((i for i, window in enumerate(windows) if window.fits(boot)), None)
        if boot.place is Place.MISSING:
            without.append((boot.tag, "it is missing"))
        elif boot.mondopoint_mm is None:
            without.append((boot.tag, "its shell size is not known"))
        elif row is None:
            size = f"{boot.mondopoint_mm / 10:g}"
            without.append((boot.tag, f"the table has no row for sole {boot.sole_type!r} and shell {size}"))
        else:
            counts[row] += 1
    wants = []
    for number, (row, count) in enumerate(sorted(counts.items()), start=1):
        window = windows[row]
        wish = Wish(
            wish=f"{NAME}-{number:02}",
            kind=window.kind,
            length_min_mm=window.length_min_mm,
            length_max_mm=window.length_max_mm,
            mondopoint_min_mm=window.mondopoint_min_mm,
            mondopoint_max_mm=window.mondopoint_max_mm,
            quantity=count,
            priority=priority,
        )
        wants.append((wish, window.origin))
    return PerBoot(wants=tuple(wants), without=tuple(without))


def refuse_beside_others(known: Iterable[str]) -> None:
    """Raise BadInput where sets wanted are on record already: one want per boot would ask for them twice."""
    others = [name for name in known if not name.startswith(f"{NAME}-")]
    if others:
        raise BadInput(
            f"sets wanted are on record already: {', '.join(others[:3])}" + (" ..." if others[3:] else ""),
            cure="one want per boot is for a shop without any: leave out --enter, or plan with those",
        )


def lines_of(found: PerBoot) -> Iterator[str]:
    """The proposal for a person."""
    yield "one set for every boot; windows of lengths by the table"
    yield "want     kind      length cm    shell      sets  origin of the window"
    for w, origin in found.wants:
        yield (
            f"{w.wish:<8} {w.kind.value:<9} {w.length_min_mm / 10:g}-{w.length_max_mm / 10:g}".ljust(31)
            + f" {w.mondopoint_min_mm / 10:g}-{w.mondopoint_max_mm / 10:g}".ljust(11)
            + f"{w.quantity:>5}  {origin}"
        )
    for tag, reason in found.without:
        yield f"{tag}: no want, {reason}"
