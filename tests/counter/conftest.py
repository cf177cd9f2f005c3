from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from fleet.ledger.ledger import Ledger
from tests.counter.command import Command
from tests.counter.shop import Shop


@pytest.fixture(scope="session")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Shop]:
    """The furnished shop, closed; P-1 to P-4 and T-1 passed by Ida in the season prep."""
    path = tmp_path_factory.mktemp("template") / "shop.db"
    made = Shop.new(path)
    made.furnish()
    made.ready("P-1", "P-2", "P-3", "P-4", "T-1")
    made.ledger.connection.close()
    return path, made


@pytest.fixture
def shop(furnished: tuple[Path, Shop], tmp_path: Path) -> Iterator[Shop]:
    """A copy of the furnished shop, its clock where that one stopped."""
    path = tmp_path / "shop.db"
    shutil.copyfile(furnished[0], path)
    with Ledger.open(path) as ledger:
        yield Shop(ledger, now=furnished[1].now)


@pytest.fixture
def command(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Command:
    shop.ledger.connection.close()
    return Command(tmp_path / "shop.db", monkeypatch, capsys)
