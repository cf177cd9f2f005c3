"""The levels of DESIGN's objective over a Problem, and the one solution they leave.

Sets served, priority by priority; fewest holes drilled; fewest minutes; smallest total |u|; largest
clearance; then the smallest sorted list of (wish, boot, pair, way).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from math import inf

import numpy as np

from planner.assign.face import Face, Ints, Rows, rows_from
from planner.assign.kits import Kit
from planner.assign.problem import Option, Problem

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """One set: boot tag and option for a wish, by index."""

    wish: int
    boot: str
    option: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """Sets in order of (wish, boot, pair, way), and the value each level was proved to have."""

    sets: tuple[Chosen, ...]
    levels: tuple[tuple[str, int], ...]


def solve(problem: Problem, say: Say) -> Solution:
    """The best plan, proved level by level."""
    columns = list(problem.columns())
    face = Face(_rows(problem, columns))
    levels: list[tuple[str, int]] = []
    for name, costs, sign in _objectives(problem, columns, face.size):
        levels.append((name, sign * face.minimise(costs)))
        say(f"{name}: {levels[-1][1]} proved")
    sets = _smallest_list(problem, columns, face)
    return Solution(sets=sets, levels=tuple(levels))


def _rows(problem: Problem, columns: list[tuple[int, int]]) -> Rows:
    """Wish, boot class, pair and kit rows; one column per kit sort counts the pairs stripped for it."""
    count = len(columns)
    kits = list(problem.supply)
    by: dict[tuple[str, int], dict[int, int]] = defaultdict(dict)
    strip: dict[int, dict[int, int]] = {k: {count + k: -1} for k in range(len(kits))}
    kit_index = {kit: k for k, kit in enumerate(kits)}
    minutes: dict[int, int] = {}
    for column, (wish, index) in enumerate(columns):
        option = problem.options[index]
        by["wish", wish][column] = 1
        by["class", option.boot_class][column] = 1
        by["pair", option.pair][column] = 1
        by["kit", kit_index[option.kit]][column] = 1
        minutes[column] = option.way.minutes
        if not option.own:
            strip[kit_index[option.kit]][column] = 1
            freed = problem.kits.on_pair.get(problem.pairs[option.pair].tag)
            if freed is not None:
                strip[kit_index[freed]][column] = strip[kit_index[freed]].get(column, 0) - 1
    limits: dict[str, Callable[[int], int]] = {
        "wish": lambda i: problem.wishes[i].quantity,
        "class": lambda i: len(problem.classes[i].tags),
        "pair": lambda i: 1,
        "kit": lambda i: problem.supply[kits[i]],
    }
    rows: list[tuple[float, float, dict[int, int]]] = [
        (-inf, limits[what](index), terms) for (what, index), terms in sorted(by.items())
    ]
    rows += [(-inf, problem.kits.stock.get(kits[k], 0), strip[k]) for k in range(len(kits))]
    if problem.minutes_limit is not None:
        for k in range(len(kits)):
            minutes[count + k] = problem.strip_minutes
        rows.append((-inf, problem.minutes_limit, minutes))
    return rows_from([1.0] * count + [inf] * len(kits), rows)


def _objectives(problem: Problem, columns: list[tuple[int, int]], size: int) -> list[tuple[str, Ints, int]]:
    """(name, costs to be kept small, sign that makes the value readable)."""
    count = len(columns)
    options = problem.options
    priorities = np.array([problem.wishes[w].priority for w, _ in columns], dtype=np.int64)
    costs = np.array([options[o].costs for _, o in columns], dtype=np.int64).reshape(count, 4)
    objectives: list[tuple[str, Ints, int]] = []

    def level(name: str, of_columns: Ints, of_strips: int = 0, sign: int = 1) -> None:
        full = np.full(size, of_strips, dtype=np.int64)
        full[:count] = of_columns
        objectives.append((name, full, sign))

    for priority in sorted({w.priority for w in problem.wishes}):
        level(f"sets of priority {priority} served", -(priorities == priority).astype(np.int64), sign=-1)
    level("holes drilled", costs[:, 0])
    level("minutes", costs[:, 1], problem.strip_minutes)
    level("offset in µm", costs[:, 2])
    level("clearance in µm", costs[:, 3], sign=-1)
    return objectives


def _smallest_list(problem: Problem, columns: list[tuple[int, int]], face: Face) -> tuple[Chosen, ...]:
    """Among equals the smallest sorted list: each set in turn is taken if the rest can still follow.

    Boots of a class are alike, so its next boot in order stands for all; once a class can serve a wish
    no further, it cannot later either, because taking sets only narrows the face.
    """
    by_wish_class: dict[tuple[int, int], list[int]] = defaultdict(list)
    for column, (wish, index) in enumerate(columns):
        if face.upper[column] > 0:
            by_wish_class[wish, problem.options[index].boot_class].append(column)

    def tie(column: int) -> tuple[int, tuple[int, str, int, bool]]:
        option: Option = problem.options[columns[column][1]]
        return (option.pair, option.tie_key)

    open_face = _OpenFace(face)

    class_of = {tag: c for c, boot_class in enumerate(problem.classes) for tag in boot_class.tags}
    left = sorted(class_of)
    sets: list[Chosen] = []
    for wish in range(len(problem.wishes)):
        done: set[int] = set()
        still: list[str] = []
        for boot in left:
            boot_class = class_of[boot]
            taken = None
            if boot_class not in done:
                candidates = sorted(by_wish_class.get((wish, boot_class), ()), key=tie)
                taken = next((c for c in candidates if open_face.take(c)), None)
            if taken is None:
                done.add(boot_class)
                still.append(boot)
            else:
                by_wish_class[wish, boot_class].remove(taken)
                sets.append(Chosen(wish=wish, boot=boot, option=columns[taken][1]))
        left = still
    return tuple(sets)


class _OpenFace:
    """What of a face is still open, kept small: it is written anew whenever half of it is settled."""

    def __init__(self, face: Face) -> None:
        self._settled: dict[int, float] = {}
        self._names = list(range(face.size))
        self._shrink(face)

    def _shrink(self, face: Face) -> None:
        self._settled |= zip(self._names, face.upper.tolist(), strict=True)
        self._face, place = face.reduced()
        self._names = [self._names[old] for old in place]
        self._place = {name: index for index, name in enumerate(self._names)}

    def take(self, column: int) -> bool:
        """Fix the column to one if it can be, to nothing if it cannot."""
        if column not in self._place:
            return self._settled[column] > 0
        face, at = self._face, self._place[column]
        if face.lower[at] == face.upper[at]:
            return bool(face.upper[at] > 0)
        possible = bool(face.values[at] > 0) or face.can_reach(at, 1)
        face.fix(at, 1 if possible else 0)
        if 2 * len(face.free()) < face.size:
            self._shrink(face)
        return possible


def kit_uses(problem: Problem, sets: tuple[Chosen, ...]) -> dict[Kit, list[Chosen]]:
    """Sets whose binding is not the pair's own, by sort, in order."""
    uses: dict[Kit, list[Chosen]] = defaultdict(list)
    for chosen in sets:
        option = problem.options[chosen.option]
        if not option.own:
            uses[option.kit].append(chosen)
    return {kit: uses[kit] for kit in sorted(uses)}
