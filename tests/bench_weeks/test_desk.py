"""From open work orders to bench.json: refusals in words, cures from policy, progress, planning again."""

from __future__ import annotations

import itertools
import json
import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import openpyxl
import pytest

from fleet.base.errors import BadInput, Refused
from fleet.ledger.ledger import Ledger
from planner.bench.weeks.bench_file import read_bench_file
from planner.bench.weeks.progress import progress_of
from planner.cli.bench_desk import Wanted, order_states, plan_and_write
from tests.orders.bench_shop import BenchShop
from tests.orders.conftest import benched  # noqa: F401 (a fixture)

NOW = datetime(2026, 12, 28, 6, 0, tzinfo=UTC)
WEEKS = Wanted(first="2026-12-28", last="2027-01-05", due="2026-12-31")


@pytest.fixture
def shop(benched: tuple[Path, BenchShop], tmp_path: Path) -> Iterator[BenchShop]:  # noqa: F811
    """The shop of the order tests with one order open, cures as their invented data sheets say."""
    path = tmp_path / "bench.db"
    shutil.copyfile(benched[0], path)
    with Ledger.open(path) as ledger:
        yield BenchShop(ledger, now=benched[1].now)


def set_cures(shop: BenchShop) -> None:
    for name, hours in (("cure_wood_glue_hours", "12"), ("cure_epoxy_hours", "24")):
        body = {"name": name, "value": hours, "unit": "hours", "origin": "sheet Q-12", "since": "2026-11-01"}
        shop.enter("policy set", body)


def test_an_unset_cure_is_refused_with_the_cure_to_set_it(shop: BenchShop, tmp_path: Path) -> None:
    shop.issue()
    with pytest.raises(Refused, match="nobody has said how long the wood glue cures") as fault:
        plan_and_write(shop.ledger.connection, WEEKS, tmp_path / "out", now=NOW)
    assert "set it from the data sheet: mountbook policy set cure_wood_glue_hours" in fault.value.cure
    assert not (tmp_path / "out").exists()


def test_one_technician_cannot_give_the_second_check(shop: BenchShop, tmp_path: Path) -> None:
    wanted = Wanted(first="2026-12-28", last="2027-01-05", technicians=1)
    with pytest.raises(Refused, match="one technician cannot give the second check"):
        plan_and_write(shop.ledger.connection, wanted, tmp_path / "out", now=NOW)


def test_an_open_order_becomes_visits_with_its_cures(shop: BenchShop, tmp_path: Path) -> None:
    set_cures(shop)
    shop.issue()
    made = plan_and_write(shop.ledger.connection, WEEKS, tmp_path / "out", now=NOW)
    assert made.data["status"] == "proved best"
    assert made.data["late"] == []
    on_disk = json.loads((tmp_path / "out/bench.json").read_text(encoding="utf-8"))
    assert on_disk == made.data
    visits = on_disk["visits"]
    assert {visit["order"] for visit in visits} == {"WO-2612-0001"}
    words = [step["step"] for visit in visits for step in visit["steps"]]
    assert words[0] == "take off, confirm old holes"
    assert words[-2] == "second check"
    assert words[-1] == "record the release test, if it has one"
    for before, after in itertools.pairwise(visits):
        if before["cures_until"]:
            assert datetime.fromisoformat(after["start"]) >= datetime.fromisoformat(before["cures_until"])
    assert visits[-1]["person"] != visits[-2]["person"]
    assert visits[0]["start"].endswith("+01:00")


def test_the_workbook_has_calendar_hours_with_a_chart_and_parts(shop: BenchShop, tmp_path: Path) -> None:
    set_cures(shop)
    shop.issue()
    plan_and_write(shop.ledger.connection, WEEKS, tmp_path / "out", now=NOW)
    book = openpyxl.load_workbook(tmp_path / "out/bench.xlsx")
    assert book.sheetnames == ["Bench calendar", "Bench hours", "Parts and tools", "Shopping list"]
    assert len(book["Bench hours"]._charts) == 1
    assert book["Bench calendar"]["E4"].value == "WO-2612-0001"


def test_progress_tells_done_behind_and_late(shop: BenchShop, tmp_path: Path) -> None:
    set_cures(shop)
    shop.issue()
    plan_and_write(shop.ledger.connection, WEEKS, tmp_path / "out", now=NOW)
    data = read_bench_file(tmp_path / "out")
    states = order_states(shop.ledger.connection)
    number = ("WO-2612-0001",)
    assert progress_of(data, states, now=NOW).to_come == number
    later = progress_of(data, states, now=NOW + timedelta(days=7))
    assert (later.behind, later.late) == (number, number)
    assert progress_of(data, {number[0]: "done"}, now=NOW + timedelta(days=7)).done == number


def test_planning_again_keeps_the_days_and_begins_from_now(shop: BenchShop, tmp_path: Path) -> None:
    set_cures(shop)
    shop.issue()
    plan_and_write(shop.ledger.connection, WEEKS, tmp_path / "out", now=NOW)
    again = plan_and_write(shop.ledger.connection, WEEKS, tmp_path / "out", now=NOW + timedelta(hours=4))
    assert again.data["moved"] == []
    first = datetime.fromisoformat(again.data["visits"][0]["start"])
    assert first > NOW + timedelta(hours=4)


def test_days_gone_by_are_named_and_an_order_due_on_one_is_late_whatever_is_done(
    shop: BenchShop, tmp_path: Path
) -> None:
    """On the first of the days and before it nothing is gone by, on the last half of one is."""
    set_cures(shop)
    shop.issue()
    due = replace(WEEKS, due="2026-12-29")
    on_time = plan_and_write(shop.ledger.connection, due, tmp_path / "a", now=NOW)
    assert not any("gone by" in line for line in on_time.lines)
    later = plan_and_write(shop.ledger.connection, due, tmp_path / "b", now=NOW + timedelta(days=2))
    assert "2026-12-28 to 2026-12-29 are gone by: nothing is planned on them" in later.lines
    number = later.data["late"][0]
    assert f"  due on a day gone by, so late whatever is done: 1: {number}" in later.lines
    with pytest.raises(
        BadInput, match="Mon 28 Dec 2026 to Tue 5 Jan 2027 are gone by: today is Wed 6 Jan 2027"
    ) as fault:
        plan_and_write(shop.ledger.connection, due, tmp_path / "c", now=NOW + timedelta(days=9))
    assert "--from" in fault.value.cure


def test_a_begun_order_goes_on_where_it_stands_and_its_cure_counts_from_now(
    shop: BenchShop, tmp_path: Path
) -> None:
    set_cures(shop)
    shop.issue()
    whole = plan_and_write(shop.ledger.connection, WEEKS, tmp_path / "a", now=NOW)
    begun = Wanted(first=WEEKS.first, last=WEEKS.last, begun=("WO-2612-0001=1",))
    rest = plan_and_write(shop.ledger.connection, begun, tmp_path / "b", now=NOW)
    assert len(rest.data["visits"]) == len(whole.data["visits"]) - 1
    first = datetime.fromisoformat(rest.data["visits"][0]["start"])
    assert first >= NOW + timedelta(hours=12)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"hours": "8,8,8"}, "do not agree"),
        ({"hours": "eight"}, "are no hours"),
        ({"opens": "25:00"}, "is not a time of day"),
        ({"pause": "12:30-12:00"}, "is no pause"),
        ({"closed_weekdays": "Funday"}, "is no weekday"),
        ({"first": "next week"}, "is not a day"),
        ({"jig": ("Lark 4",)}, "does not say a name and a number"),
        ({"begun": ("WO-1=1",)}, "is no open order"),
        ({"last": "2026-12-01"}, "before they begin"),
    ],
)
def test_what_the_command_cannot_mean_is_one_sentence(
    shop: BenchShop, tmp_path: Path, change: dict[str, object], sentence: str
) -> None:
    wanted = Wanted(**({"first": "2026-12-28", "last": "2027-01-05"} | change))  # type: ignore[arg-type]
    with pytest.raises(BadInput, match=sentence):
        plan_and_write(shop.ledger.connection, wanted, tmp_path / "out", now=NOW)


def test_a_damaged_bench_file_is_said_to_be_one(tmp_path: Path) -> None:
    (tmp_path / "bench.json").write_text('{"visits": [{}]}', encoding="utf-8")
    with pytest.raises(BadInput, match="cannot be read as a bench plan"):
        read_bench_file(tmp_path)


def test_the_commands_plan_show_and_follow_the_bench(
    shop: BenchShop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from typer.testing import CliRunner

    from planner.cli.main import app

    set_cures(shop)
    shop.issue()
    monkeypatch.setenv("MOUNTBOOK_NOW", NOW.isoformat())
    ledger, out = ["--ledger", str(shop.ledger.path)], str(tmp_path / "out")
    days = ["--from", "2026-12-28", "--to", "2027-01-05", "--due", "2026-12-31", "--out", out]
    planned = CliRunner().invoke(app, [*ledger, "bench", "plan", *days])
    assert planned.exit_code == 0
    assert "1 of 1 orders planned, proved best\nlate: none\n" in planned.stdout
    shown = CliRunner().invoke(app, [*ledger, "bench", "show", out])
    assert "WO-2612-0001" in shown.stdout
    assert "cures until" in shown.stdout
    assert CliRunner().invoke(app, [*ledger, "bench", "progress", out]).exit_code == 0
    monkeypatch.setenv("MOUNTBOOK_NOW", (NOW + timedelta(days=7)).isoformat())
    behind = CliRunner().invoke(app, [*ledger, "bench", "progress", out])
    assert behind.exit_code == 1
    assert "behind: 1: WO-2612-0001" in behind.stdout
