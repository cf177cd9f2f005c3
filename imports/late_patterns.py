"""A pattern that comes after bindings and mounts that were kept by name: they are completed, not repeated.

A binding whose model has one pattern gets it. The mount of a pair that was kept as stated becomes a known one
where sole and boot centre are known too, the centre from the sheet or from the pair's own screwed holes.
"""

from collections import Counter
from collections.abc import Collection, Iterator, Mapping

from fleet.base.units import counted
from fleet.events.event import BindingChanges, Event
from fleet.events.mounts import BindingChanged, MountRecorded
from fleet.facts.holes import Side
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Pattern
from fleet.tables.snapshot import Fleet
from imports.difference import Draft
from imports.own_holes import Places, boot_centre_um, screwed_places
from imports.resolve import patterns_of


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
            draft.entries.append(BindingChanged(binding_id=binding.binding_id, changes=change))
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
