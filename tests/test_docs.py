"""The docs against what there is: commands, references from outside, benchmarks."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer.main

from planner.cli.main import app
from tests.bench.__main__ import QUICK, scripts

ROOT = Path(__file__).parent.parent
COMMANDS = (ROOT / "planner" / "cli" / "COMMANDS.md").read_text(encoding="utf-8")
WORDS = (ROOT / "fleet" / "WORDS.md").read_text(encoding="utf-8")
SOURCES = (ROOT / "tests" / "SOURCES.md").read_text(encoding="utf-8")
BENCHMARKS = (ROOT / "tests" / "bench" / "BENCHMARKS.md").read_text(encoding="utf-8")
REFERENCES = (
    "frictionless",
    "job_shop_lib",
    "lifelines",
    "networkx",
    "scipy",
    "shapely",
    "stdnum",
    "stockpyl",
    "zxingcpp",
)
"""Libraries that a test asks for an answer of their own; one that only reads our files back is none."""
STANDINGS = {"published", "library", "open data", "common practice, no source", "from memory"}
STANDARD = r"\b(?:ISO(?:/IEC)? \d+(?:-\d+)?:\d{4}|ASTM [A-Z]\d+|MIL-STD-\d+|ANSUR)\b"


def commands(command: Any, words: list[str]) -> Iterator[str]:
    """The full names of all commands below this one."""
    names = getattr(command, "list_commands", lambda context: ())(None)
    if not names:
        yield " ".join(words)
    for name in names:
        yield from commands(command.get_command(None, name), [*words, name])


def test_every_command_is_named_in_the_docs() -> None:
    text = COMMANDS + (ROOT / "README.md").read_text(encoding="utf-8")
    every = list(commands(typer.main.get_command(app), []))
    assert len(every) > 50
    nowhere = [name for name in every if not re.search(rf"(?:`|mountbook ){re.escape(name)}(?![\w-])", text)]
    assert nowhere == []


def test_every_listed_command_exists() -> None:
    listed = re.findall(r"`([^`]+)`", COMMANDS.split("| when |", 1)[1])
    assert sorted(listed) == sorted(set(listed))
    assert set(listed) <= set(commands(typer.main.get_command(app), []))


def outside(text: str) -> bool:
    """Whether a test's text imports a reference library or cites a standard's edition."""
    names = "|".join(REFERENCES)
    asked = re.search(rf"(?:import|from|importorskip\(\")\s*(?:{names})\b", text)
    return bool(asked or re.search(STANDARD, text))


def test_what_counts_as_outside() -> None:
    assert outside("    from scipy.stats import beta")
    assert outside('lib = pytest.importorskip("lifelines")')
    assert outside("# ISO 8364:2017 (excerpt)")
    assert not outside('sole_type="ISO 9523"')


def test_every_test_that_asks_the_outside_is_in_the_sources_table() -> None:
    found = [
        str(path.relative_to(ROOT))
        for path in sorted((ROOT / "tests").rglob("test_*.py"))
        if path != Path(__file__) and outside(path.read_text(encoding="utf-8"))
    ]
    assert len(found) > 10
    assert [name for name in found if f"`{name}`" not in SOURCES] == []


def test_every_source_stands_outside_says_what_it_would_catch_and_which_tests_ask_it() -> None:
    rows = [line.strip("| ").split(" | ") for line in SOURCES.splitlines() if line.startswith("| ")]
    assert len(rows) > 40
    for row in rows[1:]:
        what, reference, standing, catches, tests = row
        assert min(map(len, (what, reference, catches))) > 5, row
        assert re.sub("|".join(STANDINGS), "", standing).strip(", ") == "", row
        named = re.findall(r"`([^`]+)`", tests)
        assert named, row
        assert all((ROOT / name).is_file() for name in named), row


@pytest.mark.parametrize("name", sorted(QUICK))
def test_every_benchmark_with_sizes_states_a_ratio_and_stands_in_the_kept_table(name: str) -> None:
    source = (ROOT / "tests" / "bench" / f"{name}.py").read_text(encoding="utf-8")
    assert "from tests.bench.rows import row" in source
    assert re.search(rf"^\| {name} \|", BENCHMARKS, re.MULTILINE)


def test_the_kept_table_and_the_small_sizes_name_scripts_that_exist() -> None:
    named = set(re.findall(r"^\| (\w+_\w+) \|", BENCHMARKS, re.MULTILINE))
    assert len(named) > 5
    assert named | set(QUICK) <= set(scripts())


def words() -> list[tuple[str, str, str, list[str]]]:
    """Rows of the words' table: word, meaning, place, names that it replaced."""
    rows = []
    for line in WORDS.splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if line.startswith("|") and len(cells) == 4 and "`" in cells[2]:
            rows.append((cells[0], cells[1], cells[2].strip("`"), re.findall(r"`(\w+)`", cells[3])))
    return rows


def names_of(path: Path) -> Iterator[str]:
    """Names of the module, its classes and functions, and the values and fields in them."""
    yield path.stem
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ClassDef | ast.FunctionDef):
            yield node.name
        if isinstance(node, ast.Module | ast.ClassDef):
            for each in node.body:
                targets = each.targets if isinstance(each, ast.Assign) else ()
                targets = (each.target,) if isinstance(each, ast.AnnAssign) else targets
                yield from (target.id for target in targets if isinstance(target, ast.Name))


def docstrings_of(path: Path) -> Iterator[str]:
    """Docstrings of the module, its classes and functions."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef):
            yield ast.get_docstring(node) or ""


def test_each_word_has_one_sentence_and_is_used_at_the_place_that_is_named() -> None:
    for word, meaning, place, _ in words():
        assert meaning, word
        assert ". " not in meaning, word
        names = (re.sub(r"(?<=[a-z])(?=[A-Z])|_", " ", name) for name in names_of(ROOT / place))
        text = " ".join(" ".join([*names, *docstrings_of(ROOT / place)]).split())
        assert re.search(rf"\b{word}", text, re.IGNORECASE), f"{word}: not in {place}"


def test_no_word_stands_twice_and_what_it_replaced_is_gone() -> None:
    rows = words()
    assert len(rows) >= 40
    assert len({word for word, *_ in rows}) == len(rows)
    modules = [path for package in ("fleet", "imports", "planner") for path in (ROOT / package).rglob("*.py")]
    used = {name for path in modules for name in names_of(path)}
    assert {old for *_, replaced in rows for old in replaced if old in used} == set()


WORDS_THAT_WENT = re.compile(
    r"not served: -|\blost_um|others change dear|hear what does not fit|chunk|marks lie\b"
    r"|storm|planless|would bear|\bis hold\b",
    re.IGNORECASE,
)
"""Words that a technician whose English is a second language did not take in, or that meant two things."""


def test_words_that_nobody_took_in_stand_nowhere_in_the_program() -> None:
    """`sample storm` alone still works as an old name of a command, and says the new one."""
    found = [
        f"{path.relative_to(ROOT)}: {line.strip()}"
        for room in ("fleet", "imports", "planner")
        for path in sorted((ROOT / room).rglob("*"))
        if path.suffix in (".py", ".csv", ".html", ".js", ".md", ".css")
        for line in path.read_text(encoding="utf-8").splitlines()
        if WORDS_THAT_WENT.search(line) and "_CALLED_NOW" not in line
    ]
    assert found == []
