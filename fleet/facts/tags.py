"""A tag as it was scanned or typed, to the tag as the ledger writes it; its order, K-2 before K-10.

The check character of a tag is one sign that catches every single slip and every swap of neighbours: ISO/IEC
7064:2003, hybrid system MOD 37,36 (digits and capitals); algorithm from memory, checked against a reference
library in the tests. Only letters and digits count: ``K4-0417`` and ``k4 0417`` have the same one.
"""

import re
import sqlite3
from functools import lru_cache
from typing import Final

from fleet.base.errors import BadInput
from fleet.facts.holes import Side


def known_tag(connection: sqlite3.Connection, text: str) -> str:
    """The pair's or boot's tag that was meant: as it stands, in capitals, or with its check character.

    The code of one ski, ``K-031 A``, means its pair. A tag that is not in the ledger comes back as it was
    typed; BadInput where the check character is wrong.
    """
    for candidate in (text, text.upper()):
        if _is_known(connection, candidate):
            return called_now(connection, candidate)
    pair, side = ski_coded(text)
    if side is not None:
        return known_tag(connection, pair)
    bare = tag_as_typed(text)
    meant = bare.upper() if not _is_known(connection, bare) and _is_known(connection, bare.upper()) else bare
    return called_now(connection, meant)


def ski_code(tag: str, side: Side) -> str:
    """The code on the label of one ski: ``K-031 A``."""
    return f"{tag} {side.value}"


def ski_coded(text: str) -> tuple[str, Side | None]:
    """The pair and the ski of a ski's own code; the text as it is and None for any other."""
    pair, _, side = text.strip().rpartition(" ")
    if pair.strip() and side.upper() in list(Side):
        return pair.strip(), Side(side.upper())
    return text, None


def called_now(connection: sqlite3.Connection, tag: str) -> str:
    """The tag that a pair has today; any other text as it is."""
    row = connection.execute("SELECT new FROM renamed WHERE old = ?", (tag,)).fetchone()
    return str(row[0]) if row else tag


def names_of(connection: sqlite3.Connection, tag: str) -> tuple[str, ...]:
    """The tag that a pair has today, and those that it had before."""
    now = called_now(connection, tag)
    return (now, *(old for (old,) in connection.execute("SELECT old FROM renamed WHERE new = ?", (now,))))


def _is_known(connection: sqlite3.Connection, tag: str) -> bool:
    row = connection.execute(
        "SELECT 1 FROM pair WHERE tag = ?1 UNION ALL SELECT 1 FROM boot WHERE tag = ?1"
        " UNION ALL SELECT 1 FROM renamed WHERE old = ?1",
        (tag,),
    ).fetchone()
    return row is not None


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


_SIGNS: Final = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
SEPARATOR: Final = "/"
"""Between a tag and its check character where a person types both: ``K4-0417/F``."""


def check_character(tag: str) -> str:
    """The check character of a tag. Raises BadInput where it has no digit and no Latin letter to check."""
    signs = [sign for sign in tag.upper() if sign in _SIGNS]
    if not signs:
        raise BadInput(f"the tag {tag!r} has nothing to check", cure="use tags of letters A to Z and digits")
    value = len(_SIGNS)
    for sign in signs:
        value = (value + _SIGNS.index(sign)) % 36 or 36
        value = value * 2 % 37
    return _SIGNS[(37 - value) % 36]


def tag_as_typed(text: str) -> str:
    """The tag a person typed, its check character verified and taken off where one was typed.

    Raises BadInput where the character does not belong to the tag: one of the two is a slip.
    """
    tag, separator, check = text.strip().rpartition(SEPARATOR)
    if not separator or len(check) != 1:
        return text.strip()
    if check.upper() != check_character(tag):
        raise BadInput(
            f"{text.strip()}: {check.upper()} is not the check character of {tag}",
            cure="read tag and check character from the label again",
        )
    return tag
