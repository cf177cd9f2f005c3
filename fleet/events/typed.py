"""Typed texts: the fields of a kind of entry that people type freely, taken out of its body."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Annotated, Any, get_args, get_origin, get_type_hints

from fleet.base.entries import Body
from fleet.base.typed_text import place_of
from fleet.events.event import EntryPart
from fleet.facts.named import TYPED


def texts_apart(kind: type[EntryPart], body: Body, seq: int) -> tuple[Body, dict[str, str]]:
    """Return the body with only the places of its typed texts, and the texts by place."""
    texts: dict[str, str] = {}

    def of_part(cls: type[EntryPart], part: Mapping[str, Any], before: str) -> Body:
        fields = _typed_fields(cls)
        return {
            name: apart(fields[name], value, f"{before}{name}") if name in fields else value
            for name, value in part.items()
        }

    def apart(cls: type[EntryPart] | None, value: Any, place: str) -> Any:
        if isinstance(value, list | tuple):
            return [apart(cls, each, f"{place}.{number}") for number, each in enumerate(value)]
        if cls is not None:
            return of_part(cls, value, f"{place}.") if isinstance(value, Mapping) else value
        if not isinstance(value, str) or not value:
            return value
        texts[place] = value
        return place_of(seq, place)

    return (of_part(kind, body, "") if _typed_fields(kind) else body), texts


@cache
def _typed_fields(cls: type[EntryPart]) -> Mapping[str, type[EntryPart] | None]:
    """Return the fields that hold typed text: None where they are it, else the part that has such fields."""
    hints = get_type_hints(cls, include_extras=True)
    return {name: found for name in cls.__struct_fields__ for found in _found(hints[name])}


def _found(hint: Any) -> Iterator[type[EntryPart] | None]:
    if get_origin(hint) is Annotated and TYPED in hint.__metadata__:
        yield None
    elif isinstance(hint, type) and issubclass(hint, EntryPart):
        if _typed_fields(hint):
            yield hint
    else:
        for inner in get_args(hint):
            yield from _found(inner)
