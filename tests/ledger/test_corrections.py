"""Corrections: a wrong entry stays, a new one shows it; and free text can be blanked for good."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import pytest

from fleet.audit.backup import backup
from fleet.audit.full import audit_file
from fleet.base.errors import BadInput, MountbookError, Refused
from fleet.facts.standing import Place
from fleet.ledger.corrections import correct, parse_settings, redact, remark, withdraw
from fleet.tables.snapshot import read_boots, read_pairs
from tests.counter.shop import IDA, JORY, NELL, OLD, WIM, Shop
from tests.ledger.busy import SAID

NOW = datetime(2026, 12, 28, 17, 30, tzinfo=UTC)


def _newest(shop: Shop, what: str) -> int:
    return max(entry.seq for entry in shop.ledger.entries() if entry.what == what)


def _correct(shop: Shop, name: str, *fields: str, by: str = IDA, why: str = "misread") -> int:
    with shop.desk(by) as desk:
        return correct(desk.tx, name, parse_settings(list(fields)), by=by, why=why, today=shop.today)


def _withdraw(shop: Shop, seq: int, *, by: str = IDA, why: str = "wrong pair") -> int:
    with shop.desk(by) as desk:
        return withdraw(desk.tx, seq, by=by, why=why, today=shop.today)


FIELDS = {
    "a hole": ("P-1/A1", ["x_mm=141.5", "knowledge=measured bare"], {"x_um": [142_500, 141_500]}),
    "a depth nobody measured": ("P-1/A1", ["depth_mm="], {"depth_um": [9000, None]}),
    "a ski": ("P-1/A", ["mark_from_tail_mm=801"], {"A.mark_from_tail_um": [800_000, 801_000]}),
    "a pair": ("P-1", ["length_cm=171", "rack=R-2"], {"length_mm": [1700, 1710]}),
    "a boot": ("B-305", ["bsl_mm=306.5", "mondopoint=27.5"], {"bsl_um": [305_000, 306_500]}),
    "a binding": ("P-1/A ", ["season=2026"], {}),
}


@pytest.mark.parametrize("name", [name for name in FIELDS if name != "a binding"])
def test_a_correction_shows_old_and_new_and_the_old_entry_stays(shop: Shop, name: str) -> None:
    thing, fields, shown = FIELDS[name]
    before = list(shop.ledger.entries())
    seq = _correct(shop, thing, *fields)
    (entry,) = shop.ledger.entries(after=seq - 1)
    assert entry.body["changes"].items() >= shown.items()
    assert list(shop.ledger.entries(until=seq - 1)) == before
    assert audit_file(shop.ledger.path, now=NOW).clean


def test_after_a_corrected_hole_no_earlier_pass_counts(shop: Shop) -> None:
    shop.back("P-1")
    shop.look("P-1")
    assert shop.place("P-1") is Place.READY
    _correct(shop, "P-1/A1", "x_mm=141.5")
    assert shop.place("P-1") is Place.BACK


def test_what_the_entry_made_is_taken_out_and_the_entry_is_quoted(shop: Shop) -> None:
    seq = _newest(shop, "holes recorded")
    (old,) = shop.ledger.entries(after=seq - 1, until=seq)
    back = _withdraw(shop, seq)
    (entry,) = shop.ledger.entries(after=back - 1)
    assert entry.body == {"entry": seq, "what": "holes recorded", "body": old.body}
    pair = read_pairs(shop.ledger.connection, "P-1")["P-1"]
    assert all(not ski.holes for ski in pair.skis.values())
    assert audit_file(shop.ledger.path, now=NOW).clean


@pytest.mark.parametrize(
    "what",
    [
        "area inspected",
        "holes recorded",
        "mount recorded",
        "binding recorded",
        "fit declared",
        "boot recorded",
    ],
)
def test_a_withdrawn_entry_leaves_a_state_that_its_entries_say(shop: Shop, what: str) -> None:
    tables = shop.dump()
    _withdraw(shop, _newest(shop, what))
    assert shop.dump() != tables
    assert audit_file(shop.ledger.path, now=NOW).sound


def test_a_hole_changed_since_is_not_pulled_from_under_its_change(shop: Shop) -> None:
    seq = _newest(shop, "holes recorded")
    change = _correct(shop, "P-1/A1", "x_mm=141.5")
    with pytest.raises(Refused, match=f"was changed by entry {change}"):
        _withdraw(shop, seq)
    _withdraw(shop, change)
    _withdraw(shop, seq)
    assert audit_file(shop.ledger.path, now=NOW).sound


def _boot_in_use(shop: Shop) -> None:
    seq = next(e.seq for e in shop.ledger.entries() if e.body.get("tag") == "B-305")
    _withdraw(shop, seq)


REFUSED: dict[str, tuple[Callable[[Shop], object], str]] = {
    "by a technician": (
        lambda s: _correct(s, "P-1", "rack=9", by=JORY),
        "only a head technician or a manager can correct",
    ),
    "by counter staff": (lambda s: _correct(s, "P-1", "rack=9", by=NELL), "counter staff"),
    "by a stranger": (lambda s: _correct(s, "P-1", "rack=9", by="A. Stranger"), "not on the staff list"),
    "by one whose listing ended": (lambda s: _withdraw(s, 20, by=OLD), "only a head technician"),
    "without a reason": (lambda s: _correct(s, "P-1", "rack=9", why=" "), "needs a reason"),
    "of nothing": (lambda s: _correct(s, "P-77", "rack=9"), "called 'P-77'"),
    "that says what stands there": (lambda s: _correct(s, "P-1", "rack=R-1"), "says so already"),
    "of a field that is not there": (
        lambda s: _correct(s, "P-1", "place=ready"),
        "cannot be corrected there",
    ),
    "with half a number": (lambda s: _correct(s, "P-1/A1", "x_mm=12,5"), "is not a number"),
    "finer than a micrometre": (lambda s: _correct(s, "P-1/A1", "x_mm=0.00001"), "finer than a micrometre"),
    "to an impossible sole": (lambda s: _correct(s, "B-305", "bsl_mm=30.5"), "no boot sole length"),
    "to an unknown state": (
        lambda s: _correct(s, "P-1/A1", "state=fine"),
        "state: 'fine' is not a word for it",
    ),
    "to an unknown kind of ski": (lambda s: _correct(s, "P-1", "kind=sled"), "sled"),
    "to a negative mark": (lambda s: _correct(s, "P-1/A", "mark_from_tail_mm=-5"), "must not be negative"),
    "of no field": (lambda s: _correct(s, "P-1", "rack"), "does not set one field"),
    "of a scan": (
        lambda s: _withdraw(s, _newest(s, "pair out")),
        "undone at the counter|cannot be withdrawn",
    ),
    "of an entry that is not there": (lambda s: _withdraw(s, 9999), "there is no entry 9999"),
    "of a boot that is out": (_boot_in_use, "P-1 names it"),
    "of a pair with a history": (
        lambda s: _withdraw(s, next(e.seq for e in s.ledger.entries() if e.body.get("tag") == "P-1")),
        "has a history",
    ),
    "twice": (
        lambda s: [_withdraw(s, _newest(s, "area inspected")) for _ in range(2)],
        "not in force any more",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_correction_is_refused_in_one_sentence_and_changes_nothing(shop: Shop, name: str) -> None:
    act, words = REFUSED[name]
    if name == "twice":
        _withdraw(shop, _newest(shop, "area inspected"))
        act, before = (lambda s: _withdraw(s, _newest(s, "area inspected"))), shop.dump()
    else:
        before = shop.dump()
    with pytest.raises(MountbookError, match=words) as refused:
        act(shop)
    assert "\n" not in refused.value.sentence
    assert shop.dump() == before


def test_a_pair_entered_by_mistake_goes_as_long_as_nothing_hangs_on_it(shop: Shop) -> None:
    shop.pair("P-12", mounted=False)
    _withdraw(shop, shop.ledger.head.seq)
    assert "P-12" not in read_pairs(shop.ledger.connection)
    assert audit_file(shop.ledger.path, now=NOW).clean


def test_a_boot_corrected_is_read_back_as_corrected(shop: Shop) -> None:
    _correct(shop, "B-305", "bsl_mm=306.5", "mondopoint=27.5", by=WIM)
    boot = read_boots(shop.ledger.connection)["B-305"]
    assert (boot.bsl_um, boot.mondopoint_mm) == (306_500, 275)


# Redaction


def _noted(shop: Shop) -> int:
    return int(shop.ledger.connection.execute("SELECT seq FROM notes WHERE text = ?", (SAID,)).fetchone()[0])


def _redact(shop: Shop, seq: int, *, by: str = IDA) -> int:
    with shop.desk(by) as desk:
        return redact(desk.tx, seq, by=by, why="asked for", today=shop.today)


def test_a_blanked_text_is_gone_from_every_byte_of_the_file_and_the_chain_is_whole(shop: Shop) -> None:
    path = shop.ledger.path
    assert SAID.encode() in path.read_bytes()
    blanking = _redact(shop, _noted(shop))
    raw = path.read_bytes()
    for part in (SAID, "Alva", "knee"):
        assert part.encode() not in raw
    assert audit_file(path, now=NOW).clean
    row = shop.ledger.connection.execute(
        "SELECT salt, text, redacted_by FROM notes WHERE redacted_by = ?", (blanking,)
    ).fetchone()
    assert row == ("", None, blanking)


def test_the_salt_goes_too_or_a_short_name_could_be_guessed_from_its_hash(shop: Shop) -> None:
    seq = _noted(shop)
    salt = shop.ledger.connection.execute("SELECT salt FROM notes WHERE seq = ?", (seq,)).fetchone()[0]
    _redact(shop, seq)
    assert salt.encode() not in shop.ledger.path.read_bytes()


def test_a_text_is_blanked_once_and_only_where_there_is_one(shop: Shop) -> None:
    seq = _noted(shop)
    _redact(shop, seq)
    with pytest.raises(Refused, match="blanked already"):
        _redact(shop, seq)
    with pytest.raises(Refused, match="has no note"):
        _redact(shop, 2)
    with pytest.raises(Refused, match="only a head technician or a manager can correct"):
        _redact(shop, seq, by=JORY)


def test_a_backup_made_before_still_holds_the_text_and_says_nothing_else(shop: Shop) -> None:
    """Said on the screen too: whoever blanks a text drops the older backups where that matters."""
    copy = backup(shop.ledger.path, shop.ledger.path.parent / "copies", now=NOW, keep=1)
    _redact(shop, _noted(shop))
    assert SAID.encode() in copy.path.read_bytes()
    newer = backup(shop.ledger.path, shop.ledger.path.parent / "copies", now=NOW, keep=1)
    assert SAID.encode() not in newer.path.read_bytes()
    assert not copy.path.exists()


def test_a_remark_needs_words_and_an_entry(shop: Shop) -> None:
    with pytest.raises(BadInput), shop.desk(NELL) as desk:
        remark(desk.tx, 5, why="")
    with pytest.raises(Refused), shop.desk(NELL) as desk:
        remark(desk.tx, 5000, why="x")
