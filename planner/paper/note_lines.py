"""The lines of a sheet that say what was noted of its things, between its head and its work."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from planner.paper.ink import READ, SOFT
from planner.paper.shapes import Face
from planner.paper.sheet_frame import FramedSheet
from planner.paper.typeface import paragraph

_LEADING: Final = 4.6
_CLOSER: Final = 3.6
_SMALL: Final = 8.5


def note_lines(sheet: FramedSheet, notes: Sequence[str], y: float, *, small: Sequence[str] = ()) -> float:
    """Print each text from ``y`` on, broken into lines, and return where the next thing begins.

    ``small``: what is good to know and changes no hand's work.
    """
    x, room = sheet.left, sheet.room
    for text in notes:
        y += _LEADING
        y = paragraph(sheet, x, y, text, size=READ, room=room, step=_LEADING, face=Face.BOLD) - _LEADING
    for text in small:
        y += _CLOSER
        y = paragraph(sheet, x, y, text, size=_SMALL, room=room, step=_CLOSER, fill=SOFT) - _CLOSER
    return y
