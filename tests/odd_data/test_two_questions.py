"""Two questions, two commands: why, and what if; each of a pair and its boots, or of a plan. Neither, nor the
bench weeks, is stopped by one odd datum.
"""

from __future__ import annotations

from datetime import date

import pytest

import planner.bench.weeks.jobs as jobs
import planner.planning.assign.classes as classes
from tests.odd_data.front_door import MANAGER, FrontDoor
from tests.odd_data.test_one_datum_costs_itself import unlucky


@pytest.fixture
def planned(door: FrontDoor) -> FrontDoor:
    door.begin()
    assert door("plan", "--out", "p").code == 0
    return door


def test_why_of_a_boot_and_why_of_a_plan_are_one_command(planned: FrontDoor) -> None:
    assert planned("why", "K-001", "B-210", "--json").json["possible"] is True
    boot = planned.plan_json()["sets"][0]["boot"]
    of_plan = planned("why", "K-001", "p")
    assert of_plan.code == 0
    assert boot in of_plan.out
    assert planned("why", boot, "p").out == of_plan.out
    assert planned("why", "K-001", "p/plan.json").out == of_plan.out


def test_what_if_of_the_fleet_and_of_a_plan_are_one_command(planned: FrontDoor) -> None:
    assert "positions" in planned("whatif", "--spacing", "12").out
    of_plan = planned("whatif", "p", "--leave-out", "K-001")
    assert of_plan.code == 0
    assert "K-001" in of_plan.out


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (("argue", "K-001", "p"), ("why", "K-001", "p")),
        (("suppose", "p", "--leave-out", "K-001"), ("whatif", "p", "--leave-out", "K-001")),
    ],
)
def test_an_old_name_works_says_its_new_one_and_stands_on_no_page(
    planned: FrontDoor, old: tuple[str, ...], new: tuple[str, ...]
) -> None:
    said = planned(*old)
    assert (said.code, said.out) == (0, planned(*new).out)
    assert f"note: mountbook {old[0]} is called mountbook {new[0]} now" in said.err
    assert planned(*old, "--json").json == planned(*new, "--json").json
    assert f"  {old[0]} " not in planned("--help").out


@pytest.mark.parametrize(
    ("typed", "refused"),
    [
        (
            ("why", "K-001", "p", "--pattern", "T4/H4"),
            "--pattern is asked of a pair and a boot, not of a plan",
        ),
        (("why", "K-001", "nowhere/plan"), "there is no plan.json in nowhere/plan"),
        (("why", "K-001", "B-21"), "there is no boot B-21 in the ledger"),
        (("whatif", "p", "--kind", "alpine"), "--kind is asked of the fleet, not of a plan"),
        (("whatif", "--leave-out", "K-001"), "--leave-out is asked of a plan"),
        (("whatif", "p"), "nothing is supposed"),
    ],
)
def test_what_belongs_to_the_other_question_is_said(
    planned: FrontDoor, typed: tuple[str, ...], refused: str
) -> None:
    said = planned(*typed, "--json")
    assert said.code == 1
    assert said.json["refused"].startswith(refused)


@pytest.mark.parametrize("typed", [("why", "K-001", "p"), ("whatif", "p", "--leave-out", "K-003")])
def test_one_odd_pair_is_set_aside_and_named(
    planned: FrontDoor, monkeypatch: pytest.MonkeyPatch, typed: tuple[str, ...]
) -> None:
    monkeypatch.setattr(classes, "frame_of", unlucky(classes.frame_of, "K-002"))
    said = planned(*typed, may_fault=True)
    assert said.code == 1
    assert "SET ASIDE: pair K-002: a fault of the program itself (KeyError: ('toe', 1))" in said.err
    assert typed[1 if typed[0] == "why" else -1] in said.out


def test_one_odd_order_is_left_out_of_the_bench_weeks_and_named(
    planned: FrontDoor, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = jobs.open_order

    def broken(connection: object, fleet: object, order: object) -> jobs.Order:
        if getattr(order, "tag", "") == "K-002":
            raise KeyError("toe", 1)
        return real(connection, fleet, order)  # type: ignore[arg-type]

    assert planned("order", "issue", "p").code == 0
    for name in ("wood_glue", "epoxy"):
        planned(
            "policy", "set", f"cure_{name}_hours", "12", "--origin", "invented sheet", "--yes", by=MANAGER
        )
    weeks = ("bench", "plan", "--from", str(date(2026, 11, 26)), "--to", str(date(2026, 12, 4)), "--out", "b")
    assert planned(*weeks).code == 0
    monkeypatch.setattr(jobs, "open_order", broken)
    said = planned(*weeks, "--json", may_fault=True)
    assert said.code == 1
    assert "NOT PLANNED: work order WO-2611-0002 A: a fault of the program itself (KeyError" in said.err
    assert {visit["order"] for visit in said.json["visits"]} == {"WO-2611-0001", "WO-2611-0003"}
    assert [row["name"] for row in said.json["not_planned"]] == ["WO-2611-0002 A"]


def test_a_cure_that_nobody_set_is_still_one_refusal_for_all(planned: FrontDoor) -> None:
    """No order is to blame for a rule of the shop."""
    planned("order", "issue", "p")
    weeks = ("bench", "plan", "--from", "2026-11-26", "--to", "2026-12-04", "--out", "b", "--json")
    refused = planned(*weeks)
    assert refused.code == 1
    assert "nobody has said how long the wood glue cures" in refused.json["refused"]
