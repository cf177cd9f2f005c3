"""The full audit: every check of the file, as a list of findings.

Entries are read without holding the file (they are append-only, so what was read stays true), and the
state is rebuilt in memory on the way. The file is held only for the comparison at the end: counters
go on working during the long part.
"""

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Final

from fleet.audit.checkpoint import Mark, advance, keep_checkpoint, open_checkpoint
from fleet.audit.heads import KeptHead, anchored, compare_kept
from fleet.audit.histories import Histories, Rights
from fleet.audit.surroundings import surroundings
from fleet.base.entries import GENESIS, Entry, Head, utc_text
from fleet.base.errors import MountbookError
from fleet.base.kept_names import NamesSaid
from fleet.checks.chain import (
    Link,
    about_faults,
    blanking_faults,
    checked_links,
    links,
    lost_names,
    name_faults,
    readable_damage,
    rows_beside,
    schema_differences,
)
from fleet.checks.derived import compare_state, empty_state
from fleet.checks.findings import AuditFinding, AuditPart, AuditReport, Progress, bad, note
from fleet.events import derive
from fleet.events.corrections import NameRemoved
from fleet.rules.quick_passes import quick_passes
from fleet.tables.connection import connect, in_words, reading
from fleet.tables.file_kind import check_kind
from fleet.tables.layout import APPLICATION_ID, LAYOUT, Thing, marks_of
from fleet.tables.sqlite_faults import SQLITE_FAULTS

_BATCH: Final = 5000
_QUICK_SHOWN: Final = timedelta(days=30)
_READ_FAULTS = (*SQLITE_FAULTS, OverflowError)


def audit_file(
    path: Path,
    *,
    now: datetime,
    heads: Sequence[Head] = (),
    kept: Sequence[KeptHead] = (),
    progress: Progress | None = None,
    checkpoint: Path | None = None,
) -> AuditReport:
    """Audit a file that says it is a ledger, however damaged. Nothing in it is changed.

    ``heads`` are printed heads to look for, ``kept`` those kept elsewhere. A file of an older layout is
    held against that layout.
    ``checkpoint``: where the audit of a sound file is kept, so that the next may go on from there
    (`audit_since`). Raises LedgerFault only where the file is no ledger at all, cannot be opened, or is of
    a newer layout; everything else is a finding.
    """
    layout = check_kind(path)
    with in_words(path), closing(_opened(path)) as connection, closing(empty_state()) as memory:
        auditor = _Auditor(connection, memory, layout=layout, now=now, say=progress or (lambda _: None))
        auditor.marks(path)
        auditor.entries()
        auditor.state()
        auditor.structure()
        report = auditor.report(path, heads, kept)
        if checkpoint is not None and auditor.complete and report.sound and layout == LAYOUT:
            memory.execute("COMMIT")
            keep_checkpoint(checkpoint, memory, auditor.mark(full_at=now))
        return report


def audit_since(
    path: Path,
    *,
    now: datetime,
    checkpoint: Path,
    heads: Sequence[Head] = (),
    kept: Sequence[KeptHead] = (),
    progress: Progress | None = None,
    whole: bool = False,
    enough: Callable[[], bool] = lambda: False,
) -> AuditReport | None:
    """Audit what was entered since the checkpoint, and the state; None where there is no checkpoint to go
    on from.

    Once ``enough`` says so no more entries are read: the report says how many are left, and the next audit
    goes on there. What a full audit sees beyond this: a change of an older entry or of an older look, and
    the structure of the file's pages. ``whole`` looks at older entries and pages too, as a copy needs that
    is to stand for the ledger, and only trusts the state that was derived from them.
    """
    if check_kind(path) != LAYOUT:
        return None
    with open_checkpoint(checkpoint) as found:
        if found is None:
            return None
        memory, mark = found
        with in_words(path), closing(_opened(path)) as connection:
            if _name_removed(connection, after=mark.head.seq):
                return None  # the state of the checkpoint has that name
            auditor = _Auditor(
                connection, memory, layout=LAYOUT, now=now, say=progress or (lambda _: None), start=mark,
                enough=enough,
            )  # fmt: skip
            auditor.marks(path)
            auditor.still_there(mark)
            auditor.entries()
            auditor.state()
            if whole:
                auditor.older_entries(mark)
                auditor.structure()
            report = auditor.report(path, heads, kept)
            if report.sound and auditor.followed:
                advance(memory, auditor.mark(full_at=mark.full_at))
            return report


def _opened(path: Path) -> sqlite3.Connection:
    connection = connect(path)
    connection.execute("PRAGMA query_only = ON")
    connection.text_factory = readable_damage
    return connection


def _name_removed(connection: sqlite3.Connection, *, after: int) -> bool:
    try:
        row = connection.execute("SELECT max(removed_by) FROM names").fetchone()
    except SQLITE_FAULTS:
        return False
    return bool(row[0]) and row[0] > after


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
        start: Mark | None = None,
        enough: Callable[[], bool] = lambda: False,
    ) -> None:
        self.findings: list[AuditFinding] = []
        self.head: Head | None = start.head if start else None
        self._file = connection
        self._memory = memory
        self._names = NamesSaid(connection)
        self._layout = layout
        self._older = _older(layout)
        self._histories = Histories(memory, now=now, remembered=start.histories if start else None)
        self._say = say
        self._now = now
        self._enough = enough
        self._left = 0
        self._seq = start.head.seq if start else 0
        self._compared_to = start.compared_to if start else 0
        self._prev_hash: str | None = start.head.hash if start else GENESIS
        self._breaks = 0
        self._day = ""
        self.followed = True  # every entry that was read

    @property
    def complete(self) -> bool:
        """True if every entry was read and followed."""
        return self.followed and not self._left

    def mark(self, *, full_at: datetime) -> Mark:
        """Return where this audit ended, for the next one to go on from."""
        head = Head(self._seq, self._prev_hash or "")
        return Mark(
            head=head,
            compared_to=self._compared_to if self._left else self._seq,
            at=self._now,
            full_at=full_at,
            histories=self._histories.remembered(),
        )

    def report(self, path: Path, heads: Sequence[Head], kept: Sequence[KeptHead]) -> AuditReport:
        """Return all that was found, worst first, with what became of the printed and kept heads."""
        compared = [partial(anchored, self._file, head) for head in heads]
        compared.append(partial(compare_kept, self._file, kept))
        anchors = [said for said in map(self._said, compared) if said]
        self.findings += surroundings(path)
        self.findings.sort(key=lambda f: (list(AuditPart).index(f.part), f.entry or 0))
        return AuditReport(
            file=str(path), head=self.head, findings=tuple(self.findings), anchors=tuple(anchors),
            left=self._left, rights=self._rights(),
        )  # fmt: skip

    def _rights(self) -> tuple[str, ...]:
        rights = self._histories.rights if self.followed else Rights()
        with self._guarded("the staff list"):
            rights.read(self._file)
            return tuple(rights.given)
        return ()

    def still_there(self, mark: Mark) -> None:
        """Check that the file holds the entry where the audit before this one ended."""
        with self._guarded("the entries"):
            row = self._file.execute("SELECT hash FROM entries WHERE seq = ?", (mark.head.seq,)).fetchone()
            if row is None or row[0] != mark.head.hash:
                self.followed = False
                self._seq = self._newest()
                self.findings.append(
                    bad(
                        "audited entry gone",
                        f"entry {mark.head.seq}, which was audited on {utc_text(mark.at)}, is not in this"
                        " file: entries were cut off or changed, or an older copy lies in its place",
                        entry=mark.head.seq,
                    )
                )

    def marks(self, path: Path) -> None:
        """Check application id, version, length of the file, and the schema word for word."""
        with self._guarded("the head of the file"):
            if marks_of(self._file) != (APPLICATION_ID, self._layout):
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
            first = self._compared_to
            self.findings += list(blanking_faults(self._file, after=first, until=self._seq))
            self.findings += list(rows_beside(self._file, after=first))
            self.findings += list(name_faults(self._file))
        if self._breaks > 1:
            self.findings.append(note("chain", f"{self._breaks} entries are damaged or missing in all"))

    def older_entries(self, mark: Mark) -> None:
        """Check the chain up to where the last audit ended, without deriving the state from it again."""
        newest = 0
        with self._guarded("the entries"):
            for link, fault in checked_links(self._file, after=0, until=mark.head.seq):
                if wrong := fault or lost_names(self._file, link):
                    self._broken(link.seq, wrong)
                    return
                newest = link.seq
            if newest < mark.head.seq:
                self._broken(newest + 1, "is missing")
            self.findings += list(blanking_faults(self._file, after=0, until=mark.compared_to))
            self.findings += list(rows_beside(self._file, after=0))

    def state(self) -> None:
        """Compare the state, in one moment of the file. Entries that came in meanwhile are included."""
        if self.complete:
            self._say("comparing the state with the entries")
            with self._guarded("the tables of the state"), reading(self._file):
                self._read_to(self._newest())
                if self.complete:
                    self.findings += compare_state(
                        self._file, self._memory, older=self._older, after=self._compared_to
                    )
                    self.findings += self._quick_passes()
                    self.findings += self._signed()
        elif not self._left:
            self.findings.append(
                note("state not compared", "the state was not compared: that needs sound entries")
            )
        self.findings += self._histories.found(whole=self.complete)

    def _quick_passes(self) -> Iterator[AuditFinding]:
        since = (self._now - _QUICK_SHOWN).date()
        for one in quick_passes(self._memory, since=since):
            yield note(
                "quick passes",
                one.words,
                entry=one.entry,
                cure="the head technician looks at some of these pairs; the passes stand",
            )

    def _signed(self) -> Iterator[AuditFinding]:
        """Say how the entries of pages were signed: how each name was known."""
        if self._older:  # of a layout from before there were pages
            return
        rows = self._file.execute(
            "SELECT coalesce(json_extract(body, '$.tap.signed'), ''), count(*) FROM tap"
            " JOIN entries ON entries.seq = tap.entry GROUP BY 1 ORDER BY 1"
        ).fetchall()
        said = [f"{count} signed by {how}" if how else f"{count} by the desk alone" for how, count in rows]
        if said:
            yield note("signed on pages", f"entries made on pages: {', '.join(said)}")

    def structure(self) -> None:
        """Run SQLite's own checks: pages, indexes, references."""
        self._say("checking pages and indexes")
        with self._guarded("the structure of the file"):
            rows = self._file.execute("PRAGMA integrity_check(20)").fetchall()
            self.findings += [bad("structure", f"structure: {row[0]}") for row in rows if row[0] != "ok"]
            for table, row, parent, _ in self._file.execute("PRAGMA foreign_key_check").fetchall():
                self.findings.append(bad("structure", f"row {row} of {table} refers to nothing in {parent}"))

    def _said(self, compare: Callable[[], tuple[str | None, list[AuditFinding]]]) -> str | None:
        """Compare with a printed head, the anchor outside the file, or with the heads that lie elsewhere."""
        with self._guarded("the entries"):
            said, findings = compare()
            self.findings += findings
            return said
        return None

    def _newest(self) -> int:
        return int(self._file.execute("SELECT coalesce(max(seq), 0) FROM entries").fetchone()[0])

    def _read_to(self, top: int) -> None:
        first = self._seq
        while self._seq < top:
            if self._enough():
                self._left = top - self._seq
                break
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
        fault = link.fault(after=self._seq, prev_hash=self._prev_hash) or lost_names(self._file, link)
        if fault:
            self._broken(link.seq, fault)
        elif self.followed:
            self._follow(link)
        self._seq, self._prev_hash = link.seq, link.hash

    def _skip_gap(self, until: int) -> None:
        """Skip a batch without entries: go on at the next entry, however far a damaged number sent it."""
        self._broken(self._seq + 1, "is missing")
        found = self._file.execute("SELECT min(seq) FROM entries WHERE seq > ?", (self._seq,)).fetchone()[0]
        self._seq, self._prev_hash = (found - 1 if found is not None else until), None

    def _broken(self, seq: int, fault: str) -> None:
        self.followed = False
        self._breaks += 1
        if self._breaks == 1:
            self.findings.append(bad("chain", f"entry {seq} {fault}", entry=seq))

    def _follow(self, link: Link) -> None:
        try:
            entry = link.entry(self._names)
            if entry.what == NameRemoved.WHAT and self._went_meanwhile(link, entry):
                return
            self._histories.before(entry)
            day = entry.recorded_at_utc[:10]
            derive(self._memory, entry, same_day=day == self._day)
            self._day = day
            self.findings += about_faults(self._file, entry)
        except (MountbookError, ValueError, KeyError, TypeError, AttributeError, *_READ_FAULTS) as fault:
            self.followed = False
            self.findings.append(
                bad(
                    "does not follow",
                    f"entry {link.seq} cannot follow those before it: {fault}",
                    entry=link.seq,
                )
            )

    def _went_meanwhile(self, link: Link, entry: Entry) -> bool:
        """Return whether a name that was read before was taken out while this audit ran."""
        now = NamesSaid(self._file).body(link.body)["name"]
        if entry.body["name"] == now:
            return False
        self.followed = False
        self.findings.append(
            note(
                "state not compared",
                "a name was taken out while this audit ran: audit once more",
                entry=link.seq,
            )
        )
        return True

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
            self.followed = False
