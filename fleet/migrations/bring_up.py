"""Bring a ledger of an older layout up to this program's, or leave it exactly as it was."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from fleet.audit.chain import links
from fleet.connection import LedgerConnection, in_words, rolled_back, trust
from fleet.derive import derive
from fleet.entries import GENESIS
from fleet.errors import LedgerFault, MountbookError
from fleet.layout import Thing, found_things, layout_statements, statements, things
from fleet.schema import LAYOUT

_HERE: Final = Path(__file__).parent


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """From layout ``start`` to ``start + 1``.

    ``old`` is what the schema of layout ``start`` holds. ``change_entries`` alters the tables of
    entries and notes where that is needed at all; the derived tables are always made anew.
    """

    start: int
    old: frozenset[Thing]
    change_entries: Callable[[sqlite3.Connection], None] | None = None


STEPS: Final[Mapping[int, Step]] = {}
"""The steps of this program by the layout they start from. Layout 1 is the first: none yet."""


def layout_file(layout: int) -> frozenset[Thing]:
    """What an old layout's schema holds, from ``layout_N.sql`` beside this file."""
    return things(statements((_HERE / f"layout_{layout}.sql").read_text(encoding="utf-8")))


def bring_up(
    connection: LedgerConnection,
    path: Path,
    *,
    steps: Mapping[int, Step] = STEPS,
    target: int = LAYOUT,
    new: tuple[str, ...] | None = None,
) -> None:
    """Take the file through every step to ``target``, in ONE transaction for all of them.

    Several programs may do this at once: the first does it, the others wait and find it done. Raises
    LedgerFault, and leaves the file as it was, if its tables are not what its layout says, if an entry
    is damaged, or if it cannot be written.
    """
    with in_words(path):
        connection.execute("PRAGMA foreign_keys = OFF")  # says nothing inside a transaction
        try:
            connection.execute("BEGIN IMMEDIATE")
            layout = int(connection.execute("PRAGMA user_version").fetchone()[0])
            if layout < target:
                _check_old(connection, path, steps=steps, layout=layout)
                for number in range(layout, target):
                    change = steps[number].change_entries
                    if change is not None:
                        change(connection)
                make_anew(connection, new if new is not None else layout_statements())
                derive_again(connection, path)
                connection.execute(f"PRAGMA user_version = {target}")
            connection.execute("COMMIT")
        except BaseException:
            rolled_back(connection)
            raise
        finally:
            connection.execute("PRAGMA foreign_keys = ON")


def _check_old(connection: sqlite3.Connection, path: Path, *, steps: Mapping[int, Step], layout: int) -> None:
    if layout not in steps:
        raise LedgerFault(
            f"{path} is of layout {layout}, which this program cannot read",
            cure="see `mountbook audit`, then `mountbook restore` the newest good backup",
        )
    if found_things(connection) != steps[layout].old:
        raise LedgerFault(
            f"{path} says it is of layout {layout}, but its tables are not those of layout {layout}",
            cure="see `mountbook audit`, then `mountbook restore` the newest good backup",
        )


def make_anew(connection: LedgerConnection, new: tuple[str, ...]) -> None:
    """Drop all but the entries and notes, then make the new layout's derived tables and guards."""
    kept = ("entries", "notes")
    things = connection.execute(
        "SELECT type, name FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY type = 'table'"
    ).fetchall()
    for kind, name in things:
        if kind == "trigger" or (kind in ("table", "view") and name not in kept):
            connection.execute(f'DROP {kind} "{name}"')
    for statement in new:
        if not statement.startswith(tuple(f"CREATE TABLE {table} " for table in kept)):
            connection.execute(statement)
    trust(connection)


def derive_again(connection: LedgerConnection, path: Path) -> None:
    """Fill the empty derived tables from the entries. LedgerFault for the first that does not follow."""
    after, prev_hash = 0, GENESIS
    newest = connection.execute("SELECT max(seq) FROM entries").fetchone()[0] or 0
    with connection.unlatched():
        for link in links(connection, after=0, until=newest):
            fault = link.fault(after=after, prev_hash=prev_hash)
            if fault:
                raise LedgerFault(
                    f"{path} cannot be brought up to date: entry {link.seq} {fault}",
                    cure="see `mountbook audit`, then `mountbook restore` the newest good backup",
                )
            try:
                derive(connection, link.entry())
            except (MountbookError, ValueError, KeyError, TypeError) as refusal:
                raise LedgerFault(
                    f"{path} cannot be brought up to date: entry {link.seq} does not follow: {refusal}",
                    cure="keep using the mountbook that wrote it, and send its maker this sentence",
                ) from refusal
            after, prev_hash = link.seq, link.hash
