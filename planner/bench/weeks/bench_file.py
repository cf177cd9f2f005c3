"""bench.json: a bench plan on disk, times with their zone; its visits can be read back."""

import json
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from fleet.base.errors import BadInput
from planner.bench.weeks.calendar import utc_minute, wall
from planner.bench.weeks.values import Bench, BenchPlan, Job, TimedVisit

BENCH_FILE: Final = "bench.json"


def to_json(bench: Bench, jobs: Sequence[Job], plan: BenchPlan, *, made_at: str) -> dict[str, Any]:
    """Return the content of bench.json."""
    by_number = {job.number: job for job in jobs}
    return {
        "made_at": made_at,
        "zone": bench.zone,
        "from": bench.days[0].day.isoformat(),
        "to": bench.days[-1].day.isoformat(),
        "people": [{"name": p.name, "may_test": p.may_test} for p in bench.people],
        "status": plan.status,
        "how": plan.how,
        "late_weight": {"found": plan.figures.late_weight, "no_plan_below": plan.proof.late_weight},
        "left_weight": {"found": plan.figures.left_weight, "no_plan_below": plan.proof.left_weight},
        "setups": {"found": plan.figures.setups, "no_plan_below": plan.proof.setups},
        "gap_percent": {"late": plan.late_gap_percent, "setups": plan.setups_gap_percent},
        "late": list(plan.late),
        "left_over": list(plan.left_over),
        "moved": list(plan.moved),
        "orders": [
            {
                "order": job.number,
                "pair": job.pair,
                "boot": job.boot,
                "wish": job.wish,
                "due": job.due.isoformat() if job.due else None,
                "weight": job.weight,
            }
            for job in jobs
        ],
        "hours_per_day": hours_per_day(bench, plan),
        "visits": [_visit(bench, by_number[v.job], v) for v in plan.visits],
    }


def hours_per_day(bench: Bench, plan: BenchPlan) -> list[dict[str, Any]]:
    """Return for each open day: open bench minutes, minutes of work, minutes of setting up jigs."""
    rows = []
    for day in bench.days:
        mine = [v for v in plan.visits if day.start <= v.start < day.end]
        setting = sum(v.sets_up for v in mine) * bench.setup_minutes
        work = sum(v.end - v.start for v in mine) - setting
        rows.append(
            {
                "day": day.day.isoformat(),
                "open_minutes": day.minutes(),
                "work_minutes": work,
                "setup_minutes": setting,
            }
        )
    return rows


def _visit(bench: Bench, job: Job, v: TimedVisit) -> dict[str, Any]:
    asked = job.visits[v.visit]
    cured = wall(v.end + asked.cure_minutes, bench.zone).isoformat() if asked.cure_minutes else None
    return {
        "order": v.job,
        "pair": job.pair,
        "visit": v.visit,
        "steps": [{"step": step, "minutes": minutes} for step, minutes in asked.steps],
        "person": bench.people[v.person].name,
        "start": wall(v.start, bench.zone).isoformat(),
        "end": wall(v.end, bench.zone).isoformat(),
        "jig": None if asked.jig is None else f"{asked.jig.kind} no. {(v.jig or 0) + 1}, {asked.jig.setting}",
        "sets_up": v.sets_up,
        "cures_until": cured,
        "cure_of": asked.cure_of if cured else None,
    }


def read_bench_file(folder: Path) -> dict[str, Any]:
    """Return the content of a folder's bench.json. Raises BadInput if there is none, or it is damaged."""
    file = folder / BENCH_FILE if folder.is_dir() else folder
    try:
        data = json.loads(file.read_text(encoding="utf-8"))
        earlier_visits(data)
    except FileNotFoundError as fault:
        raise BadInput(
            f"there is no {BENCH_FILE} in {folder}", cure="make one: mountbook bench plan --out FOLDER"
        ) from fault
    except (OSError, ValueError, KeyError, TypeError) as fault:
        raise BadInput(
            f"{file} cannot be read as a bench plan: {fault}", cure="plan the bench again"
        ) from fault
    return dict(data)


def earlier_visits(data: dict[str, Any]) -> tuple[TimedVisit, ...]:
    """Return the visits of a bench.json, as far as planning again needs them (order, number, times)."""
    return tuple(
        TimedVisit(
            job=str(row["order"]),
            visit=int(row["visit"]),
            person=0,
            start=utc_minute(datetime.fromisoformat(row["start"])),
            end=utc_minute(datetime.fromisoformat(row["end"])),
        )
        for row in data["visits"]
    )
