"""`mountbook redact --person`: who may, which names may not go yet, what it reaches, what still holds it."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from fleet.audit import name_removal
from fleet.audit.checkpoint import checkpoint_of
from fleet.audit.full import audit_file
from fleet.audit.name_removal import _may_go, _mentions, _rows_of, remove_name
from fleet.base.errors import BadInput, Refused
from fleet.base.files import unfinished_beside
from fleet.base.kept_names import is_mark, read_names
from fleet.events.event import Tap
from fleet.events.stops import PairHeld
from fleet.ledger.ledger import Ledger
from fleet.ledger.people import list_person
from fleet.rules.holds import begin_repair, clear, end_repair, hold
from fleet.tables.snapshot import read_staff
from planner.exchange.check_case import check
from planner.pages.desks import desks_file, open_desks
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, MORNING, NELL, OLD, SANNE, WIM, Shop
from tests.counter.test_impossible import order_body

NOW = datetime(2026, 12, 28, 17, 30, tzinfo=UTC)
GONE = "Mika Invented"


@pytest.fixture(autouse=True)
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "settings"
    folder.mkdir()
    monkeypatch.setattr("planner.cli.session.key_path", lambda: folder / "head.key")
    return folder


@pytest.fixture
def worked(shop: Shop) -> Shop:
    """Mika repaired P-1 in the season and is listed no more; nothing of it is open."""
    with shop.desk(WIM) as desk:
        list_person(desk, GONE, role="technician", until=shop.today)
    with shop.desk(NELL) as desk:
        hold(desk, "P-1", why="heel turned")
    with shop.desk(GONE) as desk:
        begin_repair(desk, "P-1")
    with shop.desk(GONE) as desk:
        end_repair(desk, "P-1", did="screwed down")
    shop.look("P-1", by=IDA)
    return shop


def unlisted(shop: Shop) -> None:
    with shop.desk(WIM) as desk:
        list_person(desk, GONE, role="technician", until=MORNING.date().replace(day=1))


def refused(command: Command, *args: str) -> str:
    return json.dumps(command("redact", "--person", *args, "--json").json, ensure_ascii=False)


def in_no_file(folder: Path, name: str) -> list[Path]:
    forms = {name.encode(), json.dumps(name)[1:-1].encode()}
    return [p for p in folder.rglob("*") if p.is_file() and any(form in p.read_bytes() for form in forms)]


def test_who_is_listed_in_date_may_not_go_and_the_last_day_is_the_limit(
    worked: Shop, command: Command
) -> None:
    said = command("redact", "--person", GONE, "--by", WIM, "--json").json  # the clock stands on the last day
    assert said["refused"] == f"{GONE} is listed and signs until Sun 27 Dec 2026: the name is needed"
    assert said["cure"] == (
        f'list the last day first: mountbook staff add "{GONE}" --role technician --until DATE,'
        " a day that is over"
    )
    said = command("redact", "--person", IDA, "--by", WIM, "--json").json
    assert "--role head-technician --until DATE" in said["cure"]
    command.wait(minutes=24 * 60)
    assert is_mark(command("redact", "--person", GONE, "--by", WIM, "--json").json["mark"])


def test_who_may_take_a_name_out_and_how_it_is_called(worked: Shop, command: Command) -> None:
    command.wait(minutes=24 * 60)
    for by in (JORY, NELL, "Nobody"):
        assert "refused" in command("redact", "--person", GONE, "--by", by, "--json").json
    assert "nobody is called" in refused(command, "Mika Invente", "--by", WIM)
    assert f"did you mean {GONE}?" in refused(command, "Mika Invente", "--by", WIM)
    assert "write the name in full, as an entry shows it" in refused(command, "Quite Other", "--by", WIM)
    both = command("redact", "12", "--person", GONE, "--by", WIM, "--json").json
    neither = command("redact", "--by", WIM, "--json").json
    assert "number or a person" in json.dumps(both)
    assert "number or a person" in json.dumps(neither)
    mark = command("redact", "--person", "mika  INVENTED", "--by", IDA, "--json").json["mark"]
    again = command("redact", "--person", mark, "--by", IDA, "--json").json
    assert again["refused"] == f"{mark!r} stands for a name that was taken out already"
    assert again["cure"] == "nothing needs to be done"
    assert "nobody is called" in refused(command, GONE, "--by", IDA)


def test_a_head_technician_or_a_manager_signs_it(shop: Shop) -> None:
    with shop.desk(JORY) as desk, pytest.raises(Refused) as refused:
        remove_name(shop.ledger, desk.tx, GONE, by=JORY, why="", today=shop.today)
    assert refused.value.sentence == (
        f"{JORY} is a technician; only a head technician or a manager can correct the ledger"
    )
    assert refused.value.cure == f"sign with --by NAME, one of: {IDA}, {WIM}"


@pytest.mark.parametrize("what", ["work", "hold", "cleared"])
def test_an_open_stop_that_the_person_signed_keeps_the_name(shop: Shop, what: str) -> None:
    with shop.desk(WIM) as desk:
        list_person(desk, GONE, role="technician", until=shop.today)
    with shop.desk(GONE if what == "hold" else NELL) as desk:
        hold(desk, "P-1", why="heel turned")
    if what == "work":
        for act in (begin_repair, lambda desk, tag: end_repair(desk, tag, did="screwed")):
            with shop.desk(GONE) as desk:
                act(desk, "P-1")
    if what == "cleared":
        shop.look("P-2", by=IDA, found={"B heel": "more"})
        with shop.desk(GONE) as desk:
            clear(desk, "P-2", why="tightened")
    unlisted(shop)
    with pytest.raises(Refused, match="still open: pair P-") as error, shop.desk(WIM) as desk:
        remove_name(shop.ledger, desk.tx, GONE, by=WIM, why="", today=shop.today)
    assert error.value.cure == "end these first: pass or clear the pairs, close the orders"
    if what == "work":
        shop.look("P-1", by=IDA)
    elif what == "hold":
        with shop.desk(SANNE) as desk:
            clear(desk, "P-1", why="was nothing")
        shop.look("P-1", by=IDA)
    else:
        shop.look("P-2", by=JORY)
    with shop.desk(WIM) as desk:
        assert is_mark(remove_name(shop.ledger, desk.tx, GONE, by=WIM, why="", today=shop.today).mark)


def test_an_open_order_that_the_person_issued_keeps_the_name(worked: Shop) -> None:
    """Of two open orders the one that somebody else issued does not."""
    unlisted(worked)
    for number, tag, by in ((1, "P-2", GONE), (2, "P-3", WIM)):
        worked.enter("order issued", order_body(tag) | {"number": f"WO-2612-000{number}"}, by=by)
    with pytest.raises(Refused) as error, worked.desk(WIM) as desk:
        remove_name(worked.ledger, desk.tx, GONE, by=WIM, why="", today=worked.today)
    assert error.value.sentence == f"{GONE} signed what is still open: order WO-2612-0001 A"
    with worked.desk(WIM) as desk, pytest.raises(Refused, match="WO-2612-0002 A"):
        _may_go(desk.connection, _rows_of(desk.connection, WIM), today=MORNING.date().replace(year=2029))


@pytest.mark.parametrize(("worker", "kept"), [(GONE, True), (JORY, False)])
def test_a_stop_that_waits_for_its_pair_keeps_the_name_of_who_worked_at_it(
    worked: Shop, worker: str, kept: bool
) -> None:
    unlisted(worked)
    carried = {"tag": "P-99", "from": "another ledger", "stops": "on hold", "quarantine": False, "hold": True}
    worked.enter("pair carried over", carried | {"workers": [worker]})
    with worked.desk(WIM) as desk:
        if not kept:
            assert is_mark(remove_name(worked.ledger, desk.tx, GONE, by=WIM, why="", today=worked.today).mark)
            return
        with pytest.raises(Refused, match="still open: pair P-99"):
            remove_name(worked.ledger, desk.tx, GONE, by=WIM, why="", today=worked.today)


def test_who_is_called_like_nobody_is_told_to_write_the_name_in_full(worked: Shop) -> None:
    with worked.desk(WIM) as desk, pytest.raises(BadInput) as error:
        _rows_of(desk.connection, "Quite Other")
    assert error.value.cure == "write the name in full, as an entry shows it"


def test_it_is_gone_from_every_file_or_the_file_is_named(
    worked: Shop, command: Command, tmp_path: Path, settings: Path
) -> None:
    path = tmp_path / "shop.db"
    with closing(open_desks(desks_file(settings, path))) as store:
        for person, by in ((GONE.casefold(), WIM), (IDA.casefold(), GONE)):
            badge = "INSERT INTO badge (person, name, hash, set_by, since) VALUES (?, ?, 'x', ?, '')"
            store.execute(badge, (person, GONE if by == WIM else IDA, by))
            store.execute(
                "INSERT INTO pin (person, hash, set_by, since) VALUES (?, 'x', ?, '')", (person, by)
            )
        store.execute("INSERT INTO desk (name, key_hash, since) VALUES (?, 'k', '')", (GONE.upper(),))
    kept = tmp_path / "shop.db.before-20261227T080000Z"
    shutil.copyfile(path, kept)
    copy = Path(command("backup", "--json").json["backup"])
    assert command("audit").returncode in (0, 1)
    assert checkpoint_of(path).exists()
    shutil.copyfile(checkpoint_of(path), checkpoint_of(kept))  # as an audit of the kept file leaves it
    without = tmp_path / "shop.db.before-20261201T080000Z"
    with Ledger.create(without, shop="Lantern", zone="Europe/Vienna", by=WIM, now=worked.now):
        pass
    unfinished = unfinished_beside(path)
    unfinished.write_text(GONE)
    os.utime(unfinished, (0, 0))  # of a command killed long ago
    waits = tmp_path / "shop_open_files" / "1" / "skis.xlsx"
    waits.parent.mkdir(parents=True)
    waits.write_text(GONE)
    command.wait(minutes=24 * 60)
    done = command("redact", "--person", GONE, "--why", "asked for", "--by", WIM)
    assert done.returncode == 0, done.stdout
    assert f"still holds the text: {copy}" in done.stdout
    assert f"still holds the text: {waits}" in done.stdout
    assert f"blanked in {kept} too" in done.stdout
    for each in (path, kept):
        assert (
            f"deleted: {checkpoint_of(each)}, from which the next audit would have gone on\n" in done.stdout
        )
        assert not checkpoint_of(each).exists()
    assert str(without) not in done.stdout
    assert f"deleted: {unfinished}, an unfinished file\n" in done.stdout
    assert done.stdout.endswith(
        "  exported files, cases and printed sheets are not looked at\n"
        "  a copy that is not named here, on another disk or stick, still holds it\n"
    )
    with closing(sqlite3.connect(kept)) as file:
        assert file.execute("SELECT text FROM notes ORDER BY seq DESC").fetchone() == ("asked for",)
    assert "the PIN is deleted" in done.stdout
    assert "the badge is deleted" in done.stdout
    assert f"a desk is called {GONE.upper()}" in done.stdout
    assert set(in_no_file(tmp_path, GONE)) <= {waits, copy, *copy.parent.glob("*.db")}
    with closing(sqlite3.connect(desks_file(settings, path))) as store:
        rows = store.execute("SELECT person, set_by FROM pin").fetchall()
    assert [person for person, _ in rows] == [IDA.casefold()]
    assert is_mark(rows[0][1])
    for each in (path, kept):
        assert audit_file(each, now=NOW).sound
    shown = command("ski", "P-1").stdout
    assert GONE not in shown
    assert "name removed" in shown
    staff = command("staff", "list").stdout
    assert GONE not in staff
    assert "name removed" in staff
    assert "Mika" not in command("export", "--out", str(tmp_path / "out")).stdout
    assert in_no_file(tmp_path / "out", GONE) == []


def test_a_person_is_found_under_each_spelling_that_was_listed(worked: Shop) -> None:
    with worked.desk(WIM) as desk:
        list_person(desk, "MIKA Invented", role="technician", until=worked.today)
    with worked.desk(NELL) as desk:
        typed = [
            desk.enter(PairHeld(tag="P-2"), note=f"{name} saw it") for name in (GONE, "MIKA Invented", "Mika")
        ]
        rows = _rows_of(desk.connection, GONE)
        assert len(rows) == 2
        mentioned, _ = _mentions(desk.connection, rows)
    assert mentioned == tuple(typed[:2])


def test_what_was_typed_with_the_name_in_it_is_named(worked: Shop, command: Command) -> None:
    command("hold", "P-2", "--why", f"{GONE} saw it", "--by", NELL)
    with closing(sqlite3.connect(worked.ledger.path)) as file:
        (held,) = file.execute("SELECT max(seq) FROM entries").fetchone()
    done = command("correct", "P-3", "rack=mika invented 2", "--why", "x", "--by", IDA, "--json")
    fact = done.json["entry"]
    command.wait(minutes=24 * 60)
    said = command("redact", "--person", GONE, "--by", WIM).stdout
    assert f"what was typed for entry {held}: mountbook redact ENTRY" in said
    assert f"in a fact of entry {fact}," in said


def test_the_rules_stand_between_two_who_were_taken_out_as_before(worked: Shop, command: Command) -> None:
    """A repairer's mark is still the repairer: the audit asks nothing, before or after."""
    before = audit_file(worked.ledger.path, now=NOW)
    command.wait(minutes=24 * 60)
    command("redact", "--person", GONE, "--by", WIM, "--json")
    command("redact", "--person", OLD, "--by", WIM, "--json")
    with Ledger.open(worked.ledger.path) as ledger:
        marks = [name for name in read_staff(ledger.connection) if is_mark(name)]
    assert len(set(marks)) == 2
    after = audit_file(worked.ledger.path, now=NOW)
    assert after.sound
    assert [(f.code, f.entry) for f in after.findings] == [(f.code, f.entry) for f in before.findings]


def test_an_older_copy_brings_the_name_back_only_to_lose_it_again(
    worked: Shop, command: Command, tmp_path: Path
) -> None:
    path = tmp_path / "shop.db"
    copy = Path(command("backup", "--json").json["backup"])
    command("hold", "P-2", "--why", "x", "--by", JORY)
    command.wait(minutes=24 * 60)
    mark = command("redact", "--person", GONE, "--by", WIM, "--json").json["mark"]
    done = command("restore", str(copy), "--by", WIM)
    assert done.returncode == 0, done.stdout
    assert f"{mark}: that name was taken out of the replaced file, and is taken out again" in done.stdout
    assert "1 name removed" not in done.stdout
    assert "P-2" in done.stdout, "what stopped a pair since is carried over as ever"
    assert "P-1 " not in done.stdout, "nothing else of P-1 is news"
    with Ledger.open(path) as ledger:
        assert mark in read_staff(ledger.connection)
    raw = path.read_bytes()
    assert GONE.encode() not in raw
    assert audit_file(path, now=NOW).sound
    shutil.move(path, tmp_path / "lost")
    for each in tmp_path.glob("shop.db*"):
        each.unlink()
    done = command("restore", str(copy), "--by", WIM)
    assert "names taken out after the backup are in it again" in done.stdout


def test_two_names_are_taken_out_again_and_the_state_is_derived_once_for_both(
    worked: Shop, command: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = Path(command("backup", "--json").json["backup"])
    command.wait(minutes=24 * 60)
    marks = [command("redact", "--person", name, "--by", WIM, "--json").json["mark"] for name in (OLD, GONE)]
    derived = []
    anew = name_removal.derive_anew
    monkeypatch.setattr(name_removal, "derive_anew", lambda *args: (derived.append(args), anew(*args)))
    done = command("restore", str(copy), "--by", WIM, "--json").json
    assert sorted(done["removed"]) == sorted(marks)
    assert len(derived) == 1
    with Ledger.open(tmp_path / "shop.db") as ledger:
        assert set(marks) <= read_staff(ledger.connection).keys()
    assert audit_file(tmp_path / "shop.db", now=NOW).sound


def test_a_case_and_its_proof_hold_neither_the_name_nor_what_it_could_be_tried_with(
    worked: Shop, command: Command, tmp_path: Path
) -> None:
    with Ledger.open(worked.ledger.path) as ledger:
        kept = read_names(ledger.connection)
    folders = [tmp_path / "before", tmp_path / "after"]
    for folder in folders:
        done = command("case", "P-1", "--out", str(folder))
        assert done.returncode == 0, done.stdout
        data = (folder / "case.json").read_bytes()
        proof = (folder / "case.proof.json").read_bytes()
        assert check(data, json.loads(proof)).wrong == []
        for row in kept:
            for secret in (row.text, row.salt, row.digest):
                assert secret is not None
                assert secret.encode() not in data + proof
        command.wait(minutes=24 * 60)
        if folder is folders[0]:
            assert is_mark(command("redact", "--person", GONE, "--by", WIM, "--json").json["mark"])
    again = command("case-check", str(folders[0] / "case.json"))
    assert again.returncode == 0, again.stdout


def test_a_desk_in_a_case_is_a_number(shop: Shop, command: Command, tmp_path: Path) -> None:
    with (
        Ledger.open(shop.ledger.path) as ledger,
        ledger.transaction(by=IDA, now=shop.tick(), tap=Tap(id="0" * 16, desk="Desk of Mika")) as tx,
    ):
        tx.enter("pair held", {"tag": "P-1"})
    done = command("case", "P-1", "--out", str(tmp_path / "case"))
    assert done.returncode == 0, done.stdout
    data = (tmp_path / "case" / "case.json").read_bytes()
    assert b"Desk of Mika" not in data
    taps = [row["body"]["tap"] for row in json.loads(data)["history"] if "tap" in row["body"]]
    assert [tap["desk"].partition(" (")[2] for tap in taps] == ["a desk)"]
    proof = json.loads((tmp_path / "case" / "case.proof.json").read_bytes())
    assert check(data, proof).wrong == []
