"""Seasons that one plan has to serve, as scenarios: each asks for so many sets of every want at once."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from random import Random
from statistics import fmean, variance
from typing import Final

from fleet.base.errors import BadInput
from fleet.base.units import counted
from fleet.facts.policy import Policy
from fleet.facts.wishes import Wish
from planner.planning.seasons.peaks import wanted_by_group
from planner.planning.seasons.proposal import drawn, windows_of
from planner.planning.seasons.rentals import Rental, RentalFault, seasons_of

NAME: Final = "RENTED"
"""Wants read from rentals are called RENTED-01 and on: the shop's own names stay its own."""

UNSEEN: Final = 300
"""Further seasons that a plan is tried in, drawn like its own."""

_TOLD: Final = 3
"""So many past seasons tell by how much all wants swing together."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """``peaks[s][w]``: sets of the w-th want that season s asks for at once; ``origin`` in words.

    ``unseen``: further seasons of the same kind that the plan is tried in; none where only past seasons
    count. ``mean``: of each want what a plan for the mean season would ask for.
    """

    wishes: tuple[Wish, ...]
    peaks: tuple[tuple[int, ...], ...]
    unseen: tuple[tuple[int, ...], ...]
    mean: tuple[int, ...]
    origin: str


def from_wants(wishes: Sequence[Wish], policy: Policy, count: int) -> Demand:
    """Seasons drawn about the quantities of the wants on record, each spread as a count is (its root), and
    all together by the shop's policy.
    """
    _refuse_too_few(count)
    mine = tuple(sorted(wishes, key=lambda w: w.wish))
    if not any(w.quantity for w in mine):
        raise BadInput(
            "no sets wanted are on record, so there is nothing to draw seasons about",
            cure="give --rentals FILE.csv, or record them first: mountbook wanted --per-boot --enter",
        )
    named = [((w.quantity,), w.wish) for w in mine]
    swing = _swing([peaks for peaks, _ in named], policy)
    return Demand(
        wishes=mine,
        peaks=_seasons(named, count, swing),
        unseen=_seasons(named, UNSEEN, swing, " unseen"),
        mean=tuple(w.quantity for w in mine),
        origin=f"{count} seasons drawn about the sets wanted",
    )


def from_rentals(rentals: Sequence[Rental], policy: Policy, count: int | None) -> Demand:
    """The past seasons themselves (``count`` None), or so many drawn about them, window by window."""
    if count is not None:
        _refuse_too_few(count)
    seasons = seasons_of(rentals, gap_days=policy.count("season_gap_days"))
    if not seasons:
        raise BadInput(
            "the file holds no rental that can be counted", cure="give a file with a row for each set out"
        )
    windows = windows_of(policy)
    groups = [g for g in wanted_by_group(seasons, windows) if max(g.peaks)]
    past = counted(len(seasons), "past season")
    means = [sum(g.peaks) / len(g.peaks) for g in groups]
    wishes = tuple(
        Wish(
            wish=f"{NAME}-{number:02}",
            kind=kind,
            length_min_mm=length,
            length_max_mm=length + windows.length_mm - 1,
            mondopoint_min_mm=shell,
            mondopoint_max_mm=shell + windows.shell_mm - 1,
            quantity=max(group.peaks),
            priority=1,
        )
        for number, group in enumerate(groups, start=1)
        for kind, length, shell in [group.group]
    )
    named = [(g.peaks, str(g.group)) for g in groups]
    swing = _swing([g.peaks for g in groups], policy)
    own = tuple(zip(*(g.peaks for g in groups), strict=True))
    return Demand(
        wishes=wishes,
        peaks=own if count is None else _seasons(named, count, swing),
        unseen=() if count is None else _seasons(named, UNSEEN, swing, " unseen"),
        mean=tuple(round(mean) for mean in means),
        origin=past if count is None else f"{count} seasons drawn about {past}",
    )


def refuse_faulty(faults: Sequence[RentalFault], file: str) -> None:
    """Raise BadInput where rows of the rentals cannot be counted: a plan on part of them would mislead."""
    if faults:
        told = "; ".join(f"row {f.row}, {f.column}: {f.raw!r}, {f.fix}" for f in faults[:5])
        more = f"; and {len(faults) - 5} more" if len(faults) > 5 else ""
        raise BadInput(f"{file} cannot be counted: {told}{more}", cure="correct these rows and plan again")


def _refuse_too_few(count: int) -> None:
    if count < 1:
        raise BadInput(f"{count} seasons are none to plan for", cure="give --seasons 20")


def _swing(groups: Sequence[Sequence[int]], policy: Policy) -> float:
    """The standard deviation of a whole winter, as a share of the mean one.

    Where all wants swing on their own, the variance of their sum is the sum of their variances; what it is
    more comes from winters that are good or bad for all of them. Too few seasons: the shop's policy.
    """
    if not groups or len(groups[0]) < _TOLD:
        return float(policy.number("season_swing_percent")) / 100
    apart = sum(variance(peaks) for peaks in groups)
    together = variance([sum(season) for season in zip(*groups, strict=True)])
    means = [fmean(peaks) for peaks in groups]
    shared = sum(means) ** 2 - sum(mean**2 for mean in means)
    return sqrt(max(0.0, together - apart) / shared) if shared > 0 else 0.0


def _seasons(
    groups: Sequence[tuple[Sequence[int], str]], count: int, swing: float, about: str = ""
) -> tuple[tuple[int, ...], ...]:
    """Seasons by rows: a factor for each winter, and each group about it by a seed of its name and peaks."""
    rng = Random(f"winters{about} {swing}")
    winters = [max(0.0, rng.gauss(1.0, swing)) for _ in range(count)]
    columns = [
        drawn(peaks, count, name=f"{name}{about}", swing=swing, winters=winters) for peaks, name in groups
    ]
    return tuple(zip(*columns, strict=True))
