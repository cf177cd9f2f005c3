"""The worth of mounts at the desk: set as a policy, told by a plan, and played out over winters."""

from __future__ import annotations

from pathlib import Path

from tests.counter.command import Command
from tests.counter.shop import WIM
from tests.orders.bench_shop import BenchShop


def test_worths_are_all_set_or_the_plan_asks_and_then_it_tells_them(
    shop: BenchShop, command: Command, tmp_path: Path
) -> None:
    plan = ("plan", "--out", str(tmp_path / "plan"))
    for name, worth in (("mount_worth_1", "6"), ("mount_worth_2", "4")):
        command("policy", "set", name, worth, "--origin", "played out", "--by", WIM, "--yes")
    assert command(*plan).returncode == 1  # one of the three is not set
    command("policy", "set", "mount_worth_3", "3", "--origin", "played out", "--by", WIM, "--yes")
    told = command(*plan).stdout
    assert "worth of the mounts drilled: 6 points; it came before the holes" in told
    assert "as many none drills mounts of less worth; of those with as little none drills fewer holes" in told


def test_winters_are_played_out_and_nothing_is_entered(shop: BenchShop, command: Command) -> None:
    before = command("audit", "--json").json["head"]
    assert command("mounts-worth", "--winters", "1").returncode == 1  # of boots of no season
    told = command("mounts-worth", "--winters", "1", "--new-boots", "0").stdout
    assert "no table does better than none: leave them unset" in told
    assert "not set" in told
    found = command("mounts-worth", "--winters", "1", "--new-boots", "0", "--json").json
    assert [row["served"] for row in found["played"]] == [1] * 6
    assert found["best"]["worths"] is None
    assert command("audit", "--json").json["head"] == before
