"""The importer, held against what a person in the shop would expect of each habit and of many at once."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

import pytest

from tests.few import first
from tests.import_habits.answering import MOST, answered, asked_again
from tests.import_habits.judging import Case, Found, Harm, alone_cases, mixed_cases, run

ALONE = {case.name: case for case in alone_cases()}
QUICK = sorted(ALONE)[::8]


@cache
def still_open() -> frozenset[tuple[str, str]]:
    """What is known not to be mended yet: habit and harm."""
    return frozenset((row["habit"], row["harm"]) for row in open_rows())


def open_rows() -> list[dict[str, str]]:
    with (Path(__file__).parent / "still_open.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def harms(case: Case, folder: Path, upto: Harm, *, typed: bool = True) -> list[Found]:
    """What goes wrong with that file, worst first, apart from what is known and stands in the list."""
    names = [habit.name for habit in case.habits]
    found = [found for found in run(case, folder, typed=typed).found if found.harm <= upto]
    return sorted(
        (f for f in found if not any((name, f.harm.name) in still_open() for name in names)),
        key=lambda f: f.harm,
    )


@pytest.mark.parametrize("name", QUICK)
def test_a_file_of_one_habit_is_read_as_its_shop_means_it(name: str, tmp_path: Path) -> None:
    assert not harms(ALONE[name], tmp_path, Harm.FAULT)


@pytest.mark.long
@pytest.mark.parametrize("name", sorted(set(ALONE) - set(QUICK)))
def test_every_habit_is_read_as_its_shop_means_it(name: str, tmp_path: Path) -> None:
    assert not harms(ALONE[name], tmp_path, Harm.FAULT)


@pytest.mark.parametrize("at", first(3, range(6)))
def test_a_file_of_several_habits_is_read_as_its_shop_means_it(at: int, tmp_path: Path) -> None:
    assert not harms(list(mixed_cases(at + 1))[at], tmp_path, Harm.FAULT)


@pytest.mark.long
@pytest.mark.parametrize("at", range(6, 150))
def test_every_mix_of_habits_is_read_as_its_shop_means_it(at: int, tmp_path: Path) -> None:
    assert not harms(list(mixed_cases(at + 1))[at], tmp_path, Harm.FAULT)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(50))
def test_of_5000_variants_what_is_taken_is_right_or_was_said_aloud(seed: int, tmp_path: Path) -> None:
    for at, case in enumerate(mixed_cases(100, seed=100 + seed)):
        folder = tmp_path / str(at)
        folder.mkdir()
        assert not harms(case, folder, Harm.FAULT, typed=False), case.name


@pytest.mark.parametrize(
    "name", first(2, dict.fromkeys(("one tag twice", "shell size as 26/26.5", *sorted(ALONE))))
)
def test_a_shop_answers_few_questions_and_each_once(name: str, tmp_path: Path) -> None:
    """All good rows come in by few answers, and neither of two later files asks any of them again."""
    made = answered(ALONE[name], tmp_path)
    assert made.lost == []
    assert len(made.given) <= MOST, made.given
    assert asked_again(made, tmp_path) == []
    assert asked_again(made, tmp_path, anew=True) == []


@pytest.mark.long
def test_what_is_said_to_be_open_still_is(tmp_path: Path) -> None:
    for at, row in enumerate(row for row in open_rows() if row["seen"] == "alone"):
        name, harm = row["habit"], row["harm"]
        folder = tmp_path / str(at)
        folder.mkdir()
        assert harm in {found.harm.name for found in run(ALONE[name], folder).found}, (name, harm)


def test_two_tables_of_one_header_are_two_questions(tmp_path: Path) -> None:
    """Touring skis left, telemark skis right: one answer for both would be wrong for one of them."""
    asked = run(ALONE["two tables of skis side by side, kinds unsaid"], tmp_path).dry["questions"]
    assert len([q for q in asked if q["id"].startswith("all/ski/kind/")]) == 2
