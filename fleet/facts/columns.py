"""A column of the inventory: one fact of a thing, and all that follows from it, written once.

A class such as `SkiFacts` lists the facts of a thing as fields, each with its `LedgerColumn` beside it. From
that one line follow the table in the ledger file, the keys of the entries, reading and writing, the headers
and cells of spreadsheets, the exports with their descriptor, and what `mountbook correct` takes.

The types of texts come first: names under which an entry is found, and texts that a person typed freely.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import KW_ONLY, dataclass
from datetime import date
from enum import StrEnum
from functools import cache
from operator import attrgetter
from types import NoneType
from typing import Annotated, Any, get_args, get_type_hints

import msgspec

from fleet.base.units import mm_to_um
from fleet.base.values import Value

PairTag = Annotated[str, msgspec.Meta(extra={"names": "whole"})]
"""A pair's asset tag. An entry is found under what its fields hold by this type, and by the three next."""
BindingId = Annotated[str, msgspec.Meta(extra={"names": "whole"})]
"""A binding's id."""
SkiTag = Annotated[str, msgspec.Meta(extra={"names": "ski"})]
"""A pair's tag, or one ski of a pair, ``K-031 A``: the name is the pair's."""
HoleId = Annotated[str, msgspec.Meta(extra={"names": "hole"})]
"""A hole's id, ``K-031/A7``: the name is what stands before the last stroke. An imported id may say nothing
of its pair; then the kind says it by `Event.names_in_state`."""
BootTag = Annotated[str, msgspec.Meta(extra={"names": "nothing"})]
"""A boot's tag. It may be the same as a pair's, so no entry is found under it."""
TYPED = msgspec.Meta(extra={"typed": True})
"""Beside the type of a field that people type freely: its text is kept with the note, not in the body."""
PERSON = msgspec.Meta(extra={"person": True})
"""Beside the type of a field that holds a person's name: the body has its place (`fleet.base.kept_names`)."""
PersonName = Annotated[str, PERSON]
"""A person's name, or that of a desk, which may be a person's. In older bodies it stands itself."""
TypedText = Annotated[str, TYPED]
"""A text that people type freely. In bodies written before there was this type it stands itself."""


class Holds(StrEnum):
    """The sort of value a column holds."""

    TAG = "tag"
    TEXT = "text"
    WORD = "word"
    LENGTH = "length"
    SHELL = "shell"
    COUNT = "count"
    DAY = "day"


@dataclass(frozen=True, slots=True)
class Field:
    """The content of a cell. ``low``/``high`` in ``unit``: what is plausible; ``what`` names it in a
    sentence.

    The windows only decide what is *asked about*; they come from common practice, no source.
    """

    what: str
    holds: Holds
    low: int = 0
    high: int = 0
    _: KW_ONLY
    unit: str = "mm"
    signed: bool = False


class Shown(StrEnum):
    """The place of a column. Every column stands in the csv files and in the SQLite file."""

    EVERYWHERE = "in the blank workbook too"
    FOR_PEOPLE = "in the exported workbook, not in the blank one"
    FILES = "in files for programs alone"


@dataclass(frozen=True, slots=True)
class LedgerColumn:
    """One fact of a thing. ``name``, ``kind`` and ``nullable`` are the field's own (`columns_of`).

    ``key``: its header in files, where not the name with its unit (``waist_um`` is ``waist_mm`` there).
    ``meaning`` and ``example`` stand in workbooks, ``title`` in the descriptor of an export (else the
    meaning). ``required``: no row of a sheet is understood without it. ``correctable``: `mountbook correct`
    takes it, from ``least`` on (`smallest`). ``offered``: words for a text that may be another, or the only
    ones that a text of words holds. ``column``: its column in the table, where its name is a word of SQL.
    ``instead``: words that may stand in the place of a number; ``blank``: the one of them that a blank cell
    of a new row says, ``silence``: that null says.
    """

    field: Field
    meaning: str
    _: KW_ONLY
    example: str = ""
    title: str = ""
    key: str = ""
    required: bool = False
    shown: Shown = Shown.EVERYWHERE
    offered: tuple[str, ...] = ()
    correctable: bool = True
    least: int | None = None
    column: str = ""
    name: str = ""
    kind: type = str
    nullable: bool = False
    instead: type[StrEnum] | None = None
    blank: str | None = None
    silence: str | None = None

    @property
    def words(self) -> tuple[str, ...]:
        """The words to choose from, or those that a text most often is."""
        return tuple(map(str, self.kind)) if issubclass(self.kind, StrEnum) else self.offered

    @property
    def not_stated(self) -> str | None:
        """Return what stands in the ledger where nothing is known."""
        return "" if self.kind is str and not self.nullable else self.blank

    @property
    def smallest(self) -> int | None:
        """The smallest number that can be; None: any, a place on either side of the mark."""
        if self.least is None and not self.field.signed:
            return 0 if self.field.holds is Holds.COUNT else 1
        return self.least

    @property
    def per_unit(self) -> int:
        """Return how many of the ledger's units one of its file's unit is; 1 for what is no length."""
        if self.field.holds not in (Holds.LENGTH, Holds.SHELL):
            return 1
        return 1000 if self.name.endswith("_um") else 10

    @property
    def sql(self) -> str:
        """The column in the table's definition."""
        kind = "ANY" if self.instead else "INTEGER" if issubclass(self.kind, int) else "TEXT"
        return f"{self.column} {kind}{'' if self.nullable else ' NOT NULL'}"

    def from_file(self, value: Any) -> Any:
        """A value as files give it (millimetres, centimetres), in the ledger's unit; None for nothing."""
        if value is None or isinstance(value, str) or (per_unit := self.per_unit) == 1:
            return value
        return mm_to_um(value) if per_unit == 1000 else int(value * per_unit)

    def from_row(self, value: Any) -> Any:
        """A value in a table as the choice, day or yes it is. Raises ValueError for what is none."""
        if self.instead is not None:
            return self.instead(value) if isinstance(value, str) else value
        if self.nullable and value in (None, ""):
            return None
        return date.fromisoformat(value) if self.kind is date else self.kind(value)

    def of_field(self, name: str, hint: Any) -> LedgerColumn:
        """Bound to the field of that name and type. Raises TypeError where the two do not agree."""
        kinds = set(get_args(hint) or (hint,))
        nullable = NoneType in kinds
        holds = self.field.holds
        numbers = (Holds.LENGTH, Holds.SHELL, Holds.COUNT)
        instead = next((k for k in kinds if holds in numbers and issubclass(k, StrEnum)), None)
        (kind,) = kinds - {NoneType, instead}
        expected: type = int if holds in numbers else str
        if holds is Holds.WORD and not self.offered:
            expected = StrEnum
        elif holds is Holds.DAY and kind is date:
            expected = date
        ends = {Holds.LENGTH: "_mm" if self.field.unit == "cm" else "_um", Holds.SHELL: "_mm"}.get(holds, "")
        like_a_length = name.endswith(("_um", "_mm")) and not ends
        if not issubclass(kind, expected) or not name.endswith(ends) or like_a_length:
            unit = f" in {self.field.unit}" if ends else ""
            raise TypeError(f"{name} is {hint}, but its column holds a {holds.value}{unit}")
        key = self.key or (f"{name.removesuffix('_um')}_mm" if name.endswith("_um") else name)
        bound = dataclasses.replace(self, name=name, key=key, column=self.column or name)
        return dataclasses.replace(bound, kind=kind, nullable=nullable, instead=instead)


class LedgerFacts(Value, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The written facts of a thing, shared by the thing and by the entry that records it.

    A fact added later has a default that says *not stated* (None or ''), so that older entries are read as
    what they meant.
    """


@cache
def columns_of(thing: type[LedgerFacts]) -> tuple[LedgerColumn, ...]:
    """The columns of a thing in the order of its fields.

    Raises TypeError for one that does not fit its field or has another's header, and for a fact without a
    column: it would stand in entries, and nowhere else.
    """
    plain = get_type_hints(thing)
    columns = tuple(
        meta.of_field(name, plain[name])
        for name, hint in get_type_hints(thing, include_extras=True).items()
        for meta in getattr(hint, "__metadata__", ())
        if isinstance(meta, LedgerColumn)
    )
    bare = set(thing.__struct_fields__) - {column.name for column in columns}
    if bare and (LedgerFacts in thing.__bases__ or thing.__name__.endswith("Facts")):
        raise TypeError(f"{thing.__name__}.{', '.join(sorted(bare))} has no LedgerColumn")
    if len({column.key for column in columns}) < len(columns):
        raise TypeError(f"two columns of {thing.__name__} have one header")
    return columns


@cache
def names_of(thing: type[LedgerFacts]) -> tuple[str, ...]:
    """The names of its columns."""
    return tuple(column.name for column in columns_of(thing))


def sql_columns(thing: type[LedgerFacts], *, key: str = "") -> str:
    """Its columns in the definition of a table; ``key``: the one that is its primary key."""
    return ", ".join(
        f"{column.name} TEXT PRIMARY KEY" if column.name == key else column.sql
        for column in columns_of(thing)
    )


@cache
def _facts_of(thing: type[LedgerFacts]) -> Callable[[object], tuple[Any, ...]]:
    """Return the reader of all its facts at once."""
    names = names_of(thing)
    return attrgetter(*names) if len(names) > 1 else lambda value: (getattr(value, names[0]),)


def facts_in(thing: type[LedgerFacts], value: object) -> dict[str, Any]:
    """The facts of a thing or of an entry that records it, by name: to make the other of the two."""
    return dict(zip(names_of(thing), _facts_of(thing)(value), strict=True))


def plain_facts(thing: type[LedgerFacts], value: object) -> dict[str, Any]:
    """The same as plain values, as the ledger's bodies hold them."""
    return {
        name: fact if fact is None or type(fact) in (str, int) else plain(fact)
        for name, fact in facts_in(thing, value).items()
    }


def table_facts(thing: type[LedgerFacts], value: object) -> dict[str, str | int | None]:
    """The same by column, as the ledger's tables hold them."""
    return {column.column: plain(getattr(value, column.name)) for column in columns_of(thing)}


def plain(fact: Any) -> str | int | None:
    """A fact as a table holds it: a choice as its word, a day as ISO text, yes as 1."""
    if fact is None or type(fact) in (str, int):
        return fact  # type: ignore[no-any-return]
    if isinstance(fact, str):
        return str(fact)
    if isinstance(fact, int):
        return int(fact)
    return fact.isoformat() if isinstance(fact, date) else None


def facts_in_body(thing: type[LedgerFacts], body: Mapping[str, Any]) -> dict[str, Any]:
    """The facts in the body of an entry, by name; one that is not there is not stated, as its default says.

    Raises ValueError for a word that is none of the list.
    """
    return {name: load(body[name]) if load else body[name] for name, _, load in _loads(thing) if name in body}


def facts_from_row(thing: type[LedgerFacts], row: Mapping[str, Any]) -> dict[str, Any]:
    """The facts in a row of a table, by name. Raises ValueError for a word that is none of the list."""
    return {name: load(row[column]) if load else row[column] for name, column, load in _loads(thing)}


@cache
def _loads(thing: type[LedgerFacts]) -> tuple[tuple[str, str, Callable[[Any], Any] | None], ...]:
    """Return how each fact is made of a value in a table, where it is not that value itself."""
    return tuple(
        (c.name, c.column, c.from_row if c.instead or issubclass(c.kind, (StrEnum, bool, date)) else None)
        for c in columns_of(thing)
    )
