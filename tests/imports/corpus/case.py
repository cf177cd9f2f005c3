"""What a corpus case is: one file with one defect or habit, and what the importer must make of it."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.imports.books import Rows, write_book


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """``rows`` lists every row as (kind, tag, verdict); ``asked`` every code of a question or bad finding.

    ``notes`` must be among the notes. ``values`` by tag are compared key by key.
    """

    name: str
    why: str
    make: Callable[[Path], object]
    outcome: str
    asked: Sequence[str] = ()
    notes: Sequence[str] = ()
    rows: Sequence[tuple[str, str | None, str]] = ()
    values: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)


def book(sheets: Mapping[str, Rows]) -> Callable[[Path], object]:
    """A workbook made of plain lists."""
    return lambda path: write_book(path, sheets)


def skis(
    header: Sequence[str], *rows: Sequence[Any], above: Rows = (), below: Rows = ()
) -> Callable[[Path], object]:
    """A workbook with one sheet of skis."""
    return book({"Skis": [*above, list(header), *rows, *below]})


def text(content: str | bytes, encoding: str = "utf-8") -> Callable[[Path], object]:
    """A text file, byte for byte."""
    data = content.encode(encoding) if isinstance(content, str) else content
    return lambda path: path.write_bytes(data)


MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
STRICT_MAIN = 'xmlns="http://purl.oclc.org/ooxml/spreadsheetml/main"'
STRICT_REL = "http://purl.oclc.org/ooxml/officeDocument/relationships"
_HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'


def row_xml(number: int, cells: Sequence[Any], *, attributes: str = "") -> str:
    """A row of inline texts and numbers; None is left out, a str beginning with ``<`` is taken as XML."""
    parts = []
    for place, value in enumerate(cells):
        reference = f"{chr(65 + place)}{number}"
        if value is None:
            continue
        if isinstance(value, str) and value.startswith("<"):
            parts.append(value.replace("REF", reference))
        elif isinstance(value, str):
            parts.append(f'<c r="{reference}" t="inlineStr"><is><t>{value}</t></is></c>')
        else:
            parts.append(f'<c r="{reference}"><v>{value}</v></c>')
    return f'<row r="{number}" {attributes}>{"".join(parts)}</row>'


def sheet_xml(rows: str, *, before: str = "", after: str = "", main: str = MAIN) -> str:
    """A worksheet part."""
    return f"{_HEAD}<worksheet {main}>{before}<sheetData>{rows}</sheetData>{after}</worksheet>"


def raw_book(
    path: Path,
    sheet: str,
    *,
    styles: str = "",
    workbook_before: str = "",
    extra: Mapping[str, str | bytes] | None = None,
    main: str = MAIN,
    rel: str = REL,
    state: str = "",
    doctype_in: str = "",
) -> Path:
    """The least workbook that is one, from its parts, so that every byte of it is known."""
    book_rels = f'<Relationship Id="rId1" Type="{rel}/worksheet" Target="worksheets/sheet1.xml"/>'
    parts: dict[str, str | bytes] = {
        "[Content_Types].xml": f'{_HEAD}<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="xml" ContentType="application/xml"/>'
        '<Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.'
        'spreadsheetml.sheet.main+xml"/></Types>',
        "_rels/.rels": f'{_HEAD}<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        f'<Relationship Id="rId1" Type="{rel}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'{_HEAD}<workbook {main} xmlns:r="{rel}">{workbook_before}<sheets>'
        f'<sheet name="Skis" sheetId="1" {state} r:id="rId1"/></sheets></workbook>',
        "xl/worksheets/sheet1.xml": sheet,
    }
    if styles:
        parts["xl/styles.xml"] = styles
        book_rels += f'<Relationship Id="rId2" Type="{rel}/styles" Target="styles.xml"/>'
    parts["xl/_rels/workbook.xml.rels"] = (
        f'{_HEAD}<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">{book_rels}'
        "</Relationships>"
    )
    parts |= extra or {}
    if doctype_in:
        whole = parts[doctype_in]
        assert isinstance(whole, str)
        parts[doctype_in] = whole.replace("?>\n", '?>\n<!DOCTYPE x [<!ENTITY e "boom">]>\n', 1)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(zipfile.ZipInfo(name, (2026, 11, 25, 8, 0, 0)), content, zipfile.ZIP_DEFLATED)
    return path


def styles_xml(*formats: str, main: str = MAIN) -> str:
    """Cell styles 1, 2, ... with these number formats; style 0 is General."""
    numbers = "".join(
        f'<numFmt numFmtId="{170 + i}" formatCode="{code.replace(chr(34), "&quot;")}"/>'
        for i, code in enumerate(formats)
    )
    xfs = "".join(f'<xf numFmtId="{170 + i}"/>' for i in range(len(formats)))
    return (
        f'{_HEAD}<styleSheet {main}><numFmts count="{len(formats)}">{numbers}</numFmts>'
        f'<cellXfs count="{len(formats) + 1}"><xf numFmtId="0"/>{xfs}</cellXfs></styleSheet>'
    )


def zipped(members: Mapping[str, bytes]) -> Callable[[Path], object]:
    """A plain archive."""

    def make(path: Path) -> None:
        buffer = io.BytesIO()
        with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, data in members.items():
                archive.writestr(zipfile.ZipInfo(name, (2026, 11, 25, 8, 0, 0)), data, zipfile.ZIP_DEFLATED)
        path.write_bytes(buffer.getvalue())

    return make


HEAD = ["tag", "model", "kind", "length_cm"]
GOOD = ["K-031", "Larch 96", "telemark", 178]
GOOD_ROW = ("ski", "K-031", "good")
