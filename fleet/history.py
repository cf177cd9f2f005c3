"""The ledger as it stood, and everything ever entered about one pair.

"As of a day" means: as the shop *knew* it at the end of that day. What was entered later about an
earlier time is not in that picture, and is listed beside it.
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from fleet.entries import Entry, Head, canonical_json, utc_text
from fleet.equipment import Binding, Pair
from fleet.errors import BadInput, Refused
from fleet.ledger import Ledger, read_entries
from fleet.replay import state_at as replayed
from fleet.snapshot import read_bindings, read_pairs


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One entry with its free text. ``note`` is None where there is none or it was blanked."""

    entry: Entry
    note: str | None = None
    blanked_by: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PairHistory:
    """A pair as it stood at ``head``, and what led there, oldest first.

    ``later`` holds entries made after that about a time before it; empty for the newest head.
    """

    pair: Pair
    bindings: tuple[Binding, ...]
    head: Head
    zone: str
    as_of: date | None
    told: tuple[Told, ...]
    later: tuple[Told, ...] = ()


def end_of_day(day: date, zone: str) -> datetime:
    """The first moment of the next day by the shop's calendar (aware)."""
    return datetime.combine(day + timedelta(days=1), time(), ZoneInfo(zone))


def head_before(connection: sqlite3.Connection, moment: datetime) -> Head:
    """The newest entry that was *recorded* before a moment. Refused where there is none."""
    row = connection.execute(
        "SELECT seq, hash FROM entries WHERE seq = (SELECT max(seq) FROM entries WHERE recorded_at_utc < ?)",
        (utc_text(moment),),
    ).fetchone()
    if row is None:
        raise Refused("the ledger was not open yet on that day", cure="name a later day")
    return Head(*row)


def head_at(connection: sqlite3.Connection, seq: int) -> Head:
    """The head as it was when entry ``seq`` was the newest. Refused where there is no such entry."""
    row = connection.execute("SELECT seq, hash FROM entries WHERE seq = ?", (seq,)).fetchone()
    if row is None:
        raise Refused(f"there is no entry {seq} in this ledger")
    return Head(*row)


@contextmanager
def state_at(ledger: Ledger, head: Head) -> Iterator[sqlite3.Connection]:
    """The state tables as they stood at a head: the file's own for the newest, else made in memory."""
    if head == ledger.head:
        with ledger.reading() as connection:
            yield connection
        return
    with contextlib.closing(replayed(ledger, head.seq)) as memory:
        yield memory


def pair_history(ledger: Ledger, tag: str, *, as_of: date | None = None) -> PairHistory:
    """Everything about one pair, today or as the shop knew it at the end of a day.

    Raises Refused where the pair was not in the ledger (yet).
    """
    zone = ledger.zone
    head = ledger.head if as_of is None else head_before(ledger.connection, end_of_day(as_of, zone))
    with state_at(ledger, head) as state:
        pairs = read_pairs(state, tag)
        if tag not in pairs:
            raise _unknown(ledger, tag, as_of)
        bindings = tuple(binding for binding in read_bindings(state).values() if binding.on_pair == tag)
    told = tuple(entries_about(ledger.connection, tag))
    limit = utc_text(end_of_day(as_of, zone)) if as_of is not None else ""
    return PairHistory(
        pair=pairs[tag],
        bindings=bindings,
        head=head,
        zone=zone,
        as_of=as_of,
        told=tuple(one for one in told if one.entry.seq <= head.seq),
        later=tuple(one for one in told if one.entry.seq > head.seq and one.entry.stated_at_utc < limit),
    )


def entries_about(connection: sqlite3.Connection, tag: str) -> Iterator[Told]:
    """Every entry that names the pair, its holes, bindings or orders, or one of those entries.

    The text search only picks candidates (a tag may also be a word of something else); each is then
    read. Two scans of the entries: the second looks for what the first one taught.
    """
    seqs = _naming(connection, {tag}, prefix=f"{tag}/")
    names = {name for entry in _read(connection, seqs) for name in _names_taught(entry.body, tag)}
    if names:
        seqs |= _naming(connection, names)
    seqs |= _about(connection, seqs)
    for entry in _read(connection, seqs):
        row = connection.execute("SELECT text, redacted_by FROM notes WHERE seq = ?", (entry.seq,)).fetchone()
        yield Told(entry=entry, note=row[0] if row else None, blanked_by=row[1] if row else None)


def _naming(connection: sqlite3.Connection, names: set[str], *, prefix: str | None = None) -> set[int]:
    quoted = {name: canonical_json({"": name})[4:-1] for name in sorted(names)}
    needles = list(quoted.values())
    if prefix is not None:
        needles.append(canonical_json({"": prefix})[4:-2])
    found: set[int] = set()
    for start in range(0, len(needles), 50):
        part = needles[start : start + 50]
        where = " OR ".join(["instr(body, ?) > 0"] * len(part))
        for seq, body in connection.execute(f"SELECT seq, body FROM entries WHERE {where}", part):
            texts = set(_texts(json.loads(body)))
            if texts & names or (prefix and any(text.startswith(prefix) for text in texts)):
                found.add(seq)
    return found


def _names_taught(body: Any, tag: str) -> Iterator[str]:
    """Ids of bindings that were ever on the pair, and numbers of its work orders."""
    if body.get("on_pair") == tag or tag in (body.get("changes") or {}).get("on_pair", ()):
        yield body["binding_id"]
    for row in body.get("bindings") or ():
        yield row["binding_id"]
    if isinstance(body.get("number"), str) and body.get("tag") == tag:
        yield body["number"]


def _about(connection: sqlite3.Connection, seqs: set[int]) -> set[int]:
    """Entries about entries: withdrawn, remarked, blanked, undone."""
    return {
        seq
        for seq, about in connection.execute(
            "SELECT seq, json_extract(body, '$.entry') FROM entries"
            " WHERE what IN ('entry withdrawn', 'entry remarked', 'note blanked')"
        )
        if about in seqs
    }


def _read(connection: sqlite3.Connection, seqs: set[int]) -> Iterator[Entry]:
    for seq in sorted(seqs):
        yield from read_entries(connection, after=seq - 1, until=seq)


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from _texts(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _texts(inner)


def _unknown(ledger: Ledger, tag: str, as_of: date | None) -> Refused:
    from difflib import get_close_matches

    tags = [row[0] for row in ledger.connection.execute("SELECT tag FROM pair ORDER BY tag")]
    if as_of is not None and tag in tags:
        return Refused(
            f"pair {tag} was not in the ledger yet on {as_of.isoformat()}", cure="name a later day"
        )
    near = get_close_matches(tag, tags, n=1)
    return Refused(
        f"there is no pair {tag} in the ledger", cure=f"did you mean {near[0]}?" if near else "check the tag"
    )


def parse_day(text: str) -> date:
    """A day as people type it in commands, ``2026-11-25``; BadInput for anything else."""
    try:
        return date.fromisoformat(text.strip())
    except ValueError as fault:
        raise BadInput(f"{text!r} is not a day", cure="write it like 2026-11-25") from fault
