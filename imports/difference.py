"""Three-way comparison of a field: what the file says, what the ledger says, what the file was made from."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from fleet.base.entries import Head
from fleet.events.event import Change, Event
from fleet.facts.columns import LedgerFacts, columns_of, plain_facts
from fleet.facts.policy import default_policy
from fleet.tables.snapshot import Fleet
from imports.findings import Finding
from imports.rows import Row


def no_fleet() -> Fleet:
    """The fleet of a shop that has no ledger yet: there is nothing in it."""
    nothing: dict[str, Any] = {key: {} for key in ("staff", "pairs", "boots", "bindings", "patterns")}
    return Fleet(
        shop="", zone="UTC", head=Head(0, ""), policy=default_policy(), fits=(), wishes=(), **nothing
    )


class Fate(StrEnum):
    """The fate of a usable row when the import is applied."""

    NEW = "new"
    CHANGED = "changed"
    UNCHANGED = "unchanged"


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldChange:
    """One field that would change, for the page: ``K-031 rack: R1 -> R4``."""

    what: str
    field: str
    old: Any
    new: Any


@dataclass(slots=True, kw_only=True)
class Draft:
    """A proposal while it is made: entries in order, fates of rows, field changes, findings of the whole.

    ``base`` is the fleet the file was made from (an export, or an earlier import), nothing if not known.
    """

    fleet: Fleet
    base: Fleet = field(default_factory=no_fleet)
    entries: list[Event] = field(default_factory=list)
    fates: dict[int, Fate] = field(default_factory=dict)
    changes: list[FieldChange] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    texts: dict[int, str] = field(default_factory=dict)
    """The free text of entries, by `id`."""

    first_binding: dict[int, str] = field(default_factory=dict)
    """The first binding of a stock row of several, by `id` of the row: a note on the row is kept there."""

    def add(self, event: Event | None, *rows: Row, fate: Fate = Fate.CHANGED, text: str = "") -> None:
        """Add an entry made of these rows, with its free text; None: they change nothing."""
        if event is not None:
            self.entries.append(event)
            self.texts[id(event)] = text
        self.fate(Fate.UNCHANGED if event is None else fate, *rows)

    def fate(self, fate: Fate, *rows: Row) -> None:
        """Note what happens to rows; *new* and *changed* outrank *unchanged*."""
        for row in rows:
            if self.fates.get(id(row), Fate.UNCHANGED) is Fate.UNCHANGED:
                self.fates[id(row)] = fate


def said_in(thing: type[LedgerFacts], value_of: Callable[[str], Any]) -> dict[str, Any]:
    """Return what a file says of a thing, by ledger column; None for what it does not say.

    ``value_of``: the value that stands under a header.
    """
    return {column.name: column.from_file(value_of(column.key)) for column in columns_of(thing)}


def stated(thing: type[LedgerFacts], said: Mapping[str, Any]) -> dict[str, Any]:
    """The facts for the entry that records the thing: what is not said is not stated."""
    return {c.name: c.not_stated if said[c.name] is None else said[c.name] for c in columns_of(thing)}


def changed(
    draft: Draft,
    row: Row,
    thing: type[LedgerFacts],
    said: Mapping[str, Any],
    *,
    what: str,
    old: object,
    was: object | None,
) -> dict[str, Change]:
    """Return what the file really changes of a thing that the ledger knows; ``was``: when the file was
    made.
    """
    return differing(
        draft,
        row,
        what=what,
        said=said,
        now=plain_facts(thing, old),
        base=None if was is None else plain_facts(thing, was),
        key_of={column.name: column.key for column in columns_of(thing)},
    )


def _shown(value: Any) -> str:
    return "nothing" if value in (None, "") else repr(value)


def differing(
    draft: Draft,
    row: Row,
    *,
    what: str,
    said: Mapping[str, Any],
    now: Mapping[str, Any],
    base: Mapping[str, Any] | None,
    key_of: Mapping[str, str],
) -> dict[str, Change]:
    """Ledger column -> (old, new) for what the file really changes. None in ``said`` says nothing.

    With a base: a field the file did not touch is *stale*, not a change, whatever the ledger says now;
    a field that both changed, differently, is a question.
    """
    changes: dict[str, Change] = {}
    for column, value in said.items():
        old = now.get(column)
        if value is None or value == old:
            continue
        if base is not None:
            was = base.get(column)
            if value == was:
                row.note(
                    "stale_value",
                    f"{column} of {what} has changed in the ledger since this file was made; "
                    "the ledger's value stays",
                    key=key_of.get(column),
                )
                continue
            if old != was:
                row.ask(
                    "conflict",
                    f"{column} of {what} was changed here and in the ledger: {_shown(was)}, in the file"
                    f" {_shown(value)}, in the ledger {_shown(old)}",
                    "look at the ski, then enter the right value on a fresh export",
                    key=key_of.get(column),
                )
                continue
        changes[column] = (old, value)
    if not row.usable:
        return {}
    for column, (old, new) in changes.items():
        draft.changes.append(FieldChange(what=what, field=column, old=old, new=new))
    return changes
