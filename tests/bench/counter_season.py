"""A season of a big shop at the counter: today's list and one scan, against plain SQLite on the same file.

Run: python -m tests.bench.counter_season [PAIRS] [ENTRIES] [BACK]
The ledger is made through the ledger's own door (every entry derived), once, in the temporary folder.
"""

from __future__ import annotations

import contextlib
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from fleet.audit.checkpoint import checkpoint_of
from fleet.audit.full import AuditReport, audit_file, audit_since
from fleet.ledger.desk import Desk
from fleet.ledger.ledger import Ledger
from fleet.rules.counter import take_back, take_out
from fleet.rules.recheck import recheck_list
from tests.bench.rows import row
from tests.bench.season_ledger import boot_tag, pair_tag, season_ledger
from tests.counter.shop import NELL, ZONE


def best_of(times: int, act: Callable[[], object]) -> float:
    seconds = []
    for _ in range(times):
        begun = time.perf_counter()
        act()
        seconds.append(time.perf_counter() - begun)
    return min(seconds)


def ms(seconds: float) -> str:
    return f"{seconds * 1000:.1f} ms"


def times(ours: float, reference: float) -> str:
    return f"{ours / reference:.1f} x"


def main() -> None:
    pairs, entries, back = (
        int(text) for text in (sys.argv[1:] + ["5000", "600000", "118"][len(sys.argv) - 1 :])[:3]
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "season.db"
        now = datetime.now(UTC)
        season_ledger(path, pairs, entries, back, now=now)
        with Ledger.open(path) as ledger:
            count = ledger.head.seq
        opening = best_of(3, lambda: Ledger.open(path).connection.close())
        print(f"{'open':<24}{opening * 1000:8.1f} ms")
        with Ledger.open(path) as ledger:
            connection = ledger.connection
            plain = best_of(3, lambda: connection.execute("SELECT * FROM standing").fetchall())
            listed = best_of(3, lambda: recheck_list(connection, today=now.date()))
            rows = len(recheck_list(connection, today=now.date()).rows)
            print(f"{'reading every standing':<24}{plain * 1000:8.1f} ms   (reference)")
            print(f"{f'list of {rows}':<24}{listed * 1000:8.1f} ms   {listed / plain:6.1f} x that")
            clock = [now]

            def scan(act: Callable[[Desk, int], object], number: int) -> None:
                clock[0] += timedelta(seconds=3)
                with ledger.transaction(by=NELL, now=clock[0]) as tx:
                    act(Desk(tx=tx, by=NELL, now=clock[0], zone=ZONE), number)

            def out(desk: Desk, number: int) -> None:
                take_out(desk, [pair_tag(number)], boot=boot_tag(number))

            def came_back(desk: Desk, number: int) -> None:
                take_back(desk, [pair_tag(number)])

            def note() -> None:
                clock[0] += timedelta(seconds=3)
                with ledger.transaction(by=NELL, now=clock[0]) as tx:
                    tx.enter("staff listed", {"name": "X", "role": "counter", "valid_until": "2027-05-31"})

            bare = best_of(5, note)
            number = iter(range(back, pairs))
            went = best_of(20, lambda: scan(out, next(number)))
            number = iter(range(back, pairs))
            came = best_of(20, lambda: scan(came_back, next(number)))
            print(f"{'the barest entry':<24}{bare * 1000:8.1f} ms   (reference)")
            for name, seconds in (("scan out", went), ("scan back", came)):
                print(f"{name:<24}{seconds * 1000:8.1f} ms   {seconds / bare:6.1f} x that")
            of = f"{count:,} entries, {pairs:,} pairs"
            row(
                f"{of}: list of {rows}",
                ms(listed),
                f"reading every standing {ms(plain)}",
                times(listed, plain),
            )
            row(f"{of}: scan out", ms(went), f"the barest entry {ms(bare)}", times(went, bare))
            row(f"{of}: scan back", ms(came), f"the barest entry {ms(bare)}", times(came, bare))
            day = range(200, min(2700, pairs * 4 // 5))  # pairs that are ready
            audited(path, of, lambda: [scan(act, number) for number in day for act in (out, came_back)])


def audited(path: Path, of: str, a_day: Callable[[], list[object]]) -> None:
    """The audit of all entries, and of a day's alone; the reference reads the text of every entry."""
    begun = time.process_time()
    with contextlib.closing(sqlite3.connect(path)) as plain:
        assert all(body for (body,) in plain.execute("SELECT body FROM entries"))
    read = time.process_time() - begun
    later, checkpoint = datetime.now(UTC) + timedelta(days=400), checkpoint_of(path)

    def audit(words: str, act: Callable[[], AuditReport | None]) -> None:
        start = time.process_time()
        report = act()
        took = time.process_time() - start
        assert report is not None
        assert report.sound
        row(
            f"{of}: {words}, processor time",
            f"{took:.1f} s",
            f"reading every entry {read:.1f} s",
            times(took, read),
        )

    audit("the full audit", lambda: audit_file(path, now=later, checkpoint=checkpoint))
    scans = len(a_day())
    audit(f"the audit of {scans:,} scans more", lambda: audit_since(path, now=later, checkpoint=checkpoint))


if __name__ == "__main__":
    main()
