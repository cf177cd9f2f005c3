"""What the last sets cost: against trying every plan, and as its user reads it."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime
from io import BytesIO

import pytest
from pypdf import PdfReader

from fleet.base.errors import Refused
from planner.paper.ink import READ
from planner.paper.last_sets_sheet import last_sets_pdf, last_sets_svg
from planner.paper.shapes import Face
from planner.paper.typeface import width_mm
from planner.plan.last_sets import FrontierPoint, frontier_lines, left_unserved
from planner.planning.explain.frontier import frontier, plan_sparing_sets
from planner.planning.judge import judge_plan
from tests.assign import brute_force
from tests.assign.shop import real_shop
from tests.assign.test_small_cases import made, random_case


@pytest.mark.parametrize("seed", [0, 2, 4, 8, 10, 14, 16])
def test_each_point_is_the_least_that_trying_every_plan_of_so_many_sets_finds(seed: int) -> None:
    shop, ways, minutes = random_case(seed, most=5)
    plan = made(shop, ways, minutes)
    served = Counter(each.wish for each in plan.sets)
    least: dict[int, list[int]] = {}

    class Search(brute_force._Search):
        def _compare(self, chosen) -> None:
            if any(n > served[w] for w, n in Counter(row[0] for row in chosen).items()):
                return
            self.best = None
            super()._compare(chosen)
            if self.best is not None:
                found = self.best[0][-4:-2]
                least[len(chosen)] = min(found, least.get(len(chosen), found))

    Search(shop, list(brute_force._rows(shop, ways)), minutes, None).run(0, [])
    unserved = range(len(plan.sets) + 1)
    points = list(frontier(shop, plan, unserved, ways=ways))
    assert [[p.holes, p.minutes] for p in points] == [least[len(plan.sets) - n] for n in unserved]
    assert [p.sets for p in points] == [len(plan.sets) - n for n in unserved]
    assert (points[0].holes, points[0].minutes) == (plan.totals.drilled, plan.totals.minutes)
    assert all(sum(p.wants.values()) == p.sets for p in points)


def test_the_plan_without_its_dearest_sets_is_judged_and_costs_what_the_point_says() -> None:
    shop = real_shop(0)
    common = {"made_at": "", "ready_by": None, "minutes_limit": None}
    whole = plan_sparing_sets(shop, 0, **common)
    plan = plan_sparing_sets(shop, 2, **common)
    (point,) = frontier(shop, whole, [2])
    assert (len(plan.sets), plan.totals.drilled, plan.totals.minutes) == (
        len(whole.sets) - 2,
        point.holes,
        point.minutes,
    )
    assert plan.totals.drilled < whole.totals.drilled
    assert plan.status == "proved best"
    assert judge_plan(shop, plan) == ()
    assert sum(left_unserved(shop, plan).values()) == sum(w.quantity for w in shop.wishes) - len(plan.sets)
    with pytest.raises(Refused, match="only"):
        plan_sparing_sets(shop, len(whole.sets) + 1, **common)


def test_the_lines_show_fewer_sets_with_fewer_holes() -> None:
    shop = real_shop(0)
    plan = plan_sparing_sets(shop, 0, made_at="", ready_by=None, minutes_limit=None)
    lines = list(frontier_lines(list(frontier(shop, plan))))
    assert lines[1].split() == ["sets", "unserved", "holes", "minutes", "drilled", "mounts", "known", "how"]
    assert lines[2].split()[:3] == [str(len(plan.sets)), "0", str(plan.totals.drilled)]
    assert lines[2].endswith("solver: none better  " + "#" * 30)


def test_the_sheet_and_the_picture_draw_each_point_with_its_figures() -> None:
    points = [
        FrontierPoint(unserved=n, sets=9 - n, holes=40 - 8 * n, minutes=321 - 20 * n, mounts=5 - n, wants={})
        for n in range(3)
    ]
    points[2] = replace(points[2], proved=False)
    made = last_sets_pdf(real_shop(0), points, printed_at=datetime(2026, 2, 1, tzinfo=UTC), plan_hash="abc")
    (page,) = PdfReader(BytesIO(made)).pages
    for text in (page.extract_text(), last_sets_svg(points)):
        for p in points:
            assert all(str(figure) in text for figure in (p.sets, p.holes, p.minutes, p.mounts))
            assert f"{p.sets} sets" in text
        assert text.count("solver: none better") >= 2
        assert "best found" in text
    assert "PROPOSAL" in page.extract_text()
    written = r'<text x="([\d.]+)" y="([\d.]+)"[^>]*text-anchor="end"[^>]*>([^<]+)<'
    texts = re.findall(written, last_sets_svg(points))
    assert len(texts) == 6 * (1 + len(points))
    for one, other in itertools.pairwise(texts):
        if one[1] == other[1]:  # of one row: the one ends before the other begins
            assert float(one[0]) + 2 <= float(other[0]) - width_mm(other[2], Face.SANS, READ)
