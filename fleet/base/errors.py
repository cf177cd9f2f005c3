"""Errors that mean "cannot go on": one plain sentence and a cure. A fault in data is a Finding instead.

MountbookError
|- Refused          the rules say no (a held ski, a stale order); carries what to do instead
|  `- AnotherSigns  the name may not sign this; carries the names that may
|- LedgerFault      the file is not a ledger, is newer than this program, or is damaged
|- BadInput         a file or an argument that cannot be used at all
`- PlanFault        the plan could not be made, or the judge refused it
"""

from __future__ import annotations

from typing import Final

RECORD_FAULTS: Final = (LookupError, ValueError, TypeError, ArithmeticError, AttributeError)
"""Raised where a record that nobody foresaw is read: the fault of one thing, not of the list."""


class MountbookError(Exception):
    """One sentence for a person, and a cure that stands apart. Exit code 1."""

    def __init__(self, sentence: str, *, cure: str = "") -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.cure = cure


class Refused(MountbookError):
    """The rules say no. ``instead`` lists tags that would do, best first."""

    def __init__(self, sentence: str, *, cure: str = "", instead: tuple[str, ...] = ()) -> None:
        super().__init__(sentence, cure=cure)
        self.instead = instead


class AnotherSigns(Refused):
    """This name may not sign that. ``names``: those whose signature would count."""

    def __init__(self, sentence: str, *, cure: str, names: tuple[str, ...]) -> None:
        super().__init__(sentence, cure=cure)
        self.names = names


class LedgerFault(MountbookError):
    """The ledger file cannot be used as it is."""


class BadInput(MountbookError):
    """A file or an argument that cannot be used at all."""


class PlanFault(MountbookError):
    """No plan was written."""
