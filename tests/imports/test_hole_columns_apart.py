"""Rows that hold several holes, taken apart: which columns make which hole, and what is asked of them.

A table is written as in `hole_tables.py`: one line is one column, its header first. Each hole that it holds
is said in one line; the figures are invented, and ski B differs from A.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import pytest

from imports.answers import LEAVE_OUT, NO_ANSWERS, Answers, GivenAnswer
from imports.cells import Cell, Sheet
from imports.findings import Finding, Severity
from imports.header_match import match_columns
from imports.headers import Table
from imports.hole_shapes import OneHole, counting, hole_tables, is_spread, place_from_others, settle_hole
from imports.rows import FoundTable, Row, TableContext

TIP, TAIL, FROM_TAIL = "from the mark, + to the tip", "from the mark, + to the tail", "from the tail"
EACH_WAY, EACH_COLUMN = "from the mark, toe to the tip, heel to the tail", "each column in its own way"


def found(text: str, kind: Table = Table.HOLE, **more: Any) -> FoundTable:
    lines = [[cell.strip() for cell in line.split("|")] for line in text.strip().splitlines()]
    headers = {n: line[0] for n, line in enumerate(lines, start=1)}
    rows = list(zip(*(line[1:] for line in lines), strict=True))
    columns = match_columns(headers, kind)[0]
    raw: list[tuple[int, Mapping[int, Cell]]] = [
        (number, {n: Cell(cell) for n, cell in enumerate(row, start=1) if cell})
        for number, row in enumerate(rows, start=2)
    ]
    return FoundTable(
        table=kind,
        sheet=Sheet(name="Drilled"),
        header_row=1,
        header_first=1,
        columns=tuple(columns),
        headers=headers,
        raw=raw,
        **more,
    )


def given(**answers: str) -> Answers:
    """Answers by the plain words of the column, ``__`` between two that are asked about together."""
    return Answers(
        {
            "direction/hole/x_mm/" + "+".join(p.replace("_", "%20") for p in words.split("__")): GivenAnswer(
                way
            )
            for words, way in answers.items()
        }
    )


def apart(text: str, answers: Answers = NO_ANSWERS, kind: Table = Table.HOLE) -> list[str]:
    """A line for each hole: its name, the header and way of its x, the header and side of its y."""
    return [in_words(one) for one in hole_tables(found(text, kind), answers)]


def in_words(one: OneHole) -> str:
    columns = {c.key: c for c in one.table.columns}
    x, y = columns["x_mm"], columns.get("y_mm")
    assert x.place is not None
    assert x.place.name == one.name
    assert not (x.from_tail and one.of)
    way = (
        "asked"
        if one.asks
        else "from tail"
        if x.from_tail
        else one.of or ("to tail" if x.turned else "to tip")
    )
    across = "no y"
    if y is not None:
        across = f"y {y.header}{', half' if y.halved else ''} {'left' if y.turned else 'right'}"
    return f"{f'{one.side} {one.name}'.strip()}: x {x.header}, {way}; {across}"


# which columns make a hole


def test_a_width_makes_two_holes_of_a_distance_and_each_piece_has_its_own() -> None:
    assert apart(
        """
        pair                            | K-031
        ski                             | A
        toe front (from mark, + to tip) | 105
        heel rear (from mark, + to tip) | -190
        width toe                       | 36
        half width heel                 | 19
        """
    ) == [
        "toe front: x toe front from mark + to tip, to tip; y width toe, half left",
        "toe front: x toe front from mark + to tip, to tip; y width toe, half right",
        "heel rear: x heel rear from mark + to tip, to tip; y half width heel left",
        "heel rear: x heel rear from mark + to tip, to tip; y half width heel right",
    ]


def test_a_row_of_screws_has_the_width_of_its_own_before_that_of_its_piece_or_its_ski() -> None:
    assert apart(
        """
        pair                              | K-031
        A toe front (from mark, + to tip) | 105
        A toe rear (from mark, + to tip)  | 70
        B toe rear (from mark, + to tip)  | 72.5
        width toe                         | 36
        toe front width                   | 40
        width toe B                       | 37
        """
    ) == [
        "A toe front: x toe front from mark + to tip, to tip; y toe front width, half left",
        "A toe front: x toe front from mark + to tip, to tip; y toe front width, half right",
        "A toe rear: x toe rear from mark + to tip, to tip; y width toe, half left",
        "A toe rear: x toe rear from mark + to tip, to tip; y width toe, half right",
        "B toe rear: x toe rear from mark + to tip, to tip; y width toe, half left",
        "B toe rear: x toe rear from mark + to tip, to tip; y width toe, half right",
    ]


def test_each_number_has_the_unit_of_its_own_column() -> None:
    holes = hole_tables(
        found("pair|K-031\nski|A\ntoe (cm)|10\nheel (+ to tip)|-150\nwidth toe (mm)|36"), NO_ANSWERS
    )
    assert [{c.key: c.unit for c in one.table.columns if c.key in ("x_mm", "y_mm")} for one in holes] == [
        {"x_mm": "cm", "y_mm": "mm"},
        {"x_mm": "cm", "y_mm": "mm"},
        {"x_mm": ""},
    ]


def test_a_ski_s_own_width_stands_above_that_of_both_and_its_y_holds_for_all_its_holes() -> None:
    text = "pair|K-031\nA toe (+ to tip)|105\nB toe (+ to tip)|107.5\nwidth toe|36\nwidth toe B|37\ny A|18"
    assert [
        {c.key: c.number for c in one.table.columns if c.key != "pair_tag"}
        for one in hole_tables(found(text), NO_ANSWERS)
    ] == [{"x_mm": 2, "y_mm": 4}] * 2 + [{"x_mm": 3, "y_mm": 5}] * 2
    text = "pair|K-031\nA toe (+ to tip)|105\nB toe (+ to tip)|107.5\ny A|18\nwidth heel|38"
    assert apart(text) == [
        "A toe: x toe + to tip, to tip; y y right",
        "B toe: x toe + to tip, to tip; no y",
    ]


def test_left_and_right_are_one_hole_each_and_y_is_as_its_header_says() -> None:
    assert apart(
        """
        pair                      | K-031
        ski                       | A
        toe (from mark, + to tip) | 105
        toe left                  | 18
        toe right                 | 17.5
        x1 (from mark, + to tip)  | 70
        y1                        | 18
        x2 (from mark, + to tail) | 150
        y2 (+ left)               | 19
        x3 (from mark, + to tip)  | -190
        """
    ) == [
        "toe: x toe from mark + to tip, to tip; y toe left left",
        "toe: x toe from mark + to tip, to tip; y toe right right",
        "1: x x1 from mark + to tip, to tip; y y1 right",
        "2: x x2 from mark + to tail, to tail; y y2 + left left",
        "3: x x3 from mark + to tip, to tip; no y",
    ]


def test_one_y_of_a_ski_holds_for_its_x_and_no_other_ski_s() -> None:
    assert apart(
        """
        pair              | K-031
        x A (+ to tip)    | 105
        y A               | 18
        x B (+ to tip)    | 107.5
        y B               | 18.5
        """
    ) == ["A: x x + to tip, to tip; y y right", "B: x x + to tip, to tip; y y right"]
    columns = hole_tables(found("pair|K-031\nx A|105\ny A|18\nx B|107.5\ny B|18.5"), NO_ANSWERS)
    assert [{c.key: c.number for c in one.table.columns} for one in columns] == [
        {"pair_tag": 1, "x_mm": 2, "y_mm": 3},
        {"pair_tag": 1, "x_mm": 4, "y_mm": 5},
    ]


def test_a_plain_list_of_holes_or_skis_is_taken_apart_by_nobody() -> None:
    holes = found("pair|K-031\nski|A\nx|105\ny|18")
    assert not is_spread(holes)
    assert hole_tables(holes, NO_ANSWERS) == []
    assert [c.key for c in counting(holes)] == ["x_mm", "y_mm"]
    skis = found("tag|K-031\nmodel|Larch 96\nmark_from_tail_mm|812\nmark_offset_mm|0", Table.SKI)
    assert hole_tables(skis, NO_ANSWERS) == []
    assert [c.key for c in counting(skis)] == ["mark_offset_mm"]
    assert counting(found("tag|B-210\nbsl_mm|305", Table.BOOT)) == []
    spread = found("pair|K-031\nski|A\ntoe|105\nwidth toe|36")
    assert is_spread(spread)
    assert [c.header for c in counting(spread)] == ["toe", "width toe"]


# what each hole's row says beside its place

SPREAD = """
pair                            | K-031   | K-031 | K-032 | K-033 | K-034 | K-035
ski                             | A       | B     | A     | A     | A     | B
toe front (from mark, + to tip) | 105     |       | -     | –     | —     | X
heel (mm behind mark)           | 150     | 148   | 0     | -5    | ?     | 151
width toe                       | 36      | 37    | 36    | 36    | 36    | 36
hole id                         | K-031.A | x     | x     | x     | x     | x
x                               | 1       | 1     | 1     | 1     | 1     | 1
y                               | 2       | 2     | 2     | 2     | 2     | 2
drill                           | 3.6     | 4.1   | 3.6   | 3.6   | 3.6   | 3.6
"""


def test_a_row_without_that_distance_holds_no_such_hole() -> None:
    """A dash says nothing; a zero, a question mark, a letter do, and are read or asked about."""
    toe, _, heel = hole_tables(found(SPREAD), NO_ANSWERS)
    for one, numbers in ((toe, [2, 7]), (heel, [2, 3, 4, 5, 6, 7])):
        assert [n for n, _ in one.table.rows] == [n for n, _ in one.table.raw] == numbers
    assert [cells["x_mm"][1].text for _, cells in heel.table.rows] == ["150", "148", "0", "-5", "?", "151"]
    assert {k: (n, c.text) for k, (n, c) in toe.table.rows[0][1].items()} == {
        "pair_tag": (1, "K-031"),
        "ski": (2, "A"),
        "x_mm": (3, "105"),
        "y_mm": (5, "36"),
        "diameter_mm": (9, "3.6"),
    }


def test_a_hole_s_row_lacks_what_no_column_says() -> None:
    """The side in a header says which ski; what is said of all holes of the table counts for each."""
    [one] = hole_tables(found("pair|K-031\ntoe (+ to tip)|105\nwidth heel|36"), NO_ANSWERS)
    assert (one.table.table, one.table.missing, one.table.context) == (Table.HOLE, ("state", "ski"), {})
    [one] = hole_tables(
        found("pair|K-031\nski|A\ntoe (+ to tip)|105\nwidth heel|36\nstate|plugged"), NO_ANSWERS
    )
    assert one.table.missing == ()
    [one] = hole_tables(
        found("pair|K-031\nB toe (+ to tip)|105\nB width heel|36", context={"state": "plugged"}), NO_ANSWERS
    )
    assert (one.table.missing, one.table.context) == ((), {"state": "plugged", "ski": "B"})
    assert [c.key for c in one.table.columns] == ["pair_tag", "x_mm"]
    skis = found(
        "tag|K-031\nB toe (+ to tip)|105\nB width heel|36",
        Table.SKI,
        context={"kind": "alpine"},
        of_holes={"state": "plugged"},
    )
    [one] = hole_tables(skis, NO_ANSWERS)
    assert (one.table.missing, one.table.context) == ((), {"state": "plugged", "ski": "B"})


def test_the_side_in_a_header_stands_above_a_column_of_sides() -> None:
    holes = hole_tables(
        found("pair|K-031\nski|A\nB toe (+ to tip)|105\nheel (+ to tip)|-150\nB toe width|36"), NO_ANSWERS
    )
    assert [sorted(c.key for c in one.table.columns) for one in holes] == [
        ["pair_tag", "x_mm", "y_mm"],
        ["pair_tag", "x_mm", "y_mm"],
        ["pair_tag", "ski", "x_mm"],
    ]


def test_a_list_of_skis_says_of_its_holes_what_is_called_so_and_of_its_skis_what_names_one() -> None:
    skis = found(
        """
        tag                       | K-031    | K-032
        model                     | Larch 96 | Larch 96
        ski                       | A        | B
        mark from tail B          | 810      |
        zone back A (mm)          | 330      | 330
        toe (from mark, + to tip) | 105      | 107.5
        width toe                 | 36       | 37
        hole state                | plugged  | plugged
        drill                     | 3.6      | 4.1
        """,
        Table.SKI,
    )
    a, b, *toes = hole_tables(skis, NO_ANSWERS)
    for one, side, key, numbers in ((a, "A", "zone_back_mm", [2, 3]), (b, "B", "mark_from_tail_mm", [2])):
        assert (one.table.table, one.table.context, one.table.missing) == (Table.SIDE, {"ski": side}, ())
        assert [c.key for c in one.table.columns] == [key]
        assert [n for n, _ in one.table.rows] == numbers
        assert (one.whose, one.name, one.asks, one.says, one.of) == (True, "", (), "", "")
    assert [[c.key for c in one.table.columns] for one in toes] == [
        ["ski", "state", "diameter_mm", "x_mm", "y_mm"],
        ["ski", "state", "diameter_mm", "x_mm", "y_mm"],
    ]
    assert [(one.whose, one.table.table) for one in toes] == [(True, Table.HOLE)] * 2
    [b] = hole_tables(found("tag|K-031\nmodel|Larch 96\nmark from tail B|810", Table.SKI), NO_ANSWERS)
    assert b.table.context == {"ski": "B"}
    assert not hole_tables(found("pair|K-031\ntoe|105\nwidth toe|36"), NO_ANSWERS)[0].whose


# from where a column counts

FOUR = """
pair       | K-031 | K-031
ski        | A     | B
toe front  | {0}   | {0}
toe rear   | 70    | 72.5
heel front | {1}   | {1}
heel rear  | 190   | 188
width toe  | 36    | 37
"""


def four(toe: str = "105", heel: str = "150") -> str:
    return FOUR.format(toe, heel)


TOGETHER = "toe_front__toe_rear__heel_front__heel_rear"


def ways(text: str, answers: Answers = NO_ANSWERS) -> dict[str, str]:
    """The way of each column, by its header."""
    said = (line.partition(": x ")[2].partition("; ")[0].rpartition(", ") for line in apart(text, answers))
    return {header: way for header, _, way in said}


@pytest.mark.parametrize(
    ("answer", "toe", "heel"),
    [
        (TIP, "to tip", "to tip"),
        (TAIL, "to tail", "to tail"),
        (FROM_TAIL, "from tail", "from tail"),
        (EACH_WAY, "to tip", "to tail"),
        (EACH_COLUMN, "asked", "asked"),
        (LEAVE_OUT, "asked", "asked"),
        ("upwards", "asked", "asked"),
    ],
)
def test_one_answer_counts_for_all_columns_that_do_not_say_it(answer: str, toe: str, heel: str) -> None:
    assert ways(four(), given(**{TOGETHER: answer})) == {
        "toe front": toe,
        "toe rear": toe,
        "heel front": heel,
        "heel rear": heel,
    }


def test_columns_are_asked_about_together_until_each_is_to_be_asked_in_its_own_way() -> None:
    all_four = ("toe front", "toe rear", "heel front", "heel rear")
    holes = hole_tables(found(four()), NO_ANSWERS)
    assert {one.asks for one in holes} == {all_four}
    assert len({one.guesses for one in holes}) == 1
    holes = hole_tables(found(four()), given(**{TOGETHER: EACH_COLUMN}))
    assert list(dict.fromkeys(one.asks for one in holes)) == [(name,) for name in all_four]
    holes = hole_tables(found(four()), given(**{TOGETHER: LEAVE_OUT}))
    assert list(dict.fromkeys(one.asks for one in holes)) == [(name,) for name in all_four]
    holes = hole_tables(found(four()), given(**{TOGETHER: EACH_WAY}))
    assert {(one.asks, one.guesses) for one in holes} == {((), ())}
    # one column alone is asked about by itself; the same column of both skis is one
    [one] = hole_tables(found("pair|K-031\nski|A\ntoe|105\nwidth heel|36"), NO_ANSWERS)
    assert one.asks == ("toe",)
    holes = hole_tables(found("pair|K-031\nA toe|105\nB toe|107.5\nwidth heel|36"), NO_ANSWERS)
    assert [one.asks for one in holes] == [("toe",), ("toe",)]


def test_an_answer_of_one_column_stands_above_that_of_all() -> None:
    answers = given(**{TOGETHER: EACH_WAY, "heel_rear": "behind heel front"})
    assert ways(four(), answers) == {
        "toe front": "to tip",
        "toe rear": "to tip",
        "heel front": "to tail",
        "heel rear": "-heel front",
    }
    answers = given(toe_rear="behind toe front", heel_rear="ahead of heel front", heel_front="behind nowhere")
    assert ways(four(), answers) == {
        "toe front": "asked",
        "toe rear": "-toe front",
        "heel front": "asked",
        "heel rear": "+heel front",
    }


@pytest.mark.parametrize(
    ("header", "answer", "way"),
    [
        ("toe", "", "asked"),
        ("toe from mark", "", "asked"),
        ("toe from mark", TAIL, "to tail"),
        # what the header says stands: it is from the mark, or it says all
        ("toe from mark", FROM_TAIL, "asked"),
        ("toe from mark", "behind heel", "asked"),
        ("toe (+ to tip)", "", "to tip"),
        ("toe behind mark", "", "to tail"),
        ("toe from tail", "", "from tail"),
        ("toe from tail (+ to tail)", "", "asked"),
        ("x1", "", "to tip"),
        ("x1 (+ to tail)", "", "to tail"),
        ("x1", EACH_WAY, "to tip"),
        ("x1 (+ to tail)", EACH_WAY, "to tail"),
        ("toe from heel", "", "+heel"),
        ("toe from toe rear", "", "asked"),
        ("heel rear from heel", "", "-heel"),
        ("heel from heel 1", "", "asked"),
    ],
)
def test_a_column_counts_as_its_header_or_the_answer_says(header: str, answer: str, way: str) -> None:
    text = f"pair|K-031\nski|A\n{header}|105\nheel (+ to tip)|-150\nwidth toe|36\nwidth heel|38"
    words = header.replace(" (+ to ", " + to ").replace(")", "").replace(" ", "_").replace("+", "%2B")
    identity = words.replace("%2B", "+")
    answers = given(**{identity: answer}) if answer else NO_ANSWERS
    assert next(iter(ways(text, answers).values())) == way


@pytest.mark.parametrize(
    ("name", "other", "way"),
    [
        ("toe front", "toe rear", "+"),
        ("toe rear", "toe front", "-"),
        ("heel front", "toe rear", "-"),
        ("heel rear", "heel front", "-"),
        ("toe middle", "toe front", "-"),
        ("toe middle", "toe rear", "+"),
        ("heel middle", "heel rear", "+"),
        ("heel", "toe", "-"),
        ("toe", "heel middle", "+"),
        # nobody knows which of these lies ahead
        ("toe middle", "toe", "asked"),
        ("heel 2", "heel 1", "asked"),
        ("toe front", "heel 1", "asked"),
        ("heel 1", "toe front", "asked"),
    ],
)
def test_holes_that_count_from_others_lie_where_their_names_say(name: str, other: str, way: str) -> None:
    text = f"pair|K-031\nski|A\n{name} from {other}|35\n{other} (+ to tip)|105\nwidth toe|36\nwidth heel|38"
    said = next(iter(ways(text).values()))
    assert said == (way if way == "asked" else f"{way}{other}")


def test_holes_are_counted_from_those_of_the_same_ski() -> None:
    text = "pair|K-031\nA toe rear from toe front|35\n{} toe front (+ to tip)|105\nwidth toe|36"
    assert ways(text.format("A"))["toe rear from toe front"] == "-toe front"
    assert ways(text.format("B"))["toe rear from toe front"] == "asked"


def test_what_a_hole_says_names_its_column_and_its_way() -> None:
    text = "pair|K-031\nski|A\ntoe from tail|917\nheel rear from toe|295\nheel|1\nwidth toe|36\nx1|5\ny1|1"
    assert list(dict.fromkeys(one.says for one in hole_tables(found(text), NO_ANSWERS))) == [
        "'toe from tail' from the tail",
        "'heel rear from toe' behind toe",
        "",
        "'x1' from the mark, + to the tip",
    ]
    assert list(
        dict.fromkeys(one.says for one in hole_tables(found(four()), given(**{TOGETHER: EACH_WAY})))
    ) == [
        "'toe front' from the mark, + to the tip",
        "'toe rear' from the mark, + to the tip",
        "'heel front' from the mark, + to the tail",
        "'heel rear' from the mark, + to the tail",
    ]


# the answers that are offered


def offered(text: str, answers: Answers = NO_ANSWERS) -> tuple[str, ...]:
    """The answers offered for the first column that is asked about."""
    return next(one.guesses for one in hole_tables(found(text), answers) if one.asks)


@pytest.mark.parametrize(
    ("toe", "heel", "first"),
    [
        # a heel whose numbers have no sign is counted away from the mark
        ("105", "150", (EACH_WAY, TIP, FROM_TAIL)),
        ("105", "1", (EACH_WAY, TIP, FROM_TAIL)),
        ("105", "0", (TIP, EACH_WAY, FROM_TAIL)),
        ("105", "-150", (TIP, EACH_WAY, FROM_TAIL)),
        ("-105", "150", (EACH_WAY, TIP, FROM_TAIL)),
        # in the middle of all 450 mm or more: from the tail (common practice, no source)
        ("1550", "710", (FROM_TAIL, EACH_WAY, TIP)),
        ("711.5", "711.5", (FROM_TAIL, EACH_WAY, TIP)),
        ("710", "900", (FROM_TAIL, EACH_WAY, TIP)),
        ("709", "900", (EACH_WAY, TIP, FROM_TAIL)),
        ("-711.5", "-711.5", (FROM_TAIL, TIP, EACH_WAY)),
    ],
)
def test_of_all_columns_the_answer_that_their_numbers_speak_for_is_offered_first(
    toe: str, heel: str, first: tuple[str, ...]
) -> None:
    assert offered(four(toe, heel)) == (*first, EACH_COLUMN)


def test_columns_of_which_one_says_from_the_mark_are_not_offered_the_tail_first() -> None:
    text = four("1550", "710").replace("toe front ", "toe front from mark ")
    assert offered(text) == (EACH_WAY, TIP, FROM_TAIL, EACH_COLUMN)


def test_numbers_speak_in_millimetres_and_only_those_that_can_be_read() -> None:
    in_cm = (
        four("155", "71").replace("toe front ", "toe front (cm) ").replace("heel front ", "heel front (cm) ")
    )
    assert offered(in_cm)[0] == FROM_TAIL
    assert offered(four("105", "?"))[0] == EACH_WAY
    assert offered(four("?", "-150"))[0] == TIP
    toes = "pair|K-031\nski|A\ntoe front|105\ntoe rear|70\nwidth toe|36"
    assert offered(toes)[0] == TIP
    none = "pair|K-031\nski|A\ntoe front|?\ntoe rear|?\nwidth toe|36"
    assert offered(none) == (TIP, EACH_WAY, FROM_TAIL, EACH_COLUMN)


@pytest.mark.parametrize(
    ("column", "number", "others", "answers"),
    [
        ("toe", "105", "", (TIP, TAIL, FROM_TAIL)),
        ("toe", "-105", "", (TIP, TAIL, FROM_TAIL)),
        ("heel", "150", "", (TAIL, TIP, FROM_TAIL)),
        ("heel", "0", "", (TAIL, TIP, FROM_TAIL)),
        ("heel", "0.5", "", (TAIL, TIP, FROM_TAIL)),
        ("heel", "-0.5", "", (TIP, TAIL, FROM_TAIL)),
        ("heel", "?", "", (TAIL, TIP, FROM_TAIL)),
        ("toe", "450", "", (FROM_TAIL, TIP, TAIL)),
        ("toe", "-450", "", (FROM_TAIL, TIP, TAIL)),
        ("toe", "449.5", "", (TIP, TAIL, FROM_TAIL)),
        ("heel (cm)", "45", "", (FROM_TAIL, TAIL, TIP)),
        ("toe from mark", "450", "heel", (TIP, TAIL)),
        ("heel from mark", "450", "toe", (TAIL, TIP)),
        # beside other holes of the ski: the two that come next to it, the nearest first
        (
            "heel rear",
            "40",
            "toe front,heel front",
            (TAIL, TIP, FROM_TAIL, "behind heel front", "behind toe front"),
        ),
        (
            "toe rear",
            "35",
            "heel rear,toe front,heel front",
            (TIP, TAIL, FROM_TAIL, "ahead of heel front", "behind toe front"),
        ),
        ("toe front", "800", "heel rear", (FROM_TAIL, TIP, TAIL, "ahead of heel rear")),
        ("toe middle", "35", "toe,heel 1", (TIP, TAIL, FROM_TAIL)),
        ("heel 2", "35", "toe,heel", (TAIL, TIP, FROM_TAIL)),
        # where only the way is not said
        ("heel 2 from heel 1", "40", "heel 1", ("behind heel 1", "ahead of heel 1")),
    ],
)
def test_of_one_column_the_answer_that_its_numbers_speak_for_is_offered_first(
    column: str, number: str, others: str, answers: tuple[str, ...]
) -> None:
    beside = "".join(f"\n{other} (+ to tip)|1" for other in others.split(",") if other)
    assert offered(f"pair|K-031\nski|A\n{column}|{number}\nwidth toe|36{beside}") == answers


# what is asked of one hole


def hole(values: Mapping[str, Any], *, number: int = 2, findings: tuple[str, ...] = (), **more: Any) -> Row:
    row = Row(
        table=more.pop("table", Table.HOLE),
        sheet="Drilled",
        number=number,
        file="own.csv",
        values={"pair_tag": "K-031", "ski": "A", "x_mm": None, "y_mm": None} | dict(values),
        cells={"x_mm": (3, Cell("105"))},
        place=TableContext(headers={"x_mm": "toe front", "y_mm": "width toe"}, **more),
    )
    for key in findings:
        row.note("said", "it is said already", key=key)
    return row


def one_hole(name: str = "", **more: Any) -> OneHole:
    return OneHole(table=found("pair|K-031\nski|A\ntoe|105\nwidth toe|36"), name=name, **more)


def asked(row: Row) -> list[Finding]:
    return [f for f in row.findings if f.severity is Severity.QUESTION]


PLACED = {"x_mm": Decimal(105), "y_mm": Decimal(18)}


@pytest.mark.parametrize(
    ("columns", "words", "question"),
    [
        (
            ("toe front",),
            "the column 'toe front': nothing says from where the numbers count, and which way is plus",
            "direction/hole/x_mm/toe%20front",
        ),
        (
            ("toe front", "heel rear"),
            "the columns 'toe front', 'heel rear': nothing says from where the numbers count, and which way"
            " is plus",
            "direction/hole/x_mm/toe%20front+heel%20rear",
        ),
    ],
)
def test_a_hole_whose_column_does_not_say_from_where_it_counts_has_no_place(
    columns: tuple[str, ...], words: str, question: str
) -> None:
    row = hole(PLACED)
    settle_hole(one_hole("toe front", asks=columns, guesses=(TIP, TAIL)), row)
    [said] = asked(row)
    assert (said.code, said.message, said.key, said.guesses) == ("place_unstated", words, "x_mm", (TIP, TAIL))
    assert (
        said.fix == 'say it in the header, such as "from mark (mm, + to tip)", "from tail", "from toe front"'
    )
    assert said.question == question
    assert row.values == PLACED | {"pair_tag": "K-031", "ski": "A", "x_mm": None}


def test_of_a_hole_without_a_number_or_with_its_way_nothing_is_asked() -> None:
    for one, values in (
        (one_hole("toe front", asks=("toe front",)), PLACED | {"x_mm": None}),
        (one_hole("toe front"), PLACED),
    ):
        row = hole(values)
        settle_hole(one, row)
        assert row.findings == []
        assert row.values["x_mm"] == values["x_mm"]
    side = hole({}, table=Table.SIDE)
    settle_hole(one_hole("", asks=("toe",)), side)
    assert side.findings == []


@pytest.mark.parametrize(
    ("name", "words", "cure", "about"),
    [
        *(
            (
                name,
                f"nothing says how far the {piece} holes stand apart across the ski",
                f"enter the width of the {piece} holes",
                piece,
            )
            for name, piece in (
                ("toe", "toe"),
                ("toe front", "toe"),
                ("heel rear", "heel"),
                ("heel 2", "heel"),
            )
        ),
        ("2", "nothing says how far hole 2 lies from the middle line of the ski", "enter its y", "2"),
        ("", "nothing says how far hole lies from the middle line of the ski", "enter its y", "y_mm"),
    ],
)
def test_a_hole_without_its_distance_across_is_asked_for_it_once(
    name: str, words: str, cure: str, about: str
) -> None:
    row = hole(PLACED | {"y_mm": None})
    settle_hole(one_hole(name), row)
    [said] = asked(row)
    assert (said.code, said.message, said.fix, said.key) == ("hole_without_width", words, cure, "y_mm")
    assert said.question == f"check/hole/hole_without_width/{about}/drilled"
    heard = hole(PLACED | {"y_mm": None}, findings=("x_mm", "y_mm"))
    settle_hole(one_hole(name), heard)
    assert asked(heard) == []


# holes that count from others


def test_holes_that_count_from_others_are_placed_as_soon_as_those_are() -> None:
    """In whatever order the columns stand: heel rear from heel front from toe rear from toe front."""
    chain = [
        (one_hole("heel rear", of="-heel front"), hole({"x_mm": Decimal(40)})),
        (one_hole("heel front", of="-toe rear"), hole({"x_mm": Decimal(220)})),
        (one_hole("toe rear", of="-toe front"), hole({"x_mm": Decimal(35)})),
        (one_hole("toe front"), hole({"x_mm": Decimal(105)})),
        (one_hole("toe middle", of="+toe rear"), hole({"x_mm": Decimal(15)})),
    ]
    place_from_others(chain)
    assert [row.values["x_mm"] for _, row in chain] == [-190, -150, 70, 105, 85]
    assert [row.findings for _, row in chain] == [[]] * 5


@pytest.mark.parametrize("from_tail", [False, True])
def test_a_hole_counts_from_the_end_that_the_other_counts_from(from_tail: bool) -> None:
    other = (one_hole("toe"), hole({"x_mm": Decimal(900)}, from_tail=from_tail))
    row = hole({"x_mm": Decimal(40)}, from_tail=not from_tail)
    place_from_others([other, (one_hole("heel", of="-toe"), row)])
    assert (row.values["x_mm"], row.place.from_tail) == (860, from_tail)


@pytest.mark.parametrize(
    "other",
    [
        None,
        (one_hole("toe rear"), hole({"x_mm": Decimal(105)})),
        (one_hole("toe"), hole({"x_mm": None})),
        (one_hole("toe"), hole({"x_mm": Decimal(105)}, number=3)),
        (one_hole("toe"), hole({"x_mm": Decimal(105), "ski": "B"})),
        (one_hole("toe", side="B"), hole({"x_mm": Decimal(105)})),
        (one_hole("toe"), hole({"x_mm": Decimal(105)}, table=Table.SIDE)),
        # each from the other
        (one_hole("toe", of="+heel"), hole({"x_mm": Decimal(105)})),
    ],
)
def test_without_the_others_of_its_own_ski_it_is_asked_and_has_no_place(
    other: tuple[OneHole, Row] | None,
) -> None:
    row = hole({"x_mm": Decimal(40)})
    place_from_others([(one_hole("heel", of="-toe"), row), *([other] if other else [])])
    [said] = asked(row)
    assert (said.code, said.key) == ("counted_from_unknown", "x_mm")
    assert said.message == "it is counted from toe, and nobody knows where that is"
    assert said.fix == "enter toe of this ski"
    assert row.values["x_mm"] is None


def test_a_hole_that_waits_holds_up_no_other_and_one_without_a_number_is_not_asked() -> None:
    lost, blank = hole({"x_mm": Decimal(40)}), hole({"x_mm": None})
    placed = hole({"x_mm": Decimal(35)})
    holes = [
        (one_hole("heel", of="-plate"), lost),
        (one_hole("heel rear", of="-heel"), blank),
        (one_hole("toe rear", of="-toe front"), placed),
        (one_hole("toe front"), hole({"x_mm": Decimal(105)})),
    ]
    place_from_others(holes)
    assert placed.values["x_mm"] == 70
    assert len(asked(lost)) == 1
    assert blank.findings == []


def test_the_first_of_the_two_holes_of_a_row_of_screws_says_where_it_is() -> None:
    left, right = hole({"x_mm": Decimal(105)}), hole({"x_mm": Decimal(104)})
    row = hole({"x_mm": Decimal(35)})
    place_from_others([(one_hole("toe"), left), (one_hole("toe"), right), (one_hole("heel", of="-toe"), row)])
    assert row.values["x_mm"] == 70


# a toe stands ahead of a heel


def ordered(places: Mapping[str, str], **more: Any) -> list[list[str]]:
    """What is asked of each hole, in the order in which the columns stand."""
    holes = [(one_hole(name), hole({"x_mm": Decimal(x)}, **more)) for name, x in places.items()]
    place_from_others(holes)
    return [[f.message for f in asked(row)] for _, row in holes]


@pytest.mark.parametrize(
    ("places", "words"),
    [
        ({"toe front": "105", "toe rear": "70", "heel front": "-150", "heel rear": "-190"}, ""),
        (
            {"heel rear": "190", "heel front": "150", "toe front": "105", "toe rear": "70"},
            "the heel front holes would lie 80 mm ahead of the toe rear holes",
        ),
        ({"toe": "10", "heel": "10"}, "the heel holes would lie 0 mm ahead of the toe holes"),
        ({"toe": "10", "heel": "10.5"}, "the heel holes would lie 0.5 mm ahead of the toe holes"),
        ({"toe": "10", "heel": "9.5"}, ""),
        (
            {"toe front": "70", "toe rear": "105"},
            "the toe rear holes would lie 35 mm ahead of the toe front holes",
        ),
        # nobody knows which of a toe and its middle lies ahead; the heel is looked at all the same
        ({"toe": "10", "toe middle": "20"}, ""),
        ({"toe": "20", "toe middle": "10"}, ""),
        (
            {"toe": "20", "toe middle": "10", "heel": "15"},
            "the heel holes would lie 5 mm ahead of the toe middle holes",
        ),
        # numbered holes have no order
        ({"1": "10", "2": "20"}, ""),
        ({"toe": "10", "2": "20"}, ""),
    ],
)
def test_holes_that_would_stand_in_the_wrong_order_are_asked_about(
    places: dict[str, str], words: str
) -> None:
    assert ordered(places) == [[words] if words else []] * len(places)


def test_the_wrong_order_is_said_of_every_hole_of_that_ski_and_of_no_other() -> None:
    a = [
        (one_hole(name), hole({"x_mm": Decimal(x)}))
        for name, x in (("toe", "10"), ("heel", "20"), ("toe", "11"))
    ]
    b = [
        (one_hole(name), hole({"x_mm": Decimal(x), "ski": "B"}))
        for name, x in (("toe", "20"), ("heel", "10"))
    ]
    later = [
        (one_hole(name), hole({"x_mm": Decimal(x)}, number=3)) for name, x in (("toe", "9"), ("heel", "8"))
    ]
    sided = [
        (one_hole(name, side="B"), hole({"x_mm": Decimal(x)})) for name, x in (("toe", "7"), ("heel", "6"))
    ]
    side = [(one_hole("heel"), hole({"x_mm": Decimal(900)}, table=Table.SIDE))]
    blank = [(one_hole("heel rear"), hole({"x_mm": None}))]
    place_from_others([*blank, *side, *b, *a, *later, *sided])
    assert [len(asked(row)) for _, row in a] == [1, 1, 1]
    [said] = asked(a[0][1])
    assert (said.code, said.key) == ("holes_out_of_order", "x_mm")
    assert said.fix == "correct the number, or the answer about the column's direction"
    assert not any(row.findings for _, row in [*b, *later, *sided, *side, *blank])


def test_each_ski_in_the_wrong_order_is_asked_about() -> None:
    skis = [
        (one_hole(name), hole({"x_mm": Decimal(x), "ski": ski}))
        for ski in ("A", "B")
        for name, x in (("toe", "10"), ("heel", "20"), ("heel rear", "30"))
    ]
    place_from_others(skis)
    assert [len(asked(row)) for _, row in skis] == [1] * 6


def test_places_that_count_from_two_ends_have_no_order_yet() -> None:
    toe, heel = hole({"x_mm": Decimal(105)}), hole({"x_mm": Decimal(622)}, from_tail=True)
    place_from_others([(one_hole("toe"), toe), (one_hole("heel"), heel)])
    assert not toe.findings
    assert not heel.findings
    assert (
        ordered({"toe": "600", "heel": "622"}, from_tail=True)
        == [["the heel holes would lie 22 mm ahead of the toe holes"]] * 2
    )
