"""A case as a stranger checks it: with two files, a head that came another way, and no ledger."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fleet.audit.daily import first_hash, sign_head
from fleet.audit.entry_tree import entry_tree, sealing_key, tree_file
from fleet.audit.heads import HEADS_FILE
from fleet.audit.redaction import reach
from fleet.base.entries import Head
from fleet.base.errors import Refused
from fleet.base.sealed_parts import _sealed_part, sealed
from fleet.ledger.corrections import redact
from fleet.ledger.ledger import Ledger
from fleet.ledger.people import set_policy
from fleet.rules.holds import quarantine
from planner.exchange.check_case import OutsideHead, Report, check, main, outside_heads
from tests.counter.command import Command
from tests.counter.shop import IDA, NELL, STAFF, WIM, Shop


@pytest.fixture
def command(shop: Shop, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    return Command(shop.ledger.path, monkeypatch, capsys)


@pytest.fixture(autouse=True)
def key_of_the_machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    key = tmp_path / "settings" / "head.key"
    monkeypatch.setattr("planner.cli.session.key_path", lambda: key)
    return key


class Made:
    """A case as it was handed out, with two heads from before: one signed, one printed."""

    def __init__(self, shop: Shop, command: Command, tmp_path: Path, key: Path) -> None:
        self.folder, witness = tmp_path / "case", tmp_path / "witness"
        with shop.desk(WIM) as desk:
            set_policy(desk, "witness_folder", str(witness), origin="ours")
        shop.out("P-1", boot="B-305")
        assert sign_head(shop.ledger, shop.ledger.head, now=shop.now, key=key) == []
        [self.signed] = outside_heads((witness / HEADS_FILE).read_text(encoding="utf-8"))
        shop.back("P-1", said="Mr Invented says the heel clicked")
        self.printed = shop.ledger.head
        shop.look("P-2")
        shop.look("P-1", by=IDA, found={"B heel": "more"})
        with shop.desk(NELL) as desk:
            quarantine(desk, "P-1", why="fall, Mrs Invented hurt her knee")
        head = ("--head", self.printed.full)
        done = command("case", "P-1", "--out", str(self.folder), *head)
        assert done.returncode == 0, done.stdout
        self.data = (self.folder / "case.json").read_bytes()
        self.proof = json.loads((self.folder / "case.proof.json").read_bytes())

    @property
    def case(self) -> Any:
        return json.loads(self.data)

    def heads(self) -> list[OutsideHead]:
        return [self.signed, OutsideHead(self.printed.seq, self.printed.hash)]

    def checked(self, case: Any = None, proof: Any = None, heads: list[OutsideHead] | None = None) -> Report:
        data = self.data if case is None else json.dumps(case, ensure_ascii=False).encode()
        return check(data, proof or self.proof, self.heads() if heads is None else heads)


@pytest.fixture
def made(shop: Shop, command: Command, tmp_path: Path, key_of_the_machine: Path) -> Made:
    return Made(shop, command, tmp_path, key_of_the_machine)


def test_a_case_as_it_was_made_shows_each_entry_and_every_head(made: Made) -> None:
    report = made.checked()
    assert report.wrong == []
    shows = "\n".join(report.shows)
    count = len(made.case["history"])
    assert f"{count} of {count} entries in case.json stand in the ledger as told" in shows
    assert "byte for byte, the file that entry" in shows
    assert f"the first {made.signed.entry} entries, all of them, are those" in shows
    assert f"entry {made.printed.seq} of the tree bears the hash" in shows
    assert "was signed with the key" in shows


def test_the_files_alone_do_not_show_that_nobody_made_them_up(made: Made) -> None:
    report = made.checked(heads=[])
    assert report.wrong == []
    assert any("nothing from outside was given" in sentence for sentence in report.cannot)


def test_neither_names_nor_texts_nor_the_hashes_of_entries_stand_in_a_proof(made: Made, shop: Shop) -> None:
    text = json.dumps(made.proof, ensure_ascii=False)
    for name, _, _ in STAFF:
        assert name not in text
    assert "Mr Invented" not in text
    assert "knee" not in text
    given = {made.printed.hash, made.proof["head"]["hash"], first_hash(shop.ledger)}
    for entry in shop.ledger.entries():
        assert entry.hash in given or entry.hash not in text


def test_a_name_that_is_tried_with_all_that_a_case_shows_gives_no_digest_of_it(made: Made) -> None:
    """The signer's part is hidden with a key of its own: without that key all names look alike."""
    row, proof = made.case["history"][-1], made.proof["entries"][-1]
    keys = {part["key"] for part in proof["opening"]["parts"].values() if "key" in part}
    assert "hidden" in proof["opening"]["parts"]["by"]
    hidden = proof["opening"]["parts"]["by"]["hidden"]
    for name, _, _ in STAFF:
        for key in map(bytes.fromhex, keys):
            assert hidden not in (_sealed_part("by", name, key).hex(), sealed(row | {"by": name}, key).hex())


# spoilt: each says what

Spoil = Callable[[Any, Any], None]


def dropped(case: Any, _: Any) -> None:
    del case["history"][1]


def changed(case: Any, _: Any) -> None:
    case["history"][-1]["what"] = "pair out"


def body_changed(case: Any, _: Any) -> None:
    looked = [row for row in case["history"] if row["what"] == "pair looked at"][-1]
    assert looked["body"]["outcome"] != "pass"
    looked["body"]["outcome"] = "pass"


def time_changed(case: Any, _: Any) -> None:
    case["history"][-1]["at"] = "2026-12-01T08:00:00.000Z"


def reordered(case: Any, _: Any) -> None:
    case["history"][0], case["history"][1] = case["history"][1], case["history"][0]


def twice(case: Any, _: Any) -> None:
    case["history"].append(case["history"][-1])


def added(case: Any, _: Any) -> None:
    case["history"].insert(0, case["history"][0] | {"seq": 1})


def renumbered(case: Any, proof: Any) -> None:
    case["history"][-1]["seq"] -= 1
    proof["entries"][-1]["seq"] -= 1


def forged_whole(case: Any, proof: Any) -> None:
    """An entry made up with a proof made up beside it."""
    seq = case["history"][-1]["seq"]
    case["history"][-1] = case["history"][-1] | {"what": "quarantine cleared", "body": {"tag": "P-1"}}
    proof["entries"][-1] = {"seq": seq, "opening": {"key": "00" * 32}, "path": proof["entries"][-1]["path"]}


def hidden_and_told_otherwise(case: Any, proof: Any) -> None:
    """The part is hidden as a name may be, and the case tells something else there."""
    row, one = case["history"][-1], proof["entries"][-1]
    key = bytes.fromhex(one["opening"]["parts"]["what"]["key"])
    one["opening"]["parts"]["what"] = {"hidden": _sealed_part("what", row["what"], key).hex()}
    row["what"] = "pair out"


def state_changed(case: Any, _: Any) -> None:
    case["place"] = "ready"


def proof_of_one_dropped(_: Any, proof: Any) -> None:
    del proof["entries"][0]


def path_changed(_: Any, proof: Any) -> None:
    path = proof["entries"][0]["path"]
    path[0] = "00" * 32


def path_longer(_: Any, proof: Any) -> None:
    proof["entries"][0]["path"].append("00" * 32)


def root_changed(_: Any, proof: Any) -> None:
    proof["head"]["root"] = "00" * 32


def shop_changed(_: Any, proof: Any) -> None:
    proof["head"]["shop"] = "Another shop"


def made_entry_changed(_: Any, proof: Any) -> None:
    proof["made"]["entry"]["body"]["sha256"] = "00" * 32


def earlier_proof_changed(_: Any, proof: Any) -> None:
    for one in proof["earlier"]:
        one["proof"][-1] = "00" * 32


def no_longer_a_proof(_: Any, proof: Any) -> None:
    proof["entries"] = [1]


SPOILT: dict[str, tuple[Spoil, str]] = {
    "an entry dropped": (dropped, "is missing in case.json: it was dropped"),
    "an entry changed": (changed, "is not in the ledger as case.json tells it"),
    "a body changed": (body_changed, "is not in the ledger as case.json tells it"),
    "a time changed": (time_changed, "is not in the ledger as case.json tells it"),
    "entries in another order": (reordered, "the order was changed"),
    "an entry twice": (twice, "stands twice in case.json"),
    "an entry added": (added, "entry 1 has no proof: it was added"),
    "an entry under another number": (renumbered, "is not in the ledger as case.json tells it"),
    "an entry forged with its proof": (forged_whole, "is not in the ledger as case.json tells it"),
    "a part hidden and told otherwise": (hidden_and_told_otherwise, "its what is told without proof"),
    "the state changed": (state_changed, "case.json is not the file that entry"),
    "a proof dropped": (proof_of_one_dropped, "has no proof: it was added"),
    "a path changed": (path_changed, "is not in the ledger as case.json tells it"),
    "a path longer": (path_longer, "is not in the ledger as case.json tells it"),
    "the root changed": (root_changed, "the head in the proof bears a signature that does not fit"),
    "the shop changed": (shop_changed, "the head in the proof bears a signature that does not fit"),
    "the entry that names the case changed": (made_entry_changed, "is not in the tree of the head"),
    "the proof from an earlier head changed": (earlier_proof_changed, "entries before it were changed since"),
    "a proof that is none": (no_longer_a_proof, "the proof cannot be read"),
}


@pytest.mark.parametrize("name", SPOILT)
def test_what_was_spoilt_is_named(made: Made, name: str) -> None:
    spoil, words = SPOILT[name]
    case, proof = made.case, json.loads(json.dumps(made.proof))
    spoil(case, proof)
    report = made.checked(None if case == made.case else case, proof)
    assert any(words in sentence for sentence in report.wrong), report.wrong
    if case != made.case:
        assert any("case.json is not the file that entry" in sentence for sentence in report.wrong)


def test_another_file_is_no_case(made: Made) -> None:
    for data in (b"[]", b"{}", b"\xff", b'{"history": [1], "entered_later": []}'):
        assert check(data, made.proof).wrong == [
            "case.json cannot be read as a case: it was changed, or it is another file"
        ]


def test_a_head_of_another_ledger_is_named(made: Made) -> None:
    assert made.signed.signed is not None
    other = OutsideHead(5, "ab" * 32, made.signed.signed | {"ledger": "cd" * 32})
    report = made.checked(heads=[other])
    assert any("is of another ledger than the case" in sentence for sentence in report.wrong)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"entry": 999}, "is newer than the case"),
        ({"hash": "ab" * 32}, "is not that of entry"),
        ({"entry": 3}, "is older than the case, and the proof does not lead to it"),
    ],
)
def test_a_printed_head_that_does_not_fit_is_named(made: Made, change: dict[str, Any], words: str) -> None:
    head = OutsideHead(**({"entry": made.printed.seq, "hash": made.printed.hash} | change))
    assert any(words in sentence for sentence in made.checked(heads=[head]).wrong)


def test_the_head_printed_on_the_case_itself_leads_to_it_and_another_one_does_not(made: Made) -> None:
    head = made.proof["head"]
    short = made.checked(heads=outside_heads(f"HEAD {head['entry']}:{head['hash'][:8].upper()}"))
    assert short.wrong == []
    assert any("compared by its first digits only" in sentence for sentence in short.shows)
    wrong = made.checked(heads=[OutsideHead(head["entry"], "ab" * 32)])
    assert any("is not the head in the proof" in sentence for sentence in wrong.wrong)


def test_a_key_that_is_not_the_shops_is_named(made: Made) -> None:
    assert any("not the one that was given" in one for one in check(made.data, made.proof, key="ab").wrong)
    good = check(made.data, made.proof, key=made.proof["head"]["key"])
    assert good.wrong == []


def test_a_ledger_whose_older_entries_were_made_anew_is_betrayed_by_a_head_from_before(
    made: Made, shop: Shop, command: Command, tmp_path: Path
) -> None:
    """The same story told again in a fresh ledger, and a case made from that."""
    anew = Ledger.create(tmp_path / "anew.db", shop="Lantern", zone="Europe/Vienna", by=WIM, now=shop.now)
    with anew, anew.transaction(by=WIM, now=shop.now) as transaction:
        for _ in range(made.proof["head"]["entry"] - 1):
            transaction.enter("sealing begun", {})
    seq = made.signed.entry
    with Ledger.open(anew.path) as ledger, entry_tree(ledger) as tree:
        assert tree is not None
        tree.grow()
        proof = made.proof | {
            "head": made.proof["head"] | {"root": tree.root(tree.size)},
            "earlier": [{"entry": seq, "root": tree.root(seq), "proof": tree.consistency(seq, tree.size)}],
        }
    wrong = made.checked(None, proof, [made.signed]).wrong
    assert any("entries before it were changed since" in sentence for sentence in wrong)


# the file that is handed out


def test_the_checker_runs_alone_from_the_folder_of_the_case(made: Made) -> None:
    """In a process that finds no package of ours, with the library for the signature and without it."""
    for isolated in ((), ("-S",)):  # -S: no installed libraries
        done = subprocess.run(
            [sys.executable, "-I", *isolated, "check_case.py", "case.json", "--head", made.printed.full],
            cwd=made.folder, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stdout + done.stderr
        assert "What it cannot show:" in done.stdout
        assert ("NOT CHECKED" in done.stdout) == bool(isolated)
    (made.folder / "case.json").write_bytes(made.data.replace(b"quarantine", b"ready", 1))
    again = [sys.executable, "-I", "check_case.py", "case.json"]
    spoilt = subprocess.run(again, cwd=made.folder, capture_output=True, check=False)
    assert spoilt.returncode == 1


def test_a_file_of_heads_is_taken_and_what_is_no_head_is_not(
    made: Made, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case = str(made.folder / "case.json")
    assert main([case, "--head", str(tmp_path / "witness" / HEADS_FILE)]) == 0
    assert "all of them, are those that the ledger had" in capsys.readouterr().out
    assert main([case, "--head", "nothing"]) == 2
    assert main([str(made.folder / "none.json")]) == 2


# in the ledger


def test_a_printed_head_that_the_ledger_does_not_have_is_refused_before_anything_is_made(
    command: Command, shop: Shop, tmp_path: Path
) -> None:
    before = shop.ledger.head
    done = command("case", "P-1", "--out", str(tmp_path / "c"), "--head", "2:" + "0" * 64, "--json")
    assert "is not in this ledger" in done.json["refused"]
    assert shop.ledger.head == before


def test_a_kept_tree_that_was_tampered_with_is_made_again(made: Made, shop: Shop, command: Command) -> None:
    import sqlite3

    with sqlite3.connect(tree_file(shop.ledger.path)) as file:
        file.execute("UPDATE node SET hash = zeroblob(32) WHERE height = 0")
    file.close()
    assert command("case", "P-1", "--out", str(made.folder)).returncode == 0
    data, proof = ((made.folder / name).read_bytes() for name in ("case.json", "case.proof.json"))
    assert check(data, json.loads(proof), [made.signed]).wrong == []


def test_the_tree_grows_by_what_was_entered_since_and_is_the_same_as_made_at_once(shop: Shop) -> None:
    roots = {}
    for _ in range(5):
        shop.look("P-2")
        with entry_tree(shop.ledger) as tree:
            assert tree is not None
            grown_from = tree.size
            tree.grow()
            assert grown_from in (0, shop.ledger.head.seq - 1)
            roots[tree.size] = tree.root(tree.size)
    tree_file(shop.ledger.path).unlink()
    with entry_tree(shop.ledger) as tree:
        assert tree is not None
        assert not tree.grow(most=3)
        assert tree.size == 3
        assert tree.grow()
        assert {size: tree.root(size) for size in roots} == roots


def test_the_sealing_key_is_nobodys_to_blank_and_an_older_ledger_gets_one(
    shop: Shop, command: Command, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    assert sealing_key(shop.ledger.connection) is not None
    action = shop.ledger.transaction(by=IDA, now=shop.now)
    with pytest.raises(Refused, match="the key by which cases are proved"), action as transaction:
        redact(transaction, 1, by=IDA, why="no", today=shop.now.date())
    monkeypatch.setattr("fleet.ledger.ledger.new_sealing_key", lambda: "")
    old = Ledger.create(tmp_path / "old.db", shop="Lantern", zone="Europe/Vienna", by=WIM, now=shop.now)
    with old:
        assert sealing_key(old.connection) is None
        with entry_tree(old) as tree:
            assert tree is None


def test_a_redaction_does_not_suspect_the_kept_tree_of_holding_a_text(shop: Shop) -> None:
    folder = str(shop.ledger.path.resolve().parent)
    with shop.desk(WIM) as desk:
        set_policy(desk, "backup_folder", folder, origin="ours")
        seq = quarantine(desk, "P-1", why="fall, Mrs Invented hurt her knee").entry
    with entry_tree(shop.ledger) as tree:
        assert tree is not None
        tree.grow()
    assert tree_file(shop.ledger.path).exists()
    with shop.ledger.transaction(by=IDA, now=shop.now) as transaction:
        redact(transaction, seq, by=IDA, why="asked for", today=shop.now.date())
    reached = reach(shop.ledger, seq, by=IDA, why="asked for", now=shop.now)
    assert [path.name for path in reached.still] == []


def test_the_salt_of_a_case_does_not_stand_in_the_history_that_people_read(
    made: Made, command: Command
) -> None:
    assert "salt" not in command("ski", "P-1").stdout
    assert "case made" in command("ski", "P-1").stdout
    [row] = [row for row in command("ski", "P-1", "--json").json["history"] if row["what"] == "case made"]
    assert row["note"] is None


def test_the_code_on_the_case_is_the_head_of_the_entry_that_names_it(made: Made) -> None:
    import pymupdf

    head = made.proof["head"]
    with pymupdf.open(made.folder / "case.pdf") as document:
        assert document.metadata is not None
        assert document.metadata["keywords"] == f"HEAD {Head(head['entry'], head['hash']).full}"
        assert f"AS THE LEDGER STOOD AT ENTRY {made.case['head'].split(':')[0]}" in document[0].get_text()


def test_a_case_of_an_older_ledger_begins_the_sealing_and_one_of_no_pair_begins_nothing(
    shop: Shop, command: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Older ledgers were begun without a key, as this one says once that it was."""
    import planner.cli.case_proof as proving

    keys = [None]
    real = proving.sealing_key
    monkeypatch.setattr(proving, "sealing_key", lambda connection: keys.pop() if keys else real(connection))
    before = shop.ledger.head.seq
    assert "refused" in command("case", "P-77", "--json", "--out", str(tmp_path / "c")).json
    assert shop.ledger.head.seq == before
    done = command("case", "P-1", "--out", str(tmp_path / "case"), "--json").json
    assert [entry.what for entry in shop.ledger.entries(after=before)] == ["sealing begun", "case made"]
    data, proof = ((tmp_path / "case" / name).read_bytes() for name in ("case.json", "case.proof.json"))
    assert check(data, json.loads(proof)).wrong == []
    assert done["made_entry"] == before + 2
