"""What finds a pair's entries without reading all, held against a reading of everything."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings, strategies as st

from fleet.audit.backup import rebuild
from fleet.audit.full import audit_file
from fleet.base.entries import utc_text
from fleet.base.errors import BadInput, Refused
from fleet.checks.derived import empty_state
from fleet.events import KINDS, derive
from fleet.facts.holes import Side, fresh_hole_ids
from fleet.ledger.corrections import withdraw
from fleet.ledger.history import entries_about, entries_concerning, head_before, pair_history, pair_state_at
from fleet.ledger.ledger import Ledger
from fleet.rules.renaming import rename
from fleet.tables.connection import connect, trust
from fleet.tables.snapshot import read_bindings, read_pairs
from tests.counter.shop import IDA, WIM, Shop
from tests.counter.test_impossible import order_body
from tests.ledger.full_reading import entries_about_by_reading
from tests.ledger.random_history import ACTIONS, TAGS, RandomHistory

NOW = datetime(2026, 12, 28, 17, 30, tzinfo=UTC)
STEPS = st.lists(st.tuples(st.sampled_from(sorted(ACTIONS)), st.integers(0, 999)), max_size=80)
HERE = settings(
    deadline=None, derandomize=True, suppress_health_check=list(HealthCheck), print_blob=True, max_examples=12
)
NOTHING_DONE = {key: [] for key in ("new_holes", "changed_holes", "bindings", "glued_with")} | {
    **dict.fromkeys(("mount", "giver", "mount_removed_on")),
    "tag": "P-2",
    "hold": "",
}


class _TakenBack(Exception):
    """Leaves a transaction without keeping what it entered."""


@contextmanager
def _taken_back(shop: Shop) -> Iterator[RandomHistory]:
    """A hand that enters what it likes; the ledger is as before afterwards."""
    with suppress(_TakenBack), shop.ledger.transaction(by=IDA, now=shop.now) as tx:
        yield RandomHistory(tx, start=shop.now)
        raise _TakenBack


def _played(shop: Shop, steps: list[tuple[str, int]]) -> None:
    """Enter the steps, look at every head, and take all of it back."""
    with _taken_back(shop) as hand:
        start = hand.tx.head.seq
        for name, seed in steps:
            hand.enter(name, seed)
        _index_finds_what_reading_finds(shop.ledger)
        _each_pair_is_what_it_was(shop.ledger, start)


def _tags(ledger: Ledger) -> list[str]:
    joined = [row[0] for row in ledger.connection.execute("SELECT tag FROM pair WHERE tag LIKE 'J-%'")]
    return [*TAGS, *joined]


def _index_finds_what_reading_finds(ledger: Ledger) -> None:
    for tag in _tags(ledger):
        told = [one.entry.seq for one in entries_about(ledger.connection, tag)]
        assert told == entries_about_by_reading(ledger.connection, tag), tag


def _each_pair_is_what_it_was(ledger: Ledger, start: int) -> None:
    """At heads from ``start`` on: the pair's own entries alone say what all entries say of it.

    At each head the pairs its entry names are looked at, at every twentieth all of them.
    """
    tags = _tags(ledger)
    with closing(empty_state()) as whole:
        for entry in ledger.entries():
            derive(whole, entry)
            if entry.seq < start:
                continue
            query = "SELECT name FROM naming WHERE entry = ?"
            named = {row[0] for row in whole.execute(query, (entry.seq,))}
            for tag in tags:
                if tag in named or entry.seq % 20 == 0:
                    _same(ledger, whole, tag, entry.seq)


def _same(ledger: Ledger, whole: sqlite3.Connection, tag: str, seq: int) -> None:
    with closing(empty_state()) as alone:
        for entry in entries_concerning(ledger.connection, tag, until=seq):
            derive(alone, entry)
        assert read_pairs(alone, tag) == read_pairs(whole, tag), (tag, seq)
        assert read_bindings(alone, tag) == read_bindings(whole, tag), (tag, seq)
        query = "SELECT * FROM standing WHERE tag = ?"
        assert alone.execute(query, (tag,)).fetchall() == whole.execute(query, (tag,)).fetchall()


@given(STEPS)
@example(steps=[("binding", 1)])  # called L-1, as the sheet that a fit names
@HERE
def test_any_history_is_found_by_name_as_by_reading_and_each_pair_is_replayed_alone(
    shop: Shop, steps: list[tuple[str, int]]
) -> None:
    _played(shop, steps)


def test_the_end_of_an_order_is_told_of_the_pair_that_was_to_give_its_binding_under_its_old_tag(
    shop: Shop,
) -> None:
    with shop.desk(WIM) as desk:
        rename(desk, "P-2", "N-2", why="the label was lost")
    shop.enter("order issued", order_body("P-3", giver="P-2"))
    ended = {"number": "WO-2612-0001", "revision": "A", "why": "not in the new plan"}
    seq = shop.enter("order cancelled", ended)
    for tag in ("N-2", "P-2"):
        assert seq in {one.entry.seq for one in entries_about(shop.ledger.connection, tag)}


def test_a_long_random_history_is_found_as_by_reading(shop: Shop) -> None:
    _played(shop, _random_steps(seed=0, count=180))


def _random_steps(*, seed: int, count: int) -> list[tuple[str, int]]:
    rng = random.Random(seed)
    return [(rng.choice(sorted(ACTIONS)), rng.randrange(10_000)) for _ in range(count)]


@pytest.mark.long
@pytest.mark.parametrize("seed", range(1, 13))
def test_a_longer_random_history_is_found_as_by_reading(shop: Shop, seed: int) -> None:
    _played(shop, _random_steps(seed=seed, count=320))


@pytest.mark.long
@given(STEPS)
@settings(HERE, max_examples=400, derandomize=False)
def test_many_histories_are_found_as_by_reading(shop: Shop, steps: list[tuple[str, int]]) -> None:
    _played(shop, steps)


def test_the_random_histories_hold_every_kind_of_entry_about_a_pair(shop: Shop) -> None:
    """So that a new kind of entry cannot stay unseen here."""
    rng = random.Random(8)
    with _taken_back(shop) as hand:
        for _ in range(1500):
            hand.enter(rng.choice(sorted(ACTIONS)), rng.randrange(10_000))
        made = {row[0] for row in hand.tx.connection.execute("SELECT DISTINCT what FROM entries")}
    assert KINDS.keys() - made == {
        "binding model stated",
        "clock mended",
        "day confirmed",
        "day not counted",
        "evening closed",
        "import answer taken back",
        "import answered",
        "import doubts kept",
        "kind step recorded",
        "ledger restored",
        "name removed",
        "qualification stated",
        "sealing begun",
        "state rebuilt",
        "tester calibrated",
        "wish recorded",
        "wish withdrawn",
    }


def test_the_newest_entry_before_a_moment_is_found_whatever_the_clocks_did(shop: Shop) -> None:
    rng = random.Random(3)
    with _taken_back(shop) as hand:
        for _ in range(150):
            hand.now = datetime(2026, 12, 27, tzinfo=UTC) + timedelta(hours=rng.randrange(24 * 40))
            hand.enter("remark", rng.randrange(999))
        for _ in range(200):
            moment = datetime(2026, 12, 26, tzinfo=UTC) + timedelta(minutes=rng.randrange(60 * 24 * 45))
            (seq,) = hand.tx.connection.execute(
                "SELECT max(seq) FROM entries WHERE recorded_at_utc < ?", (utc_text(moment),)
            ).fetchone()
            if seq is None:
                with pytest.raises(Refused, match="not open yet"):
                    head_before(hand.tx.connection, moment)
            else:
                assert head_before(hand.tx.connection, moment).seq == seq


def test_a_remark_about_a_withdrawal_is_told_too_and_a_hole_with_a_name_of_its_own(shop: Shop) -> None:
    hole = {"hole_id": "own 7", "side": "A", "x_um": 5, "y_um": 5, "diameter_um": None, "depth_um": None}
    row = hole | {"state": "open", "knowledge": "suspected"}
    seq = shop.enter("holes recorded", {"tag": "P-2", "holes": [row]}, by=IDA)
    changed = shop.enter("hole changed", {"hole_id": "own 7", "changes": {"state": ["open", "plugged"]}})
    with shop.desk(IDA) as desk:
        back = withdraw(desk.tx, changed, by=IDA, why="another ski", today=shop.today)
        about = desk.tx.enter("entry remarked", {"entry": back}, note="Alva said so")
        blanked = desk.tx.blank_note(about, why="a name")
    told = {one.entry.seq: one for one in pair_history(shop.ledger, "P-2").entries}
    assert {seq, changed, back, about, blanked} <= told.keys()
    assert (told[about].note, told[about].blanked_by) == (None, blanked)


@pytest.mark.parametrize(
    ("end", "more"), [("order cancelled", {"why": "not in the new plan"}), ("order stopped", NOTHING_DONE)]
)
def test_a_pair_that_was_to_give_its_binding_is_told_how_the_order_ended(
    shop: Shop, end: str, more: dict[str, object]
) -> None:
    """While the order is open the pair may not go out: its case must say what opened the door again."""
    order = {"number": "WO-2612-0900", "revision": "A"}
    issued = shop.enter("order issued", order_body("P-2", giver="P-3") | order)
    shop.enter("order issued", order_body("P-4") | {"number": "WO-2612-0901", "revision": "A"})
    ended = shop.enter(end, order | more)
    other = shop.enter("order cancelled", {"number": "WO-2612-0901", "revision": "A", "why": "issued again"})
    with shop.desk(IDA) as desk:
        about = desk.tx.enter("entry remarked", {"entry": ended}, note="the boot was sold")
    told = {one.entry.seq for one in pair_history(shop.ledger, "P-3").entries}
    assert {issued, ended, about} <= told
    assert other not in told
    assert ended not in {one.entry.seq for one in pair_history(shop.ledger, "P-1").entries}


@pytest.mark.parametrize("body", [{}, {"entry": "three"}, {"entry": [3]}, {"entry": None}], ids=str)
def test_an_entry_about_no_entry_is_refused(shop: Shop, body: dict[str, object]) -> None:
    with pytest.raises(BadInput, match="cannot be entered"):
        shop.enter("entry remarked", body)


def test_a_boot_that_is_called_like_a_pair_is_not_told_of_the_pair(shop: Shop) -> None:
    shop.boot("P-2", 305, "alpine A")
    assert not [one for one in pair_history(shop.ledger, "P-2").entries if one.entry.what == "boot recorded"]


def test_the_number_of_a_withdrawn_hole_is_never_given_again(shop: Shop) -> None:
    row = {"side": "A", "x_um": 5, "diameter_um": None, "depth_um": None, "state": "open"}
    names = ("P-2/A4", "P-2/A9", "P-2/A12345678901", "P-2/Anew")
    rows = [row | {"hole_id": name, "y_um": n, "knowledge": "suspected"} for n, name in enumerate(names)]
    seq = shop.enter("holes recorded", {"tag": "P-2", "holes": rows}, by=IDA)
    with shop.desk(WIM) as desk:
        withdraw(desk.tx, seq, by=WIM, why="another ski", today=shop.today)
    ski = read_pairs(shop.ledger.connection, "P-2")["P-2"].skis[Side.A]
    assert (ski.holes, ski.holes_numbered_to) == ((), 9)
    assert next(fresh_hole_ids("P-2", Side.A, [], above=ski.holes_numbered_to)) == "P-2/A10"


DAMAGE = {
    "a name taken out": ("DELETE FROM naming WHERE name = 'P-1' AND entry > 20", "naming P-1 "),
    "a name put in": ("INSERT INTO naming VALUES ('P-1', 2)", "naming P-1 2 is there"),
    "a name changed": ("UPDATE naming SET name = 'P-9' WHERE name = 'P-1'", "naming P-9"),
    "what an entry is about": ("INSERT INTO entry_about VALUES (3, 4)", "entry_about 3 4 is there"),
    "a day put off": ("UPDATE day_begun SET day = '2027-01-01'", "day_begun 1: day is '2027-01-01'"),
    "numbers given again": ("UPDATE ski SET holes_numbered_to = 0", "holes_numbered_to is 0 and should be 3"),
}


@pytest.mark.parametrize("name", DAMAGE)
def test_damage_in_what_finds_entries_is_named_and_a_rebuild_mends_it(path: Path, name: str) -> None:
    sql, words = DAMAGE[name]
    with closing(connect(path)) as hand:
        trust(hand)
        with hand.unlatched():
            hand.execute(sql)
    report = audit_file(path, now=NOW)
    assert [finding for finding in report.findings if words in finding.sentence], list(report.lines())
    assert not report.sound
    rebuild(path, by=WIM, now=NOW)
    assert audit_file(path, now=NOW).sound


def test_entries_that_do_not_follow_alone_are_read_in_full(shop: Shop) -> None:
    """A damaged index makes the short way fail; the long way does not need it."""
    head = shop.ledger.head
    shop.enter("entry remarked", {"entry": 1})
    with shop.ledger.connection.unlatched():
        shop.ledger.connection.execute("DELETE FROM naming WHERE name = 'P-1' AND entry < 30")
    with closing(pair_state_at(shop.ledger, "P-1", head)) as state:
        assert read_pairs(state, "P-1") == read_pairs(shop.ledger.connection, "P-1")
