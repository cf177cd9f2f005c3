"""Proposed entries for what stops: new pairs that a file calls stopped or away, skis of open hole rows.

A pair that is called so never comes in as ready or plannable. A file says nothing about where a pair is that
the ledger knows. Our own words count, wherever they stand.

A hole row set aside, or one in question, may be of a hole that is really there; an inspection beside it would
open the ski for new holes on old ones. So each ski that such a row speaks of stays closed, or is closed,
until a survey bare. Nothing is lost, and nothing closes, where the very place is on record or comes with
another row.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from fleet.base.units import counted, first_of, mm_to_um
from fleet.events.pairs import SkiClosed
from fleet.events.stops import PairCarriedOver
from fleet.facts.carried import GLUE, ORDER, STOPS, carried_body, glue_said, people_said
from fleet.facts.holes import Side
from fleet.facts.standing import Place
from fleet.tables.snapshot import Fleet
from imports.difference import Draft
from imports.findings import Finding, Severity
from imports.propose_pairs import PairRows
from imports.rows import Row

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
    draft.add(PairCarriedOver.read(body))


def propose_closed(draft: Draft, pair: PairRows) -> None:
    """``ski closed`` for a ski of a new pair that its file calls closed; entered after what was inspected."""
    for side in Side:
        words = f"ski {side.value} closed"
        if words.casefold() in map(_word, _said(pair)):
            why = f"as {pair.row.file} has it: {words}"
            draft.add(SkiClosed(tag=pair.tag, side=side, why=why))


def _said(pair: PairRows) -> list[str]:
    return [" ".join(text.split()) for text in str(pair.first("stops") or "").split(";")]


def _word(text: object) -> str:
    return " ".join(str(text or "").casefold().split())


_SHOWN = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Shut:
    """The reasons for which skis do not open: by tag and side, and (``all_new``) for any ski of this import.

    ``unseen``: pairs that a restore closed before they come in again.
    """

    by_ski: Mapping[tuple[str, Side], Row]
    all_new: str = ""
    unseen: frozenset[str] = frozenset()

    def closes(self, tag: str, side: Side) -> bool:
        """Return whether no inspection of this import opens the ski."""
        return bool(self.all_new) or (tag, side) in self.by_ski or tag in self.unseen


def shut_skis(draft: Draft, holes: Sequence[Row], unread: Sequence[str]) -> Shut:
    """Return what the hole rows that do not come in keep closed. ``unread``: hole sheets nobody could
    read.
    """
    known = {
        (tag, side, hole.x_um, hole.y_um)
        for tag, pair in draft.fleet.pairs.items()
        for side, ski in pair.skis.items()
        for hole in ski.holes
    }
    coming = [row for row in holes if row.usable]
    known |= {(tag, side, *place) for row in coming for tag, side, place in _places(row) if place}
    found: dict[tuple[str, Side], Row] = {}
    nameless = [f"the sheet {name!r} is set aside, and nobody could read its rows" for name in unread]
    for row in (row for row in holes if row.blocks):
        tag = row.values.get("pair_tag") or _tag_of_hole(draft.fleet, row.values.get("hole_id"))
        if tag is None:
            nameless.append(f"row {row.sheet} {row.number} is set aside and names no pair")
            continue
        for _, side, place in _places(row, str(tag)):
            if place is None or (tag, side, *place) not in known:
                found.setdefault((str(tag), side), row)
    return Shut(by_ski=found, all_new=nameless[0] if nameless else "", unseen=draft.fleet.unseen)


def _places(row: Row, tag: str | None = None) -> Iterator[tuple[str, Side, tuple[int, int] | None]]:
    """Each ski that the row may speak of, and the place it says, None where that is not certain."""
    v = row.values
    place = None
    if v.get("x_mm") is not None and v.get("y_mm") is not None and row.verdict != "bad":
        place = (mm_to_um(v["x_mm"]), mm_to_um(v["y_mm"]))
    sides = [Side(v["ski"])] if v.get("ski") in list(Side) else list(Side)
    for side in sides:
        yield str(tag or v.get("pair_tag")), side, place


def _tag_of_hole(fleet: Fleet, hole_id: Any) -> str | None:
    holes = ((tag, h) for tag, pair in fleet.pairs.items() for ski in pair.skis.values() for h in ski.holes)
    return next((tag for tag, hole in holes if hole.hole_id == hole_id), None) if hole_id else None


def close_skis(draft: Draft, shut: Shut, pairs: Mapping[str, PairRows], *, file: str) -> list[str]:
    """``ski closed`` for each ski of the ledger or of this import, said aloud; and the skis as a sentence.

    A ski that comes with this import and whose row is only in question is not closed for good: it does not
    open yet, and the question stands.
    """
    closed = []
    for (tag, side), row in shut.by_ski.items():
        old = draft.fleet.pairs.get(tag)
        if old is None and not (row.left_out and tag in pairs):
            continue
        aside = "set aside" if row.left_out else "in question"
        _say(draft, pairs.get(tag), tag, row, f"row {row.sheet} {row.number} is {aside}, so ski {side}")
        why = f"hole row {row.sheet} {row.number} of {file} was {aside}"
        if old is None or old.skis[side].closed_why != why:
            draft.add(SkiClosed(tag=tag, side=side, why=why))
        closed.append(f"{tag} {side}")
    for tag in sorted(shut.unseen & pairs.keys()):
        _say(draft, pairs[tag], tag, None, "a restore tells of work on it since the copy, so each ski")
    follows = []
    if closed:
        follows.append(
            f"{counted(len(closed), 'ski')} not inspected, for a hole row is set aside; no new holes until a"
            f" survey bare: {first_of(closed, _SHOWN)}"
        )
    if shut.all_new:
        follows.append(f"no ski of this import opens: {shut.all_new}")
        for tag, pair in pairs.items():
            if any(pair.on_side(side, "inspected") in ("bare", "new") for side in Side):
                _say(draft, pair, tag, None, f"{shut.all_new}: it may be of any ski, so each ski")
    return follows


def _say(draft: Draft, pair: PairRows | None, tag: str, row: Row | None, words: str) -> None:
    message = f"{words} of {tag} is not inspected, whatever the column says: no new holes"
    fix = "survey it bare; then it opens" if row else "give that row its tag and import again, or survey bare"
    if pair is not None and pair.rows:
        pair.row.note("ski_closed", message, fix, key="inspected")
        return
    draft.findings.append(
        Finding(
            severity=Severity.NOTE,
            code="ski_closed",
            sheet=row.sheet if row else None,
            row=row.number if row else None,
            tag=tag,
            message=message,
            fix=fix,
        )
    )
