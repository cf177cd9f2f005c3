"""Every file of the corpus gives the outcome written beside it: rows, verdicts, questions, values."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from tests.imports.books import report
from tests.imports.corpus.cases import ALL, CASES


@pytest.mark.parametrize("name", CASES)
def test_a_corpus_file_gives_the_outcome_beside_it(name: str, corpus_file: Callable[[str], Path]) -> None:
    case = CASES[name]
    said = report(corpus_file(name))
    assert said["outcome"] == case.outcome, said["findings"]
    asked = {f["code"] for f in said["findings"] if f["severity"] != "note"}
    assert asked == set(case.asked), said["findings"]
    notes = {f["code"] for f in said["findings"] if f["severity"] == "note"}
    assert set(case.notes) <= notes
    assert [(r["kind"], r["tag"], r["verdict"]) for r in said["rows"]] == list(case.rows)
    _compare_values(said, case.values)
    _check_form(said)


def _compare_values(said: dict[str, Any], expected: Mapping[str, Mapping[str, Any]]) -> None:
    for tag, values in expected.items():
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


def test_no_two_files_of_the_corpus_are_called_the_same_say_the_same_or_are_the_same(
    corpus_file: Callable[[str], Path],
) -> None:
    """Two files alike would hold one habit twice and leave another one out."""
    assert len(ALL) >= 167
    assert len({case.name for case in ALL}) == len(ALL)
    assert len({case.why for case in ALL}) == len(ALL)
    assert len({(Path(name).suffix, corpus_file(name).read_bytes()) for name in CASES}) == len(ALL)
