"""Readings of one survey as values, and the lines they are typed in.

A mark 812                  mark to tail, measured now
A 101.5 18                  a hole at x, y from the mark (x + to the tip, y + to the right)
A 101.5 18 d3.6 t9 plugged  with diameter, depth and state
A tail 913.5 18             a hole measured from the tail instead
A tail 913.5 18 x 101.5     both ways: the sum is checked
A four 36 40.5 36 40.5 54.2 54.2 at 101.5
                            four holes by their distances: front width, right length, rear width,
                            left length, front right to rear left, front left to rear right; x of
                            the front row
A bare -250 300             this stretch was seen bare, from x to x
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from fleet.base.errors import BadInput
from fleet.base.files import typed_rows
from fleet.base.units import mm_to_um
from fleet.facts.holes import HoleState, Side


@dataclass(frozen=True, slots=True, kw_only=True)
class HoleReading:
    """One measured hole. ``tail_um`` where the tail was measured too; ``x_um`` None: only the tail."""

    line: int
    side: Side
    x_um: int | None
    y_um: int
    tail_um: int | None = None
    diameter_um: int | None = None
    depth_um: int | None = None
    state: HoleState = HoleState.OPEN


@dataclass(frozen=True, slots=True, kw_only=True)
class FourReading:
    """Four holes by six distances and one x; see the module's text for the order."""

    line: int
    side: Side
    front_um: int
    right_um: int
    rear_um: int
    left_um: int
    right_to_left_um: int
    left_to_right_um: int
    front_x_um: int
    state: HoleState = HoleState.OPEN
    diameter_um: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkReading:
    """The distance from mark to tail, measured with the ruler laid flat, µm."""

    line: int
    side: Side
    from_tail_um: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BareReading:
    """A stretch of ski seen bare, from x to x, µm from that ski's own mark."""

    line: int
    side: Side
    from_um: int
    to_um: int


Reading = HoleReading | FourReading | MarkReading | BareReading


@dataclass(frozen=True, slots=True, kw_only=True)
class LineFault:
    """A line that cannot be read: the text of the line, and an example of how to write it."""

    line: int
    text: str
    message: str
    fix: str


_STATES = {s.value for s in HoleState}
_EXAMPLE = "write it like: A 101.5 18 d3.6 plugged"


def read_lines(lines: Iterable[str]) -> tuple[list[Reading], list[LineFault]]:
    """Return all readings and all faults. Blank lines and lines that begin with # are skipped."""
    readings: list[Reading] = []
    faults: list[LineFault] = []
    for number, line in enumerate(lines, start=1):
        text = line.split("#", 1)[0].strip()
        if not text:
            continue
        try:
            readings.append(_read(number, text))
        except ValueError as fault:
            faults.append(LineFault(line=number, text=line.strip(), message=str(fault), fix=_EXAMPLE))
    return readings, faults


def _read(number: int, text: str) -> Reading:
    # "101,5, 18" and "101.5;18" are how people type; a comma between digits is a decimal comma.
    words = re.sub(r"(?<=\d),(?=\d)", ".", text).replace(",", " ").replace(";", " ").split()
    head = words[0].upper()
    if head not in ("A", "B"):
        raise ValueError("the line does not begin with the ski, A or B")
    side, rest = Side(head), words[1:]
    if not rest:
        raise ValueError("nothing follows the ski")
    word = rest[0].lower()
    if word == "mark":
        (value,) = _lengths(rest[1:], 1)
        return MarkReading(line=number, side=side, from_tail_um=_positive(value, "mark to tail"))
    if word == "bare":
        low, high = _lengths(rest[1:], 2)
        return BareReading(line=number, side=side, from_um=min(low, high), to_um=max(low, high))
    if word == "four":
        return _four(number, side, rest[1:])
    return _hole(number, side, rest)


def _four(number: int, side: Side, words: list[str]) -> FourReading:
    if len(words) < 8 or words[6].lower() != "at":
        raise ValueError("four holes need six distances, then `at` and the x of the front row")
    six = [_positive(value, "a distance") for value in _lengths(words[:6], 6)]
    (front_x,) = _lengths(words[7:8], 1)
    diameter, depth, state, x = _extras(words[8:])
    if depth is not None or x is not None:
        raise ValueError("depth and x are not part of a group of four")
    return FourReading(
        line=number,
        side=side,
        front_um=six[0],
        right_um=six[1],
        rear_um=six[2],
        left_um=six[3],
        right_to_left_um=six[4],
        left_to_right_um=six[5],
        front_x_um=front_x,
        state=state,
        diameter_um=diameter,
    )


def _hole(number: int, side: Side, words: list[str]) -> HoleReading:
    from_tail = words[0].lower() == "tail"
    if from_tail:
        words = words[1:]
    if len(words) < 2:
        raise ValueError("a hole needs x and y")
    along, y = _lengths(words[:2], 2)
    diameter, depth, state, x = _extras(words[2:])
    if x is not None and not from_tail:
        raise ValueError("x is given twice")
    return HoleReading(
        line=number,
        side=side,
        x_um=x if from_tail else along,
        y_um=y,
        tail_um=_positive(along, "the tail distance") if from_tail else None,
        diameter_um=diameter,
        depth_um=depth,
        state=state,
    )


def _extras(words: list[str]) -> tuple[int | None, int | None, HoleState, int | None]:
    diameter: int | None = None
    depth: int | None = None
    x: int | None = None
    state = HoleState.OPEN
    rest = iter(words)
    for word in rest:
        low = word.lower()
        if low in _STATES:
            state = HoleState(low)
        elif low == "x":
            (x,) = _lengths([next(rest, "")], 1)
        elif low[0] == "d" and len(low) > 1:
            diameter = _positive(_lengths([low[1:]], 1)[0], "the diameter")
        elif low[0] == "t" and len(low) > 1:
            depth = _positive(_lengths([low[1:]], 1)[0], "the depth")
        else:
            raise ValueError(f"{word!r} is neither d3.6, t9, x 101.5 nor a state of a hole")
    return diameter, depth, state, x


def _lengths(words: list[str], count: int) -> list[int]:
    if len(words) != count:
        raise ValueError(f"{count} lengths are needed here, {len(words)} stand there")
    return [mm_to_um(word.removesuffix("mm")) for word in words]


def _positive(value: int, name: str) -> int:
    if value <= 0:
        raise ValueError(f"{name} must be more than 0")
    return value


_KNOWN = {"ski", "x_mm", "tail_mm", "y_mm", "diameter_mm", "depth_mm", "state"}


def lines_of_csv(path: Path) -> list[str]:
    """Return the rows of a csv as survey lines, so that typed lines and files share one reader and one set of
    doubts.

    The first line stands for the header and is empty: line numbers then match the file's. Raises BadInput
    for a file that is not a survey table.
    """
    cure = f"use the columns {', '.join(sorted(_KNOWN))}"
    rows = typed_rows(path, ("ski", "y_mm"), cure=cure)
    header = set(rows[0]) if rows else _KNOWN
    if not header & {"x_mm", "tail_mm"} or header - _KNOWN:
        raise BadInput(
            f"{path} is not a survey table: its columns are {', '.join(sorted(header))}", cure=cure
        )
    return ["", *(_line(row) for row in rows)]


def _line(cell: dict[str, str]) -> str:
    parts = [cell["ski"]]
    x, tail = cell.get("x_mm", ""), cell.get("tail_mm", "")
    parts += ["tail", tail, cell["y_mm"]] if tail else [x, cell["y_mm"]]
    if tail and x:
        parts += ["x", x]
    for letter, name in (("d", "diameter_mm"), ("t", "depth_mm")):
        if cell.get(name):
            parts.append(letter + cell[name])
    if cell.get("state"):
        parts.append(cell["state"])
    return " ".join(parts)
