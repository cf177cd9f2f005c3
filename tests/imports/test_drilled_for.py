"""*Drilled for 305*: kept as a mount that the sheet states, of which nothing is invented."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from fleet.facts.pairs import Pair
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_fleet
from imports.headers import Table
from imports.row_checks import drilled_for
from planner.exchange.intake import apply, look_at
from tests.imports.books import SKI, T4H4, TODAY, clean_sheets, table_rows, write_book

NOW = datetime(2026, 11, 25, 17, tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "name", "sole"),
    [
        ("drilled for 305", "", "305"),
        ("Drilled for 305 mm", "", "305"),
        ("drilled for Old Plate 3, 305", "Old Plate 3", "305"),
        ("Old Plate 3, drilled for 305", "Old Plate 3", "305"),
        ("scratched | drilled for Old Plate 3 BSL 312.5", "Old Plate 3", "312.5"),
        ("gebohrt für Old Plate 3 305", "Old Plate 3", "305"),
        ("percé pour semelle 305 mm", "", "305"),
        ("drilled for Old Plate 3", "Old Plate 3", None),
    ],
)
def test_a_remark_is_read_as_what_it_says(text: str, name: str, sole: str | None) -> None:
    said = drilled_for(text)
    assert said is not None
    assert (said.name, None if said.sole is None else str(said.sole)) == (name, sole)


@pytest.mark.parametrize(
    "text",
    [
        *("drill for wood", "was 305 long", "drilled for"),
        *("drilled for 305 or 315", "drilled for 305/315", "mounted for the season"),
    ],
)
def test_what_says_no_one_sole_and_no_name_says_nothing(text: str) -> None:
    assert drilled_for(text) is None


def taken(
    tmp_path: Path, ski: Mapping[str, Any], answers: Mapping[str, str] | None = None, **sheets: Any
) -> tuple[Pair, dict[str, Any]]:
    grid = table_rows(Table.SKI, SKI | ski)
    book = write_book(
        tmp_path / "own.xlsx", clean_sheets(**{"Skis": grid, "Holes": table_rows(Table.HOLE)} | sheets)
    )
    return applied(tmp_path, book, answers)


def applied(tmp_path: Path, book: Path, answers: Mapping[str, str] | None) -> tuple[Pair, dict[str, Any]]:
    proposal = look_at(None, [book], answers=answers or {}, today=TODAY)
    at = tmp_path / "shop.db"
    at.unlink(missing_ok=True)
    assert apply(at, proposal, ledger=None, by="Mara", now=NOW, shop="T", zone="UTC").applied
    with Ledger.open(at) as ledger:
        return read_fleet(ledger.connection).pairs["K-031"], proposal.report()


def stated(pair: Pair) -> list[tuple[str, int | None, int | None]]:
    return [(m.binding_model, m.bsl_um, m.offset_um) for m in pair.stated]


def no_hole(pair: Pair) -> bool:
    return not any(ski.holes for ski in pair.skis.values()) and not pair.mounts


def test_a_remark_says_the_sole_of_the_binding_that_is_on(tmp_path: Path) -> None:
    """No hole, no position and no boot centre is made of it."""
    pair, said = taken(tmp_path, {"binding_model": "Old Plate 3", "notes": "drilled for 305"})
    assert stated(pair) == [("Old Plate 3", 305_000, None)]
    assert no_hole(pair)
    assert [f["message"] for f in said["findings"] if f["code"] == "drilled_for"] == [
        "'drilled for 305' was read as the sole that it is mounted for: 305 mm"
    ]


def test_of_a_known_pattern_it_is_a_stated_mount_too(tmp_path: Path) -> None:
    """The pattern is known, the boot centre is not: no place of the binding follows."""
    pair, _ = taken(tmp_path, {"binding_model": "Teach 4", "notes": "drilled for T4/H4 305"})
    assert stated(pair) == [("Teach 4", None, None)], "T4/H4 is another name than the one in the column"
    pair, _ = taken(tmp_path, {"binding_model": "Teach 4", "notes": "drilled for Teach 4 305"})
    assert stated(pair) == [("Teach 4", 305_000, None)]
    assert no_hole(pair)


def test_a_remark_that_contradicts_the_column_is_asked_and_the_sole_not_taken(tmp_path: Path) -> None:
    said_both = {"binding_model": "Old Plate 3", "bsl_mm": 317, "notes": "drilled for 305"}
    pair, said = taken(tmp_path, said_both)
    [question] = said["questions"]
    assert "'drilled for 305', but the sole it is mounted for is 317 mm" in question["text"]
    assert stated(pair) == [("Old Plate 3", None, None)]
    pair, said = taken(tmp_path, said_both, {question["id"]: "right"})
    assert said["outcome"] == "import"
    assert stated(pair) == [("Old Plate 3", 317_000, None)]


def test_a_binding_that_only_a_remark_names_is_asked_about_once(tmp_path: Path) -> None:
    """It may be on, or its holes may be all that is left of it: no binding is made of a remark."""
    pair, said = taken(tmp_path, {"notes": "drilled for Old Plate 3, 305"})
    [question] = said["questions"]
    assert "is Old Plate 3 on the ski?" in question["text"]
    assert (stated(pair), no_hole(pair)) == ([], True)
    pair, said = taken(tmp_path, {"notes": "drilled for Old Plate 3, 305"}, {question["id"]: "right"})
    assert said["outcome"] == "import"
    assert stated(pair) == [("Old Plate 3", 305_000, None)]
    pair, said = taken(tmp_path, {"notes": "drilled for Old Plate 3, 305"}, {question["id"]: "not known"})
    assert (said["outcome"], stated(pair)) == ("import", [])


def test_a_column_drilled_for_may_hold_the_name_and_the_sole(tmp_path: Path) -> None:
    grid = table_rows(Table.SKI, SKI | {"binding_model": "Old Plate 3", "bsl_mm": "Old Plate 3, 305"})
    grid[0] = ["Drilled for" if key == "bsl_mm" else key for key in grid[0]]
    book = write_book(tmp_path / "own.xlsx", {"Skis": grid})
    pair, said = applied(tmp_path, book, None)
    assert said["outcome"] == "import", said["questions"]
    assert stated(pair) == [("Old Plate 3", 305_000, None)]


def test_it_is_completed_when_the_pattern_and_the_boot_centre_come(tmp_path: Path) -> None:
    """The second file says the pattern and the boot centre; the day stays as it was said."""
    first = {"binding_model": "Teach 4", "mount_date": date(2024, 11, 30), "notes": "drilled for 305"}
    pair, _ = taken(tmp_path, first, Patterns=table_rows(Table.PATTERN))
    assert stated(pair) == [("Teach 4", 305_000, None)]
    grid = table_rows(Table.SKI, SKI | first | {"mark_offset_mm": -5.5})
    second = write_book(tmp_path / "own.xlsx", {"Skis": grid, "Patterns": table_rows(Table.PATTERN, *T4H4)})
    with Ledger.open(tmp_path / "shop.db") as ledger:
        found = [e for e in look_at(ledger, [second], today=TODAY).entries if e.WHAT == "mount recorded"]
    assert [(m.pattern, m.bsl_um, m.offset_um, m.mounted_on) for m in found] == [
        ("T4/H4", 305_000, -5_500, "2024-11-30")
    ]
