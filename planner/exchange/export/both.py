"""One export: a folder or a SQLite file for programs, a workbook for people, as of one entry."""

from contextlib import closing, nullcontext
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from msgspec import structs

from fleet.base.entries import utc_text
from fleet.base.errors import BadInput
from fleet.base.kept_names import written_body
from fleet.events.pairs import PairRenamed
from fleet.ledger.history import state_at
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import Fleet, read_fleet
from planner.exchange.export.folder import write_folder
from planner.exchange.export.people_workbook import write_people_workbook
from planner.exchange.export.sqlite_file import order_rows, write_sqlite
from planner.exchange.export.tables import stops_by_pair
from planner.exchange.export.whole_file import not_over_a_workbook


def write_export(
    ledger: Ledger,
    folder: Path | None,
    workbook: Path | None,
    database: Path | None = None,
    *,
    at_entry: int | None,
    paper: str = "A4",
    now: datetime | None = None,
) -> tuple[dict[str, Any], list[str]]:
    """Write what was asked for; return what was written, for programs and in lines for people.

    Raises BadInput where nothing was asked for, or the entry is not there.

    ``now``: the clock. Glue that has not cured by it goes along, also where a clock that was ahead had later
    entries made. None: the newest moment of the ledger counts.
    """
    if folder is None and workbook is None and database is None:
        raise BadInput("nothing to write", cure="name a folder, or a file with --xlsx or --sqlite")
    if workbook is not None:
        not_over_a_workbook(workbook)  # before the folder is written
    with nullcontext(ledger.connection) if at_entry is None else closing(state_at(ledger, at_entry)) as state:
        fleet, orders = read_fleet(state), order_rows(state)
    if at_entry is not None:
        fleet = _stopped_since(ledger, fleet, after=at_entry)
    if now is not None:
        fleet = replace(fleet, newest_at=min(fleet.newest_at, utc_text(now)))
    files = write_folder(ledger, fleet, folder) if folder else {}
    sheets = write_people_workbook(fleet, fleet.head, workbook, paper=paper) if workbook else {}
    tables = write_sqlite(ledger, fleet, orders, database) if database else {}
    said = {
        "folder": folder and str(folder),
        "workbook": workbook and str(workbook),
        "ledger_entry": fleet.head.seq,
        "ledger_head": fleet.head.hash,
        "files": files,
        "sheets": sheets,
        "sqlite": database and str(database),
        "tables": tables,
    }
    written = ((folder, files, "csv files"), (workbook, sheets, "sheets"), (database, tables, "tables"))
    lines = [f"{path}: {len(rows)} {parts} as of entry {fleet.head}" for path, rows, parts in written if path]
    return said, lines


def _stopped_since(ledger: Ledger, fleet: Fleet, *, after: int) -> Fleet:
    """Return the fleet with what stops each pair now beside what did then: a stop belongs to the ski, and a
    new ledger that begins with this export has it.
    """
    tags = {tag: tag for tag in fleet.pairs}
    query = "SELECT body FROM entries WHERE seq > ? AND what = ? ORDER BY seq"
    for (body,) in ledger.connection.execute(query, (after, PairRenamed.WHAT)):
        renamed = PairRenamed.read(written_body(body))
        tags = {then: renamed.to if now == renamed.tag else now for then, now in tags.items()}
    stops = stops_by_pair(read_fleet(ledger.connection))
    pairs = {
        tag: structs.replace(pair, stops=(*pair.stops, *filter(None, stops.get(tags[tag], "").split("; "))))
        for tag, pair in fleet.pairs.items()
    }
    return replace(fleet, pairs=pairs)
