"""One fleet's planning problem, built once and solved again and again with something changed.

And the fleet that differs in thought: other policies, bindings or boots bought, pairs left out.
"""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

from fleet.base.errors import BadInput, Refused
from fleet.base.units import mm_to_um, typed_count
from fleet.facts.boots import Boot
from fleet.facts.kinds import KindRule
from fleet.facts.pairs import Binding, InspectedArea, Pair
from fleet.facts.standing import Place
from fleet.facts.wishes import Wish
from fleet.tables.snapshot import Fleet
from planner.plan.values import Plan
from planner.planning.assign.classes import BindingSort, BootClass, PairClass, wants_pair
from planner.planning.assign.geometry import RoomLeft, SweptWays
from planner.planning.assign.problem import Problem, build_problem

NEW_PAIR = "new for "
"""Tags of pairs that the shop does not own begin so; they exist only while a remedy is worked out."""

Say = Callable[[str], None]
_Class = TypeVar("_Class", BootClass, PairClass)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanCase:
    """``problem``: what the plan was made from. Bindings and pairs that could be bought have a place in it,
    none of them is there: `with_bindings`, `with_boots`, `with_pairs` let some in.
    """

    fleet: Fleet
    plan: Plan
    problem: Problem
    ways: SweptWays


def build_case(fleet: Fleet, plan: Plan, *, say: Say | None = None) -> PlanCase:
    """The case of a plan. Raises Refused if the ledger has moved on since the plan was made."""
    if (plan.ledger_entry, plan.ledger_head) != (fleet.head.seq, fleet.head.hash):
        raise Refused(
            f"the plan was made at entry {plan.ledger_entry} of the ledger, which is at {fleet.head.seq} now",
            cure="plan again: mountbook plan --out FOLDER --after FOLDER",
        )
    if say is not None:
        say(f"looking for ways: {len(fleet.pairs)} pairs, {len(fleet.boots)} boots")
    geometry = SweptWays()
    short = {u.wish for u in plan.unserved}
    wished = [w for w in fleet.wishes if w.wish in short]
    sorts = {sort for b in fleet.bindings.values() if (sort := BindingSort.of(b)).brake_known}
    loose = [row for n, sort in enumerate(sorted(sorts)) for row in _loose_rows(n, sort)]
    new_pairs = [p for w in wished if (p := _undrilled(fleet, w)) is not None]
    larger = replace(
        fleet,
        pairs=dict(fleet.pairs) | {p.tag: p for p in new_pairs},
        bindings=dict(fleet.bindings) | {b.binding_id: b for b in loose},
    )
    problem = build_problem(
        larger,
        ways=geometry,
        minutes_limit=plan.minutes_limit,
        parts_limit_cents=plan.parts_limit_cents,
        room=None if plan.totals.room_lost is None else RoomLeft(larger, geometry),
    )
    return PlanCase(
        fleet=larger,
        plan=plan,
        problem=_as_owned(problem, dict.fromkeys(sorts, 1)),
        ways=geometry,
    )


def _as_owned(problem: Problem, phantom: Mapping[BindingSort, int]) -> Problem:
    """The problem without what the shop does not own; its classes and sorts stay, empty."""
    problem = with_bindings(problem, {sort: -n for sort, n in phantom.items()})
    return replace(
        problem,
        pairs=tuple(
            replace(c, tags=tuple(t for t in c.tags if not t.startswith(NEW_PAIR))) for c in problem.pairs
        ),
        plannable=tuple(t for t in problem.plannable if not t.startswith(NEW_PAIR)),
    )


def _loose_rows(number: int, sort: BindingSort) -> list[Binding]:
    return [
        Binding(
            binding_id=f"{NEW_PAIR}{number}-{side}",
            model=sort.pattern,
            pattern=sort.pattern,
            brake_um=sort.brake_um,
        )
        for side in "AB"
    ]


def _undrilled(fleet: Fleet, wish: Wish) -> Pair | None:
    """A new pair as the wish asks for it: the first of the kind with a known zone, bare of all holes."""
    rule = KindRule(fleet.policy)
    alike = [
        p
        for p in sorted(fleet.pairs.values(), key=lambda p: p.tag)
        if wants_pair(wish, p, rule) and p.waist_um is not None and all(s.zone_known for s in p.skis.values())
    ]
    if not alike:
        return None
    first = alike[0]
    area = InspectedArea(from_um=-400_000, to_um=400_000, how="new", on="")
    skis = {
        side: replace(ski, holes=(), inspected=(area,), mark_from_tail_um=None)
        for side, ski in first.skis.items()
    }
    return replace(
        first,
        tag=f"{NEW_PAIR}{wish.wish}",
        skis=skis,
        mounts=(),
        earlier_mounts=0,
        reference_from_tail_um=None,
        place=Place.FLAT,
    )


def with_bindings(problem: Problem, bought: Mapping[BindingSort, int]) -> Problem:
    """The problem with more (or fewer) loose bindings of some sorts."""
    stock, supply = Counter(problem.bindings.stock), Counter(problem.supply)
    stock.update(bought)
    supply.update(bought)
    return replace(
        problem, bindings=replace(problem.bindings, stock=stock), supply=dict(sorted(supply.items()))
    )


def with_boots(problem: Problem, number: int, count: int) -> Problem:
    """The problem with so many more boots like those of a class."""
    return replace(
        problem, boots=_with_more(problem.boots, number, f"{problem.boots[number].tags[-1]} new", count)
    )


def with_pairs(problem: Problem, number: int, count: int) -> Problem:
    """The problem with so many more pairs like those of a class."""
    return replace(problem, pairs=_with_more(problem.pairs, number, problem.pairs[number].pair.tag, count))


def _with_more(classes: tuple[_Class, ...], number: int, name: str, count: int) -> tuple[_Class, ...]:
    found = list(classes)
    more = tuple(f"{name} {n + 1}" for n in range(count))
    found[number] = replace(found[number], tags=found[number].tags + more)
    return tuple(found)


def new_pair_classes(problem: Problem, wish: str) -> Sequence[int]:
    """The class in which new pairs for a wish would stand."""
    return [n for n, c in enumerate(problem.pairs) if c.pair.tag == f"{NEW_PAIR}{wish}"]


_MOST = 10_000
"""More of anything than a shop buys; each is made up as a thing of its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bought:
    """So many of a pattern's bindings (for a pair each) with a brake, None without."""

    pattern: str
    brake_um: int | None
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Supposed:
    """The differences. ``boots_like``: tag of a boot, and how many more just like it."""

    values: Mapping[str, str] = field(default_factory=dict)
    bindings: Sequence[Bought] = ()
    boots_like: Mapping[str, int] = field(default_factory=dict)
    left_out: Sequence[str] = ()


def supposed_fleet(fleet: Fleet, what: Supposed) -> Fleet:
    """The fleet as if. Raises BadInput or Refused for a name that is not there, or if nothing differs."""
    if not (what.values or what.bindings or what.boots_like or what.left_out):
        raise BadInput(
            "nothing is supposed", cure="say --spacing, --window, --bindings, --boots or --leave-out"
        )
    loose: list[Binding] = []
    for number, bought in enumerate(what.bindings):
        model = fleet.pattern(bought.pattern).binding_model
        loose += [
            Binding(
                binding_id=f"supposed {number}-{n:05}",
                model=model,
                pattern=bought.pattern,
                brake_um=bought.brake_um,
            )
            for n in range(2 * bought.count)
        ]
    boots: list[Boot] = [
        replace(fleet.boot(tag), tag=f"{tag} new {n + 1}")
        for tag, count in what.boots_like.items()
        for n in range(count)
    ]
    out = {tag: replace(fleet.pair(tag), place=Place.HOLD) for tag in what.left_out}
    return replace(
        fleet,
        policy=fleet.policy.with_values(**what.values),
        pairs=dict(fleet.pairs) | out,
        boots=dict(sorted((dict(fleet.boots) | {b.tag: b for b in boots}).items())),
        bindings=dict(fleet.bindings) | {b.binding_id: b for b in loose},
    )


def bought_from(text: str) -> Bought:
    """``6 x T4/H4 100`` or ``6 x T4/H4`` (no brake). Raises BadInput."""
    count, _, rest = text.partition(" x ")
    name, _, brake = rest.strip().rpartition(" ")
    try:
        width = mm_to_um(brake) if name else None
    except (ValueError, BadInput):
        name, width = rest.strip(), None
    if not name:
        name = rest.strip()
    return Bought(pattern=name, brake_um=width, count=_count(count, text))


def boots_from(text: str) -> tuple[str, int]:
    """``4 x B-210``: that many more boots just like it. Raises BadInput."""
    count, _, tag = text.partition(" x ")
    return tag.strip(), _count(count, text)


def _count(count: str, text: str) -> int:
    try:
        found = typed_count(count)
    except ValueError:
        found = 0
    if " x " not in text or not 0 < found <= _MOST:
        raise BadInput(f"{text!r} does not say how many of what", cure='write it like "6 x T4/H4 100"')
    return found
