"""A season of a big shop at the counter: today's list and one scan, against plain SQLite on the same file.

Run: python -m tests.bench.counter_season [PAIRS] [ENTRIES] [BACK]
The ledger is made through the ledger's own door (every entry derived), in a temporary folder.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from fleet.facts.holes import Side
from fleet.facts.patterns_body import pattern_to_body
from fleet.ledger.desk import Desk
from fleet.ledger.ledger import Ledger
from fleet.ledger.transaction import Transaction
from fleet.rules.counter import take_back, take_out
from fleet.rules.looks import LookKind
from fleet.rules.recheck import recheck_list
from tests.bench.rows import row
from tests.counter.shop import IDA, NELL, STAFF, ZONE, binding_body, lark

START = datetime(2026, 11, 28, 7, 0, tzinfo=UTC)


def furnish(tx: Transaction, pairs: int) -> int:
    for name, role, until in STAFF:
        tx.enter("staff listed", {"name": name, "role": role, "valid_until": until})
    tx.enter("pattern recorded", pattern_to_body(lark()))
    ski = {
        "mark_from_tail_um": 800_000,
        "zone_back_um": 300_000,
        "zone_front_um": 300_000,
        "zone_half_width_um": 40_000,
    }
    for number in range(pairs):
        tag = f"K-{number:06d}"
        tx.enter(
            "pair recorded",
            {
                "tag": tag,
                "model": f"Model {number % 12}",
                "kind": "alpine",
                "length_mm": 1500 + 10 * (number % 30),
                "waist_um": 90_000,
                "construction": "no metal",
                "rack": f"R-{number % 40}",
                "earlier_mounts": 0,
                "skis": {"A": ski, "B": ski},
            },
        )
        mount = {"tag": tag, "pattern": "Lark 4", "bsl_um": 305_000, "offset_um": 0, "slides": []}
        tx.enter("mount recorded", mount | {"mounted_on": "2026-10-01", "removed_on": None, "drilled": True})
        for side in Side:
            tx.enter("binding recorded", binding_body(f"{tag}/{side}", on_pair=tag, on_ski=side))
    return tx.head.seq


def look(tx: Transaction, tag: str, when: datetime) -> None:
    both = {"toe": "not moved", "heel": "not moved"}
    body = {
        "tag": tag,
        "kind": LookKind.RECHECK.value,
        "found": {"A": both, "B": both},
        "moved": [],
        "outcome": "pass",
        "cause": "",
        "pattern": "Lark 4",
        "mount_entry": 1,
        "list": None,
        "list_of_another_day": False,
    }
    tx.enter("pair looked at", body, stated_at=when, by=IDA)


def season(ledger: Ledger, pairs: int, entries: int, back: int) -> datetime:
    """Days of hires until so many entries stand; on the last day ``back`` pairs wait for their look."""
    day, made = 0, ledger.head.seq
    while made < entries:
        now = START + timedelta(days=day)
        with ledger.transaction(by=NELL, now=now + timedelta(hours=13)) as tx:
            for number in range(pairs):
                tag = f"K-{number:06d}"
                if day == 0:
                    look(tx, tag, now)
                if (number + day) % 3 == 0:
                    continue
                tx.enter(
                    "pair out",
                    {"tag": tag, "boot": None, "due": None, "fit": "fit not checked"},
                    stated_at=now + timedelta(hours=1),
                )
                tx.enter("pair back", {"tag": tag, "said": False}, stated_at=now + timedelta(hours=9))
                look(tx, tag, now + timedelta(hours=10))
                if tx.head.seq >= entries:
                    break
            made = tx.head.seq
        day += 1
    now = START + timedelta(days=day)
    with ledger.transaction(by=NELL, now=now) as tx:
        for number in range(back):
            tx.enter("pair back", {"tag": f"K-{number:06d}", "said": number % 50 == 0})
    return now + timedelta(hours=1)


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
        begun = time.perf_counter()
        with Ledger.create(path, shop="Big Shop", zone=ZONE, by=IDA, now=START - timedelta(days=9)) as ledger:
            with ledger.transaction(by=IDA, now=START - timedelta(days=8)) as tx:
                furnish(tx, pairs)
            now = season(ledger, pairs, entries, back)
            count = ledger.head.seq
        made = time.perf_counter() - begun
        print(f"{count} entries, {pairs} pairs, {path.stat().st_size / 1e6:.0f} MB, made in {made:.0f} s")
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

            def scan(act: Callable[[Desk, str], object], number: int) -> None:
                clock[0] += timedelta(seconds=3)
                with ledger.transaction(by=NELL, now=clock[0]) as tx:
                    act(Desk(tx=tx, by=NELL, now=clock[0], zone=ZONE), f"K-{number:06d}")

            def note() -> None:
                clock[0] += timedelta(seconds=3)
                with ledger.transaction(by=NELL, now=clock[0]) as tx:
                    tx.enter("staff listed", {"name": "X", "role": "counter", "valid_until": "2027-05-31"})

            bare = best_of(5, note)
            number = iter(range(back, pairs))
            went = best_of(20, lambda: scan(lambda desk, tag: take_out(desk, [tag]), next(number)))
            number = iter(range(back, pairs))
            came = best_of(20, lambda: scan(lambda desk, tag: take_back(desk, [tag]), next(number)))
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


if __name__ == "__main__":
    main()
