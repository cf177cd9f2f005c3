"""The apostrophe that keeps an exported text from running as a formula, taken off again on the way in."""

from __future__ import annotations

from typing import Final

GUARD: Final = "'"
RUNS: Final = ("=", "+", "-", "@", "\t", "\r")
"""The characters that a spreadsheet takes for the beginning of a formula."""


def unguarded(text: str) -> str:
    """The text without its guard: the apostrophe before ``=``, ``+``, ``-``, ``@`` or another apostrophe."""
    if len(text) > 1 and text[0] == GUARD and (text[1:].lstrip()[:1] in RUNS or text[1] == GUARD):
        return text[1:]
    return text
