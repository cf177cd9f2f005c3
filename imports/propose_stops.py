"""Proposed entry for a new pair that its file calls stopped or away: it never comes in as ready or plannable.

A file says nothing about where a pair is that the ledger knows. Our own words count, wherever they stand.
"""

from __future__ import annotations

from typing import Final

from fleet.events.carried_over import PairCarriedOver
from fleet.events.pairs import SkiClosed
from fleet.facts.carried import GLUE, ORDER, STOPS, carried_body, glue_said, people_said
from fleet.facts.holes import Side
from fleet.facts.places import Place
from imports.difference import Draft
from imports.propose_pairs import PairRows

_AWAY: Final = tuple(
    place.value for place in (Place.OUT, Place.MISSING, Place.IN_TRANSIT, Place.RETIRED, Place.SOLD)
)


def propose_stops(draft: Draft, pair: PairRows) -> None:
    """``pair carried over`` for a new pair, from its columns ``status`` and ``stops``."""
    status = _word(pair.first("status"))
    said = _said(pair)
    others = [text for text in said if _word(text).startswith(("recall ", ORDER))]
    stops = [*(word for word in STOPS if word in (status, *map(_word, said))), *others]
    glue = [text for text in said if _word(text).startswith(GLUE)]
    people = people_said(said)
    if status not in (*STOPS, *_AWAY):
        pair.say_not_taken("status")
    if not stops and not glue and not people and status not in _AWAY:
        return
    words = [*stops, *glue, *([status] if status in _AWAY else [])]
    source = f"as {pair.row.file} has it: {', '.join(words) or 'not passed yet'}"
    body = carried_body(pair.tag, stops, source=source) | people
    if glue:
        used = [glue_said(text) for text in glue]
        body |= {"glued_with": [each for each, _ in used], "glued_at": max(at for _, at in used)}
    if status in _AWAY:
        body["where"] = {"whereabouts": status}
    draft.entries.append(PairCarriedOver.read(body))


def propose_closed(draft: Draft, pair: PairRows) -> None:
    """``ski closed`` for a ski of a new pair that its file calls closed; entered after what was inspected."""
    for side in Side:
        words = f"ski {side.value} closed"
        if words.casefold() in map(_word, _said(pair)):
            why = f"as {pair.row.file} has it: {words}"
            draft.entries.append(SkiClosed(tag=pair.tag, side=side, why=why))


def _said(pair: PairRows) -> list[str]:
    return [" ".join(text.split()) for text in str(pair.first("stops") or "").split(";")]


def _word(text: object) -> str:
    return " ".join(str(text or "").casefold().split())
