"""QR codes as shapes, level M (readable with 15 % of it damaged), as coarse as the text allows."""

from __future__ import annotations

from functools import lru_cache
from itertools import groupby
from typing import Final

from planner.paper.shapes import Face, Modules, Words

LEAST_MODULE_MM: Final = 0.3
"""Finer than this a shop printer and a phone do not agree any more (common practice, no source)."""

_Runs = tuple[tuple[int, int, int], ...]


@lru_cache(maxsize=4096)
def code_of(text: str) -> tuple[int, _Runs]:
    """Return the modules across, and the dark runs (column, row, length); 0 across if no code holds the
    text.
    """
    import segno
    from segno.encoder import DataOverflowError

    # A Micro QR would be smaller, but many phones cannot read one. The smallest version that holds the
    # text: a usual tag (14 characters, 20 in capitals) has version 1, and all of them modules of one size.
    try:
        code = segno.make(text, error="m", micro=False, boost_error=False)
    except DataOverflowError:
        return 0, ()
    runs = []
    for row, bits in enumerate(code.matrix):
        column = 0
        for bit, group in groupby(bits):
            length = len(list(group))
            if bit:
                runs.append((column, row, length))
            column += length
    return len(code.matrix), tuple(runs)


def sheet_code(number: str | None, revision: str | None, tag: str, sides: str) -> str:
    """Return the text of the code on a sheet: number, revision, pair and ski; a proposal's has the pair
    alone.

    ``sides``: ``A``, ``B`` or ``AB``.
    """
    return tag if number is None else f"{number} {revision}/{tag}/{sides}"


def head_code(head: str) -> str:
    """Return the text of the code in a sheet's foot: the number and the whole hash of the newest entry.

    In capitals, which a code holds in fewer modules than small letters.
    """
    return f"HEAD {head.upper()}"


def qr_code(text: str, x: float, y: float, side: float) -> Modules | Words:
    """The code's dark modules, ``side`` millimetres wide without its quiet zone (leave 4 modules clear).

    Where they would be too fine to be read there is no code, and the paper says so.
    """
    count, runs = code_of(text)
    if not count or side / count < LEAST_MODULE_MM:
        return Words(x, y + side / 2, "NO CODE", size=6, face=Face.BOLD, fill="#000000")
    return Modules(x, y, side / count, runs)
