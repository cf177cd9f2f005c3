"""Text that a spreadsheet would run as a formula, written so that it cannot, and read back as it was."""

from __future__ import annotations

from typing import Final

from imports.cells import GUARD, RUNS

_LEADING_BLANK: Final = " \t\r\n"


def guarded(text: str) -> str:
    """An apostrophe before what would run; the import takes exactly that apostrophe off again.

    Text that itself begins with an apostrophe gets one more, so that the way back is exact.
    """
    bare = text.lstrip(_LEADING_BLANK)
    if text.startswith(GUARD) or bare[:1] in RUNS:
        return f"{GUARD}{text}"
    return text
