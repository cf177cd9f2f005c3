"""An entry: one thing that happened, canonical and chained to the one before it."""

import hashlib
import json
import re
import unicodedata
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from json.encoder import encode_basestring
from typing import Any, Final

import msgspec

Body = dict[str, Any]
GENESIS = "0" * 64
_LARGEST = 2**53 - 1
_PLAIN = frozenset((str, bool, type(None)))
_TEXT: Final = re.compile(r'"(?:[^"\\]|\\.)*"')
"""A text in JSON, with its quotes."""
_BODY = json.JSONEncoder(sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
_FAST_BODY = msgspec.json.Encoder(order="deterministic")
"""Writes the same text; what it does not take is left to the other (tests/ledger/test_entries.py)."""


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
        """Return whether the stated time is not the time of writing."""
        return self.stated_at_utc != self.recorded_at_utc


@dataclass(frozen=True, slots=True)
class Head:
    """The newest entry: the number and hash printed on every sheet."""

    seq: int
    hash: str

    def __str__(self) -> str:
        return f"{self.seq}:{self.hash[:8]}"

    @property
    def full(self) -> str:
        """The number with the whole hash, for a program to compare."""
        return f"{self.seq}:{self.hash}"


def canonical_json(body: Body) -> str:
    """The one text of a body: sorted keys, no spaces, whole numbers only.

    Raises ValueError for floats (two machines print them differently), whole numbers beyond 2**53 - 1
    (RFC 7493, I-JSON: other readers would round them), text that is not text, and odd types.
    """
    try:
        _check(body)
        text = sorted_json(body)
    except RecursionError:
        raise ValueError("an entry does not nest that deep") from None
    for said in _TEXT.findall(text) if "\\u0000" in text else ():
        checked_text(json.loads(said))
    return checked_text(text)


def sorted_json(said: Body) -> str:
    """`canonical_json` without its checks, for values that were read from an entry or from its tables."""
    try:
        return _FAST_BODY.encode(said).decode()
    except (TypeError, ValueError):
        return _BODY.encode(said)


def fact_in(body_json: str, key: str) -> Any:
    """Return a fact of a stored body; None where it has none, and where it was changed so that it is no body.

    What reads a file that may be damaged asks so; the audit says what is wrong with the entry itself.
    """
    try:
        said = json.loads(body_json)
    except ValueError:
        return None
    return said.get(key) if isinstance(said, dict) else None


def _check(value: object) -> None:
    """Most of a body is texts, small numbers and nulls: those are passed without a call for each."""
    if isinstance(value, dict):
        for key, inner in value.items():
            if not isinstance(key, str):
                raise ValueError(f"entry keys are text, not {key!r}")
            kind = type(inner)
            if kind in _PLAIN or (kind is int and -_LARGEST <= inner <= _LARGEST):
                continue
            _check(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            if type(inner) not in _PLAIN:
                _check(inner)
    elif isinstance(value, int):
        if not -_LARGEST <= value <= _LARGEST:
            raise ValueError(f"{value} is too large a number for an entry")
    elif value is not None and not isinstance(value, str):
        raise ValueError(f"an entry holds text, whole numbers, true, false and null, not {value!r}")


def checked_text(text: str) -> str:
    """The text, or ValueError where other programs would cut it short (NUL) or could not read it."""
    if "\0" in text:
        raise ValueError(f"text with a NUL character cannot be entered: {text[:40]!r}")
    try:
        text.encode()
    except UnicodeEncodeError:
        shown = text[:40].encode("utf-8", "backslashreplace").decode()
        raise ValueError(f"text with half a character (no UTF-8) cannot be entered: '{shown}'") from None
    return text


def checked_name(name: str) -> str:
    """A person's name as it is kept: composed (NFC), single spaces, no soft hyphens, nothing unprintable.

    So that one person typed on two machines is one name, and cannot sign as a second person.
    Raises ValueError for an empty name or one with control characters.
    """
    seen = unicodedata.normalize("NFC", checked_text(name)).translate(_FALLS_AWAY)
    kept = " ".join(seen.split())
    if not kept:
        raise ValueError("every entry needs a name")
    if not kept.isprintable():
        raise ValueError(f"{kept!r} is not a name: it holds characters that cannot be printed")
    return kept


@lru_cache(maxsize=1024)
def name_key(name: str) -> str:
    """Return what two names are compared by, never what is shown: composed, without case, single spaces,
    one hyphen for all of them, nothing unseen.

    Taken apart and put together again on both sides of the case fold, which may undo it; the
    compatibility form (NFKC) knows the no-break spaces and wide letters that other machines type.
    """
    folded = unicodedata.normalize("NFKC", name).casefold()
    key = _seen(unicodedata.normalize("NFKC", folded))
    one_hyphen = ("-" if c == _MINUS or unicodedata.category(c) == "Pd" else c for c in key)
    return " ".join("".join(one_hyphen).split())


_MINUS: Final = "\N{MINUS SIGN}"
_FALLS_AWAY: Final = dict.fromkeys(map(ord, "\N{SOFT HYPHEN}\u200b\u200c\u200d\u2060\ufeff"))
"""The soft hyphen and spaces without width, which a text pasted from a page brings along. A sign that turns
the direction of writing stays, and is refused: such a name reads as another.
"""
_UNSEEN: Final = "Cf"
"""The class of all such signs: two names are compared without them."""


def _seen(text: str) -> str:
    return text if text.isascii() else "".join(c for c in text if unicodedata.category(c) != _UNSEEN)


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
    """SHA-256 over all that an entry says, and over the entry before it. Hex, 64 characters.

    Raises TypeError for what is no text.
    """
    texts = (recorded_at_utc, stated_at_utc, zone, by, what, body_json)
    before = ",".join(map(encode_basestring, texts))
    noted = "null" if note_hash is None else encode_basestring(note_hash)
    said = f"[{seq},{before},{noted},{encode_basestring(prev_hash)}]"  # a JSON list without spaces
    return hashlib.sha256(said.encode()).hexdigest()


def note_digest(salt: str, text: str) -> str:
    """Salted SHA-256 of a free text, so that blanking the text later does not break the chain."""
    return hashlib.sha256(f"{salt}\n{text}".encode()).hexdigest()


def utc_text(moment: datetime) -> str:
    """An aware time as UTC text that sorts as it happened: ``2026-11-25T16:50:00.000Z``.

    To the millisecond, so that a return and the pass scanned after it are never at the same time.
    Raises ValueError for a time without a zone: an hour that might be two hours is not a time.
    """
    if moment.tzinfo is None:
        raise ValueError("a time without a zone cannot be entered")
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").removesuffix("+00:00") + "Z"


def parse_utc(text: str) -> datetime:
    """Back from `utc_text`."""
    return datetime.fromisoformat(text).astimezone(UTC)
