"""The shapes in which shops keep holes: in each, the holes in the ledger are those that were meant.

The two skis differ everywhere. Each table of `hole_tables.py` is as a mechanic would write it; what was
meant stands in `MEANT`, and is compared in whole micrometres. The figures are invented.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from fleet.facts.holes import Side
from fleet.facts.pairs import Pair
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_fleet
from imports.headers import Table
from planner.exchange.intake import apply, look_at
from tests.imports.books import SKI, TODAY, Rows, table_rows, write_book, write_csv
from tests.imports.hole_tables import TABLES

NOW = datetime(2026, 11, 25, 17, tzinfo=UTC)
MEANT = {
    Side.A: {(105, 18), (105, -18), (70, 18), (70, -18), (-150, 19), (-150, -19), (-190, 19), (-190, -19)},
    Side.B: {
        *((107.5, 18.5), (107.5, -18.5), (72.5, 18.5), (72.5, -18.5)),
        *((-148, 19.25), (-148, -19.25), (-188, 19.25), (-188, -19.25)),
    },
}
"""Places in mm from the ski's own mark, + to the tip and + to the right."""
TWO_SKIS = [
    SKI | {"ski": "A", "mark_from_tail_mm": 812, "inspected": "bare", "inspected_on": "2026-10-20"},
    SKI | {"ski": "B", "mark_from_tail_mm": 810, "inspected": "bare", "inspected_on": "2026-10-20"},
]


ASKED = ("not_stated", "skis_with_their_holes", "facts_of_each_ski")
"""Tables that are asked about, or are lists of skis: they have tests of their own."""


def table(name: str) -> list[list[str]]:
    """The rows of a table."""
    columns = [[cell.strip() for cell in line.split("|")] for line in TABLES[name].strip().splitlines()]
    return [list(row) for row in zip(*columns, strict=True)]


def taken(
    tmp_path: Path, holes: Rows, answers: Mapping[str, str] | None = None, skis: Rows | None = None
) -> tuple[Pair | None, dict[str, Any]]:
    """The pair as it is in a new ledger, and the report."""
    book = [
        write_csv(tmp_path / "skis.csv", skis if skis is not None else table_rows(Table.SKI, *TWO_SKIS)),
        *([write_csv(tmp_path / "drilled.csv", holes)] if holes else []),
    ]
    proposal = look_at(None, book, answers=answers or {}, today=TODAY)
    said = proposal.report()
    at = tmp_path / "shop.db"
    done = apply(at, proposal, ledger=None, by="Mara Oberlin", now=NOW, shop="Test", zone="UTC")
    if not done.applied or not at.exists():
        return None, said
    with Ledger.open(at) as ledger:
        return read_fleet(ledger.connection).pairs.get("K-031"), said


def places(pair: Pair | None) -> dict[Side, set[tuple[float, float]]]:
    assert pair is not None
    return {side: {(h.x_um / 1000, h.y_um / 1000) for h in ski.holes} for side, ski in pair.skis.items()}


def exactly(pair: Pair | None) -> bool:
    """In whole micrometres, each hole once."""
    assert pair is not None
    found = {s: sorted((h.x_um, h.y_um) for h in ski.holes) for s, ski in pair.skis.items()}
    return found == {s: sorted((round(x * 1000), round(y * 1000)) for x, y in MEANT[s]) for s in Side}


@pytest.mark.parametrize("name", [name for name in TABLES if name not in ASKED])
def test_the_holes_in_the_ledger_are_those_that_were_meant(name: str, tmp_path: Path) -> None:
    pair, said = taken(tmp_path, table(name))
    assert said["outcome"] == "import", [q["text"] for q in said["questions"]]
    assert places(pair) == MEANT
    assert exactly(pair)


def test_distances_in_the_list_of_skis_itself_are_holes_of_its_skis(tmp_path: Path) -> None:
    """The same row holds the ski, its mark, and the drill of its holes."""
    skis = table("skis_with_their_holes")
    pair, said = taken(tmp_path, [], skis=skis)
    assert said["outcome"] == "import", [q["text"] for q in said["questions"]]
    assert pair is not None
    assert exactly(pair)
    assert {h.diameter_um for h in pair.skis[Side.A].holes} == {3600}
    assert {h.diameter_um for h in pair.skis[Side.B].holes} == {4100}


def test_facts_of_each_ski_side_by_side_are_facts_of_that_ski(tmp_path: Path) -> None:
    skis = table("facts_of_each_ski")
    pair, said = taken(tmp_path, [], skis=skis)
    assert said["outcome"] == "import", [q["text"] for q in said["questions"]]
    assert pair is not None
    assert [pair.skis[side].mark_from_tail_um for side in Side] == [812_000, 810_000]
    assert [pair.skis[side].zone_back_um for side in Side] == [330_000, 330_000]
    assert [pair.skis[side].zone_front_um for side in Side] == [None, 275_000]


def test_what_no_header_says_is_asked_once_and_nothing_is_guessed(tmp_path: Path) -> None:
    """No hole of it is in the ledger; no ski opens, though the sheet says that they were seen bare."""
    pair, said = taken(tmp_path, table("not_stated"))
    [question] = said["questions"]
    assert (question["about"], question["settles"]) == ("direction", 2)
    assert "'toe front from mark', 'toe rear', 'heel front', 'heel rear'" in question["text"]
    assert question["proposals"][0]["answer"] == "from the mark, toe to the tip, heel to the tail"
    assert pair is not None
    assert [len(ski.holes) for ski in pair.skis.values()] == [0, 0]
    assert [ski.inspected for ski in pair.skis.values()] == [(), ()]


@pytest.mark.parametrize(
    ("toe", "first"),
    [("460", "from the tail"), ("459", "from the mark, toe to the tip, heel to the tail")],
)
def test_numbers_as_far_as_no_hole_from_its_mark_speak_for_the_tail(
    toe: str, first: str, tmp_path: Path
) -> None:
    """In the middle 450 mm or more (common practice, no source); the answer is only offered first."""
    rows = [["pair", "ski", "toe", "heel", "width toe", "width heel"], ["K-031", "A", toe, "440", "36", "38"]]
    [question] = [q for q in taken(tmp_path, rows)[1]["questions"] if q["about"] == "direction"]
    assert question["proposals"][0]["answer"] == first


def test_places_from_the_tail_without_the_mark_are_one_question_and_none_of_the_direction(
    tmp_path: Path,
) -> None:
    """The header says from where they count; only the mark is missing."""
    skis = table_rows(Table.SKI, *(ski | {"mark_from_tail_mm": None} for ski in TWO_SKIS))
    pair, said = taken(tmp_path, table("from_the_tail"), skis=skis)
    assert [q["id"] for q in said["questions"]] == ["check/hole/mark_for_tail_unknown/x_mm/drilled"]
    assert places(pair) == {Side.A: set(), Side.B: set()}


def test_one_answer_gives_every_column_its_direction(tmp_path: Path) -> None:
    [question] = taken(tmp_path / "", table("not_stated"))[1]["questions"]
    (tmp_path / "shop.db").unlink()
    answer = {question["id"]: "from the mark, toe to the tip, heel to the tail"}
    pair, said = taken(tmp_path, table("not_stated"), answer)
    assert said["outcome"] == "import"
    assert exactly(pair)


def test_an_answer_that_puts_the_heel_ahead_of_the_toe_is_doubted(tmp_path: Path) -> None:
    """Plus to the tip for all: the heel's plain numbers would lie ahead of the mark. No hole comes in."""
    [question] = taken(tmp_path, table("not_stated"))[1]["questions"]
    (tmp_path / "shop.db").unlink()
    pair, said = taken(tmp_path, table("not_stated"), {question["id"]: "from the mark, + to the tip"})
    assert {f["code"] for f in said["findings"] if f["severity"] == "question"} == {"holes_out_of_order"}
    assert "the heel front holes would lie 80 mm ahead of the toe rear holes" in said["questions"][0]["text"]
    assert places(pair) == {Side.A: set(), Side.B: set()}
    assert pair is not None
    assert [ski.inspected for ski in pair.skis.values()] == [(), ()]


def test_columns_that_differ_are_asked_for_one_by_one(tmp_path: Path) -> None:
    cells = table("not_stated")
    cells[1][3:6], cells[2][3:6] = ["35", "150", "190"], ["35", "148", "188"]
    [question] = taken(tmp_path, cells)[1]["questions"]
    answers = {question["id"]: "each column in its own way"}
    (tmp_path / "shop.db").unlink()
    said = taken(tmp_path, cells, answers)[1]
    asked = {q["id"]: [p["answer"] for p in q["proposals"]] for q in said["questions"]}
    assert len(asked) == 4
    assert asked["direction/hole/x_mm/toe%20front%20from%20mark"][:2] == [
        "from the mark, + to the tip",
        "from the mark, + to the tail",
    ]
    answers |= {
        "direction/hole/x_mm/toe%20front%20from%20mark": "from the mark, + to the tip",
        "direction/hole/x_mm/toe%20rear": "behind toe front",
        "direction/hole/x_mm/heel%20front": "from the mark, + to the tail",
        "direction/hole/x_mm/heel%20rear": "+ to tail",
    }
    (tmp_path / "shop.db").unlink()
    pair, said = taken(tmp_path, cells, answers)
    assert said["outcome"] == "import"
    assert exactly(pair)


def with_cell(row: int, column: int, cell: str) -> list[list[str]]:
    changed = table("one_ski_a_row")
    changed[row][column] = cell
    return changed


@pytest.mark.parametrize(
    ("row", "column", "cell"),
    [
        (1, 2, "105?"),
        (1, 2, "ca. 105"),
        (1, 6, "36-38"),
        (1, 6, ""),
        (1, 8, "?"),
        (1, 4, "-150"),
        (1, 3, "105"),
    ],
)
def test_a_doubtful_hole_closes_its_own_ski_and_not_the_other(
    row: int, column: int, cell: str, tmp_path: Path
) -> None:
    """The sheet says that both were seen bare; only B, of which every hole is certain, opens."""
    pair, said = taken(tmp_path, with_cell(row, column, cell))
    assert said["outcome"] == "questions"
    assert pair is not None
    assert pair.skis[Side.A].inspected == ()
    assert [(a.from_um, a.to_um) for a in pair.skis[Side.B].inspected] == [(-330_000, 280_000)]
    assert places(pair)[Side.B] == MEANT[Side.B]
    assert places(pair)[Side.A] < MEANT[Side.A]


def test_a_place_that_is_blank_says_nothing_of_a_hole(tmp_path: Path) -> None:
    """A ski with three rows of screws: no fourth row is made of a blank, and none of a zero."""
    pair, said = taken(tmp_path, with_cell(1, 5, ""))
    assert said["outcome"] == "import"
    assert places(pair)[Side.A] == {(x, y) for x, y in MEANT[Side.A] if x != -190}


def test_holes_without_a_side_are_asked_for_once(tmp_path: Path) -> None:
    cells = [[cell for n, cell in enumerate(row) if n != 1] for row in table("one_ski_a_row")[:2]]
    [question] = taken(tmp_path, cells)[1]["questions"]
    assert question["id"].startswith("all/hole/ski/")
    (tmp_path / "shop.db").unlink()
    pair, said = taken(tmp_path, cells, {question["id"]: "A"})
    assert said["outcome"] == "import"
    assert (places(pair)[Side.A], places(pair)[Side.B]) == (MEANT[Side.A], set())


@pytest.mark.parametrize("apart", [("state",), ("state", "pair"), ("state", "ski")])
def test_what_is_said_for_all_rows_is_said_of_every_hole_in_them(
    apart: tuple[str, ...], tmp_path: Path
) -> None:
    """As the question about the missing column says; here of ski A alone."""
    rows = table("one_ski_a_row")[:2]
    keep = [n for n, header in enumerate(rows[0]) if header not in apart]
    drilled = write_csv(tmp_path / "drilled.csv", [[row[n] for n in keep] for row in rows])
    skis = write_csv(tmp_path / "skis.csv", table_rows(Table.SKI, *TWO_SKIS))
    stated = {"state": "state=plugged", "pair": "pair_tag=K-031", "ski": "ski=A"}
    said = look_at(None, [skis, drilled], today=TODAY, all_rows=[f"drilled:{stated[key]}" for key in apart])
    assert said.outcome == "import", [q.text for q in said.questions]
    apply(tmp_path / "shop.db", said, ledger=None, by="Mara", now=NOW, shop="T", zone="UTC")
    with Ledger.open(tmp_path / "shop.db") as ledger:
        assert places(read_fleet(ledger.connection).pairs["K-031"])[Side.A] == MEANT[Side.A]


def test_a_width_in_a_list_of_skis_is_still_the_waist(tmp_path: Path) -> None:
    """Headers that only look like ours for holes keep their meaning where nothing else speaks of holes."""
    skis = [
        ["tag", "model", "kind", "length_cm", "width", "toe", "heel"],
        ["K-031", "Larch 96", "telemark", "178", "96", "6.5", "7"],
    ]
    pair, said = taken(tmp_path, [], skis=skis)
    assert pair is not None
    assert pair.waist_um == 96_000
    assert [len(ski.holes) for ski in pair.skis.values()] == [0, 0]
    assert "hole" not in {row["kind"] for row in said["rows"]}


def test_a_workbook_with_a_header_in_two_rows_is_read_the_same(tmp_path: Path) -> None:
    top = ["pair", "ski", "toe", "toe", "heel", "heel", "toe", "heel", "state"]
    below = [
        None,
        None,
        *["front from mark (+ to tip)", "rear from mark (+ to tip)"] * 2,
        "width",
        "width",
        None,
    ]
    rows = [top, below]
    data: list[list[Any]] = [
        ["K-031", "A", 105, 70, -150, -190, 36, 38, "plugged"],
        ["K-031", "B", 107.5, 72.5, -148, -188, 37, 38.5, "plugged"],
    ]
    book = write_book(
        tmp_path / "x.xlsx", {"Skis": table_rows(Table.SKI, *TWO_SKIS), "Drilled": [*rows, *data]}
    )
    proposal = look_at(None, [book], today=TODAY)
    assert proposal.outcome == "import", [q.text for q in proposal.questions]
    apply(tmp_path / "shop.db", proposal, ledger=None, by="Mara", now=NOW, shop="T", zone="UTC")
    with Ledger.open(tmp_path / "shop.db") as ledger:
        assert exactly(read_fleet(ledger.connection).pairs["K-031"])


def test_places_from_the_tail_take_the_mark_that_the_ledger_has_of_that_very_ski(tmp_path: Path) -> None:
    """The marks of A and B lie 2 mm apart, and no sheet but the first says them."""
    at = tmp_path / "shop.db"
    skis = look_at(None, [write_csv(tmp_path / "skis.csv", table_rows(Table.SKI, *TWO_SKIS))], today=TODAY)
    apply(at, skis, ledger=None, by="Mara Oberlin", now=NOW, shop="Test", zone="UTC")
    holes = write_csv(tmp_path / "drilled.csv", table("from_the_tail"))
    with Ledger.open(at) as ledger:
        proposal = look_at(ledger, [holes], today=TODAY)
        assert proposal.report()["questions"] == []
        notes = [f.message for f in proposal.findings if f.code == "mark_from_ledger"]
        assert (
            "917 mm is counted from the tail: the mark of K-031 A is 812 mm from the tail in the ledger"
            in notes
        )
        assert any("the mark of K-031 B is 810 mm" in note for note in notes)
        apply(at, proposal, ledger=ledger, by="Mara Oberlin", now=NOW, shop="Test", zone="UTC")
    with Ledger.open(at) as ledger:
        assert exactly(read_fleet(ledger.connection).pairs["K-031"])
        one = SKI | {"tag": "K-077", "mark_from_tail_mm": None}
        book = [write_csv(tmp_path / "new.csv", table_rows(Table.SKI, one))]
        rows = [[cell.replace("K-031", "K-077") for cell in row] for row in table("from_the_tail")]
        book.append(write_csv(tmp_path / "others.csv", rows))
        asked = look_at(ledger, book, today=TODAY)
        assert "mark_for_tail_unknown" in {f.code for f in asked.findings}, "nobody knows the mark of K-077"
        doubted = write_csv(tmp_path / "marks.csv", [["tag", "ski", "mark from tail"], ["K-031", "A", "81?"]])
        asked = look_at(ledger, [doubted, holes], today=TODAY)
        said = {f.raw for f in asked.findings if f.code == "mark_for_tail_unknown"}
        assert said == {"917", "882", "662", "622"}, "the file says another mark of A, which nobody can read"
