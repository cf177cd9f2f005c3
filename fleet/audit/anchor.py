"""The anchor outside the file: a head printed on paper, compared with the file.

It shows whether the file still contains what was printed. It proves nothing else: not who changed
the file, not that what was entered was true, and with eight hexadecimal digits it is a comparison of
32 bits, plenty against accidents and hasty hands.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Sequence
from dataclasses import replace

from fleet.audit.heads import KeptHead
from fleet.base.entries import Head, fact_in
from fleet.base.errors import BadInput
from fleet.checks.findings import AuditFinding, bad, note


def parse_head(text: str) -> Head:
    """Return the head typed as ``1284:a3f920c1``, or scanned from a sheet's code, in full."""
    match = re.fullmatch(r"\s*(?:HEAD\s+)?(\d{1,15})\s*:\s*([0-9a-fA-F]{8,64})\s*", text)
    if match is None:
        raise BadInput(
            f"{text!r} is not a printed head",
            cure="copy it from the sheet, like 1284:a3f920c1",
        )
    return Head(int(match[1]), match[2].lower())


def anchored(connection: sqlite3.Connection, printed: Head) -> tuple[str, list[AuditFinding]]:
    """Return the fate of the printed head in words, and a finding if it is not in the file."""
    row = connection.execute("SELECT hash FROM entries WHERE seq = ?", (printed.seq,)).fetchone()
    name = f"{printed.seq}:{printed.hash[:8]}"
    if row is not None and str(row[0]).startswith(printed.hash):
        return f"this file still contains the printed head {name}", []
    restored = _left_behind(connection, printed)
    if restored is not None:
        said = f"the printed head {name} was left behind by the restore of entry {restored}"
        return said, [note("head left behind", said, entry=restored)]
    if row is None:
        newest = connection.execute("SELECT coalesce(max(seq), 0) FROM entries").fetchone()[0]
        said = f"the printed head {name} is not in this file, which ends at entry {newest}"
        return said, [bad("head missing", said, cure="find the file that the sheet was printed from")]
    said = (
        f"entry {printed.seq} of this file is not the one that was printed ({name}):"
        f" it, or one before it, was changed since"
    )
    return said, [bad("head differs", said, cure="compare with a backup made before the sheet was printed")]


def _left_behind(connection: sqlite3.Connection, printed: Head) -> int | None:
    """Return the entry of the restore that took the file back to before this head; None if there is none.

    A restore is signed and stands in the ledger with the newest entry of the copy and of the file that it
    replaced: the heads between the two are missing by its word, and by nobody else's.
    """
    for seq, body in connection.execute("SELECT seq, body FROM entries WHERE what = 'ledger restored'"):
        copy, replaced = fact_in(body, "head"), fact_in(body, "replaced")
        if copy and replaced and int(copy.split(":")[0]) < printed.seq <= int(replaced.split(":")[0]):
            return int(seq)
    return None


def compare_kept(
    connection: sqlite3.Connection, kept: Sequence[KeptHead]
) -> tuple[str | None, list[AuditFinding]]:
    """Return what became of many heads in one sentence, and a finding for each that is not in the file."""
    if not kept:
        return None, []
    findings, sound = list[AuditFinding](), list[int]()
    for one in kept:
        if one.fault:
            findings.append(
                bad("kept head", f"{one.place} {one.fault}", cure="look who could write there, and when")
            )
            continue
        _, wrong = anchored(connection, one.head)
        findings += [replace(found, sentence=f"{one.place}: {found.sentence}") for found in wrong]
        if not wrong:
            sound.append(one.head.seq)
    newest = f", the newest of them entry {max(sound)}" if sound else ""
    return f"kept heads in this file: {len(sound)} of {len(kept)}{newest}", findings
