"""The pages really served: over a socket in a thread of this process, or by the command in one of its own."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path

import uvicorn

from planner.pages.app import pages_app
from planner.pages.desks import Desks, Pins, open_desks
from planner.pages.web import ServedLedger
from tests.counter.shop import ZONE
from tests.pages.browser import PIN

ROOT = Path(__file__).parent.parent.parent


@contextmanager
def served_in_a_thread(
    ledger: Path, *, now: Callable[[], datetime], signers: tuple[str, ...] = ()
) -> Iterator[str]:
    """Yield the address. ``signers`` have the PIN of the tests."""
    store = open_desks(None)
    desks, pins = Desks(store, now=now), Pins(store, now=now, zone=ZONE)
    for name in signers:
        pins.set_pin(name, PIN, PIN, by=name)
    with closing(socket.create_server(("127.0.0.1", 0))) as listening:
        host = f"127.0.0.1:{listening.getsockname()[1]}"
        served = ServedLedger(ledger, now=now)
        app = pages_app(served, desks, pins, shop="The Invented Shop", hosts=[host], secure=False)
        server = uvicorn.Server(uvicorn.Config(app, log_config=None, lifespan="off", ws="none"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        try:
            yield f"http://{host}"
        finally:
            server.should_exit = True
            thread.join()
            served.close()
            store.close()


class ServeCommand:
    """`mountbook serve` in a process of its own. ``now`` None: by the real clock."""

    def __init__(
        self,
        ledger: Path,
        home: Path,
        *,
        now: datetime | None,
        port: int = 0,
        options: tuple[str, ...] = (),
    ) -> None:
        clock = {"MOUNTBOOK_NOW": now.isoformat(), "MOUNTBOOK_NOW_QUIET": "1"} if now else {}
        self._environment = os.environ | {
            "HOME": str(home),
            "XDG_CONFIG_HOME": str(home),
            "PYTHONUNBUFFERED": "1",
            **clock,
        }
        self._ledger = ledger
        self.process = subprocess.Popen(
            self._words("serve", "--port", str(port), *options),
            env=self._environment,
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def _words(self, *words: str) -> list[str]:
        return [sys.executable, "-m", "planner.cli.main", "--ledger", str(self._ledger), *words]

    def address(self) -> str:
        """Wait for the first line, and return the address in it."""
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        found = re.search(r"http\S+", line)
        assert found, line + (self.process.stderr.read() if self.process.stderr else "")
        return found[0]

    def beside(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Type a command at the same ledger meanwhile."""
        return subprocess.run(
            self._words(*words), env=self._environment, cwd=ROOT, capture_output=True, text=True, check=False
        )

    def end(self, how: signal.Signals = signal.SIGINT) -> tuple[int, str, str]:
        """Stop it; return its exit code, and what it said."""
        self.process.send_signal(how)
        return self.ended()

    def ended(self) -> tuple[int, str, str]:
        """Wait for its end; return its exit code, and what it said since the first line that was read."""
        assert self.process.stdout is not None
        assert self.process.stderr is not None
        code = self.process.wait(timeout=60)
        with self.process.stdout as out, self.process.stderr as err:
            return code, out.read(), err.read()
