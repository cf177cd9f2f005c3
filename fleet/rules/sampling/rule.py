"""The shop's dated sampling rule: size, limits, the day of the next sample, its chance to miss.

An alternative is single sampling by attributes: MIL-STD-105E (1989), ISO 2859-1. Tables are data.
Standing: the cells come from one public transcription; the original scan was not read. Arrow cells are
resolved: ``down`` uses the next plan below (a larger sample), ``up`` the next above (a smaller one).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_CEILING
from enum import StrEnum
from fractions import Fraction
from functools import cache
from itertools import takewhile
from math import comb
from pathlib import Path

from fleet.base.errors import BadInput, or_bad_input, typed_word
from fleet.base.files import csv_rows
from fleet.events.looks import SampleSize
from fleet.facts.kinds import Kind, shop_kinds
from fleet.facts.policy import Policy


def misses_all(*, lot: int, bad: int, sample: int) -> Fraction:
    """Return the probability that a sample of that size finds none of the bad ones: C(N-D, n) / C(N, n)."""
    if not 0 <= bad <= lot or not 0 <= sample <= lot:
        raise ValueError(f"bad {bad} and sample {sample} must lie between 0 and the lot of {lot}")
    return Fraction(comb(lot - bad, sample), comb(lot, sample))


_FOLDER = Path(__file__).parent


class DeviationClass(StrEnum):
    """The class of a deviation: I sample more; II correct at once; III withdraw (ASTM STP 1582 (2015)
    163-170).
    """

    NONE = "in order"
    ONE = "I"
    TWO = "II"
    THREE = "III"


def class_typed(text: str) -> DeviationClass:
    """Return a class as people type it. Raises BadInput for another word."""
    otherwise = f"{text!r} is not a class"
    return DeviationClass(typed_word(text, DeviationClass, otherwise, cure="in-order, I, II or III"))


class LotUnit(StrEnum):
    """The unit that "5 % of the inventory" counts. The source can be read as pairs or as skis."""

    PAIRS = "pairs"
    SKIS = "skis"
    LARGER = "larger"


def sample_size(pairs: int, policy: Policy) -> SampleSize:
    """Return the size that the rule asks of so many pairs: a percentage, rounded up, within least and
    most. Where the shop has set the least above the most, it is the least.
    """
    word = policy.word("sample_reading")
    if word not in list(LotUnit):
        raise BadInput(f"sample_reading is {word!r}", cure=f"one of: {', '.join(LotUnit)}")
    reading = LotUnit.SKIS if word == LotUnit.LARGER else LotUnit(word)
    lot = pairs * 2 if reading is LotUnit.SKIS else pairs
    share = policy.number("sample_percent") * lot / 100
    wanted = int(share.to_integral_value(ROUND_CEILING))  # // of a Decimal cuts toward zero
    size = min(max(min(wanted, policy.count("sample_max")), policy.count("sample_min")), lot)
    allowed, derived = class_1_allowed(size)
    return SampleSize(reading=reading, lot=lot, size=size, allowed=allowed, derived=derived)


def sample_kinds(policy: Policy) -> tuple[Kind, ...]:
    """The kinds of pairs that the rule means, and those that are like one of them. A fleet's others are
    neither counted nor drawn.
    """
    words = [" ".join(word.split()).lower() for word in policy.word("sample_kinds").split(",")]
    known = shop_kinds(policy)
    if not all(word in known for word in words):
        raise BadInput(
            f"the policy sample_kinds is {policy.word('sample_kinds')!r}",
            cure=f"write kinds with commas between them: {', '.join(known)}",
        )
    liked = [word for word, like in known.items() if like in words and word not in words]
    return tuple(Kind(word) for word in (*words, *liked))


def class_1_allowed(size: int) -> tuple[int, bool]:
    """Return the class I deviations allowed in a sample of that size, and True if the figure is derived."""
    listed = _limits()
    if size in listed:
        return listed[size], False
    smaller = [known for known in listed if known < size]
    return (listed[max(smaller)] if smaller else 0), True


@cache
def _limits() -> dict[int, int]:
    return {int(row["size"]): int(row["class_1_allowed"]) for row in csv_rows(_FOLDER / "class_limits.csv")}


def outcome(found: Sequence[DeviationClass], *, size: int, allowed: int) -> str | None:
    """Return ``PASS`` or ``FAIL``; None while results are missing and nothing has failed it yet."""
    if any(each in (DeviationClass.TWO, DeviationClass.THREE) for each in found):
        return "FAIL"
    if sum(each is DeviationClass.ONE for each in found) > allowed:
        return "FAIL"
    return "PASS" if len(found) >= size else None


def operating_days_until_next(outcomes: Sequence[str], policy: Policy) -> int:
    """Return the operating days from the newest sample of the season to the next; closed days do not count.

    First after 7; passed: again after 7; two passes in a row: every 14. A fail: daily until two in a row
    pass, then weekly; once failed, a season stays weekly at best (our reading of the rule).
    """
    if not outcomes:
        return policy.count("sample_first_days")
    if outcomes[-1] == "FAIL":
        return 1
    row = len([*takewhile("PASS".__eq__, reversed(outcomes))])
    if "FAIL" in outcomes:
        return 1 if row < 2 else policy.count("sample_again_days")
    return policy.count("sample_again_days") if row < 2 else policy.count("sample_settled_days")


@dataclass(frozen=True, slots=True, kw_only=True)
class NextSample:
    """The next sample: when it is due, in operating days since the newest one."""

    after_days: int
    days_so_far: int

    @property
    def due(self) -> bool:
        """True if today is a day to sample."""
        return self.days_so_far >= self.after_days

    @property
    def words(self) -> str:
        """The day on which it is due, in words."""
        return (
            "due today" if self.due else f"not due ({self.days_so_far} of {self.after_days} operating days)"
        )


def next_sample(
    operating: Sequence[date], samples: Sequence[tuple[date, str]], *, policy: Policy
) -> NextSample:
    """Return the next sample, from operating days and closed samples (day, outcome), both oldest first.

    A season is a run of operating days without a gap longer than the policy says, so that a winter
    across New Year and a southern winter are both one season.
    """
    season = (seasons_of(operating, policy.count("season_gap_days")) or [[]])[-1]
    since = season[0] if season else None
    of_season = [each for each in samples if since is not None and each[0] >= since]
    newest = of_season[-1][0] if of_season else None
    days = [day for day in season if newest is None or day > newest]
    return NextSample(
        after_days=operating_days_until_next([each[1] for each in of_season], policy), days_so_far=len(days)
    )


def seasons_of(operating: Sequence[date], gap_days: int) -> list[list[date]]:
    """Return the operating days season by season, oldest first; a longer gap begins a new one."""
    seasons: list[list[date]] = []
    for day in sorted(set(operating)):
        if not seasons or (day - seasons[-1][-1]).days > gap_days:
            seasons.append([])
        seasons[-1].append(day)
    return seasons


LEVELS = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardPlan:
    """Take ``size``; accept at up to ``accept`` bad ones, reject from ``reject``.

    ``arrow`` is ``up``, ``down`` or empty: whether the cell pointed to ``plan_letter``. ``all_of_them``:
    the sample is not smaller than the lot, so every unit is looked at.
    """

    letter: str
    plan_letter: str
    arrow: str
    size: int
    accept: int
    reject: int
    all_of_them: bool


def standard_plan(lot: int, *, aql: str, level: str = "II", tightened: bool = False) -> StandardPlan:
    """Return the plan for a lot. Raises BadInput for a lot, level or AQL that the tables here do not hold."""
    if level not in LEVELS:
        raise BadInput(f"there is no inspection level {level!r}", cure=f"one of: {', '.join(LEVELS)}")
    letter = next(
        (
            row[level]
            for row in csv_rows(_FOLDER / "code_letters.csv")
            if int(row["lot_min"]) <= lot <= int(row["lot_max"])
        ),
        None,
    )
    if letter is None:
        raise BadInput(f"the tables hold no lot of {lot}", cure="a lot has at least 2 units")
    table = csv_rows(_FOLDER / ("single_tightened.csv" if tightened else "single_normal.csv"))
    row = next((r for r in table if r["code_letter"] == letter and float(r["aql"]) == _aql(aql)), None)
    if row is None:
        known = sorted({r["aql"] for r in table}, key=float)
        raise BadInput(
            f"the tables here hold no plan for letter {letter} at AQL {aql}",
            cure=f"AQL {', '.join(known)}; letters A to K",
        )
    size = int(row["n"])
    return StandardPlan(
        letter=letter,
        plan_letter=row["plan_letter"],
        arrow=row["arrow"],
        size=min(size, lot),
        accept=int(row["Ac"]),
        reject=int(row["Re"]),
        all_of_them=size >= lot,
    )


def _aql(text: str) -> float:
    with or_bad_input(f"{text!r} is not an AQL", cure="write it like 1.5"):
        return float(text)
