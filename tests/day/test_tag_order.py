"""K-2 stands before K-10 in every list, whatever the order in which they came in."""

from __future__ import annotations

import random
from datetime import date

import pytest

from fleet.facts.tags import compared, tag_order
from fleet.rules.find import find_pairs
from fleet.rules.recheck import recheck_list
from fleet.rules.stock import compare
from fleet.tables.snapshot import read_boots, read_fleet, read_pairs
from planner.bench.season import pair_seasons
from tests.counter.conftest import furnished, shop
from tests.counter.shop import Shop

__all__ = ["furnished", "shop"]
IN_ORDER = ["", "A", "B-9", "K-2", "K-02", "K-2a", "K-10", "K-10/3", "K-10/20", "K-100", "k-1"]


def test_digits_count_as_the_number_that_they_make() -> None:
    mixed = random.Random(1).sample(IN_ORDER, len(IN_ORDER))
    ordered = sorted(mixed, key=tag_order)
    assert [t for t in ordered if t != "K-02"] == [t for t in IN_ORDER if t != "K-02"]
    assert abs(ordered.index("K-02") - ordered.index("K-2")) == 1


@pytest.mark.parametrize(
    ("one", "other", "told"), [("K-2", "K-10", -1), ("K-10", "K-2", 1), ("K-2", "K-2", 0)]
)
def test_the_ledger_sorts_as_the_program_does(one: str, other: str, told: int) -> None:
    assert compared(one, other) == told


@pytest.fixture
def many(shop: Shop) -> Shop:
    for number in (100, 10, 9, 2):
        shop.pair(f"Z-{number}")
        shop.boot(f"Z-B{number}", 305, "alpine A")
    return shop


def of_z(tags: list[str]) -> list[str]:
    return [tag for tag in tags if tag.startswith("Z")]


WANTED = ["Z-2", "Z-9", "Z-10", "Z-100"]


def test_pairs_and_boots_are_read_in_that_order(many: Shop) -> None:
    assert of_z(list(read_pairs(many.ledger.connection))) == WANTED
    assert of_z(list(read_boots(many.ledger.connection))) == ["Z-B2", "Z-B9", "Z-B10", "Z-B100"]


def test_the_lists_of_a_day_and_of_a_season_are_in_that_order(many: Shop) -> None:
    connection = many.ledger.connection
    many.policy("out_without_boot", "yes")
    found = find_pairs(connection, at=many.now, zone="Europe/Vienna")
    assert of_z([pair.tag for pair in found.pairs]) == WANTED
    assert of_z(list(compare(connection, ["P-1"]).not_seen)) == WANTED
    seasons = pair_seasons(connection, read_fleet(connection), today=date(2027, 1, 31))
    assert of_z([row.tag for row in seasons]) == WANTED
    for tag in ("Z-10", "Z-2", "Z-100", "Z-9"):
        many.look(tag)
    many.out("Z-10", "Z-2", "Z-100", "Z-9")
    listed = recheck_list(connection, today=many.today)
    assert of_z([pair.tag for pair in listed.out]) == WANTED
    back = many.tick(minutes=60)
    many.tick(minutes=60)
    many.back("Z-10", "Z-2", "Z-100", "Z-9", at=back)
    listed = recheck_list(connection, today=many.today)
    assert of_z([row.tag for row in listed.rows]) == WANTED
