"""A person's name stands in no entry, only its place; taken out, nothing but the name changes."""

from __future__ import annotations

import json
import random
import re
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from fleet.audit.checkpoint import checkpoint_of
from fleet.audit.full import audit_file, audit_since
from fleet.audit.heads import _left_behind
from fleet.audit.name_removal import RemovedName, remove_name, take_out
from fleet.base.entries import Head, name_key
from fleet.base.errors import MountbookError, Refused
from fleet.base.kept_names import KeptName, NamesSaid, is_mark, listed_in, mark_of, place_of, read_names
from fleet.events.event import Tap
from fleet.events.movement import PairOut
from fleet.ledger.corrections import read_entry, withdraw
from fleet.ledger.ledger import Ledger, read_entries
from fleet.tables.layout import state_tables
from tests.counter.shop import IDA, JORY, OLD, WIM, Shop
from tests.counter.test_impossible import order_body
from tests.ledger.random_history import ACTIONS, RandomHistory
from tests.ledger.test_audit_reads_the_same import by_hand

LATER = datetime(2026, 12, 28, 8, 0, tzinfo=UTC)
NAME = "Quentin Ötz"
ORDER = {"number": "WO-1", "revision": "A", "seen_by": NAME}
FIELDS: dict[str, tuple[str, dict[str, Any]]] = {
    "by": ("pair held", {"tag": "P-1"}),
    "staff listed": ("staff listed", {"name": NAME, "role": "counter", "valid_until": "2026-12-01"}),
    "second and first": (
        "staff listed",
        {"name": "X", "role": "counter", "valid_until": "2026-12-01", "second": NAME, "first": NAME},
    ),
    "qualification stated": ("qualification stated", {"name": NAME, "what": "pass", "until": "2027-01-01"}),
    "workers, finders, cleared_by": (
        "pair carried over",
        {
            "tag": "P-1", "from": "elsewhere", "stops": "", "quarantine": False, "hold": True,
            "workers": [IDA, NAME], "finders": [NAME], "cleared_by": [NAME, JORY],
        },
    ),
    "waiting": (
        "pair carried over",
        {
            "tag": "Not here", "from": "x", "stops": "", "quarantine": False, "hold": True, "workers": [NAME],
        },
    ),
}  # fmt: skip


def rows_of(ledger: Ledger, name: str) -> tuple[KeptName, ...]:
    rows = [row for row in read_names(ledger.connection) if row.text and name_key(row.text) == name_key(name)]
    return tuple(rows)


def out(shop: Shop, name: str) -> RemovedName:
    with shop.ledger.transaction(by=IDA, now=shop.tick()) as tx:
        (removed,) = take_out(tx, shop.ledger.path, rows_of(shop.ledger, name), why="asked for")
        return removed


def entered(shop: Shop, field: str) -> int:
    """The field says the name in an entry of its own; return that entry."""
    if field in FIELDS:
        what, body = FIELDS[field]
        return shop.enter(what, body, by=NAME if field == "by" else WIM)
    if field == "seen_by":
        shop.enter("order issued", order_body("P-1") | {"number": "WO-1", "revision": "A"})
        done: dict[str, Any] = {key: [] for key in ("new_holes", "changed_holes", "bindings", "glued_with")}
        done |= dict.fromkeys(("mount", "giver", "mount_removed_on")) | {"tag": "P-1", "hold": ""}
        return shop.enter("order done", done | ORDER)
    if field == "tap":
        tap = Tap(id="0123456789abcdef", desk=NAME)
        with shop.ledger.transaction(by=IDA, now=shop.tick(), tap=tap) as tx:
            return tx.enter("pair held", {"tag": "P-1"})
    if field == "of":
        scan = PairOut(tag="P-1", boot=None, due=shop.today, fit="fits")
        with shop.desk(NAME) as desk:
            seq = desk.enter(scan)
        said = {"tag": "P-1", "entry": seq, "what": "pair out", "of": NAME, "set_entry": None}
        return shop.enter("scan undone", said)
    seq = shop.enter("area inspected", {
        "tag": "P-1", "side": "A", "from_um": 0, "to_um": 1000, "how": "bare", "on": "2026-12-27",
    }, by=NAME)  # fmt: skip
    if field == "area":
        return seq
    with shop.desk(IDA) as desk:
        return withdraw(desk.tx, seq, by=IDA, why="a slip", today=shop.today)


ALL = (*FIELDS, "seen_by", "tap", "of", "area", "withdrawn")


@pytest.mark.parametrize("field", ALL)
def test_each_field_says_a_place_in_the_file_the_name_when_read_and_a_mark_afterwards(
    shop: Shop, field: str
) -> None:
    path, seq = shop.ledger.path, entered(shop, field)
    with closing(sqlite3.connect(path)) as file:
        written = " ".join(map(str, file.execute("SELECT by, body FROM entries").fetchall()))
    assert NAME not in written
    read = [json.dumps([e.by, e.body], ensure_ascii=False) for e in read_entries(shop.ledger.connection)]
    if field != "withdrawn":
        assert NAME in read[seq - 1]
    before = tables(shop.ledger)
    audit = audit_file(path, now=LATER)
    assert audit.sound
    removed = out(shop, NAME)
    after = [json.dumps([e.by, e.body], ensure_ascii=False) for e in read_entries(shop.ledger.connection)]
    assert after[: len(read)] == [each.replace(NAME, removed.mark) for each in read]
    assert tables(shop.ledger, until=removed.entry) == marked(before, removed.mark, NAME)
    again = audit_file(path, now=LATER)
    assert told(again.findings) == told(audit.findings, removed.mark, NAME)
    shop.ledger.connection.close()
    for left in path.parent.iterdir():
        raw = left.read_bytes()
        assert [each for each in (NAME, *escaped(NAME)) if each.encode() in raw] == [], left


def tables(ledger: Ledger, *, until: int = 2**62) -> dict[str, list[str]]:
    """Every row of the state, without what only says that entry ``until`` was made."""
    return {
        table: sorted(
            in_order(repr(row))
            for row in ledger.connection.execute(f"SELECT * FROM {table}")
            if table not in ("day_begun", "tap") or row[0] < until
        )
        for table in state_tables()
    }


def in_order(row: str) -> str:
    """The row with each list in it in order: `standing` keeps names in order of the alphabet, once each."""
    return re.sub(r"\[([^\[\]]*)\]", lambda found: f"[{', '.join(sorted(set(found[1].split(', '))))}]", row)


def escaped(name: str) -> list[str]:
    """As JSON writes it, once and again in a text of JSON, and as Python shows that."""
    one = json.dumps(name)[1:-1]
    two = json.dumps(one)[1:-1]
    return sorted(
        {each for text in (one, two, json.dumps(two)[1:-1]) for each in (text, repr(text)[1:-1])}, key=len
    )[::-1]


def marked(rows: dict[str, list[str]], mark: str, *names: str) -> dict[str, list[str]]:
    def without(row: str) -> str:
        for name in names:
            for spelt in (name, *escaped(name)):
                row = row.replace(spelt, mark)
        return in_order(row)

    return {table: sorted(map(without, each)) for table, each in rows.items()}


def told(findings: Any, mark: str = "", name: str = "\0") -> list[tuple[str, int | None, str]]:
    return sorted((f.code, f.entry, f.sentence.replace(name, mark)) for f in findings)


PEOPLE = ("Ada Invented", "ADA invented", "Bo Invented", "Çela Invented", IDA, JORY)


@pytest.mark.parametrize("seed", [1, 2, pytest.param(range(3, 30), marks=pytest.mark.long)], ids=str)
def test_any_history_reads_the_same_but_for_the_names(shop: Shop, seed: int | range) -> None:
    """Audit quiet, the rebuilt state the file's, every finding of the rules as before."""
    for each in [seed] if isinstance(seed, int) else seed:
        rng = random.Random(each)
        gone: set[str] = set()
        for _ in range(8):
            for _ in range(4):
                with shop.ledger.transaction(by=rng.choice(PEOPLE), now=shop.tick()) as tx:
                    hand = RandomHistory(tx, start=shop.now)
                    for _ in range(6):
                        hand.enter(rng.choice(sorted(ACTIONS)), rng.randrange(2**32))
                    shop.now = max(shop.now, hand.now)
            left = [row for row in read_names(shop.ledger.connection) if row.text and row.place == row.person]
            row = rng.choice(left)
            spelt = [each.text or "" for each in rows_of(shop.ledger, row.text or "")]
            before, entries = tables(shop.ledger), len(list(shop.ledger.entries()))
            audit = audit_file(shop.ledger.path, now=LATER)
            assert [f for f in audit.findings if f.severity == "bad"] == []
            shop.now = max(shop.now, datetime(2026, 12, 27, tzinfo=UTC))
            removed = out(shop, row.text or "")
            assert is_mark(removed.mark)
            assert removed.mark not in gone, "two persons stay two"
            gone.add(removed.mark)
            assert tables(shop.ledger, until=removed.entry) == marked(before, removed.mark, *spelt)
            again = audit_file(shop.ledger.path, now=LATER)
            assert [f for f in again.findings if f.severity == "bad"] == []
            assert [(f.code, f.entry) for f in again.findings if (f.entry or 0) <= entries] == [
                (f.code, f.entry) for f in audit.findings
            ]
            raw = shop.ledger.path.read_bytes()
            assert [each for name in spelt for each in (name, *escaped(name)) if each.encode() in raw] == []


def test_spellings_of_one_name_are_one_person_and_read_as_they_were_typed(shop: Shop) -> None:
    spelt = ("Zoe Éna", "zoe éna", "ZOE ÉNA")
    seqs = [shop.enter("pair held", {"tag": "P-1"}, by=name) for name in spelt]
    assert [read_entry(shop.ledger.connection, seq).by for seq in seqs] == list(spelt)
    assert len({row.person for row in rows_of(shop.ledger, spelt[0])}) == 1
    mark = out(shop, spelt[0]).mark
    assert {read_entry(shop.ledger.connection, seq).by for seq in seqs} == {mark}
    other = shop.enter("pair held", {"tag": "P-2"}, by=spelt[0])
    assert read_entry(shop.ledger.connection, other).by == spelt[0], "whoever comes back is new"
    assert audit_file(shop.ledger.path, now=LATER).sound


def test_a_name_of_an_entry_that_was_refused_is_kept_by_the_next_that_says_it(shop: Shop) -> None:
    with shop.ledger.transaction(by=IDA, now=shop.tick()) as tx:
        for by in (NAME, "Somebody Else"):
            with pytest.raises(MountbookError):
                tx.enter("pair held", {"tag": "no such pair"}, by=by)
        seqs = [tx.enter("pair held", {"tag": tag}, by=NAME) for tag in ("P-1", "P-2")]
    assert [read_entry(shop.ledger.connection, seq).by for seq in seqs] == [NAME, NAME]
    assert [row.text for row in read_names(shop.ledger.connection)].count(NAME) == 1
    assert audit_file(shop.ledger.path, now=LATER).sound


def test_nobody_signs_with_a_mark_and_no_text_stands_for_a_name(shop: Shop) -> None:
    shop.enter("pair held", {"tag": "P-1"}, by=NAME)
    mark = out(shop, NAME).mark
    with pytest.raises(MountbookError, match="is no name"), shop.desk(mark):
        pass
    with pytest.raises(MountbookError, match="how the ledger itself says a name"):
        shop.enter("pair moved", {"tag": "P-1", "to": "name 1 of entry 1"})
    assert audit_file(shop.ledger.path, now=LATER).sound


def test_what_a_rule_writes_again_of_somebody_taken_out_is_the_same_person(shop: Shop) -> None:
    """Workers go along with a ski; two who were taken out stay two."""
    what, body = FIELDS["waiting"]
    shop.enter(what, body | {"workers": [NAME, "Rike Invented"]})
    marks = [out(shop, name).mark for name in (NAME, "Rike Invented")]
    people = {row.person for row in read_names(shop.ledger.connection)}
    seq = shop.enter(what, body | {"tag": "P-1", "workers": marks})
    assert read_entry(shop.ledger.connection, seq).body["workers"] == marks
    assert {row.person for row in read_names(shop.ledger.connection)} == people
    row = shop.ledger.connection.execute("SELECT workers FROM standing WHERE tag = 'P-1'").fetchone()
    assert json.loads(row[0]) == marks
    assert len(set(marks)) == 2


@pytest.mark.parametrize(
    ("statement", "code"),
    [
        ("UPDATE names SET text = 'Mallory' WHERE text = ?", "name changed"),
        ("UPDATE names SET text = NULL, salt = '', removed_by = 3 WHERE text = ?", "name lost"),
        ("UPDATE names SET text = NULL, salt = '' WHERE text = ?", "name lost"),
        ("UPDATE names SET person = 'name 1 of entry 1' WHERE text = ?", "name changed"),
        ("UPDATE names SET place = 'nowhere' WHERE text = ?", "name changed"),
        ("UPDATE names SET place = 'name 0' || substr(place, 6) WHERE text = ?", "name changed"),
        ("UPDATE names SET place = 'name 7', person = 'name 7', text = NULL WHERE text = ?", "name changed"),
        ("DELETE FROM names WHERE text = ?", "chain"),
    ],
)
def test_an_audit_sees_a_name_that_was_changed_by_hand(shop: Shop, statement: str, code: str) -> None:
    shop.enter("pair held", {"tag": "P-1"}, by=NAME)
    by_hand(shop.ledger.path, iter([(statement, (NAME,))]))
    assert code in {f.code for f in audit_file(shop.ledger.path, now=LATER).findings if f.severity == "bad"}
    shop.enter("pair held", {"tag": "P-2"}, by=NAME)  # what is damaged stops nobody at the counter


def test_a_name_that_was_put_back_by_hand_is_seen(shop: Shop) -> None:
    shop.enter("pair held", {"tag": "P-1"}, by=NAME)
    (row,) = rows_of(shop.ledger, NAME)
    out(shop, NAME)
    put = "UPDATE names SET text = ?, salt = ?, removed_by = NULL WHERE place = ?"
    by_hand(shop.ledger.path, iter([(put, (row.text, row.salt, row.place))]))
    codes = {f.code for f in audit_file(shop.ledger.path, now=LATER).findings}
    assert "name came back" in codes


def test_the_guards_let_nobody_write_names(shop: Shop) -> None:
    for statement in (
        "UPDATE names SET text = 'x'",
        "DELETE FROM names",
        "INSERT INTO names VALUES ('name 9 of entry 1', 1, '', '', '', '', NULL)",
    ):
        with pytest.raises(sqlite3.Error):
            shop.ledger.connection.execute(statement)


def test_no_audit_goes_on_from_a_state_that_has_the_name(shop: Shop) -> None:
    entered(shop, "workers, finders, cleared_by")
    path, kept = shop.ledger.path, checkpoint_of(shop.ledger.path)
    assert audit_file(path, now=LATER, checkpoint=kept).sound
    assert json.dumps(NAME)[1:-1].encode() in kept.read_bytes()
    assert audit_since(path, now=LATER, checkpoint=kept) is not None
    out(shop, NAME)
    assert audit_since(path, now=LATER, checkpoint=kept) is None
    assert audit_file(path, now=LATER, checkpoint=kept).sound
    assert json.dumps(NAME)[1:-1].encode() not in kept.read_bytes()


def test_an_older_layout_reads_as_before(tmp_path: Path) -> None:
    kept = Path(__file__).parent / "layouts" / "layout_2.db"
    path = tmp_path / "old.db"
    path.write_bytes(kept.read_bytes())
    with closing(sqlite3.connect(path)) as file:
        clear = file.execute("SELECT seq, by FROM entries ORDER BY seq").fetchall()
    with Ledger.open(path) as ledger:
        assert [(entry.seq, entry.by) for entry in ledger.entries()] == clear
        assert read_names(ledger.connection) == []
        with ledger.transaction(by=clear[0][1], now=LATER) as tx:
            tx.enter("pair held", {"tag": ledger.connection.execute("SELECT tag FROM pair").fetchone()[0]})
        assert [row.text for row in read_names(ledger.connection)] == [clear[0][1]]
    assert audit_file(path, now=LATER).sound


@pytest.mark.parametrize("also_kept", [False, True])
def test_a_name_that_stands_in_an_older_entry_stays_and_the_newest_such_entry_is_told(
    tmp_path: Path, also_kept: bool
) -> None:
    path = tmp_path / "old.db"
    path.write_bytes((Path(__file__).parent / "layouts" / "layout_2.db").read_bytes())
    with Ledger.open(path) as ledger:
        (listed,) = (entry.seq for entry in ledger.entries() if entry.body.get("name") == OLD)
        if also_kept:
            with ledger.transaction(by=IDA, now=LATER) as tx:
                tx.enter("staff listed", {"name": OLD, "role": "counter", "valid_until": "2026-12-26"})
        assert (OLD in [row.text for row in read_names(ledger.connection)]) is also_kept
        with pytest.raises(Refused) as refused, ledger.transaction(by=IDA, now=LATER) as tx:
            remove_name(ledger, tx, OLD.upper(), by=IDA, why="", today=LATER.date())
        assert refused.value.sentence == (
            f"{OLD if also_kept else OLD.upper()} stands in the clear in entries up to {listed}, as names"
            " were written then: taken out, the chain would break"
        )
        assert refused.value.cure == "a case shows no names; keep the file itself where few can read it"


def test_the_last_entry_of_an_older_layout_is_looked_at_too(tmp_path: Path) -> None:
    path = tmp_path / "old.db"
    path.write_bytes((Path(__file__).parent / "layouts" / "layout_2.db").read_bytes())
    with Ledger.open(path) as ledger:
        *_, last = ledger.entries()
        with ledger.transaction(by="Nora Quill", now=LATER) as tx:
            tx.enter("pair held", {"tag": ledger.connection.execute("SELECT tag FROM pair").fetchone()[0]})
        with pytest.raises(Refused) as refused, ledger.transaction(by=IDA, now=LATER) as tx:
            remove_name(ledger, tx, last.by, by=IDA, why="", today=LATER.date())
        assert f" in entries up to {last.seq}," in refused.value.sentence


@pytest.mark.parametrize(
    ("person", "mark"),
    [
        ("name 1 of entry 12", "name removed 12-3f9a"),
        ("name 2 of entry 12", "name removed 12.2-3f9a"),
        ("name 3 of entry 7", "name removed 7.3-3f9a"),
    ],
)
def test_each_person_of_one_entry_has_a_mark_of_her_own(person: str, mark: str) -> None:
    """Those whom an entry names beside the first are told by their number in it."""
    assert mark_of(person, "3f9a" + "0" * 60) == mark
    assert is_mark(mark)


def test_a_file_without_names_says_them_itself_and_a_broken_one_is_no_such_file() -> None:
    """Older layouts have no table of names; one that lacks a column was changed by hand."""
    with closing(sqlite3.connect(":memory:")) as file:
        assert NamesSaid(file).of(place_of(1, 3)) == place_of(1, 3)
        assert read_names(file) == []
        file.execute("CREATE TABLE names (place TEXT)")
        for read in (lambda: NamesSaid(file).of(place_of(1, 3)), lambda: read_names(file)):
            with pytest.raises(sqlite3.OperationalError, match="no such column"):
                read()


def test_a_name_is_kept_beside_a_salt_that_nobody_guesses(shop: Shop) -> None:
    """128 bits of the system's own chance, each another one."""
    shop.enter("staff listed", {"name": "Nora Quill", "role": "technician", "valid_until": "2027-05-31"})
    salts = [row.salt for row in read_names(shop.ledger.connection)]
    assert all(re.fullmatch("[0-9a-f]{32}", salt) for salt in salts)
    assert len(set(salts)) == len(salts) > 3


@pytest.mark.parametrize(
    ("body", "listed"),
    [
        ('{"names":["d1","d2 name 1 of entry 3"],"tag":"P-1"}', ["d1", "d2 name 1 of entry 3"]),
        ('{"tag":"P-1"}', []),
        ('{"names":["d1"]}x', []),
        ('[{"names":["d1"]}]', []),
        ('{"of":{"names":["d1"]}}', []),
        ('{"names":{"names":["d1"]}}', []),
    ],
)
def test_what_a_body_lists_as_names_is_a_list_of_its_own(body: str, listed: list[str]) -> None:
    assert listed_in(body) == listed


def test_names_are_read_in_the_order_in_which_they_were_said() -> None:
    said = [("name 2 of entry 9", 9), ("name 1 of entry 12", 12), ("name 1 of entry 9", 9), ("forged", 1)]
    with closing(sqlite3.connect(":memory:")) as file:
        file.execute("CREATE TABLE names (place, seq, person, digest, salt, text, removed_by)")
        file.executemany("INSERT INTO names VALUES (?, ?, 'p', 'd', 's', 't', NULL)", said)
        assert [row.place for row in read_names(file)] == [
            "forged", "name 1 of entry 9", "name 2 of entry 9", "name 1 of entry 12",
        ]  # fmt: skip


def test_a_restore_whose_body_was_damaged_is_the_word_of_nobody() -> None:
    sound = '{"head":"2:aa","replaced":"9:bb"}'
    for body, left in ((sound, 1), (sound + "x", None), ("[]", None), ('{"replaced":"9:bb"}', None)):
        with closing(sqlite3.connect(":memory:")) as file:
            file.execute("CREATE TABLE entries (seq, what, body)")
            file.execute("INSERT INTO entries VALUES (1, 'ledger restored', ?)", (body,))
            assert _left_behind(file, Head(5, "cc")) == left
