"""The ledger as it grows: open, scan, import, audit, history, beside plain SQLite in the same run.

    python -m tests.bench.ledger_growth [ENTRIES ...]        (default: 20000 100000)

The reference is the same number of rows of the same width written by a bare ``INSERT`` in one
transaction, and a bare one-row commit, on the same disk with the same settings. Targets (issue of the
ledger's hardening): open under 50 ms at 100,000 entries; a scan under 0.3 s at 600,000; 20,000 rows in
one transaction within seconds.
"""

from __future__ import annotations

import contextlib
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path
from statistics import median

from fleet.audit.full import audit_file, audit_since
from fleet.ledger.desk import Desk
from fleet.ledger.history import pair_history
from fleet.ledger.ledger import Ledger
from fleet.ledger.transaction import Transaction
from fleet.rules.counter import take_back, take_out
from tests.bench.rows import row
from tests.counter.shop import IDA, MORNING, ZONE, Shop

PAIRS = 300
DAY_OF_ENTRIES = 5_000


def main(sizes: list[int]) -> None:
    print(f"{'entries':>9} {'what':<44} {'time':>10}  {'against plain SQLite':>20}")
    for size in sizes:
        with tempfile.TemporaryDirectory() as folder:
            measure(Path(folder), size)


def measure(folder: Path, size: int) -> None:
    path = folder / "shop.db"
    with contextlib.closing(fill(path, size).connection):
        pass
    now = MORNING + timedelta(days=400)
    commit = median(timed(lambda: one_commit(folder / "plain.db")) for _ in range(15))
    show(size, "one plain commit (the reference)", commit, None)

    show(size, "open, with the quick look", median(timed(lambda: opened(path)) for _ in range(15)), commit)
    show(size, "a scan: open, out, commit, close", median(scans(path, now, 15)), commit)

    rows = [boot(f"N-{number}") for number in range(20_000)]
    plain = timed(lambda: plain_rows(folder / "rows.db", 20_000))
    with Ledger.open(path) as ledger:
        took = timed(lambda: import_rows(ledger, rows, now))
    show(size, "an import of 20,000 rows in one transaction", took, plain)

    read = timed(lambda: read_all(path))
    show(size, "reading every entry's row, plain", read, None)
    audited, morrow = path.with_name("shop.db.audited"), now + timedelta(days=1)
    show(size, "the full audit", timed(lambda: audit_file(path, now=morrow, checkpoint=audited)), read)
    with Ledger.open(path) as ledger, ledger.transaction(by=IDA, now=now) as tx:
        for number in range(DAY_OF_ENTRIES // 3):
            hire(tx, f"P-{5 + number % (PAIRS - 5)}", now)
    day = timed(lambda: audit_since(path, now=morrow, checkpoint=audited))
    show(size, f"the audit of a day of {DAY_OF_ENTRIES:,} entries", day, read)
    with Ledger.open(path) as ledger:
        show(size, "a pair and its history, today", timed(lambda: pair_history(ledger, "P-7")), read)
        half = date(2027, 6, 1)
        show(
            size,
            "the same as of a day half way",
            timed(lambda: pair_history(ledger, "P-7", as_of=half)),
            read,
        )


def show(size: int, what: str, seconds: float, reference: float | None) -> None:
    ratio = f"{seconds / reference:.1f} x" if reference else ""
    print(f"{size:>9,} {what:<44} {seconds * 1000:>7.1f} ms  {ratio:>20}", flush=True)
    if reference:
        row(
            f"{size:,} entries: {what}", f"{seconds * 1000:.1f} ms", f"plain {reference * 1000:.1f} ms", ratio
        )


def timed(action: Callable[[], object]) -> float:
    started = time.perf_counter()
    action()
    return time.perf_counter() - started


def fill(path: Path, size: int) -> Ledger:
    """A shop of 300 pairs hired out and taken back until the ledger holds so many entries."""
    shop = Shop.new(path)
    shop.ledger.connection.execute("PRAGMA synchronous = OFF")
    shop.furnish()
    shop.enter("staff listed", {"name": IDA, "role": "head technician", "valid_until": "2029-05-31"})
    for number in range(5, PAIRS):
        shop.pair(f"P-{number}")
    seq, day = shop.ledger.head.seq, 0
    while seq < size:
        day += 1
        start = MORNING + timedelta(minutes=(400 * 24 * 60 * seq) // size)
        with shop.ledger.transaction(by=IDA, now=start) as tx:
            for number in range(5, PAIRS):
                seq = hire(tx, f"P-{number}", start)
    return shop.ledger


def hire(tx: Transaction, tag: str, now: datetime) -> int:
    """Out, back and a look, straight into the ledger: what two days of one pair leave behind."""
    tx.enter("pair out", {"tag": tag, "boot": None, "due": None, "fit": "fit not checked"})
    tx.enter("pair back", {"tag": tag, "said": False}, note="a little wet")
    return tx.enter(
        "pair looked at",
        {
            "tag": tag,
            "kind": "recheck",
            "found": {
                "A": {"toe": "not moved", "heel": "not moved"},
                "B": {"toe": "not moved", "heel": "not moved"},
            },
            "moved": [],
            "outcome": "pass",
            "cause": "",
            "pattern": "Lark 4",
            "mount_entry": 0,
            "list": None,
        },
        stated_at=now + timedelta(seconds=1),
    )


def opened(path: Path) -> None:
    with Ledger.open(path):
        pass


def scans(path: Path, now: datetime, times: int) -> list[float]:
    """Out and back in turn, each a command of its own: open, rules, entry, commit, close."""
    with Ledger.open(path) as ledger, ledger.transaction(by=IDA, now=now) as tx:
        hire(tx, "P-9", now)
    took = []
    for number in range(times):
        moment = now + timedelta(minutes=2 * number + 2)
        took.append(timed(lambda moment=moment: scan(path, "P-9", moment)))
        with Ledger.open(path) as ledger, ledger.transaction(by=IDA, now=moment) as tx:
            desk = Desk(tx=tx, by=IDA, now=moment + timedelta(seconds=1), zone=ZONE)
            take_back(desk, ["P-9"])
            hire_look(tx, "P-9", moment + timedelta(seconds=2))
    return took


def hire_look(tx: Transaction, tag: str, moment: datetime) -> None:
    body = {"tag": tag, "kind": "recheck", "found": {}, "moved": [], "outcome": "pass", "cause": ""}
    tx.enter("pair looked at", body | {"pattern": "Lark 4", "mount_entry": 0, "list": None}, stated_at=moment)


def scan(path: Path, tag: str, moment: datetime) -> None:
    with Ledger.open(path) as ledger, ledger.transaction(by=IDA, now=moment) as tx:
        take_out(Desk(tx=tx, by=IDA, now=moment, zone=ledger.zone), [tag])


def boot(tag: str) -> dict[str, object]:
    return {
        "tag": tag,
        "model": "Invented boot",
        "mondopoint_mm": 265,
        "bsl_um": 305_000,
        "bsl_measured": "printed",
        "sole_type": "alpine A",
        "season": "",
        "pin_um": None,
    }


def import_rows(ledger: Ledger, rows: list[dict[str, object]], now: datetime) -> None:
    with ledger.transaction(by=IDA, now=now) as tx:
        for row in rows:
            tx.enter("boot recorded", row)


def read_all(path: Path) -> int:
    with contextlib.closing(sqlite3.connect(path)) as connection:
        return sum(len(row[6]) for row in connection.execute("SELECT * FROM entries"))


def one_commit(path: Path) -> None:
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA synchronous = EXTRA")
        connection.execute("CREATE TABLE IF NOT EXISTS t (a INTEGER PRIMARY KEY, b TEXT)")
        connection.execute("INSERT INTO t (b) VALUES (?)", ("x" * 500,))


def plain_rows(path: Path, rows: int) -> None:
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA synchronous = EXTRA")
        connection.execute("CREATE TABLE t (a INTEGER PRIMARY KEY, b TEXT)")
        connection.execute("BEGIN IMMEDIATE")
        connection.executemany("INSERT INTO t (b) VALUES (?)", (("x" * 500,) for _ in range(rows)))
        connection.execute("COMMIT")


if __name__ == "__main__":
    main([int(text) for text in sys.argv[1:]] or [20_000, 100_000])
