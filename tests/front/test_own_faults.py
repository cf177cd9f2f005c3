"""A fault that nobody foresaw: one sentence, exit code 1, and the traceback in a file, not on the screen."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from planner.cli import main, session


def broken(*_: object, **__: object) -> None:
    raise ZeroDivisionError("the jig had no teeth")


@pytest.mark.parametrize("as_json", [False, True])
def test_a_fault_of_the_program_is_a_sentence_and_a_file(
    as_json: bool, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.setattr(session, "open_ledger", broken)
    monkeypatch.setattr("sys.argv", ["mountbook", "order", "list", *(["--json"] if as_json else [])])
    with pytest.raises(SystemExit) as end:
        main.main()
    assert end.value.code == 1
    out, err = capsys.readouterr()
    told = json.loads(out)["cure"] if as_json else err
    said = json.loads(out)["refused"] if as_json else err
    assert "a fault of the program itself (ZeroDivisionError: the jig had no teeth)" in said
    assert "Traceback" not in out + err
    file = Path(re.search(r"\S*mountbook_fault_\w+\.txt", told).group())  # type: ignore[union-attr]
    assert "in broken" in file.read_text(encoding="utf-8")
    file.unlink()
