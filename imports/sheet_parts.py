"""The parts of a workbook as they really are: streamed, by local names, so that Strict files read alike.

A general reader drops what an inventory must know: hidden rows, whether a formula has a stored result,
how a tag was shown, and where the filled cells end when the stated size lies. So the parts are read here,
cell by cell, and valueless styled cells cost nothing but the time to pass them.
"""

import re
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal, InvalidOperation
from functools import cache
from typing import Any, Final
from xml.parsers import expat

from imports.cells import Area, Cell, Content, Sheet
from imports.gate import MAX_CELLS, MAX_ROWS, GateRefusal

_BLOCK: Final = 1 << 18
_ESCAPED: Final = re.compile(r"_x([0-9A-Fa-f]{4})_")


@dataclass(frozen=True, slots=True, kw_only=True)
class Lookups:
    """Tables that cells point into: shared texts, number formats by style number, the date system,
    struck styles, colours behind cells by style, and the numbers of shared texts with a struck part.
    """

    texts: list[str]
    formats: list[str]
    date_formats: list[bool]
    from_1904: bool
    struck: frozenset[int] = frozenset()
    fills: Mapping[int, str] = field(default_factory=dict)
    struck_texts: frozenset[str] = frozenset()


def _refuse_dtd(*_: object) -> None:
    raise GateRefusal("doctype", "a part declares a document type", "save the sheets anew as .xlsx")


def _local(name: str) -> str:
    return name.rpartition(":")[2]


def _parser() -> expat.XMLParserType:
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartDoctypeDeclHandler = _refuse_dtd
    parser.EntityDeclHandler = _refuse_dtd
    return parser


def _run(parser: expat.XMLParserType, archive: zipfile.ZipFile, part: str) -> None:
    with archive.open(part) as stream:
        while block := stream.read(_BLOCK):
            parser.Parse(block, False)
        parser.Parse(b"", True)


def unescaped(text: str) -> str:
    """``_x000D_`` style escapes of the format, undone."""
    if "_x" not in text:
        return text
    return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), text)


def read_shared_texts(archive: zipfile.ZipFile, part: str) -> tuple[list[str], frozenset[str]]:
    """The shared strings in order, and the numbers of those with a struck part, as cells write them.

    Phonetic guides are not part of a text.
    """
    texts: list[str] = []
    struck: set[str] = set()
    runs: list[str] = []
    state = {"in_t": False, "phonetic": False}

    def start(name: str, attributes: dict[str, str]) -> None:
        local = _local(name)
        if local == "strike" and attributes.get("val", "1") in ("1", "true"):
            struck.add(str(len(texts)))
        elif local == "si":
            runs.clear()
        elif local == "t":
            state["in_t"] = not state["phonetic"]
        elif local == "rPh":
            state["phonetic"] = True

    def end(name: str) -> None:
        local = _local(name)
        if local == "si":
            texts.append(unescaped("".join(runs)))
        elif local == "t":
            state["in_t"] = False
        elif local == "rPh":
            state["phonetic"] = False

    def data(text: str) -> None:
        if state["in_t"]:
            runs.append(text)

    parser = _parser()
    parser.StartElementHandler, parser.EndElementHandler, parser.CharacterDataHandler = start, end, data
    _run(parser, archive, part)
    return texts, frozenset(struck)


class _SheetReader:
    """Collects the filled cells of one sheet part in its sheet."""

    def __init__(self, sheet: Sheet, lookups: Lookups, budget: list[int]) -> None:
        self._sheet = sheet
        self._lookups = lookups
        self._budget = budget
        self._row = 0
        self._column = 0
        self._cells: dict[int, Cell] = {}
        self._type = "n"
        self._style = 0
        self._value: list[str] = []
        self._collect = False
        self._formula = False
        self._phonetic = False
        self._text_of = cache(self._shared)
        self._number_of = cache(self._number)

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if ":" in name:
            name = _local(name)
        if name == "c":
            reference = attributes.get("r")
            self._column = _column_of(reference) if reference else self._column + 1
            self._type = attributes.get("t", "n")
            self._style = int(attributes.get("s", 0))
            self._value.clear()
            self._formula = False
        elif name == "v" or name == "t":
            self._collect = not self._phonetic
        elif name == "f":
            self._formula = True
        elif name == "row":
            number = attributes.get("r")
            self._row = int(number) if number else self._row + 1
            self._column = 0
            self._cells = {}
            if attributes.get("hidden") in ("1", "true") or _no_height(attributes.get("ht")):
                self._sheet.hidden_rows.add(self._row)
        elif name == "rPh":
            self._phonetic = True
        elif name == "col":
            if attributes.get("hidden") in ("1", "true"):
                first, last = int(attributes.get("min", 1)), int(attributes.get("max", 1))
                self._sheet.hidden_columns.update(range(first, min(last, first + 500) + 1))
        elif name == "mergeCell":
            area = _area_of(attributes.get("ref", ""))
            if area is not None:
                self._sheet.merged.append(area)

    def end(self, name: str) -> None:
        if ":" in name:
            name = _local(name)
        if name == "c":
            if self._value or self._formula:
                cell = self._cell("".join(self._value))
                if cell is not None:
                    self._cells[self._column] = cell
                    look = self._lookups
                    struck = look.struck_texts and self._type == "s" and self._value[0] in look.struck_texts
                    if struck or self._style in look.struck:
                        self._sheet.struck_rows.add(self._row)
                    if self._style in look.fills:
                        self._sheet.fills.setdefault(self._row, look.fills[self._style])
                    self._budget[0] -= 1
                    if self._budget[0] < 0:
                        raise GateRefusal(
                            "too_many_cells",
                            f"more than {MAX_CELLS:,} filled cells",
                            "save the inventory sheets alone as a new .xlsx",
                        )
        elif name == "v" or name == "t":
            self._collect = False
        elif name == "row":
            if self._cells:
                self._sheet.rows[self._row] = self._cells
                if len(self._sheet.rows) > MAX_ROWS:
                    raise GateRefusal(
                        "too_many_rows", f"more than {MAX_ROWS:,} filled rows", "split the sheet"
                    )
        elif name == "rPh":
            self._phonetic = False

    def data(self, text: str) -> None:
        if self._collect:
            self._value.append(text)

    def _cell(self, raw: str) -> Cell | None:
        kind, formula = self._type, self._formula
        if kind == "s":
            return self._text_of(raw)
        if kind == "n" and raw.strip():
            return self._number_of(raw.strip(), self._style, formula)
        if kind in ("inlineStr", "str"):
            if formula and not raw:
                return Cell("", Content.UNCOMPUTED, None, "", True)
            text = unescaped(raw)
            return Cell(text, Content.TEXT, None, "", formula) if text.strip() else None
        if kind == "e":
            return Cell(raw, Content.ERROR, None, "", formula)
        if not raw.strip():
            return Cell("", Content.UNCOMPUTED, None, "", True) if formula else None
        if kind == "b":
            return Cell(
                "TRUE" if raw.strip() == "1" else "FALSE", Content.TRUTH, raw.strip() == "1", "", formula
            )
        if kind == "d":
            return _iso_cell(raw.strip(), formula)
        return self._number_of(raw.strip(), self._style, formula)

    def _shared(self, raw: str) -> Cell | None:
        try:
            text = self._lookups.texts[int(raw)]
        except (ValueError, IndexError):
            return Cell(f"#text {raw}", Content.ERROR)
        return Cell(text) if text.strip() else None

    def _number(self, raw: str, code: int, formula: bool) -> Cell:
        number = exact_number(raw)
        if number is None:
            return Cell(raw, Content.ERROR, None, "", formula)
        style = ""
        if 0 <= code < len(self._lookups.formats):
            style = self._lookups.formats[code]
            if self._lookups.date_formats[code]:
                moment = serial_to_date(number, self._lookups.from_1904)
                if moment is None:
                    return Cell(raw, Content.ERROR, None, style, formula)
                return Cell(moment.isoformat(), Content.DATE, moment, style, formula)
        return Cell(number_text(number), Content.NUMBER, number, style, formula)


def _iso_cell(raw: str, formula: bool) -> Cell:
    try:
        moment: date = datetime.fromisoformat(raw.removesuffix("Z"))
    except ValueError:
        return Cell(raw, Content.TEXT, None, "", formula)
    if isinstance(moment, datetime) and (moment.hour, moment.minute, moment.second) == (0, 0, 0):
        moment = moment.date()
    return Cell(moment.isoformat(), Content.DATE, moment, "", formula)


def exact_number(raw: str) -> Decimal | None:
    """The stored number as a person typed it: 15 digits, which is what spreadsheets keep."""
    try:
        number = Decimal(raw)
    except InvalidOperation:
        return None
    if not number.is_finite() or abs(number.adjusted()) > 300:
        return None
    if len(number.as_tuple().digits) > 15:
        number = Decimal(f"{float(number):.15g}")
    return number


def number_text(number: Decimal) -> str:
    """A number without exponent and without trailing zeros, for numbers of a sensible size."""
    if number == number.to_integral_value() and number.adjusted() < 16:
        return str(int(number))
    if -8 < number.adjusted() < 16:
        return f"{number.normalize():f}"
    return str(number)


def serial_to_date(number: Decimal, from_1904: bool) -> date | None:
    """A day number as a date; a time of day makes it a datetime. None outside 1900 to 9999.

    The 1900 system counts a 29 February 1900 that never was: days before it are shifted by one.
    """
    days = float(number)
    if days < 0 or days > 2_958_466:
        return None
    first = date(1904, 1, 1) if from_1904 else date(1899, 12, 31 if days < 60 else 30)
    try:
        moment = datetime.combine(first, time()) + timedelta(seconds=round(days * 86400))
    except OverflowError:
        return None
    return moment.date() if (moment.hour, moment.minute, moment.second) == (0, 0, 0) else moment


def _no_height(height: str | None) -> bool:
    """A row of no height is hidden by another name."""
    return height is not None and height.strip("0") in ("", ".")


def _column_of(reference: str) -> int:
    return _column_number(reference.rstrip("0123456789").replace("$", ""))


@cache
def _column_number(letters: str) -> int:
    from openpyxl.utils import column_index_from_string

    return int(column_index_from_string(letters))


def _area_of(reference: str) -> Area | None:
    found = re.fullmatch(r"\$?([A-Za-z]{1,3})\$?(\d+):\$?([A-Za-z]{1,3})\$?(\d+)", reference)
    if not found:
        return None
    return Area(int(found[2]), _column_of(found[1]), int(found[4]), _column_of(found[3]))


def read_sheet_part(
    archive: zipfile.ZipFile, part: str, *, name: str, lookups: Lookups, budget: list[int]
) -> Sheet:
    """One sheet's filled cells. ``budget`` holds the cells left for the whole workbook."""
    sheet = Sheet(name=name)
    reader = _SheetReader(sheet, lookups, budget)
    parser = _parser()
    handlers: tuple[Callable[..., Any], ...] = (reader.start, reader.end, reader.data)
    parser.StartElementHandler, parser.EndElementHandler, parser.CharacterDataHandler = handlers
    _run(parser, archive, part)
    return sheet
