"""Proposed entries for holes. A spreadsheet adds holes; it never moves or removes those drilled here."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from fleet.events.pairs import HoleChanged, HolesRecorded, NewHole
from fleet.facts.columns import plain_facts
from fleet.facts.holes import Hole, HoleFacts, Knowledge, Side, fresh_hole_ids
from fleet.facts.pairs import Pair
from imports.difference import Draft, Fate, changed, said_in, stated
from imports.propose_pairs import PairRows
from imports.rows import Row, ready, sides_of

_HERE = (Knowledge.MEASURED_HERE, Knowledge.DRILLED_HERE)


def propose_holes(
    draft: Draft, rows: Sequence[Row], pairs: Mapping[str, PairRows], *, blocked: Mapping[str, bool]
) -> None:
    """``holes recorded`` per pair, and ``hole changed`` for what an edited export corrects.

    ``blocked``: tags whose own row does not come in, and whether it is left out; their holes wait with it,
    without a question of their own.
    """
    new: dict[str, list[NewHole]] = defaultdict(list)
    ids: dict[tuple[str, Side], Iterator[str]] = {}
    for row in ready(rows):
        tag = row.values["pair_tag"]
        if tag in blocked:
            row.wait_for(tag, left_out=blocked[tag])
            continue
        old = draft.fleet.pairs.get(tag)
        if tag not in pairs and old is None:
            row.ask(
                "unknown_pair",
                f"there is no pair {tag}",
                "add its ski row, or correct the tag",
                key="pair_tag",
            )
            continue
        _check_place(row, pairs.get(tag), old)
        if not row.usable:
            continue
        for side in sides_of(row):
            said = said_in(HoleFacts, row.values.get)
            known = _known(old, side, said)
            if known is not None:
                if any(finding.code == "knowledge_blank" for finding in row.findings):
                    said["knowledge"] = row.values["knowledge"] = None  # nothing is said of a known hole
                    row.findings[:] = [f for f in row.findings if f.code != "knowledge_blank"]
                was = draft.base.pairs.get(tag)
                _compare(draft, row, known, said, _known(was, side, said))
                continue
            if not said["hole_id"]:
                if (tag, side) not in ids:
                    taken = [hole.hole_id for hole in old.skis[side].holes] if old else []
                    above = old.skis[side].holes_numbered_to if old else 0
                    ids[tag, side] = fresh_hole_ids(tag, side, taken, above=above)
                said["hole_id"] = next(ids[tag, side])
            new[tag].append(NewHole.read(stated(HoleFacts, said) | {"side": side.value}))
            draft.fate(row, Fate.NEW)
    for tag, holes in new.items():
        draft.entries.append(HolesRecorded(tag=tag, holes=tuple(holes)))


def _known(pair: Pair | None, side: Side, said: Mapping[str, Any]) -> Hole | None:
    """The ledger's hole that the row speaks of: by id, else at exactly the same place."""
    if pair is None:
        return None
    for hole in pair.skis[side].holes:
        if said["hole_id"]:
            if hole.hole_id == said["hole_id"]:
                return hole
        elif (hole.x_um, hole.y_um) == (said["x_um"], said["y_um"]):
            return hole
    return None


def _compare(draft: Draft, row: Row, hole: Hole, said: Mapping[str, Any], was: Hole | None) -> None:
    now = plain_facts(HoleFacts, hole)
    if (
        hole.knowledge in _HERE
        and was is None
        and any(v is not None and v != now[c] for c, v in said.items())
    ):
        row.ask(
            "drilled_here",
            f"hole {hole.hole_id} was {hole.knowledge} and differs in the file; "
            "a spreadsheet cannot overwrite it",
            "enter the correction at the bench, or take a fresh export",
            key="x_mm",
        )
        return
    changes = changed(draft, row, HoleFacts, said, what=f"hole {hole.hole_id}", old=hole, was=was)
    if changes and hole.knowledge in _HERE:
        row.ask(
            "drilled_here",
            f"hole {hole.hole_id} was {hole.knowledge}; a spreadsheet cannot overwrite it",
            "enter the correction at the bench",
            key="x_mm",
        )
        return
    if changes:
        draft.entries.append(HoleChanged(hole_id=hole.hole_id, changes=changes))
    draft.fate(row, Fate.CHANGED if changes else Fate.UNCHANGED)


def _check_place(row: Row, pair: PairRows | None, old: Pair | None) -> None:
    """A hole lies on its ski, as far as mark, length and waist tell."""
    x, y = row.values["x_mm"], row.values["y_mm"]
    for side in sides_of(row):
        length, tail, waist = _measures(pair, old, side)
        if length is not None:
            behind = tail if tail is not None else length * Decimal("0.7")
            ahead = length - tail if tail is not None else length * Decimal("0.75")
            if x < -behind or x > ahead:
                row.ask(
                    "hole_off_ski",
                    f"x {x:f} mm lies beyond the end of ski {side.value}",
                    "check x",
                    key="x_mm",
                )
                return
        if waist is not None and abs(y) > waist / 2 + 10:
            row.ask(
                "hole_off_ski", f"y {y:f} mm lies beside the ski (waist {waist:f} mm)", "check y", key="y_mm"
            )
            return


def _measures(
    pair: PairRows | None, old: Pair | None, side: Side
) -> tuple[Decimal | None, Decimal | None, Decimal | None]:
    length = tail = waist = None
    if pair is not None and pair.rows:
        in_cm = pair.first("length_cm")
        length = in_cm * 10 if in_cm is not None else None
        tail, waist = pair.on_side(side, "mark_from_tail_mm"), pair.first("waist_mm")
    if old is not None:
        length = length if length is not None else Decimal(old.length_mm)
        ski = old.skis[side]
        if tail is None and ski.mark_from_tail_um is not None:
            tail = Decimal(ski.mark_from_tail_um) / 1000
        if waist is None and old.waist_um is not None:
            waist = Decimal(old.waist_um) / 1000
    return length, tail, waist
