"""A planning problem in which some pairs and boots stand alone, each a class of its own."""

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from fleet.facts.pairs import Pair
from fleet.tables.snapshot import Fleet
from planner.planning.assign.classes import BootClass, PairClass
from planner.planning.assign.problem import Problem


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
