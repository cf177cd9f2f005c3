"""Every way we know to change what was entered, tried on the file, from outside and from inside."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
import sqlite_utils

from fleet.audit.backup import rebuild
from fleet.audit.full import audit_file
from fleet.audit.heads import parse_head
from fleet.base.entries import entry_hash
from fleet.base.errors import LedgerFault, Refused
from fleet.ledger.ledger import Ledger
from fleet.tables.connection import connect, trust
from fleet.tables.layout import LATCH
from tests.counter.shop import JORY, WIM, Shop

_AN_ENTRY = "'2026-12-27T08:00:00.000Z', '2026-12-27T08:00:00.000Z', 'UTC', 'x', 'pair out', '{}', NULL"
_NEXT = f"INSERT INTO entries SELECT seq + 1, {_AN_ENTRY}, hash, hash FROM entries ORDER BY seq DESC LIMIT 1"

REFUSED = {
    "update an entry": "UPDATE entries SET by = 'somebody else' WHERE seq = 5",
    "update the newest": "UPDATE entries SET body = '{}' WHERE seq = (SELECT max(seq) FROM entries)",
    "update by primary key change": "UPDATE OR REPLACE entries SET seq = 4 WHERE seq = 5",
    "delete an entry": "DELETE FROM entries WHERE seq = 5",
    "delete all entries": "DELETE FROM entries",
    "insert or replace an old one": f"INSERT OR REPLACE INTO entries VALUES (5, {_AN_ENTRY}, '', '')",
    "replace the newest": f"REPLACE INTO entries SELECT max(seq), {_AN_ENTRY}, '', '' FROM entries",
    "insert or ignore": f"INSERT OR IGNORE INTO entries VALUES (5, {_AN_ENTRY}, '', '')",
    "upsert": f"INSERT INTO entries VALUES (5, {_AN_ENTRY}, '', '') ON CONFLICT DO UPDATE SET by = 'y'",
    "insert with a gap": f"INSERT INTO entries VALUES (9999, {_AN_ENTRY}, '', '')",
    "insert without a number": f"INSERT INTO entries VALUES (NULL, {_AN_ENTRY}, '', '')",
    "insert before the first": f"INSERT INTO entries VALUES (0, {_AN_ENTRY}, '', '')",
    "append in the right order": _NEXT,
    "reword a note": "UPDATE notes SET text = 'all was well' WHERE text IS NOT NULL",
    "blank a note silently": "UPDATE notes SET text = NULL, salt = ''",
    "blank a note, naming some entry": "UPDATE notes SET text = NULL, salt = '', redacted_by = 1",
    "delete a note": "DELETE FROM notes",
    "replace a note": "INSERT OR REPLACE INTO notes SELECT seq, salt, 'all was well', NULL FROM notes",
    "add a note": "INSERT INTO notes VALUES (1, 'salt', 'text', NULL)",
    "free a held pair": "UPDATE standing SET place = 'ready' WHERE tag = 'P-3'",
    "free a held pair by replacing": "INSERT OR REPLACE INTO standing SELECT * FROM standing",
    "drop a hole": "DELETE FROM hole WHERE hole_id = 'P-1/A1'",
    "open an area": "INSERT INTO area VALUES (1, 'P-2', 'A', -300000, 300000, 'bare', '2026-12-01', 'x')",
    "list oneself": "INSERT INTO staff VALUES ('x', 'manager', '2099-01-01', 1)",
    "change the policy": "UPDATE policy SET value = '1'",
}


@pytest.mark.parametrize("name", REFUSED)
@pytest.mark.parametrize("recursive", ["ON", "OFF"])
def test_another_program_is_refused_and_changes_no_byte(path: Path, name: str, recursive: str) -> None:
    before = path.read_bytes()
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute(f"PRAGMA recursive_triggers = {recursive}")
        other.execute("PRAGMA foreign_keys = OFF")
        other.execute("PRAGMA ignore_check_constraints = ON")
        with pytest.raises(sqlite3.Error, match=r"append-only|only_mountbook_writes_here|must follow"):
            other.execute(REFUSED[name])
    assert path.read_bytes() == before


@pytest.mark.parametrize("name", REFUSED)
def test_our_own_connection_is_refused_outside_of_an_entry(shop: Shop, name: str) -> None:
    before = shop.dump()
    with pytest.raises(sqlite3.Error, match=r"append-only|not written by hand|must follow|note"):
        shop.ledger.connection.execute(REFUSED[name])
    assert shop.dump() == before


@pytest.mark.parametrize("name", REFUSED)
def test_code_that_forgot_the_entry_is_refused_inside_a_transaction(shop: Shop, name: str) -> None:
    before = shop.dump()
    with pytest.raises(LedgerFault), shop.ledger.transaction(by="x", now=shop.now) as transaction:
        transaction.connection.execute(REFUSED[name])
    assert shop.dump() == before


def test_an_attached_database_brings_no_way_in(path: Path, tmp_path: Path) -> None:
    before = path.read_bytes()
    with closing(sqlite3.connect(tmp_path / "other.db", isolation_level=None)) as other:
        other.execute("ATTACH ? AS ledger", (str(path),))
        other.execute("CREATE TABLE entries AS SELECT * FROM ledger.entries")
        for sql in (
            "INSERT OR REPLACE INTO ledger.entries SELECT * FROM main.entries",
            "DELETE FROM ledger.entries",
            "UPDATE ledger.standing SET place = 'ready'",
        ):
            with pytest.raises(sqlite3.Error):
                other.execute(sql)
    assert path.read_bytes() == before


def test_a_rival_that_defines_the_latch_still_meets_the_order_of_entries(path: Path) -> None:
    with closing(_rival(path)) as rival:
        for name in (
            "update an entry",
            "delete an entry",
            "insert or replace an old one",
            "upsert",
            "insert with a gap",
        ):
            with pytest.raises(sqlite3.Error):
                rival.execute(REFUSED[name])
        with pytest.raises(sqlite3.Error, match="may only be blanked"):
            rival.execute(REFUSED["reword a note"])


def _rival(path: Path) -> sqlite3.Connection:
    """Another program by somebody who has read our source."""
    rival = sqlite3.connect(path, isolation_level=None)
    rival.create_function(LATCH, 0, lambda: True)
    return rival


# What a determined hand can do with the guards off: not prevented, but shown.

SHOWN_AT_OPEN = {
    "a dropped trigger": (["DROP TRIGGER entries_no_update"], "trigger entries_no_update is missing"),
    "a changed trigger": (
        [
            "DROP TRIGGER entries_no_delete",
            "CREATE TRIGGER entries_no_delete BEFORE DELETE ON entries BEGIN SELECT 1; END",
        ],
        "trigger entries_no_delete was changed",
    ),
    "a schema edited in place": (
        [
            "PRAGMA writable_schema = ON",
            "DELETE FROM sqlite_schema WHERE name = 'standing_no_bare_update'",
        ],
        "trigger standing_no_bare_update is missing",
    ),
    "STRICT taken away": (
        [
            "PRAGMA writable_schema = ON",
            "UPDATE sqlite_schema SET sql = replace(sql, 'STRICT', '') WHERE name = 'entries'",
        ],
        "table entries was changed",
    ),
    "a second unique column": (
        ["CREATE UNIQUE INDEX one_prev ON entries (prev_hash)"],
        "index one_prev was added",
    ),
    "a new column": (["ALTER TABLE entries ADD COLUMN remark TEXT"], "table entries was changed"),
    "a renamed column": (["ALTER TABLE hole RENAME COLUMN y_um TO y"], "hole"),
    "a view in the way": (
        ["CREATE VIEW standing_now AS SELECT * FROM standing"],
        "view standing_now was added",
    ),
    "a dropped table": (["DROP TABLE evening"], "evening"),
    "another program's mark": (["PRAGMA application_id = 1"], "is a database of another program"),
    "no shop any more": (
        ["DROP TRIGGER shop_no_bare_delete", "DELETE FROM shop", "{trigger}"],
        "names no shop",
    ),
}


@pytest.mark.parametrize("name", SHOWN_AT_OPEN)
def test_the_quick_look_at_every_open_names_it(path: Path, name: str) -> None:
    statements, words = SHOWN_AT_OPEN[name]
    with closing(sqlite3.connect(path, isolation_level=None)) as hand:
        triggers = dict(hand.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'"))
        for statement in statements:
            hand.execute(triggers["shop_no_bare_delete"] if statement == "{trigger}" else statement)
    with pytest.raises(LedgerFault, match=words) as refused:
        Ledger.open(path)
    assert "\n" not in refused.value.sentence
    assert refused.value.cure


def test_a_table_rebuilt_by_a_tool_loses_its_guards_and_is_named(path: Path) -> None:
    database = sqlite_utils.Database(path)
    database["wanted"].transform(rename={"wish": "name"})
    database.conn.close()
    with pytest.raises(LedgerFault, match="wanted"):
        Ledger.open(path)


SHOWN_BY_AUDIT = {
    "an old entry reworded": (
        "UPDATE entries SET by = 'Nobody' WHERE seq = 7",
        7,
        "entry 7 was changed since it was written",
    ),
    "an old entry cut out": ("DELETE FROM entries WHERE seq = 7", 7, "entry 7 is missing"),
    "the first entry cut out": ("DELETE FROM entries WHERE seq = 1", 1, "entry 1 is missing"),
    "two entries swapped": (
        "UPDATE entries SET seq = CASE seq WHEN 7 THEN -7 WHEN 8 THEN -8 END WHERE seq IN (7, 8);"
        "UPDATE entries SET seq = CASE seq WHEN -7 THEN 8 WHEN -8 THEN 7 END WHERE seq < 0",
        7,
        "entry 7 does not follow from entry 6",
    ),
    "a stated time moved": (
        "UPDATE entries SET stated_at_utc = '2026-12-24T08:00:00.000Z' WHERE seq = 9",
        9,
        "entry 9 was changed",
    ),
    "a note reworded": ("UPDATE notes SET text = 'all was well'", None, "has a note that was changed"),
    "a note deleted": ("DELETE FROM notes", None, "has lost its note"),
    "a note blanked by hand": (
        "UPDATE notes SET text = NULL, salt = '', redacted_by = 3",
        None,
        "is gone and entry 3 does not say so",
    ),
    "a hold lifted by hand": (
        "UPDATE standing SET place = 'ready', hold_entry = 0 WHERE tag = 'P-3'",
        None,
        "standing P-3: place is 'ready' and should be 'hold'",
    ),
    "a hole moved": (
        "UPDATE hole SET x_um = x_um + 5000 WHERE hole_id = 'P-1/A1'",
        None,
        "hole P-1/A1: x_um is 147500 and should be 142500",
    ),
    "a hole gone": ("DELETE FROM hole WHERE hole_id = 'P-1/A1'", None, "hole P-1/A1 is missing"),
    "an area opened": (
        "INSERT INTO area VALUES (3, 'P-2', 'A', -9, 9, 'bare', '2026-12-01', 'x')",
        None,
        "is there, the entries say nothing of it",
    ),
}


@pytest.mark.parametrize("name", SHOWN_BY_AUDIT)
def test_the_full_audit_names_what_was_done_behind_replaced_guards(path: Path, shop: Shop, name: str) -> None:
    shop.ledger.connection.close()
    sql, first_bad, words = SHOWN_BY_AUDIT[name]
    _behind_the_guards(path, sql)
    report = audit_file(path, now=shop.now)
    assert not report.sound
    assert any(words in finding.sentence for finding in report.findings), list(report.lines())
    if first_bad is not None:
        assert report.first_bad_entry == first_bad


def _behind_the_guards(path: Path, sql: str) -> None:
    """Somebody takes the guards off, changes something, and puts every guard back as it was."""
    with closing(_rival(path)) as hand:
        hand.execute("PRAGMA foreign_keys = OFF")
        guards = hand.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'").fetchall()
        for name, _ in guards:
            hand.execute(f"DROP TRIGGER {name}")
        hand.executescript(sql)
        for _, text in guards:
            hand.execute(text)


def test_a_state_changed_by_hand_is_derived_anew_aloud_and_the_evidence_is_kept(
    path: Path, shop: Shop
) -> None:
    right, head = shop.dump(), shop.ledger.head.seq
    shop.ledger.connection.close()
    with pytest.raises(Refused, match="needs no rebuilding"):
        rebuild(path, by="Ida", now=shop.now)
    _behind_the_guards(path, SHOWN_BY_AUDIT["a hold lifted by hand"][0])
    found = path.read_bytes()
    for stranger in ("Ida", JORY):
        with pytest.raises(Refused, match=r"can(not)? rebuild the state"):
            rebuild(path, by=stranger, now=shop.now)
        assert path.read_bytes() == found
        assert [file.name for file in path.parent.iterdir()] == [path.name]
    done = rebuild(path, by=WIM, now=shop.now)
    assert (done.rows, done.entry) == (1, head + 1)
    assert audit_file(path, now=shop.now).clean
    with Ledger.open(path) as ledger:
        now = [row for row in ledger.connection.iterdump() if "state rebuilt" not in row]
    assert sorted(now) == sorted(right)
    assert _rows(done.kept) == _rows_of(found, path)


def _rows(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as connection:
        return list(connection.iterdump())


def _rows_of(raw: bytes, path: Path) -> list[str]:
    copy = path.with_name("found.db")
    copy.write_bytes(raw)
    return _rows(copy)


def test_damaged_entries_are_not_rebuilt_from(path: Path, shop: Shop) -> None:
    shop.ledger.connection.close()
    _behind_the_guards(path, SHOWN_BY_AUDIT["an old entry reworded"][0])
    before = path.read_bytes()
    with pytest.raises(LedgerFault, match="cannot be rebuilt: entry 7 was changed"):
        rebuild(path, by="Ida", now=shop.now)
    assert path.read_bytes() == before


def test_a_change_near_the_head_is_refused_at_the_next_open(path: Path, shop: Shop) -> None:
    newest = shop.ledger.head.seq
    shop.ledger.connection.close()
    _behind_the_guards(path, f"UPDATE entries SET by = 'Nobody' WHERE seq = {newest - 2}")
    with pytest.raises(LedgerFault, match=f"entry {newest - 2} was changed since it was written"):
        Ledger.open(path)


def test_a_rival_that_appends_a_well_chained_entry_is_betrayed_by_the_state(path: Path, shop: Shop) -> None:
    """An entry whose state nobody derived: the audit's own derivation has it, the file has not."""
    head = shop.ledger.head
    shop.ledger.connection.close()
    said = {
        "recorded_at_utc": "2026-12-27T07:30:00.000Z",
        "stated_at_utc": "2026-12-27T07:30:00.000Z",
        "zone": "Europe/Vienna",
        "by": "Ida Fennweg",
        "what": "staff listed",
        "body_json": '{"name":"Mallory","role":"manager","valid_until":"2099-01-01"}',
        "note_hash": None,
    }
    digest = entry_hash(seq=head.seq + 1, prev_hash=head.hash, **said)
    with closing(_rival(path)) as rival:
        rival.execute(
            "INSERT INTO entries VALUES (?,?,?,?,?,?,?,?,?,?)",
            (head.seq + 1, *said.values(), head.hash, digest),
        )
    report = audit_file(path, now=shop.now)
    assert [f.sentence for f in report.findings] == [
        f"staff Mallory is missing, the entries say it is there (entry {head.seq + 1})"
    ]


def test_only_a_printed_head_shows_a_file_rewritten_from_the_first_entry_on(path: Path, shop: Shop) -> None:
    """The limit of a chain, told as a test: whoever rewrites everything is seen on paper only."""
    printed = str(shop.ledger.head)
    shop.ledger.connection.close()
    path.unlink()
    rewritten = Shop.new(path)
    rewritten.furnish()
    rewritten.ledger.connection.close()
    assert audit_file(path, now=rewritten.now).clean
    report = audit_file(path, now=rewritten.now, heads=[parse_head(printed)])
    assert not report.sound
    (said,) = report.anchors
    assert "not in this file, which ends at entry" in said


def test_entries_cut_off_at_the_end_are_shown_by_a_printed_head(path: Path, shop: Shop) -> None:
    printed, seq = str(shop.ledger.head), shop.ledger.head.seq
    shop.ledger.connection.close()
    _behind_the_guards(path, f"DELETE FROM notes WHERE seq = {seq}; DELETE FROM entries WHERE seq = {seq}")
    report = audit_file(path, now=shop.now, heads=[parse_head(printed)])
    assert any(f.code == "head missing" for f in report.findings)


def test_a_file_switched_to_another_journal_is_one_file_again_after_the_next_open(path: Path) -> None:
    with closing(sqlite3.connect(path, isolation_level=None)) as tool:
        tool.execute("PRAGMA journal_mode = WAL")
    with Ledger.open(path) as ledger:
        assert ledger.connection.execute("PRAGMA journal_mode").fetchone()[0] == "delete"
    assert [file.name for file in path.parent.iterdir()] == [path.name]


def test_a_program_that_holds_the_file_gets_one_sentence_not_a_wait_for_ever(
    path: Path, shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop.ledger.connection.execute("PRAGMA busy_timeout = 50")
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(LedgerFault, match="another program is writing to"):
            shop.back("P-1")
    shop.back("P-1")


def test_the_schema_is_trusted_only_after_it_was_compared(path: Path) -> None:
    """Until then no function of a foreign schema is run on our behalf."""
    with closing(connect(path)) as connection:
        assert connection.execute("PRAGMA trusted_schema").fetchone()[0] == 0
        trust(connection)
        assert connection.execute("PRAGMA trusted_schema").fetchone()[0] == 1
