"""The gate before any reader: what a file is, by its content and never by its name, and whether to open it.

Limits are stated, not discovered by running out of memory. Nothing in a file is ever run or followed.
"""

import hashlib
import io
import re
import zipfile
import zlib
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Final

from fleet.base.errors import MountbookError

MAX_BYTES: Final = 25_000_000
MAX_ROWS: Final = 100_000
MAX_CELLS: Final = 2_000_000
MAX_COLUMNS: Final = 200
MAX_UNPACKED: Final = 400_000_000
MAX_RATIO: Final = 400
MAX_MEMBERS: Final = 2_000
MAX_CHILD_BYTES: Final = 1_500_000_000
MAX_CHILD_SECONDS: Final = 30
_RATIO_FREE_BYTES: Final = 4_000_000
_BLOCK: Final = 1 << 20

SAVE_AS_XLSX: Final = "open it in your spreadsheet program and save it as .xlsx (Excel workbook)"


class FileKind(StrEnum):
    """The kinds of file that the readers can take."""

    WORKBOOK = "workbook"
    TEXT = "text"
    OTHER_BOOK = "other workbook"


class GateRefusal(MountbookError):
    """The file stays outside: one code, one sentence, one cure. Becomes a finding, never a traceback."""

    def __init__(self, code: str, sentence: str, cure: str) -> None:
        super().__init__(sentence, cure=cure)
        self.code = code


@dataclass(frozen=True, slots=True, kw_only=True)
class Admitted:
    """A file that passed. ``remarks`` are (code, message) pairs to be said aloud."""

    name: str
    sha256: str
    kind: FileKind
    data: bytes
    remarks: tuple[tuple[str, str], ...] = ()


def admit(path: Path) -> Admitted:
    """Read one file through the gate. Raises GateRefusal."""
    try:
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise GateRefusal(
                "too_large",
                f"{path.name} has {size / 1e6:.0f} MB; the limit is {MAX_BYTES / 1e6:.0f} MB",
                "split it, or save only the inventory sheets",
            )
        data = path.read_bytes()
    except OSError as fault:
        raise GateRefusal(
            "unreadable", f"{path.name} cannot be read: {fault.strerror}", "check the path and its rights"
        ) from fault
    return admit_bytes(path.name, data)


def admit_bytes(name: str, data: bytes) -> Admitted:
    """The gate for bytes already read."""
    digest = hashlib.sha256(data).hexdigest()
    if not data.strip(b"\0 \t\r\n"):
        raise GateRefusal("empty_file", f"{name} is empty", "choose the file again, or export it anew")
    if data[:4] in (b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08"):
        remarks, kind = _checked_zip(name, data)
        return Admitted(name=name, sha256=digest, kind=kind, data=data, remarks=remarks)
    if data.startswith(_OLE):
        return Admitted(name=name, sha256=digest, kind=FileKind.OTHER_BOOK, data=_checked_ole(name, data))
    _refuse_known_strangers(name, data)
    return Admitted(name=name, sha256=digest, kind=FileKind.TEXT, data=data)


_STRANGERS: Final = (
    (b"%PDF", "a PDF document", "ask for the spreadsheet it was printed from"),
    (b"\x89PNG", "a picture", "ask for the spreadsheet itself"),
    (b"\xff\xd8\xff", "a picture", "ask for the spreadsheet itself"),
    (b"GIF8", "a picture", "ask for the spreadsheet itself"),
    (b"II*\0", "a picture", "ask for the spreadsheet itself"),
    (b"MM\0*", "a picture", "ask for the spreadsheet itself"),
    (b"RIFF", "a picture or a sound", "ask for the spreadsheet itself"),
    (b"\0\0\0\x18ftyp", "a picture or a film", "ask for the spreadsheet itself"),
    (b"\0\0\0\x1cftyp", "a picture or a film", "ask for the spreadsheet itself"),
    (b"\0\0\0\x20ftyp", "a picture or a film", "ask for the spreadsheet itself"),
    (b"\x1f\x8b", "a compressed file", "unpack it first"),
    (b"7z\xbc\xaf\x27\x1c", "a compressed file", "unpack it first"),
    (b"Rar!", "a compressed file", "unpack it first"),
    (b"SQLite format 3\0", "a database", "export its tables as .xlsx or .csv"),
    (b"{\\rtf", "a text document", "copy its table into a spreadsheet and save that as .xlsx"),
)


_OLE: Final = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


def _checked_ole(name: str, data: bytes) -> bytes:
    """The bytes of an old .xls; other documents of that container are refused."""
    if "EncryptedPackage".encode("utf-16-le") in data:
        raise GateRefusal(
            "password", f"{name} is protected by a password", "save a copy without the password"
        )
    if not any(part.encode("utf-16-le") in data for part in ("Workbook", "Book")):
        raise GateRefusal("not_a_workbook", f"{name} is a document, not a spreadsheet", SAVE_AS_XLSX)
    return data


def _refuse_known_strangers(name: str, data: bytes) -> None:
    for magic, what, cure in _STRANGERS:
        if data.startswith(magic):
            raise GateRefusal("not_a_workbook", f"{name} is {what}, not a spreadsheet", cure)
    text, code = decode(data[:8192])
    start = text[:4096].lstrip("\ufeff \t\r\n").lower()
    if start.startswith(("<!doctype html", "<html", "<table", "<head", "<body", "<meta")):
        raise GateRefusal("html", f"{name} is a web page, not a spreadsheet", SAVE_AS_XLSX)
    if start.startswith(("<?xml", "<workbook")):
        raise GateRefusal("plain_xml", f"{name} is an XML document, not a workbook", SAVE_AS_XLSX)
    if start.startswith(("{", "[")) and re.match(r"[\[{]\s*([\"{\[]|$)", start):
        raise GateRefusal("json", f"{name} is a JSON document, not a spreadsheet", "save it as .csv")
    if code != "utf-16":
        strange = sum(1 for byte in data[:8192] if byte < 9 or 13 < byte < 32)
        if strange > len(data[:8192]) // 50:
            raise GateRefusal(
                "not_a_workbook", f"{name} is neither a workbook nor a text table", "save it as .xlsx or .csv"
            )


def decode(data: bytes) -> tuple[str, str]:
    """(text, how it was read). Without any mark and not UTF-8 it is taken as cp1252, and that is said."""
    for mark, code in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            return data.decode(code, errors="replace"), code.removesuffix("-sig")
    sample = data[:2048]
    if len(sample) > 3 and sample[1::2].count(0) > len(sample) // 4:
        return data.decode("utf-16-le", errors="replace"), "utf-16"
    if len(sample) > 3 and sample[::2].count(0) > len(sample) // 4:
        return data.decode("utf-16-be", errors="replace"), "utf-16"
    try:
        return data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace"), "cp1252"


def _checked_zip(name: str, data: bytes) -> tuple[tuple[tuple[str, str], ...], FileKind]:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = archive.infolist()
            _refuse_bomb(name, members, len(data))
            names = {member.filename for member in members}
            kind = _zip_kind(name, archive, names)
            for member in members:
                _refuse_doctype(name, archive, member)
    except _ZIP_FAULTS as fault:
        raise GateRefusal(
            "damaged", f"{name} is damaged or cut off ({fault})", "fetch the file again, or save it anew"
        ) from fault
    lowered = [member.filename.lower() for member in members]
    remarks = ((code, words) for part, code, words in _INSIDE if any(part in each for each in lowered))
    return tuple(remarks), kind


_ZIP_FAULTS: Final = (
    *(zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError, ValueError),
)
_INSIDE: Final = (
    ("vbaproject.bin", "macros", "the workbook carries macros; they were not run"),
    (
        "xl/externallinks/",
        "external_links",
        "the workbook links to other files; no link was followed, stored results count",
    ),
    ("xl/connections.xml", "connections", "the workbook has data connections; none was opened"),
)
"""Parts that are never run or followed, and what is said of them."""


def _refuse_bomb(name: str, members: list[zipfile.ZipInfo], packed: int) -> None:
    cure = "save the inventory sheets alone as a new .xlsx"
    if len(members) > MAX_MEMBERS:
        raise GateRefusal("zip_members", f"{name} holds {len(members)} parts; at most {MAX_MEMBERS}", cure)
    unpacked = sum(member.file_size for member in members)
    if unpacked > MAX_UNPACKED:
        raise GateRefusal(
            "zip_size",
            f"{name} unpacks to {unpacked / 1e6:.0f} MB; the limit is {MAX_UNPACKED / 1e6:.0f} MB",
            cure,
        )
    for member in members:
        if member.file_size > _RATIO_FREE_BYTES and member.file_size > MAX_RATIO * max(
            member.compress_size, 1
        ):
            raise GateRefusal(
                "zip_ratio",
                f"{name} unpacks {member.file_size // max(member.compress_size, 1)} times larger than it is",
                cure,
            )
        if member.flag_bits & 1:
            raise GateRefusal(
                "password", f"{name} is protected by a password", "save a copy without the password"
            )
    if unpacked > MAX_RATIO * max(packed, 1):
        raise GateRefusal("zip_ratio", f"{name} unpacks {unpacked // packed} times larger than it is", cure)


def _zip_kind(name: str, archive: zipfile.ZipFile, names: set[str]) -> FileKind:
    """The kind of workbook; every other archive is refused."""
    lowered = {n.lower() for n in names}
    if not names:
        raise GateRefusal("empty_file", f"{name} is an empty archive", "choose the file again")
    if "mimetype" in lowered:
        kind = archive.read("mimetype")[:80] if "mimetype" in names else b""
        if b"opendocument" in kind:
            if b"spreadsheet" not in kind:
                raise GateRefusal("not_a_workbook", f"{name} is a text document or slides", SAVE_AS_XLSX)
            return FileKind.OTHER_BOOK
    if "xl/workbook.bin" in lowered:
        return FileKind.OTHER_BOOK
    if any(n.startswith(("word/", "ppt/")) for n in lowered):
        raise GateRefusal("not_a_workbook", f"{name} is a text document or slides", SAVE_AS_XLSX)
    if "[content_types].xml" not in lowered:
        if any(n.endswith((".csv", ".txt", ".xlsx", ".xls")) for n in lowered):
            raise GateRefusal(
                "zip_of_files",
                f"{name} is an archive of files, not a workbook",
                "unpack it and import the files",
            )
        raise GateRefusal("not_a_workbook", f"{name} is an archive, not a workbook", SAVE_AS_XLSX)
    return FileKind.WORKBOOK


_DOCTYPES: Final = tuple("<!DOCTYPE".encode(code) for code in ("ascii", "utf-16-le", "utf-16-be")) + tuple(
    "<!doctype".encode(code) for code in ("ascii", "utf-16-le", "utf-16-be")
)


def _refuse_doctype(name: str, archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> None:
    """Reads every part once, so that a lying size or a broken part shows here and not in a reader."""
    is_xml = member.filename.lower().endswith((".xml", ".rels", ".vml"))
    seen, tail = 0, b""
    with archive.open(member) as part:
        while block := part.read(_BLOCK):
            seen += len(block)
            if seen > MAX_UNPACKED:
                raise GateRefusal("zip_size", f"{name} unpacks beyond its stated size", SAVE_AS_XLSX)
            if is_xml:
                window = tail + block
                if any(mark in window for mark in _DOCTYPES):
                    raise GateRefusal(
                        "doctype",
                        f"{name} declares a document type in {member.filename}, which no workbook needs",
                        "do not trust this file; save the sheets anew as .xlsx",
                    )
                tail = block[-32:]
