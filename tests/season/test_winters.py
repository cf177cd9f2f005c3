"""Winters played out: boots bought as before, work done on the skis, bindings where they went."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace

import pytest

from fleet.base.errors import Refused
from fleet.facts.holes import Side
from planner.planning.seasons.winters import (
    Played,
    after_work,
    best_of,
    boots_like_before,
    played,
    sets_of,
    share_of_new,
)
from tests.assign.builders import boot, fleet, kit, pair, wish
from tests.assign.shop import real_shop
from tests.bench.winters import bought_each_winter, first_fleet


def test_the_work_of_a_plan_is_on_the_skis_afterwards_and_the_next_plan_finds_it() -> None:
    shop = first_fleet(4, 8)
    sets = sets_of(shop)
    worked = after_work(shop, sets)
    drilled = {each.pair: each.way for each in sets if each.way.drilled}
    assert drilled
    for tag, before in shop.pairs.items():
        holes = sum(len(worked.pairs[tag].skis[side].holes) - len(before.skis[side].holes) for side in Side)
        assert holes == (drilled[tag].drilled if tag in drilled else 0)
        assert worked.pairs[tag].drilled_mounts == before.drilled_mounts + (tag in drilled)
    again = sets_of(worked)
    assert len(again) >= len(sets)
    assert not any(each.way.drilled for each in again)


def test_bindings_change_pairs_and_none_is_made_or_lost() -> None:
    shop = real_shop(2)
    sets = sets_of(shop)
    worked = after_work(shop, sets)
    assert worked.bindings.keys() == shop.bindings.keys()
    on = Counter((b.on_pair, b.on_ski) for b in worked.bindings.values() if b.on_pair)
    assert max(on.values()) == 1
    assert any(each.binding_from != "own" for each in sets)
    for each in sets:
        sorts = {(b.pattern, b.brake_to_plan) for b in worked.bindings_on(each.pair).values()}
        assert sorts == {(each.way.pattern, each.brake_um)}


def test_boots_leave_oldest_first_and_others_of_the_shops_own_soles_come() -> None:
    old = [replace(boot(f"B-{n}", bsl_mm=300 + n % 2), season="2023", model="Aleph") for n in range(4)]
    new = [replace(boot(f"C-{n}", bsl_mm=310), season="2024", model="Bet") for n in range(4)]
    shop = fleet(
        pairs=[pair("K-1")],
        boots=[*old, *new],
        wishes=[wish("W-1")],
        bindings=list(kit(1, "P", None, "K-1")),
        patterns=("P",),
        fits=(("sole", "P"),),
    )
    assert share_of_new(shop) == 0.5
    now = boots_like_before(shop, share=0.5)(shop, random.Random(1), 1)
    assert {tag for tag in shop.boots if now.boots[tag] != shop.boots[tag]} == {b.tag for b in old}
    assert {b.bsl_um for b in now.boots.values()} <= {289_000 + 1000 * n for n in range(33)}
    later = boots_like_before(shop, share=0.5)(now, random.Random(1), 2)
    assert {tag for tag in shop.boots if later.boots[tag] != now.boots[tag]} == {b.tag for b in new}
    with pytest.raises(Refused, match="fewer than two seasons"):
        share_of_new(replace(shop, boots={b.tag: b for b in new}))


def test_the_same_boots_are_bought_whatever_is_planned_and_worths_spare_worn_pairs() -> None:
    both = [played(first_fleet(4, 10), bought_each_winter, w, winters=2, seed=7) for w in (None, (6, 4, 3))]
    assert both[0] == played(first_fleet(4, 10), bought_each_winter, None, winters=2, seed=7)
    assert both[1].worn_out <= both[0].worn_out
    assert {each.worths for each in both} == {None, (6, 4, 3)}


def test_the_best_table_is_the_one_of_most_points_and_none_wins_a_draw() -> None:
    rows = [
        Played(worths=w, served=10, mounts=5, minutes=0, worn_out=n) for w, n in ((None, 1), ((1, 1, 1), 1))
    ]
    assert best_of(rows).worths is None
    assert best_of([*rows, replace(rows[1], worths=(2, 1, 1), worn_out=0)]).worths == (2, 1, 1)
