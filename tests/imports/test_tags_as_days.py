"""Tags of which a spreadsheet made days: none is a thing before the question about its column is answered."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_fleet
from imports.cell_values import shown_day, tag_forms, written
from imports.cells import Cell, Content
from planner.cli.main import app
from planner.exchange.intake import look_at
from tests.imports.books import TODAY, report, write_book, write_csv
from tests.imports.test_open_worklist import listed

HEAD = ["tag", "model", "kind", "length_cm"]


def rows_of(*tags: Any) -> list[list[Any]]:
    return [HEAD, *([tag, "Larch 96", "telemark", 178] for tag in tags)]


def asked(said: dict[str, Any]) -> dict[str, Any]:
    [question] = [q for q in said["questions"] if "tag_is_date" in q["id"]]
    return question


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("01.05.2025", (1, 5, 2025)),
        ("1. 5. 2025", (1, 5, 2025)),
        ("5/14/2025", (14, 5, 2025)),
        ("05/04/25", (5, 4, 25)),
        ("2025-05-01", (1, 5, 2025)),
        ("2025-05-01 00:00:00", (1, 5, 2025)),
        ("2025年5月1日", (1, 5, 2025)),
        ("03. Apr", (3, 4, 0)),
        ("4-Mar", (4, 3, 0)),
        ("Mar-45", (0, 3, 45)),
        ("3-4", None),
        ("26/031", None),
        ("13.13.2025", None),
        ("1.5.1234", None),
        ("1-2-3", None),
        ("K-01.05.2025", None),
        ("PRO-24", None),
    ],
)
def test_a_text_shows_a_day_where_a_program_may_have_made_it(
    text: str, day: tuple[int, int, int] | None
) -> None:
    assert shown_day(Cell(text)) == day


@pytest.mark.parametrize(
    ("style", "form", "tag"),
    [
        ("d-mmm", "day-month", "3-4"),
        ("d-mmm", "month-day", "4-3"),
        ("d-mmm", "day/month", "3/4"),
        ("dd.mm.yyyy", "daymonth", "34"),
        ("", "day-month", "3-4"),
        ("mmm-yy", "day-month", "4-45"),
        ('[$-409]mmm" day "yy', "month-day", "4-45"),
        ("d-mmm", "day-day", None),
        ("d-mmm", "right", None),
    ],
)
def test_the_form_says_which_tag_a_day_was(style: str, form: str, tag: str | None) -> None:
    """A month and a year is what spreadsheets show of a typed 4-45 (common practice, no source)."""
    assert written(Cell("1945-04-03", Content.DATE, date(1945, 4, 3), style), form) == tag


@pytest.mark.parametrize(
    ("tags", "forms", "digits"),
    [
        (["3-14", "3-15", "2025-12-03"], ("day-month", "month-day"), 1),
        (["3-14", "3-15", "2025-03-12"], ("month-day", "day-month"), 1),
        (["3-14", "3-15", "2025-12-01"], ("day-month", "month-day"), 1),
        (["03/14", "03/15", "2025-12-03"], ("day/month", "month/day"), 2),
        (["K-001", "2025-12-03"], ("day-month", "month-day"), 1),
    ],
)
def test_the_other_tags_tell_the_sign_the_zeros_and_which_number_is_first(
    tags: list[str], forms: tuple[str, str], digits: int
) -> None:
    assert tag_forms(map(Cell, tags)) == (forms, digits)


DAYS = [date(2025, 4, 3), date(2025, 5, 3), date(2025, 6, 3)]


def test_one_question_for_the_column_offers_the_tag_it_most_likely_was(tmp_path: Path) -> None:
    said = report(write_book(tmp_path / "x.xlsx", {"Skis": rows_of("3-14", "3-15", *DAYS)}))
    question = asked(said)
    assert question["settles"] == 3
    assert "it was most likely '3-4'" in question["text"]
    assert [(p["answer"], p["why"]) for p in question["proposals"]] == [
        ("day-month", "3 April was 3-4"),
        ("month-day", "3 April was 4-3"),
        ("leave out", "its 3 rows do not come in"),
    ]
    assert [row["tag"] for row in said["rows"] if row["verdict"] in ("good", "note")] == ["3-14", "3-15"]


def test_a_text_that_may_be_a_tag_as_it_stands_can_be_said_to_be_one(tmp_path: Path) -> None:
    said = report(write_csv(tmp_path / "x.csv", rows_of("01.05.2025", "K-014", "03-set")))
    assert [p["answer"] for p in asked(said)["proposals"]] == ["day-month", "month-day", "right", "leave out"]
    assert [row["tag"] for row in said["rows"] if row["verdict"] in ("good", "note")] == ["K-014"]


@pytest.mark.parametrize(
    ("answer", "tags"),
    [
        ("day-month", {"3-14", "3-15", "3-4", "3-5", "3-6"}),
        ("month-day", {"3-14", "3-15", "4-3", "5-3", "6-3"}),
        ("day.month", {"3-14", "3-15", "3.4", "3.5", "3.6"}),
        ("leave out", {"3-14", "3-15"}),
    ],
)
def test_such_tags_wait_in_the_worklist_until_one_answer_brings_them_in(
    tmp_path: Path, answer: str, tags: set[str]
) -> None:
    ledger = tmp_path / "l.db"
    file = write_book(tmp_path / "x.xlsx", {"Skis": rows_of("3-14", "3-15", *DAYS)})

    def command(*words: str) -> Any:
        return CliRunner().invoke(app, ["--ledger", str(ledger), "import", *words])

    done = command(str(file), "--apply", "--shop", "T", "--zone", "UTC", "--by", "Mara Oberlin")
    assert done.exit_code == 1, done.output
    with Ledger.open(ledger) as opened:
        assert set(read_fleet(opened.connection).pairs) == {"3-14", "3-15"}
    listed(ledger)
    waiting = command("open", "--json")
    [identity] = [q["id"] for q in json.loads(waiting.stdout)["open"]]
    (tmp_path / "answers.txt").write_text(f"{identity} {answer}\n", encoding="utf-8")
    done = command("open", "--answers", str(tmp_path / "answers.txt"), "--apply", "--by", "Mara Oberlin")
    with Ledger.open(ledger) as opened:
        assert set(read_fleet(opened.connection).pairs) == tags, done.output


def test_no_answer_makes_a_tag_of_the_day_itself(tmp_path: Path) -> None:
    file = write_book(tmp_path / "x.xlsx", {"Skis": rows_of("3-14", *DAYS)})
    identity = asked(report(file))["id"]
    for answer in ("right", "day"):
        again = look_at(None, [file], today=TODAY, answers={identity: answer}).report()
        assert asked(again)["settles"] == 3
        assert [row["tag"] for row in again["rows"] if row["verdict"] in ("good", "note")] == ["3-14"]


def test_a_date_code_of_a_binding_is_its_serial(tmp_path: Path) -> None:
    head = ["model", "quantity", "brake_mm", "serial"]
    said = report(write_csv(tmp_path / "bindings.csv", [head, ["Latch 9", 1, 105, "03.04.2025"]]))
    assert [(row["values"]["serial"], row["verdict"]) for row in said["rows"]] == [("03.04.2025", "note")]


def test_a_list_of_holes_asks_for_its_own_column(tmp_path: Path) -> None:
    head = ["pair_tag", "ski", "x_mm", "y_mm", "diameter_mm", "depth_mm", "state"]
    rows = [[tag, "A", 20, 14, 3.6, 9, "open"] for tag in ("3-14", DAYS[0])]
    said = report(write_book(tmp_path / "x.xlsx", {"Skis": rows_of("3-14"), "Holes": [head, *rows]}))
    assert asked(said)["id"].startswith("tag/hole/tag_is_date/")
