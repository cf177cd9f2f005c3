"""Files that a gate must know: strangers, bombs, liars, and workbooks in unusual but valid dress."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

from tests.imports.books import write_book
from tests.imports.corpus.case import (
    GOOD,
    GOOD_ROW,
    HEAD,
    STRICT_MAIN,
    STRICT_REL,
    Case,
    raw_book,
    row_xml,
    sheet_xml,
    text,
    zipped,
)

_PLAIN = row_xml(1, HEAD) + row_xml(2, GOOD)
_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 504


def _cut(path: Path) -> None:
    write_book(path, {"Skis": [HEAD, GOOD]})
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])


def _flipped(path: Path) -> None:
    raw_book(path, sheet_xml(_PLAIN))
    data = bytearray(path.read_bytes())
    place = data.index(b"sheet1.xml") + 40
    data[place] ^= 0xFF
    path.write_bytes(bytes(data))


def _bomb(path: Path) -> None:
    filler = " " * 6_000_000
    raw_book(path, sheet_xml(_PLAIN, after=filler), extra={"xl/media/zeros.bin": b"\0" * 30_000_000})


def _many_parts(path: Path) -> None:
    raw_book(path, sheet_xml(_PLAIN), extra={f"xl/junk/{i}.xml": "<a/>" for i in range(2100)})


def _utf16_doctype(path: Path) -> None:
    hostile = '<?xml version="1.0" encoding="UTF-16"?>\n<!DOCTYPE a [<!ENTITY x "y">]><a>&x;</a>'.encode(
        "utf-16"
    )
    raw_book(path, sheet_xml(_PLAIN), extra={"docProps/custom.xml": hostile})


def _million_styled_rows(path: Path) -> None:
    empty = "".join(
        f'<row r="{n}" s="1" customFormat="1"><c r="A{n}" s="1"/></row>' for n in range(3, 40_000)
    )
    raw_book(path, sheet_xml(_PLAIN + empty))


def _ods(path: Path) -> None:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", "<office:document-content/>")
    path.write_bytes(buffer.getvalue())


def _refused(name: str, why: str, make: object, code: str) -> Case:
    assert callable(make)
    return Case(name=name, why=why, make=make, outcome="refuse", asked=[code])


CASES = [
    _refused("gate_empty.xlsx", "an empty file", text(b""), "empty_file"),
    _refused("gate_cut_off.xlsx", "a download that stopped halfway", _cut, "damaged"),
    _refused("gate_flipped_bytes.xlsx", "a byte flipped inside a part", _flipped, "damaged"),
    _refused(
        "gate_password.xlsx",
        "a workbook behind a password",
        text(_OLE + "EncryptedPackage".encode("utf-16-le")),
        "password",
    ),
    _refused("gate_old_xls.xls", "half an old workbook", text(_OLE + b"W\0o\0r\0k\0b\0o\0o\0k\0"), "damaged"),
    _refused("gate_old_document.xlsx", "an old text document named .xlsx", text(_OLE), "not_a_workbook"),
    _refused(
        "gate_html_named.xlsx",
        "a web page named .xlsx",
        text("<html><table><tr><td>tag</td></tr></table></html>"),
        "html",
    ),
    _refused(
        "gate_xml_named.xlsx",
        "an XML table of 2003 named .xlsx",
        text('<?xml version="1.0"?><Workbook/>'),
        "plain_xml",
    ),
    _refused("gate_pdf_named.xlsx", "a PDF named .xlsx", text(b"%PDF-1.7\n"), "not_a_workbook"),
    _refused(
        "gate_zip_of_csv.xlsx",
        "a zip of csv files named .xlsx",
        zipped({"skis.csv": b"tag,model\n"}),
        "zip_of_files",
    ),
    _refused("gate_ods.ods", "an OpenDocument file without a table", _ods, "damaged"),
    _refused(
        "gate_xlsb.xlsb",
        "a binary workbook without its sheets",
        zipped({"[Content_Types].xml": b"<a/>", "xl/workbook.bin": b"\0"}),
        "damaged",
    ),
    _refused(
        "gate_text_document.xlsx",
        "a text document",
        zipped({"[Content_Types].xml": b"<a/>", "word/document.xml": b"<a/>"}),
        "not_a_workbook",
    ),
    _refused("gate_bomb.xlsx", "a small zip that unpacks to megabytes of nothing", _bomb, "zip_ratio"),
    _refused("gate_many_parts.xlsx", "a zip of thousands of parts", _many_parts, "zip_members"),
    _refused(
        "gate_doctype_sheet.xlsx",
        "a document type with an entity in the sheet",
        lambda p: raw_book(p, sheet_xml(_PLAIN), doctype_in="xl/worksheets/sheet1.xml"),
        "doctype",
    ),
    _refused("gate_doctype_utf16.xlsx", "a document type in a UTF-16 part", _utf16_doctype, "doctype"),
    _refused("gate_binary.csv", "bytes that are no text", text(bytes(range(256)) * 8), "not_a_workbook"),
    Case(
        name="gate_csv_named.xlsx",
        why="a csv named .xlsx is read as what it is",
        make=text("tag,model,kind,length_cm\nK-031,Larch 96,telemark,178\n"),
        outcome="import",
        rows=[GOOD_ROW],
        values={"K-031": {"length_cm": 178}},
    ),
    Case(
        name="gate_macros.xlsm",
        why="macros never run, and that is said",
        make=lambda p: raw_book(p, sheet_xml(_PLAIN), extra={"xl/vbaProject.bin": b"\xd0\xcf"}),
        outcome="import",
        notes=["macros"],
        rows=[GOOD_ROW],
    ),
    Case(
        name="gate_external_links.xlsx",
        why="links to other files are not followed, and that is said",
        make=lambda p: raw_book(p, sheet_xml(_PLAIN), extra={"xl/externalLinks/externalLink1.xml": "<a/>"}),
        outcome="import",
        notes=["external_links"],
        rows=[GOOD_ROW],
    ),
    Case(
        name="gate_strict.xlsx",
        why="Strict OOXML is read, never read as empty",
        make=lambda p: raw_book(p, sheet_xml(_PLAIN, main=STRICT_MAIN), main=STRICT_MAIN, rel=STRICT_REL),
        outcome="import",
        rows=[GOOD_ROW],
    ),
    Case(
        name="gate_lying_dimension.xlsx",
        why="a sheet that states a smaller size than it has",
        make=lambda p: raw_book(
            p,
            sheet_xml(_PLAIN + row_xml(3, ["K-032", *GOOD[1:]]), before='<dimension ref="A1:A1"/>'),
        ),
        outcome="import",
        rows=[GOOD_ROW, ("ski", "K-032", "good")],
    ),
    Case(
        name="gate_stray_corner.xlsx",
        why="a stray cell in the last row and column of the sheet",
        make=lambda p: raw_book(
            p,
            sheet_xml(
                _PLAIN + '<row r="1048576"><c r="XFD1048576" t="inlineStr"><is><t>x</t></is></c></row>'
            ),
        ),
        outcome="import",
        notes=["rows_skipped"],
        rows=[GOOD_ROW],
    ),
    Case(
        name="gate_styled_empty_rows.xlsx",
        why="forty thousand rows that hold nothing but a colour",
        make=_million_styled_rows,
        outcome="import",
        rows=[GOOD_ROW],
    ),
    Case(
        name="gate_no_references.xlsx",
        why="cells and rows without references, as some programs write them",
        make=lambda p: raw_book(
            p,
            sheet_xml(
                "".join(
                    "<row>" + "".join(f'<c t="inlineStr"><is><t>{v}</t></is></c>' for v in row) + "</row>"
                    for row in (HEAD, GOOD)
                )
            ),
        ),
        outcome="import",
        rows=[GOOD_ROW],
    ),
]
