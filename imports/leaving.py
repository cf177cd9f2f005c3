"""Things that a sheet says are gone: heard wherever it says so, and asked about, never taken in silence.

A tag, a cell of any column, a comment, the title over a block, the sheet's name, and a colour that a legend
explains. Struck rows are seen by the row itself.
"""

import re
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from colorsys import rgb_to_hsv
from typing import Final

from fleet.facts.notes import proposal_in
from imports.cells import Cell, Content, Sheet
from imports.header_match import header_text
from imports.headers import FIELDS, Table
from imports.propose_notes import with_note
from imports.rows import ABOVE, FoundTable, Row
from imports.words import says_gone

CODE: Final = "says_gone"
_TABLES: Final = (Table.SKI, Table.BOOT, Table.BINDING)
_NAMES: Final = ("model", "binding_model", "rack", "season")
_NOT_HEARD: Final = ("reason", "answer", "stops")
_FIX: Final = 'answer "right" if it is there and in use, or "leave out"'


def hear_leaving(table: FoundTable, rows: Sequence[Row], titles: Mapping[int, str]) -> None:
    """Ask about each row of which the sheet says that its thing is gone. ``titles``: of blocks, by row."""
    if table.table not in _TABLES:
        return
    own = says_gone(table.sheet.name)
    over = {n: t for n, t in titles.items() if says_gone(t) and _stands_over(n, titles, table)}
    marks = over | {n: t for n, t in titles.items() if n > table.header_row}
    block_of = {n: title for n, title in table.under(marks) if says_gone(title)}
    colours = _legend(table.sheet)
    columns = {c.number: c.key for c in table.columns}
    for row, (number, cells) in zip(rows, table.raw, strict=True):
        comment, title = table.sheet.comments.get(number, ""), block_of.get(number, "")
        meant = colours.get(table.sheet.fills.get(number, ""), "")
        beside = (
            (comment[:80] if says_gone(comment) else "", f"a comment says {comment[:80]!r}"),
            (title, f"it stands under the title {title!r}"),
            (own, f"the sheet is called {table.sheet.name!r}"),
            (meant, f"its colour says {meant!r} by the sheet's legend"),
        )
        of_row = ((0, heard, f"{words}: is it there?") for heard, words in beside if heard)
        if said := _said(cells, columns) or next(of_row, None):
            column, heard, words = said
            row.ask(CODE, words, _FIX, column=column, about=heard)


def hear_alarms(table: FoundTable, rows: Sequence[Row]) -> None:
    """Keep a comment, or a text under a header that nobody knows, as a note where it names a fault.

    What such a note proposes keeps its thing out of every plan until somebody answers it.
    """
    if table.table not in (Table.SKI, Table.BOOT):
        return
    known = {c.number for c in table.columns}
    for row, (number, cells) in zip(rows, table.raw, strict=True):
        texts = [
            f"{table.headers.get(at, '')}: {cell.text}".removeprefix(": ")
            for at, cell in sorted(cells.items())
            if at not in known and cell.content is Content.TEXT and proposal_in(cell.text)
        ]
        if proposal_in(comment := table.sheet.comments.get(number, "")):
            texts.append(comment)
        if texts:
            row.values["notes"] = with_note(row.values.get("notes"), *texts)


def _said(cells: Mapping[int, Cell], columns: Mapping[int, str]) -> tuple[int, str, str] | None:
    """(column, words heard, sentence) of the first cell that says so."""
    for number, cell in cells.items():
        key = columns.get(number, "")
        if cell.content is not Content.TEXT or key in _NOT_HEARD:
            continue
        heard = says_gone(cell.text, name=key in _NAMES)
        if heard:
            what = f"{FIELDS[key].what} says" if key in FIELDS else "a cell of the row says"
            return number, heard, f"{what} {cell.text[:80]!r}: is it there, and in use?"
    return None


def _stands_over(number: int, titles: Mapping[int, str], table: FoundTable) -> bool:
    """Return whether a title stands over the table's header, in its columns, and explains no colour."""
    rows, columns = table.sheet.rows, range(table.left, table.right + 1)
    return (
        table.header_first - ABOVE <= number < table.header_first
        and all(n in titles or n not in rows for n in range(number, table.header_first))
        and any(n in columns for n in rows[number])
        and not _NAMES_A_HUE.search(header_text(titles[number]).words)
        and not _EXPLAINS_A_HUE.search(titles[number])
    )


_HUES: Final[Mapping[str, str]] = {
    **dict.fromkeys(
        ("red", "rot", "rouge", "rosso", "rojo", "rod", "cervena", "czerwony", "rdeca", "赤"), "red"
    ),
    **dict.fromkeys(
        ("yellow", "gelb", "jaune", "giallo", "amarillo", "gul", "zluta", "zolty", "rumena", "黄"), "yellow"
    ),
    **dict.fromkeys(
        ("orange", "arancione", "naranja", "oransje", "oranzova", "pomaranczowy", "oranzna"), "orange"
    ),
    **dict.fromkeys(
        ("green", "grun", "gruen", "vert", "verde", "gronn", "gron", "zelena", "zielony", "緑"), "green"
    ),
    **dict.fromkeys(("blue", "blau", "bleu", "blu", "azul", "bla", "modra", "niebieski", "青"), "blue"),
    **dict.fromkeys(("grey", "gray", "grau", "gris", "grigio", "gra", "seda", "szary", "siva", "灰"), "grey"),
    **dict.fromkeys(("pink", "rosa", "rose", "lila", "purple", "violet", "violett"), "pink"),
}
"""Words for colours in legends -> hue."""


_NAMES_A_HUE: Final = re.compile(rf"^(?:{'|'.join(_HUES)}) \S")
"""A cell of a legend that stands in one row: a colour, and what it means."""
_EXPLAINS_A_HUE: Final = re.compile(rf"\b(?:{'|'.join(_HUES)}) ?[=:]", re.IGNORECASE)
"""A colour and what it means, within a longer text."""


def _legend(sheet: Sheet) -> dict[str, str]:
    """Fill colour -> what a legend says of it, for colours that mean gone."""
    if not sheet.fills:
        return {}
    found: dict[str, str] = {}
    in_use = set(sheet.fills.values())
    for number, cells in sheet.rows.items():
        whole = [c.text for _, c in sorted(cells.items()) if c.content is Content.TEXT]
        if len(cells) > 3 and not any(_NAMES_A_HUE.search(header_text(text).words) for text in whole):
            continue
        for said in re.split(r"[,;/\n]", " ; ".join(whole)):
            if not says_gone(said) and not says_gone(re.split("[=:]", said)[-1]):
                continue
            if number in sheet.fills and len(cells) <= 3:
                found[sheet.fills[number]] = said.strip()
            for token in header_text(said).words.split():
                if token in _HUES:
                    found |= {fill: said.strip() for fill in in_use if hue(fill) == _HUES[token]}
    return found


_LEAST_SPREAD: Final = 24
_UP_TO_DEGREES: Final = (21, 48, 81, 180, 270, 339)
_ROUND_THE_WHEEL: Final = ("red", "orange", "yellow", "green", "blue", "pink", "red")
"""The colours of a wheel in degrees, each up to its end (by eye, of the colours that spreadsheets offer)."""


def hue(fill: str) -> str:
    """The plain name of a colour given as RRGGBB."""
    parts = [int(fill[i : i + 2], 16) for i in (0, 2, 4)]
    if max(parts) - min(parts) < _LEAST_SPREAD:
        return "grey"
    return _ROUND_THE_WHEEL[bisect_left(_UP_TO_DEGREES, rgb_to_hsv(*parts)[0] * 360)]
