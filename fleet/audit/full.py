"""The full audit: every check of the file, as a list of findings.

Entries are read without holding the file (they are append-only, so what was read stays true), and the
state is rebuilt in memory on the way. The file is held only for the comparison at the end: counters
go on working during the long part.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path
from typing import Final

from fleet.audit.anchor import anchored
from fleet.audit.histories import Histories
from fleet.audit.surroundings import surroundings
from fleet.base.entries import GENESIS, Head
from fleet.base.errors import MountbookError
from fleet.checks.chain import Link, about_faults, blanking_faults, links, readable_damage
from fleet.checks.derived import compare_state, empty_state
from fleet.checks.findings import AuditFinding, AuditReport, AuditSeverity, Progress, bad, note
from fleet.checks.quick import schema_differences
from fleet.events import derive
from fleet.tables.connection import SQLITE_FAULTS, connect, in_words, reading
from fleet.tables.file_kind import check_kind
from fleet.tables.layout import Thing
from fleet.tables.schema import APPLICATION_ID, LAYOUT

_BATCH: Final = 5000
_READ_FAULTS = (*SQLITE_FAULTS, OverflowError)


def audit_file(
    path: Path, *, now: datetime, head: Head | None = None, progress: Progress | None = None
) -> AuditReport:
    """Audit a file that says it is a ledger, however damaged. Nothing in it is changed.

    ``head`` is a printed head to look for. A file of an older layout is held against that layout. Raises
    LedgerFault only where the file is no ledger at all, cannot be opened, or is of a newer layout;
    everything else is a finding.
    """
    layout = check_kind(path)
    say = progress or (lambda _: None)
    with in_words(path), closing(connect(path)) as connection, closing(empty_state()) as memory:
        connection.execute("PRAGMA query_only = ON")
        connection.text_factory = readable_damage
        auditor = _Auditor(connection, memory, layout=layout, now=now, say=say)
        findings = auditor.findings
        auditor.marks(path)
        auditor.entries()
        auditor.state()
        auditor.structure()
        said = None
        if head is not None:
            said = auditor.printed(head)
        findings += surroundings(path)
        findings.sort(key=lambda f: (list(AuditSeverity).index(f.severity), f.entry or 0))
        return AuditReport(file=str(path), head=auditor.head, findings=tuple(findings), anchor=said)


def _older(layout: int) -> frozenset[Thing]:
    """Return the schema of an older layout; empty for this program's own."""
    if layout == LAYOUT:
        return frozenset()
    from fleet.ledger.migrations import STEPS

    return STEPS[layout].old


class _Auditor:
    """One audit in progress: the entries read so far, and the findings."""

    def __init__(
        self,
        connection: sqlite3.Connection,
        memory: sqlite3.Connection,
        *,
        layout: int,
        now: datetime,
        say: Progress,
    ) -> None:
        self.findings: list[AuditFinding] = []
        self.head: Head | None = None
        self._file = connection
        self._memory = memory
        self._layout = layout
        self._older = _older(layout)
        self._histories = Histories(memory, now=now)
        self._say = say
        self._seq = 0
        self._prev_hash: str | None = GENESIS
        self._breaks = 0
        self._derivable = True

    def marks(self, path: Path) -> None:
        """Check application id, version, length of the file, and the schema word for word."""
        with self._guarded("the head of the file"):
            application = self._file.execute("PRAGMA application_id").fetchone()[0]
            layout = self._file.execute("PRAGMA user_version").fetchone()[0]
            if (application, layout) != (APPLICATION_ID, self._layout):
                self.findings.append(bad("marks", "the marks at the head of the file were changed"))
            size = self._file.execute("PRAGMA page_size").fetchone()[0]
            pages = self._file.execute("PRAGMA page_count").fetchone()[0]
            if path.stat().st_size != size * pages:
                self.findings.append(
                    bad(
                        "length",
                        f"the file is {path.stat().st_size} bytes long, its pages are {size * pages}",
                    )
                )
        with self._guarded("the schema"):
            self.findings += [
                bad("schema", f"the file was altered: {words}")
                for words in schema_differences(self._file, self._older or None)
            ]
        if self._older:
            self.findings.append(
                note("older layout", f"the file is of layout {self._layout}; the next command brings it up")
            )

    def entries(self) -> None:
        """Check the chain, and derive the state again on the way."""
        with self._guarded("the entries"):
            top = self._newest()
            if top == 0:
                self._broken(1, "is missing: the file holds no entry")
            self._read_to(top)
            self.findings += list(blanking_faults(self._file, self._seq))
        if self._breaks > 1:
            self.findings.append(note("chain", f"{self._breaks} entries are damaged or missing in all"))

    def state(self) -> None:
        """Compare the state, in one moment of the file. Entries that came in meanwhile are included."""
        if not self._derivable:
            self.findings.append(
                note("state not compared", "the state was not compared: that needs sound entries")
            )
            self.findings += self._histories.found(whole=False)
            return
        self._say("comparing the state with the entries")
        with self._guarded("the tables of the state"), reading(self._file):
            self._read_to(self._newest())
            if self._derivable:
                self.findings += compare_state(self._file, self._memory, older=self._older)
        self.findings += self._histories.found(whole=self._derivable)

    def structure(self) -> None:
        """Run SQLite's own checks: pages, indexes, references."""
        self._say("checking pages and indexes")
        with self._guarded("the structure of the file"):
            rows = self._file.execute("PRAGMA integrity_check(20)").fetchall()
            self.findings += [bad("structure", f"structure: {row[0]}") for row in rows if row[0] != "ok"]
            for table, row, parent, _ in self._file.execute("PRAGMA foreign_key_check").fetchall():
                self.findings.append(bad("structure", f"row {row} of {table} refers to nothing in {parent}"))

    def printed(self, head: Head) -> str | None:
        """Compare with the printed head, the anchor outside the file."""
        with self._guarded("the entries"):
            said, findings = anchored(self._file, head)
            self.findings += findings
            return said
        return None

    def _newest(self) -> int:
        return int(self._file.execute("SELECT coalesce(max(seq), 0) FROM entries").fetchone()[0])

    def _read_to(self, top: int) -> None:
        first = self._seq
        while self._seq < top:
            until = min(top, self._seq + _BATCH)
            reached = self._seq
            for link in links(self._file, after=self._seq, until=until):
                if link.seq > self._seq:  # a damaged tree may come round again
                    self._look_at(link)
            if self._seq == reached:
                self._skip_gap(until)
            self.head = Head(self._seq, self._prev_hash or "")
            self._say(f"entry {self._seq} of {top} ({100 * (self._seq - first) // (top - first)} %)")

    def _look_at(self, link: Link) -> None:
        if link.seq != self._seq + 1:
            self._broken(self._seq + 1, "is missing")
            self._seq, self._prev_hash = link.seq - 1, None
        fault = link.fault(after=self._seq, prev_hash=self._prev_hash)
        if fault:
            self._broken(link.seq, fault)
        elif self._derivable:
            self._follow(link)
        self._seq, self._prev_hash = link.seq, link.hash

    def _skip_gap(self, until: int) -> None:
        """Skip a batch without entries: go on at the next entry, however far a damaged number sent it."""
        self._broken(self._seq + 1, "is missing")
        found = self._file.execute("SELECT min(seq) FROM entries WHERE seq > ?", (self._seq,)).fetchone()[0]
        self._seq, self._prev_hash = (found - 1 if found is not None else until), None

    def _broken(self, seq: int, fault: str) -> None:
        self._derivable = False
        self._breaks += 1
        if self._breaks == 1:
            self.findings.append(bad("chain", f"entry {seq} {fault}", entry=seq))

    def _follow(self, link: Link) -> None:
        try:
            entry = link.entry()
            self._histories.before(entry)
            derive(self._memory, entry)
            self.findings += about_faults(self._file, entry)
        except (MountbookError, ValueError, KeyError, TypeError, AttributeError, *_READ_FAULTS) as fault:
            self._derivable = False
            self.findings.append(
                bad(
                    "does not follow",
                    f"entry {link.seq} cannot follow those before it: {fault}",
                    entry=link.seq,
                )
            )

    @contextmanager
    def _guarded(self, what: str) -> Iterator[None]:
        """Turn an error of SQLite into a finding, and go on with what can be read."""
        try:
            yield
        except _READ_FAULTS as fault:
            code = getattr(fault, "sqlite_errorname", None) or ""
            if code.startswith(("SQLITE_BUSY", "SQLITE_CANTOPEN", "SQLITE_IOERR", "SQLITE_READONLY")):
                raise
            self.findings.append(bad("unreadable", f"{what} cannot be read: {fault}"))
            self._derivable = False
