"""From where a column counts and which way is plus: what is typed, and the one answer that it is read as.

A header's words and an answer's are one vocabulary; ``None`` is no answer, and is asked again.
"""

from __future__ import annotations

import pytest

from fleet.base.errors import BadInput
from imports.answers import Answers, GivenAnswer
from imports.directions import (
    EACH_COLUMN,
    EACH_WAY,
    FROM_TAIL,
    MARK_TO_TAIL,
    MARK_TO_TIP,
    SWAPPED,
    TO_LEFT,
    TO_RIGHT,
    Direction,
    answers_for,
    directed,
    direction_ids,
    direction_of,
    direction_text,
    is_direction,
)
from imports.header_match import MappedColumn
from imports.headers import Table
from imports.questions import checked_answer
from tests.imports.books import TODAY

HOLE, PATTERN, SKI = Table.HOLE, Table.PATTERN, Table.SKI


def test_the_answers_read_as_they_are_printed() -> None:
    assert (MARK_TO_TIP, MARK_TO_TAIL, FROM_TAIL, TO_RIGHT, TO_LEFT, SWAPPED, EACH_WAY, EACH_COLUMN) == (
        "from the mark, + to the tip",
        "from the mark, + to the tail",
        "from the tail",
        "+ to the right",
        "+ to the left",
        "x and y are swapped",
        "from the mark, toe to the tip, heel to the tail",
        "each column in its own way",
    )


@pytest.mark.parametrize(
    ("key", "offered"),
    [
        ("x_mm", (MARK_TO_TIP, MARK_TO_TAIL, FROM_TAIL, SWAPPED)),
        ("y_mm", (TO_RIGHT, TO_LEFT, SWAPPED)),
        ("mark_offset_mm", (MARK_TO_TIP, MARK_TO_TAIL)),
        ("toe_stands_mm", (MARK_TO_TIP, MARK_TO_TAIL)),
        ("heel_stands_mm", (MARK_TO_TIP, MARK_TO_TAIL)),
    ],
)
def test_every_answer_that_is_offered_for_a_column_is_one(key: str, offered: tuple[str, ...]) -> None:
    assert answers_for(key) == offered
    table = SKI if key not in ("x_mm", "y_mm") else HOLE
    assert [is_direction(answer, key, table) for answer in offered] == list(offered)


@pytest.mark.parametrize(
    ("typed", "key", "read"),
    [
        # along the ski
        ("from the mark, + to the tip", "x_mm", MARK_TO_TIP),
        ("+ to tip", "x_mm", MARK_TO_TIP),
        ("From mark (+ tip)", "x_mm", MARK_TO_TIP),
        ("ahead of the mark", "x_mm", MARK_TO_TIP),
        ("from the mark, + to the tail", "x_mm", MARK_TO_TAIL),
        ("+ to tail", "x_mm", MARK_TO_TAIL),
        ("behind the mark", "x_mm", MARK_TO_TAIL),
        ("mirrored", "x_mm", MARK_TO_TAIL),
        ("turned", "x_mm", MARK_TO_TAIL),
        ("Gespiegelt", "x_mm", MARK_TO_TAIL),
        ("from the tail", "x_mm", FROM_TAIL),
        ("From tail", "x_mm", FROM_TAIL),
        ("swapped", "x_mm", SWAPPED),
        ("x and y swapped", "x_mm", SWAPPED),
        ("vertauscht", "x_mm", SWAPPED),
        ("from the mark, toe to the tip, heel to the tail", "x_mm", EACH_WAY),
        ("Each column in its own way", "x_mm", EACH_COLUMN),
        # beside other holes
        ("behind toe front", "x_mm", "behind toe front"),
        ("Ahead of heel rear", "x_mm", "ahead of heel rear"),
        ("behind x1", "x_mm", "behind x1"),
        ("behind 2", "x_mm", None),
        ("behind the counter", "x_mm", None),
        ("ahead of nowhere", "x_mm", None),
        ("toe front", "x_mm", None),
        # across it
        ("+ to the right", "y_mm", TO_RIGHT),
        ("+ right", "y_mm", TO_RIGHT),
        ("+ to the left", "y_mm", TO_LEFT),
        ("plus left", "y_mm", TO_LEFT),
        ("mirrored", "y_mm", TO_LEFT),
        ("x and y are swapped", "y_mm", SWAPPED),
        # along is no answer across, nor across along
        ("+ to the right", "x_mm", None),
        ("+ to the tip", "y_mm", None),
        ("from the tail", "y_mm", None),
        ("from the mark", "y_mm", None),
        ("from the mark, + to the left", "y_mm", None),
        ("width, + to the left", "y_mm", None),
        ("behind toe front", "y_mm", None),
        ("from the mark, toe to the tip, heel to the tail", "y_mm", None),
        ("each column in its own way", "y_mm", None),
        # less than an answer, or more
        ("from the mark", "x_mm", None),
        ("from the tail, + to the tail", "x_mm", None),
        ("boot centre, + to the tail", "x_mm", None),
        ("from the tip", "x_mm", None),
        ("upwards", "x_mm", None),
        ("12", "x_mm", None),
        ("", "x_mm", None),
    ],
)
def test_what_is_typed_of_holes_is_read_as_one_answer_or_as_none(
    typed: str, key: str, read: str | None
) -> None:
    assert is_direction(typed, key, HOLE) == read


@pytest.mark.parametrize(
    ("typed", "of_boot_centre", "of_pattern"),
    [
        ("+ to the tail", MARK_TO_TAIL, MARK_TO_TAIL),
        ("mirrored", MARK_TO_TAIL, MARK_TO_TAIL),
        ("+ to the tip", MARK_TO_TIP, MARK_TO_TIP),
        ("swapped", None, SWAPPED),
        ("from the tail", None, None),
        ("behind heel", None, None),
        ("from the mark, toe to the tip, heel to the tail", None, None),
        ("each column in its own way", None, None),
    ],
)
def test_a_boot_centre_and_a_pattern_are_counted_from_no_tail_and_from_no_holes(
    typed: str, of_boot_centre: str | None, of_pattern: str | None
) -> None:
    assert is_direction(typed, "mark_offset_mm", SKI) == of_boot_centre
    assert is_direction(typed, "x_mm", PATTERN) == of_pattern


def test_an_answer_that_would_count_for_nothing_is_refused_with_those_that_count() -> None:
    for answer in ("from the tail", "behind heel", "each column in its own way"):
        with pytest.raises(BadInput) as refused:
            checked_answer("direction/pattern/x_mm/x", answer, question=None, today=TODAY)
        assert str(refused.value) == f"direction/pattern/x_mm/x: {answer!r} is no answer"
        assert refused.value.cure.endswith(
            "answer one of: from the mark, + to the tip, from the mark, + to the tail, x and y are swapped"
        )


@pytest.mark.parametrize(
    ("said", "key", "words"),
    [
        (Direction(), "x_mm", "from the mark, + to the tip"),
        (Direction("mark", turned=True), "x_mm", "from the mark, + to the tail"),
        (Direction("tail"), "x_mm", "from the tail"),
        (Direction("toe front", turned=True), "x_mm", "behind toe front"),
        (Direction("heel"), "x_mm", "ahead of heel"),
        (Direction(), "y_mm", "+ to the right"),
        (Direction(turned=True), "y_mm", "+ to the left"),
        (Direction(swapped=True), "x_mm", "x and y are swapped"),
        (Direction(swapped=True), "y_mm", "x and y are swapped"),
    ],
)
def test_a_direction_in_our_words_is_an_answer_that_means_it(said: Direction, key: str, words: str) -> None:
    assert direction_text(said, key) == words
    assert direction_of(words, key, ("toe front", "heel")) == said


def test_holes_that_the_ski_does_not_have_are_nothing_to_count_from() -> None:
    assert direction_of("behind toe front", "x_mm", ("toe front",)) == Direction("toe front", True)
    assert direction_of("behind toe front", "x_mm", ("toe rear",)) is None
    assert direction_of("behind toe front", "x_mm") is None


@pytest.mark.parametrize(
    ("header", "way", "meant"),
    [
        # only a list of holes counts from the tail; only columns along the ski go toward it
        ("X", "from tail", {"direction/hole/x_mm/x": FROM_TAIL}),
        (
            "Abstand vorn",
            "+ to tail",
            {
                "direction/hole/x_mm/abstand%20vorn": MARK_TO_TAIL,
                "direction/pattern/x_mm/abstand%20vorn": MARK_TO_TAIL,
                "direction/ski/mark_offset_mm/abstand%20vorn": MARK_TO_TAIL,
                "direction/ski/toe_stands_mm/abstand%20vorn": MARK_TO_TAIL,
                "direction/ski/heel_stands_mm/abstand%20vorn": MARK_TO_TAIL,
            },
        ),
        ("y", "+ left", {"direction/hole/y_mm/y": TO_LEFT, "direction/pattern/y_mm/y": TO_LEFT}),
        (
            "x",
            "swapped",
            {
                f"direction/{table}/{key}/x": SWAPPED
                for table in ("hole", "pattern")
                for key in ("x_mm", "y_mm")
            },
        ),
        ("toe", "behind heel", {"direction/hole/x_mm/toe": "behind heel"}),
        ("x", "upwards", {}),
    ],
)
def test_an_option_names_a_column_of_every_list_in_which_it_may_count_so(
    header: str, way: str, meant: dict[str, str]
) -> None:
    assert direction_ids(header, way) == meant


def columns(table: Table, answers: dict[str, str]) -> list[tuple[str, str, bool, bool]]:
    """Header, key, whether its plus is turned, and whether it counts from the tail, of three columns."""
    named = {
        HOLE: ("x_mm", "y_mm", "depth_mm"),
        PATTERN: ("x_mm", "y_mm", "depth_mm"),
        SKI: ("mark_offset_mm", "toe_stands_mm", "length_cm"),
    }[table]
    found = [
        MappedColumn(number=n, header=f"Spalte {n}", key=key, turned=n == 3)
        for n, key in enumerate(named, start=1)
    ]
    given = Answers({identity: GivenAnswer(text) for identity, text in answers.items()})
    return [(c.header, c.key, c.turned, c.from_tail) for c in directed(table, found, given)]


@pytest.mark.parametrize(
    ("table", "answers", "counted"),
    [
        (HOLE, {}, [("x_mm", False, False), ("y_mm", False, False)]),
        (HOLE, {"x_mm/spalte%201": MARK_TO_TAIL}, [("x_mm", True, False), ("y_mm", False, False)]),
        (HOLE, {"x_mm/spalte%201": MARK_TO_TIP}, [("x_mm", False, False), ("y_mm", False, False)]),
        (HOLE, {"x_mm/spalte%201": FROM_TAIL}, [("x_mm", False, True), ("y_mm", False, False)]),
        (HOLE, {"y_mm/spalte%202": TO_LEFT}, [("x_mm", False, False), ("y_mm", True, False)]),
        (HOLE, {"x_mm/spalte%201": SWAPPED}, [("y_mm", False, False), ("x_mm", False, False)]),
        (HOLE, {"y_mm/spalte%202": SWAPPED}, [("y_mm", False, False), ("x_mm", False, False)]),
        (
            HOLE,
            {"x_mm/spalte%201": SWAPPED, "y_mm/spalte%202": TO_LEFT},
            [("y_mm", False, False), ("x_mm", True, False)],
        ),
        (HOLE, {"x_mm/spalte%202": MARK_TO_TAIL}, [("x_mm", False, False), ("y_mm", False, False)]),
        (HOLE, {"x_mm/spalte%201": "leave out"}, [("x_mm", False, False), ("y_mm", False, False)]),
        (PATTERN, {"x_mm/spalte%201": MARK_TO_TAIL}, [("x_mm", True, False), ("y_mm", False, False)]),
        (PATTERN, {"x_mm/spalte%201": FROM_TAIL}, [("x_mm", False, False), ("y_mm", False, False)]),
        (
            SKI,
            {"mark_offset_mm/spalte%201": MARK_TO_TAIL},
            [("mark_offset_mm", True, False), ("toe_stands_mm", False, False)],
        ),
        (
            SKI,
            {"toe_stands_mm/spalte%202": MARK_TO_TAIL},
            [("mark_offset_mm", False, False), ("toe_stands_mm", True, False)],
        ),
    ],
)
def test_an_answer_turns_its_own_column_and_no_other(
    table: Table, answers: dict[str, str], counted: list[tuple[str, bool, bool]]
) -> None:
    """The third column counts in no direction and stays as its header said, whatever is answered."""
    given = {f"direction/{table.value}/{column}": text for column, text in answers.items()}
    given[f"direction/{table.value}/{'length_cm' if table is SKI else 'depth_mm'}/spalte%203"] = MARK_TO_TIP
    *found, last = columns(table, given)
    assert found == [(f"Spalte {n}", *one) for n, one in enumerate(counted, start=1)]
    assert last == ("Spalte 3", "length_cm" if table is SKI else "depth_mm", True, False)


def test_what_a_header_says_itself_gives_way_to_the_answer() -> None:
    column = MappedColumn(number=1, header="x", key="x_mm", turned=True, from_tail=True)
    given = Answers({"direction/hole/x_mm/x": GivenAnswer(MARK_TO_TIP)})
    [found] = directed(HOLE, [column], given)
    assert (found.turned, found.from_tail) == (False, False)


def test_a_list_in_which_no_column_counts_in_a_direction_stays_as_it_is() -> None:
    column = MappedColumn(number=1, header="bsl", key="bsl_mm")
    given = Answers({"direction/boot/bsl_mm/bsl": GivenAnswer(MARK_TO_TAIL)})
    assert directed(Table.BOOT, [column], given) == [column]
