"""The first stage: the sets that can be set up before the season, in groups that no season tells apart.

Pairs are alike if they serve the same wants, carry the same sort of binding and reach the same choices;
boots are alike if they have one sole type and serve the same wants. Which boot of such a group goes on
which pair of such a group is left to the plan itself, so what is counted here can only flatter.
"""

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from planner.planning.assign.classes import BindingSort, Wishes
from planner.planning.assign.problem import Problem

BootGroup = tuple[str, tuple[str, ...], Wishes]
"""Sole type, and the wants that the shells fit."""

OWN = -1
"""In place of a brake set: the pair keeps its own binding."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RemountChoice:
    """One pair of ``pairs`` for one boot of ``boots``; ``brakes`` as in `Arcs`; the fewest minutes it takes.

    ``serves``: the wants that such a set may serve.
    """

    pairs: int
    boots: int
    brakes: int
    minutes: int
    serves: Wishes


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstStage:
    """Groups with how many there are of each, and every choice. ``pair_tags`` and ``boot_tags`` name one.

    ``own[g]``: the sort of binding that every pair of group g carries, None for none. ``minutes_limit`` as
    in the problem; without one, minutes are 0.
    """

    pair_sizes: tuple[int, ...]
    pair_tags: tuple[str, ...]
    own: tuple[BindingSort | None, ...]
    boot_sizes: tuple[int, ...]
    boot_tags: tuple[str, ...]
    brake_sets: tuple[tuple[BindingSort, ...], ...]
    supply: Mapping[BindingSort, int]
    minutes_limit: int | None
    choices: tuple[RemountChoice, ...]


def first_stage(problem: Problem) -> FirstStage:
    """The groups of a problem, in canonical order."""
    boot_number, boot_sizes, boot_tags, boot_of = _boot_groups(problem)
    limited = problem.minutes_limit is not None
    reach = _reach(problem, boot_of, timed=limited)
    members: dict[tuple[Wishes, BindingSort | None, tuple[tuple[int, int, int], ...]], list[int]] = (
        defaultdict(list)
    )
    for pair, found in sorted(reach.items()):
        pair_class = problem.pairs[pair]
        members[pair_class.wishes, pair_class.own, tuple(sorted(found))].append(pair)
    groups = sorted(members.items(), key=lambda item: item[1])
    boot_wishes = [set(who) for *_, who in boot_number]
    return FirstStage(
        pair_sizes=tuple(sum(len(problem.pairs[p].tags) for p in mine) for _, mine in groups),
        pair_tags=tuple(problem.pairs[mine[0]].tags[0] for _, mine in groups),
        own=tuple(own for (_, own, _), _ in groups),
        boot_sizes=boot_sizes,
        boot_tags=boot_tags,
        brake_sets=problem.brake_sets,
        supply=dict(problem.supply),
        minutes_limit=problem.minutes_limit,
        choices=tuple(
            RemountChoice(
                pairs=g,
                boots=boots,
                brakes=brakes,
                minutes=minutes,
                serves=tuple(w for w in who if w in boot_wishes[boots]),
            )
            for g, ((who, _, options), _) in enumerate(groups)
            for boots, brakes, minutes in options
        ),
    )


def _boot_groups(
    problem: Problem,
) -> tuple[list[BootGroup], tuple[int, ...], tuple[str, ...], list[int]]:
    """Groups in order, how many boots each, one tag of each, and the group of every boot class."""
    counted: Counter[BootGroup] = Counter()
    first: dict[BootGroup, str] = {}
    for boots in problem.boots:
        key = (boots.sole_type, boots.kinds, boots.wishes)
        counted[key] += len(boots.tags)
        first[key] = min(first.get(key, boots.tags[0]), boots.tags[0])
    order = sorted(counted)
    number = {key: i for i, key in enumerate(order)}
    return (
        order,
        tuple(counted[key] for key in order),
        tuple(first[key] for key in order),
        [number[boots.sole_type, boots.kinds, boots.wishes] for boots in problem.boots],
    )


def _reach(problem: Problem, boot_of: list[int], *, timed: bool) -> dict[int, set[tuple[int, int, int]]]:
    """(boot group, brake set, fewest minutes) that each pair class has a way for."""
    arcs = problem.arcs
    if not len(arcs):
        return {}
    minutes = arcs.minutes if timed else np.zeros(len(arcs), dtype=np.int64)
    rows = np.stack([arcs.pair, np.array(boot_of, dtype=np.int64)[arcs.boot], arcs.brakes, minutes])
    rows = rows[:, np.lexsort(rows[::-1])]
    new = np.ones(rows.shape[1], dtype=np.bool_)
    new[1:] = (rows[:3, 1:] != rows[:3, :-1]).any(axis=0)
    found: dict[int, set[tuple[int, int, int]]] = defaultdict(set)
    for pair, boots, brakes, least in rows[:, new].T.tolist():
        found[pair].add((boots, brakes, least))
    return found
