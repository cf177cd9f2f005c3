"""What the last sets cost: against trying every plan, and as its user reads it."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from io import BytesIO

import pytest
from pypdf import PdfReader

from fleet.base.errors import Refused
from planner.paper.chart import last_sets_pdf, last_sets_svg
from planner.paper.shapes import READ, Face, width_mm
from planner.plan.objective import Certificate
from planner.plan.plan_words import KNOWN, FrontierPoint, frontier_lines, left_unserved
from planner.planning.assign.linear_program import Deadline
from planner.planning.assign.plan import plan_fleet
from planner.planning.explain import frontier as last_sets
from planner.planning.explain.frontier import frontier, plan_sparing_sets
from planner.planning.judge import judge_plan
from planner.planning.judge.certificate import prover
from tests.assign import brute_force
from tests.assign.shop import real_shop
from tests.assign.test_small_cases import made, random_case
from tests.judge.test_certificate import listed_ways


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
    # what is said to be proved is true of every plan tried; of these cases the judge's sums prove all but one
    assert all(p.least_holes <= p.holes and p.least_minutes <= p.minutes for p in points)
    assert [p.known for p in points if p.known != "proved best"] == ["solver: none better"] * (seed == 0)


@pytest.mark.parametrize("seed", [0, 2, 4, 6, 8, 10, 14])
def test_a_certificate_is_proved_over_every_way_listed_pair_by_pair(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ways come from the exhaustive search here, not from what was handed to the solver."""
    shop, ways, minutes = random_case(seed, most=5)

    def over_listed(fleet, certificate, budget, _):
        return prover(fleet, certificate, budget, listed_ways(shop, ways, certificate))

    plan = made(shop, ways, minutes)
    said = list(frontier(shop, plan, range(len(plan.sets) + 1), ways=ways))
    monkeypatch.setattr(last_sets, "prover", over_listed)
    assert list(frontier(shop, plan, range(len(plan.sets) + 1), ways=ways)) == said


def drilled_for_nothing(certificate: Certificate) -> Certificate:
    """The multipliers of the holes all nought."""
    sets, drilled, minutes = certificate.levels
    nothing = {group: (0,) * len(found) for group, found in drilled.multipliers.items()}
    return replace(certificate, levels=(sets, replace(drilled, multipliers=nothing), minutes))


def minutes_for_nothing(certificate: Certificate) -> Certificate:
    """The multipliers of the minutes all nought."""
    sets, drilled, minutes = certificate.levels
    nothing = {group: (0,) * len(found) for group, found in minutes.multipliers.items()}
    return replace(certificate, levels=(sets, drilled, replace(minutes, multipliers=nothing)))


def without_its_first_pairs(certificate: Certificate) -> Certificate:
    """A certificate of a fleet that lacks the first class of pairs."""
    return replace(certificate, pairs=certificate.pairs[1:])


def of_more_sets(certificate: Certificate) -> Certificate:
    """Multipliers that charge the sets asked for ten times what they do."""
    sets, drilled, minutes = certificate.levels
    more = drilled.multipliers | {"earlier": tuple(10 * w for w in drilled.multipliers["earlier"])}
    return replace(certificate, levels=(sets, replace(drilled, multipliers=more), minutes))


@pytest.mark.parametrize(
    ("spoil", "proved"),
    [
        (drilled_for_nothing, (0, 110)),  # the minutes still are: of plans with no more holes
        (minutes_for_nothing, (16, 0)),
        (without_its_first_pairs, (0, 0)),
        (of_more_sets, (0, 110)),
    ],
)
def test_a_spoilt_certificate_proves_no_more_than_it_still_does(
    spoil: Callable[[Certificate], Certificate], proved: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    shop = real_shop(0)
    plan = plan_fleet(shop, made_at="", ready_by=None, minutes_limit=None)
    (sound,) = frontier(shop, plan, [0])
    assert (sound.holes, sound.least_holes, sound.known) == (16, 16, "proved best")
    real = last_sets.certificate_of
    monkeypatch.setattr(last_sets, "certificate_of", lambda *made: spoil(real(*made)))
    (point,) = frontier(shop, plan, [0])
    assert (point.holes, point.minutes) == (sound.holes, sound.minutes)
    assert (point.least_holes, point.least_minutes) == proved
    assert point.known == "solver: none better"


def test_a_plan_for_many_seasons_has_points_of_its_own_wants() -> None:
    shop = real_shop(0)
    plan = plan_sparing_sets(shop, 0, made_at="", ready_by=None, minutes_limit=None)
    assert plan.wants is not None
    named = tuple(replace(w, wish=f"{w.wish}+01") for w in plan.wants)
    of_seasons = replace(plan, wants=named, sets=tuple(replace(s, wish=f"{s.wish}+01") for s in plan.sets))
    points = [(p.sets, p.holes, p.minutes) for p in frontier(shop, plan)]
    assert [(p.sets, p.holes, p.minutes) for p in frontier(shop, of_seasons)] == points


@pytest.mark.parametrize(
    ("least_holes", "least_minutes", "by_solver", "known", "gap", "at_most"),
    [
        (8, 95, True, "proved best", "none", None),
        (8, 95, False, "proved best", "none", None),
        (6, 95, True, "solver: none better", "2 holes", {"at_most": 2, "unit": "hole"}),
        (8, 94, True, "solver: none better", "1 minute", {"at_most": 1, "unit": "minute"}),
        (7, 0, False, "best found", "1 hole", {"at_most": 1, "unit": "hole"}),
    ],
)
def test_a_point_says_how_it_is_known_and_by_how_much_another_could_be_better(
    least_holes: int,
    least_minutes: int,
    by_solver: bool,
    known: str,
    gap: str,
    at_most: dict[str, object] | None,
) -> None:
    point = FrontierPoint(
        unserved=0,
        sets=3,
        holes=8,
        minutes=95,
        mounts=1,
        least_holes=least_holes,
        least_minutes=least_minutes,
        by_solver=by_solver,
    )
    _, _, line, sentence = frontier_lines([point])
    assert f"  {known} " in line
    assert f"  {gap} " in line
    assert sentence.startswith(f'"{known}": ')
    said = point.to_json()
    assert (said["known"], said["gap"], said["proved"]) == (known, at_most, at_most is None)


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
    assert lines[1].split()[-4:] == ["mounts", "known", "how", "gap"]
    assert lines[2].split()[:3] == [str(len(plan.sets)), "0", str(plan.totals.drilled)]
    assert lines[2].split("  ")[-1] == "#" * 30
    assert lines[2].split()[5:8] == ["proved", "best", "none"]
    assert lines[-1].startswith('"proved best": the certificate')


@pytest.mark.parametrize("asked", range(1, 32, 3))
def test_no_point_is_begun_once_the_limit_of_time_is_over(asked: int) -> None:
    """A clock that goes on by a second whenever it is asked, and a limit of so many seconds."""
    shop, clock = real_shop(0), itertools.count()
    plan = plan_fleet(shop, made_at="", ready_by=None, minutes_limit=None)
    whole = list(frontier(shop, plan))
    points = list(frontier(shop, plan, deadline=Deadline(asked, lambda: next(clock))))
    figures = [(p.sets, p.holes, p.minutes, p.least_holes) for p in whole]
    assert [(p.sets, p.holes, p.minutes, p.least_holes) for p in points] == figures[: len(points)]
    assert next(clock) < asked + 12
    cut = "the limit of time (--seconds) was over before more lines were worked out"
    assert (list(frontier_lines(points))[-1] == cut) is (len(points) < len(whole))
    assert not any(point.cut for point in whole)


def heights_of(sheet: bytes) -> dict[str, float]:
    """The height of each line, by its first word, in points from the foot of the page."""
    at: dict[str, float] = {}

    def visit(text: str, _: object, matrix: list[float], *font: object) -> None:
        if words := text.split():
            at[words[0]] = matrix[5]

    PdfReader(BytesIO(sheet)).pages[0].extract_text(visitor_text=visit)
    return at


def test_the_sheet_and_the_picture_draw_each_point_with_its_figures() -> None:
    points = [
        FrontierPoint(
            unserved=n,
            sets=9 - n,
            holes=40 - 8 * n,
            minutes=321 - 20 * n,
            mounts=5 - n,
            least_holes=40 - 10 * n,
            least_minutes=321,
            by_solver=n < 2,
        )
        for n in range(3)
    ]
    shop, printed_at = real_shop(0), datetime(2026, 2, 1, tzinfo=UTC)
    made = last_sets_pdf(shop, points, printed_at=printed_at, plan_hash="abc")
    (page,) = PdfReader(BytesIO(made)).pages
    for text in (page.extract_text(), last_sets_svg(points)):
        for p in points:
            assert all(str(figure) in text for figure in (p.sets, p.holes, p.minutes, p.mounts))
            assert f"{p.sets} sets" in text
            assert p.known in text
            assert p.gap_text in text
    assert {p.known for p in points} == set(KNOWN)
    assert all(said[:30] in page.extract_text().replace("\n", " ") for said in KNOWN.values())
    assert "PROPOSAL" in page.extract_text()
    for paper in ("A4", "Letter"):  # as many points as there can be, each way of knowing told: above the foot
        many = [replace(points[n % 3], sets=99 - n) for n in range(len(last_sets.SHARES))]
        sheet = last_sets_pdf(shop, many, printed_at=printed_at, plan_hash="abc", paper=paper)
        at = heights_of(sheet)
        assert at["91"] > at["Makers'"] + 12
    written = r'<text x="([\d.]+)" y="([\d.]+)"[^>]*text-anchor="end"[^>]*>([^<]+)<'
    texts = re.findall(written, last_sets_svg(points))
    assert len(texts) == 7 * (1 + len(points))
    for one, other in itertools.pairwise(texts):
        if one[1] == other[1]:  # of one row: the one ends before the other begins
            assert float(one[0]) + 2 <= float(other[0]) - width_mm(other[2], Face.SANS, READ)
