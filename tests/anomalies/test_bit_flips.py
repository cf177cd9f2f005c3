"""Single flipped bits and cut-off files: refused or named, or harmless; never a crash, never a repair."""

from __future__ import annotations

import random
import sqlite3
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

import pytest

from fleet.audit.full import audit_file
from fleet.base.errors import LedgerFault
from fleet.ledger.ledger import Ledger
from tests.anomalies.actions import tell
from tests.few import first

NOON = datetime(2026, 12, 28, 12, 0, tzinfo=UTC)


def _look_at(path: Path) -> str:
    """``refused`` at opening, ``named`` by the audit, or ``quiet``; anything else is a crash."""
    faults: list[LedgerFault] = []
    try:
        with Ledger.open(path) as ledger:
            ledger.head  # noqa: B018 - the first thing any command reads
    except LedgerFault as fault:
        faults.append(fault)
    sound = False
    try:
        sound = audit_file(path, now=NOON).sound
    except LedgerFault as fault:
        faults.append(fault)
    assert all("\n" not in fault.sentence and fault.cure for fault in faults)
    return "refused" if faults else "quiet" if sound else "named"


def _contents(path: Path) -> list[object]:
    connection = sqlite3.connect(f"{path.as_uri()}?immutable=1", uri=True)
    try:
        marks = [
            connection.execute(f"PRAGMA {name}").fetchone() for name in ("application_id", "user_version")
        ]
        return [*marks, *connection.iterdump()]
    finally:
        connection.close()


def _spoil_many(path: Path, *, flips: int, cuts: int, seed: int) -> Counter[str]:
    original, contents = path.read_bytes(), _contents(path)
    rng = random.Random(seed)
    ended: Counter[str] = Counter()
    for number in range(flips + cuts):
        raw = bytearray(original)
        if number < flips:
            place, bit = rng.randrange(len(raw)), rng.randrange(8)
            raw[place] ^= 1 << bit
            what = f"bit {bit} of byte {place}"
        else:
            del raw[rng.randrange(len(raw)) :]
            what = f"cut to {len(raw)} bytes"
        path.write_bytes(raw)
        answer = _look_at(path)
        assert path.read_bytes() == raw, f"{what}: repaired or changed without a word"
        if answer == "quiet":
            assert number < flips, f"{what}: nobody noticed"
            assert _contents(path) == contents, f"{what}: changed what is told, and nobody noticed"
            answer = "harmless"
        ended[answer] += 1
    return ended


def test_sixty_flips_and_twenty_cuts_are_refused_named_or_harmless(path: Path) -> None:
    ended = _spoil_many(path, flips=60, cuts=20, seed=2026)
    assert ended["refused"] + ended["named"] > 20


@pytest.mark.long
def test_a_thousand_flips_and_cuts_are_refused_named_or_harmless(path: Path) -> None:
    size = path.stat().st_size
    ended = _spoil_many(path, flips=800, cuts=200, seed=1)
    tell(f"\n800 bit flips and 200 cuts over a ledger of {size} bytes: {dict(ended)}")
    assert sum(ended.values()) == 1000
    assert ended["harmless"] < 700


@pytest.mark.parametrize("place", first(25, sorted(range(100), key=lambda place: place % 4)))
def test_every_byte_of_the_files_head_may_be_hit(path: Path, place: int) -> None:
    """The first hundred bytes steer how SQLite reads all others."""
    original, contents = path.read_bytes(), _contents(path)
    for bit in (0, 7):
        raw = bytearray(original)
        raw[place] ^= 1 << bit
        path.write_bytes(raw)
        if _look_at(path) == "quiet":
            assert _contents(path) == contents
        assert path.read_bytes() == raw
