"""The cost of a set's parts, counted from the holes on its sheet and the prices of the ledger."""

from fleet.tables.snapshot import Fleet
from planner.plan.values import PlannedSet, Rung

_PRICES = {"drill": "price_new_hole", "reuse": "price_reused_hole", "plug": "price_plug"}


def parts_cents(fleet: Fleet, planned: PlannedSet) -> int | None:
    """Hundredths of the shop's money; None while a price is not set."""
    if not prices_known(fleet):
        return None
    if planned.way.rung in (Rung.AS_IS, Rung.ADJUST):
        return 0
    done: list[str] = [hole.do for ski in planned.way.skis.values() for hole in ski.holes]
    done += ["plug" for ski in planned.way.skis.values() for _ in ski.plug]
    return sum(fleet.policy.hundredths(_PRICES[each]) for each in done if each in _PRICES)


def prices_known(fleet: Fleet) -> bool:
    """Return whether the shop has set every price of a part."""
    return all(fleet.policy.optional_number(name) is not None for name in _PRICES.values())
