"""Proposed entries for bindings in stock: a row of n pairs of bindings is 2n bindings, each with its id.

Bindings and mounts that were kept by name are completed when their pattern comes, not repeated. A binding
whose model has one pattern gets it. The mount of a pair that was kept as stated becomes a known one where
sole and boot centre are known too, the centre from the sheet or from the pair's own screwed holes.
"""

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any

from fleet.base.units import counted
from fleet.events.event import BindingChanges, Event
from fleet.events.mounts import BindingChanged, BindingRecorded, MountRecorded
from fleet.facts.columns import Shown, columns_of
from fleet.facts.holes import Side
from fleet.facts.pairs import Binding, BindingFacts, Brake, BrakeWidth, Pair
from fleet.facts.patterns import Pattern
from fleet.rules.stock import sort_of, stock_stem
from fleet.tables.snapshot import Fleet
from imports.difference import Draft, Fate, changed, said_in, stated
from imports.hole_witness import Places, boot_centre_um, screwed_places
from imports.resolve import patterns_of, resolve_binding
from imports.rows import Row, ready


def propose_stock(draft: Draft, rows: Sequence[Row], patterns: Mapping[str, Pattern]) -> None:
    """Stock rows by quantity, and rows of an export by binding id."""
    for row in ready(rows):
        if row.values.get("binding_id"):
            _one(draft, row, patterns)
        else:
            _many(draft, row, patterns, rows)


def _many(draft: Draft, row: Row, patterns: Mapping[str, Pattern], rows: Sequence[Row]) -> None:
    resolved = resolve_binding(row, "model", patterns)
    if resolved is None or not row.usable:
        return
    v = row.values
    said = said_in(BindingFacts, v.get) | {"model": resolved.model, "pattern": resolved.pattern}
    said |= dict.fromkeys(("serial_toe", "serial_heel"), v.get("serial"))
    stem = _stem(said, said["brake_um"] or Brake.UNKNOWN)
    known = draft.fleet.bindings
    stem = _kept_stem(draft, _told_stem(draft, stem, said), said)
    beside = {c.name: said[c.name] for c in columns_of(BindingFacts) if c.shown is Shown.EVERYWHERE}
    draft.first_binding[id(row)] = f"{stem} no. 1 A"
    if any(name.startswith(f"{stem} no. ") for name in draft.fleet.gone):
        _after_stock_left(draft, row, stem)
        return
    begun = len(draft.entries)
    fresh = others = 0
    for number in range(1, v["quantity"] + 1):
        for side in Side:
            binding_id = f"{stem} no. {number} {side.value}"
            if binding_id in known:  # its id says the rest
                now_said = said["brake_um"] is Brake.NONE and known[binding_id].brake_um is None
                seen = {"brake_um": Brake.NONE} if now_said else {}
                others += _changed(draft, row, beside | seen, known[binding_id])
                continue
            fresh += 1
            _record(draft, said | {"binding_id": binding_id}, on_pair=None, on_ski=None)
    beyond = f"{stem} no. {v['quantity'] + 1} A"
    if beyond in known:
        row.ask(
            "fewer_bindings",
            f"the ledger has more than {v['quantity']} pairs of {stem}; a spreadsheet takes none away",
            "enter the ledger's number, or `mountbook stock out` what left",
            key="quantity",
        )
        del draft.entries[begun:]
        return
    if fresh and said["brake_um"] is not None and _stem(said, Brake.UNKNOWN) in _unknown_stock(draft, rows):
        row.ask(
            "brake_was_unknown",
            f"the ledger has {_stem(said, Brake.UNKNOWN)} in stock, of which this sheet has no row: are these"
            " the same bindings, measured now?",
            "if so, `mountbook stock out` those first; if not, keep their row with a blank brake",
            key="brake_mm",
        )
        del draft.entries[begun:]
        return
    if not fresh and not others:
        draft.fate(Fate.UNCHANGED, row)
    else:
        draft.fate(Fate.NEW if fresh == 2 * v["quantity"] else Fate.CHANGED, row)


def _stem(said: Mapping[str, Any], brake: BrakeWidth) -> str:
    return stock_stem(said["pattern"] or said["model"], brake, said["season"], said["serial_toe"])


def _told_stem(draft: Draft, stem: str, said: Mapping[str, Any]) -> str:
    """The name that this stock has in the ledger: told as none by a blank, as sheets were read before."""
    told = _stem(said, None)
    first = draft.fleet.bindings.get(f"{told} no. 1 A")
    was_told = first is not None and first.brake_um is None and said["brake_um"] is None
    return told if was_told else stem


def _kept_stem(draft: Draft, stem: str, said: Mapping[str, Any]) -> str:
    """The name that this stock has in the ledger from before its pattern was known."""
    by_model = _stem(dict(said) | {"pattern": ""}, said["brake_um"] or Brake.UNKNOWN)
    return by_model if f"{by_model} no. 1 A" in draft.fleet.bindings else stem


def _unknown_stock(draft: Draft, rows: Sequence[Row]) -> set[str]:
    """Names of the ledger's stock of which nobody knows the brake, and of which no row speaks any more."""
    models = {row.values.get("model") for row in rows if row.usable and row.values.get("brake_mm") is None}
    return {
        sort_of(b)
        for b in draft.fleet.bindings.values()
        if b.on_pair is None and b.brake_um is Brake.UNKNOWN and not {b.model, b.pattern} & models
    }


def _as_known(said: dict[str, Any]) -> dict[str, Any]:
    """Return what a row says of a binding that the ledger has: told as none says nothing new."""
    return said | ({"brake_um": None} if said["brake_um"] is Brake.TOLD else {})


def _after_stock_left(draft: Draft, row: Row, stem: str) -> None:
    """Compare a sheet's number with the stock after some left it by entries: none of these comes back."""

    now, then = (
        sum(name.startswith(f"{stem} no. ") for name in fleet.bindings) // 2
        for fleet in (draft.fleet, draft.base)
    )
    quantity = row.values["quantity"]
    draft.fate(Fate.UNCHANGED, row)
    if draft.base.head.seq and quantity == then != now:
        row.note("stale_value", f"the stock of {stem} has moved since this file was made", key="quantity")
    elif quantity != now:
        row.ask(
            "stock_has_moved",
            f"the ledger has {counted(now, 'pair')} of {stem}, in stock or on skis, after some left the"
            f" stock; the sheet says {quantity}",
            "enter what came or left with `mountbook stock in` or `stock out`",
            key="quantity",
        )


def _one(draft: Draft, row: Row, patterns: Mapping[str, Pattern]) -> None:
    v = row.values
    if v.get("pattern") and v["pattern"] not in patterns:
        row.ask(
            "pattern_unknown",
            f"there is no pattern {v['pattern']!r}",
            "add it, or correct its name",
            key="pattern",
        )
        return
    pattern = patterns.get(v.get("pattern") or "")
    said = said_in(BindingFacts, v.get)
    if said["model"] is None and pattern is not None:
        said["model"] = pattern.binding_model
    old = draft.fleet.bindings.get(v["binding_id"])
    if old is None:
        _record(draft, said, row, on_pair=v.get("on_pair"), on_ski=v.get("on_ski"))
        return
    if (v.get("on_pair"), v.get("on_ski")) not in (_where(old), _where(_was(draft, old))):
        row.ask(
            "binding_moved",
            f"binding {old.binding_id} is on {old.on_pair or 'no pair'} in the ledger; "
            "a spreadsheet cannot move it",
            "enter the work at the bench",
            key="on_pair",
        )
        return
    _changed(draft, row, _as_known(said), old)


def _changed(draft: Draft, row: Row, said: dict[str, Any], old: Binding) -> bool:
    """Propose what the row changes of what is known of the binding; return whether that is something."""
    what, was = f"binding {old.binding_id}", _was(draft, old)
    changes = changed(draft, row, BindingFacts, said, what=what, old=old, was=was)
    draft.add(BindingChanged(binding_id=old.binding_id, changes=changes) if changes else None, row)
    return bool(changes)


def _was(draft: Draft, binding: Binding) -> Binding | None:
    return draft.base.bindings.get(binding.binding_id)


def _where(binding: Binding | None) -> tuple[str | None, str | None]:
    return (binding.on_pair, binding.on_ski) if binding is not None else ("", "")


def _record(draft: Draft, said: dict[str, Any], *rows: Row, on_pair: str | None, on_ski: str | None) -> None:
    body = stated(BindingFacts, said) | {"on_pair": on_pair, "on_ski": on_ski}
    if said["brake_um"] is Brake.TOLD:
        body["brake_um"] = None
    draft.add(BindingRecorded.read(body), *rows, fate=Fate.NEW)


def propose_late_patterns(
    draft: Draft,
    patterns: Mapping[str, Pattern],
    screwed: Mapping[tuple[str, Side], Places],
    *,
    spoken_of: Collection[str],
    stock: bool,
) -> list[str]:
    """``binding changed`` and ``mount recorded`` for what waited for a pattern; what follows, as sentences.

    ``spoken_of``: pairs whose row is in this import, which says the mount itself. ``stock``: it has rows of
    bindings in stock. What neither has a row nor a new pattern stays as it is.
    """
    fleet = draft.fleet
    new = patterns.keys() - fleet.patterns.keys()
    named: Counter[str] = Counter()
    for binding in fleet.bindings.values():
        on = fleet.pairs.get(binding.on_pair) if binding.on_pair else None
        found = None if binding.pattern else _only(binding.model, patterns, on)
        asked_for = binding.on_pair in spoken_of if on else stock
        if found is not None and (asked_for or found in new):
            change: BindingChanges = {"pattern": (binding.pattern, found)}
            draft.add(BindingChanged(binding_id=binding.binding_id, changes=change))
            named[found] += 1
    follows = [
        f"the pattern {name} is now that of {counted(many, 'binding')} which the ledger kept by name"
        for name, many in named.items()
    ]
    done = list(_mounts(fleet, patterns, new, screwed, spoken_of))
    draft.entries += done
    if done:
        tags = ", ".join(mount.tag for mount in done[:_SHOWN]) + (" and more" if done[_SHOWN:] else "")
        follows.append(f"the mount of {counted(len(done), 'pair')} is complete now: {tags}")
    return follows


def completed_by(fleet: Fleet, patterns: Mapping[str, Pattern]) -> tuple[list[Event], list[str]]:
    """The entries that complete what waits in a ledger for patterns entered now; what follows, as sentences.

    ``fleet``: as it was before them; ``patterns``: all that the ledger has by now.
    """
    draft = Draft(fleet=fleet)
    screwed = screwed_places((), fleet)
    follows = propose_late_patterns(draft, patterns, screwed, spoken_of=(), stock=False)
    return draft.entries, follows


_SHOWN = 10


def _mounts(
    fleet: Fleet,
    patterns: Mapping[str, Pattern],
    new: Collection[str],
    screwed: Mapping[tuple[str, Side], Places],
    spoken_of: Collection[str],
) -> Iterator[MountRecorded]:
    for tag, pair in fleet.pairs.items():
        said = pair.present_stated
        if said is None or said.bsl_um is None or tag in spoken_of or pair.current_mount is not None:
            continue
        found = _only(said.binding_model, patterns, pair)
        if found is None or found not in new:
            continue
        centre_um = said.offset_um
        if centre_um is None:
            own = {side: screwed.get((tag, side), ()) for side in Side}
            centre_um = boot_centre_um(patterns[found], said.bsl_um, own)
        if centre_um is not None:
            yield MountRecorded(
                tag=tag,
                pattern=found,
                bsl_um=said.bsl_um,
                offset_um=centre_um,
                mounted_on=said.mounted_on,
                removed_on=None,
                drilled=True,
                completes=True,
            )


def _only(model: str, patterns: Mapping[str, Pattern], pair: Pair | None) -> str | None:
    """The one pattern of a binding of that model, by the sole it was mounted for where there are more."""
    if model in patterns:
        return model
    fitting = patterns_of(model, patterns)
    said = pair.present_stated if pair is not None else None
    if len(fitting) > 1 and said is not None and said.bsl_um is not None:
        fitting = [p for p in fitting if p.takes_bsl(said.bsl_um)]
    return fitting[0].name if len(fitting) == 1 else None
