"""PINs and badges: what shows that a person is who the name says. Kept as argon2 hashes; tries are slowed and
locked.
"""

import base64
import re
import secrets
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime, timedelta
from itertools import pairwise
from threading import Lock
from typing import Final

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from fleet.base.days import clock_text
from fleet.base.entries import name_key, parse_utc, utc_text
from fleet.base.errors import BadInput, Refused
from planner.pages.desks import DeskKept

_LEAST: Final = 6
_MOST: Final = 12
BADGE: Final = "BADGE-"
"""The beginning of every badge code; no tag begins with it."""
_BADGE_BYTES: Final = 10
BADGE_FORM: Final = re.compile(rf"{BADGE}[0-9]+-[A-Z2-7]{{16}}", re.IGNORECASE)
_LONG: Final = 10
_HASHER: Final = PasswordHasher(time_cost=2, memory_cost=19_456, parallelism=1)
"""19 MiB and two passes, about 50 ms (OWASP's password storage page, from memory)."""


class Pins:
    """The PINs of the people who sign on pages. ``now``: the machine's clock."""

    def __init__(self, store: sqlite3.Connection, *, now: Callable[[], datetime], zone: str) -> None:
        self._store = store
        self._now = now
        self._zone = zone
        self._one_try = Lock()

    def has(self, name: str) -> bool:
        """Return whether that person has a PIN."""
        return self._row(name) is not None

    def set_pin(self, name: str, pin: str, again: str, *, by: str) -> None:
        """Keep a person's PIN. Raises BadInput for one that is no PIN or is too easy to guess."""
        if pin != again:
            raise BadInput("the two PINs differ", cure="type the new PIN twice, the same each time")
        if not (pin.isascii() and pin.isdigit() and _LEAST <= len(pin) <= _MOST):
            raise BadInput(f"a PIN is {_LEAST} to {_MOST} digits", cure="type digits only")
        steps = {(int(b) - int(a)) % 10 for a, b in pairwise(pin)}
        if (len(steps) == 1 and steps <= {0, 1, 9}) or len(set(pin)) < 3:
            raise BadInput("that PIN is too easy to guess", cure="three different digits or more")
        self._store.execute(
            "INSERT OR REPLACE INTO pin (person, hash, set_by, since) VALUES (?, ?, ?, ?)",
            (name_key(name), _HASHER.hash(pin), by, utc_text(self._now())),
        )

    def check(self, name: str, pin: str, desk: DeskKept, *, tries: int, wait_minutes: int) -> None:
        """Return if that is the person's PIN. Raises Refused, also while too many wrong ones are waited off.

        One try at a time, in a thread of its own: the hash takes its time on purpose.
        """
        counted = (("pin", "person", name_key(name)), ("desk", "key_hash", desk.key_hash))
        with self._one_try, self._counted(counted, tries=tries, wait_minutes=wait_minutes):
            row = self._row(name)
            if row is None or not _right(row[0], pin):
                raise Refused(
                    f"that is not the PIN of {name}" if row else f"{name} has no PIN yet",
                    cure="type it again" if row else "a manager sets it, on the page PIN",
                )

    # Badges: a code that a scanner reads, in place of choosing a name

    def has_badge(self, name: str) -> bool:
        """Return whether that person has a badge."""
        return any(self._store.execute("SELECT 1 FROM badge WHERE person = ?", (name_key(name),)))

    def make_badge(self, name: str, *, by: str) -> str:
        """Make a person's badge and return its code, which stands nowhere else; one made before is void."""
        secret = base64.b32encode(secrets.token_bytes(_BADGE_BYTES)).decode()
        self.void_badge(name)
        made = self._store.execute(
            "INSERT INTO badge (person, name, hash, set_by, since) VALUES (?, ?, ?, ?, ?)",
            (name_key(name), name, _HASHER.hash(secret), by, utc_text(self._now())),
        )
        return f"{BADGE}{made.lastrowid}-{secret}"

    def void_badge(self, name: str) -> None:
        """Forget a person's badge: its code signs nothing any more."""
        self._store.execute("DELETE FROM badge WHERE person = ?", (name_key(name),))

    def person_of_badge(self, code: str, desk: DeskKept, *, tries: int, wait_minutes: int) -> str:
        """Return whose badge that is. Raises Refused as `check` does; the code is in no answer."""
        number, _, secret = code.strip().upper().removeprefix(BADGE).partition("-")
        counted = (("desk", "key_hash", desk.key_hash),)
        with self._one_try, self._counted(counted, tries=tries, wait_minutes=wait_minutes):
            row = self._store.execute(
                "SELECT name, hash FROM badge WHERE id = ?",
                (int(number) if number.isdecimal() and number.isascii() and len(number) < _LONG else 0,),
            ).fetchone()
            if row is None or not _right(row[1], secret):
                raise Refused(
                    "that is the badge of nobody, or one that is void", cure="sign in by name and PIN"
                )
            return str(row[0])

    @contextmanager
    def _counted(
        self, counted: Sequence[tuple[str, str, str]], *, tries: int, wait_minutes: int
    ) -> Iterator[None]:
        """Count one try, of a person and of a desk; after too many wrong ones none is taken for a while."""
        for table, column, key in counted:
            self._check_wait(table, column, key)
        try:
            yield
        except Refused:
            until = utc_text(self._now() + timedelta(minutes=wait_minutes))
            for table, column, key in counted:
                self._store.execute(f"UPDATE {table} SET wrong = wrong + 1 WHERE {column} = ?", (key,))
                self._store.execute(
                    f"UPDATE {table} SET wrong = 0, wait_until = ? WHERE {column} = ? AND wrong >= ?",
                    (until, key, tries),
                )
            raise
        for table, column, key in counted:
            self._store.execute(f"UPDATE {table} SET wrong = 0, wait_until = '' WHERE {column} = ?", (key,))

    def _check_wait(self, table: str, column: str, key: str) -> None:
        row = self._store.execute(f"SELECT wait_until FROM {table} WHERE {column} = ?", (key,)).fetchone()
        if row and row[0] and parse_utc(row[0]) > self._now():
            until = clock_text(row[0], self._zone, today=self._now())
            raise Refused(
                f"too many wrong PINs: none is taken until {until}",
                cure="wait, or have a manager set the PIN anew at another desk",
            )

    def _row(self, name: str) -> tuple[str] | None:
        row = self._store.execute("SELECT hash FROM pin WHERE person = ?", (name_key(name),)).fetchone()
        return (str(row[0]),) if row else None


def _right(kept: str, pin: str) -> bool:
    try:
        return _HASHER.verify(kept, pin)
    except (VerificationError, InvalidHashError):
        return False
