"""The last page of the demo: what happened, and what lies where."""

from collections.abc import Sequence
from pathlib import Path
from shlex import quote
from textwrap import wrap
from typing import Final

from planner.demo import moments
from planner.demo.shared import Chapter

COLUMNS: Final = 100


def summary(folder: Path, chapters: Sequence[Chapter], *, program: str = "mountbook") -> str:
    """Plain text, wrapped to 100 columns. ``folder``: where it lies for the reader; ``program``: its call."""
    files = [file for chapter in chapters for file in chapter.files]
    width = max(len(name) for name, _ in files)
    title = max(len(chapter.title) for chapter in chapters)
    lines = [f"{moments.SHOP} (invented), 6 October to 28 December 2025", ""]
    for chapter in chapters:
        for number, fact in enumerate(chapter.facts):
            head = f"  {'' if number else chapter.title:<{title}}  "
            lines += wrap(fact, COLUMNS, initial_indent=head, subsequent_indent=" " * (len(head) + 2))
    lines += ["", f"What lies in {folder}/"]
    lines += [f"  {name:<{width}}  {what}" for name, what in files]
    lines += [
        "",
        "Look on from here, in the story's time:",
        f"  export MOUNTBOOK_LEDGER={quote(str(folder / 'mountbook.db'))}",
        f"  export MOUNTBOOK_NOW={moments.EVENING.isoformat()} MOUNTBOOK_NOW_QUIET=1",
        f"  {program} recheck list",
        f"  {program} serve    pages, at the address that it shows; page `sign in` sets the first PIN",
        "",
        "All of it is invented. Makers' instructions, local rules and qualified technicians come first.",
    ]
    return "\n".join(lines) + "\n"
