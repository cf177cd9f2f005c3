"""From where a column counts and which way is plus: one vocabulary for headers and answers.

Answers are short texts: ``from the mark, + to the tip``, ``from the tail``, ``behind toe front``, ``+ to the
left``. Whoever types ``from tail`` or ``mirrored`` is understood.
"""

from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import Final, NamedTuple

from imports.answers import About, Answers, question_id
from imports.header_match import MappedColumn, header_text
from imports.header_says import header_says, hole_header
from imports.headers import Table

MARK_TO_TIP: Final = "from the mark, + to the tip"
MARK_TO_TAIL: Final = "from the mark, + to the tail"
FROM_TAIL: Final = "from the tail"
TO_RIGHT: Final = "+ to the right"
TO_LEFT: Final = "+ to the left"
SWAPPED: Final = "x and y are swapped"
EACH_WAY: Final = "from the mark, toe to the tip, heel to the tail"
"""Distances from the mark, all without a sign."""
EACH_COLUMN: Final = "each column in its own way"
WHY: Final = {
    MARK_TO_TIP: "ahead of the mark is plus, behind it minus",
    MARK_TO_TAIL: "behind the mark is plus, ahead of it minus",
    FROM_TAIL: "the place of the mark is then taken off",
    EACH_WAY: "plain distances, none of them negative",
    EACH_COLUMN: "then each is asked for",
    TO_LEFT: "looking at the tip",
    TO_RIGHT: "looking at the tip",
}
"""The meaning of an answer."""
_BEHIND: Final = "behind "
_AHEAD: Final = "ahead of "
_MIRRORED: Final = frozenset(("mirrored", "turned", "reversed", "gespiegelt", "umgekehrt", "inverse"))
_SWAPPED_WORDS: Final = frozenset(("swapped", "x and y swapped", "x and y are swapped", "vertauscht"))
ACROSS_KEYS: Final = ("y_mm",)
KEYS: Final = {
    Table.HOLE: ("x_mm", "y_mm"),
    Table.PATTERN: ("x_mm", "y_mm"),
    Table.SKI: ("mark_offset_mm", "toe_stands_mm", "heel_stands_mm"),
}
"""The columns that count in a direction, by table."""


class Direction(NamedTuple):
    """``origin``: mark, tail, or the name of other holes; ``turned``: plus is the other way than ours.

    ``swapped``: the column is the other of along and across.
    """

    origin: str = "mark"
    turned: bool = False
    swapped: bool = False


def directed(table: Table, columns: Sequence[MappedColumn], answers: Answers) -> list[MappedColumn]:
    """The columns as it was answered that they count; x and y change places where they are swapped."""
    found, swapped = [], False
    for column in columns:
        said = _answered(table, column, answers)
        swapped = swapped or (said is not None and said.swapped)
        if said is not None and not said.swapped:
            from_tail = said.origin == "tail"
            column = replace(column, turned=said.turned, from_tail=from_tail)
        found.append(column)
    other = {"x_mm": "y_mm", "y_mm": "x_mm"} if swapped else {}
    return [replace(column, key=other.get(column.key, column.key)) for column in found]


def _answered(table: Table, column: MappedColumn, answers: Answers) -> Direction | None:
    if column.key not in KEYS.get(table, ()) or column.place is not None:
        return None
    answer = answers.of(About.DIRECTION, table.value, column.key, header_text(column.header).words)
    said = direction_of(answer.text, column.key) if answer is not None else None
    return None if said is not None and said.origin == "tail" and table is not Table.HOLE else said


def direction_ids(header: str, way: str) -> dict[str, str]:
    """Question id -> answer for every kind of table in which a column of that name may count so."""
    words = header_text(header).words
    found = {}
    for table, keys in KEYS.items():
        for key in keys:
            said = is_direction(way, key, table.value)
            if said is not None:
                found[question_id(About.DIRECTION, table.value, key, words)] = said
    return found


def direction_of(text: str, key: str, holes: Collection[str] = ()) -> Direction | None:
    """Return what an answer says of a column; None where it is no answer. ``holes``: names of other holes."""
    words = header_text(text).words
    if words in _SWAPPED_WORDS:
        return Direction(swapped=True) if key in ("x_mm", "y_mm") else None
    if words in _MIRRORED:
        return Direction(turned=True)
    says = header_says(words)
    if key in ACROSS_KEYS:
        return Direction(turned=says.turned) if says.across and not says.words and not says.origin else None
    if said := _beside_holes(words, holes):
        return said
    if says.words in ("", "from mark") and not says.across and (says.plus or says.from_tail):
        if says.from_tail:
            return Direction("tail") if key == "x_mm" and not says.turned else None
        return Direction("mark", says.turned)
    return None


def _beside_holes(words: str, holes: Collection[str]) -> Direction | None:
    for begin, turned in ((_BEHIND, True), (_AHEAD, False)):
        if words.startswith(begin) and words.removeprefix(begin) in holes:
            return Direction(words.removeprefix(begin), turned)
    return None


def direction_text(said: Direction, key: str) -> str:
    """The answer in our words."""
    if said.swapped:
        return SWAPPED
    if key in ACROSS_KEYS:
        return TO_LEFT if said.turned else TO_RIGHT
    if said.origin == "tail":
        return FROM_TAIL
    if said.origin == "mark":
        return MARK_TO_TAIL if said.turned else MARK_TO_TIP
    return f"{_BEHIND if said.turned else _AHEAD}{said.origin}"


def is_direction(text: str, key: str, table: str) -> str | None:
    """The answer in our words; None where it is none. Only holes count from the tail or other holes."""
    plain, of_hole = header_text(text).words, table == Table.HOLE
    for whole in (EACH_WAY, EACH_COLUMN):
        if plain == header_text(whole).words:
            return whole if of_hole and key == "x_mm" else None
    named = plain.removeprefix(_BEHIND).removeprefix(_AHEAD)
    said = direction_of(text, key, (named,) if hole_header(named) else ())
    return direction_text(said, key) if said and (of_hole or said.origin == "mark") else None


def answers_for(key: str) -> tuple[str, ...]:
    """Every answer to the question of a column's direction, but for those that name other holes."""
    if key in ACROSS_KEYS:
        return TO_RIGHT, TO_LEFT, SWAPPED
    if key != "x_mm":
        return MARK_TO_TIP, MARK_TO_TAIL
    return MARK_TO_TIP, MARK_TO_TAIL, FROM_TAIL, SWAPPED
