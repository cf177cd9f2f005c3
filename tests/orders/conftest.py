from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from fleet.facts.patterns import pattern_to_body
from fleet.ledger.ledger import Ledger
from fleet.ledger.people import set_policy
from tests.counter.command import Command
from tests.counter.shop import STAFF, WIM, lark
from tests.orders.bench_shop import BenchShop


@pytest.fixture(scope="session")
def benched(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, BenchShop]:
    """Staff, pattern, fit, a boot with a 317 mm sole, and K-1 drilled for 305 with its binding on."""
    path = tmp_path_factory.mktemp("template") / "bench.db"
    made = BenchShop.new(path)
    for name, role, until in STAFF:
        made.enter("staff listed", {"name": name, "role": role, "valid_until": until})
    made.enter("pattern recorded", pattern_to_body(lark()))
    made.enter(
        "fit declared",
        {"sole_type": "alpine A", "pattern": "Lark 4", "binding_sheet": "L-1", "boot_sheet": "S-1"},
    )
    with made.desk(WIM, minutes=0) as desk:
        set_policy(desk, "cure_epoxy_hours", "0.5", origin="invented sheet of a quick filler")
    made.boot("B-317", 317, "alpine A")
    made.drilled_pair("K-1")
    made.want("W-1")
    made.ledger.connection.close()
    return path, made


@pytest.fixture
def shop(benched: tuple[Path, BenchShop], tmp_path: Path) -> Iterator[BenchShop]:
    """A copy of that shop."""
    path = tmp_path / "bench.db"
    shutil.copyfile(benched[0], path)
    with Ledger.open(path) as ledger:
        yield BenchShop(ledger, now=benched[1].now)


@pytest.fixture
def command(
    shop: BenchShop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Command:
    """The command line on that shop's ledger, from six in the evening."""
    return Command(tmp_path / "bench.db", monkeypatch, capsys)
