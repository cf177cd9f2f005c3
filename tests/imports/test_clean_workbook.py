"""The clean workbook and its csv twins, as other programs rely on them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from fleet.events.pairs import HolesRecorded
from imports.headers import CLEAN_WORKBOOK, Table
from planner.cli.main import app
from tests.imports.books import (
    BOOT,
    HOLE,
    MOUNTED,
    SKI,
    T4H4,
    clean_sheets,
    codes,
    report,
    table_rows,
    write_book,
    write_csv,
)


def run(*args: str, ledger: Path) -> Any:
    return CliRunner().invoke(app, ["--ledger", str(ledger), *args])


def test_the_clean_workbook_is_all_good_and_every_row_comes_out(tmp_path: Path) -> None:
    said = report(write_book(tmp_path / "x.xlsx", clean_sheets()))
    assert (said["outcome"], said["findings"], said["applied"]) == ("import", [], False)
    assert [r["verdict"] for r in said["rows"]] == ["good"] * 15
    ski = next(r for r in said["rows"] if r["kind"] == "ski")
    assert (ski["sheet"], ski["row"], ski["tag"]) == ("Skis", 2, "K-031")
    assert ski["values"]["length_cm"] == 178
    assert ski["values"]["inspected"] is None
    boot = next(r for r in said["rows"] if r["kind"] == "boot")
    assert boot["values"]["mondopoint"] == 27.5


def test_csv_twins_say_the_same_as_the_workbook(tmp_path: Path) -> None:
    book = report(write_book(tmp_path / "x.xlsx", clean_sheets()))
    twins = tmp_path / "twins"
    twins.mkdir()
    for name, rows in clean_sheets().items():
        write_csv(twins / f"{name.lower()}.csv", rows)
    folder = report(twins)

    def told(said: dict[str, Any]) -> list[Any]:
        return sorted(json.dumps([r["kind"], r["values"]], sort_keys=True) for r in said["rows"])

    assert told(book) == told(folder)


def test_a_dry_run_makes_no_ledger_and_apply_twice_changes_nothing(tmp_path: Path) -> None:
    book, ledger = write_book(tmp_path / "x.xlsx", clean_sheets()), tmp_path / "l.db"
    assert run("import", str(book), ledger=ledger).exit_code == 0
    assert not ledger.exists()
    assert run("import", str(book), "--apply", "--by", "Mara", ledger=ledger).exit_code == 0
    before = ledger.read_bytes()
    again = run("import", str(book), "--apply", "--by", "Mara", "--json", ledger=ledger)
    said = json.loads(again.stdout)
    assert said["changes"] == {"new": 0, "changed": 0, "unchanged": 15}
    assert ledger.read_bytes() == before


BAD_CELLS = [
    ("Skis", Table.SKI, SKI | {"length_cm": -178}, "negative", "bad"),
    ("Skis", Table.SKI, SKI | {"tag": None}, "missing_value", "question"),
    ("Skis", Table.SKI, SKI | {"kind": "snowboard"}, "unknown_word", "question"),
    ("Skis", Table.SKI, SKI | {"bsl_mm": 305}, "mount_without_binding", "question"),
    ("Skis", Table.SKI, MOUNTED | {"bsl_mm": 265}, "bsl_is_shell_size", "question"),
    (
        "Skis",
        Table.SKI,
        MOUNTED | {"inspected": "bare", "inspected_on": "2026-10-01"},
        "inspected_without_holes",
        "question",
    ),
    ("Skis", Table.SKI, SKI | {"inspected": "bare"}, "inspection_without_day", "question"),
    ("Boots", Table.BOOT, BOOT | {"bsl_mm": 275}, "bsl_is_shell_size", "question"),
    ("Boots", Table.BOOT, BOOT | {"bsl_mm": 180, "mondopoint": None}, "bsl_too_short", "question"),
    ("Holes", Table.HOLE, HOLE | {"ski": None}, "hole_without_side", "question"),
    ("Holes", Table.HOLE, HOLE | {"ski": "unknown"}, "hole_without_side", "question"),
    ("Holes", Table.HOLE, HOLE | {"x_mm": 690}, "implausible", "question"),
    ("Holes", Table.HOLE, HOLE | {"pair_tag": "K-999"}, "unknown_pair", "question"),
]


@pytest.mark.parametrize(
    ("sheet", "table", "row", "code", "severity"), BAD_CELLS, ids=[f"{b[0]}-{b[3]}" for b in BAD_CELLS]
)
def test_a_doubtful_row_is_named_and_nothing_is_written(
    tmp_path: Path, sheet: str, table: Table, row: dict[str, Any], code: str, severity: str
) -> None:
    holes = {} if sheet == "Holes" else {"Holes": table_rows(Table.HOLE)}
    book = write_book(tmp_path / "x.xlsx", clean_sheets(**holes, **{sheet: table_rows(table, row)}))
    ledger = tmp_path / "l.db"
    result = run("import", str(book), "--apply", "--strict", "--by", "Mara", "--json", ledger=ledger)
    assert result.exit_code == 1
    assert not ledger.exists()
    said = json.loads(result.stdout)
    assert said["applied"] is False
    finding = next(f for f in said["findings"] if f["code"] == code)
    assert (finding["severity"], finding["sheet"], finding["row"]) == (severity, sheet, 2)
    assert finding["message"]
    assert finding["fix"]


def test_a_hole_of_which_nobody_knows_how_it_is_known_is_kept_as_suspected(tmp_path: Path) -> None:
    """As where the cell is blank."""
    for number, cell in enumerate((None, "unknown")):
        holes = table_rows(Table.HOLE, HOLE | {"knowledge": cell})
        said = report(write_book(tmp_path / f"{number}.xlsx", clean_sheets(Holes=holes)))
        assert said["outcome"] == "import"
        assert "knowledge_blank" in [f["code"] for f in said["findings"]]


def test_duplicate_tags_are_asked_on_both_rows_and_identical_ones_noted(tmp_path: Path) -> None:
    different = table_rows(Table.SKI, SKI, SKI | {"length_cm": 185})
    said = report(write_book(tmp_path / "a.xlsx", clean_sheets(Skis=different)))
    assert [f["row"] for f in said["findings"] if f["code"] == "duplicate"] == [2, 3]
    same = table_rows(Table.SKI, SKI, SKI)
    said = report(write_book(tmp_path / "b.xlsx", clean_sheets(Skis=same)))
    assert [(f["row"], f["severity"]) for f in said["findings"]] == [(3, "note")]
    assert said["outcome"] == "import"


def test_a_missing_required_column_is_bad_and_says_which(tmp_path: Path) -> None:
    rows = [[cell for i, cell in enumerate(row) if i != 0] for row in table_rows(Table.SKI, SKI)]
    said = report(write_book(tmp_path / "x.xlsx", {"Skis": rows}))
    assert said["outcome"] == "refuse"
    assert any(f["code"] == "missing_column" and "tag" in f["message"] for f in said["findings"])


def test_a_duckbill_sole_counts_ten_less_than_it_measures_and_keeps_both(tmp_path: Path) -> None:
    """Common practice, no source: 10 mm are taken off at the toe (policy duckbill_minus_mm)."""
    boot = BOOT | {"bsl_mm": 327, "bsl_measured": "measured", "sole_type": "75 mm"}
    said = report(write_book(tmp_path / "x.xlsx", clean_sheets(Boots=table_rows(Table.BOOT, boot))))
    row = next(r for r in said["rows"] if r["kind"] == "boot")
    assert row["values"]["bsl_mm"] == 317
    assert row["values"]["bsl_measured"] == "measured 327 mm, duckbill minus 10 mm"
    finding = next(f for f in said["findings"] if f["code"] == "duckbill_minus")
    assert (finding["raw"], finding["taken"], finding["severity"]) == ("327", 317, "note")


def test_a_mounted_binding_without_holes_invents_none_and_says_so(tmp_path: Path) -> None:
    from tests.imports.books import look

    sheets = clean_sheets(Skis=table_rows(Table.SKI, MOUNTED), Holes=table_rows(Table.HOLE))
    proposal = look(write_book(tmp_path / "x.xlsx", sheets))
    assert "no_holes_listed" in codes(proposal.report())
    assert not [event for event in proposal.entries if isinstance(event, HolesRecorded)]
    assert "1 pair will have no hole history" in proposal.follows


def test_holes_that_lie_where_the_pattern_puts_them_bear_witness_for_a_small_sole(tmp_path: Path) -> None:
    ski = MOUNTED | {"bsl_mm": 265}
    holes = [
        HOLE
        | {
            "ski": side,
            "x_mm": h["x_mm"] + (132.5 if h["piece"] == "toe" else -132.5),
            "y_mm": h["y_mm"],
            "state": "screwed",
        }
        for side in "AB"
        for h in T4H4
    ]
    sheets = clean_sheets(Skis=table_rows(Table.SKI, ski), Holes=table_rows(Table.HOLE, *holes))
    assert report(write_book(tmp_path / "x.xlsx", sheets))["outcome"] == "import"


def test_leave_out_applies_the_rest_and_records_what_was_set_aside(tmp_path: Path) -> None:
    import sqlite3

    skis = table_rows(Table.SKI, SKI, SKI | {"tag": "K-032", "length_cm": -1})
    book, ledger = write_book(tmp_path / "x.xlsx", clean_sheets(Skis=skis)), tmp_path / "l.db"
    done = run(
        "import", str(book), "--leave-out", "Skis:3", "--apply", "--by", "Mara", "--json", ledger=ledger
    )
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["applied"] is True
    (body,) = (
        sqlite3.connect(ledger).execute("SELECT body FROM entries WHERE what = 'import applied'").fetchone()
    )
    assert json.loads(body)["left_out"] == ["Skis:3"]
    tags = [t for (t,) in sqlite3.connect(ledger).execute("SELECT tag FROM pair")]
    assert tags == ["K-031"]


def test_leaving_out_a_row_that_is_not_there_is_refused(tmp_path: Path) -> None:
    book = write_book(tmp_path / "x.xlsx", clean_sheets())
    result = run("import", str(book), "--leave-out", "Skis:77", "--json", ledger=tmp_path / "l.db")
    assert result.exit_code == 1
    assert "no data row 77" in str(result.exception)


def test_the_blank_workbook_has_every_header_and_its_examples_are_no_data(tmp_path: Path) -> None:
    path = tmp_path / "blank.xlsx"
    assert run("blank", str(path), ledger=tmp_path / "l.db").exit_code == 0
    said = report(path)
    assert said["rows"] == []
    assert codes(said) == {"sheet_left_out"}
    from openpyxl import load_workbook

    book = load_workbook(path)
    for plan in CLEAN_WORKBOOK:
        sheet = book[plan.sheet]
        assert tuple(c.value for c in sheet[1]) == plan.keys
        lists = {next(iter(v.sqref.ranges)).min_col for v in sheet.data_validations.dataValidation}
        assert lists == {i for i, c in enumerate(plan.columns, start=1) if c.words}


def test_an_exported_folder_imports_unchanged_and_rebuilds_an_empty_ledger(tmp_path: Path) -> None:
    sheets = clean_sheets(Skis=table_rows(Table.SKI, MOUNTED | {"rack": "=1+1"}))
    book, ledger = write_book(tmp_path / "x.xlsx", sheets), tmp_path / "l.db"
    assert run("import", str(book), "--apply", "--by", "Mara", ledger=ledger).exit_code == 0
    assert run("export", str(tmp_path / "out"), ledger=ledger).exit_code == 0
    assert ",'=1+1" in (tmp_path / "out" / "pairs.csv").read_text()
    before = ledger.read_bytes()
    same = run("import", str(tmp_path / "out"), "--apply", "--by", "Mara", "--json", ledger=ledger)
    said = json.loads(same.stdout)
    assert (said["outcome"], said["changes"]["new"], said["changes"]["changed"]) == ("import", 0, 0)
    assert ledger.read_bytes() == before
    fresh = tmp_path / "fresh.db"
    assert run("import", str(tmp_path / "out"), "--apply", "--by", "Mara", ledger=fresh).exit_code == 0
    assert run("export", str(tmp_path / "again"), ledger=fresh).exit_code == 0
    for name in (
        "pairs",
        "skis",
        "holes",
        "patterns",
        "bindings",
        "boots",
        "mounts",
        "wanted",
        "fits",
        "staff",
    ):
        old = [r.split(",") for r in (tmp_path / "out" / f"{name}.csv").read_text().splitlines()]
        new = [r.split(",") for r in (tmp_path / "again" / f"{name}.csv").read_text().splitlines()]
        if name == "holes":  # the last column is the entry number, another in another ledger
            old, new = [r[:-1] for r in old], [r[:-1] for r in new]
        assert old == new, name


def test_export_at_an_entry_gives_the_state_of_that_day(tmp_path: Path) -> None:
    book, ledger = write_book(tmp_path / "x.xlsx", clean_sheets()), tmp_path / "l.db"
    run("import", str(book), "--apply", "--by", "Mara", ledger=ledger)
    said = json.loads(
        run("export", str(tmp_path / "first"), "--at-entry", "1", "--json", ledger=ledger).stdout
    )
    assert said["ledger_entry"] == 1
    assert said["files"]["pairs.csv"] == 0
    assert said["files"]["entries.csv"] == 1


@pytest.mark.parametrize("name", ["missing.xlsx", "note.pdf", "empty.xlsx"])
def test_what_is_no_workbook_gets_one_sentence_and_exit_1(tmp_path: Path, name: str) -> None:
    (tmp_path / "note.pdf").write_bytes(b"%PDF-1.7 nothing")
    (tmp_path / "empty.xlsx").write_bytes(b"")
    result = run("import", str(tmp_path / name), ledger=tmp_path / "l.db")
    assert result.exit_code == 1
    assert not (tmp_path / "l.db").exists()
