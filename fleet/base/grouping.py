"""Things put together by what they have alike."""

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable
from typing import TypeVar

_Key = TypeVar("_Key", bound=Hashable)
_Thing = TypeVar("_Thing")


def grouped(things: Iterable[_Thing], key: Callable[[_Thing], _Key | None]) -> dict[_Key, list[_Thing]]:
    """Key -> its things, both in the order of the things; one whose key is None stands in no group."""
    found: dict[_Key, list[_Thing]] = defaultdict(list)
    for thing in things:
        of = key(thing)
        if of is not None:
            found[of].append(thing)
    return dict(found)
