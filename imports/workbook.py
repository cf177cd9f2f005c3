"""A workbook as sheets of cells: which parts there are, what styles mean, and then each sheet part.

Workbooks of other kinds (.xls, .ods, .xlsb) are read by a process of its own.
"""

import io
import os
import posixpath
import subprocess
import sys
import zipfile
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any, Final
from xml.etree.ElementTree import Element, ParseError
from xml.parsers import expat

import msgspec

from imports.cells import Area, Cell, Content, Sheet
from imports.gate import MAX_CELLS, MAX_CHILD_SECONDS, SAVE_AS_XLSX, Admitted, GateRefusal
from imports.sheet_parts import Lookups, exact_number, number_text, read_shared_texts, read_sheet_part

_DAMAGED: Final = "open it in your spreadsheet program and save it anew as .xlsx"


def read_workbook(file: Admitted) -> list[Sheet]:
    """All sheets in order, hidden ones included and marked. Raises GateRefusal for a broken workbook."""
    try:
        with zipfile.ZipFile(io.BytesIO(file.data)) as archive:
            return _read(file.name, archive)
    except (
        LookupError,
        ValueError,
        ArithmeticError,
        ParseError,
        expat.ExpatError,
        zipfile.BadZipFile,
    ) as fault:
        raise GateRefusal("damaged", f"{file.name} is not a whole workbook ({fault})", _DAMAGED) from fault


def _read(name: str, archive: zipfile.ZipFile) -> list[Sheet]:
    names = {n.lower(): n for n in archive.namelist()}
    book_part = _book_part(name, archive, names)
    book = _xml(archive, book_part)
    targets = _targets(archive, book_part, names)
    lookups = _lookups(archive, book, targets)
    budget = [MAX_CELLS]
    sheets = []
    for element in book.iter():
        if _local(element.tag) != "sheet":
            continue
        relation = next((v for k, v in element.attrib.items() if _local(k) == "id" and k != "sheetId"), "")
        kind, part = targets.get(relation, ("", ""))
        if not kind.endswith("/worksheet") or part not in archive.NameToInfo:
            continue
        sheet = read_sheet_part(archive, part, name=element.get("name", "?"), lookups=lookups, budget=budget)
        sheet.hidden = element.get("state") in ("hidden", "veryHidden")
        sheet.file = name
        sheet.comments = _comments(archive, part, names)
        sheets.append(sheet)
    if not sheets:
        raise GateRefusal("no_sheets", f"{name} holds no sheet that can be read", _DAMAGED)
    return sheets


def _local(tag: str) -> str:
    return tag.rpartition("}")[2]


def _xml(archive: zipfile.ZipFile, part: str) -> Element:
    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        root: Element = fromstring(archive.read(part), forbid_dtd=True)
    except DefusedXmlException as fault:
        raise GateRefusal("doctype", f"{part} declares a document type or entity", _DAMAGED) from fault
    return root


def _book_part(name: str, archive: zipfile.ZipFile, names: dict[str, str]) -> str:
    if "_rels/.rels" in names:
        for relation in _xml(archive, names["_rels/.rels"]):
            if relation.get("Type", "").endswith("/officeDocument"):
                found = names.get(relation.get("Target", "").lstrip("/").lower())
                if found:
                    return found
    if "xl/workbook.xml" in names:
        return names["xl/workbook.xml"]
    raise GateRefusal("not_a_workbook", f"{name} holds no workbook", _DAMAGED)


def _targets(archive: zipfile.ZipFile, book_part: str, names: dict[str, str]) -> dict[str, tuple[str, str]]:
    """Relation id -> (type, part), with the path made whole."""
    folder, base = posixpath.split(book_part)
    relations = names.get(posixpath.join(folder, "_rels", f"{base}.rels").lower())
    if relations is None:
        return {}
    found = {}
    for relation in _xml(archive, relations):
        if relation.get("TargetMode") == "External":
            continue
        target = relation.get("Target", "")
        whole = target.lstrip("/") if target.startswith("/") else posixpath.normpath(f"{folder}/{target}")
        found[relation.get("Id", "")] = (relation.get("Type", ""), names.get(whole.lower(), whole))
    return found


def _comments(archive: zipfile.ZipFile, sheet_part: str, names: dict[str, str]) -> dict[int, str]:
    """Return what the comments on a sheet's cells say, by row number."""
    found: dict[int, list[str]] = {}
    for kind, part in _targets(archive, sheet_part, names).values():
        if not kind.endswith("/comments") or part not in archive.NameToInfo:
            continue
        for comment in _xml(archive, part).iter():
            row = comment.get("ref", "").lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ$")
            if _local(comment.tag) == "comment" and row.isdecimal():
                runs = (run.text or "" for run in comment.iter() if _local(run.tag) == "t")
                found.setdefault(int(row), []).append(" ".join("".join(runs).split()))
    return {row: "; ".join(said) for row, said in found.items()}


def _lookups(archive: zipfile.ZipFile, book: Element, targets: dict[str, tuple[str, str]]) -> Lookups:
    texts: list[str] = []
    formats: list[str] = ["General"]
    struck: frozenset[int] = frozenset()
    struck_texts: frozenset[str] = frozenset()
    fills: dict[int, str] = {}
    for kind, part in targets.values():
        if part not in archive.NameToInfo:
            continue
        if kind.endswith("/sharedStrings"):
            texts, struck_texts = read_shared_texts(archive, part)
        elif kind.endswith("/styles"):
            styles = {_local(element.tag): list(element) for element in _xml(archive, part)}
            formats, struck, fills = _formats(styles), _struck(styles), _fills(styles)
    properties = next((e for e in book.iter() if _local(e.tag) == "workbookPr"), None)
    stated = properties.get("date1904", "0") if properties is not None else "0"
    from openpyxl.styles.numbers import is_date_format

    dates = {code: bool(is_date_format(code)) for code in set(formats)}
    return Lookups(
        texts=texts,
        formats=formats,
        date_formats=[dates[code] for code in formats],
        from_1904=stated in ("1", "true"),
        struck=struck,
        fills=fills,
        struck_texts=struck_texts,
    )


_Styles = Mapping[str, Sequence[Element]]
"""The parts of a workbook's styles, such as its fonts, by name."""


def _struck(styles: _Styles) -> frozenset[int]:
    """The cell styles whose font is struck through."""
    fonts = {
        str(number)
        for number, font in enumerate(styles.get("fonts", ()))
        if any(_local(e.tag) == "strike" and e.get("val", "1") in ("1", "true") for e in font)
    }
    return frozenset(n for n, style in enumerate(styles.get("cellXfs", ())) if style.get("fontId") in fonts)


def _fills(styles: _Styles) -> dict[int, str]:
    """The plain colours behind cells, by cell style; white is none."""
    colours = {}
    for number, fill in enumerate(styles.get("fills", ())):
        said = [e.get("rgb", "") for e in fill.iter() if _local(e.tag) == "fgColor"]
        if said and len(said[0]) == 8 and said[0][2:].upper() != "FFFFFF":
            colours[str(number)] = said[0][2:].upper()
    return {
        n: colours[style.get("fillId", "")]
        for n, style in enumerate(styles.get("cellXfs", ()))
        if style.get("fillId", "") in colours
    }


def _formats(styles: _Styles) -> list[str]:
    """The number format of every cell style, by its number."""
    from openpyxl.styles.numbers import BUILTIN_FORMATS

    own = {int(e.get("numFmtId", 0)): e.get("formatCode", "General") for e in styles.get("numFmts", ())}
    codes: dict[int, str] = BUILTIN_FORMATS | own
    formats = [codes.get(int(style.get("numFmtId", 0)), "General") for style in styles.get("cellXfs", ())]
    return formats or ["General"]


FORMAT_NOT_KNOWN: Final = "not known"
"""The style of a number whose format this kind of file does not tell: a tag may have lost its zeros."""
NOT_SEEN: Final = (
    "parts_not_seen",
    "read as an older or other kind of workbook: hidden and struck rows, colours, comments and the format of"
    " numbers are not seen; save it as .xlsx if they say anything",
)
_WHY: Final = {
    "too_large": (
        "too_large",
        "needs more memory than the limit",
        "save the inventory sheets alone as .xlsx",
    ),
    "too_many_cells": ("too_many_cells", "holds more cells than the limit", "split it"),
    "password": ("password", "is protected by a password", "save a copy without the password"),
}


def read_other_book(file: Admitted) -> list[Sheet]:
    """All sheets in order. Raises GateRefusal where the file cannot be read within the limits."""
    answer = _answer(file)
    if "refused" in answer:
        code, words, cure = _WHY.get(
            answer["refused"], ("damaged", f"is not a whole workbook ({answer.get('why', '')})", SAVE_AS_XLSX)
        )
        raise GateRefusal(code, f"{file.name} {words}", cure)
    sheets = [_sheet(file.name, said) for said in answer["sheets"]]
    if not sheets:
        raise GateRefusal("no_sheets", f"{file.name} holds no sheet that can be read", SAVE_AS_XLSX)
    return sheets


def _answer(file: Admitted) -> dict[str, Any]:
    home = str(Path(__file__).resolve().parent.parent)
    try:
        done = subprocess.run(
            [sys.executable, "-m", "imports.book_child"],
            input=file.data,
            capture_output=True,
            check=False,
            timeout=MAX_CHILD_SECONDS * 2,
            env={**os.environ, "PYTHONPATH": home},
        )
        found: dict[str, Any] = msgspec.json.decode(done.stdout)
    except subprocess.TimeoutExpired:
        return {"refused": "too_large"}
    except msgspec.DecodeError:
        return {"refused": "damaged", "why": "its reader ended without an answer"}
    return found


def _sheet(file: str, said: dict[str, Any]) -> Sheet:
    sheet = Sheet(name=said["name"], file=file, hidden=said["hidden"])
    sheet.merged = [Area(*area) for area in said["merged"]]
    known: dict[tuple[str, str], Cell | None] = {}
    for row, column, kind, text in said["cells"]:
        if (kind, text) not in known:
            known[kind, text] = _cell(kind, text)
        cell = known[kind, text]
        if cell is not None:
            sheet.rows.setdefault(row, {})[column] = cell
    return sheet


def _cell(kind: str, text: str) -> Cell | None:
    if kind == "number":
        number: Decimal | None = exact_number(text)
        if number is None:
            return Cell(text, Content.ERROR)
        return Cell(number_text(number), Content.NUMBER, number, FORMAT_NOT_KNOWN)
    if kind == "date":
        moment: date = datetime.fromisoformat(text) if "T" in text else date.fromisoformat(text)
        return Cell(text, Content.DATE, moment)
    if kind == "truth":
        return Cell(text, Content.TRUTH, text == "TRUE")
    return Cell(text) if text.strip() else None
