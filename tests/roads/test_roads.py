"""Each road walked as its text says; what it costs the person stands in README.md beside it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.roads.walk import Road, Stumble, read_road, spread

HERE = Path(__file__).parent
ROADS = sorted(HERE.glob("*.txt"))
LONG = {"six_weeks_at_the_bench", "saturday_by_commands", "saturday_by_pages"}
"""Roads of more than five seconds of processor time."""


def counts_said() -> dict[str, tuple[int, ...]]:
    """Road -> its counts, as the table of README.md says them."""
    rows = re.findall(
        r"^\| \[(\w+)\]\(\w+\.txt\) \|.*?((?: \d+ \|)+)$", (HERE / "README.md").read_text("utf-8"), re.M
    )
    return {name: tuple(map(int, re.findall(r"\d+", numbers))) for name, numbers in rows}


@pytest.mark.parametrize(
    "road", [pytest.param(r, id=r.stem, marks=[pytest.mark.long] * (r.stem in LONG)) for r in ROADS]
)
def test_the_road_is_as_it_is_written(road: Path, tmp_path: Path) -> None:
    counts = Road(tmp_path).walk(road.read_text(encoding="utf-8"))
    assert counts.row() == counts_said()[road.stem], "the counts of README.md"


def test_every_road_has_its_counts() -> None:
    assert set(counts_said()) == {road.stem for road in ROADS}


def test_steps_and_what_is_seen_are_read_and_prose_is_not() -> None:
    text = "So:\n> mountbook today\n    one\n    two\nand\n< K-1 x\n!> mountbook out K-9\n    no"
    assert [(s.sign, s.words, s.given, s.seen) for s in read_road(text)] == [
        (">", "mountbook today", ["K-1 x"], ["one", "two"]),
        ("!>", "mountbook out K-9", [], ["no"]),
    ]


def test_a_range_of_tags_is_one_line_each_and_two_take_turns() -> None:
    assert spread("K-009..K-011 A") == ["K-009 A", "K-010 A", "K-011 A"]
    assert spread("K-1..K-2 + B-7..B-8") == ["K-1", "B-7", "K-2", "B-8"]
    assert spread("back") == ["back"]


@pytest.mark.parametrize(
    ("seen", "found"),
    [
        ("    no ledger ... begin one", ""),
        ("    begin one\n    no ledger", "nobody sees 'no ledger'"),
        ("    not: begin one", "shows 'begin one'"),
        ("    torque", "nobody sees 'torque'"),
    ],
)
def test_a_road_stumbles_where_its_words_are_not_seen_in_their_order(
    tmp_path: Path, seen: str, found: str
) -> None:
    said = "== Monday 2026-11-02 08:00 · Ida\n!> mountbook today\n" + seen
    if not found:
        Road(tmp_path).walk(said)
        return
    with pytest.raises(Stumble, match=found):
        Road(tmp_path).walk(said)


def test_a_road_stumbles_where_a_command_ends_otherwise_than_it_says(tmp_path: Path) -> None:
    with pytest.raises(Stumble, match="ends with 1"):
        Road(tmp_path).walk("== Monday 2026-11-02 08:00 · Ida\n> mountbook out K-1")
    with pytest.raises(Stumble, match="ends with 0"):
        Road(tmp_path).walk("== Monday 2026-11-02 08:00 · Ida\n!> mountbook blank own.xlsx")
