"""Recalls at the desk: opened, closed, and who is reached now."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from fleet.desk import Desk
from fleet.equipment import Binding
from fleet.errors import BadInput
from fleet.holes import Side
from fleet.recalls import Reach, Recall, read_recalls
from fleet.signing import signer
from fleet.snapshot import read_bindings


@dataclass(frozen=True, slots=True, kw_only=True)
class Reached:
    """A binding that an open recall reaches, or may reach, and where it is now."""

    recall: str
    reach: Reach
    binding_id: str
    pair: str | None
    ski: Side | None
    place: str
    due: str | None
    serial_toe: str
    serial_heel: str


def open_recall(desk: Desk, recall: Recall) -> list[Reached]:
    """Open a recall; from now on nothing it reaches goes out. Returns what it reaches."""
    if not recall.recall.strip() or not recall.source.strip():
        raise BadInput("a recall needs a name and its source", cure='add --source "maker\'s notice, date"')
    if not (recall.pattern or recall.season or recall.serial_from):
        raise BadInput("a recall of everything is no recall", cure="name a pattern, a season or serials")
    signer(desk.connection, desk.by, days=desk.signing_days, what="open a recall")
    fields = ("recall", "pattern", "piece", "serial_from", "serial_to", "season", "source")
    desk.enter("recall opened", {name: getattr(recall, name) for name in fields})
    return reached(desk.connection, recall)


def close_recall(desk: Desk, name: str, *, how: str) -> None:
    """Close a recall, saying how it ended. Signed by a listed person."""
    if not how.strip():
        raise BadInput("how the recall ended needs to be named", cure='add --how "all 12 pairs replaced"')
    signer(desk.connection, desk.by, days=desk.signing_days, what="close a recall")
    desk.enter("recall closed", {"recall": name}, note=how)


def reached(connection: sqlite3.Connection, recall: Recall | None = None) -> list[Reached]:
    """Every binding reached by that recall, or by any open one: out first, by due day, then the rest."""
    recalls = (recall,) if recall is not None else read_recalls(connection)
    places = {
        row[0]: (row[1], row[2]) for row in connection.execute("SELECT tag, place, out_due FROM standing")
    }
    found = [
        _reached(each, binding, places)
        for each in recalls
        for binding in read_bindings(connection).values()
        if each.reaches(binding) is not Reach.NOT
    ]
    return sorted(found, key=lambda r: (r.place != "out", r.due or "9999", r.pair or "", r.binding_id))


def _reached(recall: Recall, binding: Binding, places: dict[str, tuple[str, str | None]]) -> Reached:
    place, due = places.get(binding.on_pair or "", ("in stock", None))
    return Reached(
        recall=recall.recall,
        reach=recall.reaches(binding),
        binding_id=binding.binding_id,
        pair=binding.on_pair,
        ski=binding.on_ski,
        place=place,
        due=due if place == "out" else None,
        serial_toe=binding.serial_toe,
        serial_heel=binding.serial_heel,
    )
