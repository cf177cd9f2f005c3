"""The cost of the last sets of a plan, as values and in words, and the sets left unserved as asked."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from math import ceil
from typing import Any, Final

from fleet.base.units import counted
from fleet.tables.snapshot import Fleet
from planner.plan.values import Plan

_BAR: Final = 30
_CUT: Final = "the limit of time (--seconds) was over before more lines were worked out"

KNOWN: Final = {
    "proved best": "the certificate, added up by the judge over every way there is, proves that no plan of "
    "so many sets has fewer holes, and none with as few holes fewer minutes",
    "solver: none better": "the solver found none better; the certificate proves it but for the gap",
    "best found": "another plan may be better, by the gap at most",
}
"""The ways in which a point's figures are known, and what each says."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontierPoint:
    """The least that so many ``sets`` of a plan take. ``mounts``: pairs that are drilled for them.

    ``wants``: how many sets of each want are served. ``least_holes``, ``least_minutes``: what the judge's
    sums of the certificate prove: no plan of as many sets has fewer holes; none of those with no more holes
    takes fewer minutes. ``by_solver``: the solver proved both figures best, which rests on its arithmetic.
    ``cut``: the limit of time was over before the next point.
    """

    unserved: int
    sets: int = 0
    holes: int = 0
    minutes: int = 0
    mounts: int = 0
    wants: Mapping[str, int] = field(default_factory=dict)
    least_holes: int = 0
    least_minutes: int = 0
    by_solver: bool = True
    cut: bool = False

    @property
    def gap(self) -> tuple[int, str] | None:
        """Return what another plan could be better by at most, and its unit: of the first not proved."""
        gaps = ((self.holes - self.least_holes, "hole"), (self.minutes - self.least_minutes, "minute"))
        return next((gap for gap in gaps if gap[0]), None)

    @property
    def gap_text(self) -> str:
        """The gap as a count of its unit; ``none`` where all is proved."""
        return "none" if self.gap is None else counted(*self.gap)

    @property
    def known(self) -> str:
        """One of `KNOWN`."""
        proved, by_solver, found = KNOWN
        return proved if self.gap is None else by_solver if self.by_solver else found

    def to_json(self) -> dict[str, Any]:
        """The point for programs."""
        gap = self.gap and {"at_most": self.gap[0], "unit": self.gap[1]}
        return asdict(self) | {"proved": self.gap is None, "known": self.known, "gap": gap}


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


def known_how(points: Sequence[FrontierPoint]) -> Iterator[str]:
    """A sentence for each way in which figures of these points are known, and whether points are lacking."""
    told = {each.known for each in points}
    yield from (f'"{known}": {says}' for known, says in KNOWN.items() if known in told)
    if not points or points[-1].cut:
        yield _CUT


def frontier_lines(points: Sequence[FrontierPoint]) -> Iterator[str]:
    """The points as lines for the screen: figures, and a bar of the holes; then how they are known."""
    yield "what the last sets cost: for so many sets the fewest holes, then the fewest minutes"
    yield "sets  unserved  holes  minutes  drilled mounts  known how            gap"
    for p in points:
        figures = f"{p.sets:>4}  {p.unserved:>8}  {p.holes:>5}  {p.minutes:>7}  {p.mounts:>14}  {p.known:<19}"
        yield f"{figures}  {p.gap_text:<10}  {bar_of(p, points)}".rstrip()
    yield from known_how(points)
