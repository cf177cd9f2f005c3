"""Entering: what is taken, what is refused, and that a refusal leaves every byte where it was."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from fleet.audit.full import audit_file
from fleet.base.entries import GENESIS, canonical_json
from fleet.base.errors import BadInput, LedgerFault, MountbookError, Refused
from fleet.ledger.ledger import Ledger
from tests.counter.shop import Shop

NOW = datetime(2026, 12, 27, 12, 0, tzinfo=UTC)


def a_boot(tag: str, **changes: object) -> dict[str, object]:
    return {
        "tag": tag,
        "model": "Invented boot",
        "mondopoint_mm": 265,
        "bsl_um": 305_000,
        "bsl_measured": "printed",
        "sole_type": "alpine A",
        "season": "",
        "pin_um": None,
    } | changes


def test_a_new_ledger_has_one_entry_that_follows_nothing(tmp_path: Path) -> None:
    with Ledger.create(tmp_path / "a.db", shop="S", zone="Europe/Vienna", by="Ida", now=NOW) as ledger:
        (entry,) = ledger.entries()
        assert (entry.seq, entry.what, entry.prev_hash) == (1, "ledger opened", GENESIS)
        assert ledger.zone == "Europe/Vienna"
        assert str(ledger.head) == f"1:{entry.hash[:8]}"


def test_a_new_ledger_never_takes_the_place_of_anything(tmp_path: Path) -> None:
    standing = tmp_path / "a.db"
    standing.write_text("something of yours")
    dangling = tmp_path / "b.db"
    dangling.symlink_to("not-there.db")
    for path in (standing, dangling):
        with pytest.raises(LedgerFault, match="exists already"):
            Ledger.create(path, shop="S", zone="UTC", by="Ida", now=NOW)
    assert standing.read_text() == "something of yours"
    assert sorted(file.name for file in tmp_path.iterdir()) == ["a.db", "b.db"]


def test_a_first_import_that_fails_leaves_no_ledger_behind(tmp_path: Path) -> None:
    with pytest.raises(BadInput):
        Ledger.create(
            tmp_path / "a.db",
            shop="S",
            zone="UTC",
            by="Ida",
            now=NOW,
            first=lambda tx: tx.enter("boot recorded", a_boot("B-1", bsl_um=1)),
        )
    assert list(tmp_path.iterdir()) == []


NONSENSE = {
    "a float": ("boot recorded", a_boot("B-9", bsl_um=305_000.5), "whole numbers"),
    "not a number": ("boot recorded", a_boot("B-9", bsl_um=float("nan")), "whole numbers"),
    "a number no other reader keeps": ("boot recorded", a_boot("B-9", mondopoint_mm=2**53), "too large"),
    "a NUL": ("boot recorded", a_boot("B\0-9"), "NUL"),
    "half a character": ("boot recorded", a_boot("B-\ud800"), "half a character"),
    "bytes": ("boot recorded", a_boot("B-9", model=b"x"), "whole numbers"),
    "a missing field": ("boot recorded", {"tag": "B-9"}, "missing"),
    "a field too many": ("boot recorded", a_boot("B-9", colour="red"), "colour"),
    "an impossible sole": ("boot recorded", a_boot("B-9", bsl_um=1000), "no boot sole length"),
    "a tag twice": ("boot recorded", a_boot("B-305"), "stands in the ledger already"),
    "an unknown kind": ("boot painted", a_boot("B-9"), "does not know"),
    "words for numbers": ("boot recorded", a_boot("B-9", mondopoint_mm="big"), "cannot be entered"),
    "a pair that is not there": (
        "mount removed",
        {"tag": "P-99", "removed_on": "2026-12-01"},
        "no pair P-99",
    ),
}


@pytest.mark.parametrize("name", NONSENSE)
def test_nonsense_is_refused_in_one_sentence_and_changes_no_byte(path: Path, name: str) -> None:
    what, body, words = NONSENSE[name]
    with Ledger.open(path) as ledger:
        before = path.read_bytes()
        with pytest.raises(MountbookError, match=words) as refused:
            _enter_all(ledger, ("boot recorded", a_boot("B-8")), (what, body))
        assert "\n" not in refused.value.sentence
    assert path.read_bytes() == before
    assert [file.name for file in path.parent.iterdir()] == [path.name]


def _enter_all(ledger: Ledger, *entries: tuple[str, dict[str, object]]) -> None:
    with ledger.transaction(by="Ida", now=NOW) as tx:
        for what, body in entries:
            tx.enter(what, body, note="a note, to be taken back too")


def test_nesting_without_end_is_refused() -> None:
    body: dict[str, object] = {}
    for _ in range(100_000):
        body = {"deeper": body}
    with pytest.raises(ValueError, match="nest that deep"):
        canonical_json(body)


def test_a_refused_import_that_had_spilled_to_the_disk_changes_no_byte(path: Path) -> None:
    """20 pages of cache: SQLite writes into the file long before the commit, and must take it all back."""
    with Ledger.open(path) as ledger:
        before = path.read_bytes()
        ledger.connection.execute("PRAGMA cache_size = 20")
        with pytest.raises(Refused, match=f"grown by {GROWTH} pages or more"):
            _import_and_refuse(ledger, size=len(before))
    assert path.read_bytes() == before


GROWTH = 20


def _import_and_refuse(ledger: Ledger, *, size: int) -> None:
    with ledger.transaction(by="Ida", now=NOW) as tx:
        for number in range(800):
            tx.enter("boot recorded", a_boot(f"N-{number}"))
        grown = (ledger.path.stat().st_size - size) // 4096
        raise Refused(
            f"grown by {GROWTH} pages or more" if grown >= GROWTH else f"only {grown}: shows nothing"
        )


def test_a_caller_may_go_on_after_a_refused_entry_and_nothing_of_it_remains(shop: Shop) -> None:
    with shop.ledger.transaction(by="Ida", now=NOW) as tx:
        first = tx.enter("boot recorded", a_boot("B-8"))
        with pytest.raises(Refused):
            tx.enter("holes recorded", {"tag": "P-2", "holes": [_hole("P-2/A1"), _hole("P-2/A1")]})
        second = tx.enter("boot recorded", a_boot("B-9"))
    assert second == first + 1
    assert shop.ledger.connection.execute("SELECT count(*) FROM hole WHERE tag = 'P-2'").fetchone()[0] == 0
    assert audit_file(shop.ledger.path, now=NOW).sound


def _hole(hole_id: str) -> dict[str, object]:
    return {
        "hole_id": hole_id,
        "side": "A",
        "x_um": 0,
        "y_um": 0,
        "diameter_um": None,
        "depth_um": None,
        "state": "open",
        "knowledge": "suspected",
    }


def test_a_handler_sees_what_a_rebuild_will_see(shop: Shop) -> None:
    """Tuples become lists and words plain text before the state is derived."""
    from fleet.facts.kinds import Kind

    with shop.ledger.transaction(by="Ida", now=NOW) as tx:
        tx.enter(
            "wish recorded",
            {
                "wish": "W-1",
                "kind": Kind.ALPINE,
                "length_min_mm": 1600,
                "length_max_mm": 1800,
                "mondopoint_min_mm": 250,
                "mondopoint_max_mm": 280,
                "quantity": 2,
                "priority": 1,
            },
        )
    assert audit_file(shop.ledger.path, now=NOW).sound


def test_one_person_typed_on_two_machines_is_one_name(shop: Shop) -> None:
    composed, decomposed = "Ren\u00e9  Alm ", "Rene\u0301 Alm"
    for by in (composed, decomposed):
        with shop.ledger.transaction(by=by, now=NOW) as tx:
            tx.enter("boot recorded", a_boot(f"B-{len(by)}"))
    names = {entry.by for entry in shop.ledger.entries(after=shop.ledger.head.seq - 2)}
    assert names == {"Ren\u00e9 Alm"}


@pytest.mark.parametrize("by", ["", "   ", "\x1b[31mIda", "Ida\x00", "a\u202eadI"])
def test_an_action_without_a_readable_name_is_refused(shop: Shop, by: str) -> None:
    with pytest.raises(BadInput) as refused, shop.ledger.transaction(by=by, now=NOW):
        pytest.fail("nobody gets that far")
    assert "--by" in refused.value.cure


def test_free_text_stands_apart_and_is_tied_in_by_its_hash(shop: Shop) -> None:
    with shop.ledger.transaction(by="Ida", now=NOW) as tx:
        seq = tx.enter("boot recorded", a_boot("B-8"), note="buckle of the left one is loose")
    (entry,) = shop.ledger.entries(after=seq - 1)
    assert "buckle" not in canonical_json(entry.body)
    assert entry.note_hash is not None


def test_what_happened_earlier_keeps_both_times(shop: Shop) -> None:
    with shop.ledger.transaction(by="Ida", now=NOW) as tx:
        seq = tx.enter("boot recorded", a_boot("B-8"), stated_at=NOW - timedelta(hours=3))
    (entry,) = shop.ledger.entries(after=seq - 1)
    assert entry.entered_later
    assert (entry.recorded_at_utc, entry.stated_at_utc) == (
        "2026-12-27T12:00:00.000Z",
        "2026-12-27T09:00:00.000Z",
    )


def test_two_openings_in_one_process_do_not_take_each_others_locks(path: Path) -> None:
    """POSIX drops a process's locks when it closes any handle to the file: opening must not do that."""
    with Ledger.open(path) as first, first.transaction(by="Ida", now=NOW) as tx:
        tx.enter("boot recorded", a_boot("B-8"))
        with Ledger.open(path):
            pass
        audit_file(path, now=NOW)
        # The lock is asked for by another process: within one process POSIX locks never collide.
        child = os.fork()
        if child == 0:
            with closing(sqlite3.connect(path, timeout=0, isolation_level=None)) as other:
                try:
                    other.execute("BEGIN IMMEDIATE")
                except sqlite3.OperationalError:
                    os._exit(0)
            os._exit(1)
        assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0, "the lock was lost"
