"""A hole row that is set aside closes its ski: nobody offers new holes where an old one was listed."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook

from fleet.facts.holes import Side
from fleet.facts.pairs import Ski
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_fleet
from imports.headers import Table
from planner.exchange.intake import apply, look_at
from tests.imports.books import HOLE, SKI, TODAY, clean_sheets, table_rows, write_book, write_csv

NOW = datetime(2026, 11, 25, 17, tzinfo=UTC)
BARE = SKI | {"inspected": "bare", "inspected_on": date(2026, 10, 1)}
OTHER = BARE | {"tag": "K-032"}
FAR = HOLE | {"x_mm": 690}
"""Beyond the end of the ski: a question, which somebody settles by leaving the row out."""


def take(
    tmp_path: Path,
    holes: list[Mapping[str, Any]],
    *leave_out: str,
    skis: tuple[Mapping[str, Any], ...] = (BARE, OTHER),
    **sheets: Any,
) -> dict[str, Any]:
    """Write the workbook and apply it, these rows left out."""
    book = write_book(
        tmp_path / "own.xlsx",
        clean_sheets(Skis=table_rows(Table.SKI, *skis), Holes=table_rows(Table.HOLE, *holes), **sheets),
    )
    return take_book(tmp_path, book, *leave_out)


def take_book(tmp_path: Path, book: Path, *leave_out: str) -> dict[str, Any]:
    path = tmp_path / "shop.db"
    ledger = Ledger.open(path) if path.exists() else None
    proposal = look_at(ledger, [book], leave_out=leave_out, today=TODAY)
    done = apply(path, proposal, ledger=ledger, by="Mara", now=NOW, shop="Test", zone="UTC")
    if ledger is not None:
        ledger.connection.close()
    assert done.applied, [f for f in proposal.report()["findings"] if f["severity"] != "note"]
    return proposal.report(applied=True) | {"follows": list(proposal.follows)}


def skis(tmp_path: Path, tag: str = "K-031") -> tuple[Ski, Ski]:
    with Ledger.open(tmp_path / "shop.db") as ledger:
        pair = read_fleet(ledger.connection).pairs[tag]
    return pair.skis[Side.A], pair.skis[Side.B]


def opened(tmp_path: Path, tag: str = "K-031") -> tuple[bool, bool]:
    a, b = skis(tmp_path, tag)
    return bool(a.inspected), bool(b.inspected)


@pytest.mark.parametrize(
    ("ski", "open_after"),
    [("A", (False, True)), ("B", (True, False)), ("both", (False, False)), (None, (False, False))],
)
def test_a_hole_row_left_out_closes_its_ski_and_no_other(
    tmp_path: Path, ski: str | None, open_after: tuple[bool, bool]
) -> None:
    """Whatever the inspected column says; a row without a side may be of either ski."""
    said = take(tmp_path, [FAR | {"ski": ski}, HOLE | {"pair_tag": "K-032"}], "Holes:2")
    assert opened(tmp_path) == open_after
    assert opened(tmp_path, "K-032") == (True, True)
    for side, was_open, found in zip(Side, open_after, skis(tmp_path), strict=True):
        assert bool(found.closed_entry) is not was_open, side
    note = next(f for f in said["findings"] if f["code"] == "ski_closed")
    assert "row Holes 2 is set aside" in note["message"]
    assert "not inspected, whatever the column says" in note["message"]
    assert any("K-031" in text and "survey bare" in text for text in said["follows"])


def test_the_whole_sheet_left_out_closes_every_ski_it_names(tmp_path: Path) -> None:
    take(tmp_path, [FAR, HOLE | {"pair_tag": "K-032", "ski": "B"}], "Holes")
    assert opened(tmp_path) == (False, True)
    assert opened(tmp_path, "K-032") == (True, False)


def test_a_place_that_comes_with_another_row_closes_nothing(tmp_path: Path) -> None:
    """A and both: the hole is on record on ski A, and on B nobody would know of it."""
    take(tmp_path, [HOLE, HOLE | {"ski": "both"}], "Holes:3")
    assert opened(tmp_path) == (True, False)


def test_a_row_without_a_tag_left_out_opens_nothing_of_that_import(tmp_path: Path) -> None:
    """It may be of any ski of the file."""
    said = take(tmp_path, [HOLE, FAR | {"pair_tag": None}], "Holes:3")
    assert opened(tmp_path) == opened(tmp_path, "K-032") == (False, False)
    assert "names no pair" in next(f for f in said["findings"] if f["code"] == "ski_closed")["message"]


def test_a_known_ski_that_was_open_closes(tmp_path: Path) -> None:
    take(tmp_path, [HOLE])
    assert opened(tmp_path) == (True, True)
    take(tmp_path, [HOLE, FAR | {"ski": "B"}], "Holes:3")
    assert opened(tmp_path) == (True, False)
    assert skis(tmp_path)[1].closed_why == "hole row Holes 3 of own.xlsx was set aside"


def test_a_known_hole_moved_by_a_row_left_out_closes(tmp_path: Path) -> None:
    """Its id is known, its place is in doubt."""
    take(tmp_path, [HOLE])
    named = [[*table_rows(Table.HOLE)[0], "hole_id"], [*table_rows(Table.HOLE, FAR)[1], "K-031/A1"]]
    book = write_book(tmp_path / "two.xlsx", clean_sheets(Skis=table_rows(Table.SKI, BARE), Holes=named))
    take_book(tmp_path, book, "Holes:2")
    assert opened(tmp_path) == (False, True)


def test_only_a_later_survey_bare_opens_it_again(tmp_path: Path) -> None:
    """The same file again, and a day up to that of the import, change nothing; a later one opens."""
    rows = [HOLE, FAR]
    take(tmp_path, rows, "Holes:3")
    before = (tmp_path / "shop.db").read_bytes()
    assert take(tmp_path, rows, "Holes:3")["changes"]["changed"] == 0
    assert (tmp_path / "shop.db").read_bytes() == before
    for on in (date(2026, 10, 1), TODAY):
        said = take(tmp_path, [HOLE], skis=(BARE | {"inspected_on": on}, OTHER))
        assert "stays_closed" in {f["code"] for f in said["findings"]}
        assert opened(tmp_path) == (False, True)
    with Ledger.open(tmp_path / "shop.db") as ledger:
        later = datetime(2026, 11, 26, 9, tzinfo=UTC)
        with ledger.transaction(by="Mara", now=later) as tx:
            body = {"tag": "K-031", "side": "A", "from_um": -330_000, "to_um": 280_000}
            tx.enter("area inspected", body | {"how": "bare", "on": "2026-11-26"})
    assert opened(tmp_path) == (True, True)
    take(tmp_path, rows, "Holes:3")
    assert opened(tmp_path) == (True, True)


def test_a_pair_left_out_with_its_rows_closes_it_where_the_ledger_knows_it(tmp_path: Path) -> None:
    """Its ski row is doubtful; the new hole below it goes aside with it, and was listed all the same."""
    take(tmp_path, [HOLE])
    take(tmp_path, [HOLE, HOLE | {"x_mm": 60}], "Skis:2", skis=(BARE | {"length_cm": -1}, OTHER))
    assert opened(tmp_path) == (False, True)


def test_holes_on_a_hidden_sheet_close_their_skis(tmp_path: Path) -> None:
    """The hidden sheet is not imported; what it lists and the ledger would not know closes."""
    book = write_book(
        tmp_path / "own.xlsx",
        clean_sheets(Skis=table_rows(Table.SKI, BARE, OTHER), Holes=table_rows(Table.HOLE, HOLE))
        | {"Old": table_rows(Table.HOLE, HOLE, HOLE | {"pair_tag": "K-032", "ski": "B"})},
    )
    hidden = load_workbook(book)
    hidden["Old"].sheet_state = "hidden"
    hidden.save(book)
    take_book(tmp_path, book)
    assert opened(tmp_path) == (True, True)
    assert opened(tmp_path, "K-032") == (True, False)


def test_a_hole_sheet_that_nobody_can_read_left_out_by_name_opens_nothing(tmp_path: Path) -> None:
    sheets = clean_sheets(Skis=table_rows(Table.SKI, BARE, OTHER))
    sheets["Holes"] = [["31", "links", 101, 18], ["32", "links", 90, 20], ["33", "rechts", 80, 20]]
    take_book(tmp_path, write_book(tmp_path / "own.xlsx", sheets), "Holes")
    assert opened(tmp_path) == opened(tmp_path, "K-032") == (False, False)


def test_an_export_with_a_hole_row_left_out_opens_no_area_in_a_new_ledger(tmp_path: Path) -> None:
    """The areas stand on a table of their own there: they do not open the ski either."""
    from planner.exchange.export.both import write_export

    take(tmp_path, [HOLE, HOLE | {"ski": "B"}])
    with Ledger.open(tmp_path / "shop.db") as ledger:
        write_export(ledger, tmp_path / "out", None, at_entry=None)
    (tmp_path / "shop.db").unlink()
    take_book(tmp_path, tmp_path / "out", "holes:2")
    assert opened(tmp_path) == (False, True)


def test_a_csv_of_holes_alone_closes_a_known_ski(tmp_path: Path) -> None:
    take(tmp_path, [HOLE])
    path = write_csv(tmp_path / "holes.csv", table_rows(Table.HOLE, HOLE, HOLE | {"ski": "B", "state": "?"}))
    said = take_book(tmp_path, path, "holes:3")
    assert opened(tmp_path) == (True, False)
    assert "ski_closed" in {f["code"] for f in said["findings"]}


def test_a_closed_ski_is_exported_as_not_inspected(tmp_path: Path) -> None:
    from planner.exchange.export.both import write_export

    take(tmp_path, [HOLE, FAR], "Holes:3")
    with Ledger.open(tmp_path / "shop.db") as ledger:
        write_export(ledger, tmp_path / "out", tmp_path / "people.xlsx", at_entry=None)
    rows = (tmp_path / "out" / "skis.csv").read_text(encoding="utf-8").splitlines()
    assert rows[1].endswith(",,")
    changes = take_book(tmp_path, tmp_path / "people.xlsx")["changes"]
    assert (changes["new"], changes["changed"]) == (0, 0)


def test_a_pair_that_a_restore_closed_before_it_came_in_does_not_open(tmp_path: Path) -> None:
    """Hands were at it since the copy: its sheet comes in, and its inspection of before opens nothing."""
    from fleet.facts.carried import carried_body

    take(tmp_path, [HOLE])
    with Ledger.open(tmp_path / "shop.db") as ledger, ledger.transaction(by="Mara Oberlin", now=NOW) as tx:
        body = carried_body("K-040", ["worked on"], source="the file that this copy replaced")
        tx.enter("pair carried over", body | {"unseen": True})
    said = take(tmp_path, [HOLE], skis=(BARE, OTHER, BARE | {"tag": "K-040"}))
    assert opened(tmp_path, "K-040") == (False, False)
    assert opened(tmp_path) == (True, True)
    note = next(f for f in said["findings"] if f["code"] == "ski_closed")
    assert (note["tag"], "a restore tells of work on it" in note["message"]) == ("K-040", True)
    assert skis(tmp_path, "K-040")[0].closed_why.startswith("worked on, as the file")
