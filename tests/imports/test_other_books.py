"""Workbooks of other kinds: .xls, .ods and .xlsb, read in a process of their own; pictures are refused."""

from __future__ import annotations

import base64
import struct
import zipfile
import zlib
from pathlib import Path

import pytest

from imports import workbook
from imports.gate import GateRefusal, admit, admit_bytes
from imports.workbook import read_other_book
from tests.imports.books import codes, report

HEAD = ("tag", "model", "kind", "length_cm", "bought_on")
_OLD = (
    "c-rk)O=uHA6#izj`RRXBQ=t_~C|I?&U@3?m+Njj_U|Xvmsv^X+S=x{^kr)qpsMVUIAb3)|6zaiC)r&u<ptmAI#U2DfNY$GsK"
    "|!$1`sVF!`eO?XXd$v+m^bgenfGRP-kaIUzMb`DCm+_$V--5!Ku#}#Yne_^DX|1Es9o13Yt<eqx{abjiH8E|a^hLV8@G(1jQ"
    "2bgJWyW|1wK(ZgLCLhCbYmN;t<avEaV*8g-W@n;0~2a)bhNlnGP}C!t_4(ea`d%YpyeGr@mQn8neN^rhR4}pHv#St&*s~W48"
    "IgnpV_cM&|M58^Y-8#KBZF951qldbJ!=ppbTJ2`we%D%?dWaEj2<+uPFFnT4OiJ%t~70Qhe0>z4srzqxt=(*Inkcdw)OP!Lz"
    "^Zz?J<4*jf<$(%ts22|Oi;zTTZK7%r3Trx8pI2w;EAVdn|9CrZe@URmYO-8gh*~FrW2sOmD#Bh2fG&D;5VDiH7NIH~EP`4v3"
    "d)it_*YhPcG@=Fe@1+Ajt;My`a4JS@PnguCEtT&1Sn;knRw{V2l@pDiig_PzIWIlc!o6?rdI$T1A=ZrZtHgNWY?n_59ap3U8"
    "CP<PgDK4kO>D87=~ec+jrlsJe(FPYV}FgwbWL!dYuwsM<Fqm6f;*P+JBiPHJ@%wN^EtSS`04KXOaAHi!AUgG!bQkl{wB~Yn#"
    "Ju~5>JCxEzG0oBh%VHjwz4gHRrCIZ`CR+%8g0zF*PK)IwCJA=2{t&gCs{@Qb|%x&teVFf;~IU{(?Qb@{;r{L-c~?E!gvGMIN"
    "tXGYWZ?J{2Bg$>*3-$~qsqOfN<(J$cFUY4nsnf0YSzDAjl*4e5AZ!e(TP$kSrY7O`%&@Ty|1RkdNmh7B7wY}i;6f-jfGg<3V"
    "Q)bje}HoxmEQpwq$N&Z_LN0NSN`b&8j393`LSWy0Kg;Q9*#0G7w?}ZWrG<pg#4Dvi;1?MkapT+X$*|4Ga?`@$%$Ilfq&wo7r"
    "ZvfC4uK"
)
"""An .xls of two sheets, the second hidden, as a spreadsheet library of its time writes it: pairs K-031 and,
as a number, 17."""


def old_xls(path: Path) -> Path:
    path.write_bytes(zlib.decompress(base64.b85decode("".join(_OLD))))
    return path


def ods(path: Path, rows: str) -> Path:
    spaces = " ".join(
        f'xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"'
        for name in ("office", "table", "text")
    )
    body = f'<office:body><office:spreadsheet><table:table table:name="Skis">{rows}</table:table>'
    ends = "</office:spreadsheet></office:body></office:document-content>"
    text = f"<office:document-content {spaces}>{body}{ends}"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", text)
        archive.writestr("META-INF/manifest.xml", "<manifest/>")
    return path


def _text(said: str) -> str:
    return f'<table:table-cell office:value-type="string"><text:p>{said}</text:p></table:table-cell>'


def _number(said: str) -> str:
    return f'<table:table-cell office:value-type="float" office:value="{said}"/>'


def _row(*cells: str) -> str:
    return f"<table:table-row>{''.join(cells)}</table:table-row>"


def plain_ods(path: Path) -> Path:
    day = '<table:table-cell office:value-type="date" office:date-value="2024-11-03"/>'
    first = _row(_text("K-031"), _text("Lärche 96"), _text("telemark"), _number("178"), day)
    second = _row(_number("17"), _text("Larch 96"), _text("telemark"), _number("171.5"))
    return ods(path, _row(*map(_text, HEAD)) + first + second)


def _record(kind: int, data: bytes = b"") -> bytes:
    number = bytes([kind]) if kind < 128 else bytes([kind & 0x7F | 0x80, kind >> 7])
    return number + bytes([len(data)]) + data


def _wide(text: str) -> bytes:
    return struct.pack("<I", len(text)) + text.encode("utf-16-le")


def xlsb(path: Path) -> Path:
    """The least that is a binary workbook: one sheet, inline texts and numbers (by the published format)."""
    sheet = _record(129) + _record(148, struct.pack("<4I", 0, 1, 0, 4)) + _record(145)
    rows = (HEAD, ("K-031", "Lärche 96", "telemark", 178.0), (17.0, "Larch 96", "telemark", 171.5))
    for number, row in enumerate(rows):
        sheet += _record(0, struct.pack("<IIHBBBI", number, 0, 300, 0, 0, 0, 0))
        for column, value in enumerate(row):
            place = struct.pack("<II", column, 0)
            if isinstance(value, str):
                sheet += _record(6, place + _wide(value))
            else:
                sheet += _record(5, place + struct.pack("<d", value))
    sheet += _record(146) + _record(130)
    about = struct.pack("<II", 0, 1) + _wide("rId1") + _wide("Skis")
    book = _record(131) + _record(143) + _record(156, about) + _record(144) + _record(132)
    relations = (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        '<Relationship Id="rId1"'
        ' Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet"'
        ' Target="worksheets/sheet1.bin"/></Relationships>'
    )
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        archive.writestr("xl/workbook.bin", book)
        archive.writestr("xl/_rels/workbook.bin.rels", relations)
        archive.writestr("xl/worksheets/sheet1.bin", sheet)
    return path


@pytest.mark.parametrize(("make", "name"), [(old_xls, "a.xls"), (plain_ods, "a.ods"), (xlsb, "a.xlsb")])
def test_other_workbooks_are_read_and_what_is_not_seen_is_said(make, name: str, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    said = report(make(tmp_path / name))
    first, second = said["rows"]
    assert first["values"]["model"] == "Lärche 96"
    assert (first["tag"], first["values"]["length_cm"]) == ("K-031", 178)
    assert second["values"]["length_cm"] == 171.5
    if name != "a.xlsb":
        assert first["values"]["bought_on"] == "2024-11-03"
    assert "parts_not_seen" in codes(said)
    [doubt] = [f for f in said["findings"] if f["code"] == "tag_format"]
    assert (doubt["row"], doubt["raw"]) == (3, "17")


def test_a_hidden_sheet_of_an_old_workbook_is_left_out(tmp_path: Path) -> None:
    said = report(old_xls(tmp_path / "a.xls"))
    assert [f["sheet"] for f in said["findings"] if f["code"] == "sheet_left_out"] == ["Old"]


def test_a_row_repeated_a_million_times_is_refused_within_the_limits(tmp_path: Path) -> None:
    """It unpacks to far more cells than the gate takes; the import itself goes on."""
    many = _row(*map(_text, HEAD)).replace(
        "<table:table-row>", '<table:table-row table:number-rows-repeated="1000000">'
    )
    said = report(ods(tmp_path / "a.ods", many))
    assert said["outcome"] == "refuse"
    assert codes(said) & {"too_many_cells", "too_large", "damaged"}


def test_a_reader_that_dies_is_a_refusal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workbook.sys, "executable", "/bin/false")
    with pytest.raises(GateRefusal, match="ended without an answer"):
        read_other_book(admit(old_xls(tmp_path / "a.xls")))


@pytest.mark.parametrize(
    "start",
    [b"\x89PNG\r\n", b"\xff\xd8\xff\xe0", b"GIF89a", b"II*\0", b"RIFF....WEBP", b"\0\0\0\x18ftypheic"],
)
def test_a_picture_is_refused_in_one_sentence(start: bytes) -> None:
    with pytest.raises(GateRefusal) as refusal:
        admit_bytes("stock.xlsx", start + bytes(200))
    assert "picture" in refusal.value.sentence
    assert refusal.value.cure == "ask for the spreadsheet itself"
