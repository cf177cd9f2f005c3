"""The desks of the shop: each browser that was let in, its name, who is signed in there, and by what.

PINs and badges show that a person is who the name says: argon2 hashes; tries are slowed and locked.

Desks, PINs and badges are kept in a file beside the server: in no entry, backup, export or case. It stands
with the user's settings and not with the ledger, so that whoever copies the ledger's folder copies no key. It
holds hashes only. Lost, it is made anew: desks are let in again and PINs set again.
"""

import base64
import hashlib
import re
import secrets
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path
from threading import Lock
from typing import Final

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from fleet.base.days import clock_text
from fleet.base.entries import checked_name, name_key, parse_utc, utc_text
from fleet.base.errors import BadInput, MountbookError, Refused, or_bad_input
from fleet.base.files import in_settings

_TABLES: Final = (
    "CREATE TABLE IF NOT EXISTS desk (name TEXT NOT NULL, key_hash TEXT PRIMARY KEY, since TEXT NOT NULL,"
    " wrong INTEGER NOT NULL DEFAULT 0, wait_until TEXT NOT NULL DEFAULT '') STRICT",
    "CREATE TABLE IF NOT EXISTS pin (person TEXT PRIMARY KEY, hash TEXT NOT NULL, set_by TEXT NOT NULL,"
    " since TEXT NOT NULL, wrong INTEGER NOT NULL DEFAULT 0, wait_until TEXT NOT NULL DEFAULT '') STRICT",
    "CREATE TABLE IF NOT EXISTS badge (id INTEGER PRIMARY KEY AUTOINCREMENT, person TEXT NOT NULL UNIQUE,"
    " name TEXT NOT NULL, hash TEXT NOT NULL, set_by TEXT NOT NULL, since TEXT NOT NULL) STRICT",
)


def desks_file(settings: Path, ledger: Path) -> Path:
    """Return the place of a ledger's desks and PINs, in the user's settings."""
    return settings / f"desks_{short_hash(ledger)}.db"


def short_hash(ledger: Path) -> str:
    """Return what tells a ledger's files from another's where both lie in one folder."""
    return hash_of(str(ledger.resolve()))[:16]


def open_desks(file: Path | None) -> sqlite3.Connection:
    """Open the file, or make it, for this user only; None is one in memory. Raises MountbookError."""
    try:
        if file is not None:
            with in_settings(file):
                file.touch(mode=0o600)
        opened = sqlite3.connect(file or ":memory:", isolation_level=None, check_same_thread=False)
        opened.execute("PRAGMA secure_delete = ON")
        for table in _TABLES:
            opened.execute(table)
    except sqlite3.Error as fault:
        raise MountbookError(
            f"the desks and PINs in {file} cannot be used: {fault}",
            cure="delete that file: desks are let in anew, and PINs set anew; the ledger is not touched",
        ) from fault
    return opened


def forget_person(settings: Path, ledger: Path, name: str, *, mark: str) -> tuple[str, ...]:
    """Forget PIN and badge of a person whose name was taken out, and the name where it set another's; return
    what was done in words.
    """
    file = desks_file(settings, ledger)
    if not file.is_file():
        return ()
    key, told = name_key(name), []
    with closing(open_desks(file)) as store:
        for table, words in (("pin", "PIN"), ("badge", "badge")):
            if store.execute(f"DELETE FROM {table} WHERE person = ?", (key,)).rowcount:
                told.append(f"  the {words} is deleted")
            for (by,) in store.execute(f"SELECT DISTINCT set_by FROM {table}").fetchall():
                if name_key(by) == key:
                    store.execute(f"UPDATE {table} SET set_by = ? WHERE set_by = ?", (mark, by))
        called = [each for (each,) in store.execute("SELECT name FROM desk") if name_key(each) == key]
    told += [f"  a desk is called {each}: give it another name, or it signs with this one" for each in called]
    return tuple(told)


def hash_of(text: str) -> str:
    """Return the SHA-256 of a text, hex."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


BY_PIN: Final = "PIN"
BY_BADGE: Final = "badge"
BADGE_AND_PIN: Final = "badge and PIN"
_BADGE_WAITS: Final = timedelta(minutes=2)
_LONGEST_NAME: Final = 40
_KNOWN: Final = "SELECT 1 FROM pin WHERE person = ?1 UNION ALL SELECT 1 FROM badge WHERE person = ?1"
_CODE_TRIES: Final = 10
"""After so many wrong codes there is another one, so that none is ever guessed (1 in 10,000,000)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DeskKept:
    """One browser that was let in. ``key_hash``: SHA-256 of the key in its cookie. ``since``: UTC text."""

    name: str
    key_hash: str
    since: str


@dataclass(slots=True)
class SignedIn:
    """The person signed in at a desk, until a moment that each action moves on. ``how``: by PIN, by badge."""

    name: str
    until: datetime
    how: str


class Desks:
    """The desks that were let in, the code for the next one, and who is signed in at which.

    ``new_code`` hears each code that counts from now on: the machine shows it.
    """

    def __init__(
        self,
        store: sqlite3.Connection,
        *,
        now: Callable[[], datetime],
        new_code: Callable[[str], None] | None = None,
    ) -> None:
        self._store = store
        self._now = now
        self._signed: dict[str, SignedIn] = {}
        self._badges: dict[str, SignedIn] = {}
        self._new_code = new_code
        self._code = self._wrong = 0

    # Who comes in

    def of_key(self, key: str) -> DeskKept | None:
        """Return the desk whose cookie holds that key; None for any other text."""
        return next((each for each in self.all() if each.key_hash == hash_of(key)), None)

    def all(self) -> tuple[DeskKept, ...]:
        """Return every desk that was let in, by name."""
        rows = self._store.execute("SELECT name, key_hash, since FROM desk ORDER BY name")
        return tuple(DeskKept(name=row[0], key_hash=row[1], since=row[2]) for row in rows)

    def let_in(self) -> tuple[DeskKept, str]:
        """Keep a new desk and return it with its key, which stands nowhere else."""
        key = secrets.token_urlsafe(32)
        names = {name_key(each.name) for each in self.all()}
        name = next(f"Desk {at}" for at in range(1, len(names) + 2) if name_key(f"Desk {at}") not in names)
        desk = DeskKept(name=name, key_hash=hash_of(key), since=utc_text(self._now()))
        self._store.execute(
            "INSERT INTO desk (name, key_hash, since) VALUES (?, ?, ?)", (name, desk.key_hash, desk.since)
        )
        return desk, key

    def let_in_by_code(self, code: str) -> tuple[DeskKept, str]:
        """Let a desk in by the code that the machine shows, which counts once. Raises Refused."""
        typed = "".join(code.split())
        if not self._code or not secrets.compare_digest(typed.encode(), f"{self._code}".encode()):
            self._wrong += 1
            if self._wrong >= _CODE_TRIES:
                self.show_code()
            raise Refused(
                "that is not the code which the shop's machine shows now",
                cure="read it there again; it changes each time it is used",
            )
        self.show_code()
        return self.let_in()

    def show_code(self) -> None:
        """Make another code, and have it shown at the machine."""
        self._code, self._wrong = 10_000_000 + secrets.randbelow(90_000_000), 0
        if self._new_code is not None:
            self._new_code(f"{self._code // 10000} {self._code % 10000:04}")

    def rename(self, desk: DeskKept, name: str) -> DeskKept:
        """Give a desk another name. Raises BadInput for none, Refused for that of another desk."""
        with or_bad_input("that is no name of a desk:", cure='write it like "Counter 2"'):
            kept = checked_name(name)
        if len(kept) > _LONGEST_NAME:
            raise BadInput("that name is too long for a desk", cure=f"at most {_LONGEST_NAME} characters")
        if name_key(kept) in {name_key(each.name) for each in self.all() if each != desk}:
            raise Refused(f"there is a desk {kept} already", cure="take another name")
        self._store.execute("UPDATE desk SET name = ? WHERE key_hash = ?", (kept, desk.key_hash))
        return replace(desk, name=kept)

    def throw_out(self, name: str) -> None:
        """Forget a desk: its browser is asked for a code again. Raises Refused where there is none."""
        gone = next((each for each in self.all() if each.name == name), None)
        if gone is None:
            raise Refused(f"there is no desk {name!r}", cure="see the list of desks")
        self._store.execute("DELETE FROM desk WHERE key_hash = ?", (gone.key_hash,))
        self.sign_out(gone)

    # Who is signed in

    def sign_in(self, desk: DeskKept, name: str, *, minutes: int, how: str) -> None:
        """Note the person at a desk from now on, for so many minutes without an action."""
        self._signed[desk.key_hash] = SignedIn(name, self._now() + timedelta(minutes=minutes), how)
        self._badges.pop(desk.key_hash, None)

    def show_badge(self, desk: DeskKept, name: str) -> None:
        """Note that a badge was scanned there, which counts with a PIN that is typed right after."""
        self._badges[desk.key_hash] = SignedIn(name, self._now() + _BADGE_WAITS, BADGE_AND_PIN)

    def badge_shown(self, desk: DeskKept) -> str:
        """Return whose badge was scanned there and waits for its PIN; "" for nobody's."""
        shown = self._badges.get(desk.key_hash)
        return shown.name if shown is not None and shown.until >= self._now() else ""

    def signed_how(self, desk: DeskKept) -> str:
        """Return how the person who is signed in there was known; "" for nobody."""
        signed = self._signed.get(desk.key_hash)
        return signed.how if signed is not None else ""

    def sign_out(self, desk: DeskKept) -> None:
        """Note that nobody stands at it any more."""
        self._signed.pop(desk.key_hash, None)

    def signed_in(self, desk: DeskKept, *, minutes: int = 0) -> str:
        """Return who is signed in there, "" for nobody. ``minutes``: it was an action, which counts anew.

        It ends with the person's PIN and badge, which go where the name is taken out of the ledger.
        """
        signed = self._signed.get(desk.key_hash)
        if (
            signed is None
            or signed.until < self._now()
            or not self._store.execute(_KNOWN, (name_key(signed.name),)).fetchone()
        ):
            self.sign_out(desk)
            return ""
        if minutes:
            signed.until = self._now() + timedelta(minutes=minutes)
        return signed.name


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
