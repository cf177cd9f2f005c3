"""The anchor outside the file: a head printed on paper, compared with the file.

It shows whether the file still contains what was printed. It proves nothing else: not who changed
the file, not that what was entered was true, and with eight hexadecimal digits it is a comparison of
32 bits, plenty against accidents and hasty hands.
"""

from __future__ import annotations

import re
import sqlite3

from fleet.base.entries import Head
from fleet.base.errors import BadInput
from fleet.checks.findings import AuditFinding, bad


def parse_head(text: str) -> Head:
    """Return the head typed as ``1284:a3f920c1``; more digits of the hash may follow."""
    match = re.fullmatch(r"\s*(\d{1,15})\s*:\s*([0-9a-fA-F]{8,64})\s*", text)
    if match is None:
        raise BadInput(f"{text!r} is not a printed head", cure="copy it from the sheet, like 1284:a3f920c1")
    return Head(int(match[1]), match[2].lower())


def anchored(connection: sqlite3.Connection, printed: Head) -> tuple[str, list[AuditFinding]]:
    """Return the fate of the printed head in words, and a finding if it is not in the file."""
    row = connection.execute("SELECT hash FROM entries WHERE seq = ?", (printed.seq,)).fetchone()
    name = f"{printed.seq}:{printed.hash[:8]}"
    if row is None:
        newest = connection.execute("SELECT coalesce(max(seq), 0) FROM entries").fetchone()[0]
        said = f"the printed head {name} is not in this file, which ends at entry {newest}"
        return said, [bad("head missing", said, cure="find the file that the sheet was printed from")]
    if not str(row[0]).startswith(printed.hash):
        said = (
            f"entry {printed.seq} of this file is not the one that was printed ({name}):"
            f" it, or one before it, was changed since"
        )
        return said, [
            bad("head differs", said, cure="compare with a backup made before the sheet was printed")
        ]
    return f"this file still contains the printed head {name}", []
