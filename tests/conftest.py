"""For every test: the fixed clock of a test is not said aloud, and what tests start is compiled once."""

from __future__ import annotations

import gc
import os
import sys
import tempfile
from contextlib import suppress
from functools import cache
from importlib import import_module
from pathlib import Path

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


@pytest.hookimpl(tryfirst=True)
def pytest_collection(session: pytest.Session) -> None:
    """Compile, with what its asserts show, each worker its share of the test files: all read all of them."""
    worker, workers = os.environ.get("PYTEST_XDIST_WORKER", ""), os.environ.get("PYTEST_XDIST_WORKER_COUNT")
    if not workers:
        return
    sys.dont_write_bytecode = False
    asked = [Path(each.partition("::")[0]).resolve() for each in session.config.args]
    files = sorted(file for each in asked for file in each.rglob("test_*.py"))
    for file in files[int(worker.removeprefix("gw")) :: int(workers)]:
        with suppress(Exception):  # what cannot be read is said when it is collected
            import_module(".".join(file.relative_to(session.config.rootpath).with_suffix("").parts))


def pytest_configure(config: pytest.Config) -> None:
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False  # it would begin with the files of many tests


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    @cache
    def turn(file: str) -> int:
        found = (at for at, name in enumerate(LONG_FILES) if file.startswith(name))
        return next(found, len(LONG_FILES))

    items.sort(key=lambda item: turn(item.nodeid.partition("::")[0]))


@pytest.fixture(scope="session", autouse=True)
def settings_of_a_ledger() -> tuple[str, ...]:
    """Those of the program. The tests do without the sync: they may lose a file to a power cut."""
    from fleet.tables import connection

    of_the_program = connection._PRAGMAS
    connection._PRAGMAS = tuple(each.replace("EXTRA", "OFF") for each in of_the_program)
    os.fsync = lambda handle: None
    return of_the_program


@pytest.fixture(scope="session", autouse=True)
def _looked_at_once(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Each ledger that is opened asks whether another program copies a folder above it: what lies above the
    tests' own folders is looked at once, since thousands of tests fill it.
    """
    from fleet.audit import surroundings

    base, look = tmp_path_factory.getbasetemp().resolve(), surroundings._is_synced
    known = {folder: look(folder) for folder in (base, *base.parents)}
    surroundings._is_synced = lambda folder: known[folder] if folder in known else look(folder)


@pytest.fixture(scope="session", autouse=True)
def _left_where_pytest_cleans_up(tmp_path_factory: pytest.TempPathFactory) -> None:
    """What the program and what it starts leave among temporary files and in the user's settings."""
    tempfile.tempdir = os.environ["TMPDIR"] = str(tmp_path_factory.mktemp("left"))
    os.environ["XDG_CONFIG_HOME"] = str(tmp_path_factory.mktemp("settings"))


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
