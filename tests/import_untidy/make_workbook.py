"""The workbook of an invented rental shop, as a manager of ten years' habits keeps it, and what is right in it.

``python -m tests.import_untidy.make_workbook FOLDER`` writes `talblick.xlsx` and, beside it, what a person
wants in the ledger (`want_*.csv`) and what must be asked (`want_asked.csv`). Both were written before the
importer had ever seen the workbook, and are kept as they were then. Everybody and everything is invented.
"""

from __future__ import annotations

import csv
import random
import sys
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any

from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.worksheet.worksheet import Worksheet

GREEN, RED, YELLOW, GREY, BLUE = (
    PatternFill("solid", fgColor=c) for c in ("FFC6E0B4", "FFFF7070", "FFFFF2A0", "FFD9D9D9", "FFBDD7EE")
)
BOLD, STRUCK = Font(bold=True), Font(strike=True)


@dataclass
class Pair:
    """What is true of a pair; None: nobody wrote it down. ``asked``: why it must be asked about."""

    tag: str
    model: str
    kind: str
    length_cm: int | None
    waist_mm: int | None
    construction: str | None
    binding_model: str | None
    brake_mm: str | None
    bsl_mm: float | None
    mount_date: str | None
    earlier_mounts: int | None
    mark_from_tail_mm: float | None
    rack: str | None = None
    where: str = ""
    asked: str = ""


@dataclass
class Boot:
    tag: str
    model: str
    mondopoint: float | None
    bsl_mm: float | None
    sole_type: str | None
    kind: str
    where: str = ""
    asked: str = ""


@dataclass
class Book:
    """The workbook while it is written, and the wants beside it."""

    book: Workbook = field(default_factory=Workbook)
    pairs: list[Pair] = field(default_factory=list)
    boots: list[Boot] = field(default_factory=list)
    holes: list[dict[str, Any]] = field(default_factory=list)
    stock: list[dict[str, Any]] = field(default_factory=list)
    wanted: list[dict[str, Any]] = field(default_factory=list)
    asked: list[tuple[str, str, str, str]] = field(default_factory=list)


def day(text: str, form: str) -> Any:
    """A day in one of the three forms of the house: a real date, 12.11.2023, or a month's name."""
    when = date.fromisoformat(text)
    if form == "date":
        return datetime(when.year, when.month, when.day)  # noqa: DTZ001 - a cell has no zone
    if form == "dots":
        return f"{when.day}.{when.month}.{when.year}"
    return f"{when.day}. {('Jän', 'Feb', 'März', 'Apr', 'Mai', 'Juni', 'Juli', 'Aug', 'Sept', 'Okt', 'Nov', 'Dez')[when.month - 1]} {when.year % 100:02}"


def title(ws: Worksheet, row: int, text: str, last: str) -> None:
    ws.merge_cells(f"A{row}:{last}{row}")
    ws[f"A{row}"] = text
    ws[f"A{row}"].font = Font(bold=True, size=14)
    ws[f"A{row}"].alignment = Alignment(horizontal="center")


def header(ws: Worksheet, row: int, column: int, texts: list[str]) -> None:
    for at, text in enumerate(texts):
        cell = ws.cell(row, column + at, text)
        cell.font, cell.fill = BOLD, GREY


def alpine(book: Book, draw: random.Random) -> None:
    """50 pairs in four blocks by model; two merged rows above; the stock of bindings beside them."""
    ws = book.book.active
    ws.title = "Schi Alpin"
    title(ws, 1, "SCHIVERLEIH TALBLICK – Schibestand Alpin, Saison 2025/26", "N")
    ws["A2"], ws["B2"] = "Legende:", "grün = ok"
    ws["C2"], ws["D2"], ws["E2"] = "rot = verkauft", "gelb = Werkstatt", "durchgestrichen = weg"
    ws["B2"].fill, ws["C2"].fill, ws["D2"].fill = GREEN, RED, YELLOW
    ws.merge_cells("A4:E4")
    ws["A4"] = "SCHI"
    ws.merge_cells("F4:J4")
    ws["F4"] = "BINDUNG / MONTAGE"
    header(
        ws,
        5,
        1,
        [
            "Nr.",
            "Schi",
            "Länge cm",
            "Mitte (mm)",
            "Aufbau",
            "Bindung",
            "Stopper",
            "gebohrt für Sohle",
            "montiert am",
            "früher montiert",
            "Marke v. Ende (cm)",
            "EK netto",
            "Regal",
            "Bemerkung",
        ],
    )
    ws.column_dimensions["L"].hidden = True
    blocks = [
        (
            "Dohle 74 (Damen)",
            "Dohle 74",
            74,
            "no metal",
            "Holz, kein Metall",
            "Riegel R",
            (80, 85),
            (146, 153, 160),
            14,
        ),
        ("Dohle 82", "Dohle 82", 82, None, "Holz", "Riegel R", (90,), (160, 167, 174), 16),
        (
            "Kranich 90 M - mit Metall!",
            "Kranich 90 M",
            90,
            "metal",
            "2x Metall",
            "Riegel 11",
            (95, 100),
            (170, 177, 184),
            12,
        ),
        ("Spatz leicht", "Spatz 70", 70, "thin core", "dünner Kern", "Riegel R", (80,), (146, 153), 8),
    ]
    row, number = 6, 0
    for name, model, waist, core, core_said, binding, brakes, lengths, count in blocks:
        ws.merge_cells(f"A{row}:N{row}")
        ws.cell(row, 1, name).font = BOLD
        row += 1
        for at in range(count):
            number += 1
            length, brake, sole = (
                draw.choice(lengths),
                draw.choice(brakes),
                draw.choice((275, 285, 295, 305, 315, 325)),
            )
            year = draw.choice((2021, 2022, 2023, 2024))
            mounted = f"{year}-{draw.choice((10, 11)):02}-{draw.randint(1, 28):02}"
            earlier = draw.choice((0, 1, 1, 2, None))
            from_tail = round(length * 4.25 + draw.choice((0, 5, -5)), 0)
            pair = Pair(
                str(number),
                model,
                "alpine",
                length,
                waist,
                core,
                binding,
                str(brake),
                float(sole),
                mounted,
                earlier,
                from_tail,
                f"A{(number - 1) // 10 + 1}",
                f"Schi Alpin:{row}",
            )
            cells: list[Any] = [
                number,
                model if at == 0 else '"' if at % 3 else model,
                length,
                waist,
                core_said,
                binding,
                f"{brake}er",
                sole,
                day(mounted, ("date", "dots", "month")[number % 3]),
                earlier,
                from_tail / 10,
                draw.choice((189, 249.9, 310)),
                f"Regal {(number - 1) // 10 + 1}",
                None,
            ]
            pair.rack = cells[12]
            if number == 7:
                cells[13] = "heel loose!!"
                pair.asked = "a loose heel is a reason to stop the pair"
            if number == 14:
                cells[7] = "verkauft 12.3."
                pair.asked, pair.bsl_mm = "sold, says the cell of the sole", None
            if number == 16:
                cells[7] = "305/315"
                pair.asked, pair.bsl_mm = "two soles in one cell", None
            if number == 21:
                cells[13] = "Schraube hinten links dreht durch"
                pair.asked = "a screw spins"
            if number == 23:
                cells[2] = 1.67
                pair.length_cm = 167  # one value in metres, two decimals: no other reading
                pair.asked = "a length in metres among centimetres"
            if number == 25:
                cells[7] = 26.5
                pair.asked, pair.bsl_mm = "a shell size among sole lengths", None
            if number == 28:
                cells[3], pair.waist_mm = "?", None
            if number == 33:
                cells[5], pair.binding_model = "Riegel 11 (neu!)", None
                pair.asked = "a binding model with a remark in it"
            if number == 36:
                cells[8], pair.mount_date = "Herbst 22", None
            if number == 44:
                cells[6], pair.brake_mm = "ohne", "none"
            if number == 47:
                cells[6], pair.brake_mm = "", None
            if number == 48:
                cells[9], pair.earlier_mounts = "oft", None
            for c, value in enumerate(cells, 1):
                ws.cell(row, c, value).fill = GREEN
            if number == 9:
                ws.cell(row, 2).comment = Comment("Kante hinten ausgebrochen, nur noch f. Kurse", "Gerlinde")
                pair.asked = "a broken edge, says a comment"
            if number in (11, 37):
                for c in range(1, 15):
                    ws.cell(row, c).fill = RED
                pair.asked = "red means sold"
            if number in (18, 40):
                for c in range(1, 15):
                    ws.cell(row, c).fill = YELLOW
                pair.asked = "yellow means in the workshop"
            if number == 30:
                for c in range(1, 15):
                    ws.cell(row, c).font = STRUCK
                pair.asked = "struck out means gone"
            if number == 50:  # a slip: it wears the number of another pair
                ws.cell(row, 1, 49)
                pair.asked = "49 stands twice"
                pair.tag = "49"
            if number == 49:
                pair.asked = "49 stands twice"
            book.pairs.append(pair)
            row += 1
        row += 1
    ws.cell(row, 1, "Summe").font = BOLD
    ws.cell(row, 2, "50 Paar")
    ws.cell(row, 12, "=SUM(L7:L61)")
    header(ws, 5, 17, ["Bindung auf Lager", "Stk.", "Stopper", "Saison"])
    for at, (model, count, brake, season) in enumerate(
        (
            ("Riegel R", 6, 85, "24/25"),
            ("Riegel R", 4, 95, "24/25"),
            ("Riegel 11", 5, 100, "25/26"),
            ("Riegel Jr", 3, 75, "25/26"),
            ("Leichtsteg 10", 2, 95, "25/26"),
        )
    ):
        for c, value in enumerate((model, count, brake, season)):
            ws.cell(6 + at, 17 + c, value)
        book.stock.append(
            {
                "where": f"Schi Alpin:{6 + at}",
                "model": model,
                "quantity": count,
                "brake_mm": brake,
                "season": season,
            }
        )
    ws.cell(11, 17, "gesamt")
    ws.cell(11, 18, 20)


def touring(book: Book, draw: random.Random) -> None:
    """English, for the seasonal staff: touring left, telemark right, both with their own numbering."""
    ws = book.book.create_sheet("Touring+Tele")
    title(ws, 1, "TOURING", "I")
    ws.merge_cells("L1:S1")
    ws["L1"] = "TELEMARK"
    ws["A2"] = "all lengths in cm, soles as written on the shell"
    header(ws, 3, 1, ["Tag", "Ski", "Length", "Waist", "Core", "Binding", "Brake", "Drilled for", "Mounted"])
    header(ws, 3, 12, ["Tag", "Ski", "Length", "Waist", "Core", "Binding", "BSL", "Mounted"])
    for at in range(12):
        row, tag = 4 + at, f"T-{at + 1:02}"
        length, sole = draw.choice((164, 171, 178)), draw.choice((276, 287, 297, 307, 317))
        mounted = f"{draw.choice((2022, 2023, 2024))}-12-{draw.randint(1, 28):02}"
        pair = Pair(
            tag,
            "Gratweg 88",
            "touring",
            length,
            88,
            None,
            "Leichtsteg 10",
            "95",
            float(sole),
            mounted,
            None,
            None,
            None,
            f"Touring+Tele:{row}",
        )
        cells: list[Any] = [
            tag,
            "Gratweg 88",
            length,
            88,
            "paulownia",
            "Leichtsteg 10",
            95,
            sole,
            day(mounted, ("date", "dots")[at % 2]),
        ]
        if at == 3:
            cells[7], pair.bsl_mm, pair.asked = "26.5 / 307", 307.0, "shell and sole in one cell"
        if at == 6:
            cells[5], cells[6], cells[7], cells[8] = "flat", None, None, None
            pair.binding_model, pair.brake_mm, pair.bsl_mm, pair.mount_date = None, None, None, None
        if at == 8:
            cells[7], pair.bsl_mm = "drilled for 305", 305.0
        if at == 10:
            cells[4] = "lost??"
            pair.asked = "lost, says a cell"
        for c, value in enumerate(cells, 1):
            ws.cell(row, c, value)
        book.pairs.append(pair)
    for at in range(6):
        row, tag = 4 + at, f"TM{at + 1}"
        length, sole = draw.choice((170, 178)), draw.choice((285, 300, 315))
        mounted = f"{draw.choice((2021, 2022))}-01-{draw.randint(1, 28):02}"
        book.pairs.append(
            Pair(
                tag,
                "Bogen 94",
                "telemark",
                length,
                94,
                "no metal",
                "Federzug 75",
                None,
                float(sole),
                mounted,
                None,
                None,
                None,
                f"Touring+Tele:{row}",
            )
        )
        for c, value in enumerate(
            (tag, "Bogen 94", length, 94, "wood, no metal", "Federzug 75", sole, day(mounted, "date"))
        ):
            ws.cell(row, 12 + c, value)
    ws.cell(17, 1, "Total 12")
    ws.cell(11, 12, "Total 6")


def children(book: Book, draw: random.Random) -> None:
    """12 pairs, few columns; beside them what the shop wants to have ready."""
    ws = book.book.create_sheet("Kinder")
    ws["A1"] = "Kinderschi (Bindung überall Riegel Jr, Stopper 75)"
    header(ws, 3, 1, ["Nr", "Schi", "Länge", "Schuhsohle mm", "Anm."])
    for at in range(12):
        row, tag = 4 + at, f"K{at + 1}"
        length, sole = draw.choice((100, 110, 120, 130)), draw.choice((225, 235, 245, 255, 265))
        pair = Pair(
            tag,
            "Zeisig",
            "junior",
            length,
            None,
            None,
            None,
            None,
            float(sole),
            None,
            None,
            None,
            None,
            f"Kinder:{row}",
        )
        note = {2: "hinten neu", 5: "ausgemustert", 9: "Spitze geklebt"}.get(at)
        if note in ("ausgemustert", "Spitze geklebt"):
            pair.asked = "retired, says the remark" if note == "ausgemustert" else "a glued tip"
        for c, value in enumerate((tag, "Zeisig", length, sole, note), 1):
            ws.cell(row, c, value)
        book.pairs.append(pair)
    ws["H1"] = "BEDARF ab 1. Dezember"
    header(ws, 3, 8, ["was", "Art", "Schilänge von", "bis", "Schale von", "bis", "Stück", "Prio"])
    for at, (wish, said, kind, low, high, small, big, many, priority) in enumerate(
        (
            ("B1", "Alpin", "alpine", 146, 160, 22.5, 26.5, 10, 1),
            ("B2", "Alpin", "alpine", 160, 184, 25.5, 30.5, 14, 1),
            ("B3", "Touren", "touring", 164, 178, 24.5, 29.5, 6, 2),
            ("B4", "Kinder", "junior", 100, 130, 17.5, 22.5, 6, 2),
        )
    ):
        for c, value in enumerate((wish, said, low, high, small, big, many, priority)):
            ws.cell(4 + at, 8 + c, value)
        book.wanted.append(
            {
                "where": f"Kinder:{4 + at}",
                "wish": wish,
                "kind": kind,
                "length_min_cm": low,
                "length_max_cm": high,
                "mondopoint_min": small,
                "mondopoint_max": big,
                "quantity": many,
                "priority": priority,
            }
        )


def boots(book: Book, draw: random.Random) -> None:
    """60 boots in German by model, 30 in English, each sole as on its shell."""
    ws = book.book.create_sheet("Schuhe")
    title(ws, 1, "SCHUHE VERLEIH", "F")
    header(ws, 2, 1, ["Schuhnr.", "Schuh", "Schale", "Sohle", "Norm", "Zustand"])
    soles = {
        22.5: 265,
        23.5: 275,
        24.5: 285,
        25.5: 295,
        26.5: 305,
        27.5: 315,
        28.5: 325,
        29.5: 335,
        17.5: 215,
        18.5: 225,
        19.5: 235,
        20.5: 245,
        21.5: 255,
    }
    row = 3
    for name, norm, kind, sizes, count in (
        ("Strauss 80", "ISO 5355 A", "alpine", (22.5, 23.5, 24.5, 25.5), 20),
        ("Strauss 110", "ISO 5355 A", "alpine", (25.5, 26.5, 27.5, 28.5, 29.5), 25),
        ("Wiesel", "ISO 5355 C", "junior", (17.5, 18.5, 19.5, 20.5, 21.5), 15),
    ):
        for at in range(count):
            number = 101 + len(book.boots)
            size = draw.choice(sizes)
            sole = soles[size]
            boot = Boot(f"S{number}", name, size, float(sole), norm, kind, f"Schuhe:{row}")
            cells: list[Any] = [
                f"S{number}",
                name if at == 0 else "dto.",
                size,
                f"{sole} mm" if at % 4 == 0 else sole,
                norm,
                ("gut", "gut", "neu", "abgenutzt")[at % 4],
            ]
            if number == 108:
                cells[3], boot.bsl_mm, boot.asked = 26.5, None, "a shell size among soles"
            if number == 117:
                cells[3], boot.bsl_mm, boot.asked = "285/295", None, "left and right differ"
            if number == 126:
                cells[2], cells[3] = size, f"{size}/{sole}"
                boot.asked = "shell and sole in one cell"
            if number == 131:
                cells[5] = "verloren"
                boot.asked = "lost, says the state"
            if number == 140:
                cells[3], boot.bsl_mm = "TBD", None
            if number == 149:
                cells[3], boot.bsl_mm = None, None
            if number == 155:
                cells[2], boot.mondopoint, boot.asked = 33, None, "an EU size among shells"
            for c, value in enumerate(cells, 1):
                ws.cell(row, c, value)
            if number == 160:
                for c in range(1, 7):
                    ws.cell(row, c).font = STRUCK
                boot.asked = "struck out"
            book.boots.append(boot)
            row += 1
        row += 1
    ws.cell(row, 1, "Summe")
    ws.cell(row, 2, 60)
    ws = book.book.create_sheet("Boots touring")
    ws["A1"] = "Touring & tele boots"
    header(ws, 3, 1, ["Boot #", "Model", "Size", "BSL", "Sole", "Remarks"])
    for at in range(30):
        row, tele = 4 + at, at >= 24
        size = draw.choice((24.5, 25.5, 26.5, 27.5, 28.5, 29.5))
        sole = soles[size] + 2
        boot = Boot(
            f"TB{at + 1:02}",
            "Luchs 75" if tele else "Marder T",
            size,
            None if tele else float(sole),
            "75 mm" if tele else "ISO 9523",
            "telemark" if tele else "touring",
            f"Boots touring:{row}",
        )
        cells = [boot.tag, boot.model, size, sole, boot.sole_type, None]
        if tele:  # whether a duckbill's number is as measured or already less 10 mm, only the shop knows
            boot.asked = "is the 75 mm sole as measured, or already as counted"
        if at == 5:
            cells[5] = "repair - buckle"
            boot.asked = "in repair, says the remark"
        if at == 11:
            cells[2] = None
            boot.mondopoint = None
        for c, value in enumerate(cells, 1):
            ws.cell(row, c, value)
        book.boots.append(boot)


def holes(book: Book, draw: random.Random) -> None:
    """Measured by the apprentice: first block in mm, second in cm; two forms of the same tags."""
    ws = book.book.create_sheet("Bohrbild")
    title(ws, 1, "Bohrbilder (alle Maße von der Montagemarke, + = Richtung Spitze, rechts = +)", "H")
    header(ws, 3, 1, ["Schi", "A/B", "längs mm", "quer mm", "Ø", "tief", "Zustand", "wie bekannt"])
    row = 4
    track = ((-12.5, "toe"), (-58.0, "toe"), (30.0, "heel"), (94.0, "heel"))
    by_tag = {pair.tag: pair for pair in book.pairs}
    for number, centimetres in (
        (1, False),
        (2, False),
        (3, False),
        (4, False),
        (15, False),
        (17, False),
        (5, True),
        (6, True),
        (19, True),
    ):
        if number == 5:
            row += 1
            ws.cell(row, 1, "ab hier in cm (Lukas)").font = BOLD
            row += 1
            header(ws, row, 1, ["Schi", "A/B", "längs cm", "quer cm", "Ø", "tief", "Zustand", "wie bekannt"])
            row += 1
        sole = by_tag[str(number)].bsl_mm or 305.0
        for ski in "AB":
            for x, piece in track:
                for y in (14.0, -14.0):
                    place = (sole / 2 if piece == "toe" else -sole / 2) + x
                    said: list[Any] = [
                        f"{number:03}" if number != 17 else number,
                        ski,
                        place,
                        y,
                        3.6,
                        9,
                        "Schraube",
                        "blank gemessen",
                    ]
                    if centimetres:
                        said[2], said[3] = place / 10, y / 10
                    want = {
                        "where": f"Bohrbild:{row}",
                        "pair_tag": str(number),
                        "ski": ski,
                        "x_mm": place,
                        "y_mm": y,
                        "diameter_mm": 3.6,
                        "depth_mm": 9,
                        "state": "screwed",
                        "knowledge": "measured bare",
                        "asked": "",
                    }
                    if number == 3 and ski == "B" and x == 94.0 and y > 0:
                        said[2], want["x_mm"], want["asked"] = f"{place:.1f}?", None, "a doubtful place"
                    if number == 4 and ski == "A" and x == -58.0 and y < 0:
                        said[6], want["state"] = "zu (Leim)", "plugged"
                        want["asked"] = "a word for plugged"
                    for c, value in enumerate(said, 1):
                        ws.cell(row, c, value)
                    book.holes.append(want)
                    row += 1


def others(book: Book, draw: random.Random) -> None:
    """Customers, of whom nothing may be taken, and a stocktake that nobody finished."""
    ws = book.book.create_sheet("Kunden")
    header(ws, 1, 1, ["Nr.", "Name", "Telefon", "Größe cm", "Gewicht", "Schuhgröße", "Schi", "von", "bis"])
    for at, name in enumerate(
        (
            "Pirmin Oberlacher",
            "Ludmila Quastel",
            "Wenzel Thorrath",
            "Ysolde Brambeck",
            "Fitz Harrowdale",
            "Nele Strickendorn",
        )
    ):
        for c, value in enumerate(
            (
                at + 1,
                name,
                f"0650 55 {at}12 {at}",
                160 + 5 * at,
                60 + 4 * at,
                38 + at,
                at + 3,
                day(f"2025-01-0{at + 1}", "dots"),
                day(f"2025-01-0{at + 4}", "dots"),
            ),
            1,
        ):
            ws.cell(2 + at, c, value)
    ws = book.book.create_sheet("Inventur Okt")
    ws["A1"] = "Inventur 18.10. (nicht fertig!)"
    header(ws, 2, 1, ["Nr", "da?", "wo", "gezählt von"])
    for at in range(22):
        for c, value in enumerate(
            (
                f"{at + 1:03}" if at % 2 else at + 1,
                ("x", "x", "x", "", "fehlt")[at % 5],
                f"Regal {at // 10 + 1}",
                "Gerlinde" if at < 12 else None,
            ),
            1,
        ):
            ws.cell(3 + at, c, value)
    ws["A26"] = "Rest nächste Woche"


ASKED = (
    (
        "Schi Alpin",
        "column",
        "kind",
        "the sheet's name says alpine, no column does: one answer for the sheet",
    ),
    ("Schi Alpin", "word", "Holz", "does it hold metal: one answer for 16 rows"),
    (
        "Schi Alpin",
        "column",
        "gebohrt für Sohle",
        "a present mount for that sole (or an earlier one): one answer",
    ),
    ("Schi Alpin", "colour", "rot", "sold: one answer for 2 rows"),
    ("Schi Alpin", "colour", "gelb", "in the workshop: one answer for 2 rows"),
    (
        "Touring+Tele",
        "column",
        "kind",
        "touring left, telemark right: from the titles, or one answer a table",
    ),
    ("Touring+Tele", "word", "paulownia", "does it hold metal: one answer for 12 rows"),
    ("Kinder", "column", "kind", "one answer for the sheet"),
    ("Boots touring", "word", "75 mm", "as measured, or already as counted: one answer for 6 rows"),
    ("Bohrbild", "tag", "001", "001 is pair 1: one answer for all"),
    ("Kunden", "table", "", "holds none of the shop's things, or: nothing is taken and that is said"),
    ("Inventur Okt", "table", "", "not equipment: nothing is taken and that is said"),
)


def made() -> Book:
    """The book and its wants, the same each time."""
    book, draw = Book(), random.Random(1907)
    for part in (alpine, touring, children, boots, holes, others):
        part(book, draw)
    book.asked.extend(ASKED)
    for thing in (*book.pairs, *book.boots):
        if thing.asked:
            book.asked.append((*thing.where.split(":"), thing.tag, thing.asked))
    for hole in book.holes:
        if hole["asked"]:
            book.asked.append((*hole["where"].split(":"), hole["pair_tag"], hole["asked"]))
    return book


def write(folder: Path) -> None:
    """Write the workbook and the wants beside it."""
    book = made()
    book.book.save(folder / "talblick.xlsx")
    rows = {
        "want_pairs.csv": [vars(pair) for pair in book.pairs],
        "want_boots.csv": [vars(boot) for boot in book.boots],
        "want_holes.csv": book.holes,
        "want_stock.csv": book.stock,
        "want_wanted.csv": book.wanted,
        "want_asked.csv": [dict(zip(("sheet", "at", "what", "why"), row, strict=True)) for row in book.asked],
    }
    for name, table in rows.items():
        with (folder / name).open("w", newline="", encoding="utf-8") as file:
            out = csv.DictWriter(file, list(table[0]), lineterminator="\n")
            out.writeheader()
            out.writerows(table)


if __name__ == "__main__":
    write(Path(sys.argv[1]))
