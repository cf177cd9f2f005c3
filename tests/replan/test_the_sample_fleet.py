"""On the sample fleet: five planned pairs break, and the rest of the plan stays where it was."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.facts.standing import Place
from planner.planning.assign.plan import plan_fleet
from planner.planning.judge import judge_plan
from planner.planning.replan.again import plan_again
from planner.planning.replan.earlier import earlier_sets
from tests.bench.plan_fleets import sample_fleet


@pytest.mark.long
def test_five_broken_pairs_change_at_most_eight_other_sets() -> None:
    """Five pairs of the plan, spread over the kinds, go on hold: at most eight other sets change."""
    shop = sample_fleet()
    before = plan_fleet(shop, made_at="", ready_by=None, minutes_limit=None)
    broken = {s.pair for s in before.sets[10::43]}
    assert len(broken) == 5
    hurt = replace(
        shop,
        pairs={t: replace(p, place=Place.HOLD) if t in broken else p for t, p in shop.pairs.items()},
    )
    after = plan_again(hurt, earlier_sets(before, ()), made_at="", ready_by=None, minutes_limit=None)
    assert judge_plan(hurt, after.plan) == ()
    assert len(after.changed) <= 8
    assert after.kept == len(before.sets) - 5 - len(after.changed)
    fresh = plan_fleet(hurt, made_at="", ready_by=None, minutes_limit=None)
    assert after.plan.totals.served_by_priority == fresh.totals.served_by_priority
