"""Lists that a shop keeps in several languages at once: nothing is taken that they do not say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from tests.imports.books import report, write_book, write_csv

SKIS = ["Tag", "Modello / Modell", "Kind", "Length (cm)", "Note / Bemerkungen"]


def skis(folder: Path, *rows: Sequence[Any], head: Sequence[str] = SKIS, above: Sequence[str] = ()) -> Any:
    grid = [*([text] for text in above), list(head), *map(list, rows)]
    return report(write_csv(folder / "skis.csv", grid))


def taken(said: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    return {row["tag"]: row["values"] for row in said["rows"] if row["verdict"] in ("good", "note")}


@pytest.mark.parametrize(
    ("header", "key", "value"),
    [
        ("Modello / Modell", "model", "Larch 96"),
        ("Sci / Ski", "model", "Larch 96"),
        ("Note / Bemerkungen", "notes", "rack B"),
        ("Scaffale / Regal", "rack", "rack B"),
    ],
)
def test_a_header_in_two_languages_is_known_where_both_say_the_same(
    tmp_path: Path, header: str, key: str, value: str
) -> None:
    said = skis(tmp_path, ["K-1", "alpine", 170, value], head=["Tag", "Kind", "Length (cm)", header])
    assert taken(said)["K-1"][key] == value
    assert not [f for f in said["findings"] if f["code"] in ("unknown_column", "header_near")]


def test_a_header_of_which_one_half_is_not_known_is_only_like_it(tmp_path: Path) -> None:
    head = ["Tag", "Kind", "Length (cm)", "Rack / Wert"]
    said = skis(tmp_path, ["K-1", "alpine", 170, "R1"], head=head)
    assert "rack" not in taken(said)["K-1"]
    assert "unknown_column" in {f["code"] for f in said["findings"]}


@pytest.mark.parametrize(
    "word", ["Totale", "Totali", "tot.", "SKUPAJ", "Razem", "Suma", "Celkem", "Summa", "Totalt"]
)
def test_a_row_of_sums_is_no_pair_in_any_language(tmp_path: Path, word: str) -> None:
    said = skis(tmp_path, ["K-1", "Larch 96", "alpine", 170], [word, 12, None, None])
    assert [row["tag"] for row in said["rows"]] == ["K-1"]


@pytest.mark.parametrize("tag", ["TOTAL-1", "Tot 21", "SUMA-7"])
def test_a_tag_that_begins_like_a_sum_is_a_tag(tmp_path: Path, tag: str) -> None:
    said = skis(tmp_path, [tag, "Larch 96", "alpine", 170])
    assert [row["tag"] for row in said["rows"]] == [tag]


@pytest.mark.parametrize("header", ["N.", "N", "n°"])
def test_a_number_is_the_tag(tmp_path: Path, header: str) -> None:
    said = skis(tmp_path, ["V-01", "Larch 96", "alpine", 170], head=[header, *SKIS[1:4]])
    assert set(taken(said)) == {"V-01"}


@pytest.mark.parametrize(
    ("title", "gone"),
    [
        ("updated 3 Nov by M., rosa = venduto, giallo = manca controllo", set()),
        ("Stand 3.11., rot: verkauft", set()),
        ("VENDUTO", {"K-1"}),
    ],
)
def test_a_title_that_explains_a_colour_says_nothing_of_the_rows_under_it(
    tmp_path: Path, title: str, gone: set[str]
) -> None:
    said = skis(tmp_path, ["K-1", "Larch 96", "alpine", 170], above=[title])
    assert {f["tag"] for f in said["findings"] if f["code"] == "says_gone"} == gone


@pytest.mark.parametrize(
    ("day", "style", "asked"),
    [
        (datetime(2023, 11, 1), "mmm yy", True),  # noqa: DTZ001
        (datetime(2023, 11, 1), "mm/yyyy", True),  # noqa: DTZ001
        (datetime(2023, 11, 1), "dd.mm.yyyy", False),  # noqa: DTZ001
        (datetime(2023, 11, 14), "mmm yy", False),  # noqa: DTZ001
    ],
)
def test_a_month_that_a_spreadsheet_keeps_as_its_first_day_is_no_day(
    tmp_path: Path, day: datetime, style: str, *, asked: bool
) -> None:
    """A typed 11/2023 is kept as 1 November, in a format without a day (common practice, no source)."""
    from xlsxwriter import Workbook

    path = tmp_path / "x.xlsx"
    with Workbook(str(path)) as book:
        sheet = book.add_worksheet("Skis")
        for column, text in enumerate(("tag", "kind", "length_cm", "binding_model", "mount_date")):
            sheet.write_string(0, column, text)
        for column, text in enumerate(("K-1", "alpine")):
            sheet.write_string(1, column, text)
        sheet.write_number(1, 2, 170)
        sheet.write_string(1, 3, "Latch 9")
        sheet.write_datetime(1, 4, day, book.add_format({"num_format": style}))
    said = report(path)
    assert ("month_only" in {f["code"] for f in said["findings"]}) is asked
    [row] = said["rows"]
    assert row["values"]["mount_date"] == (None if asked else day.date().isoformat())


@pytest.mark.parametrize(
    "head",
    [
        ["quoi", "Discipline", "longueur de", "à", "pointure de", "à", "nombre", "priorité"],
        ["cosa", "disciplina", "lunghezza da", "a", "misura da", "a", "quantità", "priorità"],
    ],
)
def test_both_ends_of_a_window_are_read_in_their_language(tmp_path: Path, head: list[str]) -> None:
    said = report(
        write_book(tmp_path / "x.xlsx", {"Besoin": [head, ["A", "alpine", 160, 175, 26, 28, 4, 1]]})
    )
    values = taken(said)["A"]
    assert (values["length_min_cm"], values["length_max_cm"]) == (160, 175)
    assert (values["mondopoint_min"], values["mondopoint_max"]) == (26, 28)


@pytest.mark.parametrize("word", ["isto", "isto kot zgoraj", "stejne", "to samo"])
def test_as_above_is_no_model_in_any_language(tmp_path: Path, word: str) -> None:
    said = skis(tmp_path, ["K-1", "Larch 96", "alpine", 170], ["K-2", word, "alpine", 170])
    assert taken(said)["K-2"]["model"] == "Larch 96"


@pytest.mark.parametrize("text", ["pękł lewy tył", "pęknięta przy pięcie", "zgubiona klamra"])
def test_what_a_note_says_of_a_broken_thing_is_asked_about(tmp_path: Path, text: str) -> None:
    said = skis(tmp_path, ["K-1", "Larch 96", "alpine", 170, text])
    assert [f["tag"] for f in said["findings"] if f["code"] == "says_gone"] == ["K-1"]


@pytest.mark.parametrize(
    "text",
    ["da montare", "noch zu montieren", "pas montée", "not mounted yet", "lamina aperta", "punta rovinata"],
)
def test_a_binding_that_is_not_on_yet_waits_for_an_answer(tmp_path: Path, text: str) -> None:
    said = skis(tmp_path, ["K-1", "Larch 96", "alpine", 170, text])
    assert [f["tag"] for f in said["findings"] if f["code"] == "alarm_word"] == ["K-1"]


def test_a_column_of_mostly_known_words_under_an_unknown_header_is_asked_about(tmp_path: Path) -> None:
    words = ["senza metallo", "s.m.", "titanal", "con metallo", "senza metallo"]
    rows = [[f"K-{at}", "alpine", 170, word] for at, word in enumerate(words)]
    said = skis(tmp_path, *rows, head=["Tag", "Kind", "Length (cm)", "Costr."])
    [asked] = [q for q in said["questions"] if q["id"] == "column/ski/costr"]
    assert asked["proposals"][0]["answer"] == "construction"
