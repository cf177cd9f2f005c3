"""The result of an audit: a list of findings and a report, values that print and serialise."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from typing import Any, Final

from fleet.base.days import day_text
from fleet.base.entries import Head
from fleet.base.units import counted

Progress = Callable[[str], None]


class AuditSeverity(StrEnum):
    """The weight of a finding."""

    BAD = "bad"
    QUESTION = "question"
    NOTE = "note"


class AuditPart(StrEnum):
    """The three parts of an audit, worst first, and what is only worth knowing."""

    FILE = "file"
    RULES = "rules"
    QUESTIONS = "questions"
    NOTES = "notes"


RULE_CODES: Final = frozenset(
    {
        "not on the staff list",
        "wrong role",
        "out of date",
        "passed by the repairer",
        "out without a pass",
        "out from nowhere",
        "out with another sole",
        "out without a boot",
        "own boot without a sole type",
        "out with a stopped boot",
        "out with another kind",
        "out without a release test",
    }
)
"""Questions that say a rule of the shop was not kept: this program refuses each of these at the counter."""

CANNOT_SHOW: Final = (
    "whether what was entered is true, and who sat there under a name",
    "entries cut off at the end, or an older copy put in the file's place, unless a head that was printed or"
    " kept elsewhere is compared: --head, --heads",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditFinding:
    """One thing found. ``entry`` is the entry it is about, if it is about one.

    ``day``: the shop's day of the entry: questions of one code and day are one line.
    """

    severity: AuditSeverity
    code: str
    sentence: str
    cure: str = ""
    entry: int | None = None
    day: str = ""

    @property
    def part(self) -> AuditPart:
        """The part of the audit that this belongs to."""
        if self.severity is AuditSeverity.BAD:
            return AuditPart.FILE
        if self.severity is AuditSeverity.NOTE:
            return AuditPart.NOTES
        return AuditPart.RULES if self.code in RULE_CODES else AuditPart.QUESTIONS

    def to_json(self) -> dict[str, Any]:
        """As `mountbook audit --json` prints it."""
        return {
            "severity": self.severity.value,
            "part": self.part.value,
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


def grouped(findings: Iterable[AuditFinding]) -> list[AuditFinding]:
    """Return the findings with those of one code and one day of the shop as one, in the order they come.

    A return that nobody scanned out happens daily in a shop: a line for each would hide the rest.
    """
    groups: dict[object, list[AuditFinding]] = {}
    for number, finding in enumerate(findings):
        key = (finding.code, finding.severity, finding.day) if finding.day else number
        groups.setdefault(key, []).append(finding)
    return [_as_one(group) for group in groups.values()]


def _as_one(group: list[AuditFinding]) -> AuditFinding:
    first = group[0]
    if len(group) == 1:
        return first
    entries = " ".join(str(finding.entry) for finding in group)
    return replace(
        first,
        sentence=f"{day_text(date.fromisoformat(first.day))}, {first.code}, {len(group)} times:"
        f" {'; '.join(finding.sentence for finding in group)}",
        cure=first.cure.replace(f"remark {first.entry} ", f"remark {entries} "),
    )


_OUTCOMES: Final = (
    (AuditPart.FILE, "bad"),
    (AuditPart.RULES, "rules"),
    (AuditPart.QUESTIONS, "questions"),
)
_HEADINGS: Final = {
    AuditPart.FILE: "The file:",
    AuditPart.RULES: "Rules that were not kept:",
    AuditPart.QUESTIONS: "Questions to answer:",
    AuditPart.NOTES: "Worth knowing:",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditReport:
    """The outcome of a full audit. ``head`` is None where not even the newest entry could be read.

    ``anchors``: the fate of the printed heads that were asked about, in words. ``left``: entries that an
    audit with little time has not read yet. ``rights``: each right of the staff list given: to whom, by
    whom, when.
    """

    file: str
    head: Head | None
    findings: tuple[AuditFinding, ...]
    anchors: tuple[str, ...] = ()
    left: int = 0
    rights: tuple[str, ...] = ()

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
        """``bad``, ``rules``, ``questions`` or ``clean``: the worst part in which something was found."""
        found = {f.part for f in self.findings}
        return next((word for part, word in _OUTCOMES if part in found), "clean")

    @property
    def exit_code(self) -> int:
        """The exit code of the command: 0 clean, 1 questions to answer, 3 the file, 4 the rules."""
        return {"clean": 0, "questions": 1, "rules": 4, "bad": 3}[self.outcome]

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
        """For a person: the three answers first, then each part's findings with their cures."""
        yield f"{self.file}: {self.answer()}"
        yield f"  {self.head.seq} entries, head {self.head}" if self.head else "  no entry could be read"
        if self.left:
            yield f"  {counted(self.left, 'entry', 'entries')} not read yet: the next audit goes on there"
        if self.first_bad_entry is not None:
            yield f"  first bad entry: {self.first_bad_entry}"
        for anchor in self.anchors:
            if not any(f.sentence == anchor for f in self.findings):
                yield f"  {anchor}"
        for part in AuditPart:
            lines = [line for f in grouped(self.findings) if f.part is part for line in (f.sentence, f.cure)]
            if lines:
                yield _HEADINGS[part]
            for sentence, cure in zip(lines[::2], lines[1::2], strict=True):
                yield f"  {sentence}"
                if cure:
                    yield f"    {cure}"
        if self.rights:
            yield "Rights given:"
        yield from (f"  {right}" for right in self.rights)
        yield "What an audit cannot show:"
        for words in CANNOT_SHOW:
            yield f"  {words}"

    def answer(self) -> str:
        """Return one clause a part: the file, the rules, the questions."""
        groups = [f.part for f in grouped(self.findings)]
        if self._only_the_head_differs():
            file = "sound in itself, but NOT the ledger of a printed or kept head"
        else:
            file = "NOT sound: it was damaged or changed outside this program" if not self.sound else "sound"
        broken, open_ = groups.count(AuditPart.RULES), groups.count(AuditPart.QUESTIONS)
        rules = f"{counted(broken, 'rule')} NOT kept" if broken else "the rules were kept"
        asked = f"{counted(open_, 'question')} to answer" if open_ else "no question"
        return f"{file}; {rules}; {asked}"

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
            "anchor": "; ".join(self.anchors) or None,
            "findings": [f.to_json() for f in self.findings],
            "rights": list(self.rights),
        }
