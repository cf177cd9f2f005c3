"""What one entry changes in the tables, as a person may write it down."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from fleet.base.entries import canonical_json
from fleet.base.typed_text import said
from fleet.events.event import Event
from tests.counter.shop import IDA, Shop

THIS, AT = "this entry", "its time"
_BOOKKEEPING = {"place_entry", "place_at", "undo_entry", "undo_row"}
_NOT_STATE = {"entries", "notes", "naming", "entry_about", "boot_entry", "day_begun", "sqlite_sequence"}

Row = dict[str, Any]
Rows = dict[str, list[Row]]


def stands_at(sole_um: int, how: str, piece: str = "") -> str:
    """That piece (or every one) of both skis was set by Ida for that sole by this entry."""
    said = {"at": AT, "by": IDA, "entry": THIS, "how": how, "sole_um": sole_um}
    return canonical_json({side: {piece: said} for side in "AB"})


def rows(shop: Shop) -> Rows:
    """Every row of every table that follows from the entries, with what people typed."""
    connection = shop.ledger.connection
    names = [
        name
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")
        if name not in _NOT_STATE
    ]
    found: Rows = {}
    for name in names:
        cursor = connection.execute(f"SELECT * FROM {name}")
        columns = [column[0] for column in cursor.description]
        found[name] = [said(connection, dict(zip(columns, row, strict=True))) for row in cursor]
    return found


def effect(
    shop: Shop,
    what: Event | str,
    body: Row | None = None,
    *,
    by: str = IDA,
    at: datetime | None = None,
    note: str = "",
) -> tuple[dict[str, Row], Rows, Rows]:
    """The columns of each pair's standing that changed, the rows that came and the rows that went."""
    before = rows(shop)
    with shop.desk(by, at=at) as desk:
        seq = (
            desk.enter(what, note=note)
            if isinstance(what, Event)
            else desk.enter(what, body or {}, note=note)
        )
        moment = desk.moment
    after = rows(shop)

    def told(row: Row) -> Row:
        return {
            column: THIS
            if value == seq and (column.endswith("entry") or column == "seq")
            else AT
            if value == moment
            else value.replace(f'"entry":{seq}', f'"entry":"{THIS}"').replace(moment, AT)
            if column == "stands"
            else value
            for column, value in row.items()
        }

    old = {row["tag"]: row for row in before.pop("standing")}
    new = {row["tag"]: row for row in after.pop("standing")}
    standing = {
        tag: changed
        for tag, row in new.items()
        if (
            changed := {
                column: value
                for column, value in told(row).items()
                if column not in _BOOKKEEPING and row[column] != old.get(tag, {}).get(column, ...)
            }
        )
    }
    came = {name: [told(row) for row in after[name] if row not in before[name]] for name in after}
    went = {name: [told(row) for row in before[name] if row not in after[name]] for name in after}
    return standing, {k: v for k, v in came.items() if v}, {k: v for k, v in went.items() if v}
