"""Arguments and remedies in words and as JSON."""

from collections.abc import Iterator, Sequence
from typing import Any

from fleet.base.units import counted, first_of, in_mm, mm_text, toward, um_to_mm
from planner.plan.codec import planned_set_to_body
from planner.plan.part_prices import money_text
from planner.plan.values import PlannedSet, Unserved
from planner.planning.assign.classes import BindingSort
from planner.planning.assign.reasons import THEN
from planner.planning.explain.alternatives import Alternative, Argument, Assignment, LifeCost
from planner.planning.explain.remedies import Remedy, RemedyKind


def argument_lines(argument: Argument) -> Iterator[str]:
    """The argument for a pair and a way, for a person."""
    planned, way = argument.planned, argument.planned.way
    yield (
        f"{planned.wish}: {planned.boot} on {planned.pair}, {way.rung.value}:"
        f" {counted(way.drilled, 'hole')} drilled, {planned.minutes} min, {toward(way.offset_um)}"
    )
    if argument.alike:
        yield f"  {first_of(argument.alike, 4)} would do as well: the same sole, length and wants"
    if argument.lower:
        none = ", no ".join(repr(r.value) for r in argument.lower)
        yield f"  no way with less work: this boot has no {none} on {planned.pair}"
    elif way.rung.rank:
        yield "  there are ways with less work on this pair; the plan as a whole is better with this one"
    else:
        yield "  no way takes less: nothing is touched"
    words = ["the best plan without this choice", "and without that one"]
    for number, other in enumerate(argument.alternatives):
        yield f"  {words[min(number, 1)]}: {_alternative(argument.planned, other)}"
    if not argument.alternatives:
        yield "  there is no other choice for this pair"


def life_line(life: LifeCost) -> str:
    """The life that drilling costs the skis."""
    return (
        f"  room by the shop's spacing for {life.pattern}: {counted(life.before, 'further mount')} now,"
        f" {life.after} once this is drilled (places, not what the core bears)"
    )


def _alternative(planned: PlannedSet, other: Alternative) -> str:
    costs = ", ".join(other.costs) if other.costs else "equal in every figure, as good as this one"
    return f"{_pair(planned.pair, other.for_pair)}, {_boot(planned.boot, other.for_boot)}: {costs}"


def _pair(tag: str, does: Assignment) -> str:
    return f"{tag} stays unplanned" if does.way is None else f"{tag} gets {does.boot}, {does.way.value}"


def _boot(tag: str, does: Assignment) -> str:
    return f"{tag} stays in the shelf" if does.way is None else f"{tag} goes on {does.pair}, {does.way.value}"


def remedy_lines(short: Unserved, found: Sequence[Remedy]) -> Iterator[str]:
    """The binding limit and what would lift it."""
    yield f"{short.wish} is short of {counted(short.missing, 'set')}: {short.reason}"
    measure, then, _ = short.remedy.partition(THEN)
    if then and found:
        yield f"  {measure}"
    if found and found[0].served == short.missing:
        yield f"  what binds, found by solving again: too few {found[0].thing.value}"
    for remedy in found:
        yield f"  {remedy_text(remedy)}"
    if not found:
        yield "  nothing that could be bought alone serves one set more; " + short.remedy


def remedy_text(remedy: Remedy) -> str:
    """``buy 6 T4 bindings with 100 mm brake and 14 more sets are served``."""
    more = f"{remedy.served} more {'set is' if remedy.served == 1 else 'sets are'} served"
    if remedy.in_all != remedy.served:
        more += f" ({remedy.in_all} more of all wants)"
    many = remedy.count != 1
    if remedy.thing is RemedyKind.MINUTES:
        return f"give the bench {remedy.count} more min and {more}"
    if remedy.thing is RemedyKind.MONEY:
        return f"raise the parts budget by {money_text(remedy.count)} and {more}"
    if remedy.thing is RemedyKind.BOOTS and remedy.sole is not None:
        pairs = "pairs" if many else "pair"
        return (
            f"buy {remedy.count} {pairs} of boots, sole {remedy.sole[0]} of {mm_text(remedy.sole[1])} mm,"
            f" and {more}"
        )
    bindings = "" if remedy.sort is None else binding_text(remedy.sort, remedy.count)
    if remedy.thing is RemedyKind.BINDINGS:
        return f"buy {remedy.count} {bindings} and {more}"
    pairs = f"buy {remedy.count} new {'pairs' if many else 'pair'} of skis"
    return f"{pairs} and {more}" if not bindings else f"{pairs} and {remedy.count} {bindings}, and {more}"


def binding_text(sort: BindingSort, count: int) -> str:
    """``T4 bindings with 100 mm brake``; one binding serves a pair: two toes, two heels."""
    return f"{sort.pattern} {'binding' if count == 1 else 'bindings'} {sort.brake_text}"


def argument_json(argument: Argument) -> dict[str, Any]:
    """The answer for a set."""
    return {
        "set": in_mm(planned_set_to_body(argument.planned)),
        "alike_boots": list(argument.alike),
        "less_work_impossible": [r.value for r in argument.lower],
        "ways": [
            {
                "way": w.rung.value,
                "drilled": w.drilled,
                "minutes": w.minutes,
                "offset_mm": um_to_mm(w.offset_um),
            }
            for w in argument.ladder
        ],
        "alternatives": [
            {
                "boot": {"goes_on": a.for_boot.pair, "way": a.for_boot.way and a.for_boot.way.value},
                "pair": {"gets": a.for_pair.boot, "way": a.for_pair.way and a.for_pair.way.value},
                "served": a.figures.served,
                "drilled": a.figures.drilled,
                "minutes": a.figures.minutes,
                "offset_mm": um_to_mm(a.figures.offset_um),
                "costs": list(a.costs),
            }
            for a in argument.alternatives
        ],
    }


def remedies_json(short: Unserved, found: Sequence[Remedy]) -> dict[str, Any]:
    """The answer for a want that is short."""
    return {
        "wish": short.wish,
        "missing": short.missing,
        "reason": short.reason,
        "remedies": [
            {
                "buy": r.thing.value,
                "count": r.count,
                "pattern": None if r.sort is None else r.sort.pattern,
                **in_mm({"brake_um": None if r.sort is None else r.sort.brake_um}),
                "sole_type": None if r.sole is None else r.sole[0],
                "bsl_mm": None if r.sole is None else um_to_mm(r.sole[1]),
                "served": r.served,
                "served_in_all": r.in_all,
                "text": remedy_text(r),
            }
            for r in found
        ],
    }
