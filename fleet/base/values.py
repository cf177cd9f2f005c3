"""Frozen values that msgspec makes: quick to make, to compare, to hash; what it will not take, in words."""

import dataclasses
import re
from collections.abc import Mapping
from functools import cache
from typing import Any, Final, TypeVar

import msgspec


class _AsDataclass:
    """Lets `dataclasses.replace` change a copy of a value that msgspec made: it asks for these fields."""

    def __get__(self, value: object, owner: type[msgspec.Struct]) -> dict[str, Any]:
        return _dataclass_fields(owner)


@cache
def _dataclass_fields(owner: type[msgspec.Struct]) -> dict[str, Any]:
    made = dataclasses.make_dataclass(owner.__name__, owner.__struct_fields__)
    return {field.name: field for field in dataclasses.fields(made)}


class Value(msgspec.Struct, frozen=True):
    """A frozen value; `dataclasses.replace` and `dataclasses.fields` take it as they take a dataclass."""


# Only at run time: the type checker knows the fields of a Struct as those of a dataclass already.
setattr(Value, "__dataclass_fields__", _AsDataclass())  # noqa: B010


T = TypeVar("T")


def read_as(kind: type[T], said: Mapping[str, Any]) -> T:
    """The value of that class. Raises ValueError for what is missing and for a wrong type, with its place."""
    try:
        return msgspec.convert(said, kind, str_keys=True)
    except msgspec.ValidationError as fault:
        raise ValueError(_in_words(str(fault))) from None


_MESSAGES: Final = (
    (r"Object missing required field `(.+)`", "{0} is missing"),
    (r"Object contains unknown field `(.+)`", "it has no field {0}"),
    (r"Invalid enum value (.+)", "{0} is none of the words there are"),
    (r"Expected `array` of length (\d+), got (\d+)", "a list of {1} values stands where {0} are asked for"),
    (r"Expected `(.+)`, got `(.+)`", "{1} stands where {0} is asked for"),
)
_TYPES: Final = {
    "int": "a whole number",
    "float": "a number with a fraction",
    "str": "a text",
    "bool": "true or false",
    "null": "nothing",
    "array": "a list",
    "object": "a group of fields",
    "date": "a day such as 2026-11-25",
}


def _in_words(message: str) -> str:
    """The reader's message in the words of this program: ``bsl_um: a text stands where ... is asked for``."""
    said, _, place = message.partition(" - at ")
    place = place.replace("`key` in ", "").strip("`").removeprefix("$").removeprefix(".")
    for form, words in _MESSAGES:
        match = re.fullmatch(form, said)
        if match:
            said = words.format(*(_plain(each) for each in match.groups()))
            break
    return f"{place}: {said}" if place else said


def _plain(text: str) -> str:
    return " or ".join(_TYPES.get(each, each) for each in text.split(" | "))
