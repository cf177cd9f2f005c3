"""Wishes proposed from past rentals."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import sqrt
from random import Random

from fleet.base.errors import BadInput
from fleet.base.units import counted
from fleet.facts.policy import Policy
from fleet.facts.wishes import Wish
from planner.planning.seasons.peaks import (
    PeakDemand,
    Windows,
    critical_ratio,
    quantile,
    share_above,
    spread,
    wanted_by_group,
)
from planner.planning.seasons.rentals import Rental, seasons_of

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
