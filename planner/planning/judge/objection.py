"""The objections of the judge."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Objection:
    """One broken limit or wrong figure: where, which rule, and the numbers."""

    about: str
    rule: str
    message: str

    def __str__(self) -> str:
        return f"{self.about}: {self.message}"
