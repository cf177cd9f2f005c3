"""What stayed open of an import is answered from the worklist: the file need not be found again."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from fleet.base.errors import BadInput, Refused
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_fleet
from planner.cli.main import app
from tests.imports.books import write_csv

HEAD = ["tag", "model", "kind", "length_cm", "construction"]
ROWS = [
    ["K-1", "Larch 96", "telemark", "178", "wood/ti"],
    ["K-2", "Larch 96", "telemark", "178", "wood/ti"],
    ["K-3", "Larch 96", "telemark", "178?", "no metal"],
]
WORD = "word/ski/construction/wood%2Fti"
LENGTH = "word/ski/length_cm/178?"


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A ledger into which the certain part of a file went; the file itself is gone."""
    file = write_csv(tmp_path / "own.csv", [HEAD, *ROWS])
    done = command(tmp_path / "shop.db", str(file), "--apply", "--shop", "T", "--zone", "UTC")
    assert done.exit_code == 1, done.output
    assert "a copy waits in" in done.stderr
    file.unlink()
    listed(tmp_path / "shop.db")
    return tmp_path / "shop.db"


def listed(ledger: Path) -> None:
    """A manager, who signs what a file says anew."""
    staff = ["staff", "add", "Mara Oberlin", "--role", "manager", "--until", "2099-05-31"]
    assert CliRunner().invoke(app, ["--ledger", str(ledger), *staff]).exit_code == 0


def refusal(done: Any) -> str:
    """The sentence and the cure with which a command ends."""
    assert isinstance(done.exception, (BadInput, Refused)), done.output
    return f"{done.exception.sentence} ({done.exception.cure})"


def command(ledger: Path, *words: str) -> Any:
    return CliRunner().invoke(app, ["--ledger", str(ledger), "import", *words, "--by", "Mara Oberlin"])


def construction(ledger: Path) -> dict[str, str | None]:
    with Ledger.open(ledger) as opened:
        return {tag: pair.construction for tag, pair in read_fleet(opened.connection).pairs.items()}


def answers(tmp_path: Path, **said: str) -> Path:
    path = tmp_path / "answers.txt"
    ids = {"word": WORD, "length": LENGTH}
    path.write_text("".join(f"{ids[key]} {answer}\n" for key, answer in said.items()), encoding="utf-8")
    return path


def test_the_worklist_says_why_and_how_to_answer(shop: Path) -> None:
    said = command(shop, "open").stdout
    assert "'wood/ti' stands in 2 rows" in said
    assert "mountbook import open --ask --apply" in said
    assert construction(shop) == {"K-1": None, "K-2": None}


def test_on_a_pipe_it_lists_the_questions_as_an_answers_file(shop: Path) -> None:
    said = command(shop, "open", "--ask").stdout
    assert {line.split()[0] for line in said.splitlines() if line and line[0] != "#"} == {WORD, LENGTH}


def test_an_answer_goes_in_by_the_same_road_and_the_rest_stays_open(shop: Path, tmp_path: Path) -> None:
    """First the word, then the length of another row; nothing is asked twice, and then nothing is open."""
    one = command(shop, "open", "--answers", str(answers(tmp_path, word="metal")), "--apply")
    assert one.exit_code == 1, one.output
    assert construction(shop) == {"K-1": "metal", "K-2": "metal"}
    left = json.loads(command(shop, "open", "--json").stdout)["open"]
    assert [doubt["id"] for doubt in left] == [LENGTH]
    two = command(shop, "open", "--answers", str(answers(tmp_path, length="178")), "--apply")
    assert two.exit_code == 0, two.output
    assert construction(shop) == {"K-1": "metal", "K-2": "metal", "K-3": "no metal"}
    assert json.loads(command(shop, "open", "--json").stdout)["open"] == []
    assert [path.name for path in tmp_path.iterdir() if path.name.endswith("_open_files")] == []


def test_a_look_from_the_worklist_writes_nothing(shop: Path, tmp_path: Path) -> None:
    before = shop.read_bytes()
    said = command(shop, "open", "--answers", str(answers(tmp_path, word="metal")))
    assert "Nothing was written" in said.stdout
    assert shop.read_bytes() == before


def test_an_answer_that_is_none_is_refused(shop: Path, tmp_path: Path) -> None:
    said = command(shop, "open", "--answers", str(answers(tmp_path, word="metel")), "--apply")
    assert said.exit_code == 1
    assert "did you mean metal?" in " ".join(said.stdout.split())
    assert construction(shop) == {"K-1": None, "K-2": None}


def test_the_options_of_the_first_look_hold_for_the_answers(tmp_path: Path) -> None:
    file = write_csv(tmp_path / "own.csv", [["Nr X", *HEAD[1:]], *ROWS])
    first = ("--column", "Nr X=tag", "--apply", "--shop", "T", "--zone", "UTC")
    command(tmp_path / "shop.db", str(file), *first)
    file.unlink()
    listed(tmp_path / "shop.db")
    command(tmp_path / "shop.db", "open", "--answers", str(answers(tmp_path, word="metal")), "--apply")
    assert construction(tmp_path / "shop.db") == {"K-1": "metal", "K-2": "metal"}


def test_of_two_open_files_one_is_named(shop: Path, tmp_path: Path) -> None:
    other = write_csv(tmp_path / "more.csv", [HEAD, ["K-9", "Larch 96", "telemark", "178", "carbon/x"]])
    command(shop, str(other), "--apply")
    said = command(shop, "open", "--ask")
    assert "2 files are open: more.csv, own.csv" in refusal(said)
    assert "carbon" in command(shop, "open", "more.csv", "--ask").stdout
    assert "wood/ti" in command(shop, "open", "own.csv", "--ask").stdout
    wrong = command(shop, "open", "mor.csv", "--ask")
    assert "did you mean 'more.csv'?" in refusal(wrong)


def test_without_the_copy_it_says_that_the_file_must_be_brought_again(shop: Path, tmp_path: Path) -> None:
    for path in (tmp_path / "shop_open_files").rglob("own.csv"):
        path.unlink()
    assert "bring own.csv again" in command(shop, "open").stdout
    said = command(shop, "open", "--ask")
    assert "the copy of own.csv is not in" in refusal(said)


def test_a_copy_that_was_changed_is_refused(shop: Path, tmp_path: Path) -> None:
    """The answers are about the file that was looked at, and no other."""
    [copy] = (tmp_path / "shop_open_files").rglob("own.csv")
    copy.write_text(copy.read_text(encoding="utf-8").replace("K-1", "K-7"), encoding="utf-8")
    said = command(shop, "open", "--answers", str(answers(tmp_path, word="metal")), "--apply")
    assert "is not the file that was looked at" in refusal(said)


def test_the_waiting_copy_is_named_by_a_backup_and_by_a_redaction_until_it_is_gone(
    shop: Path, tmp_path: Path
) -> None:
    """It holds what the sheet held: a backup does not take it, and no redaction reaches into it."""

    def run(*words: str) -> str:
        done = CliRunner().invoke(app, ["--ledger", str(shop), *words])
        assert done.exit_code == 0, done.output
        return " ".join(done.stdout.split())

    (copy,) = (each for each in (tmp_path / "shop_open_files").rglob("own.csv"))
    by = ("--by", "Mara Oberlin")
    assert "not in it:" in run("backup", str(tmp_path / "copies"))
    run("hold", "K-1", "--why", "asked for by Nora Fjell", *by)
    with Ledger.open(shop) as opened:
        number = str(opened.connection.execute("SELECT max(seq) FROM entries").fetchone()[0])
    redacted = run("redact", number, "--why", "names a person", *by)
    assert str(copy) in redacted.replace(" ", "") or str(copy) in redacted
    command(shop, "open", "--answers", str(answers(tmp_path, word="metal", length="178")), "--apply")
    assert not copy.exists()
    assert "not in it:" not in run("backup", str(tmp_path / "copies"))


MIXED = [
    ["asset", "item", "model", "kind", "size", "BSL"],
    *([f"B-{n}", "Boot", "Gimmel", "", "27.5", "317"] for n in range(4)),
    *([f"K-{n}", "Ski", "Larch 96", "telemark", "178", ""] for n in range(4)),
    ["K-8", "Kicker", "Larch 96", "telemark", "185", ""],
    ["K-9", "kicker", "Larch 96", "telemark", "171", ""],
]
"""*Kicker* is an invented word of the house: no list of ours knows it."""


def mixed_shop(tmp_path: Path, *more: list[str]) -> tuple[Path, Any]:
    file, ledger = write_csv(tmp_path / "all.csv", [*MIXED, *more]), tmp_path / "shop.db"
    done = command(ledger, str(file), "--apply", "--shop", "T", "--zone", "UTC")
    listed(ledger)
    return ledger, done


def of_k(ledger: Path) -> tuple[set[str], set[str]]:
    """The pairs and the boots whose tag begins as those of the skis do."""
    with Ledger.open(ledger) as opened:
        fleet = read_fleet(opened.connection)
    return {tag for tag in fleet.pairs if tag[0] == "K"}, {tag for tag in fleet.boots if tag[0] == "K"}


def test_a_row_of_a_mixed_list_whose_word_nobody_knows_waits_for_the_answer(tmp_path: Path) -> None:
    ledger, done = mixed_shop(tmp_path)
    skis = {f"K-{n}" for n in range(4)}
    assert of_k(ledger) == (skis, set()), done.output
    [doubt] = json.loads(command(ledger, "open", "--json").stdout)["open"]
    assert (doubt["id"], doubt["rows"]) == ("item/kicker", [10, 11])
    asked = command(ledger, "open", "--ask").stdout
    assert "'Kicker' under 'item': is it a ski, a boot or a binding? (in 2 rows" in asked
    assert "answers: ski; boot; binding; leave out" in asked
    wrong = tmp_path / "wrong.txt"
    wrong.write_text("item/kicker hole\n", encoding="utf-8")
    assert "answer one of: ski, boot, binding" in " ".join(
        command(ledger, "open", "--answers", str(wrong)).stdout.split()
    )
    right = tmp_path / "right.txt"
    right.write_text("item/kicker ski\n", encoding="utf-8")
    done = command(ledger, "open", "--answers", str(right), "--apply")
    assert done.exit_code == 0, done.output
    assert of_k(ledger) == (skis | {"K-8", "K-9"}, set())
    assert json.loads(command(ledger, "open", "--json").stdout)["open"] == []
    more = write_csv(
        tmp_path / "next.csv", [*MIXED[:7], ["K-7", "Kicker", "Larch 96", "telemark", "171", ""]]
    )
    assert command(ledger, str(more), "--apply").exit_code == 0, "the answer holds for the next file"
    assert "K-7" in of_k(ledger)[0]


@pytest.mark.parametrize("how", ["answer", "row", "sheet"])
def test_such_a_row_is_left_out_by_its_word_its_row_or_its_sheet(tmp_path: Path, how: str) -> None:
    """A blank is asked of its sheet alone: nothing does not mean the same in every list."""
    ledger, _ = mixed_shop(tmp_path, ["K-6", "", "Larch 96", "telemark", "171", ""])
    doubts = json.loads(command(ledger, "open", "--json").stdout)["open"]
    assert {d["id"]: d["rows"] for d in doubts} == {"item/kicker": [10, 11], "item/-/all": [12]}
    out = tmp_path / "out.txt"
    out.write_text("item/kicker leave out\nitem/-/all leave out\n", encoding="utf-8")
    said = {"answer": ["--answers", str(out)], "row": ["--leave-out", "all:10-12"]}
    words = said.get(how, ["--leave-out", "all"])
    done = command(ledger, str(tmp_path / "all.csv"), *words, "--apply")
    assert "item_unknown" not in done.output
    if how == "sheet":
        assert "Refused: nothing in it can be used" in done.stdout, "no row is left"
    else:
        assert done.exit_code == 0, done.output
        assert json.loads(command(ledger, "open", "--json").stdout)["open"] == []
    assert of_k(ledger) == ({f"K-{n}" for n in range(4)}, set())
