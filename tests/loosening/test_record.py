"""From looks in the ledger to counts and spans, and from there to the order of the list."""

from __future__ import annotations

import pytest

from fleet.rules.loosening.record import UNKNOWN, By, counts, loosening_rates, spans, worse_patterns
from fleet.rules.loosening.survival import Span
from tests.counter.shop import JORY, SANNE, WIM, Shop


def _loose_then_right(shop: Shop, tag: str) -> None:
    from fleet.rules.holds import end_repair

    shop.look(tag, found={"B heel": "more"})
    with shop.desk(JORY) as desk:
        end_repair(desk, tag, did="reset")
    shop.look(tag, by=SANNE)


def test_every_look_is_a_trial_and_movement_is_an_event(shop: Shop) -> None:
    _loose_then_right(shop, "P-1")
    assert counts(shop.ledger.connection, By.PATTERN) == {"Lark 4": (1, 7)}
    assert counts(shop.ledger.connection, By.CONSTRUCTION) == {"no metal": (1, 7)}
    assert counts(shop.ledger.connection, By.GLUE) == {UNKNOWN: (1, 7)}
    assert counts(shop.ledger.connection, By.SEASON) == {"2025": (1, 7)}


def test_a_span_runs_in_days_out_to_the_first_movement(shop: Shop) -> None:
    for tag, days in (("P-1", 3), ("P-2", 5)):
        shop.out(tag)
        shop.tick(minutes=days * 24 * 60)
        shop.back(tag)
    shop.look("P-1", found={"A toe": "spins"})
    shop.look("P-2")
    got = sorted(spans(shop.ledger.connection), key=lambda span: span.days)
    assert got == [Span(0, False)] * 3 + [Span(3, True), Span(5, False)]


@pytest.mark.parametrize("by", list(By))
def test_a_fresh_shop_has_rates_without_a_fault(shop: Shop, by: By) -> None:
    assert all(rate.moved == 0 for rate in loosening_rates(shop.ledger.connection, by))


def test_a_pattern_with_a_bad_record_is_named_on_the_list(shop: Shop) -> None:
    """Two pairs of another pattern that keep moving, four that never do."""
    from fleet.rules.recheck import recheck_list

    for tag in ("P-3", "P-4"):
        shop.enter("mount removed", {"tag": tag, "removed_on": "2026-12-27"}, by=WIM)
        mount = {"tag": tag, "pattern": "Other 4", "bsl_um": 305_000, "offset_um": 0, "slides": []}
        shop.enter(
            "mount recorded", mount | {"mounted_on": "2026-12-27", "removed_on": None, "drilled": False}
        )
    for _ in range(6):
        _loose_then_right(shop, "P-3")
        for tag in ("P-1", "P-2"):
            for _ in range(4):
                shop.look(tag)
    connection = shop.ledger.connection
    assert worse_patterns(connection) == {"Other 4": "Other 4: moved at 6 of 12 looks"}
    shop.look("P-4")  # the thirteenth look at that pattern
    shop.back("P-2", "P-4")
    rows = recheck_list(connection, today=shop.today).rows
    assert [row.tag for row in rows] == ["P-4", "P-2"]
    assert rows[0].reasons == ("Other 4: moved at 6 of 13 looks",)
