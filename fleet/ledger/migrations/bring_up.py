"""Bring a ledger of an older layout up to this program's, or leave it exactly as it was."""

import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path
from typing import Final

from fleet.base.errors import LedgerFault, MountbookError
from fleet.base.kept_names import NamesSaid
from fleet.checks.chain import checked_links
from fleet.events import derive
from fleet.tables.connection import LedgerConnection, connect_copy, in_words, rolled_back, trust
from fleet.tables.layout import LAYOUT, Thing, found_things, layout_statements, statements, things

_HERE: Final = Path(__file__).parent
_KEPT: Final = ("entries", "notes", "names")


@dataclass(frozen=True, slots=True, kw_only=True)
class LayoutStep:
    """The step from layout ``start`` to ``start + 1``.

    ``old`` is what the schema of layout ``start`` holds. ``change_entries`` alters the tables of
    entries and notes where that is needed at all; the derived tables are always made anew.
    """

    start: int
    old: frozenset[Thing]
    change_entries: Callable[[sqlite3.Connection], None] | None = None


def layout_file(layout: int) -> frozenset[Thing]:
    """Return the schema of an old layout, from ``layout_N.sql`` beside this file."""
    return things(statements((_HERE / f"layout_{layout}.sql").read_text(encoding="utf-8")))


STEPS: Final[Mapping[int, LayoutStep]] = {
    1: LayoutStep(
        start=1, old=layout_file(1)
    ),  # 2: entries are found by name and day; numbers of holes are kept
    2: LayoutStep(start=2, old=layout_file(2)),  # 3: what stands on the rack; what is not known stays unknown
}
"""The steps of this program by the layout they start from."""


def brought_up(
    connection: LedgerConnection, path: Path, *, say: Callable[[str], object] | None = None
) -> LedgerConnection:
    """Return the connection with its file brought up; a copy in memory if the file may not be written.

    Records lie on read-only sticks and discs when they are asked for. Raises LedgerFault as `bring_up`.
    """
    say = say or (lambda _: None)
    say(f"{path} is of an older layout: it is brought up to this program's once, which takes a while")
    try:
        bring_up(connection, path)
    except LedgerFault as fault:
        if not getattr(fault.__cause__, "sqlite_errorname", "").startswith(_NOT_TO_BE_WRITTEN):
            raise
    else:
        return connection
    say(f"{path} may not be written: it is brought up in memory, each time, and can only be read")
    with in_words(path):
        memory = connect_copy(connection)
    connection.close()
    bring_up(memory, path)
    memory.execute("PRAGMA query_only = ON")
    return memory


_NOT_TO_BE_WRITTEN: Final = ("SQLITE_READONLY", "SQLITE_CANTOPEN")


def bring_up(
    connection: LedgerConnection,
    path: Path,
    *,
    steps: Mapping[int, LayoutStep] = STEPS,
    target: int = LAYOUT,
    new: tuple[str, ...] | None = None,
    mend: bool = False,
) -> None:
    """Take the file through every step to ``target``, in ONE transaction for all of them.

    Several programs may do this at once: the first does it, the others wait and find it done. Raises
    LedgerFault, and leaves the file as it was, if its tables are not what its layout says, if an entry
    is damaged, if it cannot be written, or if its state is not what its entries say: that is not mended
    in passing, but aloud (``mend``, which `fleet.audit.backup` sets).
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
                old = derived_columns(connection)
                before = _sums(connection, old)
                derive_anew(connection, path, new=new)
                if not mend:
                    _check_same(before, _sums(connection, _still_there(connection, old)), path)
                connection.execute(f"PRAGMA user_version = {target}")
            connection.execute("COMMIT")
        except BaseException:
            rolled_back(connection)
            raise
        finally:
            connection.execute("PRAGMA foreign_keys = ON")


def _check_old(
    connection: sqlite3.Connection, path: Path, *, steps: Mapping[int, LayoutStep], layout: int
) -> None:
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


def derived_columns(connection: sqlite3.Connection) -> dict[str, list[str]]:
    """Return the derived tables of this file, whatever its layout, with their columns."""
    tables = [row[0] for row in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    return {
        table: [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
        for table in tables
        if table not in _KEPT
    }


def _still_there(connection: sqlite3.Connection, old: Mapping[str, list[str]]) -> dict[str, list[str]]:
    """Return the tables that have all their columns in the new layout too."""
    new = derived_columns(connection)
    return {table: columns for table, columns in old.items() if {*columns} <= {*new.get(table, ())}}


def _sums(connection: sqlite3.Connection, tables: Mapping[str, list[str]]) -> dict[str, int]:
    """Return one number for all rows of a table over these columns, independent of their order."""
    return {
        table: sum(
            int.from_bytes(blake2b(repr(row).encode(errors="surrogateescape"), digest_size=16).digest())
            for row in connection.execute(f"SELECT {', '.join(columns)} FROM {table}")
        )
        for table, columns in tables.items()
    }


def _check_same(before: Mapping[str, int], after: Mapping[str, int], path: Path) -> None:
    changed = [table for table, total in after.items() if before[table] != total]
    if changed:
        raise LedgerFault(
            f"the state in {path} is not what its entries say (table {changed[0]}): it was changed by hand",
            cure="`mountbook audit` names the rows, `mountbook rebuild` derives them anew, aloud",
        )


def derive_anew(connection: LedgerConnection, path: Path, *, new: tuple[str, ...] | None = None) -> None:
    """Make the derived tables of this layout, or of the statements ``new``, and derive every entry again.

    Raises LedgerFault for a fault in the chain and for an entry that does not follow.
    """
    _make_anew(connection, new if new is not None else layout_statements())
    _derive_again(connection, path)


def _make_anew(connection: LedgerConnection, new: tuple[str, ...]) -> None:
    """Drop all but the entries, notes and names, then make the new layout's derived tables and guards."""
    things = connection.execute(
        "SELECT type, name FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY type = 'table'"
    ).fetchall()
    for kind, name in things:
        if kind == "trigger" or (kind in ("table", "view") and name not in _KEPT):
            connection.execute(f'DROP {kind} "{name}"')
    there = {name for kind, name in things if kind == "table"} & {*_KEPT}
    for statement in new:
        if not statement.startswith(tuple(f"CREATE TABLE {table} " for table in there)):
            connection.execute(statement)
    trust(connection)


def _derive_again(connection: LedgerConnection, path: Path) -> None:
    """Fill the empty derived tables from the entries. Raises LedgerFault for the first that does not
    follow.
    """
    newest = connection.execute("SELECT max(seq) FROM entries").fetchone()[0] or 0
    names = NamesSaid(connection)
    with connection.unlatched():
        for link, fault in checked_links(connection, after=0, until=newest):
            if fault:
                raise LedgerFault(
                    f"{path} cannot be brought up to date: entry {link.seq} {fault}",
                    cure="see `mountbook audit`, then `mountbook restore` the newest good backup",
                )
            try:
                derive(connection, link.entry(names))
            except (MountbookError, ValueError, KeyError, TypeError) as refusal:
                raise LedgerFault(
                    f"{path} cannot be brought up to date: entry {link.seq} does not follow: {refusal}",
                    cure="keep using the mountbook that wrote it, and send its maker this sentence",
                ) from refusal
