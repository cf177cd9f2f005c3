"""Three untidy workbooks of three shops, made before a look at the importer, and what a person wants of each.

Everybody and everything is invented. A sheet is a text of cells between bars under ``##`` and its name:
``=82`` is a real number, everything else text as typed. The wanted values were written down with the sheets.
"""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Any

SHOPS = ("valdonosa", "lesnice", "braeloch")

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
        "E-05": ("alpine", "Boreal Ti", 177, 86, "metal", "Pinza 12", 325, 95, "2024-11-16"),
        "E-06": ("alpine", "Boreal Ti", 177, 86, "metal", "Pinza 12", None, 95, "2024-11-16"),
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
}
# pair: how many holes a person wants in the end, both skis together; no other pair has any.
WANT_HOLES = {"valdonosa": {"E-05": 8}, "lesnice": {"S1": 4, "S3": 2}, "braeloch": {}}


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
            sheet.append([_cell(cell) for cell in line.split("|")])
    book.save(path)
    return path
