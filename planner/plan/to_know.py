"""Facts about a set for a person, beside its figures: notes, and what nobody stated or measured."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from typing import Final

from fleet.facts.notes import in_short, on_boot, on_pair
from fleet.facts.pairs import to_measure
from fleet.tables.snapshot import Fleet
from planner.plan.values import Plan, PlannedSet

FIT_NOT_KNOWN: Final = "sets kept though nobody knows whether the brake fits: measure first"


def notes_of(fleet: Fleet, planned: PlannedSet) -> str:
    """The notes on pair, skis, bindings and boot in one line, cut short; "" for none."""
    ids = [b.binding_id for b in fleet.bindings_on(planned.pair).values()]
    notes = (*on_pair(fleet.notes, planned.pair, binding_ids=ids), *on_boot(fleet.notes, planned.boot))
    return in_short(notes, tag=planned.pair)


def kinds_of(fleet: Fleet, planned: PlannedSet) -> str:
    """Return of which things nobody stated a kind, so that the fits table decided alone; "" for none."""
    missing = ", ".join(f"{thing} model {model}" for thing, model in _not_stated(fleet, planned))
    return f"kind not stated, the fits table decided: {missing}" if missing else ""


def fit_of(fleet: Fleet, planned: PlannedSet) -> str:
    """Return what to measure before anybody knows whether the brake fits, by name; "" where it is known. Only
    a binding that stays on may be of an unknown brake.
    """
    if planned.brake_um is None:
        return ""
    on = fleet.bindings_on(planned.pair).values() if planned.binding_from == "own" else ()
    return to_measure(fleet.pair(planned.pair), on, fleet.policy)


def fits_not_known(fleet: Fleet, plan: Plan) -> tuple[str, ...]:
    """Return the same of every set of a plan that has one."""
    return tuple(said for planned in plan.sets if (said := fit_of(fleet, planned)))


def _not_stated(fleet: Fleet, planned: PlannedSet) -> Iterator[tuple[str, str]]:
    """Yield what has no kind: (boot or binding, its model)."""
    boot, pattern = fleet.boot(planned.boot), fleet.pattern(planned.way.pattern)
    if not boot.kinds:
        yield "boot", boot.model
    if not pattern.kinds:
        yield "binding", pattern.binding_model


def kinds_to_state(fleet: Fleet, plan: Plan) -> tuple[str, ...]:
    """The question, once a model: the command that states the kind of each model that the plan uses."""
    found = sorted({each for planned in plan.sets for each in _not_stated(fleet, planned)})
    option = {"boot": "", "binding": " --bindings"}
    return tuple(
        f"mountbook kind {shlex.quote(model)} KIND{option[thing]} --by NAME"
        for thing, model in found
        if model
    )
