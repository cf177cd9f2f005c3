"""Kinds of use, and which of them meet: on a ski, a boot, a binding model and a want.

A kind that is not stated stops nobody. A boot or a model may have several kinds stated: its own row, what
was said of its model, and what its name or sole says where that is *junior*. Two things meet if each stated
kind of one may meet each of the other. A shop may add kinds of its own, each like one of these: its rule
``kinds``.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from enum import StrEnum
from functools import cache, lru_cache
from itertools import combinations
from typing import Final

from fleet.base.errors import BadInput
from fleet.facts.columns import Field, Holds
from fleet.facts.policy import Policy

Kinds = frozenset[str]
"""The kinds stated of one thing; empty: not stated."""
NOT_STATED: Final[Kinds] = frozenset()
JUNIOR: Final = "junior"
_JUNIOR_NAME: Final = re.compile(
    r"\b(?:junior|jr|kid|kids|child|children|kinder|enfant|enfants)\b", re.IGNORECASE
)
_JUNIOR_SOLE: Final = re.compile(r"\b5355\W*(?:type\s*)?c\b", re.IGNORECASE)
"""ISO 5355 type C is the sole of a child's boot (published: scope of the standard, excerpt)."""


_KIND_WORD: Final = re.compile(r"[a-z]+(?: [a-z]+)*")


def is_kind_word(text: str) -> bool:
    """Return whether a kind may be called so: small letters, words apart by one blank."""
    return len(text) <= 30 and _KIND_WORD.fullmatch(text) is not None


class Kind(StrEnum):
    """The use that a pair is for. These are ours; a shop adds others by its rule ``kinds``,
    which the ledger keeps by their word: whether it is one of the shop's is asked where it is typed.
    """

    ALPINE = "alpine"
    TOURING = "touring"
    TELEMARK = "telemark"
    JUNIOR = "junior"

    @classmethod
    def _missing_(cls, value: object) -> Kind | None:
        return _kind_of_shop(value) if isinstance(value, str) and is_kind_word(value) else None


@cache
def _kind_of_shop(word: str) -> Kind:
    """One object for a word, as an enum has it; it stands in no list of ours."""
    found = str.__new__(Kind, word)
    found._name_, found._value_ = word.upper(), word
    return found


KIND_NOT_KNOWN: Final = Kind("not known")
"""The kind of a pair of which nobody said what it is for: no want asks for it, so it is in no plan."""


KIND: Final = Field("the kind", Holds.WORD)
"""The content of a column that holds one."""


@lru_cache(maxsize=4096)
def junior_by_name(*names: str) -> Kinds:
    """*junior* where a model's name or a sole type says so."""
    found = any(_JUNIOR_NAME.search(name) or _JUNIOR_SOLE.search(name) for name in names)
    return frozenset({JUNIOR}) if found else NOT_STATED


def stated(*kinds: str | None) -> Kinds:
    """Those that are stated."""
    return frozenset(str(kind) for kind in kinds if kind)


_MEET: Final = "kinds_may_meet"


class KindRule:
    """The shop's rule ``kinds_may_meet``: pairs of kinds that may meet though they differ."""

    def __init__(self, policy: Policy) -> None:
        """Read from the policy; what is no pair of words lets nothing meet."""
        self.pairs = frozenset(pair for pair in _pairs(policy.word(_MEET)).values() if len(pair) == 2)

    def meet(self, one: Collection[str], other: Collection[str]) -> bool:
        """Return whether each kind of one may meet each of the other."""
        return all(a == b or frozenset((a, b)) in self.pairs for a in one for b in other)

    def against(self, **things: Collection[str]) -> str:
        """Return the first two that do not meet, in words; "" where all do: ``the boot is touring, …``."""
        for (one, kinds), (other, others) in combinations(things.items(), 2):
            if not self.meet(kinds, others):
                return (
                    f"the {one} is {_words(kinds)} and the {other} {_words(others)}:"
                    " kinds meet only by the shop's rule kinds_may_meet"
                )
        return ""


def _pairs(value: str) -> dict[str, Kinds]:
    """Return the kinds of each pair in the rule ``kinds_may_meet``; other than two are no pair."""
    return {
        pair.strip(): frozenset(word.strip().casefold() for word in pair.split("+"))
        for pair in value.split(",")
    }


def _words(kinds: Collection[str]) -> str:
    return " and ".join(sorted(kinds))


_RULE: Final = "kinds"
_CURE: Final = "write it like nordic=touring, with commas between; no ends it"


def shop_kinds(policy: Policy) -> Mapping[str, Kind]:
    """Return every kind of the shop, ours first, each with the one of ours that it is like."""
    return {**{str(kind): kind for kind in Kind}, **_added(policy.word(_RULE))}


def with_shop_kinds(words: tuple[str, ...], policy: Policy) -> tuple[str, ...]:
    """Return the words to choose from in a column: where they are our kinds, the shop's own too."""
    return tuple(shop_kinds(policy)) if words == tuple(Kind) else words


def check_kinds(name: str, value: str, policy: Policy) -> None:
    """Refuse a value that the rule cannot be read from; other policies are no matter of this."""
    if name == _RULE:
        _added(value)
    if name == _MEET and value not in ("", "no"):
        known = shop_kinds(policy)
        for pair, words in _pairs(value).items():
            if len(words) != 2 or not words <= known.keys():
                raise BadInput(
                    f"{pair!r} is no pair of kinds",
                    cure=f"write it like alpine+touring, with commas between; kinds: {', '.join(known)}",
                )


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
