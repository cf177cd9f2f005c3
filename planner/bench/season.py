"""The end of a season: each pair's season in figures, a suggestion to keep, sell or buy; and single skis.

A suggestion with its reasons, never a verdict: the manager decides. Single skis are matched into pairs of the
same model, length and holes; and in the ledger, lost and joined.
"""

import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import combinations

from fleet.base.days import stored_day_text
from fleet.base.errors import BadInput, Refused
from fleet.base.units import counted
from fleet.events.event import Changes, facts_of
from fleet.events.mounts import BindingChanged
from fleet.events.movement import PartnerLost, SingleJoined
from fleet.events.pairs import AreaInspected, HolesRecorded, NewHole, PairRecorded, SkiClosed, SkiOfAPair
from fleet.events.stops import PairCarriedOver
from fleet.facts.carried import carried_body, carried_work, quarantine_apart, stops_of
from fleet.facts.columns import facts_in
from fleet.facts.holes import Hole, HoleFacts, HoleState, Side, fresh_hole_ids
from fleet.facts.pairs import AreaFacts, Pair, PairFacts, Ski, SkiFacts
from fleet.facts.policy import Policy
from fleet.facts.standing import Place, read_standing
from fleet.facts.tags import tag_order
from fleet.ledger.desk import Desk, signer
from fleet.rules.clearance import no_open_order
from fleet.rules.moves import Move, may_move
from fleet.tables.snapshot import Fleet, read_bindings, read_pairs, read_policy

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
class LifeOfYear:
    """The pairs still owned at the end of a year: those with no further mount by the shop's rule, with one,
    two, three and more. ``drawn``: a winter played out, not one that was."""

    name: str
    left: tuple[int, int, int, int]
    drawn: bool = False


def pairs_that_end(fleet: Fleet) -> dict[str, str]:
    """Return the pairs still owned that have no further mount by the shop's rule, each with why."""
    most = fleet.policy.count("mounts_max")
    found = {}
    for tag, pair in _owned(fleet).items():
        if pair.drilled_mounts < most:
            continue
        last = max((mount.mounted_on or "" for mount in pair.mounts if mount.drilled), default="")
        reason = f"{pair.mounts_text}, the shop's rule allows {most}"
        found[tag] = reason + (f"; the last on {stored_day_text(last)}" if last else "")
    return found


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


@dataclass(frozen=True, slots=True, kw_only=True)
class SingleSki:
    """A ski without its partner; ``name`` as on the rack, like ``K-031/A``."""

    name: str
    model: str
    length_mm: int
    ski: Ski


def lose_partner(desk: Desk, tag: str, *, lost: Side, why: str) -> int:
    """Enter the loss of one ski: the pair is retired, the other ski is single from now on."""
    may_move(desk, tag, Move.RETIRE)
    signer(desk.connection, desk.by, days=desk.signing_days, what="split a pair")
    no_open_order(desk.connection, tag)
    return desk.enter(PartnerLost(tag=tag, lost=lost), note=why)


def read_singles(connection: sqlite3.Connection) -> tuple[SingleSki, ...]:
    """Return every single ski of the shop."""
    rows = connection.execute(
        "SELECT tag, side FROM single_ski ORDER BY tag COLLATE BY_NUMBER, side"
    ).fetchall()
    return tuple(
        SingleSki(name=f"{tag}/{side}", model=pair.model, length_mm=pair.length_mm, ski=pair.skis[Side(side)])
        for tag, side in rows
        for pair in read_pairs(connection, tag).values()
    )


def join(desk: Desk, new_tag: str, first: str, second: str) -> Pair:
    """Make two single skis a new pair with a new tag: holes, areas and stops come along, no pass does.

    Bindings come off on paper (into the stock): a new pair is mounted, checked and passed as one.
    Refused unless model, length and holes match within the policy's pair difference.
    """
    connection = desk.connection
    signer(connection, desk.by, days=desk.signing_days, what="join two skis")
    singles = {ski.name: ski for ski in read_singles(connection)}
    for name in (first, second):
        if name not in singles:
            raise Refused(f"{name} is no single ski", cure=f"single: {', '.join(singles) or 'none'}")
    if first == second:
        raise BadInput("a pair needs two skis", cure="name two")
    one, other = singles[first], singles[second]
    tolerance = read_policy(connection).um("pair_difference_mm")
    difference = hole_difference(one.ski, other.ski, tolerance_um=tolerance)
    if (one.model, one.length_mm) != (other.model, other.length_mm) or difference is None:
        raise Refused(f"{first} and {second} do not match", cure="see `mountbook singles match`")
    skis = {Side.A: one, Side.B: other}
    origins = [
        read_pairs(connection, name.rsplit("/", 1)[0])[name.rsplit("/", 1)[0]] for name in (first, second)
    ]
    desk.enter(_new_pair(new_tag, origins, skis))
    for side, single in skis.items():
        for area in single.ski.inspected:
            desk.enter(AreaInspected(tag=new_tag, side=side, **facts_in(AreaFacts, area)))
        if single.ski.is_closed:
            desk.enter(SkiClosed(tag=new_tag, side=side, why=single.ski.closed_why))
    holes = tuple(hole for side, single in skis.items() for hole in _holes(new_tag, side, single))
    if holes:
        desk.enter(HolesRecorded(tag=new_tag, holes=holes))
    for name in (first, second):
        tag, side_text = name.rsplit("/", 1)
        _bindings_off(desk, tag, Side(side_text))
        desk.enter(SingleJoined(tag=tag, side=Side(side_text), into=new_tag))
        _stops_along(desk, new_tag, tag, name)
    return read_pairs(connection, new_tag)[new_tag]


def _stops_along(desk: Desk, new_tag: str, tag: str, name: str) -> None:
    """Carry the stops over: what stopped the old pair stops the new one, for the same cause; so do whose
    hands were at it, and glue.
    """
    facts, standing = facts_of(desk.connection, tag), read_standing(desk.connection, tag)
    work = carried_work(facts)
    for stops in quarantine_apart(stops_of(facts)):
        body = carried_body(new_tag, stops, source=name) | work
        if stops or any(work.values()):
            cause = (standing.quarantine_why if body["quarantine"] else standing.hold_why) or body["stops"]
            desk.enter(PairCarriedOver.read(body), note=f"{name}: {cause}" if cause else "")
        work = {}


def _new_pair(new_tag: str, origins: list[Pair], skis: dict[Side, SingleSki]) -> PairRecorded:
    """Return the new pair's facts: those of the first old pair; mounts of the one with more, unknown if
    either is.
    """
    origin, most = origins[0], max(pair.drilled_mounts for pair in origins)
    unknown = any(pair.earlier_mounts is None for pair in origins)
    return PairRecorded(
        **facts_in(PairFacts, origin) | {"tag": new_tag, "earlier_mounts": None if unknown else most},
        earlier_at_least=most,
        skis={side: SkiOfAPair(**facts_in(SkiFacts, single.ski)) for side, single in skis.items()},
    )


def _holes(new_tag: str, side: Side, single: SingleSki) -> list[NewHole]:
    ids = fresh_hole_ids(new_tag, side, ())
    return [
        NewHole(
            side=side,
            **facts_in(HoleFacts, hole)
            | {
                "hole_id": next(ids),
                "state": HoleState.OPEN if hole.state is HoleState.SCREWED else hole.state,
            },
        )
        for hole in single.ski.holes
    ]


def _bindings_off(desk: Desk, tag: str, side: Side) -> None:
    for binding in read_bindings(desk.connection).values():
        if binding.on_pair == tag and binding.on_ski is side:
            off: Changes = {"on_pair": (tag, None), "on_ski": (side.value, None)}
            desk.enter(BindingChanged(binding_id=binding.binding_id, changes=off))


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """Two skis that go together; ``difference_um``: the largest distance of their holes."""

    first: str
    second: str
    difference_um: int


def match_singles(skis: Sequence[SingleSki], *, tolerance_um: int) -> tuple[Match, ...]:
    """Return the largest number of pairs, and among those the smallest total difference of their holes.

    Exact: a maximum weight matching of the graph of skis that fit each other (Edmonds' blossom
    algorithm, networkx). Skis whose marks differ are compared by distance from the tail.
    """
    import networkx

    graph = networkx.Graph()
    for one, other in combinations(sorted(skis, key=lambda ski: ski.name), 2):
        if (one.model, one.length_mm) != (other.model, other.length_mm):
            continue
        difference = hole_difference(one.ski, other.ski, tolerance_um=tolerance_um)
        if difference is not None:
            graph.add_edge(one.name, other.name, weight=tolerance_um + 1 - difference, um=difference)
    pairs = networkx.max_weight_matching(graph, maxcardinality=True)
    return tuple(
        sorted(
            (
                Match(first=min(a, b), second=max(a, b), difference_um=graph.edges[a, b]["um"])
                for a, b in pairs
            ),
            key=lambda match: match.first,
        )
    )


def hole_difference(one: Ski, other: Ski, *, tolerance_um: int) -> int | None:
    """Return the largest distance (µm, along or across) between the holes of two skis; None if they do not
    match.

    Each hole of one answers exactly one of the other, in the same state. Where both marks are measured
    from the tail the tail counts, since printed marks differ; else each ski's own mark.
    """
    if len(one.holes) != len(other.holes):
        return None
    shift = 0
    if one.mark_from_tail_um is not None and other.mark_from_tail_um is not None:
        shift = other.mark_from_tail_um - one.mark_from_tail_um
    left, worst = list(other.holes), 0
    for hole in sorted(one.holes, key=lambda h: (h.x_um, h.y_um)):
        near = [
            each for each in left if _apart(hole, each, shift) <= tolerance_um and each.state is hole.state
        ]
        if not near:
            return None
        best = min(near, key=lambda each: (_apart(hole, each, shift), each.hole_id))
        left.remove(best)
        worst = max(worst, _apart(hole, best, shift))
    return worst


def _apart(hole: Hole, other: Hole, shift_um: int) -> int:
    return max(abs(other.x_um + shift_um - hole.x_um), abs(other.y_um - hole.y_um))


def names(matches: Iterable[Match]) -> set[str]:
    """Return all skis that found a partner."""
    return {name for match in matches for name in (match.first, match.second)}
