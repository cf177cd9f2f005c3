"""What stands on a terminal: whole numbers, no markup, no ellipsis; and that a pipe gets the plain text."""

from __future__ import annotations

import io
import json
import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pytest

from imports.headers import Table
from planner.cli import terminal
from planner.cli.terminal import TerminalColumn
from tests.imports.books import table_rows, write_book
from tests.odd_data.front_door import BARE, PEOPLE

INVENTORY = Path(__file__).parents[2] / "sample_fleet" / "fleet.xlsx"
COLUMNS = (
    TerminalColumn("pair"),
    TerminalColumn("minutes", right=True),
    TerminalColumn("why", words=True),
    TerminalColumn("rack", spare=True),
    TerminalColumn("back", spare=True),
)
ROWS = (
    ("K-031", 1_234_567, "heel of ski B moved an eighth of a turn", "C-01", "26 Nov 16:40"),
    ("K-1200", 5, "not seen", "", ""),
)


class Screen(io.TextIOWrapper):
    def isatty(self) -> bool:
        return True


def drawn(monkeypatch: pytest.MonkeyPatch, width: int, rows: object = ROWS, encoding: str = "utf-8") -> str:
    raw = io.BytesIO()
    out = Screen(raw, encoding=encoding, errors="backslashreplace", newline="\n")
    monkeypatch.setenv("COLUMNS", str(width))
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(sys, "stdout", out)
    terminal.table(COLUMNS, rows)  # type: ignore[arg-type]
    out.flush()
    return re.sub("\x1b\\[[0-9;]*m", "", raw.getvalue().decode(encoding))


def test_a_number_or_a_tag_is_whole_at_any_width_and_nothing_ends_in_an_ellipsis(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for width in range(24, 140):
        text = drawn(monkeypatch, width)
        for whole in ("1234567", "K-1200", "heel", "ski", "moved", "eighth", "turn"):
            assert whole in text
        assert "…" not in text
        assert "..." not in text
        assert max(map(len, text.splitlines())) <= width


def test_a_narrow_terminal_leaves_out_columns_the_last_first_and_says_which(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    wide, middle, narrow = (drawn(monkeypatch, width) for width in (100, 50, 40))
    assert "too narrow" not in wide
    assert ("26 Nov 16:40" in middle, "C-01" in middle) == (False, True)
    assert middle.endswith("too narrow for: back\n")
    assert "C-01" not in narrow
    assert narrow.endswith("too narrow for: rack, back\n")


def test_what_stands_in_data_is_neither_markup_nor_a_picture_nor_another_row(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    text = drawn(monkeypatch, 120, [("[red]K-1[/red]", 1, ":warning: a\nK-2\x1b[31m [/]", "", "")])
    assert "[red]K-1[/red]" in text
    assert ":warning: a ⏎ K-2\N{REPLACEMENT CHARACTER}[31m [/]" in text


def test_a_terminal_that_speaks_no_unicode_gets_plain_ascii(monkeypatch: pytest.MonkeyPatch) -> None:
    text = drawn(monkeypatch, 100, encoding="ascii")
    assert text.isascii()
    assert "\\u" not in text
    assert "1234567" in text


def on_terminal(folder: Path, *typed: str, **environment: str) -> str:
    """What the command writes where stdout and stderr are a terminal of 100 columns, in UTF-8."""
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "planner.cli.main", "--ledger", str(folder / "a.db"), *typed]
    with subprocess.Popen(
        command,
        stdout=theirs,
        stderr=theirs,
        env=os.environ | {"COLUMNS": "100", "TERM": "xterm", "PYTHONUTF8": "1"} | environment,
    ) as running:
        os.close(theirs)
        said = b""
        while True:
            try:
                part = os.read(ours, 4096)
            except OSError:  # the other end is closed: Linux says so with an error
                break
            if not part:
                break
            said += part
    os.close(ours)
    assert running.returncode == 0
    return said.decode()


def in_pipe(folder: Path, *typed: str) -> str:
    command = [sys.executable, "-m", "planner.cli.main", "--ledger", str(folder / "a.db"), *typed]
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("terminal")
    skis = [BARE | {"tag": "K-1"}, BARE | {"tag": "K-2", "waist_mm": "9.6 cm"}]
    book = {"Skis": table_rows(Table.SKI, *skis), "Staff": table_rows(Table.STAFF, *PEOPLE)}
    in_pipe(
        folder, "import", str(write_book(folder / "own.xlsx", book)), "--apply", "--zone", "Europe/Vienna"
    )
    return folder


def test_the_import_report_in_a_pipe_is_a_page_of_lines(shop: Path) -> None:
    lines = in_pipe(shop, "import", str(shop / "own.xlsx")).splitlines()
    assert re.fullmatch(r"own\.xlsx   sha256 [0-9a-f]{12}", lines[0])
    assert any(re.fullmatch(r"Skis +2 +1 +1 +0 +0", line) for line in lines)
    assert not any("⏎" in line for line in lines)


def test_a_terminal_gets_tables_a_pipe_lines_and_json_is_the_same_on_both(shop: Path) -> None:
    seen = on_terminal(shop, "policy", "list")
    assert "\x1b[1m" in seen, "the headings are bold"
    assert "─" in seen
    plain = in_pipe(shop, "policy", "list")
    assert re.search(r"^spacing_mm +10  mm ", plain, re.MULTILINE)
    assert "─" not in plain
    shown = on_terminal(shop, "policy", "list", "--json").replace("\r\n", "\n")
    assert shown == in_pipe(shop, "policy", "list", "--json")
    assert json.loads(shown)["policy"]


def test_a_bar_moves_on_a_terminal_while_a_file_is_read_and_is_gone_after(tmp_path: Path) -> None:
    seen = on_terminal(tmp_path, "import", str(INVENTORY))
    assert "looking at 1 file" in seen
    assert "\x1b[?25h" in seen, "the cursor is shown again"
    assert re.search(r"Skis +241 +232 +9 +0 +0", seen)


def test_the_terminal_is_not_thought_of_where_nobody_sits() -> None:
    script = (
        "import sys; from planner.cli import terminal\n"
        "with terminal.progress('x') as say: assert say is None\n"
        "assert 'rich' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", script], check=True, capture_output=True)
