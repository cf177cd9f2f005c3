"""The order in which people look tags and racks up: K-2 before K-10."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

_DIGITS: Final = re.compile("([0-9]+)")


@lru_cache(maxsize=8192)
def tag_order(text: str) -> tuple[tuple[str | tuple[int, str], ...], str]:
    """Return what such texts are sorted by: letters as letters, digits as the number that they make."""
    parts = _DIGITS.split(text)
    return tuple(_number(part) if at % 2 else part for at, part in enumerate(parts)), text


def _number(digits: str) -> tuple[int, str]:
    """Sorts as the number does, which Python makes of some thousands of digits only."""
    short = digits.lstrip("0")
    return len(short), short


def compared(one: str, other: str) -> int:
    """Return -1, 0 or 1: the same order for SQLite, as the collation BY_NUMBER."""
    first, second = tag_order(one), tag_order(other)
    return (first > second) - (first < second)
