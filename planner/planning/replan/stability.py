"""Stability after an earlier plan: earlier sets as arcs of their own, promised sets as wants of their own.

A *promised* set (its order is issued or done) gets a want of its own that nothing else may serve and that
comes before all others; its pair and boot may do nothing else. Any other earlier set gets an arc of its own
(its pair, its class of boots, its way, its very sort of binding); which of the boots of a class it is makes
no difference to any limit, so the boots are dealt out again afterwards.

The price of a change stands in holes, which makes "drilled plus price times changes, then fewest changes"
one whole number: (n + 1) * (drilled - price * kept) - kept, with n earlier sets. kept is at most n, so the
second part never outweighs the first, and equal numbers mean that both parts are equal.
"""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np

from fleet.facts.pairs import Pair
from fleet.tables.snapshot import Fleet
from planner.plan.values import Rung
from planner.planning.assign.circulation import Circulation
from planner.planning.assign.classes import BindingSort, BootClass, PairClass
from planner.planning.assign.geometry import RUNGS
from planner.planning.assign.lexicographic import Chosen
from planner.planning.assign.problem import Arcs, Ints, Problem
from planner.planning.replan.earlier import DroppedSet, EarlierSet, OrderStage


def single_out(
    fleet: Fleet, problem: Problem, *, pairs: Collection[str] = (), boots: Collection[str] = ()
) -> Problem:
    """The same problem, the named tags taken out of their classes; what is true of it stays true."""
    new_pairs, from_pair = _split(problem.pairs, set(pairs))
    new_boots, from_boot = _split(problem.boots, set(boots))
    split_pairs = [
        replace(problem.pairs[old], tags=tags, pair=_pair_of(fleet, problem, old, tags))
        for old, tags in new_pairs
    ]
    split_boots = [replace(problem.boots[old], tags=tags) for old, tags in new_boots]
    arcs = problem.arcs
    pair_counts = np.array([len(f) for f in from_pair], dtype=np.int64)
    boot_counts = np.array([len(f) for f in from_boot], dtype=np.int64)
    flat_pairs = np.array([n for f in from_pair for n in f], dtype=np.int64)
    flat_boots = np.array([n for f in from_boot for n in f], dtype=np.int64)
    times = pair_counts[arcs.pair] * boot_counts[arcs.boot]
    source = np.repeat(np.arange(len(arcs)), times)
    nth = np.arange(len(source)) - np.repeat(np.cumsum(times) - times, times)
    made = arcs.only(source)
    boot_count = boot_counts[made.boot]
    pair = flat_pairs[(np.cumsum(pair_counts) - pair_counts)[made.pair] + nth // np.maximum(1, boot_count)]
    boot = flat_boots[(np.cumsum(boot_counts) - boot_counts)[made.boot] + nth % np.maximum(1, boot_count)]
    made = replace(made, pair=pair, boot=boot)
    return replace(
        problem,
        pairs=tuple(split_pairs),
        boots=tuple(split_boots),
        arcs=made.only(made.canonical()),
    )


def _pair_of(fleet: Fleet, problem: Problem, old: int, tags: tuple[str, ...]) -> Pair:
    known = problem.pairs[old].pair
    return fleet.pairs.get(tags[0], known) if tags else known


def _split(
    classes: Sequence[PairClass | BootClass], alone: set[str]
) -> tuple[list[tuple[int, tuple[str, ...]]], list[list[int]]]:
    """New classes as (old class, tags) in order of first tag, and the new numbers of every old one."""
    made: list[tuple[int, tuple[str, ...]]] = []
    for old, each in enumerate(classes):
        singles = [tag for tag in each.tags if tag in alone]
        rest = tuple(tag for tag in each.tags if tag not in alone)
        made += [(old, (tag,)) for tag in singles]
        if rest or not singles:
            made.append((old, rest))
    made.sort(key=lambda m: (m[1], m[0]))
    numbers: list[list[int]] = [[] for _ in classes]
    for new, (old, _) in enumerate(made):
        numbers[old].append(new)
    return made, numbers


def class_of(classes: Sequence[PairClass | BootClass], tag: str) -> int | None:
    """The number of the class that a tag is in."""
    return next((n for n, each in enumerate(classes) if tag in each.tags), None)


UNTOUCHED = (Rung.AS_IS, Rung.ADJUST)


@dataclass(frozen=True, slots=True, kw_only=True)
class StableProblem:
    """The problem to solve, which arcs stand for which earlier sets, and what could not be kept."""

    problem: Problem
    arc_of: Mapping[int, EarlierSet]
    same_boot: Ints
    promised: tuple[EarlierSet, ...]
    gone: tuple[DroppedSet, ...]

    @property
    def kept_arcs(self) -> Ints:
        """Arcs of earlier sets that are not promised, ascending."""
        return np.array(sorted(self.arc_of), dtype=np.int64)

    @property
    def near(self) -> tuple[Ints, Ints]:
        """Costs of the ways for the plan that is nearest to the earlier one: the most sets as they were, then
        the most pairs with a boot of the same class by another way.
        """
        every = np.arange(len(self.problem.arcs))
        kept, same = (-np.isin(every, arcs).astype(np.int64) for arcs in (self.kept_arcs, self.same_boot))
        return kept, same

    def priced(self, price_holes: int) -> Problem:
        """The problem whose drilled holes carry the price of a change."""
        arcs, count = self.problem.arcs, len(self.arc_of)
        cost = arcs.drilled * (count + 1)
        cost[self.kept_arcs] -= price_holes * (count + 1) + 1
        return replace(self.problem, arcs=replace(arcs, drilled=cost))


def stable_problem(
    fleet: Fleet,
    problem: Problem,
    earlier: Sequence[EarlierSet],
    *,
    left_out: Sequence[str] = (),
    waiting: Sequence[EarlierSet] = (),
) -> StableProblem:
    """Earlier sets that are still possible, built into the problem.

    ``waiting``: sets whose work is done and whose pair is not back yet; their boots and wants are taken.
    """
    promised = [e for e in earlier if e.standing is not OrderStage.PLANNED]
    problem = single_out(
        fleet,
        problem,
        pairs={e.planned.pair for e in earlier} | set(left_out),
        boots={e.planned.boot for e in (*promised, *waiting)},
    )
    problem = _set_aside(problem, left_out, waiting)
    problem, held, gone = _promise(problem, promised)
    return _remember(problem, [e for e in earlier if e.standing is OrderStage.PLANNED], held, gone)


def _set_aside(problem: Problem, left_out: Sequence[str], waiting: Sequence[EarlierSet]) -> Problem:
    boots, wishes = {e.planned.boot for e in waiting}, Counter(e.planned.wish for e in waiting)
    pair_out = np.array([not p.tags or p.tags[0] in left_out for p in problem.pairs], dtype=bool)
    boot_out = np.array([not b.tags or b.tags[0] in boots for b in problem.boots], dtype=bool)
    arcs = problem.arcs
    return replace(
        problem,
        arcs=arcs.only(~(pair_out[arcs.pair] | boot_out[arcs.boot])),
        wishes=tuple(replace(w, quantity=max(0, w.quantity - wishes[w.wish])) for w in problem.wishes),
    )


def _promise(
    problem: Problem, promised: Sequence[EarlierSet]
) -> tuple[Problem, list[EarlierSet], list[DroppedSet]]:
    """Wants of their own, before all others, for sets whose sheets are out or whose holes are drilled."""
    if not promised:
        return problem, [], []
    arcs = problem.arcs
    wishes = [replace(w, priority=w.priority + 1) for w in problem.wishes]
    pairs, boots = list(problem.pairs), list(problem.boots)
    keep = np.ones(len(arcs), dtype=bool)
    brake_sets = list(problem.brake_sets)
    brakes = arcs.brakes.copy()
    held: list[EarlierSet] = []
    gone: list[DroppedSet] = []
    for each in promised:
        planned = each.planned
        pair = class_of(problem.pairs, planned.pair)
        boot = class_of(problem.boots, planned.boot)
        wish = next(i for i, w in enumerate(problem.wishes) if w.wish == planned.wish)
        arc = None if pair is None or boot is None else _arc_for(problem, each, pair, boot)
        if arc is None or pair is None or boot is None:
            gone.append(
                DroppedSet(earlier=each, reason="the ledger of today has no such way for it any more")
            )
            continue
        keep &= (arcs.pair != pair) & (arcs.boot != boot)
        keep[arc] = True
        if brakes[arc] >= 0:
            brake_sets.append((_sort(each),))
            brakes[arc] = len(brake_sets) - 1
        own = (len(wishes),)
        wishes[wish] = replace(wishes[wish], quantity=max(0, wishes[wish].quantity - 1))
        wishes.append(replace(problem.wishes[wish], quantity=1, priority=1))
        pairs[pair] = replace(pairs[pair], wishes=own)
        boots[boot] = replace(boots[boot], wishes=own)
        held.append(each)
    arcs = replace(arcs, brakes=brakes).only(keep)
    made = replace(
        problem,
        wishes=tuple(wishes),
        pairs=tuple(pairs),
        boots=tuple(boots),
        brake_sets=tuple(brake_sets),
        arcs=arcs.only(arcs.canonical()),
    )
    return made, held, gone


def _sort(each: EarlierSet) -> BindingSort:
    return BindingSort.named(each.planned.way.pattern, each.planned.brake_um)


def _arc_for(problem: Problem, each: EarlierSet, pair: int, boot: int) -> int | None:
    """The arc of the same way, or, where the work is done, the one that leaves the screws alone."""
    arcs, planned = problem.arcs, each.planned
    at = np.flatnonzero((arcs.pair == pair) & (arcs.boot == boot))
    own = problem.pairs[pair].own
    sort = _sort(each)
    for arc in at.tolist():
        rung = RUNGS[arcs.rung[arc]]
        if problem.patterns[arcs.pattern[arc]].name != planned.way.pattern:
            continue
        if each.standing is OrderStage.DONE:
            if rung in UNTOUCHED:
                return int(arc)
            continue
        if rung is not planned.way.rung or int(arcs.offset_um[arc]) != abs(planned.way.offset_um):
            continue
        brakes = int(arcs.brakes[arc])
        if (brakes < 0) != (planned.binding_from == "own"):
            continue
        if sort == own if brakes < 0 else sort in problem.brake_sets[brakes]:
            return int(arc)
    return None


def _remember(
    problem: Problem, earlier: Sequence[EarlierSet], held: list[EarlierSet], gone: list[DroppedSet]
) -> StableProblem:
    """An arc of its own for every earlier set; arcs that allow several sorts of binding are doubled."""
    arcs = problem.arcs
    pair_of = {p.tags[0]: n for n, p in enumerate(problem.pairs) if len(p.tags) == 1}
    boot_of = {tag: n for n, b in enumerate(problem.boots) for tag in b.tags}
    brake_sets = list(problem.brake_sets)
    same_boot: set[tuple[int, int]] = set()
    doubled: list[tuple[int, int]] = []
    marked: dict[int, EarlierSet] = {}
    for each in earlier:
        pair, boot = pair_of.get(each.planned.pair), boot_of.get(each.planned.boot)
        arc = None
        if pair is not None and boot is not None:
            same_boot.add((pair, boot))
            arc = _arc_for(problem, each, pair, boot)
        if arc is None:
            gone.append(
                DroppedSet(earlier=each, reason="the ledger of today has no such way for it any more")
            )
        elif arcs.brakes[arc] < 0 or problem.brake_sets[arcs.brakes[arc]] == (_sort(each),):
            marked[arc] = each
        else:
            marked[len(arcs) + len(doubled)] = each
            doubled.append((arc, len(brake_sets)))
            brake_sets.append((_sort(each),))
    again = arcs.only(np.array([a for a, _ in doubled], dtype=np.int64))
    again = replace(again, brakes=np.array([b for _, b in doubled], dtype=np.int64))
    both = Arcs(**{n: np.concatenate([getattr(arcs, n), getattr(again, n)]) for n in Arcs.__slots__})
    order = both.canonical()
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    both = both.only(order)
    of_set = zip(both.pair.tolist(), both.boot.tolist(), strict=True)
    return StableProblem(
        problem=replace(problem, brake_sets=tuple(brake_sets), arcs=both),
        same_boot=np.array([n for n, each in enumerate(of_set) if each in same_boot], dtype=np.int64),
        arc_of={int(place[arc]): each for arc, each in marked.items()},
        promised=tuple(held),
        gone=tuple(gone),
    )


def as_before(case: StableProblem, sets: Sequence[Chosen]) -> list[Chosen]:
    """The sets with every kept one on its own boot and, where that can be, for the want that it served.

    The other boots of a class follow in order. Of each priority as many sets are served as before.
    """
    return _own_wishes(case, _own_boots(case, sets))


def _own_boots(case: StableProblem, sets: Sequence[Chosen]) -> list[Chosen]:
    arcs = case.problem.arcs
    of_class: dict[int, list[int]] = {}
    for i, chosen in enumerate(sets):
        of_class.setdefault(int(arcs.boot[chosen.arc]), []).append(i)
    dealt: dict[int, str] = {}
    for number, mine in of_class.items():
        own = {i: case.arc_of[sets[i].arc].planned.boot for i in mine if sets[i].arc in case.arc_of}
        used = [sets[i].boot for i in mine]
        free = sorted(set(used) - set(own.values()))
        free += [t for t in case.problem.boots[number].tags if t not in used and t not in own.values()]
        dealt |= own
        dealt |= dict(zip([i for i in mine if i not in own], free, strict=False))
    return [replace(c, boot=dealt[i]) for i, c in enumerate(sets)]


def _own_wishes(case: StableProblem, sets: Sequence[Chosen]) -> list[Chosen]:
    """A flow: sets alike in what they may serve, the wants, and of each priority as many as before."""
    problem, arcs = case.problem, case.problem.arcs
    number = {w.wish: i for i, w in reversed(list(enumerate(problem.wishes)))}
    alike: dict[tuple[tuple[int, ...], int], list[int]] = {}
    for i, chosen in enumerate(sets):
        pair, boot = problem.pairs[arcs.pair[chosen.arc]], problem.boots[arcs.boot[chosen.arc]]
        before = case.arc_of.get(chosen.arc)
        own = -1 if before is None else number[before.planned.wish]
        may = tuple(w for w in pair.wishes if w in boot.wishes)
        alike.setdefault((may, own), []).append(i)
    served = Counter(problem.wishes[chosen.wish].priority for chosen in sets)
    priorities = sorted(served)
    wish0 = 1 + len(alike)
    last = wish0 + len(problem.wishes)
    rows: list[tuple[int, int, int, int, int]] = []
    for node, ((may, own), mine) in enumerate(alike.items(), start=1):
        rows += [(node, wish0 + w, 0, len(mine), -(w == own)) for w in may]
    shares = len(rows)
    rows += [(0, node, len(mine), len(mine), 0) for node, mine in enumerate(alike.values(), start=1)]
    for w, wish in enumerate(problem.wishes):
        if wish.priority in served:
            rows.append((wish0 + w, last + priorities.index(wish.priority), 0, wish.quantity, 0))
    rows += [(last + n, 0, served[p], served[p], 0) for n, p in enumerate(priorities)]
    tail, head, lower, upper, cost = np.array(rows, dtype=np.int64).reshape(-1, 5).T
    flow = Circulation(
        nodes=last + len(priorities), tail=tail, head=head, lower=lower.copy(), upper=upper.copy()
    )
    flow.minimise(cost)
    dealt = list(sets)
    left = [iter(mine) for mine in alike.values()]
    for (node, wish_node, *_), count in zip(rows[:shares], flow.flow[:shares].tolist(), strict=True):
        for i in islice(left[node - 1], count):
            dealt[i] = replace(dealt[i], wish=wish_node - wish0)
    return dealt
