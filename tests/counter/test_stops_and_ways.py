"""What stops a ski, and each way in which its pair can come back: no way loses a stop.

After each way somebody looks at the pair and every screw stands. What a look lifts (a screw that nobody
reached) stops the pair until that look; what it does not lift stops it after the look too.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from openpyxl import load_workbook

from fleet.audit.backup import backup, restore
from fleet.audit.full import audit_file
from fleet.base.errors import MountbookError
from fleet.facts.holes import Side, SkiFault
from fleet.facts.pairs import pair_state
from fleet.facts.recalls import Recall
from fleet.facts.standing import Place
from fleet.ledger.corrections import correct, withdraw
from fleet.ledger.ledger import Ledger
from fleet.rules.clearance import Door
from fleet.rules.counter import move
from fleet.rules.holds import end_repair, hold, quarantine, ski_fault
from fleet.rules.recall_desk import open_recall
from fleet.tables.snapshot import read_fleet, read_pairs
from planner.bench.season import join, lose_partner
from planner.exchange.export.tables import stops_by_pair
from tests.counter.command import NOW, Command
from tests.counter.shop import IDA, JORY, NELL, SANNE, STAFF, WIM, ZONE, Shop, binding_body

TAG = "P-1"


@dataclass(frozen=True)
class StopRow:
    """``act`` stops P-1. ``words``: the door says one of them after a look; () where a look lifts it."""

    act: Callable[[Shop], object]
    words: tuple[str, ...]


def held(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        hold(desk, TAG, why="strap torn")


def quarantined(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        quarantine(desk, TAG, why="fall on the home run")


def recalled(shop: Shop) -> None:
    shop.enter("binding changed", {"binding_id": f"{TAG}/A", "changes": {"serial_toe": ["1000", "777"]}})
    shop.look(TAG)
    with shop.desk(IDA) as desk:
        open_recall(
            desk,
            Recall(
                recall="R-7", pattern="", piece="", serial_from="777", serial_to="777", season="", source="n"
            ),
        )


def cracked(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        ski_fault(desk, TAG, Side.A, SkiFault.CRACK)


def unfinished(shop: Shop) -> None:
    shop.look(TAG, found={"A heel": "could not reach"}, by=JORY)


def closed(shop: Shop, tag: str = TAG) -> None:
    for side in Side:
        area = {"from_um": -200_000, "to_um": 200_000, "how": "bare", "on": "2026-10-01"}
        shop.enter("area inspected", {"tag": tag, "side": side.value} | area)
        shop.enter("ski closed", {"tag": tag, "side": side.value, "why": "a hole that nobody measured"})


def ordered(shop: Shop, tag: str = TAG) -> None:
    shop.enter(
        "order issued",
        {
            "number": "WO-2612-0001",
            "revision": "A",
            "tag": tag,
            "boot": "B-305",
            "way": "all new",
            "minutes": 10,
            "giver": None,
            "set": {},
            "plan_hash": "x",
            "needed_by": None,
            "pair_state": pair_state(shop.ledger.connection, tag),
            "giver_state": None,
        },
    )


def glued(shop: Shop) -> None:
    held(shop)
    with shop.desk(JORY) as desk:
        end_repair(desk, TAG, did="hole filled", glued_with=("epoxy",))
    shop.look(TAG, by=SANNE)  # passed already: nothing but the cure stops it


STOPS = {
    "hold": StopRow(held, ("on hold", "to be held")),
    "quarantine": StopRow(quarantined, ("in quarantine",)),
    "recall": StopRow(recalled, ("recall R-7", "on hold")),
    "fault of a ski": StopRow(cracked, ("on hold",)),
    "unfinished look": StopRow(unfinished, ()),
    "unknown hole": StopRow(closed, ()),
    "open order": StopRow(ordered, ("work order WO-2612-0001 A", "on hold")),
    "cure": StopRow(glued, ("its epoxy", "on hold")),
}


@dataclass
class Hand:
    """The shop, its command line, and the pair that is looked for after the way."""

    shop: Shop
    command: Command
    folder: Path
    tag: str = TAG

    def typed(self, *args: str) -> str:
        """Type a command at the ledger that the shop has open."""
        self.shop.ledger.connection.close()
        self.command.wait(minutes=60)
        done = self.command(*args)
        self.shop.ledger = Ledger.open(self.command.ledger)
        self.shop.now = max(self.shop.now, self.command._now) + timedelta(minutes=1)
        return done.stdout

    def other_ledger(self, *files: str) -> None:
        """Another shop's ledger, made from these files; its people look from now on."""
        fresh = Command(self.folder / "fresh.db", self.command._patch, self.command._capture)
        done = fresh("import", *files, "--apply", "--zone", ZONE)
        assert done.returncode == 0, done.stdout
        self.shop.ledger.connection.close()
        self.shop.ledger, self.command = Ledger.open(fresh.ledger), fresh


def from_folder(hand: Hand, stop: StopRow) -> None:
    stop.act(hand.shop)
    hand.typed("export", str(hand.folder / "out"))
    hand.other_ledger(str(hand.folder / "out"))


def from_workbook(hand: Hand, stop: StopRow) -> None:
    stop.act(hand.shop)
    hand.typed("export", str(hand.folder / "out"), "--xlsx", str(hand.folder / "people.xlsx"))
    hand.other_ledger(str(hand.folder / "people.xlsx"))


def imported_again(hand: Hand, stop: StopRow) -> None:
    """Its own workbook, in which somebody wrote `ready` and blanked the stops, and moved it to a rack."""
    stop.act(hand.shop)
    hand.typed("export", str(hand.folder / "out"), "--xlsx", str(hand.folder / "people.xlsx"))
    book = load_workbook(hand.folder / "people.xlsx")
    sheet = book["Skis"]
    head = {cell.value: cell.column for cell in sheet[1]}
    for row in sheet.iter_rows(min_row=2):
        if row[head["tag"] - 1].value == TAG:
            row[head["status"] - 1].value, row[head["stops"] - 1].value = "ready", None
            row[head["rack"] - 1].value = "R-7"
    book.save(hand.folder / "edited.xlsx")
    hand.typed("import", str(hand.folder / "edited.xlsx"), "--apply", "--by", IDA)


def restored(hand: Hand, stop: StopRow) -> None:
    shop = hand.shop
    path = shop.ledger.path
    made = backup(path, hand.folder / "copies", now=shop.tick(), keep=3)
    stop.act(shop)
    shop.ledger.connection.close()
    restore(made.path, path, by=WIM, now=shop.tick())
    shop.ledger = Ledger.open(path)


def in_a_new_pair(hand: Hand, stop: StopRow) -> None:
    shop = hand.shop
    shop.pair("P-9")
    stop.act(shop)
    with shop.desk(IDA) as desk:
        lose_partner(desk, TAG, lost=Side.B, why="broken")
        lose_partner(desk, "P-9", lost=Side.A, why="broken")
    with shop.desk(IDA) as desk:
        join(desk, "N-1", f"{TAG}/A", "P-9/B")
    hand.tag = "N-1"
    shop.enter(
        "mount recorded",
        {
            "tag": "N-1", "pattern": "Lark 4", "bsl_um": 305_000, "offset_um": 0, "mounted_on": "2026-12-01",
            "removed_on": None, "drilled": True, "slides": [],
        },
    )  # fmt: skip
    for side in Side:
        serial = "777" if side is Side.A else "1000"
        body = binding_body(f"N-1/{side.value}", on_pair="N-1", on_ski=side, serial=serial)
        shop.enter("binding recorded", body)


def withdrawn(hand: Hand, stop: StopRow) -> None:
    """Whatever of its entries can be withdrawn is, the newest first; then it is recorded again."""
    shop = hand.shop
    stop.act(shop)
    entries = [entry.seq for entry in shop.ledger.entries() if entry.body.get("tag") == TAG]
    for seq in reversed(entries):
        try:
            with shop.desk(IDA) as desk:
                withdraw(desk.tx, seq, by=IDA, why="entered twice", today=shop.today)
        except MountbookError:
            continue
    if TAG not in read_pairs(shop.ledger.connection):
        shop.pair(TAG)


def corrected(hand: Hand, stop: StopRow) -> None:
    shop = hand.shop
    stop.act(shop)
    for name, said in ((TAG, {"rack": "R-9"}), (f"{TAG}/A", {"mark_from_tail_mm": "801"})):
        with shop.desk(IDA) as desk:
            correct(desk.tx, name, said, by=IDA, why="read wrong", today=shop.today)


def moved(hand: Hand, stop: StopRow) -> None:
    shop = hand.shop
    stop.act(shop)
    for to in ("missing", "shop"):
        with shop.desk(WIM) as desk:
            move(desk, TAG, to=to, reason="looked for")


def next_season(hand: Hand, stop: StopRow) -> None:
    """The summer goes by; people are listed anew, the season's first day is dated, the rack is counted."""
    shop = hand.shop
    stop.act(shop)
    shop.now += timedelta(days=100)
    for name in (IDA, JORY, SANNE, WIM, NELL):
        role = next(role for each, role, _ in STAFF if each == name)
        shop.enter("staff listed", {"name": name, "role": role, "valid_until": "2028-05-31"})
    shop.now += timedelta(days=220)
    shop.policy("pass_from_day", "2027-11-01")
    (hand.folder / "count.txt").write_text(f"{TAG}\nP-2\n", encoding="utf-8")
    hand.command.wait(minutes=321 * 24 * 60)
    assert "counted 2" in hand.typed("stocktake", str(hand.folder / "count.txt"), "--by", IDA)


WAYS = {
    "a new ledger from an exported folder": from_folder,
    "a new ledger from a workbook": from_workbook,
    "import of its own edited workbook": imported_again,
    "restore": restored,
    "single skis": in_a_new_pair,
    "withdrawal": withdrawn,
    "correction": corrected,
    "move": moved,
    "a new season": next_season,
}


@pytest.fixture
def hand(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Hand:
    shop.policy("cure_epoxy_hours", "")
    return Hand(shop, Command(tmp_path / "shop.db", monkeypatch, capsys), tmp_path)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", STOPS)
def test_no_way_back_loses_a_stop(hand: Hand, name: str, way: str) -> None:
    stop = STOPS[name]
    with suppress(MountbookError):  # a way that is barred loses nothing
        WAYS[way](hand, stop)
    shop, tag = hand.shop, hand.tag
    if tag not in read_pairs(shop.ledger.connection):
        hand.tag = tag = TAG
    if name == "unknown hole":
        ski = read_pairs(shop.ledger.connection)[tag].skis[Side.A]
        assert ski.is_closed
        assert not ski.inspected
        return
    before = _reasons(shop, tag)
    assert before
    assert shop.place(tag) is not Place.READY or name in ("open order", "recall", "cure")
    with suppress(MountbookError):
        shop.look(tag, by=SANNE)
    after = _reasons(shop, tag)
    if stop.words:
        assert any(word in reason for reason in after for word in stop.words), after
    assert audit_file(shop.ledger.path, now=shop.now + timedelta(days=400)).sound


def _reasons(shop: Shop, tag: str) -> tuple[str, ...]:
    return Door(shop.ledger.connection, at=shop.tick(), zone=ZONE).ask(tag).reasons


@pytest.mark.parametrize(
    ("stop", "words"), [(ordered, "work order WO-2612-0001 A"), (closed, "ski A closed")]
)
def test_a_bare_pair_is_not_withdrawn_with_its_stop(
    shop: Shop, stop: Callable[[Shop, str], None], words: str
) -> None:
    """No binding and no mount builds on it, so nothing else bars the withdrawal."""
    shop.pair("P-9", mounted=False)
    recorded = read_pairs(shop.ledger.connection)["P-9"].entry
    stop(shop, "P-9")
    with pytest.raises(MountbookError, match=words), shop.desk(IDA) as desk:
        withdraw(desk.tx, recorded, by=IDA, why="entered twice", today=shop.today)


@pytest.mark.parametrize(("hours", "stops"), [("1", ""), ("12", "glue epoxy of ")])
def test_glue_that_has_cured_goes_along_into_no_other_ledger(hand: Hand, hours: str, stops: str) -> None:
    """Glued at 8, and at 10 another pair comes back: an hour is over, twelve are not."""
    shop = hand.shop
    shop.policy("cure_epoxy_hours", hours)
    glued(shop)
    shop.out("P-2")
    shop.now += timedelta(hours=2)
    shop.back("P-2")
    exported = stops_by_pair(read_fleet(shop.ledger.connection))[TAG]
    assert exported.startswith(stops)
    assert bool(exported) is bool(stops)


@pytest.mark.parametrize(("minutes", "stops"), [(59, "glue epoxy of "), (60, "")])
def test_glue_has_cured_by_the_clock_that_is_in_force(hand: Hand, minutes: int, stops: str) -> None:
    """A clock that ran ahead was put right: what was entered meanwhile cures no glue, as at the door."""
    shop = hand.shop
    shop.policy("cure_epoxy_hours", "1")
    glued(shop)
    glued_at = datetime.fromisoformat(shop.standing(TAG).glued_at)
    shop.out("P-2")
    shop.now = glued_at + timedelta(hours=3)
    shop.back("P-2")
    now = glued_at + timedelta(minutes=minutes)
    at_door = Door(shop.ledger.connection, at=now, zone=ZONE).ask(TAG).reasons
    assert any("epoxy cures" in why for why in at_door) is bool(stops)
    hand.command.wait(minutes=(now - datetime.fromisoformat(NOW)) // timedelta(minutes=1) - 1)
    assert hand.command("export", str(hand.folder / "out")).returncode == 0
    with (hand.folder / "out" / "pairs.csv").open(encoding="utf-8-sig") as file:
        (row,) = (row for row in csv.DictReader(file) if row["tag"] == TAG)
    assert row["stops"].startswith(stops)
    assert bool(row["stops"]) is bool(stops)
