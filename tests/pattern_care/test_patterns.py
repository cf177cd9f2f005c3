"""Patterns as data: what is nonsense, what only deserves a second look, and a round trip through a csv."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from fleet.base.errors import BadInput
from fleet.events.settings import PatternRecorded
from fleet.facts.kinds import Kind
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece, PieceName, pattern_from_body
from fleet.facts.policy import default_policy
from planner.geometry.pattern_care.checks import check_pattern, symmetric
from planner.geometry.pattern_care.enter import patterns_of_csv
from planner.geometry.pattern_care.words import pattern_lines
from planner.paper.pattern_picture import pattern_picture
from planner.paper.svg_writer import write_picture

HEAD_UM = 10_000  # ISO 10045:2017 (excerpt): head at most 10 mm

GOOD = """pattern,binding_model,piece,follows,x_mm,y_mm,diameter_mm,travel_back_mm,travel_forward_mm,\
bsl_min_mm,bsl_max_mm
T4/H4,Teach 1,toe,toe,-10,18,3.6,,,260,340
T4/H4,Teach 1,toe,toe,-10,-18,3.6,,,260,340
T4/H4,Teach 1,toe,toe,-45,20,3.6,,,260,340
T4/H4,Teach 1,toe,toe,-45,-20,3.6,,,260,340
T4/H4,Teach 1,heel,heel,15,18,3.6,10,12,260,340
T4/H4,Teach 1,heel,heel,15,-18,3.6,10,12,260,340
T4/H4,Teach 1,heel,heel,55,18,3.6,10,12,260,340
T4/H4,Teach 1,heel,heel,55,-18,3.6,10,12,260,340
"""


def piece(name: PieceName, *places_mm: tuple[float, float], follows: Follows | None = None) -> Piece:
    return Piece(
        name=name,
        follows=follows or Follows(name.value if name is not PieceName.PLATE else "centre"),
        holes=tuple(PatternHole(x_um=round(1000 * x), y_um=round(1000 * y)) for x, y in places_mm),
    )


TOE = piece(PieceName.TOE, (-10, 18), (-10, -18), (-45, 20), (-45, -20))
HEEL = piece(PieceName.HEEL, (15, 18), (15, -18), (55, 18), (55, -18))


def pattern(*pieces: Piece, **changes: int) -> Pattern:
    return Pattern(name="P", binding_model="M", pieces=pieces, **changes)


def test_a_table_of_one_pattern_is_read_whole(tmp_path: Path) -> None:
    file = tmp_path / "one.csv"
    file.write_text(GOOD, encoding="utf-8")
    (read,) = patterns_of_csv(file, default_policy())
    assert [len(p.holes) for p in read.pieces] == [4, 4]
    assert (read.pieces[1].travel_back_um, read.pieces[1].travel_forward_um) == (10_000, 12_000)
    assert read.takes_bsl(340_000)
    assert not read.takes_bsl(340_001)
    assert check_pattern(read, screw_head_um=HEAD_UM) == []


def recorded(holes: list[Any], **more: Any) -> PatternRecorded:
    """An entry of a pattern with one piece, read from its body."""
    toe = {"name": "toe", "follows": "toe", "travel_back_um": 0, "travel_forward_um": 12_000, "holes": holes}
    body = {"name": "T", "binding_model": "M", "bsl_min_um": None, "bsl_max_um": 340_000, "origin": ""}
    return PatternRecorded.read(body | {"pieces": [toe | more]})


def test_a_hole_is_read_by_name_and_in_older_entries_by_its_place_in_a_list() -> None:
    named = recorded([{"x_um": -10_000, "y_um": 18_000, "diameter_um": 3_600}, {"y_um": -18_000, "x_um": 1}])
    listed = recorded([[-10_000, 18_000, 3_600], [1, -18_000, None]])
    made = Pattern(
        name="T",
        binding_model="M",
        bsl_max_um=340_000,
        pieces=(
            Piece(
                name=PieceName.TOE,
                follows=Follows.TOE,
                travel_forward_um=12_000,
                holes=(
                    PatternHole(x_um=-10_000, y_um=18_000, diameter_um=3_600),
                    PatternHole(x_um=1, y_um=-18_000),
                ),
            ),
        ),
    )
    assert pattern_from_body(named.body()) == pattern_from_body(listed.body()) == made
    assert listed.body()["pieces"][0]["holes"] == ((-10_000, 18_000, 3_600), (1, -18_000, None))
    assert "screw" not in named.body()["pieces"][0]


@pytest.mark.parametrize("hole", [[1, 2], [1, 2, None, None], {"x_um": 1}, {"x_um": 1, "y_um": 2, "z_um": 3}])
def test_an_entry_with_a_hole_that_is_not_whole_is_refused(hole: Any) -> None:
    with pytest.raises(ValueError, match="holes"):
        recorded([hole])


def test_a_csv_says_what_a_pattern_is_for(tmp_path: Path) -> None:
    file = tmp_path / "kind.csv"
    file.write_text(GOOD.replace("340\n", "340,touring\n").replace("bsl_max_mm", "bsl_max_mm,kind"), "utf-8")
    (read,) = patterns_of_csv(file, default_policy())
    assert read.kind is Kind.TOURING


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (("toe,toe,-10,18", "nose,toe,-10,18"), "line 2"),
        (("heel,heel,55,18,", "heel,heel,far,18,"), "line 8"),
        (("-45,-20,3.6", "-45,20,3.6"), "lists one hole twice"),
        (("x_mm,y_mm", "x,y"), "has no column x_mm, y_mm"),
    ],
)
def test_a_table_that_cannot_be_read_is_one_sentence_with_its_line(
    tmp_path: Path, change: tuple[str, str], sentence: str
) -> None:
    file = tmp_path / "bad.csv"
    file.write_text(GOOD.replace(*change, 1), encoding="utf-8")
    with pytest.raises(BadInput, match=sentence):
        patterns_of_csv(file, default_policy())


@pytest.mark.parametrize(
    ("made", "code", "refused"),
    [
        (pattern(TOE), "toe only", False),
        (pattern(HEEL), "piece missing", True),
        (pattern(piece(PieceName.TOE, (-10, 4.9), (-10, -4.9)), HEEL), "heads overlap", True),
        (pattern(piece(PieceName.TOE, (-10, 9), (-10, -9)), HEEL), "closer than the standard", False),
        (
            pattern(piece(PieceName.TOE, (-10, 18), (-34.5, 18), (-10, -18), (-34.5, -18)), HEEL),
            "closer than the standard",
            False,
        ),
        (pattern(piece(PieceName.TOE, (-10, 18), (-45, -20), (-10, -18)), HEEL), "not symmetric", False),
        (pattern(TOE, HEEL, bsl_min_um=340_000, bsl_max_um=260_000), "range runs backwards", True),
        (
            pattern(piece(PieceName.TOE, (110, 18), (110, -18), (145, 20), (145, -20)), HEEL),
            "far from its end",
            False,
        ),
    ],
)
def test_each_remark_has_its_pattern(made: Pattern, code: str, refused: bool) -> None:
    remarks = check_pattern(made, screw_head_um=HEAD_UM)
    assert {r.code: r.refuse for r in remarks} == {code: refused}


def test_exactly_the_standard_distance_needs_no_remark() -> None:
    """ISO 8364:2017 (excerpt): 25 mm lengthwise, 20 mm otherwise, ski groups 1 and 2."""
    at_limit = piece(PieceName.TOE, (-10, 10), (-10, -10), (-35, 10), (-35, -10))
    assert check_pattern(pattern(at_limit, HEEL), screw_head_um=HEAD_UM) == []


def test_symmetry_is_about_the_centre_line() -> None:
    assert symmetric(TOE)
    assert symmetric(piece(PieceName.TOE, (-8, 0), (-31, 17), (-31, -17)))
    assert not symmetric(piece(PieceName.TOE, (-8, 1), (-31, 17), (-31, -17)))


def test_a_pattern_is_told_without_a_bare_sign() -> None:
    """The heel's first hole, of TEACHING's T4/H4: 15 mm ahead of the sole's heel end, 18 mm right."""
    lines = list(pattern_lines(pattern(TOE, HEEL), "measured on a bare binding"))
    assert "toe: holes from the toe end of the sole; does not slide; symmetric" in lines
    heel = lines.index("heel: holes from the heel end of the sole; does not slide; symmetric")
    assert lines[heel + 1 : heel + 3] == [
        "  along                 across         drill",
        "  15.0 mm toward TIP    18.0 mm right  not stated",
    ]


@pytest.mark.parametrize(("ending", "begins"), [(".svg", b"<svg"), (".pdf", b"%PDF"), (".png", b"\x89PNG")])
def test_a_pattern_is_drawn_in_the_form_its_ending_names(tmp_path: Path, ending: str, begins: bytes) -> None:
    file = tmp_path / f"p{ending}"
    write_picture(file, pattern_picture(pattern(TOE, HEEL), origin="measured on a bare binding"), label="P")
    assert file.read_bytes().startswith(begins)


def test_another_ending_is_refused_and_nothing_is_written(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no picture"):
        write_picture(tmp_path / "p.docx", pattern_picture(pattern(TOE, HEEL), origin=""), label="P")
    assert list(tmp_path.iterdir()) == []
