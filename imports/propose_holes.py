"""Proposed entries for holes, and for the mounts and areas of an export.

A spreadsheet adds holes; it never moves or removes those drilled here. A pair's history is added where it is
not known, never rewritten. An inspection opens an area; one that stands in the ledger stays as it is.
"""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any, Final

from fleet.events.event import Event
from fleet.events.mounts import MountRecorded, MountStated
from fleet.events.pairs import AreaInspected, HoleChanged, HolesRecorded, NewHole
from fleet.facts.columns import plain_facts
from fleet.facts.holes import Hole, HoleFacts, Knowledge, MountFacts, Side, StatedMountFacts, fresh_hole_ids
from fleet.facts.pairs import AreaFacts, Pair
from fleet.facts.patterns import Pattern
from imports.difference import Draft, Fate, changed, said_in, stated
from imports.propose_pairs import PairRows, ask_if_moved, is_that_mount, with_stands
from imports.rows import Row, ready, sides_of

_HERE = (Knowledge.MEASURED_HERE, Knowledge.DRILLED_HERE)


def propose_holes(draft: Draft, rows: Sequence[Row], pairs: Mapping[str, PairRows]) -> None:
    """``holes recorded`` per pair, and ``hole changed`` for what an edited export corrects."""
    new: dict[str, list[NewHole]] = defaultdict(list)
    ids: dict[tuple[str, Side], Iterator[str]] = {}
    for row in ready(rows):
        tag = row.values["pair_tag"]
        old = draft.fleet.pairs.get(tag)
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
            draft.fate(Fate.NEW, row)
    for tag, holes in new.items():
        draft.add(HolesRecorded(tag=tag, holes=tuple(holes)))


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
    draft.add(HoleChanged(hole_id=hole.hole_id, changes=changes) if changes else None, row)


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


def propose_mount_rows(draft: Draft, rows: Sequence[Row], patterns: Mapping[str, Pattern]) -> None:
    """``mount recorded`` for a mount of a pair that comes with the same import; else compare."""
    for row in ready(rows):
        v = row.values
        tag = v["pair_tag"]
        old = draft.fleet.pairs.get(tag)
        if v["pattern"] is None and v.get("binding_model"):
            facts = stated(StatedMountFacts, said_in(StatedMountFacts, v.get))
            stands = any(plain_facts(StatedMountFacts, m) == facts for m in old.stated) if old else False
            _add_history(
                draft, row, old, MountStated(tag=tag, **facts), stands, *_NO_MOUNT, key="binding_model"
            )
            continue
        if v["pattern"] is None or v["bsl_mm"] is None or v["offset_mm"] is None:
            row.ask(
                "mount_incomplete",
                "a mount with a pattern has a sole and a boot centre; without one it has its binding model",
                "enter what is missing",
                key="pattern",
            )
            continue
        if v["pattern"] not in patterns:
            row.ask("pattern_unknown", f"there is no pattern {v['pattern']!r}", "add it first", key="pattern")
            continue
        said = stated(MountFacts, said_in(MountFacts, v.get))
        mount = MountRecorded(tag=tag, **said | {"drilled": v.get("drilled") != 0})
        if mount.removed_on is None:
            mount = with_stands(row, mount, patterns[mount.pattern], v)
        known = next((m for m in old.mounts if is_that_mount(m, mount)), None) if old else None
        if known:
            ask_if_moved(row, known, mount, patterns[mount.pattern])
        _add_history(draft, row, old, mount, known is not None, *_NO_MOUNT, key="pattern")


_NO_MOUNT: Final = (
    "mount_history",
    "the ledger knows no such mount of {}; a spreadsheet cannot rewrite history",
    "enter work with `mountbook order done`, or restore the row",
)


def _add_history(
    draft: Draft,
    row: Row,
    old: Pair | None,
    event: Event,
    known: bool,
    code: str,
    words: str,
    cure: str,
    *,
    key: str,
) -> None:
    """Add a part of a new pair's history; of a known pair, ask about what the ledger does not have."""
    if old is None:
        draft.add(event, row, fate=Fate.NEW)
    elif known:
        draft.fate(Fate.UNCHANGED, row)
    else:
        row.ask(code, words.format(old.tag), cure, key=key)


def propose_areas(draft: Draft, rows: Sequence[Row], closes: Callable[[str, Side], bool]) -> None:
    """``area inspected`` for rows of pairs that come with the same import; a known pair's are compared.

    An area row for a pair that the ledger knows, and that it does not have, is asked: inspections are
    entered on the ski's own row, where its holes are checked against them. ``closes``: whether a hole row
    that does not come in keeps that ski closed.
    """
    for row in ready(rows):
        v = row.values
        tag, side = v["pair_tag"], Side(v["ski"])
        old = draft.fleet.pairs.get(tag)
        area = stated(AreaFacts, said_in(AreaFacts, v.get))
        if old is None and closes(tag, side):
            continue
        seen = any(plain_facts(AreaFacts, a) == area for a in old.skis[side].inspected) if old else False
        _add_history(
            draft,
            row,
            old,
            AreaInspected(tag=tag, side=side, **area),
            seen,
            "area_unknown",
            f"the ledger knows no such inspection of {{}} ski {side.value}",
            "enter the inspection on the ski's own row, or survey the ski",
            key="from_mm",
        )
