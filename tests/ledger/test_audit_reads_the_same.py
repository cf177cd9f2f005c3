"""The audit's fast reading against a slow one, of histories that nobody would plan and of files that somebody
changed: forged, cut and reordered entries, lost notes, bytes that are no text.
"""

from __future__ import annotations

import hashlib
import json
import random
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from fleet.audit import histories
from fleet.audit.full import audit_file
from fleet.base import entries, kept_names
from fleet.base.entries import GENESIS, canonical_json
from fleet.checks import chain
from tests.counter.shop import IDA, Shop
from tests.ledger.random_history import ACTIONS, RandomHistory

LATER = datetime(2026, 12, 28, 8, 0, tzinfo=UTC)
Row = dict[str, Any]


def digest(row: Row) -> str:
    """The hash of an entry, from FORMATS' own words: a JSON list without spaces."""
    said = [row[name] for name in list(row)[:9]]
    return hashlib.sha256(json.dumps(said, ensure_ascii=False, separators=(",", ":")).encode()).hexdigest()


def rows_of(path: Path, table: str = "entries") -> dict[int, Row]:
    with closing(sqlite3.connect(path)) as file:
        file.text_factory = lambda raw: raw.decode("utf-8", "surrogateescape")
        file.row_factory = sqlite3.Row
        return {row["seq"]: dict(row) for row in file.execute(f"SELECT * FROM {table} ORDER BY seq")}


def slowly(path: Path) -> tuple[str | None, int]:
    """Return the first fault of the chain in words and the number of entries at fault, row by row."""
    faults, after, before = [], 0, GENESIS
    notes = rows_of(path, "notes")
    for seq, row in rows_of(path).items():
        if seq != after + 1:
            faults.append(f"entry {after + 1} is missing")
            before = ""
        fault = fault_of(row, notes.get(seq), before, seq - 1)
        faults += [f"entry {seq} {fault}"] if fault else []
        after, before = seq, row["hash"]
    return (faults or [None])[0], len(faults)


def fault_of(row: Row, note: Row | None, before: str, after: int) -> str | None:
    if before and row["prev_hash"] != before:
        return f"does not follow from entry {after}: one of them was changed"
    try:
        if digest(row) != row["hash"]:
            return "was changed since it was written"
    except UnicodeEncodeError:
        return "was changed: it is not text any more"
    if row["note_hash"] is None:
        return "has a note now that it was not written with" if note else None
    if note is None:
        return "has lost its note"
    if note["text"] is None:
        return None if note["redacted_by"] and note["salt"] == "" else "has lost the text of its note"
    kept = f"{note['salt']}\n{note['text']}".encode("utf-8", "surrogateescape")
    sound = hashlib.sha256(kept).hexdigest() == row["note_hash"] and note["redacted_by"] is None
    return None if sound else "has a note that was changed"


Statement = tuple[str, tuple[Any, ...]]
Damage = Callable[[Path, random.Random], Iterator[Statement]]


def a_word(path: Path, rng: random.Random) -> Iterator[Statement]:
    column = rng.choice(["recorded_at_utc", "zone", "by", "what", "body", "hash", "prev_hash"])
    yield f"UPDATE entries SET {column} = {column} || 'x' WHERE seq = ?", (one(path, rng),)


def no_text(path: Path, rng: random.Random) -> Iterator[Statement]:
    column = rng.choice(["by", "body", "zone"])
    yield f"UPDATE entries SET {column} = CAST(x'6bff' AS TEXT) WHERE seq = ?", (one(path, rng),)


def cut_within(path: Path, rng: random.Random) -> Iterator[Statement]:
    first = one(path, rng)
    yield "DELETE FROM entries WHERE seq BETWEEN ? AND ?", (first, first + rng.choice((0, 3)))


def cut_at_the_end(path: Path, rng: random.Random) -> Iterator[Statement]:
    yield "DELETE FROM entries WHERE seq > ?", (one(path, rng),)


def reordered(path: Path, rng: random.Random) -> Iterator[Statement]:
    one_seq, other = sorted(rng.sample(sorted(rows_of(path)), 2))
    for old, new in ((one_seq, -5), (other, one_seq), (-5, other)):
        yield "UPDATE entries SET seq = ? WHERE seq = ?", (new, old)


def a_note(path: Path, rng: random.Random) -> Iterator[Statement]:
    seq = rng.choice(sorted(rows_of(path, "notes")))
    yield rng.choice(
        [
            ("UPDATE notes SET text = text || '!' WHERE seq = ?", (seq,)),
            ("UPDATE notes SET text = NULL WHERE seq = ?", (seq,)),
            ("DELETE FROM notes WHERE seq = ?", (seq,)),
            ("UPDATE notes SET text = CAST(x'ff' AS TEXT) WHERE seq = ?", (seq,)),
            ("UPDATE notes SET seq = seq + 1000000 WHERE seq = ?", (seq,)),
        ]
    )


BODIES = [
    *('{"tag":"P-1","tag":"P-2","said":false}', '{"tag":"P-1","said":1.5}', '{"tag":NaN}', "[]", "{", ""),
    *('{"tag":"\\ud800","said":true}', '{"tag":"P-1","said":123456789012345678901234567890}', "null"),
    canonical_json({"tag": "P-3", "boot": None, "due": None, "fit": "fit not checked"}),
    canonical_json({"name": "Mallory", "role": "manager", "valid_until": "2099-01-01"}),
]


def forged(path: Path, rng: random.Random) -> Iterator[Statement]:
    """Another body, and every hash from there on made again: the chain holds, the state betrays it."""
    rows, chosen = rows_of(path), one(path, rng)
    before = None
    for seq, row in rows.items():
        if seq < chosen:
            continue
        if seq == chosen:
            row["body"] = rng.choice(BODIES)
            row["what"] = rng.choice(["pair out", "pair back", "staff listed", row["what"], "nothing known"])
        row["prev_hash"] = before or row["prev_hash"]
        before = row["hash"] = digest(row)
        places = ", ".join(f"{name} = ?" for name in row)
        yield f"UPDATE entries SET {places} WHERE seq = ?", (*row.values(), seq)


def untouched(path: Path, rng: random.Random) -> Iterator[Statement]:
    return iter(())


def one(path: Path, rng: random.Random) -> int:
    return rng.choice(sorted(rows_of(path)))


DAMAGES: list[Damage] = [*(a_word, no_text, cut_within, cut_at_the_end, reordered, a_note, forged, untouched)]


def by_hand(path: Path, statements: Iterator[Statement]) -> None:
    """Guards off, the change, guards on again."""
    with closing(sqlite3.connect(path)) as file:
        guards = file.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'").fetchall()
        for name, _ in guards:
            file.execute(f"DROP TRIGGER {name}")
        for statement, values in list(statements):
            file.execute(statement, values)
        for _, text in guards:
            file.execute(text)
        file.commit()


@pytest.mark.parametrize("damage", DAMAGES, ids=lambda damage: damage.__name__)
@pytest.mark.parametrize("seed", [1, 2, pytest.param(range(3, 40), marks=pytest.mark.long)], ids=str)
def test_the_fast_reading_finds_what_a_slow_one_finds(
    shop: Shop, damage: Damage, seed: int | range, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(chain, "_AT_ONCE", 16)
    path = shop.ledger.path
    for each in [seed] if isinstance(seed, int) else seed:
        rng = random.Random(each)
        with shop.ledger.transaction(by=IDA, now=shop.now) as tx:
            hand = RandomHistory(tx, start=shop.now)
            for _ in range(60):
                hand.enter(rng.choice(sorted(ACTIONS)), rng.randrange(2**32))
            shop.now = max(shop.now, hand.now)
        spoilt = path.with_name(f"{each}.db")
        spoilt.write_bytes(path.read_bytes())
        by_hand(spoilt, damage(spoilt, rng))
        report = audit_file(spoilt, now=LATER)
        said, count = slowly(spoilt)
        chained = [f.sentence for f in report.findings if f.code == "chain"]
        more = [f"{count} entries are damaged or missing in all"] * (count > 1)
        assert chained == [*([said] if said else []), *more]
        with monkeypatch.context() as slow:
            slow.setattr(chain, "_at_once", lambda *_: [])
            slow.setattr(kept_names, "msgspec", TakesNothing)
            slow.setattr(entries, "_FAST_BODY", TakesNothing)
            slow.setattr(histories.Histories, "_staff", read_each_time)
            assert audit_file(spoilt, now=LATER).to_json() == report.to_json()


class TakesNothing:
    """A fast reader and writer that leaves all to the slow one."""

    json: Any

    @staticmethod
    def encode(_: object) -> bytes:
        raise TypeError

    @staticmethod
    def decode(_: object) -> object:
        raise ValueError


TakesNothing.json = TakesNothing


def read_each_time(self: histories.Histories) -> dict[str, tuple[str, str]]:
    rows = self._state.execute("SELECT name, role, valid_until FROM staff ORDER BY entry")
    return {entries.name_key(name): (role, until) for name, role, until in rows}


def test_the_staff_list_is_the_one_before_each_entry(shop: Shop) -> None:
    looked = {"tag": "P-1", "kind": "recheck", "found": {}, "moved": [], "outcome": "pass", "cause": ""}
    found = {}
    for role in (None, "technician", "counter", "manager"):
        if role:
            shop.enter("staff listed", {"name": "Ned", "role": role, "valid_until": "2027-05-31"})
        seq = shop.enter("pair looked at", looked | {"pattern": "", "mount_entry": 0}, by="Ned")
        found[seq] = role
    codes = {f.entry: f.code for f in audit_file(shop.ledger.path, now=LATER).findings}
    assert {role: codes.get(seq) for seq, role in found.items()} == {
        None: "not on the staff list",
        "technician": None,
        "counter": "wrong role",
        "manager": None,
    }
