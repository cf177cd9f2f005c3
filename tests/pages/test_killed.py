"""The pages killed a hundred times while desks scan: each answered tap is in the ledger once, none twice."""

from __future__ import annotations

import re
import secrets
import signal
import socket
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from random import Random
from threading import Event

import httpx
import pytest

from fleet.audit.full import audit_file
from fleet.checks.findings import AuditReport, AuditSeverity
from fleet.ledger.ledger import Ledger
from tests.bench.season_ledger import at_bench, boot_tag, pair_tag, season_ledger
from tests.pages.browser import words_of
from tests.pages.served import ServeCommand

BACK, DESKS = 10, 12
FINDS = re.compile(r'class="word">([^<]*)<')


class KilledDesk:
    """One desk: a pair goes out with its boot, the one before comes back. What is not answered is sent again
    with the id of its own, and so is one scan in four, as if its answer were lost on the way.
    """

    def __init__(self, number: int, address: str, pairs: int, given_up: Event) -> None:
        self.mine = range(BACK + number, pairs - at_bench(pairs), DESKS)
        self.given_up = given_up
        self.client = httpx.Client(base_url=address, headers={"origin": address}, timeout=20)
        self.answered: dict[str, str] = {}
        self.before = 0

    def work(self, over: Event) -> None:
        with self.client:
            for step in self._steps():
                if over.is_set():
                    return
                self._send(step)

    def _steps(self) -> Iterator[dict[str, str]]:
        for back, out in pairwise(self.mine):
            yield {"scan": f"{pair_tag(out)} {boot_tag(out)}", "mode": "out"}
            yield {"line": "back", "mode": "out"}
            if back != self.mine[0]:
                yield {"scan": pair_tag(back), "mode": "back"}
            yield {"line": "out", "mode": "back"}

    def _send(self, step: dict[str, str]) -> None:
        tap = secrets.token_urlsafe(12)
        word = self._until_answered(step | {"tap": tap})
        if "scan" in step and len(self.answered) % 4 == 0:
            again = self._until_answered(step | {"tap": tap})
            assert again == word, (step, word, again)
        if "scan" in step:
            assert word == step["mode"].upper(), (step, word)
            self.answered[tap] = step["scan"].split()[0]

    def _until_answered(self, fields: dict[str, str]) -> str:
        while not self.given_up.is_set():
            try:
                if not self.client.cookies:
                    self.client.get("/counter")
                page = self.client.post("/counter/scan", data=fields)
            except httpx.TransportError:  # killed before it answered, or not there again yet
                time.sleep(0.05)
                continue
            assert page.status_code == 200, (fields, page.text)
            words = words_of(page.text)
            assert "REFUSED" not in words, (fields, words)
            self.before += "entered before" in words
            found = FINDS.search(page.text)
            return found[1] if found else ""
        raise AssertionError("another desk or the server failed")


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as found:
        return int(found.getsockname()[1])


def _answers(desks: list[KilledDesk]) -> int:
    return sum(len(desk.answered) for desk in desks)


def killed_again_and_again(ledger: Path, home: Path, *, pairs: int, times: int) -> list[KilledDesk]:
    port, over, given_up, random = free_port(), Event(), Event(), Random(19)
    desks = [KilledDesk(number, f"http://127.0.0.1:{port}", pairs, given_up) for number in range(DESKS)]

    def serve() -> ServeCommand:
        return ServeCommand(ledger, home, now=None, port=port)

    server = serve()
    with ThreadPoolExecutor(DESKS) as threads:
        working = [threads.submit(desk.work, over) for desk in desks]
        try:
            for _ in range(times):
                server.address()
                for desk in working:
                    assert not desk.done() or desk.exception() is None, desk.exception()
                enough = _answers(desks) + random.randrange(1, DESKS)
                until = time.monotonic() + 10  # a moment in the middle of the next scans
                while _answers(desks) < enough and time.monotonic() < until:
                    time.sleep(random.uniform(0, 0.02))
                server.end(signal.SIGKILL)
                server = serve()
            server.address()
            over.set()
            for desk in working:
                desk.result(timeout=120)
        except BaseException:
            given_up.set()
            server.end(signal.SIGKILL)
            raise
    code, _, err = server.end()
    assert (code, err) == (0, "")
    return desks


def asked(report: AuditReport) -> Counter[str]:
    """How often an audit asks or blames what; its notes ask nothing."""
    return Counter(each.code for each in report.findings if each.severity is not AuditSeverity.NOTE)


@pytest.mark.parametrize(
    ("pairs", "entries", "times"),
    [(300, 3_000, 2), pytest.param(2_000, 22_000, 100, marks=pytest.mark.long)],
    ids=["twice", "100 times"],
)
def test_each_answered_tap_is_in_the_ledger_once_and_none_twice(
    tmp_path: Path, pairs: int, entries: int, times: int
) -> None:
    ledger = tmp_path / "season.db"
    season_ledger(ledger, pairs, entries, BACK, now=datetime.now(UTC))
    before = audit_file(ledger, now=datetime.now(UTC))
    with Ledger.open(ledger) as opened:
        head = opened.head.seq
    desks = killed_again_and_again(ledger, tmp_path / "home", pairs=pairs, times=times)
    answered = {tap: tag for desk in desks for tap, tag in desk.answered.items()}
    with Ledger.open(ledger) as opened:
        entered = [(entry.body["tap"]["id"], entry.body["tag"]) for entry in opened.entries(after=head)]
    assert len(answered) >= times, "they scanned between the kills"
    assert Counter(entered) == Counter(answered.items()), "nothing lost, nothing doubled, nothing else"
    assert any(desk.before for desk in desks), "some were sent again after they were entered"
    after = audit_file(ledger, now=datetime.now(UTC))
    assert after.sound
    assert asked(after) == asked(before), "the audit asks nothing more than before"
