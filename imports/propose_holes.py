"""Proposed entries for holes. A spreadsheet adds holes; it never moves or removes those drilled here."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from fleet.base.entries import Body
from fleet.base.units import mm_to_um
from fleet.facts.equipment import Pair
from fleet.facts.hole_ids import fresh_hole_ids
from fleet.facts.holes import Hole, Knowledge, Side
from imports.difference import Draft, Fate, differing
from imports.propose_lists import um
from imports.propose_pairs import PairRows, plain_value, sides_of
from imports.records import Row

_HERE = (Knowledge.MEASURED_HERE, Knowledge.DRILLED_HERE)


def propose_holes(
    draft: Draft, rows: Sequence[Row], pairs: Mapping[str, PairRows], *, blocked: frozenset[str]
) -> None:
    """``holes recorded`` per pair, and ``hole changed`` for what an edited export corrects.

    ``blocked``: tags whose own row is in question; their holes wait without a question of their own.
    """
    new: dict[str, list[Body]] = defaultdict(list)
    ids: dict[tuple[str, Side], Iterator[str]] = {}
    for row in rows:
        if not row.usable or row.repeat:
            continue
        tag = row.values["pair_tag"]
        if tag in blocked:
            continue
        old = draft.fleet.pairs.get(tag) if draft.fleet else None
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
            body = _body(row, side)
            known = _known(old, side, row, body)
            if known is not None:
                was = draft.base.pairs.get(tag) if draft.base else None
                _compare(draft, row, known, body, _known(was, side, row, body))
                continue
            if not body["hole_id"]:
                if (tag, side) not in ids:
                    taken = [hole.hole_id for hole in old.skis[side].holes] if old else []
                    above = old.skis[side].holes_numbered_to if old else 0
                    ids[tag, side] = fresh_hole_ids(tag, side, taken, above=above)
                body["hole_id"] = next(ids[tag, side])
            new[tag].append(body)
            draft.fate(row, Fate.NEW)
    for tag, holes in new.items():
        draft.enter("holes recorded", {"tag": tag, "holes": holes})


def _body(row: Row, side: Side) -> Body:
    v = row.values
    return {
        "hole_id": v.get("hole_id") or "",
        "side": side.value,
        "x_um": mm_to_um(v["x_mm"]),
        "y_um": mm_to_um(v["y_mm"]),
        "diameter_um": um(v.get("diameter_mm")),
        "depth_um": um(v.get("depth_mm")),
        "state": v["state"],
        "knowledge": v["knowledge"],
    }


def _known(pair: Pair | None, side: Side, row: Row, body: Body) -> Hole | None:
    """The ledger's hole that the row speaks of: by id, else at exactly the same place."""
    if pair is None:
        return None
    for hole in pair.skis[side].holes:
        if body["hole_id"]:
            if hole.hole_id == body["hole_id"]:
                return hole
        elif (hole.x_um, hole.y_um) == (body["x_um"], body["y_um"]):
            return hole
    return None


def _compare(draft: Draft, row: Row, hole: Hole, body: Body, was: Hole | None) -> None:
    columns = ("x_um", "y_um", "diameter_um", "depth_um", "state", "knowledge")
    now = {c: plain_value(getattr(hole, c)) for c in columns}
    said: dict[str, Any] = {c: body[c] for c in columns}
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
    changes = differing(
        draft,
        row,
        what=f"hole {hole.hole_id}",
        said=said,
        now=now,
        base=None if was is None else {c: plain_value(getattr(was, c)) for c in columns},
        key_of={c: c.replace("_um", "_mm") for c in columns},
    )
    if changes and hole.knowledge in _HERE:
        row.ask(
            "drilled_here",
            f"hole {hole.hole_id} was {hole.knowledge}; a spreadsheet cannot overwrite it",
            "enter the correction at the bench",
            key="x_mm",
        )
        return
    if changes:
        draft.enter("hole changed", {"hole_id": hole.hole_id, "changes": changes})
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
