"""A restore goes back in the records, never in what hands did: what stopped a ski since the copy stops it."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from fleet.audit.backup import backup
from fleet.audit.full import audit_file
from fleet.audit.heads import parse_head
from fleet.base.errors import BadInput, MountbookError, Refused
from fleet.facts.holes import Side
from fleet.facts.recalls import Recall
from fleet.facts.standing import Place
from fleet.ledger.history import entries_about, pair_state_at
from fleet.ledger.ledger import Ledger
from fleet.ledger.people import list_person
from fleet.rules.counter import move, undo
from fleet.rules.holds import begin_repair, clear, end_repair, hold, quarantine
from fleet.rules.recall_desk import open_recall
from fleet.rules.recheck import recheck_list
from fleet.tables.connection import connect, trust
from fleet.tables.snapshot import read_boots, read_pairs, read_staff
from planner.bench.season import lose_partner
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, OLD, SANNE, WIM, Shop
from tests.counter.test_impossible import order_body
from tests.counter.way_back import Counter


@pytest.fixture
def counter(shop: Shop, tmp_path: Path) -> Counter[Shop]:
    return Counter(shop, tmp_path)


def _hold(shop: Shop, tag: str, why: str = "heel turned") -> None:
    with shop.desk(NELL) as desk:
        hold(desk, tag, why=why)


def _quarantine(shop: Shop, tag: str) -> None:
    with shop.desk(NELL) as desk:
        quarantine(desk, tag, why="fall on the home run")


def _repair_begun(shop: Shop, tag: str) -> None:
    _hold(shop, tag)
    with shop.desk(JORY) as desk:
        begin_repair(desk, tag)


def _repaired(shop: Shop, tag: str) -> None:
    _repair_begun(shop, tag)
    with shop.desk(JORY) as desk:
        end_repair(desk, tag, did="screwed down")


def _out_and_back(shop: Shop, tag: str) -> None:
    shop.out(tag)
    shop.back(tag)


def _set_out_and_undone(shop: Shop, tag: str) -> None:
    shop.out(tag, boot="B-310", set_now=True)
    with shop.desk(NELL) as desk:
        undo(desk, tag)


def _passed_again(shop: Shop, tag: str) -> None:
    _out_and_back(shop, tag)
    shop.look(tag)


def _fault_cleared(shop: Shop, tag: str) -> None:
    shop.look(tag, found={"A toe": "more"}, by=SANNE)
    with shop.desk(IDA) as desk:
        clear(desk, tag, why="the screw sat in its hole, the finger slipped")


def _out_and_to_be_held(shop: Shop, tag: str) -> None:
    shop.out(tag)
    _hold(shop, tag)


def _moved(to: str) -> Callable[[Shop, str], None]:
    def act(shop: Shop, tag: str) -> None:
        with shop.desk(WIM) as desk:
            move(desk, tag, to=to, reason="edge gone")

    return act


def _partner_lost(shop: Shop, tag: str) -> None:
    with shop.desk(IDA) as desk:
        lose_partner(desk, tag, lost=Side.B, why="broken")


SINCE: dict[str, tuple[Callable[[Shop, str], None], Place, str]] = {
    "quarantine": (_quarantine, Place.QUARANTINE, "in quarantine: fall on the home run"),
    "hold": (_hold, Place.HOLD, "on hold: heel turned"),
    "a repair begun": (_repair_begun, Place.HOLD, "on hold: heel turned"),
    "a repair done, not looked at": (_repaired, Place.HOLD, "on hold: second check"),
    "out": (lambda s, tag: s.out(tag) and None, Place.OUT, "it is out"),
    "out and back": (_out_and_back, Place.BACK, "it came back .* nobody has passed it since"),
    "back, and never scanned out": (
        lambda s, tag: s.back(tag) and None,
        Place.BACK,
        "it came back .* nobody has passed it since",
    ),
    "out, back and passed": (_passed_again, Place.BACK, "it came back .* nobody has passed it since"),
    "a look left unfinished": (
        lambda s, tag: s.look(tag, found={"B heel": "cannot reach"}) and None,
        Place.BACK,
        "nobody has passed it since",
    ),
    "a fault found, the hold lifted": (_fault_cleared, Place.BACK, "nobody has passed it since"),
    "out, and to be held on its return": (_out_and_to_be_held, Place.OUT, "it is to be held: heel turned"),
    "missing": (_moved("missing"), Place.MISSING, "it is missing"),
    "on its way to another shop": (_moved("in transit"), Place.IN_TRANSIT, "it is in transit"),
    "retired": (_moved("retired"), Place.RETIRED, "it is retired"),
    "sold": (_moved("sold"), Place.SOLD, "it is sold"),
    "its partner lost": (_partner_lost, Place.RETIRED, "it is retired"),
}


@pytest.mark.parametrize("name", SINCE)
def test_what_happened_to_a_pair_since_the_copy_still_keeps_it_in(counter: Counter[Shop], name: str) -> None:
    act, place, words = SINCE[name]
    shop = counter.shop
    act(shop, "P-1")
    late = shop.ledger.head
    done = counter.back()
    assert shop.place("P-1") is place
    with pytest.raises(MountbookError, match=words):
        shop.out("P-1")
    shop.out("P-2")  # the copy's pass of an untouched pair stands
    assert [line.tag for line in done.carried] == ["P-1"]
    (entry,) = [e for e in shop.ledger.entries(after=done.backup_head.seq) if e.what == "pair carried over"]
    assert entry.body["from"] == f"the file that this copy replaced, which ended at {late}"
    assert audit_file(counter.path, now=shop.now).clean


def test_what_the_renter_said_and_the_first_returns_after_work_are_still_looked_at_first(
    counter: Counter[Shop],
) -> None:
    shop = counter.shop
    shop.out("P-1")
    shop.back("P-1", said="felt loose")
    before = recheck_list(shop.ledger.connection, today=shop.today)
    counter.back()
    after = recheck_list(shop.ledger.connection, today=shop.today)
    assert [(r.tag, r.reasons, r.marked, r.returned_at) for r in after.rows] == [
        (r.tag, r.reasons, r.marked, r.returned_at) for r in before.rows
    ]
    assert "felt loose" in str(after.rows[0].reasons)


def test_who_found_a_moved_screw_since_the_copy_does_not_clear_it_alone_after_it(
    counter: Counter[Shop],
) -> None:
    shop = counter.shop
    shop.look("P-1", found={"A toe": "more"}, by=IDA)
    counter.back()
    with shop.desk(IDA) as desk, pytest.raises(Refused, match="found the moved screw"):
        clear(desk, "P-1", why="it was nothing at all")
    with shop.desk(SANNE) as desk:
        clear(desk, "P-1", why="it was nothing at all")
    with pytest.raises(Refused, match="cleared the hold"):
        shop.look("P-1", by=SANNE)
    shop.look("P-1", by=JORY)


def test_who_cleared_a_moved_screw_since_the_copy_does_not_pass_it_after_it(counter: Counter[Shop]) -> None:
    shop = counter.shop
    shop.look("P-1", found={"A toe": "more"}, by=IDA)
    with shop.desk(SANNE) as desk:
        clear(desk, "P-1", why="it was nothing at all")
    counter.back()
    with pytest.raises(Refused, match="cleared the hold"):
        shop.look("P-1", by=SANNE)


def test_what_a_binding_was_set_for_since_the_copy_is_not_known_after_it(shop: Shop, tmp_path: Path) -> None:
    for tag in ("P-1", "P-2"):
        shop.enter("binding set", {"tag": tag, "bsl_um": 310_000, "boot": "B-310"})
    counter = Counter(shop, tmp_path)
    shop.enter("binding set", {"tag": "P-1", "bsl_um": 305_000, "boot": "B-305"})
    counter.back()
    assert shop.standing("P-1").setting.bsl_um is None
    assert shop.standing("P-2").setting.bsl_um == 310_000


def test_where_it_cannot_tell_no_setting_is_known_not_even_of_a_pair_without_a_pass(
    shop: Shop, tmp_path: Path
) -> None:
    shop.pair("P-9")
    for tag in ("P-1", "P-9"):
        shop.enter("binding set", {"tag": tag, "bsl_um": 310_000, "boot": "B-310"})
    counter = Counter(shop, tmp_path)
    counter.path.unlink()
    counter.back()
    assert (shop.standing("P-1").setting.bsl_um, shop.standing("P-9").setting.bsl_um) == (None, None)


def test_a_pair_as_of_a_day_and_its_case_know_that_a_restore_made_its_pass_void(
    counter: Counter[Shop],
) -> None:
    """One pair is replayed from the entries that concern it, and a void restore concerns every pair."""
    shop = counter.shop
    counter.path.unlink()
    counter.back()
    head = shop.ledger.head
    with closing(pair_state_at(shop.ledger, "P-1", head)) as alone:
        assert alone.execute("SELECT place FROM standing WHERE tag = 'P-1'").fetchone() == ("back",)
    told = [one.entry.what for one in entries_about(shop.ledger.connection, "P-1")]
    assert "ledger restored" in told


def test_what_came_back_is_looked_at_and_goes_out_again(counter: Counter[Shop]) -> None:
    shop = counter.shop
    _out_and_back(shop, "P-1")
    counter.back()
    shop.look("P-1")
    shop.out("P-1")
    shop.back("P-1")
    assert shop.standing("P-1").passes is False


def test_a_look_after_the_return_and_before_the_restore_counts_for_door_and_audit(
    counter: Counter[Shop],
) -> None:
    shop = counter.shop
    _out_and_back(shop, "P-1")
    looked = shop.tick(minutes=5)
    shop.tick(minutes=30)
    counter.back()
    shop.look("P-1", at=looked)
    shop.out("P-1")
    assert audit_file(counter.path, now=shop.now).clean


def test_who_has_it_out_brings_it_back_with_its_boot_and_day(counter: Counter[Shop]) -> None:
    shop = counter.shop
    shop.out("P-1", boot="B-305")
    before = shop.standing("P-1")
    counter.back()
    after = shop.standing("P-1")
    assert (after.out_boot, after.out.at, after.out_due) == ("B-305", before.out.at, before.out_due)
    assert shop.back("P-1")[0].place is Place.BACK


def test_a_hold_lifted_since_the_copy_stands_again_and_only_a_person_lifts_it(
    shop: Shop, tmp_path: Path
) -> None:
    _hold(shop, "P-1")
    counter = Counter(shop, tmp_path)
    with shop.desk(SANNE) as desk:
        clear(desk, "P-1", why="was nothing")
    counter.back()
    assert shop.place("P-1") is Place.HOLD
    assert shop.standing("P-1").hold_why == "heel turned"


def test_a_quarantine_and_a_hold_keep_each_its_own_cause_and_the_renter_his_words(
    shop: Shop, tmp_path: Path
) -> None:
    counter = Counter(shop, tmp_path)
    shop.out("P-1")
    shop.back("P-1", said="felt loose")
    _hold(shop, "P-1")
    _quarantine(shop, "P-1")
    counter.back()
    standing = shop.standing("P-1")
    assert (standing.quarantine_why, standing.hold_why) == ("fall on the home run", "heel turned")
    with shop.desk(WIM) as desk:
        said = clear(desk, "P-1", why="seen with the renter").words
    assert said == "quarantine ended; still on hold: heel turned"
    with shop.desk(SANNE) as desk:
        clear(desk, "P-1", why="screwed down anew")
    rows = recheck_list(shop.ledger.connection, today=shop.today).rows
    assert "renter: “felt loose”" in next(row.reasons for row in rows if row.tag == "P-1")


def test_a_new_cause_takes_the_place_of_the_old_one(shop: Shop, tmp_path: Path) -> None:
    _hold(shop, "P-1", "old scratch")
    counter = Counter(shop, tmp_path)
    with shop.desk(SANNE) as desk:
        clear(desk, "P-1", why="was nothing")
    _hold(shop, "P-1", "heel turned")
    counter.back()
    assert shop.standing("P-1").hold_why == "heel turned"


def test_who_ends_a_quarantine_reads_that_the_pair_is_still_on_hold(counter: Counter[Shop]) -> None:
    """The answer names what still stops it; with nothing left it says that a look is due."""
    shop = counter.shop
    _hold(shop, "P-1")
    _quarantine(shop, "P-1")
    _quarantine(shop, "P-2")
    _repair_begun(shop, "P-3")
    _quarantine(shop, "P-3")
    with shop.desk(WIM) as desk:
        words = {tag: clear(desk, tag, why="seen with the renter").words for tag in ("P-1", "P-2", "P-3")}
    assert words["P-1"] == "quarantine ended; still on hold: heel turned"
    assert words["P-2"] == "quarantine ended; it needs a look at both skis"
    assert words["P-3"] == "quarantine ended; still in repair: heel turned"


def test_a_blanked_cause_stays_blanked(counter: Counter[Shop]) -> None:
    shop = counter.shop
    _quarantine(shop, "P-1")
    entry = shop.ledger.head.seq
    with shop.desk(IDA) as desk:
        desk.tx.blank_note(entry, why="a name")
    counter.back()
    assert shop.place("P-1") is Place.QUARANTINE
    assert "home run" not in "\n".join(shop.dump())


def test_a_clock_set_back_before_the_restore_makes_no_pass_count(counter: Counter[Shop]) -> None:
    shop = counter.shop
    _out_and_back(shop, "P-1")
    shop.now -= timedelta(days=3)
    counter.back()
    with pytest.raises(MountbookError, match="cannot go out"):
        shop.out("P-1")
    shop.now += timedelta(days=6)
    with pytest.raises(MountbookError, match="nobody has passed it since"):
        shop.out("P-1")


@pytest.mark.parametrize("set_back", [timedelta(0), timedelta(days=3)])
def test_which_passes_count_after_a_restore_whatever_the_clock_says(
    shop: Shop, tmp_path: Path, set_back: timedelta
) -> None:
    """The copy's own pass counts where nothing happened since: an out that was undone, its setting too, is
    nothing. A pass given since the copy counts no more, nor does the copy's of a pair that was passed again.
    """
    _out_and_back(shop, "P-2")
    _set_out_and_undone(shop, "P-1")  # from now on nobody knows what it stands at
    counter = Counter(shop, tmp_path)
    _set_out_and_undone(shop, "P-1")
    _set_out_and_undone(shop, "P-4")  # of this one the copy says what it stood at
    for tag in ("P-2", "P-3"):
        shop.look(tag)
    tags = ("P-1", "P-2", "P-3", "P-4")
    assert {shop.place(tag) for tag in tags} == {Place.READY}
    shop.now -= set_back
    counter.back()
    assert [shop.place(tag) for tag in tags] == [Place.READY, Place.BACK, Place.BACK, Place.BACK]
    assert shop.standing("P-1").setting.bsl_um is None
    assert audit_file(counter.path, now=shop.now).sound


def test_a_boot_held_or_away_since_the_copy_is_so_after_it(counter: Counter[Shop]) -> None:
    shop = counter.shop
    with shop.desk(NELL) as desk:
        hold(desk, "B-305", why="buckle torn off")
        move(desk, "B-310", to="missing", reason="not in its rack")
    done = counter.back()
    boots = read_boots(shop.ledger.connection)
    assert boots["B-305"].barred == "hold: buckle torn off"
    assert boots["B-310"].barred == "missing"
    assert [(each.tag, each.words) for each in done.carried] == [
        ("boot B-305", "hold: buckle torn off"),
        ("boot B-310", "missing"),
    ]
    assert not done.gone
    with pytest.raises(Refused, match="boot B-305 is barred"):
        shop.out("P-1", boot="B-305")


def test_a_boot_held_already_in_the_copy_is_not_held_twice(shop: Shop, tmp_path: Path) -> None:
    with shop.desk(NELL) as desk:
        hold(desk, "B-305", why="buckle torn off")
    counter = Counter(shop, tmp_path)
    with shop.desk(NELL) as desk:
        hold(desk, "P-2", why="seen")
    assert [each.tag for each in counter.back().carried] == ["P-2"]


def test_an_open_recall_goes_along(counter: Counter[Shop]) -> None:
    shop = counter.shop
    recall = Recall(
        recall="R-7", pattern="Lark 4", piece="", serial_from="", serial_to="", season="", source="notice"
    )
    with shop.desk(IDA) as desk:
        open_recall(desk, recall)
    done = counter.back()
    with pytest.raises(MountbookError, match="recall R-7 is open"):
        shop.out("P-1")
    assert done.recalls == ("R-7",)


@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize(("read", "stops"), [("1000", True), ("", True), ("8", False)])
def test_a_serial_that_was_read_or_lost_since_the_copy_stops_its_pair_where_a_recall_may_reach_it(
    shop: Shop, tmp_path: Path, side: Side, read: str, stops: bool
) -> None:
    """By the copy the binding is out of range; the file after it says in range, or nothing any more."""
    for each in Side:
        changes = {"serial_toe": ["1000", "9"], "serial_heel": ["1000", "9"]}
        shop.enter("binding changed", {"binding_id": f"P-1/{each}", "changes": changes})
    recall = Recall(
        recall="R-7", pattern="", piece="", serial_from="500", serial_to="1500", season="", source="notice"
    )
    with shop.desk(IDA) as desk:
        open_recall(desk, recall)
    counter = Counter(shop, tmp_path)
    shop.enter("binding changed", {"binding_id": f"P-1/{side}", "changes": {"serial_toe": ["9", read]}})
    counter.back()
    standing = shop.standing("P-1")
    assert (standing.place is Place.HOLD) is stops
    words = "recall R-7 reached its binding as it was read after the copy: take off and read"
    assert (words in standing.hold_why) is stops


def test_an_order_since_the_copy_holds_the_pair_that_gives_its_binding_too(counter: Counter[Shop]) -> None:
    shop = counter.shop
    shop.enter("order issued", order_body("P-1", giver="P-2"))
    counter.back()
    assert [shop.place(tag) for tag in ("P-1", "P-2", "P-3")] == [Place.HOLD, Place.HOLD, Place.READY]
    for tag in ("P-1", "P-2"):
        why = shop.standing(tag).hold_why
        assert "work order WO-2612-0001 A was issued after the copy: collect its sheet" in why


def test_a_pair_that_the_copy_does_not_know_is_stopped_when_it_is_entered_again(
    counter: Counter[Shop],
) -> None:
    shop = counter.shop
    shop.pair("P-9")
    shop.look("P-9")
    _quarantine(shop, "P-9")
    done = counter.back()
    assert "P-9" not in read_pairs(shop.ledger.connection)
    assert [line.tag for line in done.carried] == ["P-9"]
    shop.pair("P-9")
    assert shop.place("P-9") is Place.QUARANTINE
    assert shop.standing("P-9").quarantine_why == "fall on the home run"


def test_a_second_restore_carries_what_the_first_one_carried(counter: Counter[Shop]) -> None:
    shop = counter.shop
    _quarantine(shop, "P-1")
    shop.pair("P-9")
    _hold(shop, "P-9")
    counter.back()
    counter.back()
    assert shop.place("P-1") is Place.QUARANTINE
    assert shop.standing("P-1").quarantine_why == "fall on the home run"
    shop.pair("P-9")
    assert shop.place("P-9") is Place.HOLD


def test_what_was_entered_since_and_is_gone_is_counted(counter: Counter[Shop]) -> None:
    shop = counter.shop
    shop.boot("B-9", 300, "alpine A")
    shop.boot("B-10", 300, "alpine A")
    _quarantine(shop, "P-1")
    done = counter.back()
    assert done.gone == {"boot recorded": 2}
    assert done.passes == "stand"


# who may


@pytest.mark.parametrize(
    ("by", "words"),
    [
        (NELL, "counter staff"),
        (JORY, "only a manager"),
        (IDA, "only a manager"),
        (OLD, "only a manager"),
        ("X", "not on the staff list"),
    ],
)
def test_a_restore_is_signed_by_one_who_may(counter: Counter[Shop], by: str, words: str) -> None:
    before = counter.path.read_bytes()
    with pytest.raises(Refused, match=words):
        counter.back(by)
    assert counter.path.read_bytes() == before
    assert sorted(file.name for file in counter.folder.iterdir()) == [
        "copies",
        "shop.db",
        "shop.db.audited",
    ]


def test_the_manager_restores(counter: Counter[Shop]) -> None:
    assert counter.back(WIM).passes == "stand"


def test_with_no_manager_in_date_the_head_technician_restores(counter: Counter[Shop]) -> None:
    with counter.shop.desk(WIM) as desk:
        list_person(desk, WIM, role="manager", until=counter.shop.today - timedelta(days=1))
    assert counter.back(IDA).passes == "stand"


def test_the_list_of_the_replaced_file_counts_and_goes_along(counter: Counter[Shop]) -> None:
    """A right taken away since the copy is not given back by it, and one given since is not lost."""
    shop = counter.shop
    for name, role in ((IDA, "counter"), ("Bo Tern", "manager")):
        with shop.desk(WIM) as desk:
            list_person(desk, name, role=role, until=shop.today + timedelta(days=90))
    with pytest.raises(Refused, match="counter staff"):
        counter.back(IDA)
    shop.ledger = Ledger.open(counter.path)
    done = counter.back("Bo Tern")
    staff = read_staff(shop.ledger.connection)
    assert staff[IDA].role.value == "counter"
    assert staff["Bo Tern"].role.value == "manager"
    assert sorted(done.staff) == ["Bo Tern", IDA]


def test_while_nobody_is_listed_anybody_restores(tmp_path: Path) -> None:
    shop = Shop.new(tmp_path / "shop.db")
    assert Counter(shop, tmp_path).back("login").passes == "stand"


# where the replaced file cannot tell what came after the copy


def _damage(path: Path, boot: str) -> None:
    """A hundred bytes of one entry's text overwritten, sizes unchanged."""
    raw = bytearray(path.read_bytes())
    place = raw.index(f'"tag":"{boot}"'.encode())
    raw[place : place + 6] = b"rotten"
    path.write_bytes(raw)


def _newest_hash_gone(path: Path) -> None:
    with closing(sqlite3.connect(path)) as file:
        (newest,) = file.execute("SELECT hash FROM entries ORDER BY seq DESC LIMIT 1").fetchone()
    path.write_bytes(path.read_bytes().replace(newest.encode(), b"0" * len(newest)))


RUIN: dict[str, Callable[[Path], object]] = {
    "missing": lambda path: path.unlink(),
    "text now": lambda path: path.write_text("oh no" * 500),
    "empty": lambda path: path.write_bytes(b""),
    "cut off": lambda path: path.write_bytes(path.read_bytes()[:5000]),
    "its newest entry damaged": _newest_hash_gone,
    "another ledger": lambda path: (path.unlink(), Shop.new(path).ledger.connection.close()),
}


@pytest.mark.parametrize("state", RUIN)
def test_where_it_cannot_tell_every_pass_is_void(shop: Shop, tmp_path: Path, state: str) -> None:
    shop.pair("P-9")
    shop.set_binding("P-9", 305)
    counter = Counter(shop, tmp_path)
    shop.ledger.connection.close()
    RUIN[state](counter.path)
    done = counter.back()
    assert done.passes == "void"
    for tag in ("P-1", "P-2", "T-1"):
        assert shop.place(tag) is Place.BACK
        with pytest.raises(MountbookError, match=r"a restore of the ledger was entered .* nobody"):
            shop.out(tag)
    shop.look("P-1")
    assert shop.standing("P-1").setting.bsl_um is None
    assert shop.standing("P-9").setting.bsl_um is None  # never passed, and yet it may have been set since
    shop.out("P-1")
    assert audit_file(counter.path, now=shop.now).clean


@pytest.mark.parametrize("state", RUIN)
def test_a_printed_head_that_is_the_copys_own_keeps_its_passes(counter: Counter[Shop], state: str) -> None:
    shop = counter.shop
    shop.ledger.connection.close()
    RUIN[state](counter.path)
    done = counter.back(printed=parse_head(str(counter.copy.head)))
    assert done.passes == "stand"
    shop.out("P-1")


@pytest.mark.parametrize("text", ["{next}:{hash}", "{seq}:00000000", "5:a3f920c1"])
def test_a_printed_head_that_is_not_the_copys_own_is_refused(counter: Counter[Shop], text: str) -> None:
    head = counter.copy.head
    printed = parse_head(text.format(next=head.seq + 1, seq=head.seq, hash=head.hash[:8]))
    with pytest.raises(BadInput, match="is not the newest entry of this copy"):
        counter.back(printed=printed)


def test_damage_before_the_copy_hides_nothing_after_it(counter: Counter[Shop]) -> None:
    """The copy has those entries whole, and the chain from its newest on is read to the end."""
    shop = counter.shop
    _quarantine(shop, "P-1")
    shop.ledger.connection.close()
    _damage(counter.path, "B-305")
    assert not audit_file(counter.path, now=shop.now).sound
    assert counter.back().passes == "stand"
    assert shop.place("P-1") is Place.QUARANTINE
    shop.out("P-2")


@pytest.mark.parametrize("paper", [True, False])
def test_what_a_damaged_file_still_says_is_carried_over(counter: Counter[Shop], paper: bool) -> None:
    """Its chain is broken after the copy, so every pass is void; its tables still name the quarantine."""
    shop = counter.shop
    shop.boot("B-9", 300, "alpine A")
    _quarantine(shop, "P-1")
    shop.out("P-2")
    shop.ledger.connection.close()
    _damage(counter.path, "B-9")
    done = counter.back(printed=counter.copy.head if paper else None)
    assert done.passes == "void"  # the paper was not the newest: the file itself says more
    assert shop.place("P-1") is Place.QUARANTINE
    assert shop.standing("P-1").quarantine_why == "fall on the home run"
    assert shop.place("P-2") is Place.OUT
    assert shop.place("P-3") is Place.BACK
    assert [line.tag for line in done.carried] == ["P-1", "P-2"]


def test_a_damaged_file_still_says_whose_hands_were_at_a_pair_and_what_glue_cures(
    counter: Counter[Shop],
) -> None:
    """Nothing holds them any more: the hold was lifted, the repair passed; the table names hands and glue."""
    shop = counter.shop
    shop.policy("cure_epoxy_hours", "8")
    counter.copy = backup(counter.path, counter.folder / "copies", now=shop.tick(), keep=3)
    shop.boot("B-9", 300, "alpine A")
    shop.look("P-1", found={"A toe": "more"}, by=IDA)
    with shop.desk(SANNE) as desk:
        clear(desk, "P-1", why="it was nothing at all")
    _hold(shop, "P-2")
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-2", did="glued in", glued_with=("epoxy",))
    shop.look("P-2", by=SANNE)
    shop.ledger.connection.close()
    _damage(counter.path, "B-9")
    done = counter.back()
    assert (done.passes, [line.tag for line in done.carried]) == ("void", ["P-1", "P-2"])
    with pytest.raises(Refused, match="cleared the hold"):
        shop.look("P-1", by=SANNE)
    shop.look("P-1", by=JORY)
    shop.look("P-2", by=SANNE)
    with pytest.raises(MountbookError, match="its epoxy cures until"):
        shop.out("P-2")
    shop.tick(minutes=8 * 60)
    shop.out("P-2")
    assert audit_file(counter.path, now=shop.now).clean


def test_a_state_changed_by_hand_does_not_lift_what_the_entries_say(counter: Counter[Shop]) -> None:
    shop = counter.shop
    _quarantine(shop, "P-1")
    shop.ledger.connection.close()
    with closing(connect(counter.path)) as hand:
        trust(hand)
        with hand.unlatched():
            hand.execute("UPDATE standing SET quarantine_entry = 0, place = 'ready' WHERE tag = 'P-1'")
    counter.back()
    assert shop.place("P-1") is Place.QUARANTINE


def test_a_file_older_than_the_copy_cannot_tell_either(counter: Counter[Shop]) -> None:
    """An old file laid in the ledger's place, then the copy put back: it knows nothing of what came after."""
    shop = counter.shop
    early = counter.copy
    _out_and_back(shop, "P-1")
    shop.look("P-1")
    counter.copy = backup(counter.path, counter.folder / "copies", now=shop.tick(), keep=3)
    _quarantine(shop, "P-1")
    shop.ledger.connection.close()
    shutil.copyfile(early.path, counter.path)
    done = counter.back()
    assert (done.passes, done.carried) == ("void", ())  # nor is anything in it news


# as it is typed


def test_after_an_accident_a_restore_as_typed_keeps_the_pair_locked_away(
    command: Command, tmp_path: Path
) -> None:
    made = command("backup", str(tmp_path / "copies"), "--json").json["backup"]
    assert command("quarantine", "P-1", "--why", "fall, a knee hurt", "--by", NELL).returncode == 0
    assert command("out", "P-2", "--by", NELL).returncode == 0
    assert command("policy", "set", "spacing_mm", "12", "--origin", "x", "--by", WIM, "--yes").returncode == 0
    assert command("restore", made, "--by", JORY).returncode == 1
    told = command("restore", made, "--by", WIM)
    assert told.returncode == 0
    assert "P-1  quarantine: fall, a knee hurt" in told.stdout
    assert "P-2  out since Sun 27 Dec 2026 18:03" in told.stdout
    assert "policy set  spacing_mm 12" in told.stdout
    assert "not in this ledger any more" not in told.stdout
    refused = command("out", "P-1", "--json").json["refused"]
    assert "in quarantine: fall, a knee hurt" in refused
    assert command("clear", "P-1", "--why", "x", "--by", IDA).returncode == 1
    assert "pair carried over" in command("ski", "P-1").stdout
    assert command("audit").returncode == 0


@pytest.mark.parametrize(("by", "code"), [("Wim", 0), ("tarrow", 0), ("Jory", 1), ("Wi", 1)])
def test_a_short_name_restores_where_the_file_is_gone_by_the_list_of_the_copy(
    command: Command, tmp_path: Path, by: str, code: int
) -> None:
    made = command("backup", str(tmp_path / "copies"), "--json").json
    command.ledger.unlink()
    assert command("restore", made["backup"], "--by", by).returncode == code
    if not code:
        with Ledger.open(command.ledger) as ledger:
            assert [e.by for e in ledger.entries() if e.what == "ledger restored"] == [WIM]


def test_where_the_file_is_gone_the_command_says_what_to_do(command: Command, tmp_path: Path) -> None:
    made = command("backup", str(tmp_path / "copies"), "--json").json
    command.ledger.unlink()
    told = command("restore", made["backup"], "--by", WIM)
    assert told.returncode == 0
    assert "every pass in it is void" in told.stdout
    assert "--head" in told.stdout
    head = made["backup"].rsplit("-", 2)[1:]
    command.ledger.unlink()
    stands = command(
        "restore", made["backup"], "--by", WIM, "--head", f"{head[0]}:{head[1].removesuffix('.db')}", "--json"
    )
    assert stands.json["passes"] == "stand"
    assert command("out", "P-1").returncode == 0
