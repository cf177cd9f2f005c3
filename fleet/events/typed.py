"""Texts of an entry that are kept apart from it: those that people type freely, and the names of people."""

from collections.abc import Callable, Mapping
from typing import Any

from fleet.base.entries import Body, Entry
from fleet.base.typed_text import place_of
from fleet.events.corrections import EntryWithdrawn
from fleet.events.event import TAP, EntryPart, Event, Tap, kinds, marked_fields


def texts_apart(kind: type[EntryPart], body: Body, seq: int) -> tuple[Body, dict[str, str]]:
    """Return the body with only the places of its typed texts, and the texts by place."""
    texts: dict[str, str] = {}

    def keep(text: str, place: str) -> str:
        texts[place] = text
        return place_of(seq, place)

    return _apart(kind, body, "typed", keep), texts


def names_apart(kind: type[Event], body: Body, place: Callable[[str], str]) -> Body:
    """Return the body with the places of the names that it says; ``place`` finds that of a name."""
    said = _apart(kind, body, "person", lambda name, _: place(name))
    if TAP in said:
        said = said | {TAP: _apart(Tap, said[TAP], "person", lambda name, _: place(name))}
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


def _apart(kind: type[EntryPart], body: Body, mark: str, keep: Callable[[str, str], str]) -> Body:
    """Return the body with what ``keep`` returns for each text of a type with that mark, and its place."""
    if not marked_fields(kind, mark):
        return body

    def of_part(cls: type[EntryPart], part: Mapping[str, Any], before: str) -> Body:
        fields = marked_fields(cls, mark)
        return {
            name: apart(fields[name], value, f"{before}{name}") if name in fields else value
            for name, value in part.items()
        }

    def apart(says: Any, value: Any, place: str) -> Any:
        if isinstance(value, list | tuple):
            return [apart(says, each, f"{place}.{number}") for number, each in enumerate(value)]
        if isinstance(says, type):
            return of_part(says, value, f"{place}.") if isinstance(value, Mapping) else value
        return keep(value, place) if isinstance(value, str) and value else value

    return of_part(kind, body, "")
