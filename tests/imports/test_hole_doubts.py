"""Places of holes that cannot be what their columns say: the question, its answers in order, and its cure.

Each rule is tried at its limit on both sides, with holes in mm as a sheet lists them; ski B differs from A.
The limits are those of `imports/hole_witness.py` (from memory); the pattern is invented.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any, NamedTuple

import pytest

from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece, PieceName
from imports.answers import Answers, GivenAnswer
from imports.cells import Cell
from imports.findings import Severity
from imports.headers import Table
from imports.hole_witness import check_hole_columns
from imports.rows import Row, TableContext

TIP, TAIL, FROM_TAIL = "from the mark, + to the tip", "from the mark, + to the tail", "from the tail"
RIGHT, LEFT, SWAPPED = "+ to the right", "+ to the left", "x and y are swapped"
Place = tuple[Any, Any]


class Asked(NamedTuple):
    code: str
    words: str
    cure: str
    columns: dict[str, tuple[str, ...]]
    rows: list[int]


def row(number: int, place: Place, ski: str | None = "A", *, tag: str | None = "K-031", **more: Any) -> Row:
    x, y = (None if n is None else Decimal(str(n)) for n in place)
    context = TableContext(
        headers=more.pop("headers", {"x_mm": "Along", "y_mm": "Across"}),
        shape=more.pop("shape", "s"),
        turned=frozenset(more.pop("turned", ())),
        answers=more.pop("answers", Answers()),
    )
    found = Row(
        table=Table.HOLE,
        sheet=more.pop("sheet", "Holes"),
        number=number,
        file=more.pop("file", "own.xlsx"),
        values={"pair_tag": tag, "ski": ski, "x_mm": x, "y_mm": y} | more.pop("values", {}),
        cells={"x_mm": (3, Cell(str(x))), "y_mm": (4, Cell(str(y)))},
        left_out=more.pop("left_out", False),
        place=context,
    )
    for code, key in more.pop("strange", ()):
        found.remark(Severity.QUESTION, code, "how strange", "look again", key=key)
    assert not more
    return found


def rows(places: Iterable[Place], ski: str | None = "A", *, first: int = 2, **more: Any) -> list[Row]:
    return [row(number, place, ski, **more) for number, place in enumerate(places, start=first)]


def asked(holes: Sequence[Row], skis: Sequence[Row] = (), patterns: Sequence[Pattern] = ()) -> Asked | None:
    """The one doubt about these holes; what was strange before stands apart."""
    before = [f for hole in holes for f in hole.findings]
    check_hole_columns(holes, skis, {pattern.name: pattern for pattern in patterns})
    new = [(hole.number, f) for hole in holes for f in hole.findings if f not in before]
    if not new:
        return None
    said = {(f.code, f.message, f.fix) for _, f in new}
    [(code, words, cure)] = said
    assert {f.severity for _, f in new} == {Severity.QUESTION}
    columns = {str(f.key): f.guesses for _, f in new}
    assert len(new) == len(columns) * len({n for n, _ in new})
    return Asked(code, words, cure, columns, sorted({n for n, _ in new}))


def about(*places: Place) -> str:
    """The code of the doubt about a ski with these holes; empty where there is none."""
    found = asked(rows(places))
    return found.code if found else ""


CLEAN = ((105, 18), (105, -18), (70, 18), (70, -18), (-150, 19), (-150, -19), (-190, 19), (-190, -19))


def test_holes_as_they_are_on_a_ski_are_asked_about_by_nobody() -> None:
    assert about(*CLEAN) == ""


# x and y


def test_holes_that_lie_farther_across_than_along_may_be_swapped() -> None:
    found = asked(rows([(y, x) for x, y in CLEAN], "B"))
    assert found == Asked(
        "places_swapped",
        "the holes of K-031 B lie farther across the ski than along it: are x and y swapped?",
        "x is along the ski, y across: name the columns so",
        {"x_mm": (SWAPPED, TIP, TAIL)},
        list(range(2, 10)),
    )


@pytest.mark.parametrize(
    ("places", "code"),
    [
        # 65 mm from the middle line is on the widest ski; a little more is not
        ([(18, 65.5), (18, 70), (-18, -150), (-18, -190)], "places_swapped"),
        ([(100, 65.5), (18, 70), (-18, -150), (-18, -190)], "places_swapped"),
        ([(100, 65), (18, 70), (-18, -150), (-18, -190)], ""),
        # one is enough where all lie within 65 mm of the mark, and not where one lies farther along
        ([(65, 65.5), (18, 18), (-18, 18), (-65, -18)], "places_swapped"),
        ([(65, -65.5), (18, 18), (-18, 18), (-65, -18)], "places_swapped"),
        ([(65, 65), (18, 18), (-18, 18), (-65, -18)], ""),
        ([(65.5, 65.5), (18, 18), (-18, 18), (-65, -18)], ""),
        ([(60, 65.5), (18, 18), (-18, 18), (-65.5, -18)], ""),
        # four holes make a ski, three do not
        ([(18, 105), (-18, 105), (18, -150)], ""),
        ([(18, 105), (-18, 105), (18, -150), (-18, -150)], "places_swapped"),
    ],
)
def test_a_ski_is_as_wide_as_130_mm(places: list[Place], code: str) -> None:
    assert about(*places) == code


# centimetres


def test_holes_that_lie_close_together_may_be_in_centimetres() -> None:
    found = asked(rows([(Decimal(x) / 10, Decimal(y) / 10) for x, y in CLEAN], "B"))
    assert found == Asked(
        "places_in_cm",
        "the holes of K-031 B lie within 29.5 mm: are these centimetres?",
        'write the unit into the header, such as "x (cm)" and "y (cm)"',
        {"x_mm": ("cm", "mm"), "y_mm": ("cm", "mm")},
        list(range(2, 10)),
    )


@pytest.mark.parametrize(
    ("places", "code"),
    [
        ([(40, 8), (7, -8), (-15, 1.9), (-40, -1.9)], "places_in_cm"),
        ([(40.5, 8), (7, -8), (-15, 1.9), (-19, -1.9)], ""),
        ([(19, 8), (7, -8), (-15, 1.9), (-40.5, -1.9)], ""),
        ([(40, 8.5), (7, -8), (-15, 1.9), (-19, -1.9)], ""),
        ([(40, 8), (7, -8.5), (-15, 1.9), (-19, -1.9)], ""),
        ([(10.5, 1.8), (7, -1.8), (-15, 1.9)], ""),
    ],
)
def test_a_binding_is_longer_than_40_mm_and_wider_than_8_mm_on_each_side(
    places: list[Place], code: str
) -> None:
    assert about(*places) == code


# from the tail


@pytest.mark.parametrize(
    ("ski", "moved", "words"),
    [
        ("A", 812, "all holes of K-031 A lie ahead of the mark: from where is x counted?"),
        ("B", -1000, "all holes of K-031 B lie behind the mark: from where is x counted?"),
    ],
)
def test_holes_that_all_lie_on_one_side_of_the_mark_may_be_counted_from_elsewhere(
    ski: str, moved: int, words: str
) -> None:
    assert asked(rows([(x + moved, y) for x, y in CLEAN], ski)) == Asked(
        "places_from_tail",
        words,
        'say it in the header, such as "x from tail (mm)", or "x from mark (mm, + to tip)"',
        {"x_mm": (FROM_TAIL, TIP, TAIL)},
        list(range(2, 10)),
    )


@pytest.mark.parametrize(
    ("along", "code"),
    [
        ((150.5, 190, 370, 405, 410, 420), "places_from_tail"),
        ((150, 190, 370, 405, 410, 420), ""),
        ((-150.5, -190, -370, -405, -410, -420), "places_from_tail"),
        ((-150, -190, -370, -405, -410, -420), ""),
        # six holes, not five: a toe alone may stand far ahead
        ((160, 190, 370, 405, 410), ""),
        ((-160, 190, 370, 405, 410, 420), ""),
    ],
)
def test_no_binding_stands_with_all_its_holes_150_mm_from_the_mark(
    along: tuple[float, ...], code: str
) -> None:
    assert about(*((x, (-1) ** n * 18) for n, x in enumerate(along))) == code


# which holes are one ski's


@pytest.mark.parametrize(
    ("ski", "name"), [("A", "K-031 A"), ("B", "K-031 B"), ("both", "K-031"), (None, "K-031")]
)
def test_a_ski_is_named_with_its_side_where_that_is_known(ski: str | None, name: str) -> None:
    found = asked(rows([(y, x) for x, y in CLEAN], ski))
    assert found is not None
    assert found.words.startswith(f"the holes of {name} lie farther across")


def test_each_ski_is_judged_by_its_own_holes_and_all_of_the_sheet_are_asked_about() -> None:
    """Three holes of A and three of B are no ski; A's four are, and B's, which are clean, are asked too."""
    swapped = [(y, x) for x, y in CLEAN]
    assert asked([*rows(swapped[:3]), *rows(swapped[5:], "B", first=5)]) is None
    assert asked([*rows(swapped[:3]), *rows(swapped[5:], "A", tag="K-032", first=5)]) is None
    found = asked([*rows(CLEAN, "B"), *rows(swapped[:4], "A", first=10)])
    assert found is not None
    assert found.words.startswith("the holes of K-031 A lie")
    assert found.rows == list(range(2, 14))


def test_a_hole_without_a_place_or_a_pair_counts_for_no_ski() -> None:
    swapped = [(y, x) for x, y in CLEAN]
    for missing in ({"tag": None}, {"values": {"x_mm": None}}, {"values": {"y_mm": None}}):
        assert asked([*rows(swapped[:3]), *rows(swapped[3:4], first=5, **missing)]) is None


def test_a_table_is_judged_by_its_own_holes() -> None:
    """Another file, sheet or header is another hand's work; a row that is left out or ours is none."""
    swapped = [(y, x) for x, y in CLEAN]
    for other in ({"file": "b.csv"}, {"sheet": "More"}, {"shape": "t"}, {"left_out": True}):
        assert asked([*rows(swapped[:3]), *rows(swapped[3:4], first=5, **other)]) is None
    ours = rows(swapped[3:4], first=5, values={"hole_id": "K-031.A.4"})
    assert asked([*rows(swapped[:3]), *ours]) is None
    found = asked([*rows(CLEAN), *rows(swapped, first=10, sheet="More")])
    assert found is not None
    assert found.rows == list(range(10, 18))


# places that are no places


STRANGE = [("implausible", "x_mm"), ("unit_doubtful", "x_mm"), ("hole_off_ski", "x_mm")]


def strange(many: int, of: int, each: Sequence[tuple[str, str]] = STRANGE, **more: Any) -> list[Row]:
    places = (CLEAN * 3)[:of]
    return [
        row(n, place, strange=[each[n % len(each)]] if n < many else (), **more)
        for n, place in enumerate(places)
    ]


def test_places_of_which_a_quarter_is_strange_are_one_question_instead_of_many() -> None:
    holes = strange(3, 12)
    found = asked(holes)
    assert found == Asked(
        "places_in_doubt",
        "3 of 12 places on the sheet are not plausible",
        "say unit, origin and direction in the headers",
        {"x_mm": (FROM_TAIL, TIP, TAIL, SWAPPED)},
        list(range(12)),
    )
    assert {f.code for hole in holes for f in hole.findings} == {"places_in_doubt"}


def test_places_that_are_strange_only_across_may_be_swapped() -> None:
    found = asked(strange(3, 12, [("implausible", "y_mm")]))
    assert found is not None
    assert found.columns == {"x_mm": (SWAPPED, FROM_TAIL, TIP, TAIL)}
    found = asked(strange(3, 12, [("implausible", "y_mm"), ("implausible", "x_mm")]))
    assert found is not None
    assert found.columns == {"x_mm": (FROM_TAIL, TIP, TAIL, SWAPPED)}


@pytest.mark.parametrize(
    ("many", "of", "doubt"), [(3, 12, True), (3, 13, False), (2, 2, False), (4, 16, True)]
)
def test_three_strange_places_and_a_quarter_of_all_speak_for_the_column(
    many: int, of: int, doubt: bool
) -> None:
    holes = strange(many, of)
    assert (asked(holes) is not None) == doubt
    left = [f for hole in holes for f in hole.findings if f.code != "places_in_doubt"]
    assert len(left) == (0 if doubt else many)


@pytest.mark.parametrize("other", [("implausible", "depth_mm"), ("duplicate", "x_mm"), ("near_tag", "tag")])
def test_what_is_strange_of_something_else_says_nothing_of_the_places(other: tuple[str, str]) -> None:
    assert asked(strange(3, 3, [other])) is None
    holes = [*strange(3, 6), *rows(CLEAN, first=20, strange=[other])[:1]]
    assert asked(holes) is not None
    assert [f.code for f in holes[-1].findings] == [other[0], "places_in_doubt"]


def test_another_doubt_takes_back_nothing_that_was_said_of_a_hole() -> None:
    holes = rows([(y, x) for x, y in CLEAN])
    holes[0].remark(Severity.QUESTION, "hole_off_ski", "how strange", "look again", key="y_mm")
    found = asked(holes)
    assert found is not None
    assert found.code == "places_swapped"
    assert [f.code for f in holes[0].findings] == ["hole_off_ski", "places_swapped"]


def test_a_direction_that_was_answered_is_not_in_doubt_again() -> None:
    given = Answers({"direction/hole/x_mm/along": GivenAnswer(FROM_TAIL)})
    holes = strange(3, 12, answers=given)
    assert asked(holes) is None
    assert sum(len(hole.findings) for hole in holes) == 3
    holes[1:] = strange(3, 12, headers={"x_mm": "Elsewhere", "y_mm": "Across"}, answers=given)[1:]
    assert asked(holes) is None
    other = Answers({"direction/hole/x_mm/elsewhere": GivenAnswer(FROM_TAIL)})
    assert asked(strange(3, 12, answers=other)) is not None
    assert asked(strange(3, 12, [("implausible", "y_mm")], headers={}, answers=given)) is not None


# the pattern of the binding that is on


def piece(name: str, *places: Place) -> Piece:
    holes = tuple(PatternHole(x_um=round(x * 1000), y_um=round(y * 1000)) for x, y in places)
    return Piece(name=PieceName(name), follows=Follows(name if name != "plate" else "centre"), holes=holes)


TOE = piece("toe", (-10, 18), (-45, 20), (-10, -26), (-45, -20))
HEEL = piece("heel", (55, 18), (15, 18), (15, -18), (55, -18))
PATTERN = Pattern(name="T4/H4", binding_model="Teach 4", pieces=(TOE, HEEL))
AT = {"A": (152.5, -152.5), "B": (150.5, -154.5)}
"""Where the toe and the heel of a sole of 305 mm stand, in mm from the mark of each ski."""


def drilled(ski: str, pattern: Pattern = PATTERN, at: Sequence[float] = ()) -> list[Place]:
    """The holes of a pattern on that ski, in mm."""
    return [
        (x + hole.x_um / 1000, hole.y_um / 1000)
        for part, x in zip(pattern.pieces, at or AT[ski], strict=True)
        for hole in part.holes
    ]


def mounted(model: Any, tag: str = "K-031") -> Row:
    values = {"tag": tag, "binding_model": model}
    return Row(table=Table.SKI, sheet="Skis", number=2, file="own.xlsx", values=values, cells={})


@pytest.mark.parametrize("ski", ["A", "B"])
@pytest.mark.parametrize(
    ("along", "across", "words", "columns"),
    [
        (-1, 1, "x", {"x_mm": (TAIL, TIP)}),
        (1, -1, "y", {"y_mm": (LEFT, RIGHT)}),
        (-1, -1, "x and y", {"x_mm": (TAIL, TIP), "y_mm": (LEFT, RIGHT)}),
    ],
)
def test_holes_that_make_the_pattern_only_when_turned_are_asked_about(
    ski: str, along: int, across: int, words: str, columns: dict[str, tuple[str, ...]]
) -> None:
    holes = rows([(x * along, y * across) for x, y in drilled(ski)], ski)
    assert asked(holes, [mounted("Teach 4")], [PATTERN]) == Asked(
        "places_mirrored",
        f"the holes of K-031 {ski} make the pattern T4/H4 only with {words} turned: which way is plus?",
        'say it in the header, such as "x (mm, + to tip)" and "y (mm, + right)"',
        columns,
        list(range(2, 10)),
    )


def test_of_a_column_that_is_turned_already_the_other_way_is_offered_first() -> None:
    holes = [(-x, -y) for x, y in drilled("A")]
    for turned, along, across in (
        (("x_mm",), (TIP, TAIL), (LEFT, RIGHT)),
        (("y_mm",), (TAIL, TIP), (RIGHT, LEFT)),
    ):
        found = asked(rows(holes, turned=turned), [mounted("Teach 4")], [PATTERN])
        assert found is not None
        assert found.columns == {"x_mm": along, "y_mm": across}


def test_a_ski_whose_side_is_not_said_is_named_by_its_tag() -> None:
    found = asked(rows([(-x, y) for x, y in drilled("A")], None), [mounted("Teach 4")], [PATTERN])
    assert found is not None
    assert found.words.startswith("the holes of K-031 make the pattern T4/H4 only")


@pytest.mark.parametrize("model", ["Teach 4", "T4/H4"])
def test_the_binding_is_named_by_its_model_or_its_pattern(model: str) -> None:
    turned = [(-x, y) for x, y in drilled("A")]
    assert asked(rows(turned), [mounted("Other 2"), mounted(model)], [PATTERN]) is not None
    # the ski's own binding, and no other's; not every pattern of the shop
    assert asked(rows(turned), [mounted("Other 2")], [PATTERN]) is None
    assert asked(rows(turned), [mounted(model, "K-032")], [PATTERN]) is None
    assert asked(rows(turned), [mounted(None)], [replace(PATTERN, binding_model="")]) is None
    assert asked(rows(turned), [], [PATTERN]) is None


def test_the_first_ski_and_pattern_that_speak_are_followed_by_the_others() -> None:
    """A ski without a binding, and a pattern that fits as it is, end no search."""
    other = Pattern(name="Z2", binding_model="Teach 4", pieces=(piece("toe", (0, 10), (0, -10)),))
    bare = rows(drilled("A"), tag="K-030")
    turned = rows([(-x, y) for x, y in drilled("A")], first=10)
    assert asked([*bare, *turned], [mounted("Teach 4")], [PATTERN]) is not None
    turned = rows([(-x, y) for x, y in drilled("A")])
    assert asked(turned, [mounted("Teach 4")], [other, PATTERN]) is not None
    turned = rows([(-x, y) for x, y in drilled("A")])
    assert asked(turned, [mounted("Teach 4")], [replace(other, binding_model="Z"), PATTERN]) is not None
    fits = rows(drilled("B"), "B")
    turned = rows([(-x, y) for x, y in drilled("A")], first=10)
    assert asked([*fits, *turned], [mounted("Teach 4")], [PATTERN]) is not None


@pytest.mark.parametrize(
    ("turned_um", "asked_about"),
    [
        (((0, 0),), True),
        (((1.5, 0),), True),
        (((-1.5, 0),), True),
        (((0, 1.5),), True),
        (((0, -1.5),), True),
        (((1.501, 0),), False),
        (((-1.501, 0),), False),
        (((0, 1.501),), False),
        (((0, -1.501),), False),
    ],
)
def test_a_hole_bears_witness_up_to_one_and_a_half_millimetres(
    turned_um: Sequence[Place], asked_about: bool
) -> None:
    """Of the pattern's holes the first and the last are tried: by the first the others are found."""
    for which in (3, 7):
        holes = [(Decimal(str(-x)), Decimal(str(y))) for x, y in drilled("A")]
        x, y = holes[which]
        holes[which] = (x + Decimal(str(turned_um[0][0])), y + Decimal(str(turned_um[0][1])))
        assert (asked(rows(holes), [mounted("Teach 4")], [PATTERN]) is not None) == asked_about


@pytest.mark.parametrize(
    ("toe", "heel", "binding"),
    [(152.5, -152.5, True), (102, 100, True), (100, 100, False), (-152.5, 152.5, False)],
)
def test_a_toe_stands_ahead_of_its_heel(toe: float, heel: float, binding: bool) -> None:
    """Where the sole begins and where it ends; the pieces themselves fit in all of them, turned along."""
    holes = [(-x, y) for x, y in drilled("A", at=(toe, heel))]
    assert (asked(rows(holes), [mounted("Teach 4")], [PATTERN]) is not None) == binding


@pytest.mark.parametrize(("part", "older"), [(TOE, -400), (HEEL, 400)])
def test_holes_of_an_older_mount_hide_no_binding(part: Piece, older: float) -> None:
    """A second toe behind the heel, or a second heel ahead of the toe."""
    more = [(older + hole.x_um / 1000, hole.y_um / 1000) for hole in part.holes]
    holes = [(-x, y) for x, y in [*drilled("A"), *more]]
    found = asked(rows(holes), [mounted("Teach 4")], [PATTERN])
    assert found is not None
    assert found.columns == {"x_mm": (TAIL, TIP)}


def test_a_pattern_that_is_the_same_both_ways_is_in_no_doubt() -> None:
    same = Pattern(name="S4", binding_model="Teach 4", pieces=(piece("toe", (0, 18), (0, -18)), HEEL))
    assert asked(rows(drilled("A", same)), [mounted("Teach 4")], [same]) is None


def test_a_piece_with_one_screw_bears_no_witness() -> None:
    single = Pattern(
        name="S", binding_model="Teach 4", pieces=(piece("toe", (-10, 18)), piece("heel", (15, 18)))
    )
    holes = [(-x, y) for x, y in drilled("A")]
    assert asked(rows(holes), [mounted("Teach 4")], [single]) is None
    with_single = Pattern(name="S", binding_model="Teach 4", pieces=(TOE, piece("heel", (500, 18))))
    assert asked(rows(holes), [mounted("Teach 4")], [with_single]) is not None
    assert asked(rows(holes), [mounted("Teach 4")], [single, PATTERN]) is not None
    with_two = Pattern(name="S", binding_model="Teach 4", pieces=(TOE, piece("heel", (15, 30), (15, -30))))
    assert asked(rows(holes), [mounted("Teach 4")], [with_two]) is None
