"""The desks of the shop: each browser that was let in, its name, and who is signed in there.

Desks, PINs and badges are kept in a file beside the server: in no entry, backup, export or case. It stands
with the user's settings and not with the ledger, so that whoever copies the ledger's folder copies no key. It
holds hashes only. Lost, it is made anew: desks are let in again and PINs set again.
"""

import hashlib
import secrets
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from fleet.base.entries import checked_name, name_key, utc_text
from fleet.base.errors import BadInput, MountbookError, Refused

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
            file.parent.mkdir(parents=True, exist_ok=True)
            file.touch(mode=0o600)
        opened = sqlite3.connect(file or ":memory:", isolation_level=None, check_same_thread=False)
        opened.execute("PRAGMA secure_delete = ON")
        for table in _TABLES:
            opened.execute(table)
    except (OSError, sqlite3.Error) as fault:
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
        try:
            kept = checked_name(name)
        except ValueError as fault:
            raise BadInput(f"that is no name of a desk: {fault}", cure='write it like "Counter 2"') from fault
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
