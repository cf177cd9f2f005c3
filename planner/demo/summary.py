"""The last page of the demo: what happened, and what lies where."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from planner.demo import moments
from planner.demo.told import Chapter


def summary(folder: Path, chapters: Sequence[Chapter]) -> str:
    """Plain text, at most 110 columns except where a fact is longer than that."""
    files = [file for chapter in chapters for file in chapter.files]
    width = max(len(name) for name, _ in files)
    lines = [f"{moments.SHOP}, {moments.INVENTORY:%d %B %Y} to {moments.EVENING:%d %B %Y}", ""]
    for chapter in chapters:
        first, *rest = chapter.facts
        lines.append(f"  {chapter.title:<16}  {first}")
        lines += [f"  {'':<16}  {fact}" for fact in rest]
    lines += ["", f"What lies in {folder}/"]
    lines += [f"  {name:<{width}}  {what}" for name, what in files]
    lines += [
        "",
        "Look on from here, in the story's time:",
        f"  export MOUNTBOOK_LEDGER={folder / 'mountbook.db'} MOUNTBOOK_NOW={moments.EVENING.isoformat()}",
        "  mountbook recheck list",
        "  mountbook order list",
        "",
        "All of it is invented. Makers' instructions, local rules and qualified technicians come first.",
    ]
    return "\n".join(lines) + "\n"
