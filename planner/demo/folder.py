"""The demo's folder: made beside its place, put there whole, and never over anything but an older demo."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from fleet.base.errors import BadInput, or_bad_input
from fleet.base.files import unfinished_beside

MARKER: Final = ".mountbook_demo"
"""Lists the files that the demo made. Without it a folder is somebody's own."""
_LEDGER_TRACES: Final = frozenset(
    {"mountbook.db-journal", "mountbook.db.audited", "mountbook.db.serving", "mountbook.db.tree"}
)


@contextmanager
def fresh_folder(target: Path) -> Iterator[Path]:
    """A new empty folder beside ``target``; at the end it takes the place of an older demo there.

    If anything fails, what stood there stays as it was. Raises BadInput for a place that holds other things.
    """
    check_place(target)
    with or_bad_input(f"{target} cannot be made:", cure="choose another folder with --out", of=OSError):
        target.parent.mkdir(parents=True, exist_ok=True)
        work = unfinished_beside(target)
        work.mkdir()
    try:
        yield work
        names = sorted(str(p.relative_to(work)) for p in work.rglob("*") if p.is_file())
        (work / MARKER).write_text("\n".join(names) + "\n", encoding="utf-8")
        check_place(target)
        if target.exists():
            shutil.rmtree(target)
        work.rename(target)
    finally:
        shutil.rmtree(work, ignore_errors=True)


def check_place(target: Path) -> None:
    """BadInput unless the place is free, empty, or holds nothing but what an earlier demo made."""
    if not target.exists() and not target.is_symlink():
        return
    if target.is_symlink() or not target.is_dir():
        raise BadInput(f"{target} is not a folder", cure="choose another place with --out FOLDER")
    there = {str(p.relative_to(target)) for p in target.rglob("*") if p.is_file() or p.is_symlink()}
    if not there:
        return
    if MARKER not in there:
        raise BadInput(
            f"{target} holds files that are not a demo's: nothing was touched",
            cure="choose another place with --out FOLDER",
        )
    made = set((target / MARKER).read_text(encoding="utf-8").splitlines())
    foreign = sorted(there - made - _LEDGER_TRACES - {MARKER})
    if foreign:
        raise BadInput(
            f"{target} holds things that the demo did not make ({', '.join(foreign[:3])}"
            f"{' and more' if len(foreign) > 3 else ''}): nothing was touched",
            cure="move them, or choose another place with --out FOLDER",
        )
