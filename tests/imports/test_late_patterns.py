"""What a sheet leaves open and another closes: the boot centre in the holes, a pattern that comes later."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from fleet.facts.holes import Side
from fleet.facts.patterns import Pattern
from imports.headers import Table
from imports.hole_witness import boot_centre_um
from tests.imports.books import FIT, HOLE, MOUNTED, T4H4, Rows, table_rows, write_book, write_csv
from tests.imports.test_hole_doubts import PATTERN as UNLIKE_ACROSS
from tests.odd_data.front_door import FrontDoor, holes_of
from tests.paper.invented_shop import T4H4 as PATTERN

NO_CENTRE = {key: value for key, value in MOUNTED.items() if key != "mark_offset_mm"} | {"tag": "1"}
STOCK: Rows = (("model", "quantity", "brake_mm"), ("Teach 4", 2, 105))


def places_of(pattern: Pattern) -> list[tuple[int, int]]:
    """The holes of the pattern for a sole of 305 mm, its middle on the mark: toe and heel 152.5 mm off."""
    toe, heel = pattern.pieces
    return [(at + h.x_um, h.y_um) for piece, at in ((toe, 152_500), (heel, -152_500)) for h in piece.holes]


def moved(rows: list[dict[str, Any]], by_mm: float) -> list[dict[str, Any]]:
    return [row | {"x_mm": row["x_mm"] + by_mm} for row in rows]


def taken_in(door: FrontDoor, holes: list[dict[str, Any]], *more: str, patterns: bool = True) -> Any:
    sheets = {
        "Skis": table_rows(Table.SKI, NO_CENTRE),
        "Holes": table_rows(Table.HOLE, *holes),
        "Bindings": STOCK,
    }
    if patterns:
        sheets["Patterns"] = table_rows(Table.PATTERN, *T4H4)
    write_book(door.folder / "own.xlsx", sheets)
    return door("import", "own.xlsx", "--apply", "--zone", "Europe/Vienna", *more)


def mounts(door: FrontDoor) -> list[dict[str, Any]]:
    return list(door("ski", "1", "--json").json["mounts"])


@pytest.mark.parametrize(
    ("ahead_mm", "b_beside_mm", "centre_mm"),
    [(0, 0, 0), (-5.5, 0, -5.5), (3, 1.0, 3), (3, 1.1, None), (3, -1.0, 3), (3, -1.1, None)],
)
def test_screwed_holes_of_both_skis_say_the_boot_centre(
    tmp_path: Path, ahead_mm: float, b_beside_mm: float, centre_mm: float | None
) -> None:
    """A and B may stand a millimetre apart (our default, beside the check in imports/hole_witness.py)."""
    door = FrontDoor(tmp_path)
    holes = moved(holes_of("1", sides="A"), ahead_mm) + moved(
        holes_of("1", sides="B"), ahead_mm + b_beside_mm
    )
    said = taken_in(door, holes)
    assert ("make T4/H4 for 305.0 mm there" in door("import", "own.xlsx").all) is False  # known by now
    assert [mount["offset_mm"] for mount in mounts(door)] == ([] if centre_mm is None else [centre_mm]), (
        said.all
    )


@pytest.mark.parametrize(
    "change",
    [{"state": "open"}, {"state": "plugged"}, {"knowledge": "suspected"}, {"knowledge": "batch assumed"}],
)
def test_a_hole_without_screw_or_that_nobody_saw_says_no_boot_centre(
    tmp_path: Path, change: dict[str, Any]
) -> None:
    door = FrontDoor(tmp_path)
    first, *others = holes_of("1")
    taken_in(door, [first | change, *others])
    assert not mounts(door)


def test_holes_that_make_the_pattern_at_two_places_say_neither() -> None:
    """Two mounts of one pattern in one ski, both with screws: nobody can say which holds the binding."""
    once = [(round(row["x_mm"] * 1000), round(row["y_mm"] * 1000)) for row in holes_of("1", sides="A")]
    twice = once + [(x + 8_000, y) for x, y in once]
    assert boot_centre_um(PATTERN, 305_000, {Side.A: once, Side.B: once}) == 0
    assert boot_centre_um(PATTERN, 305_000, {Side.A: twice, Side.B: twice}) is None


@pytest.mark.parametrize(
    ("x_um", "y_um", "centre_um"),
    [(1_000, 0, 500), (1_100, 0, None), (0, 1_000, 0), (0, 1_100, None), (0, -1_000, 0), (0, -1_100, None)],
)
@pytest.mark.parametrize("pattern", [PATTERN, UNLIKE_ACROSS], ids=["alike", "unlike"])
def test_each_hole_lies_within_a_millimetre_of_where_its_pattern_puts_it(
    pattern: Pattern, x_um: int, y_um: int, centre_um: int | None
) -> None:
    """Our default, kept beside the check; the boot centre is the middle of what the holes say.

    A pattern whose holes lie unlike on both sides of the middle line is no other when it is turned over.
    """
    *others, (x, y) = places_of(pattern)
    beside = [*others, (x + x_um, y + y_um)]
    assert boot_centre_um(pattern, 305_000, {Side.A: beside, Side.B: beside}) == centre_um
    missing = {Side.A: others, Side.B: others}
    assert boot_centre_um(pattern, 305_000, missing) is None, "a hole of the pattern is not there"


@pytest.mark.parametrize(("ahead_um", "centre_um"), [(149, 100), (150, 200), (151, 200), (-149, -100)])
def test_the_boot_centre_is_said_to_a_tenth_of_a_millimetre(ahead_um: int, centre_um: int) -> None:
    places = [(x + ahead_um, y) for x, y in places_of(PATTERN)]
    assert boot_centre_um(PATTERN, 305_000, {Side.A: places, Side.B: places}) == centre_um


@pytest.mark.parametrize("beside_um", [-900, 900])
def test_of_two_holes_beside_each_other_the_nearer_one_is_the_pattern_s(beside_um: int) -> None:
    places = places_of(PATTERN)
    twice = [*places, (places[-1][0] + beside_um, places[-1][1])]
    assert boot_centre_um(PATTERN, 305_000, {Side.A: twice, Side.B: twice}) == 0


def test_holes_on_the_wrong_side_of_the_middle_line_say_no_boot_centre() -> None:
    turned = [(x, -y) for x, y in places_of(UNLIKE_ACROSS)]
    assert boot_centre_um(UNLIKE_ACROSS, 305_000, {Side.A: turned, Side.B: turned}) is None


@pytest.mark.parametrize("change", [{"state": "open"}, {"knowledge": "suspected"}])
def test_a_hole_of_the_ledger_that_nobody_saw_screwed_says_no_boot_centre(
    tmp_path: Path, change: dict[str, Any]
) -> None:
    door = FrontDoor(tmp_path)
    first, *others = holes_of("1")
    taken_in(door, [first | change, *others], patterns=False)
    door("staff", "add", "Mara Oberlin", "--role", "manager", "--until", "2028-05-31")
    write_book(tmp_path / "patterns.xlsx", {"Patterns": table_rows(Table.PATTERN, *T4H4)})
    said = door("import", "patterns.xlsx", "--apply")
    assert "is now that of" in said.out
    assert not mounts(door)


def test_a_pattern_that_comes_later_completes_what_was_kept_by_name(tmp_path: Path) -> None:
    door = FrontDoor(tmp_path)
    taken_in(door, holes_of("1"), patterns=False)
    door("staff", "add", "Mara Oberlin", "--role", "manager", "--until", "2028-05-31")
    assert not mounts(door)
    write_book(
        tmp_path / "patterns.xlsx",
        {"Patterns": table_rows(Table.PATTERN, *T4H4), "Fits": table_rows(Table.FIT, FIT)},
    )
    said = door("import", "patterns.xlsx", "--apply")
    assert "the mount of 1 pair is complete now: 1" in said.out
    assert "the pattern T4/H4 is now that of 6 bindings which the ledger kept by name" in said.out
    assert [(m["pattern"], m["bsl_mm"], m["offset_mm"]) for m in mounts(door)] == [("T4/H4", 305, 0)]
    again = door("import", "own.xlsx", "--json").json
    assert again["changes"] == {"new": 0, "changed": 0, "unchanged": 18}, "the stock is not doubled"


@pytest.mark.parametrize("known", [1, 8, 15])
def test_holes_of_the_ledger_and_of_the_sheet_say_the_boot_centre_together(
    tmp_path: Path, known: int
) -> None:
    """Eight holes a ski: the ledger has the first of them, the sheet that brings the pattern the others."""
    door = FrontDoor(tmp_path)
    holes = holes_of("1")
    taken_in(door, holes[:known], patterns=False)
    door("staff", "add", "Mara Oberlin", "--role", "manager", "--until", "2028-05-31")
    write_book(
        tmp_path / "rest.xlsx",
        {"Holes": table_rows(Table.HOLE, *holes[known:]), "Patterns": table_rows(Table.PATTERN, *T4H4)},
    )
    said = door("import", "rest.xlsx", "--apply")
    assert [(m["pattern"], m["offset_mm"]) for m in mounts(door)] == [("T4/H4", 0)], said.all


def test_a_pattern_added_by_itself_completes_what_waited_for_it_too(tmp_path: Path) -> None:
    """As an import of the same pattern does: the mount's place is known, the bindings are named."""
    door = FrontDoor(tmp_path)
    taken_in(door, holes_of("1"), patterns=False)
    door("staff", "add", "Mara Oberlin", "--role", "manager", "--until", "2028-05-31")
    write_csv(tmp_path / "ours.csv", table_rows(Table.PATTERN, *T4H4))
    said = door("pattern", "add", "ours.csv", "--origin", "measured off a bare binding", by="Mara Oberlin")
    assert "What follows: the mount of 1 pair is complete now: 1" in said.out
    assert "the pattern T4/H4 is now that of 6 bindings which the ledger kept by name" in said.out
    assert [(m["pattern"], m["bsl_mm"], m["offset_mm"]) for m in mounts(door)] == [("T4/H4", 305, 0)]
    again = door("pattern", "add", "ours.csv", "--origin", "measured once more", by="Mara Oberlin")
    assert "What follows" not in again.out
    assert len(mounts(door)) == 1


def test_two_patterns_of_one_model_complete_nothing(tmp_path: Path) -> None:
    door = FrontDoor(tmp_path)
    taken_in(door, holes_of("1"), patterns=False)
    door("staff", "add", "Mara Oberlin", "--role", "manager", "--until", "2028-05-31")
    other = [row | {"pattern": "T4 wide", "y_mm": row["y_mm"] * 2} for row in T4H4]
    write_book(tmp_path / "patterns.xlsx", {"Patterns": table_rows(Table.PATTERN, *T4H4, *other)})
    door("import", "patterns.xlsx", "--apply")
    assert not mounts(door)


def test_a_model_in_other_letters_is_not_the_one_that_was_named(tmp_path: Path) -> None:
    """As the same row would be resolved, were it imported again."""
    door = FrontDoor(tmp_path)
    taken_in(door, holes_of("1"), patterns=False)
    door("staff", "add", "Mara Oberlin", "--role", "manager", "--until", "2028-05-31")
    other = [
        row | {"pattern": "T4 wide", "binding_model": "TEACH 4", "y_mm": row["y_mm"] * 2} for row in T4H4
    ]
    write_book(tmp_path / "patterns.xlsx", {"Patterns": table_rows(Table.PATTERN, *T4H4, *other)})
    door("import", "patterns.xlsx", "--apply")
    assert [mount["pattern"] for mount in mounts(door)] == ["T4/H4"]


@pytest.mark.parametrize(("said", "asked"), [("001", True), ("1", False), ("010", False)])
def test_other_zeros_are_asked_about_once_for_the_sheet(tmp_path: Path, said: str, asked: bool) -> None:
    door = FrontDoor(tmp_path)
    holes = [row | {"pair_tag": said} for row in holes_of("1")]
    taken_in(door, holes)
    questions = [q["id"] for q in door("import", "own.xlsx", "--json").json["questions"]]
    assert ("tag/hole/zeros_differ/holes/-" in questions) is asked
    if said == "010":
        assert any("010" in identity for identity in questions), "no pair 10: the tag itself is asked about"


def test_one_answer_takes_all_holes_with_other_zeros(tmp_path: Path) -> None:
    door = FrontDoor(tmp_path)
    (tmp_path / "a.txt").write_text("tag/hole/zeros_differ/holes/- right\n")
    taken_in(door, [row | {"pair_tag": "001"} for row in holes_of("1")], "--answers", "a.txt")
    assert len(door("ski", "1", "--json").json["skis"]["A"]["holes"]) == 8


def test_zeros_that_may_be_two_pairs_are_no_answer(tmp_path: Path) -> None:
    write_book(
        tmp_path / "own.xlsx",
        {
            "Skis": table_rows(Table.SKI, NO_CENTRE | {"tag": "K-1"}, NO_CENTRE | {"tag": "K-01"}),
            "Holes": table_rows(Table.HOLE, HOLE | {"pair_tag": "K-001"}),
        },
    )
    questions = FrontDoor(tmp_path)("import", "own.xlsx", "--json").json["questions"]
    assert not any("zeros_differ" in q["id"] for q in questions)


def test_a_header_again_in_another_unit_begins_a_table_of_its_own(tmp_path: Path) -> None:
    rows: Rows = (
        ("Pair", "A/B", "x mm", "y mm"),
        ("1", "A", 101.5, 18),
        ("from here on in cm",),
        ("Pair", "A/B", "x cm", "y cm"),
        ("1", "A", 10.15, -1.8),
        ("Pair", "A/B", "x cm", "y cm"),
        ("1", "A", -10.15, 1.8),
    )
    write_book(tmp_path / "own.xlsx", {"Skis": table_rows(Table.SKI, NO_CENTRE), "Holes": rows})
    found = FrontDoor(tmp_path)("import", "own.xlsx", "--json").json["rows"]
    places = [(r["values"]["x_mm"], r["values"]["y_mm"]) for r in found if r["kind"] == "hole"]
    assert places == [(101.5, 18), (101.5, -18), (-101.5, 18)]
