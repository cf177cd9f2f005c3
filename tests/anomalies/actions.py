"""Actions of several entries each, marked so that half of one can be recognised afterwards."""

from __future__ import annotations

import random
import sqlite3
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from fleet.audit.full import audit_file
from fleet.base.entries import Entry
from fleet.events.settings import ImportApplied
from fleet.facts.holes import Side
from fleet.ledger.desk import Desk
from fleet.ledger.ledger import Ledger
from fleet.ledger.transaction import Transaction
from fleet.rules.counter import take_back, take_out
from fleet.rules.looks import Found, LookKind, record_look
from tests.counter.shop import IDA, ZONE

Action = Callable[[Transaction, str, datetime], None]


def take_in_rows(tx: Transaction, name: str, now: datetime) -> None:
    """An import: 120 boots in one transaction."""
    for number in range(120):
        tx.enter(
            "boot recorded",
            {
                "tag": f"{name}-{number}",
                "model": "Invented boot " * 4,
                "mondopoint_mm": 265,
                "bsl_um": 305_000,
                "bsl_measured": "printed",
                "sole_type": "alpine A",
                "season": "",
                "pin_um": None,
            },
            note="bought with the estate of an old shop" if number % 10 == 0 else "",
        )


def scan(tx: Transaction, name: str, now: datetime) -> None:
    """The counter: P-2 comes back, is looked at, or goes out, by where it is."""
    desk = Desk(tx=tx, by=IDA, now=now, zone=ZONE)
    place = tx.connection.execute("SELECT place FROM standing WHERE tag = 'P-2'").fetchone()[0]
    if place == "out":
        take_back(desk, ["P-2"], said=f"nothing to say {name}")
    elif place == "ready":
        take_out(desk, ["P-2"])
    else:
        found = {side: {"toe": Found.NOT_MOVED, "heel": Found.NOT_MOVED} for side in Side}
        record_look(desk, "P-2", found, kind=LookKind.RECHECK)


def bench_work(tx: Transaction, name: str, now: datetime) -> None:
    """What a work order leaves: holes, an area seen bare, a mount taken off and a new one put on."""
    holes = [
        {
            "hole_id": f"P-3/{side}{name}{number}",
            "side": side,
            "x_um": number * 1000,
            "y_um": 18_000,
            "diameter_um": 3600,
            "depth_um": 9000,
            "state": "screwed",
            "knowledge": "drilled here",
        }
        for side in "AB"
        for number in range(8)
    ]
    tx.enter("mount removed", {"tag": "P-3", "removed_on": "2026-12-27"})
    tx.enter("holes recorded", {"tag": "P-3", "holes": holes}, note="beech core, dry")
    tx.enter(
        "mount recorded",
        {
            "tag": "P-3",
            "pattern": "Lark 4",
            "bsl_um": 315_000,
            "offset_um": -5000,
            "mounted_on": "2026-12-27",
            "removed_on": None,
            "drilled": True,
            "slides": [],
        },
    )


ACTIONS: tuple[Action, ...] = (take_in_rows, scan, bench_work)


def mark(tx: Transaction, edge: str, name: str) -> None:
    """An entry that says where an action begins or ends; no state follows from it."""
    tx.enter(ImportApplied(file=f"{edge} {name}", sha256="0" * 64, left_out=(), counts={}))


def mark_of(entry: Entry) -> tuple[str, str]:
    """``("begin", name)`` or ``("end", name)``; two empty texts for an entry that is no mark."""
    edge, _, name = str(entry.body.get("file", "")).partition(" ")
    return (edge, name) if edge in ("begin", "end") else ("", "")


def perform(ledger: Ledger, action: Action, name: str, *, now: datetime) -> tuple[int, str]:
    """One action between two marks; returns the head it ended at, once it is acknowledged."""
    with ledger.transaction(by=IDA, now=now) as tx:
        mark(tx, "begin", name)
        action(tx, name, now)
        mark(tx, "end", name)
        head = tx.head
    return head.seq, head.hash


def check_whole(path: Path, acknowledged: list[tuple[int, str]], *, now: datetime, since: int) -> int:
    """Assert: audit sound, every acknowledged head there, no half action. Returns the newest entry.

    To be called after the killed process is gone: the first opening recovers from what it left.
    """
    with Ledger.open(path) as ledger:
        for seq, digest in acknowledged:
            row = ledger.connection.execute("SELECT hash FROM entries WHERE seq = ?", (seq,)).fetchone()
            assert row == (digest,), f"the acknowledged entry {seq} is lost"
        running: str | None = None
        for entry in ledger.entries(after=since):
            edge, name = mark_of(entry)
            if edge == "begin":
                assert running is None, f"{running} is half"
                running = name
            elif edge == "end":
                assert running == name, f"{name} has no beginning"
                running = None
            else:
                assert running is not None, f"entry {entry.seq} stands outside of any action"
        assert running is None, f"{running} is half"
        newest = ledger.head.seq
    report = audit_file(path, now=now)
    assert report.sound, list(report.lines())
    return newest


def contents(path: Path) -> list[str]:
    """Every row of the file as text, read by whoever comes next."""
    connection = sqlite3.connect(path)
    try:
        return list(connection.iterdump())
    finally:
        connection.close()


def random_action(rng: random.Random) -> Action:
    """An import a little rarer than the rest: it takes longest."""
    return rng.choices(ACTIONS, weights=(1, 2, 2))[0]


def tell(words: str) -> None:
    """A figure for whoever runs the long tests with -s."""
    sys.stdout.write(f"{words}\n")
