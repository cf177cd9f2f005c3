"""`prep sign|print|shop`: the season prep, which gives a pair its first pass, and its checklists as paper."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fleet.base.units import counted
from planner.cli import faults, session
from planner.cli.at_desk import all_named
from planner.cli.counter import TagFile, TagsOrFile
from planner.cli.recheck import EVERYWHERE_HELP, Found, record_looks
from planner.cli.session import At, By, Json
from planner.cli.sheets import Size


def prep_sign(
    tags: TagsOrFile = None,
    file: TagFile = None,
    everywhere: Annotated[str | None, typer.Option("--all", metavar="WORD", help=EVERYWHERE_HELP)] = None,
    found: Found = None,
    remark: Annotated[str, typer.Option("--remark", metavar="TEXT", help="Kept as free text.")] = "",
    by: By = None,
    at: At = None,
    json: Json = False,
) -> None:
    """Sign the season prep checklist of pairs: both skis seen, every screw looked at. Gives the first pass.

    The signature says that the checklist was done; the program itself tests nothing.

    Example: mountbook prep sign K-031 K-032 --all not-moved --by "Vera Lind"
    """
    record_looks(
        all_named(tags, file),
        everywhere,
        found,
        list_id=None,
        remark=remark,
        by=by,
        at=at,
        json=json,
        kind="season prep",
    )


def prep_print(
    tags: Annotated[list[str], typer.Argument(metavar="TAG", help="The pairs, by the tag on the ski.")],
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The PDF.")] = Path("prep_pairs.pdf"),
    paper: Size = "A4",
    json: Json = False,
) -> None:
    """Print the season prep checklist of pairs, one page each, in four parts.

    Example: mountbook prep print K-031 K-032 --out prep_pairs.pdf
    """
    from planner.paper.prep_pair import prep_pair_pdf

    fleet = session.fleet()
    faults.written_each(
        out,
        tags,
        lambda some: prep_pair_pdf(fleet, some, printed_at=session.now(), paper=paper),
        what="prep checklist",
        key="pairs",
        words=lambda drawn: counted(len(drawn), "pair"),
        json=json,
    )


def prep_shop(
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The PDF.")] = Path("prep_shop.pdf"),
    paper: Size = "A4",
    json: Json = False,
) -> None:
    """Print the shop's own season checklist, and which boots of each cell are looked at.

    Example: mountbook prep shop --out prep_shop.pdf
    """
    from planner.exchange.export.whole_file import write_whole
    from planner.paper.prep_shop import prep_shop_pdf

    fleet = session.fleet()
    write_whole(out, prep_shop_pdf(fleet, printed_at=session.now(), paper=paper))
    session.answer({"file": str(out)}, f"{out}: the shop and its boots by cell", json=json)
