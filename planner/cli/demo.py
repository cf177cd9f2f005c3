"""`mountbook demo`: the invented shop from its inventory to the evening's recheck list."""

import sys
from pathlib import Path
from shlex import quote
from shutil import which
from typing import Annotated

import typer

from planner.cli import session, terminal


def program_called() -> str:
    """Return how this program is called from here: by its name where the shell finds it, else as it was."""
    name, called = "mountbook", Path(sys.argv[0])
    return quote(str(called)) if called.name == name and which(name) is None else name


def demo(
    out: Annotated[
        Path, typer.Option("--out", metavar="FOLDER", help="Where the story's papers and ledger go.")
    ] = Path("demo_out"),
    json: session.Json = False,
) -> None:
    """Run the whole story on an invented shop: import, plan, work orders, bench, counter, recheck list.

    The folder is made new; only a folder that an earlier demo made is ever replaced.

    Example: mountbook demo --out demo_out
    """
    from planner.demo.folder import fresh_folder
    from planner.demo.story import run_story
    from planner.demo.summary import summary

    with fresh_folder(out) as folder, terminal.progress("the demo") as say:
        chapters = run_story(folder, say or session.note)
        text = summary(out, chapters, program=program_called())
        (folder / "START_HERE.txt").write_text(text, encoding="utf-8")
    session.answer(
        {
            "folder": str(out),
            "chapters": [
                {"title": c.title, "facts": list(c.facts), "files": [name for name, _ in c.files]}
                for c in chapters
            ],
        },
        text.splitlines(),
        json=json,
    )
