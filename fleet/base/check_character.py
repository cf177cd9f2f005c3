"""The check character of a tag: one sign that catches every single slip and every swap of neighbours.

ISO/IEC 7064:2003, hybrid system MOD 37,36 (digits and capitals); algorithm from memory, checked against a
reference library in the tests. Only letters and digits count: ``K4-0417`` and ``k4 0417`` have the same one.
"""

from __future__ import annotations

from typing import Final

from fleet.base.errors import BadInput

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
