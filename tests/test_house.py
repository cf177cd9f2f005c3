"""The house itself: which way dependencies run, what opens at once, what stands where, what is never said."""

from __future__ import annotations

import ast
import csv
import graphlib
import hashlib
import json
import os
import re
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from planner.cli.rooms import PARTS_OF_THE_DAY, ROOM_OF, room
from planner.cli.session import key_path

ROOT = Path(__file__).parent.parent
PACKAGES = ("fleet", "imports", "planner")
MAY_IMPORT = {
    "fleet": {"fleet"},
    "imports": {"fleet", "imports"},
    "planner": {"fleet", "imports", "planner"},
}
HEAVY = (
    "ortools",
    "highspy",
    "openpyxl",
    "xlsxwriter",
    "reportlab",
    "sqlite_utils",
    "numpy",
    "segno",
    "rich",
    "rapidfuzz",
    "jinja2",
    "babel",
    "starlette",
    "uvicorn",
    "argon2",
)
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    "LICENSE",
    "pyproject.toml",
    "fleet",
    "imports",
    "planner",
    "sample_fleet",
    "tests",
}
LOCK_FILES = {"uv.lock", "pylock.toml", "requirements.lock"}


def kept_files() -> list[Path]:
    """What git keeps, or everything that is not a by-product where there is no git."""
    try:
        listed = subprocess.run(
            ["git", "-C", str(ROOT), "ls-files", "-z"], capture_output=True, check=True, text=True
        )
    except (OSError, subprocess.CalledProcessError):
        skip = {"__pycache__", ".git", ".venv"}
        return [p for p in ROOT.rglob("*") if p.is_file() and not skip & set(p.relative_to(ROOT).parts)]
    return [path for name in listed.stdout.split("\0") if name and (path := ROOT / name).is_file()]


def sources(package: str) -> list[Path]:
    return sorted((ROOT / package).rglob("*.py"))


@cache
def tree_of(path: Path) -> ast.Module:
    """Parsed once, for all tests that read the sources."""
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def nodes_of(path: Path) -> tuple[ast.AST, ...]:
    """All nodes of its tree, walked once."""
    return tuple(ast.walk(tree_of(path)))


def imported_tops(path: Path) -> Iterator[str]:
    for node in nodes_of(path):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            yield node.module.split(".")[0]


@pytest.mark.parametrize("package", PACKAGES)
def test_dependencies_run_from_fleet_to_imports_to_planner_and_never_back(package: str) -> None:
    ours = {*PACKAGES, "sample_fleet", "tests"}
    back = [
        f"{path.relative_to(ROOT)} imports {top}"
        for path in sources(package)
        for top in imported_tops(path)
        if top in ours and top not in MAY_IMPORT[package]
    ]
    assert not back


ROOMS = {
    "fleet": ("base", "facts", "tables", "checks", "events", "ledger", "rules", "audit"),
    "planner": ("plan", "exchange", "geometry", "planning", "bench", "paper", "pages", "cli", "demo"),
}
"""The rooms of a package, from the ground up: each may use those before it and itself, none after it."""


def imported_modules(path: Path) -> Iterator[str]:
    for node in nodes_of(path):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


UPWARD = {"planner/cli/demo.py": "demo"}
"""The command that runs the demo; the demo is told through the commands' own functions."""


@pytest.mark.parametrize("package", ROOMS)
def test_rooms_are_used_from_the_ground_up_and_no_file_stands_between_them(package: str) -> None:
    rooms = ROOMS[package]
    folders = {path.relative_to(ROOT / package).parts[0] for path in sources(package)}
    assert folders == {*rooms, "__init__.py"}
    upward = [
        f"{path.relative_to(ROOT)} imports {name}"
        for room_at, room_of in enumerate(rooms)
        for path in sources(f"{package}/{room_of}")
        for name in imported_modules(path)
        if name.startswith(tuple(f"{package}.{above}." for above in rooms[room_at + 1 :]))
        and not name.startswith(f"planner.{UPWARD.get(str(path.relative_to(ROOT)), '-')}.")
    ]
    assert not upward


def test_no_module_uses_a_relative_import_so_that_arrows_can_be_read() -> None:
    relative = [
        str(path.relative_to(ROOT))
        for package in PACKAGES
        for path in sources(package)
        for node in nodes_of(path)
        if isinstance(node, ast.ImportFrom) and node.level
    ]
    assert not relative


def test_the_judge_has_never_heard_of_the_solver_or_of_placement() -> None:
    for path in sources("planner/planning/judge"):
        for node in nodes_of(path):
            names = (
                [alias.name for alias in node.names]
                if isinstance(node, ast.Import)
                else [node.module or ""]
                if isinstance(node, ast.ImportFrom)
                else []
            )
            for name in names:
                assert not name.startswith(
                    ("ortools", "highspy", "planner.planning.assign", "planner.geometry.placement")
                ), path


def test_the_top_level_holds_exactly_what_it_should() -> None:
    tops = {path.relative_to(ROOT).parts[0] for path in kept_files()}
    assert {top for top in tops if not top.startswith(".")} - LOCK_FILES == TOP_LEVEL


_WALK_ALL_HELP = """
import contextlib, io, json, os, sys
os.environ["COLUMNS"] = "200"
import typer
from planner.cli.main import app
heavy = {heavy!r}
found, texts = {{}}, {{}}
tree = typer.main.get_command(app)  # built once: it is what takes long
def walk(command, words):
    page = io.StringIO()
    with contextlib.redirect_stdout(page):
        assert not tree.main([*words, "--help"], prog_name="mountbook", standalone_mode=False), words
    texts[" ".join(words)] = [command.help or "", page.getvalue()]
    found[" ".join(words)] = [name for name in heavy if name in sys.modules]
    for name in getattr(command, "list_commands", lambda ctx: ())(None):
        walk(command.get_command(None, name), [*words, name])
walk(tree, [])
print(json.dumps([found, texts]))
"""


@pytest.fixture(scope="module")
def help_pages() -> tuple[dict[str, list[str]], dict[str, list[str]]]:
    """Every command's help in one fresh process: what was imported by then, and the texts."""
    done = subprocess.run(
        [sys.executable, "-c", _WALK_ALL_HELP.format(heavy=HEAVY)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    found, texts = json.loads(done.stdout)
    return found, texts


def test_every_help_page_opens_without_a_heavy_import(
    help_pages: tuple[dict[str, list[str]], dict[str, list[str]]],
) -> None:
    found, _ = help_pages
    assert len(found) > 10
    assert {words: names for words, names in found.items() if names} == {}


def test_every_command_has_help_with_an_example(
    help_pages: tuple[dict[str, list[str]], dict[str, list[str]]],
) -> None:
    _, texts = help_pages
    groups = {words.rsplit(" ", 1)[0] for words in texts if " " in words} | {""}
    without = [
        words
        for words, (help_text, _) in texts.items()
        if words not in groups and f"\n\nExample: mountbook {words}" not in help_text
    ]
    assert not without


def test_no_help_page_shows_a_type_of_the_programming_language(
    help_pages: tuple[dict[str, list[str]], dict[str, list[str]]],
) -> None:
    _, texts = help_pages
    found = {words: re.findall(r"^ +\S+ <[^>]+>", page, re.M) for words, (_, page) in texts.items()}
    assert {words: lines for words, lines in found.items() if lines} == {}


@cache
def command_functions() -> frozenset[str]:
    """Full names of the functions that rooms.py finds by the words of a command."""
    apps = [room(name) for name in sorted(set(ROOM_OF.values()))]
    groups = [group.typer_instance for app in apps for group in app.registered_groups]
    return frozenset(
        f"{one.callback.__module__}.{one.callback.__name__}"
        for app in (*apps, *groups)
        if app is not None
        for one in app.registered_commands
        if one.callback is not None
    )


def test_the_front_page_lists_every_command_of_every_room_once() -> None:
    listed = [name for names in PARTS_OF_THE_DAY.values() for name in names]
    assert sorted(listed) == sorted(ROOM_OF)
    told_with_an_example = {
        f"planner.cli.{path.stem}.{node.name}"
        for path in sources("planner/cli")
        for node in tree_of(path).body
        if isinstance(node, ast.FunctionDef) and "Example: mountbook " in (ast.get_docstring(node) or "")
    }
    assert command_functions() == told_with_an_example


def test_a_command_is_built_without_the_other_rooms() -> None:
    script = (
        "import sys, typer; from planner.cli.main import app;"
        "typer.main.get_command(app).get_command(None, 'recheck');"
        "print([name for name in sys.modules if name.startswith('planner.cli.')])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert "planner.cli.recheck" in done.stdout
    assert "planner.cli.orders" not in done.stdout


def test_importing_the_front_door_is_light() -> None:
    shut = (*HEAVY, "fleet.tables.layout")  # the tables of a ledger, which no help reads
    script = f"import sys, planner.cli.main; print([n for n in {shut!r} if n in sys.modules])"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert done.stdout.strip() == "[]"


UNWELCOME = frozenset((ROOT / "tests" / "house" / "unwelcome_words.txt").read_text().split()[1:])
"""SHA-256 (16 hex digits) of lower-case words. Hashes, so that the names themselves stand nowhere."""


def _hash(word: str) -> str:
    return hashlib.sha256(word.lower().encode()).hexdigest()[:16]


def test_the_unwelcome_words_would_be_found() -> None:
    assert _hash("gloobish") in UNWELCOME, "an invented word on the list proves that the list is read"
    assert _hash("mountbook") not in UNWELCOME


def test_no_kept_file_names_a_real_maker() -> None:
    found = []
    for path in kept_files():
        if path.suffix in {".xlsx", ".ttf", ".png", ".pdf", ".db"} or path == Path(__file__):
            continue
        words = set(re.findall(r"[^\W\d_]{3,}", path.read_text(encoding="utf-8", errors="replace")))
        words |= set(re.findall(r"[^\W\d_]{3,}", str(path.relative_to(ROOT))))
        found += [f"{path.relative_to(ROOT)}: {word}" for word in words if _hash(word) in UNWELCOME]
    assert not found


def test_the_importers_tests_keep_no_file_that_they_can_make() -> None:
    room = ROOT / "tests" / "imports"
    assert {path.suffix for path in kept_files() if path.is_relative_to(room)} == {".py"}


def test_no_kept_file_points_outside_the_project() -> None:
    outside = ".." + "/shared"
    for path in kept_files():
        if path.suffix in {".py", ".md", ".toml", ".csv", ".txt"}:
            assert outside not in path.read_text(encoding="utf-8", errors="replace"), path


def _spoken(package: str) -> Iterator[tuple[Path, str]]:
    """String constants that are not docstrings: what a person may get to read."""
    for path in sources(package):
        docs = {
            id(node.body[0].value)
            for node in nodes_of(path)
            if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
            and node.body
            and isinstance(node.body[0], ast.Expr)
        }
        for node in nodes_of(path):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
                yield path, node.value


@pytest.mark.parametrize("package", PACKAGES)
def test_the_program_never_says_that_a_ski_is_safe_or_how_strong_it_is(package: str) -> None:
    bad = re.compile(r"\b(safe|safely|pull-?out|DIN setting|release value)\b", re.IGNORECASE)
    assert [f"{p.relative_to(ROOT)}: {text!r}" for p, text in _spoken(package) if bad.search(text)] == []


BLOCK = re.compile(r"^```sh\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def readme_lines() -> list[str]:
    """Every command line of the README's sh blocks, comments dropped."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    lines = [line.split("  #")[0].strip() for block in BLOCK.findall(text) for line in block.splitlines()]
    return [line for line in lines if line and not line.startswith("#")]


def test_the_readme_begins_with_the_job_and_then_the_two_commands() -> None:
    lines = readme_lines()
    assert lines[0].startswith("python3 -m venv .venv && ")
    assert lines[0].endswith(" demo")
    assert lines[1].startswith("python3 -m venv .venv && ")
    assert "pytest" in lines[1]


def test_ci_runs_exactly_the_readmes_test_command_first() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    steps = [
        line for line in script.splitlines() if line.strip() and not line.startswith(("#", "set ", "cd "))
    ]
    assert steps[0].startswith("command -v chromium || "), "the browser that walks the pages comes before"
    assert steps[1] == readme_lines()[1]
    assert os.access(ROOT / ".ci" / "run", os.X_OK)


def test_every_mountbook_command_in_the_docs_exists_with_its_options(
    help_pages: tuple[dict[str, list[str]], dict[str, list[str]]],
) -> None:
    _, texts = help_pages
    developers = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    shown = readme_lines() + [line for block in BLOCK.findall(developers) for line in block.splitlines()]
    checked = 0
    for line in shown:
        for call in re.findall(r"(?:^|[ /])mountbook ([^&|;#]+)", line):
            words = call.split()
            path = ""
            while words and f"{path} {words[0]}".strip() in texts:
                path = f"{path} {words.pop(0)}".strip()
            assert path, f"no such command: mountbook {call}"
            for option in (w for w in words if w.startswith("--")):
                assert option in texts[path][1], f"mountbook {path} has no {option}"
            checked += 1
    assert checked >= 10


LINK = re.compile(r"(?<!!)\[[^\]]+\]\((?!https?:)([^)#]+)")


@pytest.mark.parametrize(
    "page", sorted(path.relative_to(ROOT).as_posix() for path in kept_files() if path.suffix == ".md")
)
def test_links_and_named_files_in_the_docs_exist(page: str) -> None:
    text = (ROOT / page).read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:fleet|imports|planner|tests|sample_fleet)/[\w./-]*)`", text))
    assert [name for name in sorted(named) if not (ROOT / name).exists()] == []
    assert [link for link in LINK.findall(text) if not (ROOT / page).parent.joinpath(link).exists()] == []


def test_the_developers_map_names_every_room() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    kept = [path.relative_to(ROOT).parts for path in kept_files() if path.suffix == ".py"]
    rooms = {f"{parts[0]}/{parts[1]}/" for parts in kept if parts[0] in PACKAGES and len(parts) > 2}
    assert len(rooms) > 10
    assert sorted(room for room in rooms if f"`{room}`" not in text) == []


NAMED_TWICE: frozenset[str] = frozenset()
"""Class names that still stand for two things. Nothing may be added."""


def test_a_class_has_a_name_that_no_other_class_has() -> None:
    """One word, one thing: a reader who looks a name up finds what it means here."""
    places: dict[str, list[str]] = {}
    for package in PACKAGES:
        for path in sources(package):
            for node in nodes_of(path):
                if isinstance(node, ast.ClassDef):
                    places.setdefault(node.name, []).append(str(path.relative_to(ROOT)))
    assert len(places) > 300
    twice = {name: at for name, at in places.items() if len(at) > 1}
    assert twice.keys() == NAMED_TWICE, twice


RIDDLE = re.compile(r"(What|Which|How|Where|Whether|Who|Whose|Why|When)\b")


def docstrings(path: Path) -> Iterator[tuple[int, str]]:
    """Line and text of all docstrings: of module, classes and functions, and those under a field or value."""
    for node in nodes_of(path):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef):
            for before, each in zip([None, *node.body], node.body, strict=False):
                if (
                    isinstance(each, ast.Expr)
                    and isinstance(each.value, ast.Constant)
                    and isinstance(each.value.value, str)
                    and (before is None or isinstance(before, ast.Assign | ast.AnnAssign))
                ):
                    yield each.lineno, each.value.value


def test_no_docstring_opens_as_a_riddle() -> None:
    """It says what a thing is or what a function returns; a question must be guessed, and read twice."""
    read = [
        (f"{path.relative_to(ROOT)}:{line}", text)
        for package in PACKAGES
        for path in sources(package)
        for line, text in docstrings(path)
    ]
    assert len(read) > 1500
    everywhere = [
        (
            f"{path.relative_to(ROOT)}:{getattr(node, 'name', 1)}",
            text,
        )
        for package in PACKAGES
        for path in sources(package)
        for node in nodes_of(path)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and (text := ast.get_docstring(node))
    ]
    assert len(everywhere) > 2500
    assert [f"{place}: {text[:60]}" for place, text in (*read, *everywhere) if RIDDLE.match(text)] == []


def test_no_modules_import_each_other_in_a_circle_not_even_for_a_type() -> None:
    files = {
        ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
        for package in PACKAGES
        for path in sources(package)
    }
    graph = {
        module: {name if name in files else name.rpartition(".")[0] for name in imported_modules(path)}
        for module, path in files.items()
    }
    assert len(graph) > 300
    graphlib.TopologicalSorter(graph).prepare()  # raises CycleError, with the circle in it


def test_what_a_writer_enters_is_an_entry_of_a_class_never_words_and_a_body() -> None:
    """mypy then holds writers and readers together; only tests enter bodies, as older ledgers have them."""
    doors = {"fleet/ledger/desk.py", "fleet/ledger/transaction.py"}
    found = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for package in (*PACKAGES, "sample_fleet")
        for path in sources(package)
        if str(path.relative_to(ROOT)) not in doors
        for node in nodes_of(path)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr == "enter"
        and len(node.args) != 1
    ]
    assert not found


TIMES_1000 = {
    "fleet/base/units.py": "the one place",
    "fleet/facts/column_text.py": "the column's own unit, cm or mm, of what a person types",
    "planner/exchange/export/tables.py": "the column's own unit, cm or mm, of a file",
    "imports/quantities.py": "a cell in any unit, once, into steps of the column's own",
    "imports/hole_witness.py": "the ledger's mark, and a sole, in millimetres beside the numbers of a cell",
    "imports/propose_holes.py": "mark and waist in millimetres beside the numbers of a cell",
    "imports/propose_pairs.py": "words of a question",
    "planner/paper/pattern_picture.py": "micrometres of a ski to a place on paper",
    "planner/paper/ski_picture.py": "micrometres of a ski to a place on paper",
    "planner/paper/ski_view/picture.py": "micrometres of a ski to a place in the picture",
    "planner/paper/template.py": "micrometres of a ski to a place on paper, and back for its ends",
    "planner/paper/shapes.py": "no length of a ski: thousandths of the size of a type",
    "planner/bench/weeks/values.py": "no length: tenths of a percent",
}
"""Where something is taken times 1000 or by it, and why there. A value between does not change its unit."""


def _is_1000(node: ast.expr) -> bool:
    if isinstance(node, ast.Name):
        return node.id == "UM_PER_MM"
    return isinstance(node, ast.Constant) and node.value in (1000, 0.001)


def test_a_length_changes_its_unit_in_one_module_and_at_named_doors_only() -> None:
    """A number followed from a cell to a sheet of paper is not turned to and fro."""
    found = {
        str(path.relative_to(ROOT))
        for package in PACKAGES
        for path in sources(package)
        for node in nodes_of(path)
        if isinstance(node, ast.BinOp)
        and isinstance(node.op, ast.Mult | ast.Div | ast.FloorDiv | ast.Mod)
        and (_is_1000(node.left) or _is_1000(node.right))
    }
    assert found == TIMES_1000.keys()


OUT_IN_MM = {
    "planner/geometry/pattern_care/words.py",
    "planner/plan/plan_file.py",
    "planner/planning/explain/report.py",
    *(f"planner/geometry/why/{name}.py" for name in ("answer", "geometry", "what_if")),
    *(f"planner/cli/{name}.py" for name in ("explain", "recheck", "season", "survey", "things")),
    "planner/paper/ski_view/ski_words.py",
    "planner/paper/workbook_tables.py",
}
"""The doors at which micrometres leave as numbers of millimetres: plan.json, --json, a workbook."""


def test_micrometres_leave_as_numbers_of_millimetres_at_the_named_doors_only() -> None:
    found = {
        str(path.relative_to(ROOT))
        for package in PACKAGES
        for path in sources(package)
        if {"fleet.base.units.um_to_mm", "fleet.base.units.in_mm"} & set(imported_modules(path))
    }
    assert found == OUT_IN_MM


def test_a_day_gets_its_words_in_one_place_and_no_list_of_months_is_made_by_hand() -> None:
    """Names of months and weekdays come from Babel, so that screen and paper write one day in one way."""
    names = re.compile(r"%[aAbB]|\b(jan|feb|mon|tue)(uary|ruary|day|sday)?\b", re.IGNORECASE)
    read = [path for package in PACKAGES for path in sources(package)]
    described = {line for path in read for line in docstrings(path)}
    found = [
        f"{path.relative_to(ROOT)}:{node.lineno}: {node.value}"
        for path in read
        for node in nodes_of(path)
        if isinstance(node, ast.Constant)
        and isinstance(node.value, str)
        and (node.lineno, node.value) not in described
        and names.search(node.value)
    ]
    assert not found
    with_babel = [str(path.relative_to(ROOT)) for path in read if "babel" in imported_tops(path)]
    assert with_babel == ["fleet/base/days.py", "imports/days.py"]


def test_a_workbook_is_opened_and_begun_in_one_place_each() -> None:
    """The limits of the gate stand before every file that is read; no text runs in one that is written."""
    unpack, begin = [], []
    for package in (*PACKAGES, "sample_fleet"):
        for path in sources(package):
            for node in nodes_of(path):
                words = f"{ast.unparse(node.func)}(" if isinstance(node, ast.Call) else ""
                if words.startswith(
                    ("zipfile.ZipFile(", "ZipFile(", "openpyxl.load_workbook", "load_workbook(")
                ):
                    unpack.append(str(path.relative_to(ROOT)))
                if re.match(r"(xlsxwriter\.|openpyxl\.)?Workbook\(", words):
                    begin.append(str(path.relative_to(ROOT)))
    assert sorted(set(unpack)) == ["imports/gate.py", "imports/workbook.py"]
    assert begin == ["imports/new_workbook.py"]


CALLED_FROM_OUTSIDE = {
    "planner.cli.rooms.WorkingDay.list_commands": "typer asks for it",
    "planner.cli.rooms.WorkingDay.get_command": "typer asks for it",
    "planner.cli.rooms.WorkingDay.format_commands": "typer asks for it",
    "planner.cli.rooms.CommandGroup.format_commands": "typer asks for it",
}
"""What no line of the product names, and who calls it."""
FOUND_BY_WHAT = "fleet/events/"
"""The room whose classes are found without an import: a kind of entry, by its WHAT in an old ledger."""


def public_things(path: Path) -> Iterator[tuple[str, ast.FunctionDef | ast.ClassDef]]:
    """Public functions and classes of a module, and the methods of its classes, by their names in it."""
    by_what = str(path.relative_to(ROOT)).startswith(FOUND_BY_WHAT)
    for node in tree_of(path).body:
        if not isinstance(node, ast.FunctionDef | ast.ClassDef) or node.name.startswith("_"):
            continue
        if not (by_what and isinstance(node, ast.ClassDef)):
            yield node.name, node
        for each in node.body if isinstance(node, ast.ClassDef) else ():
            if isinstance(each, ast.FunctionDef) and not each.name.startswith("_"):
                yield f"{node.name}.{each.name}", each


def words_read(tree: ast.AST) -> Counter[str]:
    """Names and attributes that the code reads, and words in quotes, as `getattr` is given them."""
    return Counter(
        node.id
        if isinstance(node, ast.Name)
        else node.attr
        if isinstance(node, ast.Attribute)
        else node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute)
        or (isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load))
        or (isinstance(node, ast.Constant) and isinstance(node.value, str))
    )


def test_every_public_function_class_and_method_is_used_by_the_product_itself() -> None:
    """What only tests call is deleted, or moved to the tests: it is read and kept for nobody."""
    product = [path for package in (*PACKAGES, "sample_fleet") for path in sources(package)]
    imported = {name for path in product for name in imported_modules(path)}
    called = imported | CALLED_FROM_OUTSIDE.keys() | command_functions()
    read = {path: words_read(tree_of(path)) for path in product}
    anywhere = Counter[str]()
    for words in read.values():
        anywhere.update(words)
    unused = []
    for path in product:
        module = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        for name, node in public_things(path):
            if f"{module}.{name}" in called:
                continue
            by_attribute = "." in name or module in imported
            seen = anywhere if by_attribute else read[path]
            if seen[node.name] <= words_read(node)[node.name]:
                unused.append(f"{module}.{name}")
    assert unused == []


OF_THE_TRADE = re.compile(r"_(UM|MM|CM|DAYS|HOURS|MINUTES|SECONDS|SEASONS|YEARS|PERCENT|CENTS)$")


def named_numbers(path: Path) -> Iterator[str]:
    """Constants of a module that are lengths, times, shares or money."""
    for node in tree_of(path).body:
        if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None:
            continue
        target = node.targets[0] if isinstance(node, ast.Assign) else node.target
        name = target.id if isinstance(target, ast.Name) else ""
        if name.isupper() and (OF_THE_TRADE.search(name) or "timedelta(" in ast.unparse(node.value)):
            yield name


def test_every_number_of_the_trade_is_a_policy_or_says_what_it_is_an_allowance_for() -> None:
    """What a shop may choose is a row of fleet/facts/policy_defaults.csv; what is left is listed with why."""
    with (ROOT / "tests" / "allowances.csv").open(encoding="utf-8", newline="") as file:
        listed = {(row["file"], row["constant"]): row["allowance"] for row in csv.DictReader(file)}
    assert all(len(why) > 9 for why in listed.values())
    found = {
        (str(path.relative_to(ROOT)), name)
        for package in ("fleet", "imports", "planner")
        for path in (ROOT / package).rglob("*.py")
        for name in named_numbers(path)
    }
    assert sorted(found - set(listed)) == []
    assert sorted(set(listed) - found) == []


def test_the_tests_leave_nothing_in_the_settings_of_whoever_runs_them(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    assert key_path().is_relative_to(tmp_path_factory.getbasetemp())


def test_what_is_skipped_is_told_with_its_reason_at_the_end_of_a_run(pytestconfig: pytest.Config) -> None:
    assert "s" in pytestconfig.option.reportchars
