"""Tables that stand side by side, whose headers are not in one row."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from imports.several_tables import parts_of
from tests.imports.books import report, write_book

SKIS = [
    ["Tag", "Model", "Kind", "Length (cm)", "Waist (mm)", "BSL (mm)"],
    ["K-031", "Larch 96", "telemark", 178, 96, 305],
    ["K-032", "Larch 96", "telemark", 171, 96, 315],
    ["K-033", "Fir 82", "alpine", 160, 82, 295],
    ["K-034", "Fir 82", "alpine", 167, 82, 295],
]
BOOTS = [
    ["Boot tag", "Model", "Mondopoint", "BSL (mm)"],
    ["B-210", "Gimmel 26", 27.5, 316],
    ["B-211", "Gimmel 26", 25.5, 295],
    ["B-212", "Gimmel A", 26.5, 306],
    ["B-213", "Gimmel A", 28.5, 325],
    ["B-214", "Gimmel A", 29.5, 337],
]
TAGS = {row[0] for row in SKIS[1:]} | {row[0] for row in BOOTS[1:]}


def laid(*blocks: tuple[list[list[Any]], int, int]) -> list[list[Any]]:
    """Each block with its first cell there (row, column, from 0), on one sheet."""
    high = max(top + len(block) for block, top, _ in blocks)
    wide = max(left + len(block[0]) for block, _, left in blocks)
    grid: list[list[Any]] = [[None] * wide for _ in range(high)]
    for block, top, left in blocks:
        for at, line in enumerate(block):
            grid[top + at][left : left + len(line)] = line
    return grid


def taken(said: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    return {row["tag"]: row["values"] for row in said["rows"]}


@pytest.mark.parametrize(
    ("ski_top", "boot_top", "gap"),
    [(0, 0, 1), (1, 0, 1), (4, 1, 1), (0, 1, 1), (0, 3, 1), (1, 0, 0), (0, 1, 0), (3, 0, 2), (0, 7, 1)],
)
@pytest.mark.parametrize("boots_left", [False, True])
def test_no_row_or_column_is_lost_where_one_header_stands_lower(
    tmp_path: Path, ski_top: int, boot_top: int, gap: int, *, boots_left: bool
) -> None:
    first, second = (BOOTS, SKIS) if boots_left else (SKIS, BOOTS)
    tops = (boot_top, ski_top) if boots_left else (ski_top, boot_top)
    grid = laid((first, tops[0], 0), (second, tops[1], len(first[0]) + gap))
    got = taken(report(write_book(tmp_path / "x.xlsx", {"Stock": grid})))
    assert set(got) == TAGS
    for tag, _model, kind, length, waist, _sole in SKIS[1:]:
        assert (got[tag]["kind"], got[tag]["length_cm"], got[tag]["waist_mm"]) == (kind, length, waist)
    for tag, _model, size, sole in BOOTS[1:]:
        assert (got[tag]["mondopoint"], got[tag]["bsl_mm"]) == (size, sole)


def test_titles_over_two_tables_are_none_of_their_values(tmp_path: Path) -> None:
    grid = laid(
        ([["SKI RENTAL UNDER THE HILL"], ["season 2025/26"], *SKIS], 0, 0), ([["BOOTS"], *BOOTS], 0, 7)
    )
    said = report(write_book(tmp_path / "x.xlsx", {"Stock": grid}))
    assert set(taken(said)) == TAGS
    assert not [f for f in said["findings"] if f["code"] == "unknown_column"]


def test_a_header_said_again_beside_another_table_costs_that_table_no_row(tmp_path: Path) -> None:
    """The left table says its header again in one row, the right one in another."""
    left = [*SKIS[:3], SKIS[0], *SKIS[3:]]
    right = [*BOOTS[:4], BOOTS[0], *BOOTS[4:]]
    got = taken(report(write_book(tmp_path / "x.xlsx", {"Stock": laid((left, 0, 0), (right, 0, 7))})))
    assert set(got) == TAGS


def test_a_second_table_of_skis_says_its_header_again_in_a_row_of_its_own(tmp_path: Path) -> None:
    twin = [SKIS[0], *([f"L{row[0]}", *row[1:]] for row in SKIS[1:3]), SKIS[0], ["LK-040", *SKIS[3][1:]]]
    grid = laid((SKIS, 0, 0), (twin, 0, 7))
    got = taken(report(write_book(tmp_path / "x.xlsx", {"Skis": grid})))
    assert set(got) == {row[0] for row in (*SKIS[1:], twin[1], twin[2], twin[4])}


SOLD = "SOLD 2025"


def asked(said: Mapping[str, Any]) -> set[str]:
    return {f["tag"] for f in said["findings"] if f["code"] == "says_gone"}


@pytest.mark.parametrize(
    ("grid", "gone"),
    [
        ([[SOLD], *SKIS], {row[0] for row in SKIS[1:]}),
        ([[SOLD], [None], *SKIS], {row[0] for row in SKIS[1:]}),
        ([[SOLD], ["list of the season"], *SKIS], {row[0] for row in SKIS[1:]}),
        ([[SOLD], [None], [None], *SKIS], set()),
        ([*BOOTS, [None], [SOLD], *SKIS], {row[0] for row in SKIS[1:]}),
        ([*BOOTS[:3], [SOLD], BOOTS[3], *SKIS], {BOOTS[3][0]}),
        ([["red = sold"], *SKIS], set()),
        (laid((SKIS, 0, 0), ([[SOLD], *BOOTS], 1, 7)), {row[0] for row in BOOTS[1:]}),
        (laid(([[SOLD], *SKIS], 0, 0), (BOOTS, 1, 7)), {row[0] for row in SKIS[1:]}),
    ],
)
def test_a_title_over_a_header_says_that_its_table_is_gone(
    tmp_path: Path, grid: list[list[Any]], gone: set[str]
) -> None:
    """So many as two rows above, with nothing but titles between, in the table's own columns; no legend."""
    assert asked(report(write_book(tmp_path / "x.xlsx", {"Stock": grid}))) == gone


@pytest.mark.parametrize("turned", [False, True])
def test_boots_beside_pairs_that_have_no_tags_come_in(tmp_path: Path, *, turned: bool) -> None:
    """Pairs that are only counted cannot be named, so what names a boot beside them begins another table."""
    skis = [["Model", "Kind", "Length (cm)", "Waist (mm)", "Pairs"], ["Larch 96", "telemark", 178, 96, 3]]
    boots = [line[::-1] for line in BOOTS] if turned else BOOTS
    said = report(write_book(tmp_path / "x.xlsx", {"Stock": laid((skis, 0, 0), (boots, 0, 6))}))
    assert {row["tag"] for row in said["rows"] if row["kind"] == "boot"} == {row[0] for row in BOOTS[1:]}
    assert "missing_column" in {f["code"] for f in said["findings"]}
    assert said["outcome"] != "refuse"


def misspelt(block: list[list[Any]]) -> list[list[Any]]:
    """The second letter of each header of five and more written twice: the short ones are known no more."""
    return [[f"{text[:2]}{text[1:]}" if len(text) > 4 else text for text in block[0]], *block[1:]]


COUNTED = [[*SKIS[0][1:], "Pairs"], *([*row[1:], 2] for row in SKIS[1:])]


@pytest.mark.parametrize("boots_left", [False, True])
@pytest.mark.parametrize(
    ("skis", "boots"),
    [
        (SKIS, BOOTS),
        (misspelt(SKIS), misspelt(BOOTS)),
        (SKIS, [["Tag", *BOOTS[0][1:]], *BOOTS[1:]]),
        (COUNTED, BOOTS),
        (misspelt(COUNTED), misspelt(BOOTS)),
        (SKIS, [[row[0], *row[2:]] for row in BOOTS]),
    ],
)
def test_no_table_takes_a_value_of_one_that_stands_beside_it_without_a_gap(
    tmp_path: Path, skis: list[list[Any]], boots: list[list[Any]], *, boots_left: bool
) -> None:
    """All boots come in, however much of a header is asked about; pairs that have no tags cost no boot."""
    first, second = (boots, skis) if boots_left else (skis, boots)
    grid = laid((first, 0, 0), (second, 0, len(first[0])))
    said = report(write_book(tmp_path / "x.xlsx", {"Stock": grid}))
    true = {
        row[0]: dict(zip(("tag", "model", "mondopoint", "bsl_mm"), row, strict=True)) for row in BOOTS[1:]
    }
    of_boots = {row["tag"]: row["values"] for row in said["rows"] if row["kind"] == "boot"}
    assert set(of_boots) == set(true)
    for tag, values in of_boots.items():
        assert {key: value for key, value in values.items() if value is not None}.items() <= true[tag].items()
    of_skis = {(row[1], row[3], row[4]) for row in SKIS[1:]}
    for row in said["rows"]:
        if row["kind"] == "ski":
            assert (row["values"]["model"], row["values"]["length_cm"], row["values"]["waist_mm"]) in of_skis
            assert row["values"].get("bsl_mm") is None


@pytest.mark.parametrize(
    "head",
    [
        ["Tag", "Model", "Kind", "Length (cm)", "Binding", "Boot no", "BSL (mm)"],
        ["Boot no", "Model", "Kind", "Length (cm)", "Binding", "BSL (mm)", "Tag"],
        ["Tag", "Model", "Kind", "Length (cm)", "Binding", "BSL (mm)", "Mounted on", "Binding", "BSL (mm)"],
    ],
)
def test_a_list_of_pairs_that_names_their_boots_or_two_mounts_is_one_table(
    tmp_path: Path, head: list[str]
) -> None:
    what = {"Tag": "K-1", "Model": "Larch 96", "Kind": "alpine", "Length (cm)": 170, "Boot no": "B-1"}
    row = [what.get(text, "Teach 4" if text == "Binding" else None) for text in head]
    said = report(write_book(tmp_path / "x.xlsx", {"Skis": [head, row]}))
    assert [(row["kind"], row["tag"], row["values"]["length_cm"]) for row in said["rows"]] == [
        ("ski", "K-1", 170)
    ]


def test_boots_that_touch_pairs_begin_where_their_own_number_stands() -> None:
    """Each list names its own things: č. páru, the pair's number, and č. boty, the boot's."""
    words = "č. páru, typ, délka cm, pata, konstrukce, vázání, skořepina, č. boty, velikost, podrážka mm"
    headers = dict(enumerate(words.split(", "), start=1))
    assert [next(iter(part.values())) for part in parts_of(headers)] == ["č. páru", "č. boty"]
