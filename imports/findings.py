"""A finding: one fault, doubt or remark about a file, said where it stands and with its cure."""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Any, Final


class Severity(StrEnum):
    """*note*: taken, and said aloud. *question*: a person must answer. *bad*: cannot be."""

    NOTE = "note"
    QUESTION = "question"
    BAD = "bad"

    @property
    def rank(self) -> int:
        """0 for the mildest."""
        return list(Severity).index(self)


FINE: Final = "nothing, if that is right"
"""The cure of what was taken and is said aloud."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One remark, a note where nothing else is said.

    ``row`` is 1-based, ``column`` a letter; both None where the whole file is meant.

    ``raw`` is the text as it stands in the file; ``taken`` what was made of it, None for nothing. ``key``:
    the value in doubt, where it is one; ``guesses``: answers that fit, the best first. ``question``: the id
    of the question that settles it, or whose answer was used. ``keeps_row``: only its value is in doubt.
    """

    code: str
    message: str
    severity: Severity = Severity.NOTE
    fix: str = FINE
    sheet: str | None = None
    row: int | None = None
    column: str | None = None
    tag: str | None = None
    raw: str | None = None
    taken: Any = None
    key: str | None = None
    guesses: tuple[str, ...] = ()
    question: str = ""
    keeps_row: bool = False

    def to_json(self) -> dict[str, Any]:
        """As other programs read it."""
        return {
            "severity": self.severity.value,
            "code": self.code,
            "sheet": self.sheet,
            "row": self.row,
            "column": self.column,
            "tag": self.tag,
            "raw": self.raw,
            "taken": plain(self.taken),
            "message": self.message,
            "fix": self.fix,
        }


def plain(value: Any) -> Any:
    """A value for JSON: whole decimals as whole numbers, others as the shortest float."""
    if isinstance(value, Decimal):
        return int(value) if value == value.to_integral_value() else float(value)
    return value
