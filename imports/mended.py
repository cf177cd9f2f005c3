"""Letters damaged by a wrong encoding on the way (``HÃ¶he``), mended where that leaves no doubt, and said."""

from __future__ import annotations

from typing import Final

from fleet.base.units import counted
from imports.cells import Content, Sheet
from imports.findings import Finding, Severity

_SIGNS: Final = frozenset("ÃÂÄÅÆÐâãæçèéäåï")
"""First letters of what UTF-8 looks like when it was read as Windows or Latin text."""


def mend_damaged(sheet: Sheet) -> list[Finding]:
    """Put the mended texts into the cells. Returns what is to be said: at most one finding."""
    mended: dict[str, str] = {}
    count = 0
    first = (0, "", "")
    for number, cells in sheet.rows.items():
        for column, cell in cells.items():
            if cell.content is not Content.TEXT or cell.text.isascii():
                continue
            if cell.text not in mended:
                mended[cell.text] = mended_text(cell.text)
            text = mended[cell.text]
            if text != cell.text:
                first = first if count else (number, cell.text, text)
                count += 1
                cells[column] = cell._replace(text=text)
    if not count:
        return []
    number, damaged, text = first
    return [
        Finding(
            severity=Severity.NOTE,
            code="letters_mended",
            sheet=sheet.name,
            row=number,
            raw=damaged,
            taken=text,
            message=f"damaged letters in {counted(count, 'cell')} are mended: {damaged!r} is {text!r}",
            fix="nothing, if that is right",
        )
    ]


def mended_text(text: str) -> str:
    """The text as it was before it was read in a wrong encoding; as it stands where that was not so."""
    if not _SIGNS & set(text):
        return text
    for code in ("cp1252", "latin-1"):
        try:
            return _bytes(text, code).decode("utf-8")
        except UnicodeError:
            continue
    return text


def _bytes(text: str, code: str) -> bytes:
    """The bytes that were read as this text; cp1252 leaves five of them as they are."""
    return b"".join(c.encode("latin-1") if "\x80" <= c <= "\x9f" else c.encode(code) for c in text)
