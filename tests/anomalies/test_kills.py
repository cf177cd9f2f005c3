"""kill -9 at random moments: nothing acknowledged is lost, nothing is half, the audit is clean."""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from fleet.audit.full import audit_file
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_fleet
from tests.anomalies.actions import check_whole, perform, random_action, tell
from tests.counter.shop import Shop

ROOT = Path(__file__).parents[2]
NOON = datetime(2026, 12, 28, 12, 0, tzinfo=UTC)


def _work_until_killed(path: Path, pipe: int, seed: int, now: datetime) -> None:
    """A child: one action after another, each told to the pipe only when it is committed."""
    rng = random.Random(seed)
    with Ledger.open(path) as ledger:
        ledger.connection.execute("PRAGMA cache_size = 10")  # writes into the file early, so kills hurt
        for number in range(10_000):
            moment = now + timedelta(milliseconds=number)
            seq, digest = perform(ledger, random_action(rng), f"{seed}.{number}", now=moment)
            os.write(pipe, f"{seq} {digest}\n".encode())


def _kill_once(path: Path, *, seed: int, now: datetime) -> tuple[list[tuple[int, str]], bool]:
    """Start a worker, kill it at a random moment; what it had acknowledged, and whether it left a journal."""
    read_end, write_end = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(read_end)
            _work_until_killed(path, write_end, seed, now)
        finally:
            os._exit(1)
    os.close(write_end)
    time.sleep(random.Random(seed).uniform(0.005, 0.25))
    os.kill(child, signal.SIGKILL)
    status = os.waitpid(child, 0)[1]
    assert os.WIFSIGNALED(status), "the worker must not end by itself"
    with os.fdopen(read_end, encoding="ascii") as told:
        lines = [line.split() for line in told if line.endswith("\n")]
    journal = path.with_name(path.name + "-journal")
    return [(int(seq), digest) for seq, digest in lines], journal.exists() and journal.stat().st_size > 0


def _kill_many(path: Path, template: tuple[Path, Shop], times: int) -> tuple[int, int, int]:
    shutil.copyfile(template[0], path)
    with Ledger.open(path) as ledger:
        start = since = ledger.head.seq
    acknowledged, hot, now = 0, 0, NOON
    for seed in range(times):
        now += timedelta(seconds=30)
        told, journal_left = _kill_once(path, seed=seed, now=now)
        hot += journal_left
        acknowledged += len(told)
        newest = check_whole(path, told, now=now, since=since)
        since = newest
        if newest - start > 4000:  # keep the file small, so that the audit stays quick
            shutil.copyfile(template[0], path)
            since = start
    return times, acknowledged, hot


def test_a_dozen_kills_lose_nothing(template: tuple[Path, Shop], tmp_path: Path) -> None:
    _, acknowledged, _ = _kill_many(tmp_path / "shop.db", template, 12)
    assert acknowledged > 0


@pytest.mark.long
def test_two_hundred_kills_lose_nothing(template: tuple[Path, Shop], tmp_path: Path) -> None:
    kills, acknowledged, hot = _kill_many(tmp_path / "shop.db", template, 200)
    tell(f"\n{kills} kills, {acknowledged} acknowledged actions, 0 lost, 0 half; {hot} left a hot journal")
    assert acknowledged > 100
    assert hot > 20, "kills in the middle of a commit, or the test shows little"


# The same with the real commands, on the sample fleet.


@dataclass(frozen=True, slots=True, kw_only=True)
class Workshop:
    """A folder with ledger and plan, a pair that may go out, and an open work order."""

    folder: Path
    pair: str
    order: str


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Workshop:
    """The sample fleet imported, planned and issued by the commands themselves."""
    folder = tmp_path_factory.mktemp("workshop")
    for args in (
        [
            "import",
            str(ROOT / "sample_fleet" / "fleet.xlsx"),
            "--apply",
            "--by",
            "Ada Quell",
            "--zone",
            "Europe/Vienna",
        ],
        ["staff", "add", "Ada Quell", "--role", "manager", "--until", "2030-12-31", "--by", "Wim Tarrowby"],
        [
            "staff",
            "add",
            "Bo Tern",
            "--role",
            "head technician",
            "--until",
            "2030-12-31",
            "--by",
            "Ada Quell",
        ],
        ["plan", "--out", "plan"],
        ["order", "issue", "plan", "--by", "Bo Tern"],
    ):
        result = _run(folder, args, clock="08:00")
        assert result.returncode == 0, result.stderr.decode()
    pair, order = _ready_pair_and_order(folder)
    return Workshop(folder=folder, pair=pair, order=order)


def _command(args: list[str]) -> list[str]:
    return [sys.executable, "-m", "planner.cli.main", *args]


def _environment(folder: Path, clock: str = "11:50") -> dict[str, str]:
    return os.environ | {
        "MOUNTBOOK_LEDGER": str(folder / "mountbook.db"),
        "MOUNTBOOK_NOW": f"2026-12-28T{clock}:00+00:00",
        "PYTHONPATH": str(ROOT),
    }


def _run(folder: Path, args: list[str], *, clock: str = "11:50") -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        _command(args),
        cwd=folder,
        env=_environment(folder, clock),
        capture_output=True,
        check=False,
        timeout=600,
    )


@pytest.mark.long
@pytest.mark.parametrize("what", ["import", "plan", "done", "out"])
def test_a_real_command_killed_at_any_moment_was_or_was_not(
    workshop: Workshop, tmp_path: Path, what: str
) -> None:
    args = {
        "import": ["import", str(_more_boots(tmp_path)), "--apply", "--by", "Bo Tern"],
        "plan": ["plan", "--out", "plan"],
        "done": ["order", "done", workshop.order, "--glue", "none", "--by", "Bo Tern"],
        "out": ["out", workshop.pair, *_own_boot(workshop), "--by", "Bo Tern"],
    }[what]
    whole = tmp_path / "whole"
    shutil.copytree(workshop.folder, whole)
    before = audit_file(whole / "mountbook.db", now=NOON).head
    started = time.monotonic()
    result = _run(whole, args)
    took = time.monotonic() - started
    assert result.returncode == 0, (result.stdout + result.stderr).decode()[-2000:]
    after = audit_file(whole / "mountbook.db", now=NOON).head
    assert before is not None
    assert after is not None
    assert (after.seq == before.seq) == (what == "plan")
    rng = random.Random(what)
    ended = {before.seq: 0, after.seq: 0}
    for number in range(15):
        folder = tmp_path / f"kill-{number}"
        shutil.copytree(workshop.folder, folder)
        process = subprocess.Popen(
            _command(args),
            cwd=folder,
            env=_environment(folder),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        time.sleep(rng.uniform(took * 0.3, took * 1.02))
        process.kill()
        process.wait()
        report = audit_file(folder / "mountbook.db", now=NOON)
        assert report.sound, list(report.lines())
        assert report.head is not None
        assert report.head.seq in ended, f"half of {what}: {report.head.seq} of {before.seq} to {after.seq}"
        ended[report.head.seq] += 1
        json.loads((folder / "plan" / "plan.json").read_text(encoding="utf-8"))
        shutil.rmtree(folder)
    tell(f"\n{what}: 15 kills within {took:.1f} s, ended at {ended}")


def _ready_pair_and_order(folder: Path) -> tuple[str, str]:
    """A pair given its first pass, so that it can go out, and the first open work order."""
    with Ledger.open(folder / "mountbook.db") as ledger:
        order = ledger.connection.execute(
            "SELECT number || ' ' || revision FROM work_order WHERE state = 'open' AND way <> 'as it is'"
            " ORDER BY number LIMIT 1"
        ).fetchone()[0]
        tag = ledger.connection.execute(
            "SELECT tag FROM standing WHERE place IN ('back', 'ready') AND tag NOT IN"
            " (SELECT tag FROM work_order WHERE state = 'open') AND tag IN (SELECT on_pair FROM binding)"
            " ORDER BY tag LIMIT 1"
        ).fetchone()[0]
    result = _run(folder, ["prep", "sign", tag, "--all", "not-moved", "--by", "Bo Tern"], clock="09:00")
    assert result.returncode == 0, result.stderr.decode()
    return str(tag), str(order)


def _own_boot(workshop: Workshop) -> list[str]:
    """A customer's own boot, for which the binding is set at the counter."""
    with Ledger.open(workshop.folder / "mountbook.db") as ledger:
        fleet = read_fleet(ledger.connection)
    mount = fleet.pairs[workshop.pair].current_mount
    assert mount is not None
    sole_type = next(fit.sole_type for fit in fleet.fits if fit.pattern == mount.pattern)
    return ["--own-boot", f"{mount.stands_for_um / 1000:g}", "--sole-type", sole_type, "--set"]


def _more_boots(tmp_path: Path) -> Path:
    file = tmp_path / "boots.csv"
    rows = [f"N-{number},Invented boot,26.5,305,printed,alpine A" for number in range(400)]
    file.write_text(
        "\n".join(["tag,model,mondopoint,bsl_mm,bsl_measured,sole_type", *rows]), encoding="utf-8"
    )
    return file
