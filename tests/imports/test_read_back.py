"""What is written is read back by another program: LibreOffice for workbooks, frictionless for csv."""

from __future__ import annotations

import csv
import importlib.util
import shutil
import subprocess
from datetime import UTC, datetime
from pathlib import Path

import pytest
from openpyxl import load_workbook

from fleet.facts.policy import default_policy
from fleet.ledger.ledger import Ledger
from imports.cells import unguarded
from imports.headers import Table
from imports.marked_copy import write_marked_copy
from imports.words import says
from planner.exchange.export.blank_workbook import write_blank
from planner.exchange.export.both import write_export
from planner.exchange.export.folder import guarded
from planner.exchange.intake import apply, look_at
from tests.imports.books import BOOT, MOUNTED, SKI, TODAY, clean_sheets, look, table_rows, write_book

OFFICE = shutil.which("soffice") or shutil.which("libreoffice")
needs_office = pytest.mark.skipif(
    OFFICE is None, reason="LibreOffice is not installed: workbooks not read back"
)
_AWKWARD_TAG = "00017"
_AWKWARD_MODEL = '=HYPERLINK("http://example.invalid","x")'


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A small ledger with a tag of zeros, a model that would run as a formula, and a mounted pair."""
    skis = table_rows(
        Table.SKI,
        MOUNTED,
        SKI | {"tag": _AWKWARD_TAG, "model": _AWKWARD_MODEL},
        SKI | {"tag": "K-9", "rack": "-1"},
    )
    book = write_book(tmp_path / "x.xlsx", clean_sheets(Skis=skis, Boots=table_rows(Table.BOOT, BOOT)))
    now = datetime(2026, 11, 25, 17, tzinfo=UTC)
    proposal = look_at(None, [book], today=TODAY)
    assert apply(
        tmp_path / "shop.db", proposal, ledger=None, by="Mara", now=now, shop="Tést & Söhne", zone="UTC"
    ).applied
    return tmp_path / "shop.db"


def through_office(path: Path, folder: Path, kind: str) -> Path:
    """Open in LibreOffice headless and save as another kind of file."""
    assert OFFICE is not None
    folder.mkdir(exist_ok=True)
    subprocess.run(
        [
            OFFICE,
            "--headless",
            f"-env:UserInstallation=file://{folder}/profile",
            "--convert-to",
            kind,
            "--outdir",
            str(folder),
            str(path),
        ],
        check=True,
        capture_output=True,
        timeout=180,
    )
    return folder / f"{path.stem}.{kind.split(':')[0]}"


@needs_office
@pytest.mark.long
def test_the_workbook_for_people_keeps_tags_totals_and_drop_downs_in_libreoffice(
    shop: Path, tmp_path: Path
) -> None:
    with Ledger.open(shop) as ledger:
        write_export(ledger, None, tmp_path / "people.xlsx", at_entry=None)
    book = load_workbook(through_office(tmp_path / "people.xlsx", tmp_path / "lo", "xlsx"))
    skis = book["Skis"]
    assert [row[0].value for row in skis.iter_rows(min_row=2)] == [_AWKWARD_TAG, "K-031", "K-9"]
    cell = next(row[1] for row in skis.iter_rows(min_row=2) if row[0].value == _AWKWARD_TAG)
    assert (cell.data_type, cell.value) == ("s", _AWKWARD_MODEL)
    lists = [v.formula1 for v in skis.data_validations.dataValidation]
    assert any("telemark" in text for text in lists)
    totals = {row[0].value: row[1].value for row in book["Summary"].iter_rows() if row[1].value is not None}
    assert totals["all pairs"] == 3
    assert not [c for page in book for row in page.iter_rows() for c in row if c.data_type == "f"]
    assert skis.print_title_rows == "$1:$1"
    assert load_workbook(tmp_path / "people.xlsx")["Skis"].freeze_panes == "B2"


def test_every_head_of_the_workbook_for_people_is_read_in_one_line_beside_the_filters_button(
    shop: Path, tmp_path: Path
) -> None:
    """A spreadsheet breaks `mark_from_tail_mm` in the middle of a word; its button hides two letters."""
    with Ledger.open(shop) as ledger:
        write_export(ledger, None, tmp_path / "people.xlsx", at_entry=None)
    for page in load_workbook(tmp_path / "people.xlsx").worksheets[1:]:
        wide = {n: c.width for c in page.column_dimensions.values() for n in range(c.min, c.max + 1)}
        for cell in page[1]:
            assert wide[cell.column] >= len(cell.value) + 2, (page.title, cell.value)


@needs_office
@pytest.mark.long
def test_a_workbook_saved_anew_by_libreoffice_imports_unchanged(shop: Path, tmp_path: Path) -> None:
    with Ledger.open(shop) as ledger:
        write_export(ledger, None, tmp_path / "people.xlsx", at_entry=None)
        again = through_office(tmp_path / "people.xlsx", tmp_path / "lo", "xlsx")
        said = look_at(ledger, [again], today=TODAY).report()
    assert (said["outcome"], said["changes"]["new"], said["changes"]["changed"]) == ("import", 0, 0)


@needs_office
@pytest.mark.long
def test_the_blank_workbook_and_a_marked_copy_open_in_libreoffice(tmp_path: Path) -> None:
    write_blank(tmp_path / "blank.xlsx", policy=default_policy())
    with through_office(tmp_path / "blank.xlsx", tmp_path / "lo", "csv").open(encoding="utf-8") as file:
        assert next(csv.reader(file))[0].startswith("mountbook: a guide")
    source = write_book(tmp_path / "x.xlsx", {"Skis": table_rows(Table.SKI, SKI | {"length_cm": -1})})
    write_marked_copy(look(source), tmp_path / "marked.xlsx")
    book = load_workbook(through_office(tmp_path / "marked.xlsx", tmp_path / "lo", "xlsx"))
    assert "[negative]" in str([c.value for c in book["Skis"][2]])


def test_the_exported_folder_passes_a_table_schema_validator(shop: Path, tmp_path: Path) -> None:
    if importlib.util.find_spec("frictionless") is None:
        pytest.skip("frictionless is not installed: the csv folder was not validated by another program")
    with Ledger.open(shop) as ledger:
        write_export(ledger, tmp_path / "out", None, at_entry=None)
    code = (
        "import sys, json; from frictionless import validate; r = validate(sys.argv[1]);"
        "print(json.dumps(r.flatten(['type', 'message']))); sys.exit(not r.valid)"
    )
    import sys

    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", code, "datapackage.json"],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path / "out",
        timeout=120,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_every_csv_cell_that_could_run_is_guarded(shop: Path, tmp_path: Path) -> None:
    with Ledger.open(shop) as ledger:
        write_export(ledger, tmp_path / "out", None, at_entry=None)
    for path in sorted((tmp_path / "out").glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                for key, text in row.items():
                    if text[:1] in ("=", "+", "-", "@", "\t", "\r"):
                        assert key.endswith(("_mm", "_cm")), (path.name, key, text)
                        float(text)


@pytest.mark.parametrize("text", ["'", "''", "'=1", "-1", "'-", "' a", "a'"])
def test_a_text_of_or_with_an_apostrophe_comes_back_from_the_csv_as_it_was(text: str) -> None:
    """Two apostrophes alone mean *as in the row above*: one alone is not to be written as that."""
    written = guarded(text)
    assert unguarded(written) == text
    assert not says(written, "ditto")
