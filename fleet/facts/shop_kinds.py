"""Kinds that a shop adds to ours, each like one of them: the shop's rule ``kinds``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from fleet.base.errors import BadInput
from fleet.facts.kinds import Kind, is_kind_word
from fleet.facts.policy import Policy

_RULE: Final = "kinds"
_CURE: Final = "write it like nordic=touring, with commas between; no ends it"


def shop_kinds(policy: Policy) -> Mapping[str, Kind]:
    """Return every kind of the shop, ours first, each with the one of ours that it is like."""
    return {**{str(kind): kind for kind in Kind}, **_added(policy.word(_RULE))}


def with_shop_kinds(words: tuple[str, ...], policy: Policy) -> tuple[str, ...]:
    """Return the words to choose from in a column: where they are our kinds, the shop's own too."""
    return tuple(shop_kinds(policy)) if words == tuple(Kind) else words


def check_kinds(name: str, value: str) -> None:
    """Refuse a value that the rule cannot be read from; other policies are no matter of this."""
    if name == _RULE:
        _added(value)


def _added(value: str) -> dict[str, Kind]:
    found: dict[str, Kind] = {}
    if value.strip().lower() in ("", "no"):
        return found
    for text in value.split(","):
        word, sign, other = (" ".join(part.split()).lower() for part in text.partition("="))
        if not sign or other not in list(Kind) or not is_kind_word(word):
            raise BadInput(
                f"{text.strip()!r} adds no kind: a word, and which of {', '.join(Kind)} it is like",
                cure=_CURE,
            )
        if word in list(Kind) or word in found:
            raise BadInput(f"there is a kind {word} already", cure=_CURE)
        found[word] = Kind(other)
    return found
