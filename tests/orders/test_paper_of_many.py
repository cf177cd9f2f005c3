"""Paper of many things: what is refused is named, and the others are printed."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.counter.command import Command
from tests.counter.shop import NELL
from tests.orders.bench_shop import BenchShop, write_plan_json

ORDER = "WO-2612-0001 A"


@pytest.fixture
def paper(shop: BenchShop, command: Command, tmp_path: Path) -> Command:
    plan = shop.plan()
    write_plan_json(tmp_path / "plan", plan)
    shop.issue(plan)
    shop.drilled_pair("K-2")
    command("hold", "K-2", "--why", "edge", "--by", NELL)
    return command


@pytest.mark.parametrize(
    ("typed", "wrong"),
    [
        (("hold-tag", "K-2"), "K-1"),
        (("labels", "K-2"), "K-99"),
        (("prep", "print", "K-2"), "K-99"),
        (("hole-map", "K-2"), "K-99"),
        (("template", ORDER), "WO-2612-0099"),
        (("template", "K-1", "--plan", "plan"), "K-2"),
        (("order", "print", ORDER), "WO-2612-0099"),
    ],
)
def test_one_name_that_cannot_be_printed_stops_no_other(
    paper: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, typed: tuple[str, ...], wrong: str
) -> None:
    monkeypatch.chdir(tmp_path)
    assert paper(*typed, "--out", "well.pdf").returncode == 0
    said = paper(*typed, wrong, "--out", "some.pdf", "--json")
    assert said.returncode == 1
    assert "refused" not in said.json
    assert Path("some.pdf").read_bytes().startswith(b"%PDF")
    [row] = said.json["not_printed"]
    assert row["name"] == wrong
