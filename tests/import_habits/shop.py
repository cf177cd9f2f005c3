"""A tidy small shop, and the draft of a file that says it: what is written, what is true, what must come of it."""

from __future__ import annotations

import csv
import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent


class Want(StrEnum):
    """What must come of a value."""

    TAKEN = "taken exactly so"
    EITHER = "taken exactly so, or asked about"
    ASKED = "asked about, and not taken"
    LEFT = "not taken"


@dataclass
class Cell:
    """``shown``: as written; ``truth``: as it must stand in the ledger, None where nobody knows."""

    shown: Any
    truth: Any
    want: Want = Want.TAKEN


@dataclass
class Row:
    """A thing. ``want`` LEFT: no such thing may be in the ledger; ASKED: a question must be put about it."""

    tag: str
    cells: dict[str, Cell]
    want: Want = Want.TAKEN
    why: str = ""
    struck: bool = False
    fill: str = ""
    comment: str = ""
    hidden: bool = False
    before: list[list[Any]] = field(default_factory=list)


@dataclass
class Table:
    """``above`` and ``below``: lines about it; ``extra``: a column that is none of ours, by header."""

    kind: str
    headers: dict[str, str]
    rows: list[Row]
    above: list[list[Any]] = field(default_factory=list)
    below: list[list[Any]] = field(default_factory=list)
    extra: dict[str, list[Any]] = field(default_factory=dict)
    hidden: set[str] = field(default_factory=set)
    second_header: dict[str, str] = field(default_factory=dict)

    def cells(self, key: str) -> Iterator[tuple[Row, Cell]]:
        return ((row, row.cells[key]) for row in self.rows if key in row.cells)

    def soften(self, *keys: str) -> None:
        """What was to be taken may be asked about too: the sheet does not say it plainly."""
        for row in self.rows:
            for key in keys if "tag" not in keys else row.cells:
                if key in row.cells and row.cells[key].want is Want.TAKEN:
                    row.cells[key].want = Want.EITHER

    def drop(self, *keys: str, want: Want = Want.LEFT) -> None:
        """Leave a column out: what it held is not known any more."""
        for key in keys:
            self.headers.pop(key, None)
            for row in self.rows:
                if key in row.cells:
                    row.cells[key] = Cell(None, None, want)


@dataclass
class Draft:
    """A file before it is written. ``holes``: true ones, by pair, with the want for all of them."""

    draw: random.Random
    tables: dict[str, Table]
    holes: list[dict[str, Any]]
    holes_want: Want = Want.TAKEN
    hole_grid: list[list[Any]] = field(default_factory=list)
    language: str = "en"
    layout: str = "sheets"
    format: str = "xlsx"
    csv: dict[str, Any] = field(default_factory=dict)
    names: dict[str, str] = field(default_factory=lambda: {"ski": "Skis", "boot": "Boots", "hole": "Holes"})
    strange: list[tuple[str, list[list[Any]]]] = field(default_factory=list)
    topics: set[str] = field(default_factory=set)

    @property
    def skis(self) -> Table:
        return self.tables["ski"]

    @property
    def boots(self) -> Table:
        return self.tables["boot"]

    def some(self, many: int = 2, kind: str = "ski") -> list[Row]:
        """Some rows, never the first: there is one above to repeat."""
        rows = [row for row in self.tables[kind].rows[1:] if row.want is Want.TAKEN and not row.why]
        return self.draw.sample(rows, min(many, len(rows)))

    def word(self, key: str, value: str = "") -> str:
        """One of the language's words; English where the list has none."""
        return self.draw.choice(words(self.language, key, value) or words("en", key, value))


@cache
def headers(language: str, kind: str) -> dict[str, tuple[str, ...]]:
    with (HERE / "headers.csv").open(encoding="utf-8") as file:
        return {
            row["key"]: tuple(row["headers"].split("|"))
            for row in csv.DictReader(file)
            if (row["language"], row["kind"]) == (language, kind)
        }


@cache
def words(language: str, key: str, value: str = "") -> tuple[str, ...]:
    with (HERE / "words.csv").open(encoding="utf-8") as file:
        return tuple(
            word
            for row in csv.DictReader(file)
            if (row["language"], row["key"], row["value"] or "") == (language, key, value)
            for word in row["words"].split("|")
        )


LANGUAGES = ("en", "de", "fr", "it", "es", "no", "sv", "cs", "pl", "sl", "ja")
MODELS = (
    ("Dohle 74", "alpine", 74, "no metal", "Riegel R", (80, 85), (146, 153, 160)),
    ("Dohle 82", "alpine", 82, "no metal", "Riegel R", (85, 90), (160, 167, 174)),
    ("Kranich 90", "alpine", 90, "metal", "Riegel 11", (95, 100), (170, 177, 184)),
    ("Gratweg 88", "touring", 88, "no metal", "Leichtsteg 10", (90, 95), (164, 171, 178)),
    ("Bogen 94", "telemark", 94, "metal", "Federzug 75", (100, 105), (170, 178)),
    ("Zeisig", "junior", 68, "thin core", "Riegel Jr", (75, 80), (100, 110, 120)),
)
SHELLS = {22.5: 265, 23.5: 275, 24.5: 286, 25.5: 295, 26.5: 306, 27.5: 316, 28.5: 325, 29.5: 337}
TRACK = ((-12.5, "toe"), (-58.0, "toe"), (30.0, "heel"), (94.0, "heel"))


def tidy_shop(draw: random.Random) -> Draft:
    """8 to 14 pairs, 6 to 9 boots, the holes of two pairs; written tidily in English."""
    rows, prefix = [], draw.choice(("K-", "P", "SK ", "A"))
    for at in range(draw.randint(8, 14)):
        model, kind, waist, core, binding, brakes, lengths = draw.choice(MODELS if at else MODELS[:3])
        length, sole = draw.choice(lengths), draw.choice(list(SHELLS.values()))
        if kind == "junior":
            sole = draw.choice((225, 237, 244, 256))
        facts = {
            "tag": f"{prefix}{at * 3 + 14:03}",
            "model": model,
            "kind": kind,
            "length_cm": length,
            "waist_mm": waist,
            "construction": core,
            "binding_model": binding,
            "brake_mm": draw.choice(brakes),
            "bsl_mm": sole,
            "mount_date": f"{draw.choice((2021, 2022, 2023, 2024))}-{draw.choice((10, 11, 12)):02}-{draw.randint(13, 28)}",
            "earlier_mounts": draw.choice((0, 1, 2)),
            "mark_from_tail_mm": round(length * 4.2 + draw.choice((-4, 0, 6))),
            "rack": f"R{draw.randint(1, 4)}-{draw.randint(10, 29)}",
        }
        rows.append(Row(facts["tag"], {key: Cell(value, value) for key, value in facts.items()}))
    skis = Table("ski", {key: key for key in rows[0].cells}, rows)
    rows = []
    for at in range(draw.randint(6, 9)):
        size = draw.choice(list(SHELLS))
        model, norm = draw.choice(
            (("Strauss 80", "ISO 5355 A"), ("Strauss 110", "ISO 5355 A"), ("Marder T", "ISO 9523"))
        )
        facts = {
            "tag": f"B-{at * 2 + 201}",
            "model": model,
            "mondopoint": size,
            "bsl_mm": SHELLS[size],
            "sole_type": norm,
        }
        rows.append(Row(facts["tag"], {key: Cell(value, value) for key, value in facts.items()}))
    boots = Table("boot", {key: key for key in rows[0].cells}, rows)
    holes = [
        {
            "pair_tag": row.tag,
            "ski": ski,
            "x_mm": (1 if piece == "toe" else -1) * row.cells["bsl_mm"].truth / 2 + x,
            "y_mm": y,
            "diameter_mm": 3.6,
            "depth_mm": 9.0,
            "state": "screwed",
            "knowledge": "measured bare",
        }
        for row in skis.rows[:2]
        for ski in "AB"
        for x, piece in TRACK
        for y in (14.0, -14.0)
    ]
    draft = Draft(draw, {"ski": skis, "boot": boots}, holes)
    for table in draft.tables.values():
        for key, texts in headers("en", table.kind).items():
            if key in table.headers:
                table.headers[key] = texts[0]
    plain_holes(draft, ours=True)
    return draft


def plain_holes(draft: Draft, *, ours: bool = False) -> None:
    """One hole a row, under the first header of the language (English where it has none), or ``ours``."""
    named = headers(draft.language, "hole") or headers("en", "hole")
    keys = ("pair_tag", "ski", "x_mm", "y_mm", "diameter_mm", "depth_mm", "state")
    known = {key: key if ours else named[key][0] for key in keys} | {"knowledge": "knowledge"}
    draft.hole_grid = [list(known.values()), *([hole[key] for key in known] for hole in draft.holes)]
