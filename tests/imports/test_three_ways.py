"""An edited export against the ledger it came from: changed, stale, in conflict, copied, new, missing."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook

from fleet.base.entries import Body
from fleet.ledger.ledger import Ledger
from imports.headers import Table
from planner.exchange.export.both import write_export
from planner.exchange.intake import apply, look_at
from tests.imports.books import BOOT, HOLE, MOUNTED, SKI, TODAY, clean_sheets, table_rows, write_book

NOW = datetime(2026, 11, 25, 17, tzinfo=UTC)


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A ledger with two pairs (one mounted), two boots, and a hole drilled here."""
    sheets = clean_sheets(
        Skis=table_rows(Table.SKI, MOUNTED, SKI | {"tag": "K-040"}),
        Boots=table_rows(Table.BOOT, BOOT, BOOT | {"tag": "B-211"}),
        Holes=table_rows(Table.HOLE, HOLE | {"knowledge": "drilled here"}, HOLE | {"ski": "B"}),
    )
    path = tmp_path / "shop.db"
    proposal = look_at(None, [write_book(tmp_path / "first.xlsx", sheets)], today=TODAY)
    assert apply(path, proposal, ledger=None, by="Mara Oberlin", now=NOW, shop="Test", zone="UTC").applied
    return path


def exported(shop: Path, tmp_path: Path) -> Path:
    with Ledger.open(shop) as ledger:
        write_export(ledger, None, tmp_path / "people.xlsx", at_entry=None)
    return tmp_path / "people.xlsx"


def edit(path: Path, change: Callable[[Any], None]) -> Path:
    """Edit as a person does, with another program."""
    book = load_workbook(path)
    change(book)
    book.save(path)
    return path


def put(sheet: str, tag: str, key: str, value: Any) -> Callable[[Any], None]:
    def change(book: Any) -> None:
        page = book[sheet]
        column = next(c.column for c in page[1] if c.value == key)
        row = next(r for r in page.iter_rows(min_row=2) if r[0].value == tag)
        page.cell(row=row[0].row, column=column).value = value

    return change


def enter(shop: Path, what: str, body: Body) -> None:
    with Ledger.open(shop) as ledger, ledger.transaction(by="Ida", now=NOW) as transaction:
        transaction.enter(what, body)


def told(shop: Path, path: Path, *, leave_out: tuple[str, ...] = ()) -> dict[str, Any]:
    with Ledger.open(shop) as ledger:
        proposal = look_at(ledger, [path], leave_out=leave_out, today=TODAY)
        before = shop.read_bytes()
        said = proposal.report()
        apply(shop, proposal, ledger=ledger, by="Mara Oberlin", now=NOW, shop="", zone="UTC", strict=True)
    if said["outcome"] != "import" or not proposal.entries:
        assert shop.read_bytes() == before
    return said


def asked(said: dict[str, Any]) -> set[str]:
    return {f["code"] for f in said["findings"] if f["severity"] != "note"}


def test_an_export_as_it_was_changes_nothing(shop: Path, tmp_path: Path) -> None:
    said = told(shop, exported(shop, tmp_path))
    assert (said["outcome"], said["changes"]["new"], said["changes"]["changed"]) == ("import", 0, 0)


def test_an_edited_cell_is_a_change_shown_field_by_field(shop: Path, tmp_path: Path) -> None:
    said = told(shop, edit(exported(shop, tmp_path), put("Skis", "K-040", "rack", "R9-1")))
    assert said["changes"]["changed"] == 1
    assert said["differences"] == [{"what": "pair K-040", "field": "rack", "old": "R4-12", "new": "R9-1"}]
    with Ledger.open(shop) as ledger:
        assert ledger.connection.execute("SELECT rack FROM pair WHERE tag = 'K-040'").fetchone() == ("R9-1",)


def test_what_the_ledger_changed_since_is_stale_in_the_file_and_stays(shop: Path, tmp_path: Path) -> None:
    path = exported(shop, tmp_path)
    enter(shop, "pair changed", {"tag": "K-040", "changes": {"rack": ["R4-12", "R7-7"]}})
    said = told(shop, path)
    assert (said["outcome"], said["changes"]["changed"]) == ("import", 0)
    assert "stale_value" in {f["code"] for f in said["findings"]}


def test_a_field_changed_on_both_sides_is_a_question(shop: Path, tmp_path: Path) -> None:
    path = edit(exported(shop, tmp_path), put("Skis", "K-040", "rack", "R9-1"))
    enter(shop, "pair changed", {"tag": "K-040", "changes": {"rack": ["R4-12", "R7-7"]}})
    assert asked(told(shop, path)) == {"conflict"}


def test_a_value_that_one_of_three_does_not_say_is_called_nothing_in_a_conflict(
    shop: Path, tmp_path: Path
) -> None:
    path = edit(exported(shop, tmp_path), put("Skis", "K-040", "waist_mm", 99))
    enter(shop, "pair changed", {"tag": "K-040", "changes": {"waist_um": [SKI["waist_mm"] * 1000, None]}})
    (words,) = [f["message"] for f in told(shop, path)["findings"] if f["code"] == "conflict"]
    assert words.endswith("in the file 99000, in the ledger nothing")


def test_a_copied_row_is_asked_on_both(shop: Path, tmp_path: Path) -> None:
    def copy(book: Any) -> None:
        page = book["Boots"]
        page.append([cell.value for cell in page[2]])
        page.cell(row=page.max_row, column=4).value = 320

    assert asked(told(shop, edit(exported(shop, tmp_path), copy))) == {"duplicate"}


def test_a_new_row_is_new(shop: Path, tmp_path: Path) -> None:
    def add(book: Any) -> None:
        book["Boots"].append(["B-300", "Gimmel 26", 26.5, 306, "printed", "ISO 9523"])

    said = told(shop, edit(exported(shop, tmp_path), add))
    assert (said["outcome"], said["changes"]["new"]) == ("import", 1)


def test_a_row_that_is_gone_is_asked_and_never_deleted(shop: Path, tmp_path: Path) -> None:
    path = edit(exported(shop, tmp_path), lambda book: book["Boots"].delete_rows(2))
    assert asked(told(shop, path)) == {"missing_row"}
    assert told(shop, path, leave_out=("Boots:missing",))["outcome"] == "import"
    with Ledger.open(shop) as ledger:
        assert ledger.connection.execute("SELECT count(*) FROM boot").fetchone() == (2,)


@pytest.mark.parametrize(("key", "value"), [("x_mm", 99), ("state", "open"), ("knowledge", "measured here")])
def test_a_hole_drilled_here_is_not_overwritten(shop: Path, tmp_path: Path, key: str, value: Any) -> None:
    assert asked(told(shop, edit(exported(shop, tmp_path), put("Holes", "K-031", key, value)))) == {
        "drilled_here"
    }


@pytest.mark.parametrize("said", [None, "unknown"])
def test_a_row_that_does_not_say_how_a_known_hole_is_known_leaves_it(
    shop: Path, tmp_path: Path, said: str | None
) -> None:
    """Another sheet of the shop lists a hole that was measured bare, and says nothing of how it is known."""
    sheets = {"Holes": table_rows(Table.HOLE, HOLE | {"ski": "B", "knowledge": said})}
    found = told(shop, write_book(tmp_path / "again.xlsx", sheets))
    assert (found["outcome"], found["changes"]["changed"], found["differences"]) == ("import", 0, [])
    assert "knowledge_blank" not in {f["code"] for f in found["findings"]}
    assert [row["values"]["knowledge"] for row in found["rows"]] == [None]


@pytest.mark.parametrize(
    ("key", "value"), [("bsl_mm", 310), ("mark_offset_mm", -3), ("binding_model", "T4/H5")]
)
def test_history_is_not_rewritten(shop: Path, tmp_path: Path, key: str, value: Any) -> None:
    said = told(shop, edit(exported(shop, tmp_path), put("Skis", "K-031", key, value)))
    assert asked(said) & {"mount_differs", "binding_unknown"}


def test_a_status_typed_in_clears_no_hold(shop: Path, tmp_path: Path) -> None:
    path = edit(exported(shop, tmp_path), put("Skis", "K-031", "status", "ready"))
    said = told(shop, path)
    assert (said["outcome"], said["changes"]["changed"]) == ("import", 0)


def test_the_shops_own_file_imported_again_is_compared_with_what_it_made(shop: Path, tmp_path: Path) -> None:
    """The same file again changes nothing, even where the ledger has moved on."""
    enter(shop, "pair changed", {"tag": "K-040", "changes": {"rack": ["R4-12", "R7-7"]}})
    said = told(shop, tmp_path / "first.xlsx")
    assert (said["outcome"], said["changes"]["changed"]) == ("import", 0)
    with Ledger.open(shop) as ledger:
        assert ledger.connection.execute("SELECT rack FROM pair WHERE tag = 'K-040'").fetchone() == ("R7-7",)


def test_a_folder_edited_by_a_program_is_compared_three_ways_too(shop: Path, tmp_path: Path) -> None:
    with Ledger.open(shop) as ledger:
        write_export(ledger, tmp_path / "out", None, at_entry=None)
    pairs = tmp_path / "out" / "pairs.csv"
    pairs.write_text(pairs.read_text().replace("R4-12", "R8-8", 1))
    enter(shop, "pair changed", {"tag": "K-040", "changes": {"rack": ["R4-12", "R7-7"]}})
    said = told(shop, tmp_path / "out")
    assert said["outcome"] == "import"
    assert said["differences"] == [{"what": "pair K-031", "field": "rack", "old": "R4-12", "new": "R8-8"}]


def test_a_mapping_stated_once_is_remembered_with_the_ledger(shop: Path, tmp_path: Path) -> None:
    path = write_book(
        tmp_path / "n.xlsx",
        {"Boots": [["Etikett", "Was", "Schale", "Sohle mm"], ["B-400", "Gimmel", 26.5, 306]]},
    )
    with Ledger.open(shop) as ledger:
        first = look_at(ledger, [path], columns=["Was=model"], today=TODAY)
        apply(shop, first, ledger=ledger, by="Mara Oberlin", now=NOW, shop="", zone="UTC")
    with Ledger.open(shop) as ledger:
        again = look_at(ledger, [path], today=TODAY).report()
    assert again["rows"][0]["values"]["model"] == "Gimmel"
    assert again["changes"]["unchanged"] == 1
    json.dumps(again)


def test_tags_that_look_alike_and_were_confirmed_come_back_from_an_export_without_a_question(
    tmp_path: Path,
) -> None:
    header = ["tag", "model", "kind", "length_cm", "mountbook answer"]
    tags = ("K-7A", "K-7B", "K-031", "K-O31")
    rows = [header, *([tag, "Larch 96", "telemark", 178, "ok"] for tag in tags)]
    proposal = look_at(None, [write_book(tmp_path / "alike.xlsx", {"Skis": rows})], today=TODAY)
    path = tmp_path / "alike.db"
    assert apply(path, proposal, ledger=None, by="Mara Oberlin", now=NOW, shop="Test", zone="UTC").applied
    with Ledger.open(path) as ledger:
        write_export(ledger, tmp_path / "out", tmp_path / "people.xlsx", at_entry=None)
        for written in (tmp_path / "out", tmp_path / "people.xlsx"):
            again = look_at(ledger, [written], today=TODAY)
            assert again.outcome == "import"
            assert not again.entries
            assert {"near_tag", "tag_is_one_ski"} <= {f.code for f in again.findings}
