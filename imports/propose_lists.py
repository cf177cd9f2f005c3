"""Proposed entries for the shop's lists: patterns, fits, sets wanted, staff and boots."""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

from fleet.base.entries import Body
from fleet.base.errors import nearest
from fleet.base.grouping import grouped
from fleet.base.units import mm_to_um
from fleet.events.boots import BootChanged, BootHeld, BootMoved, BootRecorded
from fleet.events.event import Event
from fleet.events.movement import MOVED_TO
from fleet.events.settings import FitDeclared, PatternRecorded, StaffListed, WishRecorded
from fleet.facts.binding_kinds import BindingKinds
from fleet.facts.boots import BootFacts
from fleet.facts.columns import LedgerFacts, columns_of, facts_in, plain, plain_facts
from fleet.facts.gates import BindingModel, asked_for, sole_answer
from fleet.facts.patterns import (
    Fit,
    Pattern,
    PatternFacts,
    PatternHoleFacts,
    PieceFacts,
    pattern_from_body,
    pattern_to_body,
)
from fleet.facts.staff import StaffFacts, listed
from fleet.facts.wishes import WishFacts
from imports.difference import Draft, Fate, FieldChange, changed, said_in, stated
from imports.rows import Row, ready


def um(value: Decimal | None) -> int | None:
    """Millimetres of a file as whole micrometres, None for nothing."""
    return None if value is None else mm_to_um(value)


def propose_patterns(draft: Draft, rows: Sequence[Row]) -> dict[str, Pattern]:
    """All patterns that will be known: the ledger's, and those of the file. Asks on contradictions."""
    known: dict[str, Pattern] = dict(draft.fleet.patterns)
    for name, group in grouped(rows, lambda row: str(row.values.get("pattern"))).items():
        usable = [row for row in group if row.usable and not row.repeat]
        if not usable or any(row.blocks for row in group):
            continue
        old = known.get(name)
        pattern = _pattern(usable, old, draft.fleet.kinds)
        if pattern is None:
            continue
        body = pattern_to_body(pattern, origin="imported")
        if old is not None and pattern_to_body(old, origin="imported") == body:
            draft.fate(Fate.UNCHANGED, *group)
            continue
        was = draft.base.patterns.get(name)
        if old is not None and was is not None and pattern_to_body(was, origin="imported") == body:
            for row in group:
                row.note(
                    "stale_value", f"the pattern {name} has changed in the ledger since this file was made"
                )
            draft.fate(Fate.UNCHANGED, *group)
            continue
        if old is not None:
            draft.changes += _changes(old, pattern)
        draft.add(PatternRecorded.read(body), *group, fate=Fate.NEW if old is None else Fate.CHANGED)
        known[name] = pattern
    return known


def _changes(old: Pattern, new: Pattern) -> list[FieldChange]:
    """The facts of a pattern that change, for the page; what is said of its pieces counts as its holes."""
    what, (was, will) = f"pattern {new.name}", (plain_facts(PatternFacts, each) for each in (old, new))
    found = [
        FieldChange(what=what, field=name, old=was[name], new=will[name])
        for name in was
        if was[name] != will[name]
    ]
    if pattern_to_body(old)["pieces"] != pattern_to_body(new)["pieces"]:
        found.append(FieldChange(what=what, field="holes", old=old.hole_count, new=new.hole_count))
    return found


def _pattern(rows: Sequence[Row], old: Pattern | None, kinds: BindingKinds) -> Pattern | None:
    """The pattern that the rows tell; what they leave blank stays as it was."""
    name = rows[0].values["pattern"]
    said = _one_thing(PatternFacts, rows, old, f"pattern {name}")
    if said is None:
        return None
    if (kind := said.get("binding_kind")) and kind not in kinds.names:
        _ask_kind(rows, kind, kinds)
        return None
    old_pieces = {piece.name.value: piece for piece in old.pieces} if old else {}
    pieces = []
    for piece, group in grouped(rows, lambda row: str(row.values["piece"])).items():
        before = old_pieces.get(piece)
        of_piece = _one_thing(PieceFacts, group, before, f"the {piece} piece of pattern {name}")
        if of_piece is None or not _says_whose_screw(group, piece):
            return None
        there = {(hole.x_um, hole.y_um): hole for hole in before.holes} if before else {}
        holes = [
            _said(
                PatternHoleFacts, row, there.get((mm_to_um(row.values["x_mm"]), mm_to_um(row.values["y_mm"])))
            )
            for row in group
        ]
        pieces.append(of_piece | {"holes": holes})
    return pattern_from_body(said | {"pieces": pieces})


def _one_thing(
    thing: type[LedgerFacts], rows: Sequence[Row], old: object | None, what: str
) -> dict[str, Any] | None:
    """One thing of several rows, as `_said` reads it; None where they contradict each other: it is asked."""
    if not all(_one_value(rows, column.key, what) for column in columns_of(thing)):
        return None
    return _said(thing, rows[0], old)


def _said(thing: type[LedgerFacts], row: Row, old: object | None) -> dict[str, Any]:
    """The facts of a thing that a row states, or else the ledger; what neither states is left out."""
    known = {} if old is None else facts_in(thing, old)
    stated = {name: fact for name, fact in said_in(thing, row.values.get).items() if fact is not None}
    return {name: plain(fact) for name, fact in (known | stated).items()}


def _says_whose_screw(rows: Sequence[Row], piece: str) -> bool:
    """Return whether a screw that the rows name has an origin; asked where not."""
    if not rows[0].values.get("screw") or rows[0].values.get("screw_origin"):
        return True
    for row in rows:
        row.ask(
            "screw_without_origin",
            f"the screw of the {piece} piece has no origin",
            "write whose sheet names it",
            key="screw_origin",
        )
    return False


def _ask_kind(rows: Sequence[Row], kind: str, kinds: BindingKinds) -> None:
    near = nearest(kind, kinds.names)
    for row in rows:
        row.ask(
            "binding_kind_unknown",
            f"{kind!r} is no kind of binding that the shop knows"
            + (f"; did you mean {near}?" if near else ""),
            f"write one of: {', '.join(kinds.names)}; or leave it blank",
            key="binding_kind",
        )


def _one_value(rows: Sequence[Row], key: str, what: str) -> bool:
    said = {row.values.get(key) for row in rows}
    if len(said) == 1:
        return True
    texts = ", ".join("blank" if s is None else str(s) for s in sorted(said, key=str))
    for row in rows:
        row.ask(
            "pattern_contradiction",
            f"{what} has several values for {key}: {texts}",
            "write one value",
            key=key,
        )
    return False


def propose_fits(draft: Draft, rows: Iterable[Row], patterns: dict[str, Pattern]) -> None:
    """Fits declared by both makers. A fit of a pattern nobody knows is asked."""
    known, base = ({(f.sole_type, f.pattern): f for f in fleet.fits} for fleet in (draft.fleet, draft.base))
    for row in ready(rows):
        v = row.values
        if v["pattern"] not in patterns:
            row.ask(
                "fit_without_pattern",
                f"the fit names the pattern {v['pattern']!r}, which is not known",
                "write its name as the patterns sheet does",
                key="pattern",
            )
        elif _foreseen(draft, row, patterns[v["pattern"]]):
            what, key = f"fit {v['sole_type']} in {v['pattern']}", (v["sole_type"], v["pattern"])
            said = said_in(Fit, v.get)
            _list_entry(
                draft, row, Fit, said, what=what, old=known.get(key), was=base.get(key), kind=FitDeclared
            )


def _foreseen(draft: Draft, row: Row, pattern: Pattern) -> bool:
    """Ask about a sole that no standard foresees in that binding, where the shop has set that rule."""
    if not asked_for(draft.fleet.policy, "gate_sole_standard"):
        return True
    model = draft.fleet.models.get(pattern.binding_model, BindingModel(model=pattern.binding_model))
    answer = sole_answer(model.standard, row.values["sole_type"])
    if answer.refused:
        row.ask(
            "sole_not_foreseen",
            answer.refused,
            "leave the row out, or state the binding's standard anew: mountbook pattern model",
            key="sole_type",
        )
    elif answer.asked:
        row.note("sole_not_stated", f"{answer.asked}; taken as both makers' sheets say", key="sole_type")
    return not answer.refused


def propose_wishes(draft: Draft, rows: Iterable[Row]) -> None:
    """Sets wanted."""
    known, base = ({w.wish: w for w in fleet.wishes} for fleet in (draft.fleet, draft.base))
    for row in ready(rows):
        name, said = row.values["wish"], said_in(WishFacts, row.values.get)
        old, was = known.get(name), base.get(name)
        _list_entry(draft, row, WishFacts, said, what=f"wish {name}", old=old, was=was, kind=WishRecorded)


def propose_staff(draft: Draft, rows: Iterable[Row]) -> None:
    """The staff list."""
    for row in ready(rows):
        said = said_in(StaffFacts, row.values.get)
        old, was = (listed(fleet.staff, said["name"]) for fleet in (draft.fleet, draft.base))
        if old is not None:
            said["name"] = old.name
        what = f"staff {said['name']}"
        _list_entry(draft, row, StaffFacts, said, what=what, old=old, was=was, kind=StaffListed)


def _list_entry(
    draft: Draft,
    row: Row,
    thing: type[LedgerFacts],
    said: Body,
    *,
    what: str,
    old: object | None,
    was: object | None,
    kind: type[Event],
) -> None:
    """One entry of a list whose newest entry counts: new, changed, or nothing."""
    if old is None:
        body = {key: value for key, value in said.items() if value is not None}
        draft.add(kind.read(body), row, fate=Fate.NEW)
        return
    changes = changed(draft, row, thing, said, what=what, old=old, was=was)
    new = {column: value for column, (_, value) in changes.items()}
    draft.add(kind.read(plain_facts(thing, old) | new) if new else None, row)


def propose_boots(draft: Draft, rows: Iterable[Row]) -> None:
    """Boots, new and changed."""
    for row in ready(rows):
        tag, said = row.values["tag"], said_in(BootFacts, row.sure)
        old, was = draft.fleet.boots.get(tag), draft.base.boots.get(tag)
        if old is None:
            draft.add(BootRecorded.read(stated(BootFacts, said)), row, fate=Fate.NEW)
            _stop_boot(draft, row)
            continue
        row.not_taken.add("status")
        changes = changed(draft, row, BootFacts, said, what=f"boot {tag}", old=old, was=was)
        draft.add(BootChanged(tag=tag, changes=changes) if changes else None, row)


def _stop_boot(draft: Draft, row: Row) -> None:
    """A new boot that its file calls held or away comes in so; in our own words, as pairs do."""
    status, stops = (
        " ".join(str(row.values.get(key) or "").casefold().split()) for key in ("status", "stops")
    )
    tag, source = row.values["tag"], f"as {row.file} has it"
    if status not in (*map(str, MOVED_TO), "hold"):
        row.not_taken.add("status")
    if status in map(str, MOVED_TO):
        draft.add(BootMoved(tag=tag, to=status), text=f"{source}: {status}")
    if "hold" in (status, stops):
        draft.add(BootHeld(tag=tag), text=f"{source}: hold")
