"""The counter's shop with a bench: pairs with surveyed holes, bindings in stock, and sets wanted."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

from fleet.facts.holes import Side
from fleet.tables.snapshot import Fleet, read_fleet
from planner.bench.orders.book import find_order
from planner.bench.orders.close import plugged
from planner.bench.orders.issue import Issued, issue
from planner.plan.plan_file import plan_from_json, plan_hash, plan_text
from planner.plan.values import Plan
from tests.counter.shop import IDA, JORY, Shop, binding_body, lark


class BenchShop(Shop):
    """A shop whose pairs can be planned."""

    def drilled_pair(self, tag: str, *, bsl_mm: int = 305, on: bool = True, plugged: bool = False) -> None:
        """A pair seen bare, with the holes of one Lark 4 mount; ``on``: the binding is still on it."""
        self.pair(tag, mounted=False)
        state = "screwed" if on else "plugged" if plugged else "open"
        with self.desk(IDA, minutes=0) as desk:
            for side in Side:
                area = {"from_um": -300_000, "to_um": 300_000, "how": "bare", "on": "2026-10-01"}
                desk.enter("area inspected", {"tag": tag, "side": side.value} | area)
            desk.enter("holes recorded", {"tag": tag, "holes": old_holes(tag, bsl_mm, state)})
            mount = {
                "tag": tag,
                "pattern": "Lark 4",
                "bsl_um": bsl_mm * 1000,
                "offset_um": 0,
                "mounted_on": "2025-10-01",
                "removed_on": None if on else "2026-04-20",
                "drilled": True,
                "slides": [],
            }
            desk.enter("mount recorded", mount)
            if on:
                for side in Side:
                    desk.enter("binding recorded", binding_body(f"{tag}/{side}", on_pair=tag, on_ski=side))

    def stock(self, name: str, *, pattern: str = "Lark 4") -> None:
        with self.desk(IDA, minutes=0) as desk:
            for number in (1, 2):
                desk.enter("binding recorded", binding_body(f"{name}/{number}", pattern=pattern))

    def want(self, wish: str, *, quantity: int = 1) -> None:
        self.enter(
            "wish recorded",
            {
                "wish": wish,
                "kind": "alpine",
                "length_min_mm": 1600,
                "length_max_mm": 1800,
                "mondopoint_min_mm": 260,
                "mondopoint_max_mm": 270,
                "quantity": quantity,
                "priority": 1,
            },
        )

    def fleet(self) -> Fleet:
        return read_fleet(self.ledger.connection)

    def plan(self) -> Plan:
        from planner.planning.assign.plan import plan_fleet

        made = plan_fleet(self.fleet(), made_at="2026-12-27T07:00:00.000Z", ready_by=None, minutes_limit=None)
        return plan_from_json(json.loads(plan_text(made)))

    def issue(self, plan: Plan | None = None, *, by: str = IDA) -> Issued:
        chosen = plan or self.plan()
        with self.desk(by) as desk:
            return issue(desk, chosen, plan_hash=plan_hash(chosen))

    def first_visit(self, order: str = "WO-2612-0001", *, by: str = JORY) -> None:
        """Old holes plugged and the filler cured (half an hour here), where the order plugs any."""
        if find_order(self.ledger.connection, order).planned.way.plugged:
            with self.desk(by) as desk:
                plugged(desk, order)
            self.tick(minutes=30)

    def issue_for(self, ready_by: str) -> Issued:
        """The same plan for another day: every sheet says something new."""
        return self.issue(replace(self.plan(), ready_by=ready_by))


def old_holes(tag: str, bsl_mm: int, state: str) -> list[dict[str, Any]]:
    """The holes of one Lark 4 mount with the boot centre on the mark, measured here, on both skis."""
    rows = []
    for side in Side:
        number = 0
        for piece in lark().pieces:
            end = piece.follows.reference_um(0, bsl_mm * 1000)
            for hole in piece.holes:
                number += 1
                rows.append(
                    {
                        "hole_id": f"{tag}/{side}{number}",
                        "side": side.value,
                        "x_um": end + hole.x_um,
                        "y_um": hole.y_um,
                        "diameter_um": 3600,
                        "depth_um": 9000,
                        "state": state,
                        "knowledge": "measured here",
                    }
                )
    return rows


def write_plan_json(folder: Path, plan: Plan) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "plan.json").write_text(plan_text(plan), encoding="utf-8")
