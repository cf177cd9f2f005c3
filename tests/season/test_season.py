"""The count by scan, and the sheet of the season's end."""

from __future__ import annotations

from datetime import date

import pytest

from fleet.base.errors import MountbookError
from fleet.rules.counter import move
from fleet.rules.holds import end_repair
from fleet.rules.stock import compare, enter_count
from planner.bench.season import pair_seasons, to_buy
from tests.counter.shop import JORY, NELL, WIM
from tests.orders.bench_shop import BenchShop


def test_a_count_names_every_difference_and_moves_nothing(shop: BenchShop) -> None:
    shop.policy("out_without_boot", "yes")
    for tag in ("K-2", "K-3", "K-4"):
        shop.drilled_pair(tag)
    shop.ready("K-1", "K-2", "K-3", "K-4")
    shop.out("K-2")
    with shop.desk(NELL) as desk:
        found = enter_count(desk, ["K-1", "K-2", "K-1", " ", "Z-9", "K-3 "])
    assert (found.counted, found.expected) == (3, 3)
    assert found.not_seen == ("K-4",)
    assert found.unexpected == (("K-2", "out"),)
    assert (found.unknown, found.twice, found.agrees) == (("Z-9",), ("K-1",), False)
    assert shop.place("K-2").value == "out"
    assert shop.place("K-4").value == "ready"
    assert compare(shop.ledger.connection, ["K-1", "K-3", "K-4"]).agrees


def test_an_empty_count_is_no_count(shop: BenchShop) -> None:
    with pytest.raises(MountbookError, match="nothing was scanned"), shop.desk(NELL) as desk:
        enter_count(desk, ["", "  "])


def test_the_season_of_a_pair_in_figures(shop: BenchShop) -> None:
    """K-1: six days out, one look of three moved, one mount of two; K-2 never hired."""
    shop.policy("out_without_boot", "yes")
    shop.drilled_pair("K-2")
    shop.drilled_pair("K-3")
    shop.ready("K-1", "K-2", "K-3")
    for tag in ("K-1", "K-3"):
        shop.out(tag)
    shop.tick(minutes=6 * 24 * 60)
    shop.back("K-1", "K-3")
    shop.look("K-1", found={"A toe": "more"})
    with shop.desk(WIM) as desk:
        move(desk, "K-3", to="missing", reason="not at the count")
    rows = {
        row.tag: row for row in pair_seasons(shop.ledger.connection, shop.fleet(), today=date(2027, 1, 31))
    }
    one, two = rows["K-1"], rows["K-2"]
    assert (one.days_out, one.hires, one.looks, one.moved, one.mounts_left) == (6, 1, 2, 1, 1)
    assert one.heel_seasons == 2
    assert one.suggest == "keep, with a look"
    assert two.suggest == "think about selling"
    assert two.reasons[0] == "hardly hired: 0 days out, the middle pair had 6"


@pytest.mark.parametrize(
    ("name", "names_it", "names_it_not", "words"),
    [
        ("season_end_heel_seasons", "2", "3", "heels are 2 seasons old"),
        ("season_end_moved_looks", "1", "2", "screws moved at 1 look"),
        ("season_end_repairs", "1", "2", "repaired 1 time"),
        ("season_end_hired_percent", "51", "50", "hardly hired: 3 days out, the middle pair had 6"),
    ],
)
def test_what_a_pair_is_named_for_is_the_shop_s_rule_at_its_limit(
    shop: BenchShop, name: str, names_it: str, names_it_not: str, words: str
) -> None:
    """K-1: three days out where the others had six, one look of moved screws, one repair, heels of 2024."""
    shop.policy("out_without_boot", "yes")
    tags = ("K-1", "K-2", "K-3")
    for tag in tags[1:]:
        shop.drilled_pair(tag)
    shop.ready(*tags)
    shop.out(*tags)
    shop.tick(minutes=3 * 24 * 60)
    shop.back("K-1")
    shop.tick(minutes=3 * 24 * 60)
    shop.back("K-2", "K-3")
    shop.look("K-1", found={"A toe": "more"})
    with shop.desk(JORY) as desk:
        end_repair(desk, "K-1", did="toe screwed down anew")
    for value, named in ((names_it, True), (names_it_not, False)):
        shop.policy(name, value)
        rows = pair_seasons(shop.ledger.connection, shop.fleet(), today=date(2027, 1, 31))
        [one] = [row for row in rows if row.tag == "K-1"]
        assert (words in one.reasons) is named, one.reasons


def test_what_the_wishes_lack_is_what_to_buy(shop: BenchShop) -> None:
    shop.want("W-1", quantity=3)
    [buy] = to_buy(shop.fleet())
    assert (buy.wish, buy.quantity, buy.standing) == ("W-1", 3, 1)
