"""Every file of the corpus gives the outcome that stands beside it: rows, verdicts, questions, values."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.imports.books import report
from tests.imports.corpus.make import CASES, FILES, expected_path, make_all

NAMES = sorted(p.name for p in FILES.iterdir() if not p.name.endswith(".expected.json"))


@pytest.mark.parametrize("name", NAMES)
def test_a_corpus_file_gives_the_outcome_beside_it(name: str) -> None:
    expected = json.loads(expected_path(name).read_text(encoding="utf-8"))
    said = report(FILES / name)
    assert said["outcome"] == expected["outcome"], said["findings"]
    asked = {f["code"] for f in said["findings"] if f["severity"] != "note"}
    assert asked == set(expected["asked"]), said["findings"]
    notes = {f["code"] for f in said["findings"] if f["severity"] == "note"}
    assert set(expected["notes"]) <= notes
    assert [[r["kind"], r["tag"], r["verdict"]] for r in said["rows"]] == expected["rows"]
    _compare_values(said, expected)
    _check_form(said)


def _compare_values(said: dict[str, Any], expected: dict[str, Any]) -> None:
    for tag, values in expected["values"].items():
        row = next(r for r in said["rows"] if r["tag"] == tag)
        assert {key: row["values"][key] for key in values} == values, tag


def _check_form(said: dict[str, Any]) -> None:
    """Counts add up to the rows; every finding says what and how to cure it; rows name real cells."""
    counts = [n for table in said["counts"].values() for n in table.values()]
    assert sum(counts) == len(said["rows"])
    for finding in said["findings"]:
        assert finding["message"]
        assert finding["fix"]
    worst = {"good": 0, "note": 1, "question": 2, "bad": 3}
    if said["outcome"] == "import":
        assert all(worst[r["verdict"]] < 2 for r in said["rows"])


def test_the_script_still_makes_every_file_of_the_corpus(tmp_path: Path) -> None:
    assert make_all(tmp_path) == len(CASES) >= 60
    assert sorted(p.name for p in tmp_path.iterdir() if not p.name.endswith(".expected.json")) == NAMES
    for case in CASES:
        beside = json.loads(expected_path(case.name).read_text(encoding="utf-8"))
        assert beside == json.loads(expected_path(case.name, tmp_path).read_text(encoding="utf-8")), case.name
