"""A column of soles that holds shell sizes in millimetres: the column tells, where no row does."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from imports.answers import Answers, GivenAnswer
from imports.proposal import Proposal, propose
from imports.reading import read_files
from tests.imports.books import TODAY, look, write_csv

_HEADER = ["Boot", "Model", "Kind", "Size EU", "BSL", "Sole"]


def boots(folder: Path, soles: Sequence[Any], sizes: Sequence[Any], header: str = "Size EU") -> Proposal:
    head = [header if text == "Size EU" else text for text in _HEADER]
    rows = [
        [f"B-{at}", "Larch", "alpine", size, sole, "alpine"]
        for at, (sole, size) in enumerate(zip(soles, sizes, strict=True), 1)
    ]
    return look(write_csv(folder / "boots.csv", [head, *rows]))


def asked(said: Proposal) -> set[str | None]:
    return {row.tag for row in said.rows if "bsl_mm" in row.doubted}


@pytest.mark.parametrize(
    ("sole", "size", "doubtful"),
    [(285, 43, True), (286, 43, True), (287, 43, False), (290, 43, False), (280, 42, False), (279, 42, True)],
)
def test_a_sole_shorter_than_the_last_of_its_eu_size_is_asked_about(
    sole: int, size: int, doubtful: bool, tmp_path: Path
) -> None:
    """A Paris point is 2/3 cm of the last (from memory: the size by its definition): 43 is 286.7 mm."""
    assert asked(boots(tmp_path, [sole, 311], [size, 42], "Size")) == ({"B-1"} if doubtful else set())


@pytest.mark.parametrize("header", ["Size US", "Size"])
def test_a_doubt_about_some_soles_spreads_to_a_column_of_fives(header: str, tmp_path: Path) -> None:
    """255 and 275 may be shells by themselves; 285 and 290 are, since they stand in that column."""
    said = boots(tmp_path, [255, 275, 285, 290], [7.5, 9.5, 10.5, 11], header)
    assert asked(said) == {"B-1", "B-2", "B-3", "B-4"}
    assert len({q.id for q in said.questions if "bsl_mm" in q.id}) == 1


@pytest.mark.parametrize(
    ("soles", "doubtful"),
    [
        ([255, 275, 306, 311, 315], {"B-1", "B-2"}),
        ([255, 275, 306, 315], {"B-1", "B-2", "B-4"}),
        ([265, 306, 315], {"B-1"}),
    ],
)
def test_a_doubt_stays_where_as_many_soles_are_no_multiple_of_five(
    soles: list[int], doubtful: set[str], tmp_path: Path
) -> None:
    """Shells in mm go by fives, so 306 is a sole; one such among more that may be shells clears no other."""
    assert asked(boots(tmp_path, soles, [8 + at for at in range(len(soles))], "Size US")) == doubtful


@pytest.mark.parametrize(
    ("header", "sole", "doubtful"),
    [
        ("Size EU", 285, True),
        ("EU-Größe", 285, True),
        ("Pointure (EU)", 299, True),
        ("Size EU", 300, False),
        ("Size US", 285, False),
    ],
)
def test_a_size_that_its_header_calls_eu_bears_witness_though_it_is_no_column_of_ours(
    header: str, sole: int, doubtful: bool, tmp_path: Path
) -> None:
    """45 Paris points of 2/3 cm are a last of 300 mm: no shorter sole has one."""
    said = boots(tmp_path, [sole, 341], [45, 46], header)
    assert asked(said) == ({"B-1"} if doubtful else set())
    assert [row.values.get("mondopoint") for row in said.rows] == [None, None]


def test_one_real_sole_among_shells_beside_eu_sizes_clears_none_of_them(tmp_path: Path) -> None:
    said = boots(tmp_path, [285, 255, 286, 275, None, 290], [45, 40, None, 43, None, None])
    assert asked(said) == {"B-1", "B-2", "B-4", "B-6"}


def test_a_sole_that_agrees_with_its_shell_keeps_the_doubt_where_it_is(tmp_path: Path) -> None:
    assert asked(boots(tmp_path, [265, 315, 320], [None, 26.5, None], "Mondopoint")) == {"B-1"}


def test_shells_beside_some_shell_sizes_put_the_rest_in_doubt(tmp_path: Path) -> None:
    assert asked(boots(tmp_path, [265, 295], [26.5, None], "Mondopoint")) == {"B-1", "B-2"}


def test_one_shell_that_agrees_by_chance_does_not_clear_the_others(tmp_path: Path) -> None:
    """245 over 22.5 may be a sole; between three that are no longer than their shells it is none."""
    sizes = [24.5, 25.5, 22.5, 26.5]
    assert asked(boots(tmp_path, [245, 255, 245, 265], sizes, "Mondopoint")) == {"B-1", "B-2", "B-3", "B-4"}


@pytest.mark.parametrize(("sole", "doubtful"), [(400, False), (401, True), (420, True)])
def test_no_boot_has_so_long_a_sole(sole: int, doubtful: bool, tmp_path: Path) -> None:
    """42 among soles in centimetres is an EU size."""
    assert asked(boots(tmp_path, [sole, 311], [9.5, 8.5], "Size US")) == ({"B-1"} if doubtful else set())


def test_a_sole_said_to_be_one_is_believed(tmp_path: Path) -> None:
    assert asked(boots(tmp_path, [255, "290 mm sole"], [7.5, 11], "Size US")) == {"B-1"}


def test_an_answer_settles_the_whole_column(tmp_path: Path) -> None:
    said = boots(tmp_path, [255, 290], [7.5, 11], "Size US")
    question = next(q.id for q in said.questions if "bsl_mm" in q.id)
    for answer, soles in (("right", [255, 290]), ("not known", [None, None])):
        answers = Answers({question: GivenAnswer(answer)})
        again = propose(read_files([tmp_path / "boots.csv"], today=TODAY, answers=answers), None)
        assert asked(again) == set()
        assert [row.values["bsl_mm"] for row in again.rows] == [s and Decimal(s) for s in soles]


def test_the_soles_that_skis_were_mounted_for_are_a_column_too(tmp_path: Path) -> None:
    head = ["tag", "model", "kind", "length_cm", "binding_model", "bsl_mm"]
    rows = [
        [f"K-{at}", "Larch 96", "alpine", 170, "Latch 9", sole] for at, sole in enumerate((265, 285, 290), 1)
    ]
    said = look(write_csv(tmp_path / "skis.csv", [head, *rows]))
    assert asked(said) == {"K-1", "K-2", "K-3"}
    rows[2][-1] = 291
    assert asked(look(write_csv(tmp_path / "skis.csv", [head, *rows]))) == {"K-1"}


@pytest.mark.parametrize(
    ("answer", "counts", "how"),
    [
        ("measured", 317, "measured 327 mm, duckbill minus 10 mm"),
        ("minus 10", 327, "minus 10"),
        ("printed", 327, "printed"),
    ],
)
def test_how_a_duckbill_sole_was_measured_is_answered_once_for_all(
    answer: str, counts: int, how: str, tmp_path: Path
) -> None:
    """A duckbill counts 10 mm less than it measures (duckbill_minus_mm: common practice, no source)."""
    rows = [[f"B-{n}", "Larch", "telemark", "", 327, "75 mm"] for n in (1, 2)]
    file = write_csv(tmp_path / "boots.csv", [_HEADER, *rows])
    [question] = [q for q in look(file).questions if "duckbill" in q.id]
    assert answer in [guess.answer for guess in question.guesses]
    assert question.settles == 2
    answers = Answers({question.id: GivenAnswer(answer)})
    again = propose(read_files([file], today=TODAY, answers=answers), None)
    assert [q for q in again.questions if "duckbill" in q.id] == []
    assert [(row.values["bsl_mm"], row.values["bsl_measured"]) for row in again.rows] == [(counts, how)] * 2
