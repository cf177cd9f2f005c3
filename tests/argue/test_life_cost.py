"""What drilling costs: never a gain, and nothing where nothing is drilled."""

from __future__ import annotations

import pytest

from planner.planning.assign.plan import plan_fleet
from planner.planning.explain.alternatives import life_cost
from tests.assign.shop import real_shop


@pytest.mark.parametrize("seed", range(3))
def test_a_drilled_set_leaves_fewer_mounts_and_an_undrilled_one_is_not_asked(seed: int) -> None:
    """All new holes: at least one mount less than before wherever one was left."""
    shop = real_shop(seed)
    plan = plan_fleet(shop, made_at="", ready_by=None, minutes_limit=None)
    for planned in plan.sets:
        found = life_cost(shop, planned)
        if not planned.way.drilled:
            assert found is None
        elif found is not None:
            assert 0 <= found.after <= found.before
