"""What a sheet says is kept as said, and what it does not say stays unknown: mounts, and how many before."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook

from fleet.facts.holes import Side
from fleet.facts.pairs import Pair
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import Fleet, read_fleet
from imports.headers import Table
from planner.exchange.export.both import write_export
from planner.exchange.intake import apply, look_at
from tests.imports.books import HOLE, MOUNTED, SKI, T4H4, TODAY, clean_sheets, table_rows, write_book

NOW = datetime(2026, 11, 25, 17, tzinfo=UTC)
UNKNOWN = MOUNTED | {
    "binding_model": "Old Plate 3",
    "bsl_mm": 305,
    "mark_offset_mm": -5.5,
    "mount_date": date(2024, 11, 30),
    "earlier_mounts": None,
}
"""The binding on it is of a model whose pattern nobody has entered yet."""


def take(tmp_path: Path, *skis: Mapping[str, Any], name: str = "own.xlsx", **sheets: Any) -> dict[str, Any]:
    book = write_book(
        tmp_path / name,
        clean_sheets(**({"Skis": table_rows(Table.SKI, *skis), "Holes": table_rows(Table.HOLE)} | sheets)),
    )
    return take_path(tmp_path, book)


def take_path(tmp_path: Path, path: Path, ledger_name: str = "shop.db") -> dict[str, Any]:
    at = tmp_path / ledger_name
    ledger = Ledger.open(at) if at.exists() else None
    proposal = look_at(ledger, [path], today=TODAY)
    said = proposal.report()
    done = apply(at, proposal, ledger=ledger, by="Mara Oberlin", now=NOW, shop="Test", zone="UTC")
    if ledger is not None:
        ledger.connection.close()
    assert done.applied, [f for f in said["findings"] if f["severity"] != "note"]
    return said


def fleet(tmp_path: Path, ledger_name: str = "shop.db") -> Fleet:
    with Ledger.open(tmp_path / ledger_name) as ledger:
        return read_fleet(ledger.connection)


def pair(tmp_path: Path, tag: str = "K-031", ledger_name: str = "shop.db") -> Pair:
    return fleet(tmp_path, ledger_name).pairs[tag]


def test_a_mount_without_a_known_pattern_is_kept_as_said(tmp_path: Path) -> None:
    """Model, sole, boot centre and day; no hole is invented, and no position."""
    said = take(tmp_path, UNKNOWN)
    assert "kept as said" in next(f["message"] for f in said["findings"] if f["code"] == "mount_incomplete")
    made = pair(tmp_path)
    [mount] = made.stated
    assert (mount.binding_model, mount.bsl_um, mount.offset_um) == ("Old Plate 3", 305_000, -5_500)
    assert (mount.mounted_on, mount.removed_on) == ("2024-11-30", None)
    assert (made.mounts, made.skis[Side.A].holes, made.current_mount) == ((), (), None)


@pytest.mark.parametrize(
    ("cells", "kept"),
    [
        ({"bsl_mm": None}, ("Old Plate 3", None, -5_500, "2024-11-30")),
        ({"mark_offset_mm": None}, ("Old Plate 3", 305_000, None, "2024-11-30")),
        ({"mount_date": None}, ("Old Plate 3", 305_000, -5_500, "")),
        (
            {"bsl_mm": None, "mark_offset_mm": None, "mount_date": None},
            ("Old Plate 3", None, None, ""),
        ),
        ({"binding_model": "Teach 4", "bsl_mm": None}, ("Teach 4", None, -5_500, "2024-11-30")),
    ],
)
def test_whatever_part_of_a_mount_is_said_is_kept(
    tmp_path: Path, cells: dict[str, Any], kept: tuple[Any, ...]
) -> None:
    take(tmp_path, UNKNOWN | cells)
    [mount] = pair(tmp_path).stated
    assert (mount.binding_model, mount.bsl_um, mount.offset_um, mount.mounted_on) == kept


def test_the_same_file_again_changes_nothing_and_a_changed_cell_changes_it(tmp_path: Path) -> None:
    take(tmp_path, UNKNOWN)
    before = (tmp_path / "shop.db").read_bytes()
    said = take(tmp_path, UNKNOWN)
    assert (said["changes"]["new"], said["changes"]["changed"]) == (0, 0)
    assert (tmp_path / "shop.db").read_bytes() == before
    said = take(tmp_path, UNKNOWN | {"bsl_mm": 310})
    assert said["differences"] == [
        {"what": "stated mount of K-031", "field": "bsl_um", "old": 305_000, "new": 310_000}
    ]
    [mount] = pair(tmp_path).stated
    assert (mount.bsl_um, mount.offset_um) == (310_000, -5_500)


def test_once_its_pattern_is_known_the_same_row_makes_it_a_mount(tmp_path: Path) -> None:
    """It is one mount all along, counted once."""
    take(tmp_path, UNKNOWN)
    assert pair(tmp_path).drilled_mounts == 1
    known = [row | {"pattern": "Old 3", "binding_model": "Old Plate 3"} for row in T4H4]
    take(tmp_path, UNKNOWN, Patterns=table_rows(Table.PATTERN, *known))
    made = pair(tmp_path)
    assert (made.stated, made.drilled_mounts) == ((), 1)
    assert made.current_mount is not None
    assert (made.current_mount.pattern, made.current_mount.bsl_um) == ("Old 3", 305_000)


def test_earlier_mounts_that_are_not_stated_are_unknown_and_a_zero_is_a_zero(tmp_path: Path) -> None:
    take(tmp_path, UNKNOWN, UNKNOWN | {"tag": "K-032", "earlier_mounts": 0})
    unknown, none = pair(tmp_path), pair(tmp_path, "K-032")
    assert (unknown.earlier_mounts, none.earlier_mounts) == (None, 0)
    assert unknown.mounts_text == "1 mount drilled, earlier mounts not known"
    assert none.mounts_text == "1 mount drilled"


def holes(*states: str) -> Any:
    rows = [
        HOLE | {"ski": side, "x_mm": 100 - 30 * n, "state": state}
        for n, state in enumerate(states)
        for side in "AB"
    ]
    return table_rows(Table.HOLE, *rows)


@pytest.mark.parametrize(
    ("ski", "states", "count"),
    [
        (SKI, (), 0),
        (SKI, ("open",), 1),
        (SKI, ("plugged", "open"), 1),
        (SKI, ("insert",), 1),
        (UNKNOWN, (), 1),
        (UNKNOWN, ("screwed",), 1),
        (UNKNOWN, ("screwed", "plugged"), 2),
        (UNKNOWN, ("screwed", "open"), 2),
        (UNKNOWN | {"earlier_mounts": 0}, ("screwed", "plugged"), 1),
        (UNKNOWN | {"earlier_mounts": 2}, ("screwed", "plugged"), 3),
    ],
)
def test_where_nothing_is_stated_the_mounts_that_the_holes_show_count(
    tmp_path: Path, ski: dict[str, Any], states: tuple[str, ...], count: int
) -> None:
    """At least the present one, and one more where a hole stands that it is not screwed into."""
    take(tmp_path, ski, Holes=holes(*states))
    assert pair(tmp_path).drilled_mounts == count


def test_work_at_the_bench_never_lowers_what_the_holes_showed(tmp_path: Path) -> None:
    """A stated mount comes off and another goes on: three, though two of them are one on paper now."""
    take(tmp_path, UNKNOWN, Holes=holes("screwed", "plugged"))
    with Ledger.open(tmp_path / "shop.db") as ledger, ledger.transaction(by="Ida", now=NOW) as tx:
        tx.enter("mount removed", {"tag": "K-031", "removed_on": "2026-11-25"})
        body = {"tag": "K-031", "pattern": "T4/H4", "bsl_um": 305_000, "offset_um": 0, "slides": []}
        more = {"mounted_on": "2026-11-25", "removed_on": None, "drilled": True}
        tx.enter("mount recorded", body | more)
    made = pair(tmp_path)
    assert made.stated[0].removed_on == "2026-11-25"
    assert made.drilled_mounts == 3


def test_a_corrected_number_of_earlier_mounts_counts_from_then_on(tmp_path: Path) -> None:
    from fleet.ledger.corrections import correct

    take(tmp_path, UNKNOWN, Holes=holes("screwed", "plugged"))
    with Ledger.open(tmp_path / "shop.db") as ledger:
        for said, count in (("2", 3), ("", 2)):
            with ledger.transaction(by="Mara Oberlin", now=NOW) as tx:
                settings = {"earlier_mounts": said}
                correct(tx, "K-031", settings, by="Mara Oberlin", why="asked around", today=TODAY)
            assert read_fleet(ledger.connection).pairs["K-031"].drilled_mounts == count


def test_export_says_both_and_reads_them_back_unchanged(tmp_path: Path) -> None:
    """Workbook and csv folder, into the same ledger and into a new one; removed ones too."""
    take(tmp_path, UNKNOWN, UNKNOWN | {"tag": "K-032", "bsl_mm": 310})
    with Ledger.open(tmp_path / "shop.db") as ledger:
        with ledger.transaction(by="Ida", now=NOW) as tx:
            tx.enter("mount removed", {"tag": "K-032", "removed_on": "2026-11-20"})
        write_export(ledger, tmp_path / "out", tmp_path / "people.xlsx", at_entry=None)
    rows = (tmp_path / "out" / "mounts.csv").read_text(encoding="utf-8").splitlines()
    assert rows[1].startswith("K-031,,305,-5.5,2024-11-30,")
    assert rows[1].endswith("Old Plate 3")
    [skis] = [r for r in load_workbook(tmp_path / "people.xlsx")["Skis"].values if r[0] == "K-031"]
    assert {"Old Plate 3", 305, -5.5} <= set(skis)
    before = fleet(tmp_path)
    for path in (tmp_path / "people.xlsx", tmp_path / "out"):
        changes = take_path(tmp_path, path)["changes"]
        assert (changes["new"], changes["changed"]) == (0, 0), path
    take_path(tmp_path, tmp_path / "out", "new.db")
    after = fleet(tmp_path, "new.db")
    for tag in ("K-031", "K-032"):
        one, other = before.pairs[tag], after.pairs[tag]
        assert [_said(m) for m in one.stated] == [_said(m) for m in other.stated]
        assert (other.earlier_mounts, other.drilled_mounts) == (None, one.drilled_mounts)


def _said(mount: Any) -> tuple[Any, ...]:
    return (mount.binding_model, mount.bsl_um, mount.offset_um, mount.mounted_on, mount.removed_on)


def test_every_value_of_the_skis_and_holes_that_is_taken_is_in_the_ledger(tmp_path: Path) -> None:
    """A small workbook applied, and each value of its rows read back from the export of the ledger."""
    skis = (
        MOUNTED | {"inspected": None},
        UNKNOWN | {"tag": "K-032", "earlier_mounts": None, "mark_from_tail_mm": None},
        SKI | {"tag": "K-033", "inspected": "bare", "inspected_on": date(2026, 10, 1), "earlier_mounts": 2},
        UNKNOWN | {"tag": "K-034", "bsl_mm": None, "mark_offset_mm": None},
    )
    old = HOLE | {"pair_tag": "K-033", "depth_mm": None}
    hole_rows = [HOLE, old, old | {"ski": "B", "x_mm": 90.25, "diameter_mm": None}]
    said = take(tmp_path, *skis, Holes=table_rows(Table.HOLE, *hole_rows))
    with Ledger.open(tmp_path / "shop.db") as ledger:
        write_export(ledger, None, tmp_path / "people.xlsx", at_entry=None)
    again = look_at(None, [tmp_path / "people.xlsx"], today=TODAY).report()
    for kind, key in (("ski", ("tag",)), ("hole", ("pair_tag", "ski"))):
        taken, kept = (
            {tuple(r["values"][k] for k in key): r["values"] for r in rows if r["kind"] == kind}
            for rows in (said["rows"], again["rows"])
        )
        assert len(taken) > 2
        for tag, values in taken.items():
            for name, value in values.items():
                found = kept[tag].get(name)
                if name == "binding_model" and value == "Teach 4":
                    assert found == "T4/H4"  # the pattern says it more narrowly
                elif value is not None:
                    assert found == value, (tag, name)
                else:
                    assert found is None, (tag, name)
