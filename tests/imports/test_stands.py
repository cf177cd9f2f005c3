"""Where a piece stands, said by a sheet: into the ledger, to the door and the order's sheet, out and back.

Worked by hand: the heel travels 15 mm back and 12 forward, mounted for 305 mm with the centre on the mark.
Its listed end then lies at -152.5; a heel that stands at -157.5 holds a sole of 310 mm.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from fleet.facts.standing import read_setting
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_fleet
from imports.headers import Table
from planner.exchange.export.both import write_export
from planner.exchange.intake import apply, look_at
from planner.geometry.placement.ways import WayFinder
from planner.plan.plan_words import piece_words
from planner.plan.values import PlannedSet, Rung
from tests.imports.books import (
    BOOT,
    MOUNTED,
    SKI,
    T4H4,
    TODAY,
    clean_sheets,
    codes,
    look,
    table_rows,
    write_book,
)

NOW = datetime(2026, 11, 25, 17, tzinfo=UTC)
SLIDES = {"travel_back_mm": 15, "travel_forward_mm": 12}
TRAVELS = [row | (SLIDES if row["piece"] == "heel" else {}) for row in T4H4]
BOTH_TRAVEL = [row | SLIDES for row in T4H4]


def book(path: Path, patterns: list[dict[str, Any]] = TRAVELS, **said: Any) -> Path:
    sheets = clean_sheets(
        Skis=table_rows(Table.SKI, MOUNTED | said),
        Patterns=table_rows(Table.PATTERN, *patterns),
        Boots=table_rows(Table.BOOT, BOOT | {"bsl_mm": 310}),
        Holes=[],
    )
    return write_book(path, {name: rows for name, rows in sheets.items() if rows})


def entered(tmp_path: Path, *paths: Path, name: str = "shop.db") -> Path:
    proposal = look_at(None, list(paths), today=TODAY)
    assert apply(
        tmp_path / name, proposal, ledger=None, by="Mara Oberlin", now=NOW, shop="Test", zone="UTC"
    ).applied
    return tmp_path / name


def known(shop: Path) -> tuple[int | None, int | None]:
    """(the sole for which it stands, where the heel does), µm."""
    with Ledger.open(shop) as ledger:
        mount = read_fleet(ledger.connection).pairs["K-031"].current_mount
        assert mount is not None
        return read_setting(ledger.connection, "K-031").bsl_um, mount.stands_um("heel", ["heel"])


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ({}, (None, None)),
        ({"heel_stands_mm": -152.5}, (305_000, -152_500)),
        ({"heel_stands_mm": -157.5}, (310_000, -157_500)),
        ({"heel_stands_mm": -167.5}, (320_000, -167_500)),
        ({"toe_stands_mm": 152.5, "heel_stands_mm": -140.5}, (293_000, -140_500)),
        ({"toe_stands_mm": 153, "heel_stands_mm": -157}, (310_000, -157_000)),
        ({"toe_stands_mm": 152.5}, (None, None)),
    ],
)
def test_what_the_sheet_says_is_what_the_ledger_knows(
    tmp_path: Path, said: dict[str, float], expected: tuple[int | None, int | None]
) -> None:
    """A blank cell is not known; a toe that was screwed down 0.5 mm beside its place is not slid."""
    assert known(entered(tmp_path, book(tmp_path / "x.xlsx", **said))) == expected


@pytest.mark.parametrize(
    ("said", "asked"),
    [
        ({"heel_stands_mm": -167.501}, {"stands_out_of_travel"}),
        ({"heel_stands_mm": -140.499}, {"stands_out_of_travel"}),
        ({"toe_stands_mm": 153.501, "heel_stands_mm": -152.5}, {"stands_out_of_travel"}),
        ({"toe_stands_mm": 153.5, "heel_stands_mm": -152.5}, set()),
        ({"heel_stands_mm": -140.5}, set()),
    ],
)
def test_a_place_that_the_travel_does_not_reach_is_asked_about_to_the_micrometre(
    tmp_path: Path, said: dict[str, float], asked: set[str]
) -> None:
    found = look(book(tmp_path / "x.xlsx", **said)).report()
    assert codes(found) & {"stands_out_of_travel", "stands_not_known"} == asked


def test_of_two_pieces_that_travel_both_are_to_be_said(tmp_path: Path) -> None:
    said = look(book(tmp_path / "x.xlsx", BOTH_TRAVEL, heel_stands_mm=-157.5)).report()
    [note] = [f for f in said["findings"] if f["code"] == "stands_not_known"]
    assert note["message"].startswith("the toe piece of T4/H4 travels too and its place is not said")
    shop = entered(tmp_path, book(tmp_path / "x.xlsx", BOTH_TRAVEL, heel_stands_mm=-157.5))
    assert known(shop) == (None, None)


@pytest.mark.parametrize("heel", [None, -157.5, -152.5])
def test_the_order_says_the_distance_from_where_the_heel_stands(tmp_path: Path, heel: float | None) -> None:
    """For 305 mm: 5 mm toward the tip from where it holds 310; stays where it is set; else to be measured."""
    shop = entered(tmp_path, book(tmp_path / "x.xlsx", heel_stands_mm=heel))
    with Ledger.open(shop) as ledger:
        fleet = read_fleet(ledger.connection)
    pair, pattern = fleet.pairs["K-031"], fleet.patterns["T4/H4"]
    finder = WayFinder(pair=pair, pattern=pattern, policy=fleet.policy, mounted=True)
    ways = {way.rung: way for way in finder.ways(305_000)}
    assert (Rung.ADJUST in ways) is (heel == -157.5)
    assert (Rung.AS_IS in ways) is (heel != -157.5)
    way = ways.get(Rung.ADJUST) or {w.rung: w for w in finder.ways(300_000)}[Rung.ADJUST]
    planned = PlannedSet(wish="W", boot="B", pair="K-031", brake_um=None, way=way)
    [words] = piece_words(pair, pattern, planned, fleet.kinds)
    assert (
        words.lead
        == {
            None: "heel: must stand 147.5 mm toward TAIL of the mark",
            -157.5: "heel: 5.0 mm toward TIP from where it stands",
            -152.5: "heel: 5.0 mm toward TIP from where it stands",
        }[heel]
    )


@pytest.mark.parametrize("heel", [None, -157.5])
def test_it_goes_out_in_an_export_and_comes_back(tmp_path: Path, heel: float | None) -> None:
    """As csv and as a workbook: into a new ledger the same is known; into its own nothing changes."""
    shop = entered(tmp_path, book(tmp_path / "x.xlsx", heel_stands_mm=heel))
    with Ledger.open(shop) as ledger:
        write_export(ledger, tmp_path / "out", tmp_path / "out.xlsx", at_entry=None)
        for path in (tmp_path / "out", tmp_path / "out.xlsx"):
            said = look_at(ledger, [path], today=TODAY).report()
            assert said["changes"]["new"] == said["changes"]["changed"] == 0, json.dumps(said["findings"])
            assert not codes(said) & {"stands_differ", "stands_not_known"}
    for number, path in enumerate((tmp_path / "out", tmp_path / "out.xlsx")):
        assert known(entered(tmp_path, path, name=f"again{number}.db")) == known(shop)


def test_a_sheet_that_says_another_place_than_the_ledger_is_asked_about(tmp_path: Path) -> None:
    shop = entered(tmp_path, book(tmp_path / "x.xlsx", heel_stands_mm=-157.5))
    with Ledger.open(shop) as ledger:
        said = look_at(ledger, [book(tmp_path / "y.xlsx", heel_stands_mm=-152.5)], today=TODAY).report()
    [asked] = [f for f in said["findings"] if f["code"] == "stands_differ"]
    assert asked["message"] == "the heel piece stands at -152.5 mm by the row, in the ledger: -157.5 mm"


def test_a_place_without_a_binding_is_asked_about(tmp_path: Path) -> None:
    sheets = clean_sheets(Skis=table_rows(Table.SKI, SKI | {"heel_stands_mm": -157.5}))
    said = look(write_book(tmp_path / "x.xlsx", sheets)).report()
    assert any("the place of a heel piece" in f["message"] for f in said["findings"])
