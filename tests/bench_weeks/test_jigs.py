"""A second person with a pencil: sets each jig as the calendar says and drills; or the sheet says NO JIG.

A jig of a pattern is set to one sole length and laid with its centre on the ski's mark, or so many
millimetres beside it. It drills every piece of the pattern where that sole would have it.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from functools import cache
from math import hypot

from fleet.facts.holes import Side
from fleet.facts.patterns import Pattern
from planner.bench.weeks.bench_file import to_json
from planner.bench.weeks.calendar import open_days
from planner.bench.weeks.jobs import jobs_for, proposed_orders
from planner.bench.weeks.report import day_lines
from planner.bench.weeks.values import Bench, Person
from planner.bench.weeks.weeks import plan_bench
from planner.paper.bench_tables import calendar_table
from planner.plan.values import PlannedSet
from tests.paper.sample_sheets import order_lines, sample

BENCH_ERROR_MM = 0.5
"""The shop's policy bench_error_mm (our default, no source)."""

_JIG = re.compile(r"· (?:SET UP )?jig (.+) no\. \d+, ([\d.]+) mm")
_CENTRE = re.compile(r"jig centre (?:on|([\d.]+) mm toward (TIP|TAIL) of) the mark")


@cache
def calendar() -> tuple[dict[str, str], dict[str, str], int]:
    """(the line of each order's drilling, the same as the workbook has it, how often a jig is set up)."""
    fleet, plan = sample("imported")
    policy = fleet.policy.with_values(cure_wood_glue_hours="12", cure_epoxy_hours="24")
    days = open_days(
        first=date(2025, 10, 13), last=date(2025, 11, 28), zone="Europe/Vienna", hours=[8.0, 8.0]
    )
    bench = Bench(
        people=(Person(name="technician 1"), Person(name="technician 2")),
        days=days,
        zone="Europe/Vienna",
        setup_minutes=6,
    )
    jobs = jobs_for(proposed_orders(fleet, replace(plan, ready_by="2025-11-28")), policy)
    made = plan_bench(bench, jobs, seconds=2)
    assert made.left_over == ()
    tags = {job.pair for job in jobs}
    drills = [line for line in day_lines(to_json(bench, jobs, made, made_at="")) if "drill" in line]
    table = calendar_table(bench, jobs, made)
    heads = [column.title for column in table.columns]
    rows = [dict(zip(heads, row, strict=True)) for row in table.rows if "drill" in str(row)]
    return (
        {next(word for word in line.split() if word in tags): line for line in drills},
        {str(row["pair"]): f"{row['do']} · {row['jig']}" for row in rows},
        made.figures.setups,
    )


def drilled(planned: PlannedSet) -> list[tuple[Side, str, int, float, float]]:
    return [
        (side, hole.piece, hole.number, hole.x_um / 1000, hole.y_um / 1000)
        for side in Side
        for hole in planned.way.skis[side].holes
        if hole.do == "drill"
    ]


def worst_mm(planned: PlannedSet, pattern: Pattern, sole_mm: float, centre_mm: float) -> float:
    """How far the farthest hole lies from its place when this jig drills it."""
    listed = {
        (piece.name.value, number): (
            piece.follows.reference_um(0, round(sole_mm * 1000)) / 1000 + centre_mm + hole.x_um / 1000,
            hole.y_um / 1000,
        )
        for piece in pattern.pieces
        for number, hole in enumerate(piece.holes, start=1)
    }
    return max(
        hypot(x - listed[piece, number][0], y - listed[piece, number][1])
        for _, piece, number, x, y in drilled(planned)
    )


def set_as(line: str, pattern: Pattern) -> tuple[float, float] | None:
    """(sole, centre) that the line says, None where it says NO JIG."""
    jig, centre = _JIG.search(line), _CENTRE.search(line)
    if "NO JIG" in line:
        assert jig is None
        return None
    assert jig is not None, line
    assert centre is not None, line
    assert jig[1] == pattern.name
    off = 0.0 if centre[1] is None else float(centre[1]) * (1 if centre[2] == "TIP" else -1)
    return float(jig[2]), off


def test_a_jig_set_as_the_calendar_says_drills_what_the_order_says_or_it_says_no_jig() -> None:
    fleet, plan = sample("imported")
    lines, rows, _ = calendar()
    kinds = {"jig on the mark": 0, "jig beside the mark": 0, "no jig": 0}
    drilling = [planned for planned in plan.sets if planned.way.drilled]
    assert set(lines) == set(rows) == {planned.pair for planned in drilling}
    for planned in drilling:
        pattern = fleet.patterns[planned.way.pattern]
        sheet = "\n".join(line for page in order_lines("imported")[planned.pair] for line in page)
        told = set_as(lines[planned.pair], pattern)
        if told is None:
            kinds["no jig"] += 1
            assert "NO JIG" in sheet, planned.pair
            assert "NO JIG" in rows[planned.pair], planned.pair
            continue
        kinds["jig beside the mark" if told[1] else "jig on the mark"] += 1
        assert worst_mm(planned, pattern, *told) <= BENCH_ERROR_MM + 1e-9, (planned.pair, told)
        assert "NO JIG" not in sheet, planned.pair
        where = f"{abs(told[1]):.1f} mm toward {'TIP' if told[1] > 0 else 'TAIL'} of" if told[1] else "on"
        words = f"JIG set to {told[0]:.1f} mm, its centre {where} the mark"
        assert words in sheet, planned.pair
        assert f"jig centre {where} the mark" in rows[planned.pair]
        assert f"{told[0]:g} mm" in rows[planned.pair]
    assert kinds["jig on the mark"] > 0
    assert kinds["jig beside the mark"] > 0


def test_k_090_and_k_076_are_not_drilled_by_a_jig_for_their_boots_sole_on_the_mark() -> None:
    """Such a jig would drill K-090's heel 11.5 mm and K-076's 32 mm beside what the order says."""
    fleet, plan = sample("imported")
    for tag, beside in (("K-090", 11.5), ("K-076", 32.0)):
        planned = next(s for s in plan.sets if s.pair == tag)
        pattern = fleet.patterns[planned.way.pattern]
        assert worst_mm(planned, pattern, planned.way.bsl_um / 1000, 0) == beside
        told = set_as(calendar()[0][tag], pattern)
        assert told is None or worst_mm(planned, pattern, *told) <= BENCH_ERROR_MM


def test_where_no_jig_is_used_none_is_set_up() -> None:
    lines, _, setups = calendar()
    assert setups <= sum("NO JIG" not in line for line in lines.values())
    assert sum("SET UP" in line for line in lines.values()) == setups
