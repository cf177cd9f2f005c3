"""A tag as it was scanned or typed, to the tag as the ledger writes it."""

from __future__ import annotations

import sqlite3

from fleet.base.check_character import tag_as_typed
from fleet.facts.holes import Side


def known_tag(connection: sqlite3.Connection, text: str) -> str:
    """The pair's or boot's tag that was meant: as it stands, in capitals, or with its check character.

    The code of one ski, ``K-031 A``, means its pair. A tag that is not in the ledger comes back as it was
    typed; BadInput where the check character is wrong.
    """
    for candidate in (text, text.upper()):
        if _is_known(connection, candidate):
            return called_now(connection, candidate)
    pair, side = ski_coded(text)
    if side is not None:
        return known_tag(connection, pair)
    bare = tag_as_typed(text)
    meant = bare.upper() if not _is_known(connection, bare) and _is_known(connection, bare.upper()) else bare
    return called_now(connection, meant)


def ski_code(tag: str, side: Side) -> str:
    """The code on the label of one ski: ``K-031 A``."""
    return f"{tag} {side.value}"


def ski_coded(text: str) -> tuple[str, Side | None]:
    """The pair and the ski of a ski's own code; the text as it is and None for any other."""
    pair, _, side = text.strip().rpartition(" ")
    if pair.strip() and side.upper() in list(Side):
        return pair.strip(), Side(side.upper())
    return text, None


def called_now(connection: sqlite3.Connection, tag: str) -> str:
    """The tag that a pair has today; any other text as it is."""
    row = connection.execute("SELECT new FROM renamed WHERE old = ?", (tag,)).fetchone()
    return str(row[0]) if row else tag


def names_of(connection: sqlite3.Connection, tag: str) -> tuple[str, ...]:
    """The tag that a pair has today, and those that it had before."""
    now = called_now(connection, tag)
    return (now, *(old for (old,) in connection.execute("SELECT old FROM renamed WHERE new = ?", (now,))))


def _is_known(connection: sqlite3.Connection, tag: str) -> bool:
    row = connection.execute(
        "SELECT 1 FROM pair WHERE tag = ?1 UNION ALL SELECT 1 FROM boot WHERE tag = ?1"
        " UNION ALL SELECT 1 FROM renamed WHERE old = ?1",
        (tag,),
    ).fetchone()
    return row is not None
