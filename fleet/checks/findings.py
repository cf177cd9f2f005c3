"""The result of an audit: a list of findings and a report, values that print and serialise."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from fleet.base.entries import Head

Progress = Callable[[str], None]


class AuditSeverity(StrEnum):
    """The weight of a finding."""

    BAD = "bad"
    QUESTION = "question"
    NOTE = "note"


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditFinding:
    """One thing found. ``entry`` is the entry it is about, if it is about one."""

    severity: AuditSeverity
    code: str
    sentence: str
    cure: str = ""
    entry: int | None = None

    def to_json(self) -> dict[str, Any]:
        """As `mountbook audit --json` prints it."""
        return {
            "severity": self.severity.value,
            "code": self.code,
            "entry": self.entry,
            "message": self.sentence,
            "fix": self.cure,
        }


def bad(code: str, sentence: str, *, entry: int | None = None, cure: str = "") -> AuditFinding:
    """Damage, or a change made outside this program."""
    return AuditFinding(
        severity=AuditSeverity.BAD,
        code=code,
        sentence=sentence,
        entry=entry,
        cure=cure or "mountbook restore the newest good backup, and keep this file as it is",
    )


def question(code: str, sentence: str, *, entry: int | None = None, cure: str = "") -> AuditFinding:
    """A history that cannot have happened as entered; the file itself is sound."""
    return AuditFinding(severity=AuditSeverity.QUESTION, code=code, sentence=sentence, entry=entry, cure=cure)


def note(code: str, sentence: str, *, entry: int | None = None, cure: str = "") -> AuditFinding:
    """Worth knowing; nothing to do at once."""
    return AuditFinding(severity=AuditSeverity.NOTE, code=code, sentence=sentence, entry=entry, cure=cure)


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditReport:
    """The outcome of a full audit. ``head`` is None where not even the newest entry could be read."""

    file: str
    head: Head | None
    findings: tuple[AuditFinding, ...]
    anchor: str | None = None
    """The fate, in words, of the printed head that was asked about; None if none was."""

    @property
    def sound(self) -> bool:
        """No damage found, and a printed head that was asked about is contained."""
        return not any(f.severity is AuditSeverity.BAD for f in self.findings)

    @property
    def clean(self) -> bool:
        """Sound, and no question either."""
        return all(f.severity is AuditSeverity.NOTE for f in self.findings)

    @property
    def outcome(self) -> str:
        """``clean``, ``questions`` or ``bad``."""
        return "clean" if self.clean else "questions" if self.sound else "bad"

    @property
    def first_bad_entry(self) -> int | None:
        """The lowest entry that is damaged itself; a state that differs is no fault of its entry."""
        entries = [
            f.entry
            for f in self.findings
            if f.severity is AuditSeverity.BAD and f.code != "state differs" and f.entry is not None
        ]
        return min(entries, default=None)

    def lines(self) -> Iterator[str]:
        """For a person: the answer first, then each finding with its cure."""
        ends = f"{self.head.seq} entries, head {self.head}" if self.head else "no entry could be read"
        answers = {
            "clean": "sound: chain, state and structure agree",
            "questions": "sound, but some histories cannot have happened as entered",
            "bad": "NOT sound: it was damaged or changed outside this program",
        }
        if self._only_the_head_differs():
            answers["bad"] = "sound in itself, but NOT what the sheet was printed from"
        yield f"{self.file}: {answers[self.outcome]}"
        yield f"  {ends}"
        if self.first_bad_entry is not None:
            yield f"  first bad entry: {self.first_bad_entry}"
        if self.anchor is not None and not any(f.sentence == self.anchor for f in self.findings):
            yield f"  {self.anchor}"
        for finding in self.findings:
            yield f"{finding.severity.value}: {finding.sentence}"
            if finding.cure:
                yield f"  {finding.cure}"

    def _only_the_head_differs(self) -> bool:
        wrong = [f for f in self.findings if f.severity is AuditSeverity.BAD]
        return bool(wrong) and all(f.code in ("head missing", "head differs") for f in wrong)

    def to_json(self) -> dict[str, Any]:
        """One JSON object, for ``--json``."""
        return {
            "file": self.file,
            "entries": self.head.seq if self.head else None,
            "head": str(self.head) if self.head else None,
            "outcome": self.outcome,
            "first_bad_entry": self.first_bad_entry,
            "anchor": self.anchor,
            "findings": [f.to_json() for f in self.findings],
        }
