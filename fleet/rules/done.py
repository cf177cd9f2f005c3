"""The result of one action on one thing, for a line on the screen."""

from __future__ import annotations

from dataclasses import dataclass

from fleet.facts.places import Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """The result for one pair or boot. ``entry`` is its number in the ledger."""

    tag: str
    place: Place
    entry: int
    words: str
