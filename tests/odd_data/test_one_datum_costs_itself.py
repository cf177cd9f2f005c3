"""One odd datum costs itself: plan, sheets and orders of all others come out, and the one is named."""

from __future__ import annotations

import sqlite3

from tests.imports.books import BINDING, BOOT, SKI
from tests.odd_data.front_door import BARE, FrontDoor, holes_of

TRAVEL_ON = SKI | {
    "binding_model": "Travel 5", "brake_mm": 105, "bsl_mm": 310, "mark_offset_mm": 0, "earlier_mounts": 0
}  # fmt: skip
"""A pair whose binding may be slid to another sole; none of its holes is on record."""
BOOTS = [BOOT | {"tag": f"B-{n}", "bsl_mm": 305} for n in range(210, 216)]


def test_a_pair_of_which_neither_waist_nor_holes_are_known_is_planned_and_drawn(door: FrontDoor) -> None:
    blank = dict.fromkeys(("waist_mm", "zone_back_mm", "zone_front_mm", "zone_half_width_mm"))
    door.begin(Skis=[TRAVEL_ON | {"tag": "K-1"} | blank, BARE | {"tag": "K-2"}])
    assert door("plan", "--out", "p", "--html").code == 0
    ways = {s["pair"]: s["way"] for s in door.plan_json()["sets"]}
    assert ways == {"K-1": "adjust", "K-2": "all new"}
    assert "waist not known" in " ".join(door.pages("p/work_orders.pdf"))
    assert door("order", "issue", "p").code == 0
    assert door("hole-map", "K-1", "K-2", "--out", "map.pdf").code == 0


def test_a_pair_with_an_unknown_waist_is_named_with_what_to_measure(door: FrontDoor) -> None:
    door.begin(Skis=[BARE | {"tag": "K-1", "waist_mm": None}, BARE | {"tag": "K-2"}])
    assert door("plan", "--out", "p").code == 0
    plan = door.plan_json()
    assert [s["pair"] for s in plan["sets"]] == ["K-2"]
    [row] = plan["unplanned_pairs"]
    assert row["pair"] == "K-1"
    assert "not known of it, measure this: the waist" in row["reason"]


def test_a_pair_whose_ski_b_is_better_known_than_ski_a_is_planned_and_drawn(door: FrontDoor) -> None:
    door.begin(
        Skis=[TRAVEL_ON | {"tag": "K-1", "ski": "A"}, TRAVEL_ON | {"tag": "K-1", "ski": "B"}],
        Holes=holes_of("K-1", 310, "B"),
    )
    assert door("plan", "--out", "p", "--html").code == 0
    assert [s["pair"] for s in door.plan_json()["sets"]] == ["K-1"]
    [a, b] = door.pages("p/work_orders.pdf")
    assert "WORK ORDER, SKI A" in a
    assert "WORK ORDER, SKI B" in b
    assert door("order", "issue", "p").code == 0


def test_a_lone_binding_of_a_sort_is_no_pair_of_bindings_and_stops_no_plan(door: FrontDoor) -> None:
    """One of two put right: from now on an odd count of both sorts lies in stock."""
    door.begin(Bindings=[BINDING | {"quantity": 2}], Skis=[BARE | {"tag": f"K-{n}"} for n in range(3)])
    with sqlite3.connect(door.folder / "mountbook.db") as ledger:
        [one] = ledger.execute("SELECT min(binding_id) FROM binding").fetchone()
    assert door("correct", one, "brake_mm=110", "--why", "read it again").code == 0
    assert door("plan", "--out", "p").code == 0
    assert len(door.plan_json()["sets"]) == 1, "three bindings of the other sort are one pair, and one over"
    assert door("order", "issue", "p").code == 0
