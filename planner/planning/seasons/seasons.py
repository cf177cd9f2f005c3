"""Past seasons and those drawn about them: the peak of sets wanted at once, and the wants proposed for it.

The peak is a sweep over the days, refusals counted as if they had gone out. Seasons that one plan has to
serve are scenarios: each asks for so many sets of every want at once.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil, sqrt
from random import Random
from statistics import fmean, variance
from typing import Final

from fleet.base.errors import BadInput
from fleet.base.units import counted
from fleet.facts.kinds import Kind
from fleet.facts.policy import Policy
from fleet.facts.wishes import Wish
from planner.planning.seasons.rentals import Rental, RentalFault, seasons_of

Group = tuple[Kind, int, int]
"""Kind, length window and shell window, by their lower ends in millimetres."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Windows:
    """The width of the windows of length and of shell that one want stands for, millimetres."""

    length_mm: int
    shell_mm: int

    def group(self, rental: Rental) -> Group:
        """The windows that a rental falls into; windows start at 0."""
        return (
            rental.kind,
            rental.length_mm // self.length_mm * self.length_mm,
            rental.mondopoint_mm // self.shell_mm * self.shell_mm,
        )


def peak(rentals: Iterable[Rental]) -> tuple[int, date | None]:
    """The most sets wanted on one day, and the first such day; out and back days both count."""
    change: dict[date, int] = defaultdict(int)
    for rental in rentals:
        change[rental.first] += rental.sets
        change[rental.last + timedelta(days=1)] -= rental.sets
    best, best_day, now = 0, None, 0
    for day in sorted(change):
        now += change[day]
        if now > best:
            best, best_day = now, day
    return best, best_day


@dataclass(frozen=True, slots=True, kw_only=True)
class PeakDemand:
    """The demand of a group, season by season: peaks, days out and refusals."""

    group: Group
    peaks: tuple[int, ...]
    days_out: int
    refusals: int


def wanted_by_group(seasons: Sequence[Sequence[Rental]], windows: Windows) -> tuple[PeakDemand, ...]:
    """Every group that was ever asked for, in order; a season that never asked has a peak of 0."""
    asked: dict[Group, list[list[Rental]]] = defaultdict(lambda: [[] for _ in seasons])
    for number, season in enumerate(seasons):
        for rental in season:
            asked[windows.group(rental)][number].append(rental)
    return tuple(
        PeakDemand(
            group=group,
            peaks=tuple(peak(row)[0] for row in asked[group]),
            days_out=sum(
                ((r.last - r.first).days + 1) * r.sets for row in asked[group] for r in row if not r.refused
            ),
            refusals=sum(r.sets for row in asked[group] for r in row if r.refused),
        )
        for group in sorted(asked)
    )


def quantile(peaks: Sequence[int], share: float) -> int:
    """The smallest count that was enough in at least this share of the seasons; 0 without any."""
    if not peaks:
        return 0
    ranked = sorted(peaks)
    return ranked[max(0, ceil(share * len(ranked) - 1e-9) - 1)]


def share_above(peaks: Sequence[int], sets: int) -> float:
    """The share of seasons in which one set more than this would have been out on the peak day."""
    return sum(p > sets for p in peaks) / len(peaks) if peaks else 0.0


def critical_ratio(refusal: float, idle: float) -> float:
    """The share of seasons to be ready for: refusal / (refusal + idle), the newsvendor's fractile.

    Source: Arrow, Harris, Marschak, *Optimal inventory policy*, Econometrica 19 (1951); from memory.
    """
    return refusal / (refusal + idle)


def spread(peaks: Sequence[int]) -> tuple[float, float]:
    """Mean and standard deviation (n - 1; of one season the square root of its peak, as of a count)."""
    mean = sum(peaks) / len(peaks)
    if len(peaks) == 1:
        return mean, sqrt(mean)
    return mean, sqrt(sum((p - mean) ** 2 for p in peaks) / (len(peaks) - 1))


NAME = "PAST"
"""Proposed wants are called PAST-01 and on: the shop's own names stay its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProposedWant:
    """A proposed want, what it rests on, and in which share of seasons one set more would have gone out."""

    wish: Wish
    wanted: PeakDemand
    next_worth: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposed:
    """``ready``: the share of seasons to be ready for. ``sampled``: 0 where only past seasons count."""

    seasons: int
    sampled: int
    ready: float
    lines: tuple[ProposedWant, ...]


def windows_of(policy: Policy) -> Windows:
    """The width of one want, by the shop's policy."""
    return Windows(
        length_mm=max(1, int(policy.number("wanted_length_window_mm"))),
        shell_mm=max(1, int(policy.number("wanted_shell_window_mm"))),
    )


def share_to_be_ready_for(policy: Policy) -> float:
    """The newsvendor's ratio where both costs are set, else the shop's share of seasons."""
    refusal = policy.optional_number("wanted_refusal_cost")
    idle = policy.optional_number("wanted_idle_cost")
    if refusal is not None and idle is not None and refusal + idle > 0:
        return critical_ratio(float(refusal), float(idle))
    return min(1.0, float(policy.number("wanted_ready_percent")) / 100)


def propose(rentals: Sequence[Rental], policy: Policy, *, sampled: int = 0, priority: int = 1) -> Proposed:
    """Wants for the peaks of past seasons, or of ``sampled`` seasons drawn about them (seeded: the same
    file gives the same answer). Raises BadInput if the file holds no rental.
    """
    seasons = seasons_of(rentals, gap_days=policy.count("season_gap_days"))
    if not seasons:
        raise BadInput(
            "the file holds no rental that can be counted", cure="see the faults, or give another file"
        )
    windows, ready = windows_of(policy), share_to_be_ready_for(policy)
    lines: list[ProposedWant] = []
    for wanted in wanted_by_group(seasons, windows):
        peaks = drawn(wanted.peaks, sampled, name=str(wanted.group)) if sampled else wanted.peaks
        count = quantile(peaks, ready)
        if not count:
            continue
        kind, length, shell = wanted.group
        wish = Wish(
            wish=f"{NAME}-{len(lines) + 1:02}",
            kind=kind,
            length_min_mm=length,
            length_max_mm=length + windows.length_mm - 1,
            mondopoint_min_mm=shell,
            mondopoint_max_mm=shell + windows.shell_mm - 1,
            quantity=count,
            priority=priority,
        )
        lines.append(ProposedWant(wish=wish, wanted=wanted, next_worth=share_above(peaks, count)))
    return Proposed(seasons=len(seasons), sampled=sampled, ready=ready, lines=tuple(lines))


def drawn(
    peaks: Sequence[int], count: int, *, name: str, swing: float = 0.0, winters: Sequence[float] = ()
) -> tuple[int, ...]:
    """So many seasons' peaks drawn from a normal with the past mean and spread, whole and not below 0.

    ``winters``: of each season, by how many times it is better than the mean one for all wants alike, drawn
    with the deviation ``swing``; what it leaves of the past spread is this want's own. One past season shows
    no spread of winters, so the swing comes on top.
    """
    mean, deviation = spread(peaks)
    own = deviation if len(peaks) == 1 else sqrt(max(0.0, deviation**2 - (swing * mean) ** 2))
    rng = Random(f"{name} {mean} {deviation}")
    return tuple(max(0, round(rng.gauss(mean * winter, own))) for winter in winters or [1.0] * count)


def lines_of(found: Proposed) -> Iterator[str]:
    """The proposal for a person."""
    basis = (
        f"{found.sampled} sampled seasons about {found.seasons} past"
        if found.sampled
        else counted(found.seasons, "past season")
    )
    yield f"from {basis}, ready for {found.ready:.0%} of them; peaks count refused sets as wanted"
    yield "want     kind      length cm    shell      sets  one more  peaks             days out  refused"
    for line in found.lines:
        w = line.wish
        peaks = " ".join(str(p) for p in line.wanted.peaks[-5:])
        yield (
            f"{w.wish:<8} {w.kind.value:<9} {w.length_min_mm / 10:g}-{w.length_max_mm / 10:g}".ljust(31)
            + f" {w.mondopoint_min_mm / 10:g}-{w.mondopoint_max_mm / 10:g}".ljust(11)
            + f"{w.quantity:>5}  {line.next_worth:>7.0%}  {peaks:<17} {line.wanted.days_out:>8}"
            f"  {line.wanted.refusals:>7}"
        )
    yield "one more: the share of seasons in which one set more would have been out on the peak day"


_RENTED: Final = "RENTED"
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
            wish=f"{_RENTED}-{number:02}",
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
