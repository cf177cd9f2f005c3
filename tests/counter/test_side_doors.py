"""A stop belongs to the ski: it goes along with single skis, a withdrawal, an export and an import."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path

import pytest
from openpyxl import load_workbook

from fleet.audit.full import audit_file
from fleet.base.errors import Refused
from fleet.facts.carried import carried_body, people_of, people_said
from fleet.facts.holes import Side
from fleet.facts.recalls import Recall
from fleet.facts.standing import Place
from fleet.ledger.corrections import withdraw
from fleet.ledger.ledger import Ledger
from fleet.ledger.people import set_policy
from fleet.rules.holds import begin_repair, clear, end_repair, hold, quarantine
from fleet.rules.recall_desk import open_recall
from fleet.tables.snapshot import read_pairs
from planner.bench.season import join, lose_partner
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, SANNE, WIM, Shop, binding_body


def quarantined(shop: Shop, tag: str) -> None:
    with shop.desk(NELL) as desk:
        quarantine(desk, tag, why="fall on the home run")


def held(shop: Shop, tag: str) -> None:
    with shop.desk(NELL) as desk:
        hold(desk, tag, why="heel turned")


def in_repair(shop: Shop, tag: str) -> None:
    held(shop, tag)
    with shop.desk(JORY) as desk:
        begin_repair(desk, tag)


def held_then_quarantined(shop: Shop, tag: str) -> None:
    held(shop, tag)
    quarantined(shop, tag)


STOPPED: dict[str, tuple[Callable[[Shop, str], None], Place, str]] = {
    "quarantine": (quarantined, Place.QUARANTINE, "fall on the home run"),
    "hold": (held, Place.HOLD, "heel turned"),
    "in repair": (in_repair, Place.HOLD, "heel turned"),
    "hold and quarantine": (held_then_quarantined, Place.QUARANTINE, "fall on the home run"),
}


def split(shop: Shop, tag: str, *, lost: Side) -> str:
    with shop.desk(IDA) as desk:
        lose_partner(desk, tag, lost=lost, why="broken")
    return f"{tag}/{'A' if lost is Side.B else 'B'}"


# lost partners and fresh pairs


@pytest.mark.parametrize("name", STOPPED)
@pytest.mark.parametrize("first", [True, False])
def test_a_stop_goes_along_into_a_fresh_pair_whichever_ski_it_becomes(
    shop: Shop, name: str, first: bool
) -> None:
    stop, place, cause = STOPPED[name]
    shop.pair("P-9")
    stop(shop, "P-1")
    stopped, sound = split(shop, "P-1", lost=Side.B), split(shop, "P-9", lost=Side.A)
    with shop.desk(IDA) as desk:
        pair = join(desk, "N-1", *((stopped, sound) if first else (sound, stopped)))
    assert pair.place is place
    standing = shop.standing("N-1")
    why = standing.quarantine_why if place is Place.QUARANTINE else standing.hold_why
    assert cause in why
    assert "P-1/A" in why
    assert audit_file(shop.ledger.path, now=shop.now).sound


def test_a_quarantine_that_went_along_is_ended_by_a_manager_only(shop: Shop) -> None:
    shop.pair("P-9")
    quarantined(shop, "P-1")
    one, other = split(shop, "P-1", lost=Side.B), split(shop, "P-9", lost=Side.A)
    with shop.desk(IDA) as desk:
        join(desk, "N-1", one, other)
    with shop.desk(IDA) as desk, pytest.raises(Refused, match="only a manager"):
        clear(desk, "N-1", why="looks fine")
    with shop.desk(WIM) as desk:
        clear(desk, "N-1", why="the insurer is done")
    assert shop.place("N-1") is Place.FLAT


def test_a_quarantine_and_a_hold_that_went_along_keep_each_its_own_cause(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        hold(desk, "P-1", why="strap torn")
    quarantined(shop, "P-1")
    shop.pair("P-9")
    one, other = split(shop, "P-1", lost=Side.B), split(shop, "P-9", lost=Side.A)
    with shop.desk(IDA) as desk:
        join(desk, "N-1", one, other)
    standing = shop.standing("N-1")
    assert (standing.quarantine_why, standing.hold_why) == (
        "P-1/A: fall on the home run",
        "P-1/A: strap torn",
    )


def test_a_moved_screw_that_went_along_is_no_matter_for_its_finder_alone(shop: Shop) -> None:
    shop.pair("P-9")
    shop.look("P-1", by=IDA, found={"A toe": "spins"})
    stopped, sound = split(shop, "P-1", lost=Side.B), split(shop, "P-9", lost=Side.A)
    with shop.desk(IDA) as desk:
        join(desk, "N-1", stopped, sound)
    assert shop.place("N-1") is Place.HOLD
    with pytest.raises(Refused, match="Ida Fennweg found the moved screw of N-1"), shop.desk(IDA) as desk:
        clear(desk, "N-1", why="it was nothing")


def test_two_skis_without_a_stop_make_a_pair_without_one(shop: Shop) -> None:
    shop.pair("P-9")
    one, other = split(shop, "P-1", lost=Side.B), split(shop, "P-9", lost=Side.A)
    with shop.desk(IDA) as desk:
        assert join(desk, "N-1", one, other).place is Place.FLAT


@pytest.mark.parametrize(
    ("did", "glue"),
    [
        ("both holes filled with Epoxy", "epoxy"),
        ("wood glue in, screw reset", "wood_glue"),
        ("filled, Wood_Glue", "wood_glue"),
    ],
)
def test_a_repair_whose_words_tell_of_glue_is_not_entered_without_it(shop: Shop, did: str, glue: str) -> None:
    """Else no cure would run, and the pair could go out after its second check."""
    held(shop, "P-1")
    before = shop.dump()
    with shop.desk(JORY) as desk, pytest.raises(Refused, match="no glue is named") as fault:
        end_repair(desk, "P-1", did=did)
    words = glue.replace("_", " ")
    assert fault.value.sentence == f"{did!r} tells of {words}, and no glue is named: its cure would not run"
    assert fault.value.cure == f"name it: --glue {glue}; where none was used, say it in other words"
    assert shop.dump() == before
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did=did, glued_with=(glue,))
    assert shop.standing("P-1").glued_with == (glue,)


def test_who_worked_on_a_ski_does_not_pass_it_in_its_new_pair_and_its_glue_cures(shop: Shop) -> None:
    shop.pair("P-9")
    held(shop, "P-1")
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did="hole filled", glued_with=("wood_glue",))
    one, other = split(shop, "P-1", lost=Side.B), split(shop, "P-9", lost=Side.A)
    with shop.desk(IDA) as desk:
        join(desk, "N-1", one, other)
    with shop.desk(SANNE) as desk:
        clear(desk, "N-1", why="filled hole is far from the new ones")
    for side in Side:
        shop.enter("binding recorded", binding_body(f"N-1/{side.value}", on_pair="N-1", on_ski=side))
    with pytest.raises(Refused, match="did the work on N-1"):
        shop.look("N-1", by=JORY)
    shop.look("N-1", by=SANNE)
    with pytest.raises(Refused, match="cure time of its wood glue is not set"):
        shop.out("N-1")


@pytest.mark.parametrize("first", [True, False])
def test_glue_that_still_cures_goes_along_after_the_pass_too(shop: Shop, first: bool) -> None:
    """Whoever passed it, and whether the hold is long over: the glue is as old as it is."""
    shop.policy("cure_wood_glue_hours", "24")
    shop.pair("P-9")
    held(shop, "P-1")
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did="hole filled", glued_with=("wood_glue",))
    shop.look("P-1", by=SANNE)
    glued_at = shop.standing("P-1").glued_at
    one, other = split(shop, "P-1", lost=Side.B), split(shop, "P-9", lost=Side.A)
    with shop.desk(IDA) as desk:
        assert join(desk, "N-1", *((one, other) if first else (other, one))).place is Place.FLAT
    assert (shop.standing("N-1").glued_at, shop.standing("N-1").glued_with) == (glued_at, ("wood_glue",))


@pytest.mark.parametrize("first", [True, False])
@pytest.mark.parametrize("repaired", [True, False])
def test_who_worked_on_a_ski_or_lifted_its_hold_does_not_pass_its_new_pair(
    shop: Shop, first: bool, repaired: bool
) -> None:
    shop.pair("P-9")
    held(shop, "P-1")
    with shop.desk(JORY) as desk:
        if repaired:
            end_repair(desk, "P-1", did="toe piece turned back")
        else:
            clear(desk, "P-1", why="the heel was free")
    one, other = split(shop, "P-1", lost=Side.B), split(shop, "P-9", lost=Side.A)
    with shop.desk(IDA) as desk:
        join(desk, "N-1", *((one, other) if first else (other, one)))
    if shop.place("N-1") is Place.HOLD:
        with shop.desk(SANNE) as desk:
            clear(desk, "N-1", why="seen by another")
    for side in Side:
        shop.enter("binding recorded", binding_body(f"N-1/{side.value}", on_pair="N-1", on_ski=side))
    did = "did the work on N-1" if repaired else "cleared the hold of N-1"
    with pytest.raises(Refused, match=f"{JORY} {did}"):
        shop.look("N-1", by=JORY)
    shop.look("N-1", by=IDA)


def test_what_singles_match_shows_names_the_stop(shop: Shop, command: Command) -> None:
    with Ledger.open(command.ledger) as ledger:
        shop.ledger = ledger
        shop.pair("P-9")
        quarantined(shop, "P-1")
        split(shop, "P-1", lost=Side.B), split(shop, "P-9", lost=Side.A)
    told = command("singles", "match").stdout
    assert "P-1/A is in quarantine: fall on the home run" in told
    assert command("singles", "match", "--json").json["stopped"] == [
        {"ski": "P-1/A", "stops": ["quarantine"]}
    ]
    made = command("singles", "join", "N-1", "--a", "P-1/A", "--b", "P-9/B", "--by", IDA)
    assert "N-1 is in quarantine" in made.stdout


# withdrawn, and taken in anew


@pytest.mark.parametrize("name", STOPPED)
def test_a_stopped_pair_is_not_withdrawn(shop: Shop, name: str) -> None:
    stop, _, _ = STOPPED[name]
    shop.pair("P-9", mounted=False)
    recorded = _recorded(shop, "P-9")
    stop(shop, "P-9")
    before = shop.dump()
    with shop.desk(IDA) as desk, pytest.raises(Refused, match="P-9 is stopped"):
        withdraw(desk.tx, recorded, by=IDA, why="entered twice", today=shop.today)
    assert shop.dump() == before


def test_a_stopped_pair_that_is_away_is_not_withdrawn_either(shop: Shop) -> None:
    shop.pair("P-9", mounted=False)
    recorded = _recorded(shop, "P-9")
    quarantined(shop, "P-9")
    shop.enter("pair moved", {"tag": "P-9", "to": "missing"})
    with shop.desk(IDA) as desk, pytest.raises(Refused, match="P-9 is stopped"):
        withdraw(desk.tx, recorded, by=IDA, why="entered twice", today=shop.today)


def test_once_the_stop_is_lifted_the_pair_is_withdrawn(shop: Shop) -> None:
    shop.pair("P-9", mounted=False)
    recorded = _recorded(shop, "P-9")
    held(shop, "P-9")
    with shop.desk(IDA) as desk:
        clear(desk, "P-9", why="wrong tag")
    with shop.desk(IDA) as desk:
        withdraw(desk.tx, recorded, by=IDA, why="entered twice", today=shop.today)
    assert "P-9" not in read_pairs(shop.ledger.connection)


def _recorded(shop: Shop, tag: str) -> int:
    row = shop.ledger.connection.execute("SELECT entry FROM pair WHERE tag = ?", (tag,)).fetchone()
    return int(row[0])


@pytest.mark.parametrize(("stops", "place"), [(["quarantine"], Place.QUARANTINE), (["hold"], Place.HOLD)])
def test_a_stop_waits_for_a_pair_that_is_not_here_yet(shop: Shop, stops: list[str], place: Place) -> None:
    with shop.desk(WIM) as desk:
        desk.enter("pair carried over", carried_body("P-9", stops, source="elsewhere"), note="fall")
    shop.pair("P-9")
    assert shop.place("P-9") is place
    assert audit_file(shop.ledger.path, now=shop.now).sound


# written by export, taken into a new ledger


def recalled(shop: Shop, tag: str) -> None:
    shop.enter("binding changed", {"binding_id": f"{tag}/A", "changes": {"serial_toe": ["1000", "777"]}})
    shop.look(tag)
    recall = Recall(
        recall="R-7", pattern="", piece="", serial_from="777", serial_to="777", season="", source="notice"
    )
    with shop.desk(IDA) as desk:
        open_recall(desk, recall)


def serial_unknown_under_a_recall(shop: Shop, tag: str) -> None:
    shop.enter("binding changed", {"binding_id": f"{tag}/B", "changes": {"serial_heel": ["1000", ""]}})
    shop.look(tag)
    recall = Recall(
        recall="R-7", pattern="", piece="heel", serial_from="777", serial_to="", season="", source="notice"
    )
    with shop.desk(IDA) as desk:
        open_recall(desk, recall)


def out_and_to_be_locked_away(shop: Shop, tag: str) -> None:
    shop.out(tag)
    quarantined(shop, tag)


def waits_for_its_second_check(shop: Shop, tag: str) -> None:
    held(shop, tag)
    with shop.desk(JORY) as desk:
        end_repair(desk, tag, did="screwed down")


def moved(to: str) -> Callable[[Shop, str], None]:
    return lambda shop, tag: shop.enter("pair moved", {"tag": tag, "to": to}) and None


EXPORTED: dict[str, tuple[Callable[[Shop, str], None], Place]] = {
    **{name: (stop, place) for name, (stop, place, _) in STOPPED.items()},
    "second check": (waits_for_its_second_check, Place.HOLD),
    "recall": (recalled, Place.HOLD),
    "serial unknown under a recall": (serial_unknown_under_a_recall, Place.HOLD),
    "out, and to be locked away": (out_and_to_be_locked_away, Place.OUT),
    "out": (lambda shop, tag: shop.out(tag) and None, Place.OUT),
    "missing": (moved("missing"), Place.MISSING),
    "in transit": (moved("in transit"), Place.IN_TRANSIT),
    "retired": (moved("retired"), Place.RETIRED),
    "sold": (moved("sold"), Place.SOLD),
}


def exported(command: Command, shop: Shop, act: Callable[[Shop, str], None], tmp_path: Path) -> None:
    with Ledger.open(command.ledger) as ledger:
        shop.ledger = ledger
        act(shop, "P-1")
    done = command("export", str(tmp_path / "folder"), "--xlsx", str(tmp_path / "people.xlsx"))
    assert done.returncode == 0


def taken_in(command: Command, tmp_path: Path, *files: str) -> Command:
    """Another shop's ledger, begun with these files."""
    fresh = Command(tmp_path / "fresh.db", command._patch, command._capture)
    done = fresh("import", *(str(tmp_path / name) for name in files), "--apply", "--zone", "Europe/Vienna")
    assert done.returncode == 0, done.stdout
    return fresh


def places(fresh: Command) -> dict[str, Place]:
    with Ledger.open(fresh.ledger) as ledger:
        return {tag: pair.place for tag, pair in read_pairs(ledger.connection).items()}


@pytest.mark.parametrize("source", ["folder", "people.xlsx"])
@pytest.mark.parametrize("name", EXPORTED)
def test_a_new_ledger_made_from_an_export_stops_what_was_stopped(
    command: Command, shop: Shop, tmp_path: Path, name: str, source: str
) -> None:
    act, place = EXPORTED[name]
    exported(command, shop, act, tmp_path)
    found = places(taken_in(command, tmp_path, source))
    assert found == dict.fromkeys(found, Place.BACK) | {"P-1": place}
    assert audit_file(tmp_path / "fresh.db", now=shop.now).sound


@pytest.mark.parametrize("source", ["folder", "people.xlsx"])
def test_who_found_a_moved_screw_does_not_lift_its_hold_in_a_new_ledger_either(
    command: Command, shop: Shop, tmp_path: Path, source: str
) -> None:
    exported(command, shop, lambda shop, tag: shop.look(tag, by=IDA, found={"A toe": "spins"}), tmp_path)
    fresh = taken_in(command, tmp_path, source)
    alone = fresh("clear", "P-1", "--why", "it was nothing", "--by", IDA, "--json")
    assert alone.returncode == 1
    assert f"{IDA} found the moved screw of P-1" in alone.json["refused"]
    assert fresh("clear", "P-1", "--why", "glued", "--by", SANNE).returncode == 0


@pytest.mark.parametrize("act", [waits_for_its_second_check, "lifted"])
def test_who_worked_on_a_pair_or_lifted_its_hold_does_not_pass_it_in_a_new_ledger_either(
    command: Command, shop: Shop, tmp_path: Path, act: Callable[[Shop, str], None] | str
) -> None:
    def lifted(shop: Shop, tag: str) -> None:
        shop.look(tag, by=IDA, found={"A toe": "spins"})
        with shop.desk(JORY) as desk:
            clear(desk, tag, why="screwed down")

    exported(command, shop, lifted if isinstance(act, str) else act, tmp_path)
    fresh = taken_in(command, tmp_path, "folder")
    with Ledger.open(fresh.ledger) as ledger:
        shop.ledger = ledger
        if places(fresh)["P-1"] is Place.HOLD:
            with shop.desk(SANNE) as desk:
                clear(desk, "P-1", why="looked at")
        did = "did the work on P-1" if callable(act) else "cleared the hold of P-1"
        with pytest.raises(Refused, match=f"{JORY} {did}"):
            shop.look("P-1", by=JORY)


def test_a_name_in_the_table_is_one_name_whatever_it_is_spelt_with(command: Command, shop: Shop) -> None:
    names = ("Ida; hold", "50 % Wim", "a%3Bb")
    words = "; ".join(people_of({"finders": json.dumps(names), "workers": "[]", "cleared_by": "[]"}))
    assert people_said(" ".join(text.split()) for text in words.split(";")) == {"finders": list(names)}


def test_what_was_to_be_locked_away_on_its_return_is(command: Command, shop: Shop, tmp_path: Path) -> None:
    exported(command, shop, out_and_to_be_locked_away, tmp_path)
    fresh = taken_in(command, tmp_path, "folder")
    back = fresh("back", "P-1", "--json").json["done"][0]
    assert back["place"] == "quarantine"
    assert "as pairs.csv has it: quarantine" in back["words"]


@pytest.mark.parametrize(
    ("status", "place"),
    [("quarantine", Place.QUARANTINE), ("Hold ", Place.HOLD), ("IN REPAIR", Place.HOLD)],
)
def test_the_status_alone_stops_a_new_pair_too(
    command: Command, shop: Shop, tmp_path: Path, status: str, place: Place
) -> None:
    """A sheet saved by another program: no mark that it is an export, no column of stops."""
    exported(command, shop, lambda *_: None, tmp_path)
    book = load_workbook(tmp_path / "people.xlsx")
    sheet = book["Skis"]
    head = {cell.value: cell.column for cell in sheet[1]}
    sheet.cell(row=2, column=head["status"]).value = status
    sheet.delete_cols(head["stops"])
    book.properties.keywords = None
    book.properties.description = None
    book.save(tmp_path / "own.xlsx")
    assert places(taken_in(command, tmp_path, "own.xlsx"))["P-1"] is place


def test_a_stop_is_not_read_back_into_a_pair_the_ledger_knows(
    command: Command, shop: Shop, tmp_path: Path
) -> None:
    """The ledger knows better: neither is a hold lifted by a file nor laid on again."""
    exported(command, shop, held, tmp_path)
    assert command("clear", "P-1", "--why", "was nothing", "--by", SANNE).returncode == 0
    before = command.ledger.read_bytes()
    done = command("import", str(tmp_path / "folder"), "--apply", "--by", IDA, "--json")
    assert (done.json["outcome"], done.json["changes"]["changed"]) == ("import", 0)
    assert command.ledger.read_bytes() == before


def test_the_exported_table_names_every_stop(command: Command, shop: Shop, tmp_path: Path) -> None:
    exported(command, shop, held_then_quarantined, tmp_path)
    with (tmp_path / "folder" / "pairs.csv").open(encoding="utf-8", newline="") as file:
        rows = {row["tag"]: row["stops"] for row in csv.DictReader(file)}
    assert rows == {
        "P-1": f"quarantine; hold; fault found by {NELL}",
        "P-2": "",
        "P-3": "",
        "P-4": "",
        "T-1": "",
    }


def test_a_new_ledger_never_plans_a_stopped_pair(command: Command, shop: Shop, tmp_path: Path) -> None:
    exported(command, shop, quarantined, tmp_path)
    fresh = taken_in(command, tmp_path, "folder")
    refused = fresh("out", "P-1", "--json")
    assert "in quarantine" in refused.json["refused"]
    assert fresh("clear", "P-1", "--why", "x", "--by", IDA).returncode == 1
    assert fresh("clear", "P-1", "--why", "the insurer is done", "--by", WIM).returncode == 0


@pytest.mark.parametrize("when", ["", "last week", "2026-12-20T18:00:00"])
def test_glue_of_which_another_record_gives_no_time_counts_as_wet_and_stops_no_counter(
    shop: Shop, when: str
) -> None:
    body = carried_body("P-1", [], source="elsewhere") | {"glued_at": when, "glued_with": ["wood_glue"]}
    with shop.desk(WIM) as desk:
        set_policy(desk, "cure_wood_glue_hours", "1", origin="data sheet")
        desk.enter("pair carried over", body, note="")
    for tag in ("P-1", "P-2"):
        shop.look(tag)
    with pytest.raises(Refused, match="when its wood glue was used is not known, so it counts as not cured"):
        shop.out("P-1")
    shop.out("P-2")
