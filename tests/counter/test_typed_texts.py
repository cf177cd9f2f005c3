"""What people type into a field can be blanked: it stands in no body, no table, no checkpoint, no copy."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from fleet.audit.checkpoint import checkpoint_of
from fleet.audit.full import audit_file
from fleet.base.errors import Refused
from fleet.facts.binding_kinds import KindStep
from fleet.facts.holes import Side
from fleet.facts.patterns import pattern_to_body
from fleet.facts.recalls import Recall, read_recalls
from fleet.ledger.corrections import redact
from fleet.ledger.history import fleet_at, noted_entry
from fleet.ledger.ledger import Ledger
from fleet.ledger.people import set_policy
from fleet.rules.gate_desk import calibrated, record_release_test
from fleet.rules.recall_desk import open_recall
from fleet.rules.stock import enter_count
from fleet.tables.snapshot import read_fits, read_kinds, read_policy
from planner.cli.case_bundle import case_bundle
from planner.geometry.pattern_care.enter import recorded_pattern
from tests.counter.command import Command
from tests.counter.shop import IDA, WIM, Shop, lark

SECRET = "Alva Invented hurt her knee"
NOW = datetime(2026, 12, 28, 17, 30, tzinfo=UTC)


def _test(shop: Shop) -> None:
    with shop.desk(IDA) as desk:
        record_release_test(desk, "P-1", side=Side.A, piece="toe", device="bench 1", result=SECRET)


def _device(shop: Shop) -> None:
    with shop.desk(IDA) as desk:
        record_release_test(desk, "P-1", side=Side.B, piece="toe", device=SECRET, result="as wanted")


def _count(shop: Shop) -> None:
    with shop.desk(WIM) as desk:
        enter_count(desk, ["P-1", "P-2", SECRET])


def _counted_stock(shop: Shop) -> None:
    with shop.desk(WIM) as desk:
        enter_count(desk, ["P-1", f"3 x {SECRET}"])


def _rule(shop: Shop) -> None:
    with shop.desk(WIM) as desk:
        set_policy(desk, "minutes_take_off", "7", origin=SECRET)


def _notice(source: str) -> Recall:
    return Recall(
        recall="R-1", pattern="Lark 4", piece="", serial_from="", serial_to="", season="", source=source
    )  # fmt: skip


def _recall(shop: Shop) -> None:
    recall = _notice(SECRET)
    with shop.desk(IDA) as desk:
        open_recall(desk, recall)


def _certificate(shop: Shop) -> None:
    with shop.desk(IDA) as desk:
        calibrated(desk, "bench 1", on=date(2026, 12, 1), until=date(2027, 12, 1), certificate=SECRET)


def _pattern(shop: Shop) -> None:
    shop.enter("pattern recorded", pattern_to_body(lark("Third 4"), origin=SECRET))


def _screw(shop: Shop) -> None:
    body = pattern_to_body(lark("Third 4"))
    body["pieces"][0] |= {"screw": "5.5 x 9", "screw_origin": SECRET}
    shop.enter("pattern recorded", body)


def _fit(shop: Shop) -> None:
    said = {"sole_type": "touring", "pattern": "Lark 4", "binding_sheet": SECRET, "boot_sheet": "S-2"}
    shop.enter("fit declared", said)


def _kind(shop: Shop) -> None:
    shop.enter("kind step recorded", _step())


def _model(shop: Shop) -> None:
    shop.enter("binding model stated", {"model": "Lark 4 binding", "standard": "ISO 9462", "origin": SECRET})


def _step() -> dict[str, Any]:
    return {"kind": "alpine", "step": "toe", "lead": "", "words": SECRET, "origin": "ours"}


TYPED: dict[str, Callable[[Shop], None]] = {
    "the result of a release test": _test,
    "its device": _device,
    "a line of a stocktake": _count,
    "stock that is no stock": _counted_stock,
    "the origin of a rule": _rule,
    "the source of a recall": _recall,
    "a certificate": _certificate,
    "the origin of a pattern": _pattern,
    "the origin of a screw": _screw,
    "a maker's sheet": _fit,
    "the words of a step": _kind,
    "the origin of a model's standard": _model,
}


def _everything_but_notes(path: Path) -> str:
    with closing(sqlite3.connect(path)) as file:
        names = [row[0] for row in file.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        return json.dumps(
            {name: file.execute(f"SELECT * FROM {name}").fetchall() for name in names if name != "notes"},
            default=str,
        )


@pytest.mark.parametrize("typed", TYPED)
def test_what_is_typed_stands_apart_and_once_blanked_nowhere(shop: Shop, typed: str) -> None:
    path = shop.ledger.path
    TYPED[typed](shop)
    seq = shop.ledger.head.seq
    assert SECRET in json.dumps(noted_entry(shop.ledger.connection, seq).body)
    assert SECRET not in _everything_but_notes(path)
    report = audit_file(path, now=NOW, checkpoint=checkpoint_of(path))
    assert report.clean, report.findings
    assert SECRET.encode() not in checkpoint_of(path).read_bytes()
    with shop.desk(IDA) as desk:
        blanking = redact(desk.tx, seq, by=IDA, why="asked for", today=shop.today)
    assert f"(blanked by entry {blanking})" in json.dumps(noted_entry(shop.ledger.connection, seq).body)
    assert SECRET.encode() not in path.read_bytes()
    assert audit_file(path, now=NOW).clean


def test_what_is_shown_says_the_text_and_after_that_who_blanked_it(shop: Shop) -> None:
    _rule(shop)
    rule = shop.ledger.head.seq
    _recall(shop)
    recall = shop.ledger.head.seq
    _fit(shop)
    fit = shop.ledger.head.seq
    _kind(shop)
    kind = shop.ledger.head.seq

    def shown() -> list[str]:
        state = shop.ledger.connection
        step = read_kinds(state).step("alpine", "toe")
        assert isinstance(step, KindStep)
        return [
            read_policy(state).setting("minutes_take_off").origin,
            read_recalls(state)[0].source,
            next(each for each in read_fits(state) if each.sole_type == "touring").binding_sheet,
            step.words,
        ]

    assert shown() == [SECRET] * 4
    blanked = []
    for seq in (rule, recall, fit, kind):
        with shop.desk(IDA) as desk:
            blanked.append(redact(desk.tx, seq, by=IDA, why="", today=shop.today))
    assert shown() == [f"(blanked by entry {number})" for number in blanked]


def test_the_fleet_as_it_was_says_the_same_texts(shop: Shop) -> None:
    """An export of an older day, taken in again, must not find every sheet changed."""
    _fit(shop)
    then = shop.ledger.head.seq
    shop.out("P-1", boot="B-305")
    was = fleet_at(shop.ledger, then)
    assert {fit.binding_sheet for fit in was.fits} == {"L-1", SECRET}
    assert was.policy.setting("out_without_boot").origin == "the test"


def test_a_note_that_looks_like_a_record_of_texts_is_a_note(shop: Shop) -> None:
    odd = '\x1e{"note": "x", "texts": {}}'
    with shop.desk(IDA) as desk:
        seq = desk.enter("pair held", {"tag": "P-1"}, note=odd)
    assert noted_entry(shop.ledger.connection, seq).note == odd


def test_a_case_says_nothing_of_what_was_typed_nor_what_a_count_found_of_others(shop: Shop) -> None:
    _test(shop)
    with shop.desk(WIM) as desk:
        enter_count(desk, ["P-2", "Alva's skis"])
        desk.enter("note made", {"tag": "P-1", "proposes": ""}, note=SECRET)
    said = case_bundle(shop.ledger, "P-1", salt="0123").data.decode()
    assert SECRET not in said
    assert "Alva" not in said
    (count,) = [row for row in json.loads(said)["history"] if row["what"] == "stock counted"]
    assert count["body"] == {"counted": 1, "expected": 5, "not_seen": ["P-1"], "unexpected": []}


def test_a_name_in_the_source_of_a_recall_is_a_number_in_a_case(shop: Shop) -> None:
    recall = _notice(f"notice 4, read out by {IDA} on 3 Dec")
    with shop.desk(IDA) as desk:
        open_recall(desk, recall)
    said = json.loads(case_bundle(shop.ledger, "P-1", salt="0123").data)
    assert said["recalls"][0]["source"].startswith("notice 4, read out by person ")
    assert IDA not in json.dumps(said)


def test_what_older_programs_wrote_into_a_body_is_refused_with_its_reason(shop: Shop) -> None:
    with shop.desk(WIM) as desk:
        entry, body, _ = desk.tx._entry(
            "recall opened",
            {
                "recall": "R-9", "pattern": "Lark 4", "piece": "", "serial_from": "", "serial_to": "",
                "season": "", "source": SECRET,
            },
            stated_at=None, note="", by=WIM,
        )  # fmt: skip
        with desk.tx.connection.unlatched():
            desk.tx._keep(entry, body, salt="", note="", same_day=False)
    assert read_recalls(shop.ledger.connection)[0].source == SECRET
    assert audit_file(shop.ledger.path, now=NOW).clean
    with pytest.raises(Refused, match="stands in the entry itself"), shop.desk(IDA) as desk:
        redact(desk.tx, entry["seq"], by=IDA, why="", today=shop.today)


def test_blanking_reaches_kept_files_and_names_every_copy_that_still_holds_it(
    shop: Shop, command: Command, tmp_path: Path
) -> None:
    held = command("hold", "P-1", "--why", SECRET, "--json").json
    assert "refused" not in held, held
    with closing(sqlite3.connect(tmp_path / "shop.db")) as file:
        (seq,) = file.execute("SELECT max(seq) FROM notes").fetchone()
    for name in ("shop.db.before-20261228T080000Z", "shop.db.before-20261228T090000Z"):
        shutil.copyfile(tmp_path / "shop.db", tmp_path / name)
    broken = tmp_path / "shop.db.before-20261228T090000Z"
    with closing(sqlite3.connect(broken)) as file:
        file.execute("PRAGMA user_version = 99")
    journal = tmp_path / f"{broken.name}-journal"
    journal.write_text(SECRET)
    copies = [command("backup", "--json").json["backup"]]
    for folder in ("away", "here"):  # the folder beside the ledger, one that was named once, and that of now
        command("policy", "set", "backup_folder", folder, "--origin", "another disk", "--by", WIM, "--yes")
        copies.append(command("backup", "--json").json["backup"])
    assert [Path(copy).parent.name for copy in copies] == ["backups", "away", "here"]
    unfinished = tmp_path / ".0123456789abcdef.mountbook-unfinished"
    unfinished.write_text(SECRET)
    os.utime(unfinished, (time.time() - 7200,) * 2)
    waits = tmp_path / "shop_open_files" / "1" / "skis.xlsx"
    waits.parent.mkdir(parents=True)
    waits.write_text(SECRET)
    said = command("redact", str(seq), "--why", "the customer asked", "--by", WIM, "--json").json
    with closing(sqlite3.connect(tmp_path / "shop.db.before-20261228T080000Z")) as file:
        assert file.execute("SELECT text FROM notes ORDER BY seq DESC").fetchone() == ("the customer asked",)
    assert said["blanked"] == [str(tmp_path / "shop.db.before-20261228T080000Z")]
    assert said["dropped"] == [str(unfinished)]
    assert set(said["still"]) == {str(broken), str(journal), str(waits), *copies}
    assert SECRET.encode() not in (tmp_path / "shop.db.before-20261228T080000Z").read_bytes()
    assert not unfinished.exists()


def test_a_redaction_of_a_text_says_that_who_signed_stays_and_how_a_name_goes(
    shop: Shop, command: Command
) -> None:
    """Nobody is to think that the name is gone with the text."""
    command("hold", "P-1", "--why", SECRET, "--by", IDA, "--json")
    with Ledger.open(shop.ledger.path) as ledger:
        seq = ledger.head.seq
        listed = next(entry.seq for entry in ledger.entries() if entry.what == "staff listed")
    done = command("redact", str(seq), "--by", WIM)
    assert f"who signed entry {seq} stays" in done.stdout
    assert "mountbook redact --person NAME takes a person's name out of every entry" in done.stdout
    with Ledger.open(shop.ledger.path) as ledger:
        assert noted_entry(ledger.connection, seq).entry.by == IDA
    assert audit_file(shop.ledger.path, now=NOW).clean
    with pytest.raises(Refused, match="nothing that a person typed freely"):  # noqa: SIM117
        with Ledger.open(shop.ledger.path) as ledger, ledger.transaction(by=WIM, now=NOW) as tx:
            redact(tx, listed, by=WIM, why="", today=shop.today)


def test_a_pattern_that_is_shown_says_who_measured_it_and_whose_screw_it_is(shop: Shop) -> None:
    _pattern(shop)
    assert recorded_pattern(shop.ledger.connection, "Third 4")[1] == SECRET
    _screw(shop)
    pattern, origin = recorded_pattern(shop.ledger.connection, "Third 4")
    assert (pattern.pieces[0].screw_origin, origin) == (SECRET, "")


LIKE_A_NAME = "name 1 of entry 2"
"""How an entry says the name of a person: entry 2 lists the first of the staff."""


@pytest.mark.parametrize(
    "typed",
    [
        ("correct", "P-1", f"rack={LIKE_A_NAME}", "--why", "moved over"),
        ("correct", "P-1", f"model={LIKE_A_NAME}", "--why", "read wrong"),
        ("rename", "P-1", LIKE_A_NAME, "--why", "the label is gone"),
        ("recall", "open", LIKE_A_NAME, "--source", "a notice", "--pattern", "Lark 4"),
    ],
    ids=lambda typed: " ".join(typed[:2]),
)
def test_a_fact_that_reads_like_the_place_of_a_name_is_refused_with_what_to_do(
    command: Command, typed: tuple[str, ...]
) -> None:
    """It would be read as that person's name from then on."""
    said = command(*typed, "--by", IDA, "--json").json
    assert said["refused"].endswith(f"{LIKE_A_NAME!r} is how the ledger itself says a name")
    assert said["cure"] == "write it otherwise; nothing was entered"
    assert command("ski", "P-1").returncode == 0


def test_words_that_read_like_the_place_of_a_name_come_back_as_they_were_typed(command: Command) -> None:
    assert command("hold", "P-1", "--why", LIKE_A_NAME).returncode == 0
    assert command("note", "P-2", LIKE_A_NAME).returncode == 0
    until = ("--until", "2027-05-31")
    assert command("staff", "add", LIKE_A_NAME, "--role", "counter", *until, "--by", WIM).returncode == 0
    assert LIKE_A_NAME in command("ski", "P-1").stdout
    assert LIKE_A_NAME in command("ski", "P-2").stdout
    assert LIKE_A_NAME in command("staff", "list").stdout
    assert command("back", "P-3", "--by", LIKE_A_NAME).returncode == 0
    assert LIKE_A_NAME in command("ski", "P-3").stdout
    assert "sound; the rules were kept" in command("audit").stdout
