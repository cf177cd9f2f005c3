"""The pages under load: twelve desks, each a scan every two seconds, beside a bare page in the same run.

Run: python -m tests.bench.serve_load [PAIRS] [ENTRIES] [DESKS] [SECONDS] [TAPS]
The pages are `mountbook serve` in a process of its own. ``TAPS`` more are sent as fast as they are answered,
to see what memory does. At the end every tap is looked for in the ledger.
"""

from __future__ import annotations

import asyncio
import os
import re
import secrets
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from statistics import median, quantiles
from typing import Final

import httpx

from planner.pages.desks import Pins, desks_file, open_desks
from tests.bench.rows import row
from tests.bench.season_ledger import at_bench, boot_tag, pair_tag, season_ledger, sole_um
from tests.counter.shop import NELL, ZONE

ROOT = Path(__file__).parents[2]
EVERY_SECONDS = 2.0
TODAY: Final = "/today"
"""The page that the address itself leads to."""
PIN = "482913"
BACK = 118
"""So many pairs are back and not looked at: a scan out of one is refused."""
_WORD = re.compile(r'class="word">([^<]*)<')


@dataclass(slots=True)
class Served:
    """A server in a process of its own."""

    process: subprocess.Popen[str]
    address: str
    started_seconds: float

    @classmethod
    def start(cls, words: list[str], environment: dict[str, str]) -> Served:
        begun = time.perf_counter()
        process = subprocess.Popen(
            [sys.executable, *words],
            env=os.environ | environment,
            cwd=ROOT,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert process.stdout is not None
        found = re.search(r"http\S+[0-9]", process.stdout.readline())
        assert found, f"{words} did not start"
        return cls(process, found[0], time.perf_counter() - begun)

    @property
    def mib(self) -> float:
        """The memory that the process holds now."""
        status = Path(f"/proc/{self.process.pid}/status").read_text("ascii")
        return int(re.findall(r"VmRSS:\s+(\d+)", status)[0]) / 1024

    @property
    def cpu_seconds(self) -> float:
        """The processor time that the process has used."""
        ticks = Path(f"/proc/{self.process.pid}/stat").read_text("ascii").rpartition(")")[2].split()[11:13]
        return sum(map(int, ticks)) / os.sysconf("SC_CLK_TCK")

    def stop(self) -> None:
        self.process.send_signal(signal.SIGINT)
        self.process.wait(timeout=60)


@dataclass(slots=True)
class Sent:
    """What one desk sent: the seconds of each answer, and the entries that each tap must have made."""

    seconds: list[float] = field(default_factory=list)
    entries: dict[str, int] = field(default_factory=dict)


Step = tuple[str, str, int]
"""What is scanned, the word of the answer, and the entries that come of it."""


def hires(desk: int, desks: int, pairs: int) -> Iterator[Step]:
    """The scans of one desk, until it has no pair left: two pairs go out, one of them with a boot for which
    it is set first, one is refused, and both come back.
    """
    yield "out", "", 0
    free = range(desk, BACK, desks)  # boots of pairs that nobody hires here
    mine = range(BACK + desk, pairs - at_bench(pairs), desks)
    for number, other in zip(mine[::2], mine[1::2], strict=False):
        yield pair_tag(number), "NOT OUT YET", 0
        yield boot_tag(number), "OUT", 1
        yield pair_tag(other), "NOT OUT YET", 0
        boot = next(boot_tag(each) for each in free if abs(sole_um(each) - sole_um(other)) in (5_000, 10_000))
        yield boot, "SET FIRST", 0
        yield f"set {pair_tag(other)} {boot}", "OUT", 2
        yield f"{pair_tag(number % BACK)} {boot_tag(other)}", "REFUSED", 0
        yield "back", "", 0
        yield pair_tag(number), "BACK", 1
        yield pair_tag(other), "BACK", 1
        yield "out", "", 0


async def scan(client: httpx.AsyncClient, step: Step, sent: Sent, due: float) -> None:
    line, word, entries = step
    tap = secrets.token_urlsafe(12)
    answer = await client.post("/counter/scan", data={"tap": tap, "line": line})
    sent.seconds.append(time.perf_counter() - due)
    found = _WORD.search(answer.text)
    said = found[1] if found else ""
    if said != word:
        page = re.sub(r"<[^>]+>", " ", answer.text.partition("<main")[2])
        raise SystemExit(f"{line}: {said!r}, not {word!r}, {answer.status_code}: {' '.join(page.split())}")
    if entries:
        sent.entries[tap] = entries


async def bare_scan(client: httpx.AsyncClient, _: Step, sent: Sent, due: float) -> None:
    tap = secrets.token_urlsafe(12)
    answer = await client.post("/scan", data={"tap": tap, "line": "K-000001"})
    sent.seconds.append(time.perf_counter() - due)
    assert answer.text == "entered"


async def desk_client(address: str) -> httpx.AsyncClient:
    """A browser at a desk of its own, where Nell has signed in."""
    client = httpx.AsyncClient(base_url=address, headers={"origin": address}, timeout=60)
    await client.get("/counter")
    await client.post("/sign/in", data={"name": NELL, "pin": PIN})
    return client


async def drive(
    clients: list[httpx.AsyncClient], steps: list[Iterator[Step]], seconds: float, *, bare: bool = False
) -> list[Sent]:
    """Have each desk scan every two seconds, the desks evenly apart. A late answer counts from when its
    scan was due.
    """
    begun, send = time.perf_counter() + 0.2, bare_scan if bare else scan

    async def one(number: int) -> Sent:
        sent, due = Sent(), begun + number * EVERY_SECONDS / len(clients)
        while due < begun + seconds:
            await asyncio.sleep(max(0.0, due - time.perf_counter()))
            await send(clients[number], next(steps[number]), sent, due)
            due += EVERY_SECONDS
        return sent

    return await asyncio.gather(*map(one, range(len(clients))))


async def hurry(clients: list[httpx.AsyncClient], steps: list[Iterator[Step]], taps: int) -> list[Sent]:
    """Have all desks send so many taps together, each as soon as the one before is answered."""

    async def one(number: int) -> Sent:
        sent = Sent()
        for _ in range(taps // len(clients)):
            await scan(clients[number], next(steps[number]), sent, time.perf_counter())
        return sent

    return await asyncio.gather(*map(one, range(len(clients))))


def p50_p99(sent: list[Sent]) -> tuple[float, float]:
    every = [seconds for each in sent for seconds in each.seconds]
    return median(every), quantiles(every, n=100)[98]


def lost_and_doubled(ledger: Path, sent: list[Sent], after: int) -> str:
    """Compare the ledger with what was answered: each tap with its entries, and nothing else."""
    wanted = {tap: count for each in sent for tap, count in each.entries.items()}
    with sqlite3.connect(ledger) as opened:
        found = dict(opened.execute("SELECT id, count(*) FROM tap WHERE entry > ? GROUP BY id", (after,)))
        [(entered,)] = opened.execute("SELECT count(*) FROM entries WHERE seq > ?", (after,))
    lost = sum(found.get(tap, 0) < count for tap, count in wanted.items())
    doubled = sum(count > wanted.get(tap, 0) for tap, count in found.items())
    assert (lost, doubled, entered) == (0, 0, sum(wanted.values())), (lost, doubled, entered)
    return f"{len(wanted)} taps that enter, {entered} entries: none lost, none doubled"


async def first_pages(address: str, pages: list[str], *, times: int = 5) -> dict[str, list[float]]:
    """The seconds of each page at its first and its later visits."""
    found: dict[str, list[float]] = {page: [] for page in pages}
    async with httpx.AsyncClient(base_url=address, timeout=60) as client:
        for page in pages * times:
            begun = time.perf_counter()
            answer = await client.get(page)
            found[page].append(time.perf_counter() - begun)
            assert answer.status_code == 200, (page, answer.status_code)
    return found


def ms(seconds: float) -> str:
    return f"{seconds * 1000:.0f} ms"


async def measure(folder: Path, pairs: int, entries: int, desks: int, seconds: float, taps: int) -> None:
    ledger, bare_file = folder / "season.db", folder / "bare.db"
    season_ledger(ledger, pairs, entries, BACK, now=datetime.now(UTC))
    with sqlite3.connect(ledger) as opened:
        [(head,)] = opened.execute("SELECT max(seq) FROM entries")
    store = open_desks(desks_file(folder / "mountbook", ledger))
    Pins(store, now=lambda: datetime.now(UTC), zone=ZONE).set_pin(NELL, PIN, PIN, by=NELL)
    store.close()
    home = {"HOME": str(folder), "XDG_CONFIG_HOME": str(folder), "PYTHONUNBUFFERED": "1"}
    words = ["-m", "planner.cli.main", "--ledger", str(ledger), "serve", "--port", "0"]
    bare_words = "import sys; from tests.bench.bare_page import serve; serve(sys.argv[1])"
    bare = Served.start(["-c", bare_words, str(bare_file)], home)
    pages = Served.start(words, home)
    sent: list[Sent] = []
    of = f"{head:,} entries, {pairs:,} pairs"
    try:
        orders = f"/find?boot={boot_tag(BACK)}"
        names = [TODAY, "/evening", "/find?length=165", "/counter", orders, "/bench", "/desk", "/plan"]
        names.append(f"/find/pair?tag={pair_tag(BACK)}")
        seen = await first_pages(pages.address, names)
        loads, today_cpu = [os.getloadavg()[0]], pages.cpu_seconds
        today = quantiles((await first_pages(pages.address, [TODAY], times=50))[TODAY], n=100)
        today_cpu = (pages.cpu_seconds - today_cpu) / 50
        row(
            f"{of}: Today, first; p50; p99 of 50 (load {loads[0]:.0f})",
            f"{ms(seen[TODAY][0])}; {ms(today[49])}; {ms(today[98])}, {ms(today_cpu)} of processor time",
            "not run",
            "-",
        )
        print(f"start {pages.started_seconds:.2f} s (a bare page {bare.started_seconds:.2f} s)")
        for page, took in seen.items():
            print(f"{page:<32} first {ms(took[0]):>8}, then {ms(median(took[1:])):>8}")
        begun_mib = pages.mib
        steps = [hires(number, desks, pairs) for number in range(desks)]
        clients = [await desk_client(pages.address) for _ in range(desks)]
        plain = [httpx.AsyncClient(base_url=bare.address, timeout=60) for _ in range(desks)]
        reference = p50_p99(await drive(plain, steps, seconds / 2, bare=True))
        steps = [hires(number, desks, pairs) for number in range(desks)]
        cpu = pages.cpu_seconds
        sent += (paced := await drive(clients, steps, seconds))
        ours, scans = p50_p99(paced), sum(len(each.seconds) for each in paced)
        cpu = (pages.cpu_seconds - cpu) / scans
        loads.append(os.getloadavg()[0])
        print(
            f"{scans} scans at load {loads[0]:.1f} to {loads[1]:.1f}: p50 {ms(ours[0])}, p99 {ms(ours[1])},"
        )
        print(f"  {ms(cpu)} of processor time each; bare p50 {ms(reference[0])}, p99 {ms(reference[1])}")
        for part in range(10 if taps else 0):
            begun = time.perf_counter()
            sent += (fast := await hurry(clients, steps, taps // 10))
            count, took = sum(len(each.seconds) for each in fast), time.perf_counter() - begun
            print(f"taps {part + 1}/10: {count / took:.0f} a second, {pages.mib:.0f} MiB")
        found = lost_and_doubled(ledger, sent, head)
        print(found)
        load = f"load {loads[0]:.0f} to {loads[1]:.0f}"
        row(
            f"{of}: {desks} desks, a scan every 2 s, {scans} scans: p50; p99 ({load})",
            f"{ms(ours[0])}; {ms(ours[1])}, {ms(cpu)} of processor time",
            f"a bare page, one commit {ms(reference[0])}; {ms(reference[1])}",
            f"{ours[1] / reference[1]:.1f} x",
        )
        memory = (begun_mib, pages.mib)
        row(
            f"{of}: memory of the pages, before and after {sum(len(each.seconds) for each in sent):,} taps",
            f"{memory[0]:.0f}; {memory[1]:.0f} MiB",
            f"a bare page {bare.mib:.0f} MiB",
            f"{memory[1] / bare.mib:.1f} x",
        )
        row(
            f"{of}: start until the address answers; the first page",
            f"{ms(pages.started_seconds)}; {ms(seen[TODAY][0])}",
            f"a bare page {ms(bare.started_seconds)}",
            f"{pages.started_seconds / bare.started_seconds:.1f} x",
        )
        slowest = max(seen, key=lambda page: median(seen[page]))
        row(
            f"{of}: Today; Evening; Find; Bench; the slowest page",
            f"{'; '.join(ms(median(seen[name])) for name in names[:3])}; {ms(median(seen['/bench']))};"
            f" {ms(median(seen[slowest]))} ({slowest.partition('?')[0]})",
            "not run",
            "-",
        )
        for client in (*clients, *plain):
            await client.aclose()
    finally:
        pages.stop()
        bare.stop()


def main() -> None:
    given = sys.argv[1:]
    pairs, entries, desks, seconds, taps = (
        int(text) for text in (given + ["5000", "600000", "12", "60", "10000"][len(given) :])[:5]
    )
    with tempfile.TemporaryDirectory() as folder:
        asyncio.run(measure(Path(folder), pairs, entries, desks, seconds, taps))


if __name__ == "__main__":
    main()
