"""The ledger behind the pages: one thread holds it, so that many desks are one writer."""

import asyncio
import sqlite3
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Generic, TypeVar

from fleet.base.errors import MountbookError, Refused
from fleet.events.event import LEFT_OUT, Tap
from fleet.facts.staff import listed
from fleet.ledger.desk import Desk
from fleet.ledger.ledger import Ledger
from fleet.ledger.taps import EnteredBefore, checked_tap, entries_of_tap
from fleet.rules.hours import check_silence
from fleet.tables.snapshot import read_staff

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """The person of one action, the desk whose page it was, and the action's own id.

    ``signed``: how the person was known, such as ``PIN``; "" where the desk acts in its own name.
    """

    by: str
    desk: str
    tap: str
    signed: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Acted(Generic[_T]):
    """The result of an action. ``again``: it was entered before, ``entries`` are those of then, and ``came``
    is None, since nothing was done now.
    """

    came: _T | None
    entries: tuple[int, ...]
    again: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LedgerCare:
    """The care of a ledger that commands take too: ``day`` once a day, ``evening`` when that is closed."""

    day: Callable[[Ledger], None]
    evening: Callable[[Ledger], None]


class ServedLedger:
    """The ledger of one shop, for the pages. Every look and every action runs in its one thread, in turn.

    ``now``: the clock. Opened at the first use and again where another file stands in its place (a restore).
    ``care`` is taken between two requests; before the first one the caller has taken it.
    """

    def __init__(self, path: Path, *, now: Callable[[], datetime], care: LedgerCare | None = None) -> None:
        self.path = path
        self.now = now
        self._care = care
        self._cared = now().date()
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="ledger")
        self._ledger: Ledger | None = None
        self._file: tuple[int, int] = (0, 0)

    async def read(self, look: Callable[[sqlite3.Connection], _T]) -> _T:
        """Return what ``look`` makes of one moment of the ledger."""

        def run() -> _T:
            with self._open().reading() as connection:
                return look(connection)

        return await self._in_turn(run)

    async def look(self, look: Callable[[Ledger], _T]) -> _T:
        """Return what ``look`` makes of the ledger, from as many moments as it takes."""
        return await self._in_turn(lambda: look(self._open()))

    async def act(self, hand: Hand, act: Callable[[Desk], _T]) -> Acted[_T]:
        """Do one action at a desk: all of its entries are kept, or none. One that was entered before is
        found by its id, in the same transaction, and not done again.

        Raises MountbookError as ``act`` does; then nothing was entered.
        """

        def run() -> Acted[_T]:
            ledger = self._open()
            try:
                with at_hand(ledger, hand, now=self.now()) as desk:
                    came = act(desk)
                    return Acted(came=came, entries=entries_of_tap(desk.connection, hand.tap))
            except EnteredBefore as before:
                return Acted(came=None, entries=before.entries, again=True)

        return await self._in_turn(run)

    async def entered(self, hand: Hand) -> bool:
        """Return whether that action was entered before; asked where a page looks before it acts, since a
        look at what is over by now would refuse it.
        """
        return bool(await self.read(lambda connection: entries_of_tap(connection, hand.tap)))

    def close(self) -> None:
        """Finish what is under way, and close the ledger."""

        def close() -> None:
            if self._ledger is not None:
                self._ledger.connection.close()

        self._thread.submit(close).result()
        self._thread.shutdown()

    def audit_evening(self) -> None:
        """Take the care of a closed evening, after this request."""
        if self._care is not None:
            self._later(self._care.evening)

    async def _in_turn(self, run: Callable[[], _T]) -> _T:
        found = await asyncio.get_running_loop().run_in_executor(self._thread, run)
        today = self.now().date()
        if self._care is not None and today != self._cared:
            self._cared = today
            self._later(self._care.day)
        return found

    def _later(self, care: Callable[[Ledger], None]) -> None:
        self._thread.submit(lambda: care(self._open()))

    def _open(self) -> Ledger:
        try:
            state = self.path.stat()
            file = (state.st_dev, state.st_ino)
        except OSError as fault:
            raise MountbookError(
                f"the ledger {self.path.name} cannot be found any more: {fault.strerror}",
                cure="nothing was entered; put it back where it was, or start the pages again",
            ) from fault
        if self._ledger is None or file != self._file:
            if self._ledger is not None:
                self._ledger.connection.close()
                self._ledger = None
            self._ledger, self._file = Ledger.open(self.path), file
        return self._ledger


def tap_of_hand(hand: Hand) -> Tap:
    """Return what stands in each entry of the action. Raises BadInput for an action without an id."""
    return Tap(id=checked_tap(hand.tap), desk=hand.desk, signed=hand.signed or LEFT_OUT)


def check_hand(connection: sqlite3.Connection, hand: Hand, *, now: datetime) -> None:
    """Raise Refused for a desk that has the name of a person, and after a long silence of the ledger."""
    if not hand.signed and listed(read_staff(connection), hand.by) is not None:
        raise Refused(
            f"{hand.by} is a person of the staff list, and nobody has signed in",
            cure="sign in with a PIN, or give the desk another name",
        )
    check_silence(connection, now=now)


@contextmanager
def at_hand(ledger: Ledger, hand: Hand, *, now: datetime, stated: datetime | None = None) -> Iterator[Desk]:
    """Yield the desk of one action on a page. Raises EnteredBefore, and Refused for a desk that has the name
    of a person, or after a long silence of the ledger.
    """
    with ledger.transaction(by=hand.by, now=now, tap=tap_of_hand(hand)) as tx:
        check_hand(tx.connection, hand, now=now)
        yield Desk(tx=tx, by=hand.by, now=now, zone=ledger.zone, stated=stated, typed=bool(hand.signed))
