"""The n-th statement fails, the n-th write fails, the disk is full: the ledger is before or after."""

from __future__ import annotations

import os
import resource
import shutil
import signal
import sqlite3
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import UTC, datetime
from pathlib import Path

import pytest

from fleet.audit.full import audit_file
from fleet.base.errors import MountbookError
from fleet.ledger.ledger import Ledger
from tests.anomalies.actions import Action, bench_work, contents, perform, scan, take_in_rows, tell
from tests.anomalies.failing import failing_disk, failing_statement, sqlite_library
from tests.few import first

NOON = datetime(2026, 12, 28, 12, 0, tzinfo=UTC)
Failing = Callable[..., AbstractContextManager[Callable[[], int]]]
ACTIONS: dict[str, Action] = {"import": take_in_rows, "scan": scan, "bench work": bench_work}


def _attempt(path: Path, action: Action) -> bool:
    """Open, act, close; whether it was acknowledged. Any fault must be one sentence."""
    try:
        with Ledger.open(path) as ledger:
            sqlite3.Connection.execute(ledger.connection, "PRAGMA cache_size = 10")  # not to be counted
            perform(ledger, action, "x", now=NOON)
    except MountbookError as fault:
        said = fault.sentence
    else:
        return True
    assert "\n" not in said
    return False


def test_a_commit_waits_for_the_disk_with_the_folder_too(path: Path) -> None:
    with Ledger.open(path) as ledger:
        synced = ledger.connection.execute("PRAGMA synchronous").fetchone()[0]
    assert synced == 3  # EXTRA, by https://www.sqlite.org/pragma.html#pragma_synchronous


def _is_before_or_after(path: Path, before: list[str], *, acknowledged: bool, entries: int) -> str:
    now = contents(path)
    report = audit_file(path, now=NOON)
    assert report.sound, list(report.lines())
    assert report.head is not None
    if now == before:
        assert not acknowledged, "acknowledged and lost"
        return "before"
    assert report.head.seq == entries, "half of it"
    return "after"


def _entries_after(path: Path, action: Action, copy: Path) -> int:
    shutil.copyfile(path, copy)
    with Ledger.open(copy) as ledger:
        return perform(ledger, action, "x", now=NOON)[0]


def _for_every_n(
    path: Path, tmp_path: Path, action: Action, failing: Failing, *, for_good: bool, step: int
) -> dict[str, int]:
    before, entries = contents(path), _entries_after(path, action, tmp_path / "whole.db")
    original = path.read_bytes()
    ended = {"before": 0, "after": 0}
    nth = 1
    while True:
        path.write_bytes(original)
        for leftover in path.parent.glob(f"{path.name}-*"):
            leftover.unlink()
        with failing(nth, for_good=for_good) as count:
            acknowledged = _attempt(path, action)
            reached = count()
        ended[_is_before_or_after(path, before, acknowledged=acknowledged, entries=entries)] += 1
        if reached < nth:
            assert acknowledged, "nothing failed any more, so it must be done"
            return ended
        nth += step


@pytest.mark.parametrize("for_good", first(1, [False, True]), ids=["once", "from then on"])
@pytest.mark.parametrize("name", ["scan", "bench work"])
def test_whichever_statement_fails_the_ledger_is_before_or_after(
    path: Path, tmp_path: Path, name: str, for_good: bool
) -> None:
    ended = _for_every_n(path, tmp_path, ACTIONS[name], failing_statement, for_good=for_good, step=3)
    assert ended["before"] > 10


@pytest.mark.long
@pytest.mark.parametrize("for_good", [False, True], ids=["once", "from then on"])
@pytest.mark.parametrize("name", ACTIONS)
def test_every_single_statement_of_an_import_a_scan_and_bench_work(
    path: Path, tmp_path: Path, name: str, for_good: bool
) -> None:
    ended = _for_every_n(path, tmp_path, ACTIONS[name], failing_statement, for_good=for_good, step=1)
    tell(f"\n{name}: {sum(ended.values())} statements failed one by one, ended {ended}")
    assert ended["before"] > 30


needs_shared_sqlite = pytest.mark.skipif(
    sqlite_library() is None, reason="SQLite is built into this Python: its system calls cannot be reached"
)


@needs_shared_sqlite
@pytest.mark.parametrize("for_good", first(1, [True, False]), ids=["from then on", "once"])
@pytest.mark.parametrize("name", ["scan"])
def test_whichever_write_fails_the_ledger_is_before_or_after(
    path: Path, tmp_path: Path, name: str, for_good: bool
) -> None:
    ended = _for_every_n(path, tmp_path, ACTIONS[name], failing_disk, for_good=for_good, step=1)
    assert ended["before"] > 5


@needs_shared_sqlite
@pytest.mark.long
@pytest.mark.parametrize("for_good", [False, True], ids=["once", "from then on"])
@pytest.mark.parametrize("name", ["import", "bench work"])
def test_every_single_write_of_an_import_and_of_bench_work(
    path: Path, tmp_path: Path, name: str, for_good: bool
) -> None:
    ended = _for_every_n(path, tmp_path, ACTIONS[name], failing_disk, for_good=for_good, step=1)
    tell(f"\n{name}: {sum(ended.values())} writes failed one by one, ended {ended}")
    assert ended["before"] > 20


def test_a_ledger_that_may_grow_no_page_further_is_full_and_says_so(path: Path, tmp_path: Path) -> None:
    """PRAGMA max_page_count: SQLite's own way to be out of space, page by page."""
    before, entries = contents(path), _entries_after(path, take_in_rows, tmp_path / "whole.db")
    pages = (tmp_path / "whole.db").stat().st_size // 4096
    said = set()
    for limit in range(path.stat().st_size // 4096, pages + 1):
        acknowledged = False
        try:
            with Ledger.open(path) as ledger:
                ledger.connection.execute(f"PRAGMA max_page_count = {limit}")
                perform(ledger, take_in_rows, "x", now=NOON)
                acknowledged = True
        except MountbookError as fault:
            said.add(fault.sentence)
        ended = _is_before_or_after(path, before, acknowledged=acknowledged, entries=entries)
        assert ended == ("after" if limit == pages else "before")
    assert said == {f"the disk that holds {path} is full"}


def test_a_file_size_limit_of_the_system_leaves_the_ledger_before_or_after(
    path: Path, tmp_path: Path
) -> None:
    """RLIMIT_FSIZE in a child, from no growth at all to enough, for ledger and journal alike."""
    before, entries = contents(path), _entries_after(path, take_in_rows, tmp_path / "whole.db")
    original, most = path.read_bytes(), (tmp_path / "whole.db").stat().st_size
    ended = {"before": 0, "after": 0}
    for limit in [512, 4096, *range(len(original) - 8192, most + 8192, 8192)]:
        path.write_bytes(original)
        for leftover in path.parent.glob(f"{path.name}-*"):
            leftover.unlink()
        child = os.fork()
        if child == 0:
            code = 2
            try:
                signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
                resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
                code = 0 if _attempt(path, take_in_rows) else 1
            finally:
                os._exit(code)
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        assert code in (0, 1), "a sentence, never a traceback"
        ended[_is_before_or_after(path, before, acknowledged=code == 0, entries=entries)] += 1
    assert ended["before"] > 5
    assert ended["after"] > 0


def test_a_new_ledger_on_a_full_disk_leaves_nothing_behind(tmp_path: Path) -> None:
    child = os.fork()
    if child == 0:
        code = 2
        try:
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))
            try:
                Ledger.create(tmp_path / "new.db", shop="S", zone="UTC", by="x", now=NOON)
            except MountbookError:
                code = 0
        finally:
            os._exit(code)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    assert list(tmp_path.iterdir()) == []
