"""A sheet made ready before anybody looks for its tables.

The columns that a marked copy adds are taken off; letters damaged by a wrong encoding on the way (``HÃ¶he``)
are mended where that leaves no doubt, and said; a merged cell counts for each row that it covers. A list of
people is told, and nothing of it is taken.
"""

from collections import defaultdict
from functools import lru_cache
from typing import Final

from fleet.base.units import counted
from imports.cells import Content, Sheet
from imports.findings import Finding
from imports.header_match import header_text
from imports.words import phrases

_SIGNS: Final = frozenset("ÃÂÄÅÆÐâãæçèéäåï")
"""First letters of what UTF-8 looks like when it was read as Windows or Latin text."""


def mend_damaged(sheet: Sheet) -> list[Finding]:
    """Put the mended texts into the cells. Returns what is to be said: at most one finding."""
    changed: list[tuple[int, str, str]] = []
    for number, cells in sheet.rows.items():
        for column, cell in cells.items():
            foreign = cell.content is Content.TEXT and not cell.text.isascii()
            text = mended_text(cell.text) if foreign else cell.text
            if text != cell.text:
                changed.append((number, cell.text, text))
                cells[column] = cell._replace(text=text)
    if not changed:
        return []
    number, damaged, text = changed[0]
    return [
        Finding(
            code="letters_mended",
            sheet=sheet.name,
            row=number,
            raw=damaged,
            taken=text,
            message=f"damaged letters in {counted(len(changed), 'cell')} are mended: {damaged!r} is {text!r}",
        )
    ]


@lru_cache(maxsize=20_000)
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


_MOST_ROWS: Final = 5_000


def fill_merged_down(sheet: Sheet) -> dict[int, dict[int, str]]:
    """Fill values of merged cells into the filled rows they cover; rows that hold nothing stay nothing.

    Returns the texts of cells merged over columns, row -> column -> text, for headers in two rows.
    """
    spans: dict[int, dict[int, str]] = defaultdict(dict)
    for area in sheet.merged:
        cell = sheet.rows.get(area.top, {}).get(area.left)
        if cell is None:
            continue
        if area.right > area.left and cell.content is Content.TEXT:
            for column in range(area.left, min(area.right, area.left + 100) + 1):
                spans[area.top][column] = cell.text
        if area.bottom > area.top:
            for row in range(area.top + 1, min(area.bottom, area.top + _MOST_ROWS) + 1):
                cells = sheet.rows.get(row)
                if cells is not None and area.left not in cells:
                    cells[area.left] = cell._replace(merged=True)
    return spans


REASON: Final = "mountbook reason"
ANSWER: Final = "mountbook answer"
TABLE: Final = "mountbook table"


ANY_TABLE: Final = 0
"""In place of a first column: a copy that says none, where one table has the row."""
_PARTS: Final = (REASON, ANSWER, TABLE)


def take_marks(sheet: Sheet) -> None:
    """Take the added columns off the sheet, and keep reason and answer by row and first column.

    They stand beside the tables: nothing is above their heads.
    """
    tops: dict[int, tuple[int, str]] = {}
    for number, cells in sorted(sheet.rows.items()):
        for column, cell in cells.items():
            if column not in tops and cell.text:
                tops[column] = (number, cell.text)
    columns = {column: top for column, top in tops.items() if top[1] in _PARTS}
    if not columns:
        return
    for number, cells in list(sheet.rows.items()):
        said = dict.fromkeys(_PARTS, "")
        for column, (first, part) in sorted(columns.items()):
            if number >= first and column in cells:
                said[part] = cells.pop(column).text
            if column + 1 not in columns or part == TABLE:
                table = int(said[TABLE]) if said[TABLE].isdecimal() else ANY_TABLE
                if said[REASON] or said[ANSWER]:
                    sheet.marks[number, table] = (said[REASON], said[ANSWER])
                said = dict.fromkeys(_PARTS, "")
        if not cells:
            del sheet.rows[number]


def marks_of(sheet: Sheet, row: int, left: int) -> tuple[str, str]:
    """Reason and answer beside a row of the table that begins in that column."""
    return sheet.marks.get((row, left)) or sheet.marks.get((row, ANY_TABLE)) or ("", "")


_FIRST_ROWS: Final = 10


def lists_people(sheet: Sheet) -> bool:
    """Return whether one of the first rows has two headers or more that only a list of people has."""
    for _, cells in sorted(sheet.rows.items())[:_FIRST_ROWS]:
        texts = {
            header_text(c.text).words.replace(" ", "") for c in cells.values() if c.content is Content.TEXT
        }
        if len(texts & phrases("people")) >= 2:
            return True
    return False
