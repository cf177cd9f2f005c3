"""The season's end: each pair's season in figures, and a suggestion to keep, sell or buy.

A suggestion with its reasons, never a verdict: the manager decides.
"""

import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date

from fleet.base.days import stored_day_text
from fleet.base.units import counted
from fleet.facts.pairs import Pair
from fleet.facts.policy import Policy
from fleet.facts.standing import Place
from fleet.facts.tags import tag_order
from fleet.tables.snapshot import Fleet

_YEARS = 8
"""Years before this one that a chart has room for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PairSeason:
    """One pair. ``mounts_left`` by the shop's rule, at most so many where the earlier ones are not known;
    ``heel_seasons`` None where the season is unknown."""

    tag: str
    model: str
    kind: str
    length_mm: int
    place: str
    hires: int
    days_out: int
    looks: int
    moved: int
    repairs: int
    mounts_left: int
    earlier_mounts_known: bool
    heel_seasons: int | None
    suggest: str
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Buy:
    """A wish that the fleet could not serve: the kind and size to look for."""

    wish: str
    kind: str
    length_min_mm: int
    length_max_mm: int
    quantity: int
    standing: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PairThatEnds:
    """A pair that may take no further mount by the shop's rule, and why."""

    tag: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeOfYear:
    """The pairs still owned at the end of a year: those with no further mount by the shop's rule, with one,
    two, three and more. ``drawn``: a winter played out, not one that was."""

    name: str
    left: tuple[int, int, int, int]
    drawn: bool = False


def pairs_that_end(fleet: Fleet) -> tuple[PairThatEnds, ...]:
    """Return the pairs still owned that have no further mount by the shop's rule."""
    most = fleet.policy.count("mounts_max")
    found = []
    for tag, pair in _owned(fleet).items():
        if pair.drilled_mounts < most:
            continue
        last = max((mount.mounted_on or "" for mount in pair.mounts if mount.drilled), default="")
        reason = f"{pair.mounts_text}, the shop's rule allows {most}"
        found.append(
            PairThatEnds(tag=tag, reason=reason + (f"; the last on {stored_day_text(last)}" if last else ""))
        )
    return tuple(found)


def life_over_years(fleet: Fleet, *, today: date) -> tuple[LifeOfYear, ...]:
    """Return the fleet's further mounts at the end of each year that a mount on record was drilled in, and
    today. A mount of no date counts as drilled before all of them."""
    owned = _owned(fleet)
    years = {m.mounted_on[:4] for p in owned.values() for m in p.mounts if m.drilled and m.mounted_on}
    found = [_life(fleet, owned, year, year) for year in sorted(years) if year < str(today.year)]
    return (*found[-_YEARS:], _life(fleet, owned, "today", ""))


def life_played_out(fleet: Fleet, winter: int) -> LifeOfYear:
    """Return what a winter played out leaves."""
    return replace(_life(fleet, _owned(fleet), f"+{winter}", ""), drawn=True)


def _life(fleet: Fleet, owned: Mapping[str, Pair], name: str, year: str) -> LifeOfYear:
    most, left = fleet.policy.count("mounts_max"), [0, 0, 0, 0]
    for pair in owned.values():
        later = sum(m.drilled and bool(year) and (m.mounted_on or "")[:4] > year for m in pair.mounts)
        left[min(3, max(0, most - pair.drilled_mounts + later))] += 1
    return LifeOfYear(name=name, left=(left[0], left[1], left[2], left[3]))


def _owned(fleet: Fleet) -> dict[str, Pair]:
    return {tag: p for tag, p in fleet.pairs.items() if p.place not in (Place.SOLD, Place.RETIRED)}


def pair_seasons(connection: sqlite3.Connection, fleet: Fleet, *, today: date) -> tuple[PairSeason, ...]:
    """Return every pair still owned, those to think about first."""
    looks = {
        row[0]: (row[1], row[2])
        for row in connection.execute("SELECT tag, count(*), sum(moved) FROM look GROUP BY tag")
    }
    repairs = {
        row[0]: row[1]
        for row in connection.execute(
            "SELECT coalesce(new, json_extract(body, '$.tag')), count(*) FROM entries"
            " LEFT JOIN renamed ON old = json_extract(body, '$.tag') WHERE what = 'repair done' GROUP BY 1"
        )
    }
    hires = {
        row[0]: (row[1], row[2]) for row in connection.execute("SELECT tag, hires, days_hired FROM standing")
    }
    usual = sorted(days for _, days in hires.values())[len(hires) // 2] if hires else 0
    rows = [
        _season(fleet, tag, hires[tag], looks.get(tag, (0, 0)), repairs.get(tag, 0), usual, today)
        for tag in _owned(fleet)
    ]
    return tuple(sorted(rows, key=lambda row: (row.suggest == "keep", -len(row.reasons), tag_order(row.tag))))


def _season(
    fleet: Fleet,
    tag: str,
    hired: tuple[int, int],
    looked: tuple[int, int],
    repairs: int,
    usual: int,
    today: date,
) -> PairSeason:
    pair = fleet.pairs[tag]
    left = fleet.policy.count("mounts_max") - pair.drilled_mounts
    seasons = [b.season[:4] for b in fleet.bindings_on(tag).values()]
    years = [int(year) for year in seasons if len(year) == 4 and year.isascii() and year.isdigit()]
    age = max((today.year - year for year in years), default=None)
    reasons = tuple(
        _reasons(fleet.policy, left=left, hired=hired, usual=usual, moved=looked[1], repairs=repairs, age=age)
    )
    sell = any(reason.startswith(("no mount left", "hardly hired")) for reason in reasons)
    return PairSeason(
        tag=tag,
        model=pair.model,
        kind=pair.kind.value,
        length_mm=pair.length_mm,
        place=pair.place.value,
        hires=hired[0],
        days_out=hired[1],
        looks=looked[0],
        moved=looked[1],
        repairs=repairs,
        mounts_left=max(0, left),
        earlier_mounts_known=pair.earlier_mounts is not None,
        heel_seasons=age,
        suggest="think about selling" if sell else "keep, with a look" if reasons else "keep",
        reasons=reasons,
    )


def _reasons(
    policy: Policy,
    *,
    left: int,
    hired: tuple[int, int],
    usual: int,
    moved: int,
    repairs: int,
    age: int | None,
) -> Iterator[str]:
    if left <= 0:
        yield "no mount left by the shop's rule"
    if hired[1] * 100 < usual * policy.number("season_end_hired_percent"):
        yield f"hardly hired: {hired[1]} days out, the middle pair had {usual}"
    if moved >= policy.count("season_end_moved_looks"):
        yield f"screws moved at {counted(moved, 'look')}"
    if repairs >= policy.count("season_end_repairs"):
        yield f"repaired {counted(repairs, 'time')}"
    if age is not None and age >= policy.count("season_end_heel_seasons"):
        yield f"heels are {counted(age, 'season')} old"


def to_buy(fleet: Fleet) -> tuple[Buy, ...]:
    """Return wishes for which the fleet has fewer pairs of the kind and length than are wanted."""
    found = []
    for wish in fleet.wishes:
        standing = sum(
            pair.kind is wish.kind
            and wish.length_min_mm <= pair.length_mm <= wish.length_max_mm
            and pair.place not in (Place.SOLD, Place.RETIRED, Place.MISSING)
            for pair in fleet.pairs.values()
        )
        if standing < wish.quantity:
            found.append(
                Buy(
                    wish=wish.wish,
                    kind=wish.kind.value,
                    length_min_mm=wish.length_min_mm,
                    length_max_mm=wish.length_max_mm,
                    quantity=wish.quantity,
                    standing=standing,
                )
            )
    return tuple(found)
