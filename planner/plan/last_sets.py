"""The cost of the last sets of a plan, as values and in words, and the sets left unserved as asked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import ceil
from typing import Final

from fleet.tables.snapshot import Fleet
from planner.plan.values import Plan

_BAR: Final = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontierPoint:
    """The least that so many ``sets`` of a plan take. ``mounts``: pairs that are drilled for them.

    ``wants``: how many sets of each want are served. ``proved``: by the solver, which found none with fewer
    holes or minutes. No certificate of it is made that the judge could add up, so no point is called proved.
    """

    unserved: int
    sets: int
    holes: int
    minutes: int
    mounts: int
    wants: Mapping[str, int]
    proved: bool = True

    @property
    def known(self) -> str:
        """The certainty of the figures, in a few words."""
        return "solver: none better" if self.proved else "best found"


def left_unserved(fleet: Fleet, plan: Plan) -> Mapping[str, int]:
    """The sets of each want that a plan leaves out, as asked or because no plan serves them."""
    left = {w.wish: w.quantity for w in plan.wants or ()}
    if not left.keys() <= {w.wish for w in fleet.wishes}:  # a plan for many seasons has wants of its own
        return {}
    return {w.wish: n for w in fleet.wishes if plan.wants and (n := w.quantity - left.get(w.wish, 0))}


def bar_of(point: FrontierPoint, points: Sequence[FrontierPoint]) -> str:
    """A bar as long as the holes of a point are many beside those of the others."""
    most = max(each.holes for each in points) or 1
    return "#" * ceil(_BAR * point.holes / most)


def frontier_lines(points: Sequence[FrontierPoint]) -> Iterator[str]:
    """The points as lines for the screen: figures, and a bar of the holes."""
    yield "what the last sets cost: for so many sets the fewest holes, then the fewest minutes"
    yield "sets  unserved  holes  minutes  drilled mounts  known how"
    for p in points:
        figures = f"{p.sets:>4}  {p.unserved:>8}  {p.holes:>5}  {p.minutes:>7}  {p.mounts:>14}  {p.known:<19}"
        yield f"{figures}  {bar_of(p, points)}".rstrip()
