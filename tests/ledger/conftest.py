from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from fleet.ledger.ledger import Ledger
from tests.counter.shop import Shop
from tests.ledger.busy import busy_shop


@pytest.fixture(scope="session")
def template(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Shop]:
    """A busy invented shop, closed; see `tests.ledger.busy`."""
    path = tmp_path_factory.mktemp("busy") / "shop.db"
    shop = busy_shop(path)
    shop.ledger.connection.close()
    return path, shop


@pytest.fixture
def path(template: tuple[Path, Shop], tmp_path: Path) -> Path:
    """A copy of the busy shop's file, nobody holding it."""
    copy = tmp_path / "shop.db"
    shutil.copyfile(template[0], copy)
    copy.chmod(0o600)
    return copy


@pytest.fixture
def shop(template: tuple[Path, Shop], path: Path) -> Iterator[Shop]:
    """The busy shop, open, its clock where it stopped."""
    with Ledger.open(path) as ledger:
        yield Shop(ledger, now=template[1].now)
