"""QR codes as shapes: version 1, level M (25 % may be ruined by mud and it still reads 14 characters)."""

from __future__ import annotations

from functools import lru_cache
from itertools import groupby

from fleet.errors import BadInput
from planner.paper.shapes import Modules


@lru_cache(maxsize=4096)
def _runs(text: str) -> tuple[int, tuple[tuple[int, int, int], ...]]:
    import segno
    from segno.encoder import DataOverflowError

    # A Micro QR would be smaller, but many phones cannot read one; and the version stays 1, so that
    # every tag in the shop prints with modules of one size.
    try:
        code = segno.make(text, version=1, error="m", micro=False, boost_error=False)
    except DataOverflowError as fault:
        raise BadInput(
            f"{text!r} is too long for the QR code of a tag",
            cure="use tags of at most 14 characters (20 if only capitals, digits and -)",
        ) from fault
    runs = []
    for row, bits in enumerate(code.matrix):
        column = 0
        for bit, group in groupby(bits):
            length = len(list(group))
            if bit:
                runs.append((column, row, length))
            column += length
    return len(code.matrix), tuple(runs)


def qr_code(text: str, x: float, y: float, side: float) -> Modules:
    """The code's dark modules, ``side`` millimetres wide without its quiet zone (leave 4 modules clear).

    Raises BadInput where the text does not fit version 1-M.
    """
    count, runs = _runs(text)
    return Modules(x, y, side / count, runs)
