"""The ledger as a folder of csv files with a descriptor (Data Package, Table Schema), as of any entry."""

import csv
import hashlib
import io
import json
import os
from collections.abc import Collection, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, Final

from fleet.base.entries import Head, canonical_json
from fleet.base.errors import BadInput, or_bad_input
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import Fleet
from imports.cells import GUARD, RUNS
from planner.exchange.export.tables import TABLES, Cell, ExportColumn, ExportRow, ExportTable
from planner.exchange.export.whole_file import write_whole

DESCRIPTOR: Final = "datapackage.json"
ENTRIES: Final = ExportTable(
    name="entries",
    title="every entry of the ledger",
    columns=(
        ExportColumn("seq", "number", type="integer", required=True),
        ExportColumn("at", "when, as stated, UTC", required=True),
        ExportColumn("by", "who", required=True),
        ExportColumn("what", "kind of entry", required=True),
        ExportColumn("body", "canonical JSON", required=True),
        ExportColumn("hash", "SHA-256, chained", required=True),
    ),
    key=("seq",),
    rows=lambda _: (),
)
"""The entries as a table; its rows are those of `entry_rows`, no fleet has them."""


def write_folder(ledger: Ledger, fleet: Fleet, folder: Path) -> dict[str, int]:
    """Write every table of the fleet as csv with the descriptor; returns file name -> rows.

    Raises BadInput for a folder with files of something else.
    """
    of_fleet = ((table, table.rows(fleet)) for table in TABLES)
    return _write(fleet, folder, [*of_fleet, (ENTRIES, list(entry_rows(ledger, fleet.head.seq)))])


def write_part(fleet: Fleet, folder: Path, tables: Collection[str]) -> dict[str, int]:
    """Write only these tables of a fleet, without its entries; else as `write_folder`."""
    return _write(fleet, folder, [(table, table.rows(fleet)) for table in TABLES if table.name in tables])


def _write(
    fleet: Fleet, folder: Path, tables: Iterable[tuple[ExportTable, Iterable[ExportRow]]]
) -> dict[str, int]:
    _checked_folder(folder)
    files: dict[str, int] = {}
    resources = []
    for table, found in tables:
        rows = list(found)
        data = csv_bytes(table.columns, rows)
        write_whole(folder / f"{table.name}.csv", data)
        files[f"{table.name}.csv"] = len(rows)
        resources.append(_resource(table, data))
    write_whole(folder / DESCRIPTOR, _descriptor(fleet, fleet.head, resources))
    return files


def _checked_folder(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise BadInput(f"{folder} is a file", cure="name a folder")
    if folder.is_dir() and any(folder.iterdir()) and not (folder / DESCRIPTOR).is_file():
        raise BadInput(f"{folder} holds other files", cure="name an empty or a new folder")
    with or_bad_input(f"cannot make {folder}:", cure="choose a place you may write to", of=OSError):
        folder.mkdir(parents=True, exist_ok=True)
    if not os.access(folder, os.W_OK):
        raise BadInput(f"cannot write into {folder}", cure="choose a place you may write to")


def csv_bytes(columns: Sequence[ExportColumn], rows: Iterable[ExportRow]) -> bytes:
    """UTF-8, comma, CRLF (RFC 4180); texts guarded, numbers plain."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([c.key for c in columns])
    textual = [c.type == "string" for c in columns]
    for row in rows:
        writer.writerow(
            [
                "" if value is None else guarded(str(value)) if text else value
                for value, text in zip(in_columns(columns, row), textual, strict=True)
            ]
        )
    return out.getvalue().encode()


def in_columns(columns: Sequence[ExportColumn], row: ExportRow) -> list[Cell]:
    """The cells of a row in the columns' order. Raises KeyError unless it has each of them, and no other."""
    if len(row) > len(columns):
        raise KeyError(f"no column for {', '.join(row.keys() - {column.key for column in columns})}")
    return [row[column.key] for column in columns]


def entry_rows(ledger: Ledger, until: int) -> Iterator[ExportRow]:
    """The entries up to that one, as rows of `ENTRIES`."""
    for entry in ledger.entries(until=until):
        yield {
            "seq": entry.seq,
            "at": entry.stated_at_utc,
            "by": entry.by,
            "what": entry.what,
            "body": canonical_json(entry.body),
            "hash": entry.hash,
        }


def _resource(table: ExportTable, data: bytes) -> dict[str, Any]:
    schema: dict[str, Any] = {"fields": [_field(column) for column in table.columns], "missingValues": [""]}
    if table.key:
        schema["primaryKey"] = list(table.key)
    if table.foreign:
        schema["foreignKeys"] = [
            {"fields": [own], "reference": {"resource": other, "fields": [theirs]}}
            for own, other, theirs in table.foreign
        ]
    return {
        "name": table.name,
        "title": table.title,
        "type": "table",
        "profile": "tabular-data-resource",
        "path": f"{table.name}.csv",
        "scheme": "file",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(data),
        "hash": f"sha256:{hashlib.sha256(data).hexdigest()}",
        "schema": schema,
    }


def _field(column: ExportColumn) -> dict[str, Any]:
    constraints: dict[str, Any] = {"required": True} if column.required else {}
    constraints |= {"enum": list(column.words)} if column.words else {}
    field = {"name": column.key, "type": column.type, "title": column.meaning}
    return field | {"constraints": constraints} if constraints else field


def _descriptor(fleet: Fleet, head: Head, resources: list[dict[str, Any]]) -> bytes:
    said = {
        "name": "fleet-ledger",
        "title": f"Fleet ledger of {fleet.shop}, as of entry {head.seq}",
        "profile": "tabular-data-package",
        "ledger_entry": head.seq,
        "ledger_head": head.hash,
        "time_zone": fleet.zone,
        "resources": resources,
    }
    return (json.dumps(said, ensure_ascii=False, indent=2) + "\n").encode()


_LEADING_BLANK: Final = " \t\r\n"


def guarded(text: str) -> str:
    """An apostrophe before what would run; the import takes exactly that apostrophe off again.

    Text that itself begins with an apostrophe gets one more, so that the way back is exact. One alone stays
    so, since two alone mean *as in the row above*.
    """
    bare = text.lstrip(_LEADING_BLANK)
    if (text.startswith(GUARD) and text != GUARD) or bare[:1] in RUNS:
        return f"{GUARD}{text}"
    return text
