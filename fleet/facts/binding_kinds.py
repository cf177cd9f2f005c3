"""Kinds of binding, and what is done on each: rows that a head technician reads, and adds to.

A row belongs to a kind and a step. Steps: ``toe``, ``heel``, ``plate`` (how that piece is brought to the
boot), ``keeper`` (what keeps the ski where there is no brake), ``driver`` and ``insert`` (screws), ``fit``
(what is checked at the end, boot in). The kind ``any`` speaks where a kind has no row of its own.
The rows that come with the program stand in ``binding_kinds.csv``; the shop's own go before them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from fleet.base.errors import nearest, or_bad_input
from fleet.base.files import typed_rows
from fleet.base.values import Value
from fleet.facts.columns import TypedText

NOT_STATED: Final = "not stated"
ANY: Final = "any"
STEPS: Final = ("toe", "heel", "plate", "keeper", "driver", "insert", "fit")
COLUMNS: Final = ("kind", "step", "lead", "words", "origin")
_FILE: Final = Path(__file__).with_name("binding_kinds.csv")
_LONGEST: Final = 90


class KindStep(Value, frozen=True, kw_only=True):
    """One row. ``lead`` is read at arm's length where the row is a step of its own; ``words`` close up."""

    kind: str
    step: str
    lead: TypedText
    words: TypedText
    origin: TypedText

    def __post_init__(self) -> None:
        if self.step not in STEPS:
            near = nearest(self.step, STEPS)
            raise ValueError(f"there is no step {self.step!r}" + (f"; did you mean {near}?" if near else ""))
        if not self.kind or not self.words or not self.origin:
            raise ValueError("kind, words and origin are needed")
        if self.step == "keeper" and not self.lead:
            raise ValueError("a keeper is a step of its own and needs a lead")
        if max(len(self.lead), len(self.words)) > _LONGEST:
            raise ValueError(
                f"lead and words have at most {_LONGEST} letters, else the sheet cannot print them"
            )


@dataclass(frozen=True, slots=True)
class BindingKinds:
    """All rows by kind and step."""

    rows: Mapping[tuple[str, str], KindStep]

    @property
    def names(self) -> tuple[str, ...]:
        """The kinds that a pattern may have, in the order of the rows."""
        return tuple(dict.fromkeys(kind for kind, _ in self.rows if kind not in (NOT_STATED, ANY)))

    def step(self, kind: str, step: str) -> KindStep | None:
        """Return what is said of that step; None where there is nothing to say. ``kind`` "": not stated."""
        return self.rows.get((kind or NOT_STATED, step)) or self.rows.get((ANY, step))

    def words(self, kind: str, step: str) -> str:
        """The words of that step with a space after them, or nothing."""
        found = self.step(kind, step)
        return f"{found.words} " if found else ""

    def with_rows(self, more: Iterable[KindStep]) -> BindingKinds:
        """The same with these rows before their own."""
        return BindingKinds({**self.rows, **{(row.kind, row.step): row for row in more}})


@cache
def default_kinds() -> BindingKinds:
    """The rows that come with the program."""
    return BindingKinds({}).with_rows(kind_steps_of_csv(_FILE))


def kind_steps_of_csv(path: Path) -> list[KindStep]:
    """The rows of a file, such as a shop's own. Raises BadInput naming the line and the cure."""
    cure = f"columns are {', '.join(COLUMNS)}; steps are {', '.join(STEPS)}"
    rows = []
    for line, row in enumerate(typed_rows(path, COLUMNS, cure=cure), start=2):
        with or_bad_input(f"{path}, line {line}:", cure=cure):
            rows.append(KindStep(**{name: row[name] for name in COLUMNS}))
    return rows
