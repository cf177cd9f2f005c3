"""Winters played out on a fleet as a value: boots are bought, the shop plans, and the work is done.

What a plan takes of the skis shows only years later. So what the last mounts of a pair are worth is not
thought out: tables of worths are played out on the same boots, and what each brought stands side by side.
Boots leave by their season, oldest first, in the groups that they were bought in; those that come in their
place have the shell sizes of those that left and the sole lengths of a model that the shop has had.
"""

import random
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from fleet.base.errors import Refused
from fleet.base.grouping import grouped
from fleet.facts.boots import Boot
from fleet.facts.holes import Mount, PieceSlide, Side
from fleet.facts.pairs import Binding, Pair
from fleet.tables.snapshot import Fleet
from planner.plan.part_prices import WORTHS
from planner.plan.values import PlannedSet, Rung
from planner.planning.assign.geometry import RoomLeft, SweptWays, as_left
from planner.planning.assign.plan import OWN, expand, solved
from planner.planning.assign.problem import build_problem

Worths = tuple[int, ...] | None
Buy = Callable[[Fleet, random.Random, int], Fleet]
"""The fleet with the boots of a winter, by its number."""

TABLES: Final[tuple[Worths, ...]] = (None, (1, 1, 1), (6, 4, 3), (2, 1, 1), (4, 2, 1), (16, 4, 1))
"""Worths of the last mount, of the last but one and of others that are played out (our choice). Only their
proportion counts, because nothing else is added to them."""
_SET: Final = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """All winters together: sets served, mounts drilled, minutes; and pairs then without a further mount."""

    worths: Worths
    served: int
    mounts: int
    minutes: int
    worn_out: int

    @property
    def points(self) -> int:
        """More is better (our choice): a set served counts as five mounts, and so does a pair worn out."""
        return _SET * (self.served - self.worn_out) - self.mounts


def winters_of(
    fleet: Fleet, buy: Buy, *, winters: int, seed: int
) -> Iterator[tuple[tuple[PlannedSet, ...], Fleet]]:
    """Yield the sets of each winter and the fleet after their work, under the policy that it has."""
    rng = random.Random(seed)
    for winter in range(1, winters + 1):
        fleet = buy(fleet, rng, winter)
        sets = sets_of(fleet)
        fleet = after_work(fleet, sets)
        yield sets, fleet


def played(fleet: Fleet, buy: Buy, worths: Worths, *, winters: int, seed: int) -> Played:
    """The sums under a table of worths. The boots bought depend on the seed, not on what is planned."""
    done = list(winters_of(with_worths(fleet, worths), buy, winters=winters, seed=seed))
    sets = [each for of_winter, _ in done for each in of_winter]
    _, last = done[-1]
    room = RoomLeft(last, SweptWays())
    return Played(
        worths=worths,
        served=len(sets),
        mounts=sum(bool(each.way.drilled) for each in sets),
        minutes=sum(each.minutes for each in sets),
        worn_out=sum(room.now(pair) == 0 for pair in last.pairs.values() if pair.plannable),
    )


def best_of(tables: Sequence[Played]) -> Played:
    """The one with most points; among equals the first."""
    return max(tables, key=lambda each: each.points)


def with_worths(fleet: Fleet, worths: Worths) -> Fleet:
    """The fleet of a shop that set these worths, or none."""
    values = ("", "", "") if worths is None else tuple(map(str, worths))
    return replace(fleet, policy=fleet.policy.with_values(**dict(zip(WORTHS, values, strict=True))))


def sets_of(fleet: Fleet) -> tuple[PlannedSet, ...]:
    """The sets of the best plan, without its proof."""
    ways = SweptWays()
    problem = build_problem(fleet, ways=ways, minutes_limit=None, room=RoomLeft(fleet, ways))
    found = solved(problem, lambda _: None)
    return expand(fleet, found.problem, found.sets, ways)[0]


def after_work(fleet: Fleet, sets: Sequence[PlannedSet]) -> Fleet:
    """The fleet once the work is done: holes, mounts, and the bindings where they went."""
    pairs = dict(fleet.pairs)
    for each in sets:
        if each.way.rung.rank > Rung.ADJUST.rank:
            pairs[each.pair] = _mounted(pairs[each.pair], each)
    return replace(fleet, pairs=pairs, bindings=_moved(fleet, sets))


def _mounted(pair: Pair, each: PlannedSet) -> Pair:
    way, number = each.way, len(pair.mounts)
    left = as_left(pair, way)
    skis = {
        side: replace(ski, holes=tuple(replace(h, hole_id=f"{number} {h.hole_id}") for h in ski.holes))
        for side, ski in left.skis.items()
    }
    now = Mount(
        pattern=way.pattern,
        bsl_um=way.bsl_um,
        offset_um=way.offset_um,
        mounted_on="then",
        removed_on=None,
        drilled=bool(way.drilled),
        slides=tuple(
            PieceSlide(piece=p.piece, reference_um=p.reference_um, slide_um=p.slide_um)
            for p in way.skis[Side.A].pieces
        ),
    )
    before = tuple(replace(m, removed_on=m.removed_on or "then") for m in pair.mounts)
    return replace(left, skis=skis, mounts=(*before, now))


def _moved(fleet: Fleet, sets: Sequence[PlannedSet]) -> dict[str, Binding]:
    """Bindings of pairs that get others go to the stock, together with those of pairs stripped for them."""
    bindings = dict(fleet.bindings)
    getting = [each for each in sets if each.binding_from != OWN]
    off = {each.pair for each in getting} | {each.binding_from for each in getting}
    for name, binding in fleet.bindings.items():
        if binding.on_pair in off:
            bindings[name] = replace(binding, on_pair=None, on_ski=None)
    for each in getting:
        sort = each.way.pattern, each.brake_um
        free = [
            name
            for name, b in bindings.items()
            if b.on_pair is None and b.may_be_mounted and (b.pattern, b.brake_to_plan) == sort
        ]
        for name, side in zip(free, Side, strict=False):
            bindings[name] = replace(bindings[name], on_pair=each.pair, on_ski=side)
    return bindings


def boots_like_before(fleet: Fleet, *, share: float) -> Buy:
    """Buy as the shop did: this share of its boots leaves each winter, oldest first and group by group."""
    known = [boot for boot in fleet.boots.values() if boot.bsl_um is not None and boot.mondopoint_mm]
    models = grouped(_groups(known), lambda group: group[0].sole_type)

    def buy(now: Fleet, rng: random.Random, winter: int) -> Fleet:
        boots, left = dict(now.boots), round(share * len(known))
        groups = _groups([boots[tag] for tag in sorted(boots) if boots[tag].sole_type in models])
        for number, group in enumerate(groups):
            gone = group[:left]
            left -= len(gone)
            had = models[group[0].sole_type]
            like = rng.choices(had, [len(each) for each in had])[0]
            shift = rng.choice(_differences(had))
            for boot in gone:
                sole = min(like, key=lambda each: abs(_shell(each) - _shell(boot)))
                new = replace(
                    boot,
                    bsl_um=(sole.bsl_um or 0) + shift,
                    model=f"bought {winter}-{number}",
                    season=f"then {winter:03}",
                )
                boots[boot.tag] = new
        return replace(now, boots=boots)

    return buy


def _shell(boot: Boot) -> int:
    return boot.mondopoint_mm or 0


def _groups(boots: Sequence[Boot]) -> list[list[Boot]]:
    """Boots bought together: of one season, model and norm of sole; the oldest season first."""
    groups = grouped(boots, lambda boot: (boot.season, boot.model, boot.sole_type))
    return [groups[key] for key in sorted(groups)]


def _differences(groups: Sequence[Sequence[Boot]]) -> list[int]:
    """Each difference of two soles of one shell size, micrometres, both ways; nought if nothing is known."""
    by_shell: dict[int, set[int]] = defaultdict(set)
    for boot in (boot for group in groups for boot in group):
        by_shell[_shell(boot)].add(boot.bsl_um or 0)
    return [a - b for soles in by_shell.values() for a in sorted(soles) for b in sorted(soles)] or [0]


def share_of_new(fleet: Fleet, percent: float | None = None) -> float:
    """The share of the boots that is new each winter: as said, else by the seasons of purchase in the ledger.

    Raises Refused where those are stated for boots of fewer than two seasons.
    """
    if percent is not None:
        return percent / 100
    seasons = {boot.season for boot in fleet.boots.values() if boot.season}
    if len(seasons) < 2:
        raise Refused(
            "the season of purchase is stated for boots of fewer than two seasons",
            cure="say what share of the boots is new each winter: --new-boots 25",
        )
    return 1 / len(seasons)
