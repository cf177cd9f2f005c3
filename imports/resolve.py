"""Patterns meant by a binding's name: a model with one pattern, a pattern's own name, or a question."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from fleet.base.near_names import nearest
from fleet.base.units import mm_to_um
from fleet.facts.patterns import Pattern
from imports.rows import Row


@dataclass(frozen=True, slots=True)
class Resolved:
    """A binding name made sure of. ``pattern`` is empty where no pattern of it is known."""

    model: str
    pattern: str


def patterns_of(model: str, patterns: Mapping[str, Pattern]) -> list[Pattern]:
    """The patterns of a binding's model: those of the model written so, else of one in other letters."""
    exact = [p for p in patterns.values() if p.binding_model == model]
    return exact or [p for p in patterns.values() if p.binding_model.casefold() == model.casefold()]


def resolve_binding(
    row: Row, key: str, patterns: Mapping[str, Pattern], bsl: Decimal | None = None
) -> Resolved | None:
    """The model and pattern named by a row's cell; None (with a question on the row) where in doubt."""
    name = str(row.values.get(key) or "")
    if name in patterns:
        return Resolved(patterns[name].binding_model, name)
    fitting = patterns_of(name, patterns)
    if len(fitting) > 1 and bsl is not None:
        bsl_um = mm_to_um(bsl)
        taking = [p for p in fitting if p.takes_bsl(bsl_um)]
        if len(taking) == 1:
            row.note(
                "pattern_by_sole",
                f"{name} has {len(fitting)} patterns; only {taking[0].name} takes a sole of {bsl:f} mm",
                key=key,
                taken=taking[0].name,
            )
            return Resolved(taking[0].binding_model, taking[0].name)
    if len(fitting) == 1:
        return Resolved(fitting[0].binding_model, fitting[0].name)
    if len(fitting) > 1:
        row.ask(
            "pattern_in_doubt",
            f"{name} has {len(fitting)} patterns: {', '.join(p.name for p in fitting)}",
            "name the pattern instead of the model",
            key=key,
        )
        return None
    near = nearest(name, {*patterns, *(p.binding_model for p in patterns.values())}, likeness=0.8)
    if near:
        row.ask(
            "binding_unknown",
            f"no pattern is known for the binding {name!r}; did you mean {near!r}?",
            "write the name as the patterns sheet does",
            key=key,
        )
        return None
    row.note(
        "pattern_unknown",
        f"no pattern is known for the binding {name!r}: it is kept by name, and nothing is planned with it",
        "add its pattern",
        key=key,
    )
    return Resolved(name, "")
