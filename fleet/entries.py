"""An entry: one thing that happened, canonical and chained to the one before it."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

Body = dict[str, Any]
GENESIS = "0" * 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One row of the ledger.

    ``recorded_at_utc`` is when the row was written, ``stated_at_utc`` when the person says it happened
    (equal unless entered later). ``note_hash`` ties free text to the chain without being it.
    """

    seq: int
    recorded_at_utc: str
    stated_at_utc: str
    zone: str
    by: str
    what: str
    body: Body
    note_hash: str | None
    prev_hash: str
    hash: str

    @property
    def entered_later(self) -> bool:
        """Whether the stated time is not the time of writing."""
        return self.stated_at_utc != self.recorded_at_utc


@dataclass(frozen=True, slots=True)
class Head:
    """The newest entry: the number and hash printed on every sheet."""

    seq: int
    hash: str

    def __str__(self) -> str:
        return f"{self.seq}:{self.hash[:8]}"


def canonical_json(body: Body) -> str:
    """The one text of a body: sorted keys, no spaces, whole numbers only.

    Raises ValueError for floats (two machines print them differently), non-text keys and odd types.
    """
    _refuse_floats(body)
    return json.dumps(body, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def _refuse_floats(value: object) -> None:
    if isinstance(value, dict):
        for key, inner in value.items():
            if not isinstance(key, str):
                raise ValueError(f"entry keys are text, not {key!r}")
            _refuse_floats(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            _refuse_floats(inner)
    elif value is not None and not isinstance(value, str | int):
        raise ValueError(f"an entry holds text, whole numbers, true, false and null, not {value!r}")


def entry_hash(
    *,
    seq: int,
    recorded_at_utc: str,
    stated_at_utc: str,
    zone: str,
    by: str,
    what: str,
    body_json: str,
    note_hash: str | None,
    prev_hash: str,
) -> str:
    """SHA-256 over all that an entry says, and over the entry before it. Hex, 64 characters."""
    said = json.dumps(
        [seq, recorded_at_utc, stated_at_utc, zone, by, what, body_json, note_hash, prev_hash],
        ensure_ascii=False,
        separators=(",", ":"),
    )
    return hashlib.sha256(said.encode()).hexdigest()


def note_digest(salt: str, text: str) -> str:
    """Salted SHA-256 of a free text, so that blanking the text later does not break the chain."""
    return hashlib.sha256(f"{salt}\n{text}".encode()).hexdigest()


def utc_text(moment: datetime) -> str:
    """An aware time as UTC text that sorts as it happened: ``2026-11-25T16:50:00.000Z``.

    To the millisecond, so that a return and the pass scanned after it are never at the same time. Raises ValueError for a time without a zone: an hour that might be two hours is not a time.
    """
    if moment.tzinfo is None:
        raise ValueError("a time without a zone cannot be entered")
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").removesuffix("+00:00") + "Z"


def parse_utc(text: str) -> datetime:
    """Back from `utc_text`."""
    return datetime.fromisoformat(text).astimezone(UTC)
