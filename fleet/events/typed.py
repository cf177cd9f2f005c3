"""Texts of an entry that are kept apart from it: those that people type freely, and the names of people."""

from collections.abc import Callable, Iterator, Mapping
from functools import cache
from typing import Annotated, Any, get_args, get_origin, get_type_hints

import msgspec

from fleet.base.entries import Body, Entry
from fleet.base.typed_text import place_of
from fleet.events.corrections import EntryWithdrawn
from fleet.events.event import TAP, EntryPart, Event, Tap, kinds
from fleet.facts.columns import PERSON, TYPED


def texts_apart(kind: type[EntryPart], body: Body, seq: int) -> tuple[Body, dict[str, str]]:
    """Return the body with only the places of its typed texts, and the texts by place."""
    texts: dict[str, str] = {}

    def keep(text: str, place: str) -> str:
        texts[place] = text
        return place_of(seq, place)

    return _apart(kind, body, TYPED, keep), texts


def names_apart(kind: type[Event], body: Body, place: Callable[[str], str]) -> Body:
    """Return the body with the places of the names that it says; ``place`` finds that of a name."""
    said = _apart(kind, body, PERSON, lambda name, _: place(name))
    if TAP in said:
        said = said | {TAP: _apart(Tap, said[TAP], PERSON, lambda name, _: place(name))}
    quoted = kinds().get(said.get("what", "")) if kind is EntryWithdrawn else None
    return said | {"body": names_apart(quoted, said["body"], place)} if quoted is not None else said


def names_in(entry: Entry) -> list[str]:
    """Return the names that the body of an entry says, in fields that hold names."""
    found: list[str] = []

    def take(name: str) -> str:
        found.append(name)
        return name

    if entry.what in kinds():
        names_apart(kinds()[entry.what], entry.body, take)
    return found


def _apart(kind: type[EntryPart], body: Body, mark: msgspec.Meta, keep: Callable[[str, str], str]) -> Body:
    """Return the body with what ``keep`` returns for each text of a type with that mark, and its place."""
    if not _marked_fields(kind, mark):
        return body

    def of_part(cls: type[EntryPart], part: Mapping[str, Any], before: str) -> Body:
        fields = _marked_fields(cls, mark)
        return {
            name: apart(fields[name], value, f"{before}{name}") if name in fields else value
            for name, value in part.items()
        }

    def apart(cls: type[EntryPart] | None, value: Any, place: str) -> Any:
        if isinstance(value, list | tuple):
            return [apart(cls, each, f"{place}.{number}") for number, each in enumerate(value)]
        if cls is not None:
            return of_part(cls, value, f"{place}.") if isinstance(value, Mapping) else value
        return keep(value, place) if isinstance(value, str) and value else value

    return of_part(kind, body, "")


@cache
def _marked_fields(cls: type[EntryPart], mark: msgspec.Meta) -> Mapping[str, type[EntryPart] | None]:
    """Return the fields that hold texts with that mark: None where they are it, else the part that has such
    fields.
    """
    hints = get_type_hints(cls, include_extras=True)
    return {name: found for name in cls.__struct_fields__ for found in _found(hints[name], mark)}


def _found(hint: Any, mark: msgspec.Meta) -> Iterator[type[EntryPart] | None]:
    if get_origin(hint) is Annotated and mark in hint.__metadata__:
        yield None
    elif isinstance(hint, type) and issubclass(hint, EntryPart):
        if _marked_fields(hint, mark):
            yield hint
    else:
        for inner in get_args(hint):
            yield from _found(inner, mark)
