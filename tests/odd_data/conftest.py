from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.odd_data.front_door import SECOND, WITH_BINDING, FrontDoor, holes_of


@pytest.fixture
def door(tmp_path: Path) -> FrontDoor:
    """An empty folder with the command line in it."""
    return FrontDoor(tmp_path)


@pytest.fixture(scope="session")
def evening(tmp_path_factory: pytest.TempPathFactory) -> FrontDoor:
    """Three pairs with bindings, passed in the morning; K-001 and K-002 are out; the day's copy is made."""
    made = FrontDoor(tmp_path_factory.mktemp("evening"))
    tags = ["K-001", "K-002", "K-003"]
    made.begin(
        Skis=[WITH_BINDING | {"tag": tag} for tag in tags],
        Holes=[hole for tag in tags for hole in holes_of(tag)],
    )
    made("prep", "sign", *tags, "--all", "not-moved", by=SECOND)
    made("out", "K-001", "K-002")
    made("policy", "list")
    return made


@pytest.fixture
def rented(evening: FrontDoor, tmp_path: Path) -> FrontDoor:
    """A copy of that shop, its copy of the day made."""
    shutil.copytree(evening.folder, tmp_path, ignore=shutil.ignore_patterns("*.xlsx"), dirs_exist_ok=True)
    return FrontDoor(tmp_path, evening.now)
