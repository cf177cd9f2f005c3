"""What a rule would change is told before it is taken: pairs, ways, open orders. K-1 was drilled for 305."""

from __future__ import annotations

import pytest

from fleet.ledger.desk import Desk
from fleet.ledger.people import set_policy
from fleet.tables.snapshot import read_fleet
from planner.bench.orders.change_effect import change_effect
from tests.counter.command import Command
from tests.counter.shop import WIM
from tests.orders.bench_shop import BenchShop

SET = ("policy", "set")
WHY = ("--origin", "our sawn skis")


def effect(shop: BenchShop, name: str, value: str):  # type: ignore[no-untyped-def]
    before = read_fleet(shop.ledger.connection)
    with shop.ledger.copied() as copy:
        with copy.transaction(by=WIM, now=shop.now) as tx:
            set_policy(Desk(tx=tx, by=WIM, now=shop.now, zone=copy.zone), name, value, origin="tried")
        after = read_fleet(copy.connection)
        return change_effect(copy.connection, before, after, at=shop.now, zone=copy.zone)


def test_a_rule_that_nothing_meets_changes_nothing(shop: BenchShop) -> None:
    shop.issue()
    told = effect(shop, "backup_keep", "20")
    assert (told.pairs, told.orders, told.ways) == ((), (), (0, 0, 0))
    assert told.summary() == ["changes no pair, no way and no open work order"]


def test_a_narrower_limit_closes_ways_and_voids_the_order_on_the_bench(shop: BenchShop) -> None:
    """The boot of 317 mm stands off the mark on the old holes; with a limit of 0 mm it may not."""
    [order] = shop.issue().orders
    told = effect(shop, "mounts_max", "1")
    assert told.ways[1] > 0 or told.orders == (order.name,)
    told = effect(shop, "minutes_mount", "15")
    assert told.ways[2] > 0, "the same ways, dearer"


def test_a_cure_time_keeps_glued_pairs_in(shop: BenchShop) -> None:
    shop.ready("K-1")
    with shop.desk(WIM) as desk:
        desk.enter("repair done", {"tag": "K-1", "glued_with": ["epoxy"]})
    shop.tick(minutes=60)
    assert effect(shop, "cure_epoxy_hours", "0.75").pairs == ()
    assert effect(shop, "cure_epoxy_hours", "24").pairs == ("K-1",)
    assert effect(shop, "cure_epoxy_hours", "").pairs == ("K-1",)


def test_a_rule_is_asked_for_before_it_is_taken_and_a_script_says_yes(command: Command) -> None:
    before = command.ledger.read_bytes()
    asked = command(*SET, "minutes_mount", "15", *WHY, "--json")
    assert asked.returncode == 1
    assert asked.json["refused"].startswith(
        "minutes_mount 14 minutes -> 15 minutes was not taken: it changes"
    )
    assert "--yes" in asked.json["cure"]
    assert command.ledger.read_bytes() == before
    taken = command(*SET, "minutes_mount", "15", *WHY, "--yes")
    assert taken.returncode == 0
    assert taken.stdout.index("changes ") < taken.stdout.index("minutes_mount: 14 minutes -> 15")


@pytest.mark.parametrize(("typed", "taken"), [("y", True), ("yes", True), ("", False), ("n", False)])
def test_at_a_terminal_it_asks(
    command: Command, monkeypatch: pytest.MonkeyPatch, typed: str, taken: bool
) -> None:
    monkeypatch.setattr("planner.cli.session.may_ask", lambda: True)
    monkeypatch.setattr("planner.cli.session.asked", lambda _: typed)
    assert (command(*SET, "minutes_mount", "15", *WHY).returncode == 0) is taken
    [row] = [r for r in command("policy", "list", "--json").json["policy"] if r["name"] == "minutes_mount"]
    assert row["value"] == ("15" if taken else "14")


def test_who_may_not_set_it_is_not_asked(command: Command) -> None:
    refused = command(*SET, "minutes_mount", "15", *WHY, "--by", "Nell", "--yes", "--json")
    assert "counter staff" in refused.json["refused"]


def test_a_fit_a_kind_and_a_model_are_shown_before_they_are_taken_too(command: Command) -> None:
    """A typing slip in any of them closes a rack of pairs as a wrong rule does."""
    standing = ("--origin", "its maker's letter", "--unsupported-since", "2020-01-01")
    for typed in (
        ("fit", "take-back", "alpine A", "Lark 4", "--why", "the maker withdrew it", "--by", WIM),
        ("kind", "Invented boot", "telemark", "--by", WIM),
        ("pattern", "model", "Lark 4 binding", *standing, "--by", WIM),
    ):
        before = command.ledger.read_bytes()
        asked = command(*typed, "--json")
        assert asked.returncode == 1, typed
        assert " was not taken: it " in asked.json["refused"]
        assert command.ledger.read_bytes() == before
        taken = command(*typed, "--yes", "--json")
        assert taken.returncode == 0, taken.stdout
        assert taken.json["ways"].keys() == {"more", "fewer", "at_other_figures"}
