"""A season of a big shop as a ledger, made through the ledger's own door, and kept for the next benchmark.

Its last pairs stay at the bench: their holes are surveyed, and each has an issued work order.
"""

from __future__ import annotations

import shutil
import tempfile
import time
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

from fleet.base.entries import utc_text
from fleet.events.movement import BindingSet, PairBack, PairOut
from fleet.facts.holes import Side
from fleet.facts.patterns import pattern_to_body
from fleet.ledger.desk import Desk
from fleet.ledger.ledger import Ledger
from fleet.ledger.transaction import Transaction
from fleet.rules.looks import LookKind
from fleet.tables.layout import layout_statements
from fleet.tables.snapshot import read_fleet
from planner.bench.orders.issue import issue
from planner.plan.plan_file import plan_hash
from planner.planning.assign.plan import plan_fleet
from tests.counter.shop import IDA, NELL, STAFF, ZONE, binding_body, lark
from tests.orders.bench_shop import old_holes

_START = datetime(2025, 11, 28, 7, 0, tzinfo=UTC)
_SOLES_UM = tuple(range(285_000, 330_000, 5_000))


def pair_tag(number: int) -> str:
    return f"K-{number:06d}"


def boot_tag(number: int) -> str:
    """The boot for which the binding of the pair of that number was set first."""
    return f"B-{number:06d}"


def sole_um(number: int) -> int:
    return _SOLES_UM[number % len(_SOLES_UM)]


def _furnish(tx: Transaction, pairs: int) -> None:
    """Staff, a pattern, and so many pairs, each mounted, set and with a boot of that sole."""
    for name, role, until in STAFF:
        tx.enter("staff listed", {"name": name, "role": role, "valid_until": until})
    tx.enter("pattern recorded", pattern_to_body(lark()))
    sheets = {"binding_sheet": "L-1", "boot_sheet": "S-1"}
    tx.enter("fit declared", {"sole_type": "alpine A", "pattern": "Lark 4"} | sheets)
    ski = {
        "mark_from_tail_um": 800_000,
        "zone_back_um": 300_000,
        "zone_front_um": 300_000,
        "zone_half_width_um": 40_000,
    }
    for number in range(pairs):
        tag, sole = pair_tag(number), sole_um(number)
        body = {"tag": tag, "model": f"Model {number % 12}", "kind": "alpine", "rack": f"R-{number % 40}"}
        shape = {"length_mm": 1500 + 10 * (number % 30), "waist_um": 90_000, "construction": "no metal"}
        tx.enter("pair recorded", body | shape | {"earlier_mounts": 0, "skis": {"A": ski, "B": ski}})
        if number >= pairs - at_bench(pairs):
            _survey(tx, tag, sole)
            _boot(tx, f"X-{number:06d}", 345_000, mondopoint_mm=310)
        mount = {"tag": tag, "pattern": "Lark 4", "bsl_um": sole, "offset_um": 0, "slides": []}
        tx.enter("mount recorded", mount | {"mounted_on": "2025-10-01", "removed_on": None, "drilled": True})
        for side in Side:
            tx.enter("binding recorded", binding_body(f"{tag}/{side}", on_pair=tag, on_ski=side))
        tx.enter(BindingSet(tag=tag, bsl_um=sole, boot=None))
        _boot(tx, boot_tag(number), sole, mondopoint_mm=245 + 5 * (number % 9))
    if at_bench(pairs):
        want = {"wish": "W-1", "kind": "alpine", "length_min_mm": 1500, "length_max_mm": 1800}
        feet = {"mondopoint_min_mm": 310, "mondopoint_max_mm": 310}
        tx.enter("wish recorded", want | feet | {"quantity": at_bench(pairs), "priority": 1})


def at_bench(pairs: int) -> int:
    """How many of so many pairs have a work order."""
    return min(pairs // 10, 100)


def _survey(tx: Transaction, tag: str, sole: int) -> None:
    for side in Side:
        area = {"from_um": -300_000, "to_um": 300_000, "how": "bare", "on": "2025-10-01"}
        tx.enter("area inspected", {"tag": tag, "side": side.value} | area)
    tx.enter("holes recorded", {"tag": tag, "holes": old_holes(tag, sole // 1000, "screwed")})


def _boot(tx: Transaction, tag: str, sole: int, *, mondopoint_mm: int) -> None:
    body = {"tag": tag, "model": "Invented boot", "mondopoint_mm": mondopoint_mm, "bsl_um": sole}
    body |= {"bsl_measured": "printed", "sole_type": "alpine A", "season": "", "pin_um": None}
    tx.enter("boot recorded", body | {"kind": None, "wear": "", "sole_measured_on": ""})


def _issue_orders(ledger: Ledger, now: datetime) -> None:
    plan = plan_fleet(read_fleet(ledger.connection), made_at=utc_text(now), ready_by=None, minutes_limit=None)
    with ledger.transaction(by=IDA, now=now) as tx:
        issue(Desk(tx=tx, by=IDA, now=now, zone=ZONE), plan, plan_hash=plan_hash(plan))


def _look(tx: Transaction, tag: str, when: datetime) -> None:
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


def _season(ledger: Ledger, pairs: int, entries: int) -> None:
    """Days of hires until so many entries stand."""
    day, made = 0, ledger.head.seq
    while made < entries:
        now = _START + timedelta(days=day)
        with ledger.transaction(by=NELL, now=now + timedelta(hours=13)) as tx:
            for number in range(pairs - at_bench(pairs)):
                tag = pair_tag(number)
                if day == 0:
                    _look(tx, tag, now)
                if (number + day) % 3 == 0:
                    continue
                out = PairOut(
                    tag=tag, boot=boot_tag(number), due=now.date(), fit="fits", sole_um=sole_um(number)
                )
                tx.enter(out, stated_at=now + timedelta(hours=1))
                tx.enter(PairBack(tag=tag, said=False), stated_at=now + timedelta(hours=9))
                _look(tx, tag, now + timedelta(hours=10))
                if tx.head.seq >= entries:
                    break
            made = tx.head.seq
        day += 1


def season_ledger(path: Path, pairs: int, entries: int, back: int, *, now: datetime) -> None:
    """Put such a ledger at ``path``; on the morning of ``now`` so many pairs came back.

    It is copied from the temporary folder, where the first one that is made is kept.
    """
    made_of = "\n".join((*layout_statements(), Path(__file__).read_text("utf-8")))
    name = f"season_{pairs}_{entries}_{sha256(made_of.encode()).hexdigest()[:12]}.db"
    kept = Path(tempfile.gettempdir()) / "mountbook_bench" / name
    if not kept.exists():
        kept.parent.mkdir(exist_ok=True)
        with tempfile.TemporaryDirectory(dir=kept.parent) as folder:
            _make(Path(folder) / "season.db", pairs, entries)
            (Path(folder) / "season.db").replace(kept)
    shutil.copyfile(kept, path)
    with Ledger.open(path) as ledger, ledger.transaction(by=IDA, now=now - timedelta(hours=1)) as tx:
        for person, role, _ in STAFF:
            until = (now.date() + timedelta(days=200)).isoformat()
            tx.enter("staff listed", {"name": person, "role": role, "valid_until": until})
        for number in range(back):
            tx.enter(PairBack(tag=pair_tag(number), said=number % 50 == 0), by=NELL)


def _make(path: Path, pairs: int, entries: int) -> None:
    begun = time.perf_counter()
    with Ledger.create(path, shop="Big Shop", zone=ZONE, by=IDA, now=_START - timedelta(days=9)) as ledger:
        with ledger.transaction(by=IDA, now=_START - timedelta(days=8)) as tx:
            _furnish(tx, pairs)
        _issue_orders(ledger, _START - timedelta(days=7))
        _season(ledger, pairs, entries)
        made = ledger.head.seq
    seconds = time.perf_counter() - begun
    print(f"{made} entries, {pairs} pairs, {path.stat().st_size / 1e6:.0f} MB, made in {seconds:.0f} s")
