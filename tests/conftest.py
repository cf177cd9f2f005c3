"""For every test: the fixed clock of a test is not said aloud, and what tests start is compiled once."""

from __future__ import annotations

import gc
import os

import pytest

from tests import once

os.environ.setdefault("MOUNTBOOK_NOW_QUIET", "1")
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
gc.disable()  # until all tests are collected: what is read until then stays


LONG_FILES = (
    "tests/odd_data/test_hostile_shop.py",
    "tests/pages/test_in_a_browser.py",
    "tests/demand/test_plan_for_seasons.py",
    "tests/paper/",
    "tests/orders/test_glue.py",
    "tests/pages/",
    "tests/odd_data/",
    "tests/imports/test_new_column.py",
    "tests/demo/",
    "tests/machine/",
    "tests/tablet/",
    "tests/test_house.py",
    "tests/test_readme.py",
)
"""What takes long for a file begins first: else one worker is still at it when the other has nothing left."""


def pytest_configure(config: pytest.Config) -> None:
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False  # it would begin with the files of many tests


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    def turn(item: pytest.Item) -> int:
        found = (at for at, name in enumerate(LONG_FILES) if item.nodeid.startswith(name))
        return next(found, len(LONG_FILES))

    items.sort(key=turn)


@pytest.fixture(scope="session", autouse=True)
def settings_of_a_ledger() -> tuple[str, ...]:
    """Those of the program. The tests do without the sync: they may lose a file to a power cut."""
    from fleet.tables import connection

    of_the_program = connection._PRAGMAS
    connection._PRAGMAS = tuple(each.replace("EXTRA", "OFF") for each in of_the_program)
    os.fsync = lambda handle: None
    return of_the_program


@pytest.fixture(scope="session", autouse=True)
def _shared(tmp_path_factory: pytest.TempPathFactory) -> None:
    if "PYTEST_XDIST_WORKER" in os.environ:
        once.share_in(tmp_path_factory.getbasetemp().parent)


def pytest_collection_finish() -> None:
    """Keep thousands of collected tests out of every later search for garbage."""
    gc.collect()
    gc.freeze()
    gc.enable()
    gc.set_threshold(20_000, 20, 20)
