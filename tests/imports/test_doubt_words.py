"""What a sheet says beside its values: gone, not known, as above, only yes; and letters that were damaged."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from imports.headers import Table
from imports.leaving import hue
from imports.sheet_prepared import mended_text
from imports.words import says, says_gone
from tests.imports.books import MOUNTED, SKI, clean_sheets, report, table_rows, write_book

OTHER = SKI | {"tag": "K-032"}


def asked(said: dict[str, Any], code: str) -> list[int]:
    """The rows about which it is asked."""
    return [f["row"] for f in said["findings"] if f["code"] == code and f["severity"] == "question"]


def skis(tmp_path: Path, *rows: dict[str, Any], **more: Any) -> dict[str, Any]:
    sheets = clean_sheets(Skis=table_rows(Table.SKI, *rows), Holes=table_rows(Table.HOLE))
    return report(write_book(tmp_path / "own.xlsx", sheets | more))


@pytest.mark.parametrize(
    "text",
    [
        "sold",
        "SOLD 12/3",
        "verkauft am 12. März",
        "vendu",
        "in Reparatur",
        "old stock",
        "売却済み",
        "prodáno",
    ],
)
def test_words_of_leaving_are_heard_in_any_column_of_the_row(tmp_path: Path, text: str) -> None:
    """In a name they count where nothing else is said; the row of the other ski stays as it is."""
    for key in ("rack", "model", "binding_model", "tag", "notes"):
        said = skis(tmp_path, SKI | {key: text}, OTHER)
        assert 2 in asked(said, "says_gone"), key
        assert 3 not in asked(said, "says_gone"), key


@pytest.mark.parametrize(
    "name", ["Old Plate 3", "Gone West 88", "Larch 96", "R4-12", "Reparaturwerk R2", "Lost Valley", "Alda 90"]
)
def test_a_name_that_holds_such_a_word_is_a_name(tmp_path: Path, name: str) -> None:
    assert not says_gone(name, name=True)
    assert asked(skis(tmp_path, SKI | {"model": name}), "says_gone") == []


def test_leaving_is_heard_in_columns_that_nobody_knows(tmp_path: Path) -> None:
    rows = table_rows(Table.SKI, SKI, OTHER)
    grid = [[*rows[0], "Verbleib", ""], [*rows[1], "ok", None], [*rows[2], "ok", "stolen"]]
    said = report(write_book(tmp_path / "own.xlsx", clean_sheets(Skis=grid, Holes=table_rows(Table.HOLE))))
    assert asked(said, "says_gone") == [3]


def test_a_title_over_a_block_speaks_for_its_rows_and_for_no_others(tmp_path: Path) -> None:
    head, one, two = table_rows(Table.SKI, SKI, OTHER)
    third = table_rows(Table.SKI, SKI | {"tag": "K-033"})[1]
    grid = [head, one, ["Verkauft"], two, ["Alpine"], third]
    said = report(write_book(tmp_path / "own.xlsx", clean_sheets(Skis=grid, Holes=table_rows(Table.HOLE))))
    assert asked(said, "says_gone") == [4]


def test_a_sheet_that_is_called_sold_is_asked_about(tmp_path: Path) -> None:
    said = skis(tmp_path, SKI, **{"Sold 2025": table_rows(Table.SKI, OTHER)})
    assert [(f["sheet"], f["row"]) for f in said["findings"] if f["code"] == "says_gone"] == [
        ("Sold 2025", 2)
    ]


def test_a_colour_means_what_the_legend_says(tmp_path: Path) -> None:
    from openpyxl import load_workbook
    from openpyxl.styles import PatternFill

    sheets = clean_sheets(Skis=table_rows(Table.SKI, SKI, OTHER), Holes=table_rows(Table.HOLE))
    sheets["Skis"] = [["rot = verkauft, grün = neu"], [], *sheets["Skis"]]
    book = load_workbook(write_book(tmp_path / "own.xlsx", sheets))
    for row, colour in ((4, "FFC00000"), (5, "FF70AD47")):
        book["Skis"][f"B{row}"].fill = PatternFill("solid", fgColor=colour)
    book.save(tmp_path / "own.xlsx")
    assert asked(report(tmp_path / "own.xlsx"), "says_gone") == [4]


def test_a_struck_part_of_a_text_is_asked_about(tmp_path: Path) -> None:
    from xlsxwriter import Workbook

    head, one = table_rows(Table.SKI, SKI)
    with Workbook(str(tmp_path / "own.xlsx"), {"in_memory": True}) as book:
        sheet = book.add_worksheet("Skis")
        sheet.write_row(0, 0, head)
        for column, value in enumerate(one):
            if value is not None:
                sheet.write(1, column, value)
        struck = book.add_format({"font_strikeout": True})
        sheet.write_rich_string(1, 1, "Larch ", struck, "96")
    assert asked(report(tmp_path / "own.xlsx"), "struck_row") == [2]


@pytest.mark.parametrize("text", ["unknown", "n/a", "TBD", "k.A.", "inconnu", "不明", "brak danych"])
def test_words_for_not_known_are_no_value(tmp_path: Path, text: str) -> None:
    """Neither text nor none: `n/a` in the binding's column does not say that the ski is flat."""
    said = skis(
        tmp_path,
        MOUNTED | dict.fromkeys(("rack", "binding_model", "waist_mm", "construction"), text),
        MOUNTED | {"tag": "K-032"},
    )
    values = said["rows"][0]["values"]
    assert [values[k] for k in ("rack", "binding_model", "waist_mm", "construction")] == [None] * 4
    assert not [f for f in said["findings"] if f["code"] == "no_binding"]


def test_a_needed_value_that_is_said_to_be_unknown_is_still_asked(tmp_path: Path) -> None:
    assert asked(skis(tmp_path, SKI | {"length_cm": "unknown"}), "missing_value") == [2]


@pytest.mark.parametrize("mark", ['"', "ditto", "dto.", "idem", "〃", "wie oben", "as above"])
def test_a_mark_for_as_above_is_the_value_above_and_said(tmp_path: Path, mark: str) -> None:
    said = skis(tmp_path, SKI, OTHER | {"model": mark, "rack": mark})
    values = said["rows"][1]["values"]
    assert (values["model"], values["rack"]) == ("Larch 96", "R4-12")
    assert len([f for f in said["findings"] if f["code"] == "ditto_read"]) == 2


def test_a_mark_with_nothing_above_and_a_mark_for_a_tag_are_asked(tmp_path: Path) -> None:
    said = skis(tmp_path, SKI | {"model": "ditto"}, OTHER | {"tag": "ditto"})
    assert asked(said, "ditto") == [2, 3]


@pytest.mark.parametrize("text", ["x", "yes", "ja", "✓", "oui"])
def test_yes_names_no_model(tmp_path: Path, text: str) -> None:
    said = skis(tmp_path, SKI | {"model": text}, MOUNTED | {"tag": "K-032", "binding_model": text})
    assert asked(said, "only_yes") == [2, 3]


@pytest.mark.parametrize("word", ["wood", "Holz", "bois", "wood core", "foam cap"])
def test_what_the_core_is_made_of_does_not_say_whether_there_is_metal(tmp_path: Path, word: str) -> None:
    """The drill depends on it."""
    said = skis(tmp_path, SKI | {"construction": word})
    assert said["rows"][0]["values"]["construction"] is None
    assert asked(said, "unknown_word") == [2]


def test_damaged_letters_are_mended_and_said(tmp_path: Path) -> None:
    damaged = "Höhenzug 88, weiß".encode().decode("cp1252")
    said = skis(tmp_path, SKI | {"model": damaged})
    assert said["rows"][0]["values"]["model"] == "Höhenzug 88, weiß"
    assert [f["raw"] for f in said["findings"] if f["code"] == "letters_mended"] == [damaged]


@pytest.mark.parametrize("text", ["Höhe", "São Âncora", "Ã", "ÄÖÜ", "naïve", "Größe 90", "été"])
def test_right_letters_stay(text: str) -> None:
    assert mended_text(text) == text


@pytest.mark.parametrize(
    ("fill", "name"),
    [
        *(
            ("FF0000", "red"),
            ("C00000", "red"),
            ("FFC7CE", "red"),
            ("FFFF00", "yellow"),
            ("FFC000", "orange"),
        ),
        *(
            ("00B050", "green"),
            ("92D050", "green"),
            ("0070C0", "blue"),
            ("D9D9D9", "grey"),
            ("FF99CC", "pink"),
        ),
    ],
)
def test_colours_have_plain_names(fill: str, name: str) -> None:
    """The usual colours of a spreadsheet's palette, named as a person would (from memory)."""
    assert hue(fill) == name


def test_the_lists_do_not_claim_each_others_words() -> None:
    for text in ("sold", "unknown", "ditto", "yes"):
        kinds = (says(text, key) for key in ("unknown", "ditto", "tick"))
        assert [bool(says_gone(text)), *kinds].count(True) == 1
