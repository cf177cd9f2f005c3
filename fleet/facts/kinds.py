"""Kinds of use that meet: on a ski, a boot, a binding model and a want. One not stated stops nobody.

A boot or a model may have several kinds stated: its own row, what was said of its model, and what its name or
sole says where that is *junior*. Two things meet if each stated kind of one may meet each of the other.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from functools import lru_cache
from typing import Final

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


@lru_cache(maxsize=4096)
def junior_by_name(*names: str) -> Kinds:
    """*junior* where a model's name or a sole type says so."""
    found = any(_JUNIOR_NAME.search(name) or _JUNIOR_SOLE.search(name) for name in names)
    return frozenset({JUNIOR}) if found else NOT_STATED


def stated(*kinds: str | None) -> Kinds:
    """Those that are stated."""
    return frozenset(str(kind) for kind in kinds if kind)


class KindRule:
    """The shop's rule ``kinds_may_meet``: pairs of kinds that may meet though they differ."""

    def __init__(self, policy: Policy) -> None:
        """Read from the policy; what is no pair of words lets nothing meet."""
        pairs = (text.split("+") for text in policy.word("kinds_may_meet").split(","))
        self.pairs = frozenset(
            frozenset(word.strip().casefold() for word in pair) for pair in pairs if len(pair) == 2
        )

    def meet(self, one: Collection[str], other: Collection[str]) -> bool:
        """Return whether each kind of one may meet each of the other."""
        return all(a == b or frozenset((a, b)) in self.pairs for a in one for b in other)

    def against(self, **things: Collection[str]) -> str:
        """Return the first two that do not meet, in words; "" where all do: ``the boot is touring, …``."""
        named = list(things.items())
        for number, (one, kinds) in enumerate(named):
            for other, others in named[number + 1 :]:
                if not self.meet(kinds, others):
                    return (
                        f"the {one} is {_words(kinds)} and the {other} {_words(others)}:"
                        " kinds meet only by the shop's rule kinds_may_meet"
                    )
        return ""


def _words(kinds: Collection[str]) -> str:
    return " and ".join(sorted(kinds))
