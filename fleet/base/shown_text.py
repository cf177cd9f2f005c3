"""Text from data as it may be shown: nothing in it acts on a terminal, and a remark is one line."""

import re
from typing import Final

UNRULY: Final = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufeff]"
)
"""A character that acts on a terminal, or turns the order of what is read."""


def one_line(text: str) -> str:
    """Return the text made harmless, each line break shown as a sign: a remark of three lines is one
    remark.
    """
    return harmless(text.replace("\r\n", "\n")).replace("\n", " ⏎ ").replace("\t", " ")


def harmless(text: str) -> str:
    """Return the text with control and bidirectional characters shown as a box; line breaks and tabs stay."""
    return UNRULY.sub("\ufffd", text)
