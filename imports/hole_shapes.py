"""Several holes in a row, made one hole a row: what the rest of the import reads.

Each column along the ski (``toe front``) with the width of its piece is one hole to the left and one to the
right of the middle line. Facts of one ski (``mark from tail B``) beside those of the pair become rows of that
ski. What a header does not say is asked once for the column; no place is made of a guess.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise
from statistics import median
from typing import Final

from imports.answers import About, Answers, question_id
from imports.cells import Cell
from imports.directions import (
    EACH_COLUMN,
    EACH_WAY,
    FROM_TAIL,
    KEYS,
    MARK_TO_TAIL,
    MARK_TO_TIP,
    Direction,
    direction_of,
    direction_text,
)
from imports.header_match import HOLE_KEY, MappedColumn, header_text
from imports.header_says import HoleHeader
from imports.headers import SHEET_OF, Table
from imports.quantities import UNITS_MM, amount_of, tidy
from imports.rows import FoundTable, Row

_RANK: Final = {"toe front": 0, "toe": 1, "toe middle": 1, "toe rear": 2, "heel front": 3, "heel": 4} | {
    "heel middle": 4,
    "heel rear": 5,
}
"""Names of holes from the tip to the tail."""
_FAR_MM: Final = 450
"""No hole of a binding lies farther from the mark (common practice, no source)."""


_Placed = Sequence[tuple[MappedColumn, HoleHeader]]
"""The columns that place one hole each, with what their headers say of it."""
_NEEDED: Final = (
    *(key for key in SHEET_OF[Table.HOLE].required if key not in ("pair_tag", "x_mm", "y_mm")),
    "ski",
)
"""Of one of several holes in a row: its pair is that of the row, and its place is asked for otherwise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OneHole:
    """A table with one hole a row, made of the columns of one.

    ``name`` and ``side``: which hole it is. ``asks``: the columns that do not say where they count from,
    asked about together; ``guesses``: what may be meant, the best first; ``says``: where it counts from.
    ``of``: the holes that it counts from, after the sign of the way. ``whose``: its rows take their tag from
    the table's own rows.
    """

    table: FoundTable
    name: str = ""
    side: str = ""
    asks: tuple[str, ...] = ()
    guesses: tuple[str, ...] = ()
    says: str = ""
    of: str = ""
    whose: bool = False


def is_spread(table: FoundTable) -> bool:
    """Return whether rows of the table hold several holes."""
    return any(c.place is not None for c in table.columns)


def counting(table: FoundTable) -> list[MappedColumn]:
    """The columns that count in a direction."""
    return [c for c in table.columns if c.place is not None or c.key in KEYS.get(table.table, ())]


def hole_tables(table: FoundTable, answers: Answers) -> list[OneHole]:
    """The tables with one hole, or one ski, a row that a table's rows hold; none for a plain one."""
    return [*_of_skis(table), *_of_holes(table, answers)]


def _of_skis(table: FoundTable) -> Iterator[OneHole]:
    for side in ("A", "B"):
        mine = [c for c in table.columns if c.of_ski == side]
        if not mine:
            continue
        columns = [replace(c, key=c.key.removeprefix(f"ski {side} ")) for c in mine]
        yield OneHole(table=_view(table, Table.SIDE, columns, {"ski": side}, (), columns), whose=True)


def _view(
    table: FoundTable,
    of: Table,
    columns: Sequence[MappedColumn],
    context: Mapping[str, str],
    needs: tuple[str, ...],
    filled: Sequence[MappedColumn],
) -> FoundTable:
    raw = [(n, cells) for n, cells in table.raw if any(_says(cells, c.number) for c in filled)]
    return replace(
        table,
        table=of,
        columns=tuple(columns),
        context=dict(context),
        needs=needs,
        raw=raw,
    )


def _says(cells: Mapping[int, Cell], number: int) -> bool:
    return number in cells and tidy(cells[number].text).strip(" -–—") != ""


def _of_holes(table: FoundTable, answers: Answers) -> Iterator[OneHole]:
    places = [(c, c.place) for c in table.columns if c.place is not None]
    together = _together(places)
    asked = () if _direction_id(*together) in answers.by_id else together
    of_all = _guesses_of_all([(c, place) for c, place in places if place.words in asked], table)
    shared = [
        replace(c, key=c.key.removeprefix(HOLE_KEY))
        for c in table.columns
        if c.place is None and _is_shared(table, c)
    ]
    for along, place in ((c, place) for c, place in places if place.what == "x"):
        names = _names(along, place, places)
        said = _direction(place, names, answers, together)
        of = said.origin if said and said.origin not in ("mark", "tail") else ""
        x = MappedColumn(
            number=along.number,
            header=place.words,
            key="x_mm",
            unit=along.unit,
            turned=said is not None and said.turned and not of,
            from_tail=said is not None and said.origin == "tail",
            of=f"{'-' if said and said.turned else '+'}{of}" if of else "",
            place=place,
        )
        stated = table.context if table.table is Table.HOLE else table.of_holes
        context = dict(stated) | ({"ski": place.side} if place.side else {})
        own = [c for c in shared if not (c.key == "ski" and place.side)]
        asks: tuple[str, ...] = ()
        guesses: tuple[str, ...] = ()
        if said is None:
            asks = asked or (place.words,)
            guesses = of_all if asked else _guesses_of(along, place, names, table)
        over = [[across] for across in _across(place.side, place.piece, place.name, places)]
        for across in over or [[]]:
            columns = [*own, x, *across]
            yield OneHole(
                table=_view(table, Table.HOLE, columns, context, _NEEDED, [x]),
                name=place.name,
                side=place.side,
                asks=asks,
                guesses=guesses,
                says=f"{place.words!r} {direction_text(said, 'x_mm')}" if said is not None else "",
                of=x.of,
                whose=table.table is Table.SKI,
            )


def _is_shared(table: FoundTable, column: MappedColumn) -> bool:
    """Return whether a column says something of every hole in its row."""
    if table.table is Table.HOLE:
        return column.key not in ("x_mm", "y_mm", "hole_id")
    return column.key == "ski" or column.key.startswith(HOLE_KEY)


def _across(side: str, piece: str, name: str, places: _Placed) -> list[MappedColumn]:
    """The columns across the ski of those holes, each as the one hole that it places."""
    for wanted in dict.fromkeys((name, piece, "")):
        found = [
            (c, place)
            for c, place in places
            if place.across and place.side in (side, "") and place.name == wanted
        ]
        found = [(c, place) for c, place in found if place.side == side] or found
        if found:
            return [hole for c, place in found for hole in _either_side(c, place)]
    return []


def _either_side(column: MappedColumn, place: HoleHeader) -> Iterator[MappedColumn]:
    plain = replace(column, key="y_mm", header=place.words)
    if place.what in ("width", "half width"):
        halved = place.what == "width"
        yield replace(plain, turned=True, halved=halved)
        yield replace(plain, halved=halved)
    elif place.what in ("left", "right"):
        yield replace(plain, turned=place.what == "left")
    else:
        yield replace(plain, turned=place.turned)


def _direction_id(*words: str) -> str:
    """The question from where these columns count, the same for both skis."""
    plain = "+".join(header_text(one).words for one in words)
    return question_id(About.DIRECTION, Table.HOLE.value, "x_mm", plain)


def _together(places: _Placed) -> tuple[str, ...]:
    """The columns that do not say where they count from: one answer may hold for all."""
    words = tuple(
        dict.fromkeys(
            place.words
            for c, place in places
            if place.what == "x" and _by_header(place, _names(c, place, places)) is None
        )
    )
    return words if len(words) > 1 else ()


def _names(column: MappedColumn, mine: HoleHeader, places: _Placed) -> list[str]:
    """The other holes of the same ski."""
    others = (place for c, place in places if c is not column and place.what == "x")
    return [place.name for place in others if place.side == mine.side]


def _direction(
    place: HoleHeader, names: Sequence[str], answers: Answers, together: tuple[str, ...]
) -> Direction | None:
    """Return what an answer or the header says of where the column counts from; None where nothing does."""
    for identity in (_direction_id(place.words), _direction_id(*together)):
        answer = answers.by_id.get(identity)
        if answer is None or answer.leaves_out:
            continue
        if answer.text == EACH_WAY:
            said: Direction | None = Direction("mark", place.piece == "heel") if place.piece else None
        else:
            said = direction_of(answer.text, "x_mm", names)
        if said is not None and (place.origin != "mark" or said.origin == "mark"):
            return said
    return _by_header(place, names)


def _by_header(place: HoleHeader, names: Sequence[str]) -> Direction | None:
    if place.origin == "tail":
        return Direction("tail") if not place.turned else None
    if place.origin not in ("", "mark"):
        if place.origin not in names:
            return None
        behind = _behind(place.name, place.origin)
        return None if behind is None else Direction(place.origin, behind)
    if place.plus_said or place.explicit:
        return Direction("mark", place.turned)
    return None


def _behind(name: str, other: str) -> bool | None:
    """Return whether holes of that name lie behind the others; None where the names do not say."""
    if name in _RANK and other in _RANK and _RANK[name] != _RANK[other]:
        return _RANK[name] > _RANK[other]
    return None


def _guesses_of_all(columns: _Placed, table: FoundTable) -> tuple[str, ...]:
    """Answers that may be right for all these columns, the one that the numbers speak for first."""
    every = [(place, number) for c, place in columns for number in _numbers(c, table)]
    heels = [number for place, number in every if place.piece == "heel"]
    near = [EACH_WAY, MARK_TO_TIP] if heels and min(heels) > 0 else [MARK_TO_TIP, EACH_WAY]
    far = bool(every) and median(abs(number) for _, number in every) >= _FAR_MM
    if far and not any(place.origin for _, place in columns):
        return (FROM_TAIL, *near, EACH_COLUMN)
    return (*near, FROM_TAIL, EACH_COLUMN)


def _guesses_of(
    column: MappedColumn, place: HoleHeader, names: Sequence[str], table: FoundTable
) -> tuple[str, ...]:
    """Answers that may be right for one column, the one that its numbers speak for first."""
    numbers = _numbers(column, table)
    ahead = place.piece == "toe" or any(number < 0 for number in numbers)
    near = [MARK_TO_TIP, MARK_TO_TAIL] if ahead else [MARK_TO_TAIL, MARK_TO_TIP]
    if place.origin == "mark":
        return tuple(near)
    if place.origin in names:
        return f"behind {place.origin}", f"ahead of {place.origin}"
    others = [other for other in names if _behind(place.name, other) is not None]
    beside = [
        f"{'behind' if _behind(place.name, other) else 'ahead of'} {other}"
        for other in sorted(others, key=lambda other: abs(_RANK[other] - _RANK[place.name]))
    ][:2]
    if numbers and median(map(abs, numbers)) >= _FAR_MM:
        return (FROM_TAIL, *near, *beside)
    return (*near, FROM_TAIL, *beside)


def _numbers(column: MappedColumn, table: FoundTable) -> list[Decimal]:
    """The column's numbers in mm, as far as they can be read."""
    cells = [cells[column.number].text for _, cells in table.raw if column.number in cells]
    return [a.number * UNITS_MM.get(column.unit, 1) for a in map(amount_of, cells) if a is not None]


def settle_hole(hole: OneHole, row: Row) -> None:
    """Ask for what the sheet does not say of one hole: from where it counts, how far from the middle line."""
    if row.table is not Table.HOLE:
        return
    if hole.asks and row.values.get("x_mm") is not None:
        columns = ", ".join(map(repr, hole.asks))
        row.ask(
            "place_unstated",
            f"the column{'s' if len(hole.asks) > 1 else ''} {columns}: nothing says from where the numbers"
            " count, and which way is plus",
            'say it in the header, such as "from mark (mm, + to tip)", "from tail", "from toe front"',
            *hole.guesses,
            key="x_mm",
            about="+".join(hole.asks),
        )
        row.values["x_mm"] = None
    if row.values.get("y_mm") is None and "y_mm" not in {f.key for f in row.findings}:
        _ask_across(hole, row)


def _ask_across(hole: OneHole, row: Row) -> None:
    first = hole.name.partition(" ")[0]
    piece = first if first in ("toe", "heel") else ""
    row.ask(
        "hole_without_width",
        f"nothing says how far the {piece} holes stand apart across the ski"
        if piece
        else f"nothing says how far {f'hole {hole.name}'.strip()} lies from the middle line of the ski",
        f"enter the width of the {piece} holes" if piece else "enter its y",
        key="y_mm",
        about=piece or hole.name,
    )


def place_from_others(holes: Sequence[tuple[OneHole, Row]]) -> None:
    """Give holes that count from other holes of their ski a place, as soon as those have one."""
    places: dict[tuple[int, str, object, str], Row] = {}
    for hole, row in holes:
        if row.table is Table.HOLE:
            places.setdefault((row.number, hole.side, row.values.get("ski"), hole.name), row)
    waiting = [(hole, row) for hole, row in holes if hole.of and row.values.get("x_mm") is not None]
    todo = {id(row) for _, row in waiting}
    while waiting:
        placed = []
        for hole, row in waiting:
            other = places.get((row.number, hole.side, row.values.get("ski"), hole.of[1:]))
            if other is None or id(other) in todo:
                continue
            x, way = other.values.get("x_mm"), row.values["x_mm"]
            if not isinstance(x, Decimal):
                continue
            row.values["x_mm"] = x - way if hole.of[0] == "-" else x + way
            row.place = replace(row.place, from_tail=other.place.from_tail)
            placed.append(row)
        if not placed:
            break
        todo -= {id(row) for row in placed}
        waiting = [(hole, row) for hole, row in waiting if id(row) in todo]
    for hole, row in waiting:
        row.ask(
            "counted_from_unknown",
            f"it is counted from {hole.of[1:]}, and nobody knows where that is",
            f"enter {hole.of[1:]} of this ski",
            key="x_mm",
        )
        row.values["x_mm"] = None
    _ask_where_out_of_order(holes)


def _ask_where_out_of_order(holes: Sequence[tuple[OneHole, Row]]) -> None:
    """A toe stands ahead of a heel, and a front row of screws ahead of the rear one.

    Else a number, or the answer about its column, is wrong, and nobody knows which.
    """
    skis: dict[tuple[int, str, object], dict[str, list[Row]]] = {}
    for hole, row in holes:
        if row.table is Table.HOLE and hole.name in _RANK and isinstance(row.values.get("x_mm"), Decimal):
            ski = skis.setdefault((row.number, hole.side, row.values.get("ski")), {})
            ski.setdefault(hole.name, []).append(row)
    for named in skis.values():
        order = sorted(named, key=lambda name: _RANK[name])
        for ahead, behind in pairwise(order):
            if _RANK[ahead] == _RANK[behind]:
                continue
            front, rear = named[ahead][0].values["x_mm"], named[behind][0].values["x_mm"]
            if front > rear or named[ahead][0].place.from_tail != named[behind][0].place.from_tail:
                continue
            for row in (row for rows in named.values() for row in rows):
                row.ask(
                    "holes_out_of_order",
                    f"the {behind} holes would lie {rear - front:f} mm ahead of the {ahead} holes",
                    "correct the number, or the answer about the column's direction",
                    key="x_mm",
                )
            break
