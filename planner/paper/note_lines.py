"""The lines of a sheet that say what was noted of its things, between its head and its work."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from planner.paper.ink import READ, SOFT
from planner.paper.shapes import Face
from planner.paper.sheet_frame import FramedSheet
from planner.paper.typeface import wrapped

_LEADING: Final = 4.6
_SMALL: Final = 8.5


def note_lines(sheet: FramedSheet, notes: Sequence[str], y: float, *, small: Sequence[str] = ()) -> float:
    """Print each text from ``y`` on, broken into lines, and return where the next thing begins.

    ``small``: what is good to know and changes no hand's work.
    """
    for text in notes:
        for line in wrapped(text, Face.BOLD, READ, sheet.room):
            y += _LEADING
            sheet.words(sheet.left, y, line, size=READ, face=Face.BOLD)
    for text in small:
        for line in wrapped(text, Face.SANS, _SMALL, sheet.room):
            y += _LEADING - 1.0
            sheet.words(sheet.left, y, line, size=_SMALL, fill=SOFT)
    return y
