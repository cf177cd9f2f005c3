"""Which glue is in the holes is what the bench says, and a screw in wood is never entered without it."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from fleet.base.errors import MountbookError
from fleet.facts.holes import HoleState, Side
from fleet.facts.standing import read_standing
from fleet.ledger.people import set_policy
from planner.bench.orders.close import done
from planner.bench.weeks.jobs import jobs_for, proposed_orders
from planner.paper.tablet_page.page import order_article
from planner.plan.values import Rung, screws_in_wood
from tests.counter.command import Command
from tests.counter.shop import JORY, SANNE, WIM
from tests.orders.bench_shop import BenchShop
from tests.paper.sample_sheets import order_lines, sample, sheets

ORDER = "WO-2612-0001"


def issue_for(shop: BenchShop, bsl_mm: int) -> Rung:
    """The one order of the shop for a boot of that sole: 305 was mounted before."""
    if bsl_mm != 317:
        shop.enter("boot changed", {"tag": "B-317", "changes": {"bsl_um": [317_000, bsl_mm * 1000]}})
    plan = shop.plan()
    shop.issue(plan)
    shop.first_visit()
    return plan.sets[0].way.rung


def reused_order(shop: BenchShop) -> None:
    """An order that drives every screw into an old hole: K-2 is flat and was drilled for that sole."""
    shop.enter("pair changed", {"tag": "K-1", "changes": {"length_mm": [1700, 2000]}})
    shop.boot("B-305", 305, "alpine A")
    shop.drilled_pair("K-2", on=False)
    shop.stock("ST-1")
    plan = shop.plan()
    assert [(s.pair, s.way.rung) for s in plan.sets] == [("K-2", Rung.SAME_HOLES)]
    shop.issue(plan)
    shop.first_visit()


def finish(shop: BenchShop, glue: str | None) -> tuple[str, ...]:
    with shop.desk(JORY) as desk:
        closed = done(desk, ORDER, measured={}, glue=glue)
    return read_standing(shop.ledger.connection, closed.order.tag).glued_with


@pytest.mark.parametrize("said", [None, "", "  "])
def test_an_order_that_drills_is_not_done_before_somebody_says_which_glue(
    shop: BenchShop, said: str | None
) -> None:
    issue_for(shop, 317)
    before = shop.dump()
    with pytest.raises(MountbookError, match="nobody said which glue") as fault:
        finish(shop, said)
    assert "--glue" in str(fault.value.cure)
    assert "none" in str(fault.value.cure)
    assert shop.dump() == before


def test_an_order_into_old_holes_asks_for_the_glue_too_and_enters_what_is_said(shop: BenchShop) -> None:
    reused_order(shop)
    with pytest.raises(MountbookError, match="16 screws go into wood, and nobody said which glue"):
        finish(shop, None)
    assert finish(shop, "epoxy") == ("epoxy",)


@pytest.mark.parametrize(
    ("said", "entered"),
    [
        ("wood_glue", ("wood_glue",)),
        ("Wood glue", ("wood_glue",)),
        ("none", ()),
        ("no glue", ()),
    ],
)
def test_what_is_entered_is_what_the_bench_says(shop: BenchShop, said: str, entered: tuple[str, ...]) -> None:
    reused_order(shop)
    assert finish(shop, said) == entered


def test_the_filler_of_a_plug_is_entered_by_the_first_visit_and_not_again_with_the_glue(
    shop: BenchShop,
) -> None:
    assert issue_for(shop, 317) is Rung.PART_REUSED
    assert read_standing(shop.ledger.connection, "K-1").glued_with == ("epoxy",)
    assert finish(shop, "none") == ()


def test_no_glue_starts_no_cure(shop: BenchShop) -> None:
    with shop.desk(WIM) as desk:
        set_policy(desk, "cure_wood_glue_hours", "12", origin="invented sheet")
    reused_order(shop)
    finish(shop, "none")
    shop.look("K-2", by=SANNE)
    shop.out("K-2", boot="B-305")


def test_an_order_that_drives_no_screw_asks_for_no_glue_enters_none_and_takes_none(shop: BenchShop) -> None:
    assert issue_for(shop, 310) is Rung.ADJUST
    with pytest.raises(MountbookError, match="drives no screw into wood"):
        finish(shop, "wood_glue")
    assert finish(shop, None) == ()


def test_none_is_a_true_answer_for_an_order_that_drives_no_screw(shop: BenchShop) -> None:
    assert issue_for(shop, 310) is Rung.ADJUST
    assert finish(shop, "none") == ()


def test_an_insert_is_not_entered_where_nobody_has_said_what_holds_it(shop: BenchShop) -> None:
    """What is about it cures, and a cure of nobody knows what is not over."""
    reused_order(shop)
    with shop.desk(WIM) as desk:
        set_policy(desk, "insert_adhesive", "", origin="left open")
    before = shop.dump()
    with (
        shop.desk(JORY) as desk,
        pytest.raises(MountbookError, match="nobody has said what inserts are glued in with") as fault,
    ):
        done(desk, ORDER, measured={}, glue="none", inserts={(Side.A, "toe", 1): 6_000})
    assert "mountbook policy set insert_adhesive" in str(fault.value.cure)
    assert shop.dump() == before


def test_a_glue_that_nobody_knows_is_not_entered(shop: BenchShop) -> None:
    issue_for(shop, 317)
    with pytest.raises(MountbookError, match="'wod_glue' is no glue of this shop") as fault:
        finish(shop, "wod glue")
    assert "epoxy, wood_glue" in str(fault.value.cure)
    with shop.desk(WIM) as desk:
        set_policy(desk, "cure_wod_glue_hours", "6", origin="invented sheet")
    assert "wod_glue" in finish(shop, "wod glue")


def test_a_screw_in_an_insert_takes_no_glue() -> None:
    """Of a pair with all reused holes: every insert fewer is a screw in wood more."""
    fleet, plan = sample("imported")
    planned = next(s for s in plan.sets if s.way.rung is Rung.SAME_HOLES)
    pair = fleet.pairs[planned.pair]

    def with_inserts(count: int):
        left = [hole.hole_id for side in Side for hole in planned.way.skis[side].holes][:count]
        return replace(
            pair,
            skis={
                side: replace(
                    ski,
                    holes=tuple(
                        replace(h, state=HoleState.INSERT) if h.hole_id in left else h for h in ski.holes
                    ),
                )
                for side, ski in pair.skis.items()
            },
        )

    screws = sum(len(planned.way.skis[side].holes) for side in Side)
    assert screws_in_wood(pair, planned) == screws
    assert screws_in_wood(with_inserts(3), planned) == screws - 3
    assert screws_in_wood(with_inserts(screws), planned) == 0
    bench = replace(fleet, pairs={**fleet.pairs, pair.tag: with_inserts(screws)})
    orders = [o for o in proposed_orders(bench, plan) if o.planned.pair == pair.tag]
    policy = bench.policy.with_values(cure_wood_glue_hours="12", cure_epoxy_hours="24")
    [job] = jobs_for(orders, policy)
    assert [visit.cure_of for visit in job.visits] == [""] * len(job.visits)
    assert "glue" not in " ".join(visit.name for visit in job.visits)


def test_every_order_with_a_screw_in_wood_says_glue_and_has_a_box_for_it_and_no_other_does() -> None:
    fleet, plan = sample("imported")
    planned = {s.pair: s for s in plan.sets}
    reused_only = 0
    for sheet in sheets("imported"):
        tag = sheet.pair.tag
        driven = screws_in_wood(fleet.pairs[tag], planned[tag]) > 0
        reused_only += driven and not planned[tag].way.drilled
        for lines in order_lines("imported")[tag]:
            glued = [line for line in lines if line.startswith("Glue, then ALL screws in")]
            assert len(glued) == driven, tag
            assert ("glue used:" in lines) == driven, tag
        page = order_article(sheet)
        assert bool(re.search(r"Glue, then ALL screws in", page)) == driven, tag
    assert reused_only == 39


def test_the_command_takes_the_glue_and_refuses_without_it_where_nobody_can_be_asked(
    shop: BenchShop, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    reused_order(shop)
    command = Command(Path(shop.ledger.path), monkeypatch, capsys)
    refused = command("order", "done", ORDER, "--by", JORY, "--json")
    assert refused.returncode == 1
    assert "nobody said which glue" in refused.json["refused"]
    answer = command("order", "done", ORDER, "--by", JORY, "--glue", "wood_glue", "--json").json
    assert answer["glue"] == ["wood_glue"]


def test_on_a_terminal_the_command_asks(
    shop: BenchShop, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from planner.cli import session

    reused_order(shop)
    questions: list[str] = []

    def asked(question: str) -> str:
        questions.append(question)
        return "epoxy"

    monkeypatch.setattr(session, "may_ask", lambda: True)
    monkeypatch.setattr(session, "asked", asked)
    command = Command(Path(shop.ledger.path), monkeypatch, capsys)
    assert command("order", "done", ORDER, "--by", JORY, "--json").json["glue"] == ["epoxy"]
    [question] = questions
    assert "Which glue" in question
