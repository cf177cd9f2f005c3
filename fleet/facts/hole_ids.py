"""Names of holes: ``K-031/A7``, the pair's tag, the ski, a number that is never used twice."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Final

from fleet.facts.holes import Side

_DIGITS: Final = 9
"""Longer ones are somebody's own numbers: counting on from them would give names nobody can read."""


def fresh_hole_ids(tag: str, side: Side, taken: Collection[str], *, above: int = 0) -> Iterator[str]:
    """Ids for new holes of one ski, in order, above the highest number that ski has ever used.

    ``taken`` are the ids in the ski now; ``above`` is the ski's ``holes_numbered_to``, which also knows
    the numbers of holes that were withdrawn since.
    """
    number = max((hole_number(tag, side, name) for name in taken), default=0)
    number = max(number, above)
    while True:
        number += 1
        yield f"{tag}/{side.value}{number}"


def hole_number(tag: str, side: Side, hole_id: str) -> int:
    """The 7 of ``K-031/A7``; 0 for an id that is no number of that ski."""
    number = hole_id.removeprefix(f"{tag}/{side.value}")
    counts = number != hole_id and number.isascii() and number.isdigit() and len(number) <= _DIGITS
    return int(number) if counts else 0


def hole_label(hole_id: str) -> str:
    """Return what stands at the hole on the picture of one ski: ``7`` of ``K-031/A7``; another id as it
    is.
    """
    short = short_id(hole_id)
    number = short[1:]
    return number if short[:1] in tuple(Side) and number.isascii() and number.isdigit() else short


def short_id(hole_id: str) -> str:
    """The part a person reads beside a picture of that pair: ``A7``."""
    return hole_id.rsplit("/", 1)[-1]
