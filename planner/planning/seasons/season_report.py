"""A plan for many seasons in words and as JSON."""

from collections.abc import Iterator
from typing import Any

from fleet.base.units import counted
from planner.planning.seasons.season_plan import SeasonPlan, Served


def lines_of(found: SeasonPlan) -> Iterator[str]:
    """The judgement of the seasons on the plan, for a person."""
    demand = found.demand
    ready = len(found.plan.sets)
    yield f"planned for {demand.origin}; a set pays if more than {1 - found.ready:.0%} of them use it"
    short = "" if ready == found.asked else f" of {found.asked} that would pay"
    yield (
        f"{counted(ready, 'set')}{short} made ready; a plan for the mean season makes {found.mean_sets}"
        f" ready, the simple rule {found.rule_sets}: of each want alone what is enough in"
        f" {found.ready:.0%} of the seasons"
    )
    yield "seasons              this plan  beside            gain a season"
    yield from _rows(f"its own {found.seen.seasons}", found.seen)
    if found.unseen is not None:
        yield from _rows(f"{found.unseen.seasons} not seen", found.unseen)
        beside = (("the plan for the mean season", found.unseen.mean), ("the simple rule", found.unseen.rule))
        for name, each in beside:
            if each.low <= each.price:
                yield f"no gain over {name} that pays for its sets is shown: here that plan does as well"
    yield f"a season asks for {found.wanted:.1f} sets at once on average; figures are sets served"
    yield (
        f"in its own seasons no plan is better by more than {found.gap_percent:.1f} %"
        " (sets served, less the use that each set ready must find to pay)"
    )
    for what, sets in found.worth:
        yield f"{what} would serve {sets:+.2f} sets a season"
    if not found.worth:
        yield "one more pair, boot or binding alone would serve no set more that pays"
    yield from cautions(found)


def _rows(name: str, served: Served) -> Iterator[str]:
    first = f"{name:<20} {served.ours:>9.1f}"
    for other, each in (("mean plan", served.mean), ("rule", served.rule)):
        yield (
            f"{first}  {other:<9} {each.served:>6.1f}   {each.gain:+.1f}"
            f" (95 %: {each.low:+.1f} to {each.high:+.1f})"
        )
        first = " " * len(first)


def cautions(found: SeasonPlan) -> Iterator[str]:
    """The basis of the figures, and what they leave out."""
    if found.unseen is None:
        yield (
            f"{counted(found.seen.seasons, 'past season')} and no other: the gain is what it would have been,"
            " and says little of the next; add --seasons 20 to draw more about them"
        )
    else:
        yield (
            "seasons are drawn: a winter is good or bad for all wants at once, and each want differs on its"
            " own; the same input gives the same seasons"
        )
    yield "a set stays one boot on one pair all season; adjusting it at the counter is not counted"
    yield "what one more adds counts boots, pairs and bindings by groups: it is the most, not a promise"


def outlook_json(found: SeasonPlan) -> dict[str, Any]:
    """The outlook beside the plan in JSON."""
    return {
        "origin": found.demand.origin,
        "seasons": len(found.demand.peaks),
        "ready_for": round(found.ready, 4),
        "sets_that_pay": found.asked,
        "sets_ready": len(found.plan.sets),
        "sets_ready_mean_plan": found.mean_sets,
        "sets_ready_rule_plan": found.rule_sets,
        "wanted_a_season": round(found.wanted, 3),
        "its_own_seasons": _served_json(found.seen),
        "seasons_not_seen": None if found.unseen is None else _served_json(found.unseen),
        "gap_percent": round(found.gap_percent, 3),
        "wants": [
            {"wish": want.wish, "quantity": want.quantity, "serves": list(names)}
            for want, names in found.serves
        ],
        "one_more": [{"what": what, "sets": round(sets, 3)} for what, sets in found.worth],
        "cautions": list(cautions(found)),
    }


def _served_json(served: Served) -> dict[str, Any]:
    mean, rule = served.mean, served.rule
    figures = {
        "ours": served.ours,
        "mean_plan": mean.served,
        "gain": mean.gain,
        "low": mean.low,
        "high": mean.high,
        "rule_plan": rule.served,
        "gain_over_rule": rule.gain,
        "rule_low": rule.low,
        "rule_high": rule.high,
        "must_gain": mean.price,
        "rule_must_gain": rule.price,
    }
    return {"seasons": served.seasons} | {name: round(value, 3) for name, value in figures.items()}
