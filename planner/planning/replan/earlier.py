"""The sets of an earlier plan, and the state of their orders."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from fleet.facts.standing import Place
from fleet.tables.snapshot import Fleet
from planner.plan.values import Plan, PlannedSet

_COMES_BACK = frozenset({Place.SECOND_CHECK, Place.OUT, Place.HOLD, Place.IN_REPAIR, Place.IN_TRANSIT})
"""Places from which a pair is expected back on the rack."""


class OrderStage(StrEnum):
    """The stage of an earlier set's order."""

    PLANNED = "planned"
    ISSUED = "issued"
    DONE = "done"


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierSet:
    """A set of the earlier plan; ``order`` is the number on its sheet, where it has one."""

    planned: PlannedSet
    standing: OrderStage = OrderStage.PLANNED
    order: str = ""

    @property
    def about(self) -> str:
        """Its name for a person: the order where there is one, the boot and the pair."""
        name = f"{self.planned.boot} on {self.planned.pair}"
        return f"{self.order}, {name}" if self.order else name


@dataclass(frozen=True, slots=True, kw_only=True)
class DroppedSet:
    """An earlier set that cannot stay, and the fact that ended it.

    ``waits``: its work is done, only the pair is not back yet; boot and want stay taken.
    """

    earlier: EarlierSet
    reason: str
    waits: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderRevision:
    """The newest revision of an order: its pair, boot and state (open, done, stopped, cancelled)."""

    number: str
    tag: str
    boot: str
    state: str


def earlier_sets(plan: Plan, orders: Iterable[OrderRevision]) -> tuple[EarlierSet, ...]:
    """The plan's sets, each with the standing of its order; an order for another boot is not its order."""
    newest = {(said.tag, said.boot): said for said in orders}
    found = []
    for planned in plan.sets:
        order = newest.get((planned.pair, planned.boot))
        standing = {"open": OrderStage.ISSUED, "done": OrderStage.DONE}.get(order.state if order else "")
        found.append(
            EarlierSet(planned=planned, standing=standing, order=order.number)
            if order is not None and standing is not None
            else EarlierSet(planned=planned)
        )
    return tuple(found)


def still_possible(
    fleet: Fleet, earlier: Iterable[EarlierSet], left_out: Mapping[str, str]
) -> tuple[tuple[EarlierSet, ...], tuple[DroppedSet, ...]]:
    """Sets whose pair, boot and want are still there, and the others with the first fact that ended them."""
    wishes = {w.wish: w.quantity for w in fleet.wishes}
    kept: list[EarlierSet] = []
    gone: list[DroppedSet] = []
    promised_first = sorted(earlier, key=lambda e: (e.standing is OrderStage.PLANNED, e.planned.sort_key()))
    for each in promised_first:
        reason = _ended(fleet, each, left_out, wishes)
        if reason:
            waits = _waits(fleet, each, left_out)
            gone.append(DroppedSet(earlier=each, reason=reason, waits=waits))
            if waits:
                wishes[each.planned.wish] -= 1
            continue
        if each.standing is not OrderStage.PLANNED:
            wishes[each.planned.wish] -= 1
        kept.append(each)
    return tuple(kept), tuple(gone)


def _waits(fleet: Fleet, each: EarlierSet, left_out: Mapping[str, str]) -> bool:
    pair = fleet.pairs.get(each.planned.pair)
    return (
        each.standing is OrderStage.DONE
        and each.planned.pair not in left_out
        and each.planned.boot in fleet.boots
        and any(w.wish == each.planned.wish for w in fleet.wishes)
        and pair is not None
        and pair.place in _COMES_BACK
    )


def _ended(fleet: Fleet, each: EarlierSet, left_out: Mapping[str, str], wishes: Mapping[str, int]) -> str:
    planned = each.planned
    pair, boot = fleet.pairs.get(planned.pair), fleet.boots.get(planned.boot)
    if planned.pair in left_out:
        return f"{planned.pair} is left out: {left_out[planned.pair]}"
    if pair is None or boot is None:
        return f"{planned.pair if pair is None else planned.boot} is no longer in the ledger"
    if not pair.plannable:
        if _waits(fleet, each, left_out):
            return f"the work is done and {planned.pair} is {pair.place.words}: its set waits for the pair"
        return f"{planned.pair} is {fleet.where(planned.pair)}"
    if each.standing is not OrderStage.PLANNED and wishes.get(planned.wish, 0) <= 0:
        return f"{planned.wish} is no longer wanted that often"
    if planned.wish not in wishes:
        return f"{planned.wish} is no longer wanted"
    return ""
