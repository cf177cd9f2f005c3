"""The desks of the shop: each browser that was let in, under a name of its own; kept beside the server.

The file stands with the user's settings, not with the ledger: what lets somebody in is in no entry, backup,
export or case. A browser's key is kept as its hash.
"""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

from fleet.base.entries import checked_name, name_key, utc_text
from fleet.base.errors import BadInput, MountbookError, Refused
from fleet.base.files import drop, fresh_beside, sync_file

_LONGEST_NAME: Final = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class DeskKept:
    """One browser that was let in. ``key_hash``: SHA-256 of the key in its cookie. ``since``: UTC text."""

    name: str
    key_hash: str
    since: str


@dataclass(slots=True)
class SignedIn:
    """The person signed in at a desk, until a moment that each action moves on."""

    name: str
    until: datetime


class Desks:
    """The desks that were let in, and who is signed in at which. ``file`` None: kept in memory (tests)."""

    def __init__(self, file: Path | None, *, now: Callable[[], datetime]) -> None:
        self._file = file
        self._now = now
        self._said = _read(file) if file is not None else {}
        self._desks = [DeskKept(**each) for each in self._said.get("desks", [])]
        self._signed: dict[str, SignedIn] = {}

    def of_key(self, key: str) -> DeskKept | None:
        """Return the desk whose cookie holds that key; None for any other text."""
        wanted = _hash(key)
        return next((each for each in self._desks if secrets.compare_digest(each.key_hash, wanted)), None)

    def all(self) -> tuple[DeskKept, ...]:
        """Return every desk that was let in, the first one first."""
        return tuple(self._desks)

    def let_in(self, name: str = "") -> tuple[DeskKept, str]:
        """Keep a new desk and return it with its key, which stands nowhere else."""
        key = secrets.token_urlsafe(32)
        names = {name_key(each.name) for each in self._desks}
        free = next(f"Desk {at}" for at in range(1, len(names) + 2) if name_key(f"Desk {at}") not in names)
        desk = DeskKept(
            name=self._free_name(name) if name else free, key_hash=_hash(key), since=utc_text(self._now())
        )
        self._desks.append(desk)
        self._keep()
        return desk, key

    def rename(self, desk: DeskKept, name: str) -> DeskKept:
        """Give a desk another name. Raises BadInput for none, Refused for that of another desk."""
        if name_key(name) == name_key(desk.name):
            return desk
        named = replace(desk, name=self._free_name(name))
        self._desks = [named if each is desk else each for each in self._desks]
        self._keep()
        return named

    def sign_out(self, desk: DeskKept) -> None:
        """Note that nobody stands at it any more."""
        self._signed.pop(desk.key_hash, None)

    def signed_in(self, desk: DeskKept, *, minutes: int = 0) -> str:
        """Return who is signed in there, "" for nobody. ``minutes``: it was an action, which counts anew."""
        signed = self._signed.get(desk.key_hash)
        if signed is None or signed.until < self._now():
            self.sign_out(desk)
            return ""
        if minutes:
            signed.until = self._now() + timedelta(minutes=minutes)
        return signed.name

    def _free_name(self, name: str) -> str:
        try:
            kept = checked_name(name)
        except ValueError as fault:
            raise BadInput(f"that is no name of a desk: {fault}", cure='write it like "Counter 2"') from fault
        if len(kept) > _LONGEST_NAME:
            raise BadInput("that name is too long for a desk", cure=f"at most {_LONGEST_NAME} characters")
        if name_key(kept) in {name_key(each.name) for each in self._desks}:
            raise Refused(f"there is a desk {kept} already", cure="take another name")
        return kept

    def _keep(self) -> None:
        self._said |= {"desks": [asdict(each) for each in self._desks]}
        if self._file is not None:
            _write(self._file, self._said)


def desks_file(settings: Path, ledger: Path) -> Path:
    """Return the place of the desks of a ledger, in the user's settings."""
    return settings / f"desks_{_hash(str(ledger.resolve()))[:16]}.json"


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _read(file: Path) -> dict[str, Any]:
    try:
        said = json.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, ValueError) as fault:
        raise MountbookError(
            f"{file} cannot be read: {fault}",
            cure="delete it: desks are let in anew, and PINs set anew; the ledger is not touched",
        ) from fault
    return said if isinstance(said, dict) else {}


def _write(file: Path, said: dict[str, Any]) -> None:
    """Write it whole or not at all, for nobody else on this machine to read."""
    file.parent.mkdir(parents=True, exist_ok=True)
    beside = fresh_beside(file)
    try:
        beside.write_text(json.dumps(said, ensure_ascii=False), encoding="utf-8")
        sync_file(beside)
        beside.replace(file)
    finally:
        drop(beside)
