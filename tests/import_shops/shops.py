"""Untidy workbooks of six shops, made before a look at the importer, and what a person wants of each.

Everybody and everything is invented. A sheet is a text of cells between bars under ``##`` and its name:
``=82`` is a real number, ``<`` is merged with the cell left of it, everything else text as typed. The wanted
values were written down with the sheets.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path
from typing import Any

SHOPS = ("valdonosa", "lesnice", "braeloch", "combenoire", "storfjell", "sarnistok")

HERE = Path(__file__).parent
KEYS = (
    "kind", "model", "length_cm", "waist_mm", "construction", "binding_model", "bsl_mm", "brake_mm",
    "mount_date",
)  # fmt: skip
ANY = "?"
"""A value that may stand or be missing: it was asked about."""

# By tag, in the order of KEYS. None: nothing may stand there. A text alone: it must be asked about.
WANT: dict[str, dict[str, Any]] = {
    "valdonosa": {
        "E-01": ("alpine", "Cierzo 82", 170, 82, "no metal", "Pinza 10", 305, 90, "2024-11-15"),
        "E-02": ("alpine", "Cierzo 82", 170, 82, "no metal", "Pinza 10", 315, 90, "2024-11-15"),
        "E-03": "sold",
        "E-04": ("alpine", "Cierzo 82", 163, 82, "no metal", "Pinza 10", 295, 90, ANY),
        "E-05": ("alpine", "Zarza Ti", 177, 86, "metal", "Pinza 12", 325, 95, "2024-11-16"),
        "E-06": ("alpine", "Zarza Ti", 177, 86, "metal", "Pinza 12", None, 95, "2024-11-16"),
        "E-07": "open edge, in the workshop",
        "E-08": ("alpine", "Nevero", 156, 74, ANY, "Pinza 10", 285, 80, "2024-11-20"),
        "E-09": "lost",
        "E-10": "holes in a ski that was never drilled",
        "E-11": ("alpine", "Nevero", 149, 74, ANY, None, None, None, None),
    },
    "lesnice": {
        "S1": ("alpine", "Hřeben", 168, 78, ANY, "Svorka 11", 305, None, None),
        "S2": ("alpine", "Hřeben", 168, 78, ANY, "Svorka 11", 305, None, None),
        "S3": ("alpine", "Hřeben", 175, 78, ANY, "Svorka 11", 315, None, None),
        "S4": ("alpine", "Hřeben", 175, 78, ANY, "Svorka 11", None, None, None),
        "S5": ("alpine", "Mýtina", 161, 72, ANY, "Svorka 11", 295, None, None),
        "S6": ("alpine", "Mýtina", 161, 72, ANY, "Svorka 11", 295, None, None),
        "S7": "twice, and one of them sold",
        "X1": "cross-country: none of our kinds",
        "X2": "cross-country: none of our kinds",
    },
    "braeloch": {
        "R11": ("alpine", "Corrie 84 metal", 170, None, None, "Latch 11", 305, 90, "2024-11-12"),
        "R12": ("alpine", "Corrie 84 metal", 170, None, None, "Latch 11", 315, 90, "2024-11-12"),
        "R13": ("alpine", "Corrie 84 metal", 177, None, None, "Latch 11", 315, 90, "2024-11-13"),
        "R14": ("alpine", "Corrie 84 metal", 177, None, None, "Latch 11", 315, 90, "2024-11-13"),
        "R15": "toe loose",
        "R16": ("alpine", "Lochan 76 foam", 156, None, None, "Latch 9", 285, 80, "2024-11-14"),
        "R17": ("alpine", "Lochan 76 foam", 163, None, None, None, ANY, ANY, None),
        "R18": ("alpine", "Lochan 76 foam", 163, None, None, "Latch 9", 295, ANY, "2024-11-14"),
        "R19": "stolen",
    },
    "combenoire": {
        **{
            tag: (ANY, "Arvine 82", length, 82, None, "Loquet 10", sole, 90, day)
            for tag, length, sole, day in (
                *(
                    ("1", 163, 295, "2024-11-12"),
                    ("2", 163, 295, "2024-11-12"),
                    ("3", 170, 305, "2024-11-12"),
                ),
                *(
                    ("5", 170, None, "2024-11-13"),
                    ("6", 177, 315, "2024-11-13"),
                    ("7", 177, None, "2024-11-13"),
                ),
            )
        },
        "4": (ANY, "Arvine 82", 170, 82, None, ANY, 305, 90, "2026-11-02"),
        "8": (ANY, "Grésil Ti", 172, 86, ANY, "Loquet 12", 315, 90, None),
        "9": "in the workshop",
        "10": (ANY, "Grésil Ti", 179, 86, ANY, "Loquet 12", 325, 100, None),
        "11": "sold",
        "12": (ANY, "Petit Givre", 140, 70, None, "Loquet 7", None, 80, "2025-11-15"),
        "13": (ANY, "Petit Givre", 140, 70, None, "Loquet 7", 265, 80, "2025-11-15"),
        "14": (ANY, "Névé 95 rando", 171, 95, None, "Cliquet Tour", 305, "none", "2024-12-20"),
        "15": (ANY, "Névé 95 rando", 178, 95, None, None, None, None, None),
        "16": (ANY, "Névé 95 rando", 178, 95, None, None, None, None, None),
    },
    "storfjell": {
        **{
            tag: (ANY, model, length, int(model[-2:]), None, binding, sole, None, day)
            for tag, model, length, binding, sole, day in (
                ("101", "Rugde 84", 170, "Kloa 11", 305, "2024-11-08"),
                ("102", "Rugde 84", 170, "Kloa 11", 305, "2024-11-08"),
                ("103", "Rugde 84", 170, "Kloa 11", 315, "2024-11-08"),
                ("104", "Rugde 84", 177, "Kloa 11", 315, "2024-11-09"),
                ("105", "Rugde 84", 177, "Kloa 11", 315, "2024-11-09"),
                ("106", "Rugde 84", 177, "Kloa 11", 325, "2024-11-09"),
                ("110", "Rype 78", 163, ANY, 295, "2026-10-30"),
            )
        },
        "107": "the heel is loose",
        "108": "sold",
        "109": (ANY, "Rype 78", 163, 78, None, None, None, None, None),
        "111": (ANY, "Jøkul 100 tele", 180, 100, None, "Tinde 75", 300, None, "2025-12-02"),
    },
    "sarnistok": {
        **{
            f"N0{n}": (ANY, "Kozica 76", length, 76, "no metal", "Zapora 10", sole, 80, None)
            for n, length, sole in ((1, 160, 295), (2, 160, 295), (3, 167, 305), (4, 167, 305))
        },
        "N05": (ANY, "Turnia Ti", 174, 80, "metal", "Zapora 12", 315, 90, None),
        "N06": "to be repaired",
        "N07": (ANY, "Turnia Ti", 167, 80, "metal", "Zapora 12", 315, 90, None),
        "N08": "sold",
        "N09": (ANY, "Kozica 76", 160, 76, "no metal", None, None, None, None),
    },
}
# tag: model, mondopoint, bsl_mm
WANT_BOOTS: dict[str, dict[str, Any]] = {
    "valdonosa": {
        "V1": ("Sarrio", 24.5, 285),
        "V2": ("Sarrio", 25.5, 295),
        "V3": ("Sarrio", 26.5, 305),
        "V4": ("Sarrio", 27.5, 315),
        "V5": ("Sarrio", 28.5, 325),
        "V6": ("Sarrio", ANY, 325),
        "V7": ("Rebeco", 26.5, 312),
        "V8": ("Rebeco", 27.5, 322),
        "V9": "broken, no sole",
    },
    "lesnice": {
        "b1": (None, 25.5, 295),
        "b2": (None, 26.5, 305),
        "b3": (None, 27.5, 315),
        "b4": (None, 28.5, 325),
        "b5": (None, ANY, 305),
        "b6": (None, 27.5, ANY),
        "b7": (None, 27.5, 315),
    },
    "braeloch": {
        "H1": ("Tarn", 25.5, 295),
        "H2": ("Tarn", 26.5, 305),
        "H3": ("Tarn", ANY, 315),
        "H4": "buckle gone",
        "H5": ("Tarn", ANY, 315),
        "H6": ("Tarn", 26.5, ANY),
    },
    "combenoire": {
        **{
            f"C{n}": ("Ourson Loc", mp, sole)
            for n, mp, sole in zip(
                (1, 2, 3, 4, 5, 6),
                (25.5, 25.5, 26.5, 26.5, 27.5, 28.5),
                (295, 295, 305, 305, 315, 325),
                strict=True,
            )
        },
        "C7": ("Ourson Loc", ANY, 305),
        "C8": ("Ourson Mini", 22.5, 265),
        "C9": ("Tétras Tour", 26.5, 305),
        "C10": ("Tétras Tour", 27.5, ANY),
    },
    "storfjell": {
        "S1": ("Bre Utleie", 25.5, 295),
        "S2": ("Bre Utleie", 26.5, 305),
        "S3": ("Bre Utleie", 26.5, 305),
        "S4": ("Bre Utleie", 27.5, 315),
        "S5": ("Bre Utleie", 28.5, 325),
        "S6": ("Bre Utleie", ANY, 325),
        "S7": ("Bre Utleie", 24.5, 285),
        "S8": ("Snø Tele", 27, ANY),
        "S9": ("Snø Tele", 28, None),
    },
    "sarnistok": {
        "B01": ("Giewka", 25.5, 295),
        "B02": ("Giewka", 26.5, 305),
        "B03": ("Giewka", 26.5, 305),
        "B04": ("Giewka", 27.5, 315),
        "B05": ("Giewka", 27.5, ANY),
        "B06": ("Giewka", ANY, 305),
        "B07": ("Giewka", 28.5, 325),
    },
}


def _cell(text: str) -> Any:
    text = text.strip()
    if not text:
        return None
    if not text.startswith("="):
        return text
    plain = text[1:]
    try:
        return datetime.combine(date.fromisoformat(plain), datetime.min.time())
    except ValueError:
        return float(plain) if "." in plain else int(plain)


MERGED = "<"


def _merged(cells: list[str]) -> Iterator[tuple[int, int]]:
    """The columns of each cell that is merged with those right of it, from 1."""
    begin = 1
    for number, cell in enumerate([*cells, ""], start=1):
        if cell != MERGED:
            if number - begin > 1:
                yield begin, number - 1
            begin = number


def write(shop: str, path: Path) -> Path:
    """The workbook of that shop at that path."""
    from openpyxl import Workbook

    book = Workbook()
    if book.active is not None:
        book.remove(book.active)
    sheet = None
    for line in (HERE / f"{shop}.txt").read_text(encoding="utf-8").splitlines():
        if line.startswith("## "):
            sheet = book.create_sheet(line.removeprefix("## "))
        elif sheet is not None:
            cells = line.split("|")
            sheet.append([None if cell.strip() == MERGED else _cell(cell) for cell in cells])
            at = {"start_row": sheet.max_row, "end_row": sheet.max_row}
            for begin, end in _merged([cell.strip() for cell in cells]):
                sheet.merge_cells(start_column=begin, end_column=end, **at)
    book.save(path)
    return path
