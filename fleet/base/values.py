"""Frozen values that msgspec makes: quick to make, to compare and to hash, a hundred thousand of them."""

from __future__ import annotations

import dataclasses
from functools import cache
from typing import Any

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
