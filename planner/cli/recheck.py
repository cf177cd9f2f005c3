"""`recheck list|print|record|enter|close`, `prep sign|print|shop`: looks, each ending in a pass or a hold.

The season prep gives a pair its first pass; its checklists are printed, too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

from fleet.base.days import day_at, day_text, shop_day, time_text
from fleet.base.units import counted, um_to_mm
from fleet.facts.tags import known_tag
from planner.cli import session, terminal
from planner.cli.counter import TagFile, TagsOrFile
from planner.cli.sheets import Size
from planner.cli.when_used import when_used
from planner.paper import cautions
from planner.plan.fault_isolation import Fault, all_but_faulty

with when_used():
    from fleet.rules import counter, day_end, looks, recheck
    from planner.exchange.export import whole_file
    from planner.paper import prep_checklist, prep_shop as shop_checklist, recheck_list as list_paper


Found = Annotated[
    list[str] | None,
    typer.Option(
        "--found", metavar='"B heel=WORD"', help="What one piece of one ski showed; may be repeated."
    ),
]
EVERYWHERE_HELP = (
    "What every piece of both skis showed: not-moved, turned, turned-under-an-eighth, spins, missing,"
    " cracked, could-not-reach."
)

Since = Annotated[
    str | None,
    typer.Option("--since", metavar="RC-...", help="Only what came since that printed list: its supplement."),
]

Rack = Annotated[
    str, typer.Option("--rack", metavar="RACK", help="All pairs of a rack that no pass covers, skied or not.")
]


def recheck_list(
    day: Annotated[
        str | None, typer.Option("--day", metavar="DATE", help="The list's day; else today.")
    ] = None,
    since: Since = None,
    rack: Rack = "",
    json: session.Json = False,
) -> None:
    """List what came back and was not passed, worst first, with the reasons.

    Example: mountbook recheck list
    """
    listed = _listed(day, since, rack)
    session.answer(_list_json(listed), _list_lines(listed), json=json, folded=True)
    session.end_with(_unread(listed))


def recheck_print(
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="The PDF; else recheck-DAY.pdf here.")
    ] = None,
    paper: Annotated[str, typer.Option("--paper", metavar="SIZE", help="A4 or Letter.")] = "A4",
    day: Annotated[
        str | None, typer.Option("--day", metavar="DATE", help="The list's day; else today.")
    ] = None,
    since: Since = None,
    rack: Rack = "",
    json: session.Json = False,
) -> None:
    """Print the list as a PDF, with a picture of the screws of each pair.

    What comes back after it was printed is on its supplement: --since with the number of the printed list.
    With --rack it is the list of a rack, to be signed as a whole: recheck enter with its number.

    Example: mountbook recheck print --out tonight.pdf
    """
    listed = _listed(day, since, rack)
    with session.open_ledger() as ledger:
        shop = ledger.shop
    made = partial(list_paper.recheck_pdf, head=listed.head, shop=shop, printed_at=session.now(), paper=paper)
    data, failed = all_but_faulty(
        listed.rows,
        lambda rows: made(replace(listed, rows=tuple(rows))),
        what="row of the list",
        name=lambda row: row.tag,
    )
    if failed or data is None:  # on the list all the same, by name: the pair is looked at tonight
        left = {fault.name for fault in failed}
        rows = tuple(row for row in listed.rows if row.tag not in left)
        data = made(replace(listed, rows=rows), not_drawn=sorted(left))
    path = out or Path(f"recheck-{listed.day.isoformat()}.pdf")
    whole_file.write_whole(path, data)
    pairs, minutes = counted(len(listed.rows), "pair"), counted(listed.minutes, "minute")
    session.answer(
        {
            "file": str(path),
            "list": listed.list_id,
            "supplement_to": listed.supplement_to or None,
            "pairs": len(listed.rows),
            "not_printed": [fault.to_json() for fault in failed],
        },
        f"{path}: {pairs}, {minutes}, list {listed.list_id}{_supplement_words(listed)}",
        json=json,
    )
    session.end_with((failed, "NOT DRAWN, only named"), _unread(listed))


def _unread(listed: Any) -> tuple[list[Fault], str]:
    """Return the faults of pairs whose record cannot be read, in a word. These pairs stand first on the
    list.
    """
    unread = [Fault(what="record", name=tag, error=error) for tag, error in listed.faults]
    return unread, "NOT READ, and to be looked at first"


def recheck_record(
    tags: TagsOrFile = None,
    file: TagFile = None,
    everywhere: Annotated[str | None, typer.Option("--all", metavar="WORD", help=EVERYWHERE_HELP)] = None,
    found: Found = None,
    list_id: Annotated[
        str | None, typer.Option("--list", metavar="RC-...", help="The printed list the look was made from.")
    ] = None,
    remark: Annotated[str, typer.Option("--remark", metavar="TEXT", help="Kept as free text.")] = "",
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Enter what was found. Every piece of both skis not moved: passed. Any movement: a hold.

    Example: mountbook recheck record K-031 --all not-moved --found "B heel=spins" --by "Vera Lind"
    """
    record_looks(
        session.all_named(tags, file),
        everywhere,
        found,
        list_id=list_id,
        remark=remark,
        by=by,
        at=at,
        json=json,
    )


def recheck_enter(
    list_id: Annotated[str, typer.Argument(metavar="RC-...", help="The number of the printed list.")],
    but: Annotated[
        list[str] | None, typer.Option("--but", metavar="TAG", help="A pair to leave out; repeat.")
    ] = None,
    remark: Annotated[str, typer.Option("--remark", metavar="TEXT", help="Kept as free text.")] = "",
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Enter a whole printed list, of the day or of a rack: each pair looked at, nothing moved, but these.

    A pair that came back after the list was printed, or of which anything was entered since, is not passed.

    Example: mountbook recheck enter RC-20261125-1284 --but K-044 --but K-031 --by "Vera Lind"
    """
    used = looks.ListUsed.parse(list_id)
    with session.open_ledger() as ledger, ledger.reading() as connection:
        left = {known_tag(connection, tag) for tag in but or ()}
        found = day_end.under_list(connection, used, left)
    done, refused = looked_at(list(found.tags), "not-moved", (), used=used, remark=remark, by=by, at=at)
    rest = {
        "excepted": list(found.excepted),
        "not_on_it": [{"tag": tag, "why": why} for tag, why in found.not_on_it],
    }
    lines = [f"{tag} is not passed by this list: it {why}" for tag, why in found.not_on_it]
    if found.excepted:
        lines.append(f"left out as said, still to be entered: {', '.join(found.excepted)}")
        lines.append('  mountbook recheck record TAG --found "B heel=WORD" --all not-moved --by NAME')
    if not (done or refused or lines):
        lines.append(f"nothing on list {used.list_id} waits for a look any more")
    session.show(done, refused=refused, more=rest, after=lines, json=json, later=at is not None)


def recheck_close(by: session.By = None, json: session.Json = False) -> None:
    """Close the evening: every pair that was out is back, due later or missing, and none is skipped.

    Example: mountbook recheck close --by "Vera Lind"
    """
    with session.at_desk(by, None) as desk:
        evening = day_end.close_evening(desk)
    session.answer(
        {
            "day": evening.day.isoformat(),
            "out": evening.out,
            "back": len(evening.back),
            "later": len(evening.later),
            "missing": len(evening.missing),
        },
        f"{day_text(evening.day)} closed: {evening.sum_words}",
        json=json,
    )
    with session.open_ledger(care=False) as ledger:
        session.audit_of_the_evening(ledger)


def record_looks(
    tags: list[str],
    everywhere: str | None,
    found: list[str] | None,
    *,
    list_id: str | None,
    remark: str,
    by: str | None,
    at: str | None,
    json: bool,
    kind: str | None = None,
) -> None:
    """Enter one look for each pair and print what came of each."""
    used = looks.ListUsed.parse(list_id) if list_id else None
    done, refused = looked_at(
        tags, everywhere, found or (), used=used, remark=remark, by=by, at=at, kind=kind
    )
    session.show(done, refused=refused, json=json, later=at is not None)


def looked_at(
    tags: Sequence[str],
    everywhere: str | None,
    found: Sequence[str],
    *,
    used: looks.ListUsed | None,
    remark: str,
    by: str | None,
    at: str | None,
    kind: str | None = None,
) -> tuple[list[counter.Done], tuple[Fault, ...]]:
    """Enter one look for each pair; return what came of each, and who was refused."""
    look = looks.LookKind(kind) if kind else None
    return session.each_at_desk(
        by,
        at,
        tags,
        lambda desk, typed: looks.look_as_typed(
            desk, typed, everywhere, found, kind=look, list_used=used, remark=remark
        ),
    )


def _listed(day: str | None, since: str | None, rack: str) -> Any:
    printed = looks.ListUsed.parse(since) if since else None
    with session.open_ledger() as ledger:
        today = day_at(session.now(), ledger.zone)
        listed = recheck.recheck_list(
            ledger.connection, today=session.parse_day(day, "--day") or today, rack=rack
        )
        return recheck.supplement(listed, printed) if printed else listed


def _supplement_words(listed: Any) -> str:
    return f", supplement to {listed.supplement_to}" if listed.supplement_to else ""


def _list_lines(listed: Any) -> Iterator[str | Callable[[], None]]:
    yield (
        f"Screw recheck {day_text(listed.day)} · list {listed.list_id}{_supplement_words(listed)}"
        f" · {counted(len(listed.rows), 'pair')}"
        f" · {listed.minutes} min (at least {listed.minutes_short} min tonight)"
    )
    for group in recheck.Group:
        rows = [row for row in listed.rows if row.group is group]
        if not rows:
            continue
        wait = "may wait, stays in until passed" if group.may_wait else "not to be skipped"
        yield ""
        yield f"{group.value.upper()} ({len(rows)}; {wait})"
        cells = []
        for row in rows:
            today = row.returned_at and shop_day(row.returned_at, listed.zone) == listed.day
            back = time_text(row.returned_at, listed.zone)[-5 if today else 0 :] if row.returned_at else ""
            cells.append((row.tag, row.rack, "; ".join((*row.reasons, row.setting.set_for)), back))
        columns = (
            terminal.column("pair"),
            terminal.column("rack"),
            terminal.column("why", words=True),
            terminal.column("back", spare=True),
        )
        yield partial(terminal.table, columns, cells)
    if listed.rows:
        yield from (
            "",
            f"each pair: {'; '.join(recheck.LOOK)}",
            "each pair as it is looked at, or all of the list but some:",
            f'  mountbook recheck record TAG --all not-moved --list "{listed.list_id}" --by NAME',
            f'  mountbook recheck enter "{listed.list_id}" --but TAG --by NAME',
        )
    yield ""
    yield partial(session.note, cautions.LOOKS)
    if listed.rack:
        return
    yield f"still out: {len(listed.out)}"
    for pair in listed.out:
        yield f"  {pair.tag}  {'; '.join((pair.due_words(listed.day), *pair.remarks))}"
    if listed.second_check:
        yield f"fresh from the bench, waiting for a second person: {', '.join(listed.second_check)}"
    if listed.never_back:
        yield listed.never_back_words


def _list_json(listed: Any) -> dict[str, Any]:
    return {
        "list": listed.list_id,
        "day": listed.day.isoformat(),
        "ledger_entry": listed.head.seq,
        "ledger_head": listed.head.hash,
        "minutes": listed.minutes,
        "minutes_at_least": listed.minutes_short,
        "supplement_to": listed.supplement_to or None,
        "still_out": len(listed.out),
        "out": [
            {
                "tag": pair.tag,
                "due": pair.due.isoformat() if pair.due else None,
                "remarks": list(pair.remarks),
            }
            for pair in listed.out
        ],
        "second_check": list(listed.second_check),
        "never_back": len(listed.never_back),
        "look": list(recheck.LOOK),
        "rows": [
            {
                "tag": row.tag,
                "model": row.model,
                "kind": row.kind,
                "length_cm": row.length_mm / 10,
                "rack": row.rack,
                "group": row.group.value,
                "reasons": list(row.reasons),
                "look_first": sorted([side.value, piece] for side, piece in row.marked),
                "pattern": row.pattern,
                "returned_at": row.returned_at,
                "stands_at_mm": None if row.setting.bsl_um is None else um_to_mm(row.setting.bsl_um),
                "screws": {
                    side.value: [
                        {"piece": dot.piece, "x_mm": um_to_mm(dot.x_um), "y_mm": um_to_mm(dot.y_um)}
                        for dot in dots
                    ]
                    for side, dots in row.screws.items()
                },
            }
            for row in listed.rows
        ],
    }


def prep_sign(
    tags: TagsOrFile = None,
    file: TagFile = None,
    everywhere: Annotated[str | None, typer.Option("--all", metavar="WORD", help=EVERYWHERE_HELP)] = None,
    found: Found = None,
    remark: Annotated[str, typer.Option("--remark", metavar="TEXT", help="Kept as free text.")] = "",
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Sign the season prep checklist of pairs: both skis seen, every screw looked at. Gives the first pass.

    The signature says that the checklist was done; the program itself tests nothing.

    Example: mountbook prep sign K-031 K-032 --all not-moved --by "Vera Lind"
    """
    record_looks(
        session.all_named(tags, file),
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
    json: session.Json = False,
) -> None:
    """Print the season prep checklist of pairs, one page each, in four parts.

    Example: mountbook prep print K-031 K-032 --out prep_pairs.pdf
    """
    fleet = session.fleet()
    session.written_each(
        out,
        tags,
        lambda some: prep_checklist.prep_pair_pdf(fleet, some, printed_at=session.now(), paper=paper),
        what="prep checklist",
        key="pairs",
        words=lambda drawn: counted(len(drawn), "pair"),
        json=json,
    )


def prep_shop(
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The PDF.")] = Path("prep_shop.pdf"),
    paper: Size = "A4",
    json: session.Json = False,
) -> None:
    """Print the shop's own season checklist, and which boots of each cell are looked at.

    Example: mountbook prep shop --out prep_shop.pdf
    """
    whole_file.write_whole(
        out, shop_checklist.prep_shop_pdf(session.fleet(), printed_at=session.now(), paper=paper)
    )
    session.answer({"file": str(out)}, f"{out}: the shop and its boots by cell", json=json)
