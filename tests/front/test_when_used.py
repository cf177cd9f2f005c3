"""Modules named at the top of a command's file: run at their first use, and all before threads begin."""

import ast
import importlib.util
import sys
from pathlib import Path

import pytest

from planner import cli
from planner.cli.when_used import load_all_named, when_used

COMMANDS = Path(str(cli.__file__)).parent


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of the modules of a small package that were run, in order; the package imports one itself."""
    monkeypatch.syspath_prepend(str(tmp_path))
    for name in [name for name in sys.modules if name.partition(".")[0] == "small_package"]:
        monkeypatch.delitem(sys.modules, name)
    package = tmp_path / "small_package"
    package.mkdir()
    (package / "__init__.py").write_text("run = []\nfrom small_package import own\n")
    for name in ("own", "used", "never"):
        (package / f"{name}.py").write_text(
            f"from small_package import run\nrun.append({name!r})\nword = {name!r}\n"
        )
    return importlib.import_module("small_package").run  # type: ignore[no-any-return]


def test_a_module_runs_when_it_is_asked_for_something_and_not_before(run: list[str]) -> None:
    with when_used():
        from small_package import never, used  # type: ignore[import-not-found]  # noqa: F401
    assert run == ["own"]
    assert used.word == "used"
    assert run == ["own", "used"]
    from small_package.never import word

    assert (word, run) == ("never", ["own", "used", "never"])


def test_all_that_was_named_is_loaded_before_threads_begin(run: list[str]) -> None:
    with when_used():
        from small_package import never, used  # type: ignore[import-not-found]  # noqa: F401
    load_all_named()
    assert run == ["own", "never", "used"]


def test_a_module_that_cannot_be_loaded_says_so_to_each_that_asks(run: list[str]) -> None:
    """Python asks a module for its own names, takes no fault for an answer, and then misses a name in it."""
    file = Path(str(sys.modules["small_package"].__file__)).parent / "broken.py"
    file.write_text("raise TypeError('no length is named so')\nword = 1\n")
    with when_used():
        from small_package import broken  # type: ignore[import-not-found]
    for _ in range(2):
        with pytest.raises(TypeError, match="no length is named so"):
            from small_package.broken import word  # noqa: F401
    with pytest.raises(TypeError, match="no length is named so"):
        broken.word  # noqa: B018
    assert run == ["own"]


def test_what_a_package_imports_itself_is_loaded_with_it(run: list[str]) -> None:
    del sys.modules["small_package"], sys.modules["small_package.own"]
    with when_used():
        import xml.sax

        from small_package import own  # type: ignore[import-not-found]
    assert vars(own)["run"] == ["own"]
    assert xml.sax.__name__ == "xml.sax", "what is named otherwise is imported as ever"
    import xml.dom

    assert xml.dom.__name__ == "xml.dom", "and so is all, after the block"


def test_the_commands_name_modules_there_and_no_name_out_of_one() -> None:
    """A name out of a module would load it with every command."""
    named = [
        f"{line.module}.{alias.name}"
        for path in COMMANDS.glob("*.py")
        for block in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(block, ast.With)
        for line in block.body
        if "when_used" in ast.unparse(block.items[0]) and isinstance(line, ast.ImportFrom)
        for alias in line.names
    ]
    assert len(named) > 50
    assert [name for name in named if importlib.util.find_spec(name) is None] == []
