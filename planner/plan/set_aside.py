"""Things that a plan is made without, because planning with them ends in a fault; the rest is planned.

Whose fault it is, is found by trying: the plan is made of halves of the pairs, the boots or the patterns,
until it is known which cannot be planned with. The judge sees the same fleet, without them, and every figure
anew.

And the sets wanted that a plan was made for: the ledger's, or its own where it was made for many seasons. A
want of its own keeps the ledger's name where it is the same but for how many. Where a set must be able to
serve any of several wants, it is named after the first of them in priority, with a number: ``W-1+02``.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeVar

from fleet.base.errors import MountbookError, PlanFault
from fleet.facts.standing import Place
from fleet.tables.snapshot import Fleet
from planner.plan.fault_isolation import Fault, all_but_faulty
from planner.plan.values import Plan, SetAside


def as_asked(fleet: Fleet, plan: Plan) -> Fleet:
    """The fleet with the wants that the plan was made for."""
    return fleet if plan.wants is None else replace(fleet, wishes=plan.wants)


def shared_name(lead: str, number: int) -> str:
    """The name of a want whose sets may serve several, ``lead`` first."""
    return f"{lead}+{number:02}"


def lead_of(name: str) -> str:
    """The want that a shared want is named after; any other name stays as it is."""
    lead, plus, number = name.rpartition("+")
    return lead if plus and len(number) >= 2 and number.isdecimal() else name


_T = TypeVar("_T")

_MOST: Final = 12
"""More culprits of one kind than this are none: something else is wrong with all of them."""


@dataclass(frozen=True, slots=True)
class _Kind:
    """Things that a plan may be made without: who they are, and the fleet that cannot use some of them."""

    names: Callable[[Fleet], Sequence[str]]
    without: Callable[[Fleet, frozenset[str]], Fleet]


_KINDS: Final[Mapping[str, _Kind]] = {
    "pair": _Kind(
        lambda fleet: [t for t, p in fleet.pairs.items() if p.plannable],
        lambda fleet, tags: replace(
            fleet,
            pairs={
                **fleet.pairs,
                **{tag: replace(fleet.pairs[tag], place=Place.HOLD) for tag in tags & fleet.pairs.keys()},
            },
        ),
    ),
    "boot": _Kind(
        lambda fleet: [t for t, b in fleet.boots.items() if b.bsl_um is not None and b.plannable],
        lambda fleet, tags: replace(
            fleet,
            boots={
                **fleet.boots,
                **{tag: replace(fleet.boots[tag], bsl_um=None) for tag in tags & fleet.boots.keys()},
            },
        ),
    ),
    "pattern": _Kind(
        lambda fleet: sorted({fit.pattern for fit in fleet.fits}),
        lambda fleet, names: replace(
            fleet, fits=tuple(fit for fit in fleet.fits if fit.pattern not in names)
        ),
    ),
}
"""Tried in this order; among those that cost as many sets the first is to blame."""


def without(fleet: Fleet, aside: Sequence[SetAside]) -> Fleet:
    """The fleet in which nothing that is set aside can be planned with."""
    for what, kind in _KINDS.items():
        names = frozenset(each.name for each in aside if each.what == what)
        fleet = kind.without(fleet, names) if names else fleet
    return fleet


def as_planned(fleet: Fleet, plan: Plan) -> Fleet:
    """The fleet as a plan was made for it: with its own wants, and without what it set aside."""
    return without(as_asked(fleet, plan), plan.set_aside)


def plan_without_faulty(
    fleet: Fleet, make: Callable[[Fleet], _T], *, served: Callable[[_T], int]
) -> tuple[_T, tuple[Fault, ...]]:
    """``make(fleet)``; where that ends in a fault, made without those whose absence costs the fewest sets.

    What the rules refuse is no fault. Raises the fault where no few things of one kind are to blame.
    """
    try:
        return make(fleet), ()
    except MountbookError as refused:
        if not isinstance(refused, PlanFault):
            raise
        fault: Exception = refused
    except Exception as error:
        fault = error
    found = [
        blamed for what, kind in _KINDS.items() if (blamed := _without_culprits(fleet, make, what, kind))
    ]
    if not found:
        raise fault
    return max(found, key=lambda each: (served(each[0]), -len(each[1])))


def _without_culprits(
    fleet: Fleet, make: Callable[[Fleet], _T], what: str, kind: _Kind
) -> tuple[_T, tuple[Fault, ...]] | None:
    """The plan without the things of that kind which cannot be planned with; None if they are not it."""
    names = kind.names(fleet)

    def only(some: Sequence[str]) -> _T:
        return make(kind.without(fleet, frozenset(names) - frozenset(some)))

    try:
        made, faults = all_but_faulty(names, only, what=what, name=str, most=_MOST)
    except Exception:
        return None
    return None if made is None else (made, faults)


def with_set_aside(plan: Plan, faults: Sequence[Fault]) -> Plan:
    """The plan that says what it was made without; a pair is among the unplanned ones, with that reason."""
    aside = tuple(SetAside(what=f.what, name=f.name, reason=f.reason) for f in faults)
    why = {each.name: each.reason for each in aside if each.what == "pair"}
    rows = (
        replace(row, reason=f"set aside: {why[row.pair]}") if row.pair in why else row
        for row in plan.unplanned_pairs
    )
    return replace(plan, set_aside=aside, unplanned_pairs=tuple(rows))
