"""A tag as it was scanned or typed, to the tag as the ledger writes it."""

from __future__ import annotations

import sqlite3

from fleet.base.check_character import tag_as_typed


def known_tag(connection: sqlite3.Connection, text: str) -> str:
    """The pair's or boot's tag that was meant: as it stands, in capitals, or with its check character.

    A tag that is not in the ledger comes back as it was typed; BadInput where the check character is wrong.
    """
    for candidate in (text, text.upper()):
        if _is_known(connection, candidate):
            return candidate
    bare = tag_as_typed(text)
    return bare.upper() if not _is_known(connection, bare) and _is_known(connection, bare.upper()) else bare


def _is_known(connection: sqlite3.Connection, tag: str) -> bool:
    row = connection.execute(
        "SELECT 1 FROM pair WHERE tag = ? UNION ALL SELECT 1 FROM boot WHERE tag = ?", (tag, tag)
    ).fetchone()
    return row is not None
