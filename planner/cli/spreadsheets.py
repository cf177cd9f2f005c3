"""Spreadsheets in and out: `import`, `blank`, `export`."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import nullcontext
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

from fleet.base.days import day_at
from fleet.base.units import counted
from planner.cli import session, terminal
from planner.cli.when_used import when_used

with when_used():
    from fleet.audit import backup
    from fleet.ledger import ledger as ledgers
    from imports import page, proposal as import_proposal, questions
    from planner.cli import import_ask
    from planner.exchange import intake, open_files
    from planner.exchange.export import blank_workbook, both, whole_file


def import_(
    files: Annotated[
        list[Path],
        typer.Argument(metavar="FILE", help="A workbook, csv files, or a folder written by export."),
    ],
    apply: Annotated[
        bool, typer.Option("--apply", help="Write it; without this nothing is written.")
    ] = False,
    leave_out: Annotated[
        list[str] | None,
        typer.Option(
            "--leave-out", metavar="ROWS", help='Rows to set aside, like "Skis:12,15-17"; recorded.'
        ),
    ] = None,
    column: Annotated[
        list[str] | None,
        typer.Option("--column", metavar="HEADER=KEY", help='What a column means, like "Ski Nr=tag".'),
    ] = None,
    all_rows: Annotated[
        list[str] | None,
        typer.Option("--all-rows", metavar="SHEET:KEY=VALUE", help="A value no column says, for every row."),
    ] = None,
    direction: Annotated[
        list[str] | None,
        typer.Option(
            "--direction", metavar="HEADER=WAY", help='How a column counts, like "x=from the tail".'
        ),
    ] = None,
    answers: Annotated[
        Path | None,
        typer.Option(
            "--answers",
            metavar="FILE",
            help="Answers to its questions: a line is a question's id, an answer.",
        ),
    ] = None,
    ask: Annotated[
        bool, typer.Option("--ask", help="Ask one question for all that it settles; on a pipe: list them.")
    ] = False,
    strict: Annotated[
        bool, typer.Option("--strict", help="With --apply: write nothing while anything is open.")
    ] = False,
    marked: Annotated[
        Path | None,
        typer.Option("--marked", metavar="FILE.xlsx", help="Write a copy with the problem cells coloured."),
    ] = None,
    sha256: Annotated[
        str | None,
        typer.Option("--sha256", metavar="HASH", help="Go on only if this is still the file's hash."),
    ] = None,
    shop: Annotated[
        str, typer.Option("--shop", metavar="TEXT", help="The shop's name, for a new ledger.")
    ] = "our shop",
    zone: Annotated[
        str | None, typer.Option("--zone", metavar="NAME", help="The shop's time zone, for a new ledger.")
    ] = None,
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Look at an inventory, and with --apply take what is certain into the ledger; the rest stays a worklist.

    `mountbook import open` lists what stayed open; with --ask or --answers it is answered there, without
    the file. `import profile` says what the shop answered once and for all, and `import take-back ID` forgets
    such an answer.

    Example: mountbook import fleet.xlsx --ask
    """
    path, typed = session.ledger_path(), [str(file) for file in files]
    stated = open_files.Stated(
        columns=tuple(column or ()),
        all_rows=tuple(all_rows or ()),
        leave_out=tuple(leave_out or ()),
        directions=tuple(direction or ()),
    )
    before: Mapping[str, str] = {}
    if import_ask.is_look(typed):
        if typed[0] != "open" or not (ask or apply or answers is not None):
            import_ask.look(typed, by=by, json=json)
            return
        waiting = import_ask.waiting(typed[1:])
        files, before, sha256 = list(waiting.paths), waiting.answers, sha256 or waiting.sha256
        stated = waiting.stated.and_also(stated)
    if marked is not None:
        whole_file.not_over_a_workbook(marked)
    given = dict(before) | (import_ask.read_answers_file(answers) if answers is not None else {})
    kept = answers or Path(f"{files[0]}.answers.txt")
    prompts = ask and not json and session.may_ask()
    if prompts and answers is None and kept.exists():
        given |= import_ask.read_answers_file(kept)
    with (
        ledgers.Ledger.open(path) if path.exists() else nullcontext() as ledger
    ):  # a dry run makes no empty file
        known_zone = ledger.zone if ledger else zone or intake.machine_zone() or "UTC"
        today = day_at(session.now(), ledgers.checked_zone(known_zone).key)

        def look(said: Mapping[str, str]) -> import_proposal.Proposal:
            return intake.look_at(
                ledger,
                files,
                leave_out=stated.leave_out,
                columns=stated.columns,
                all_rows=stated.all_rows,
                directions=stated.directions,
                answers=said,
                forgiving=prompts,
                sha256=sha256,
                today=today,
            )

        if prompts:
            proposal, given = import_ask.ask_all(look, given, kept=kept, today=today)
            answers = kept
        with terminal.progress(f"looking at {counted(len(files), 'file')}"):
            if not prompts:
                proposal = look(given)
            done = intake.Intake(proposal=proposal, applied=False)
            if ledger and by and not apply:
                name = session.person(by, ledger.connection)
                intake.check_signer(ledger, proposal, by=name, now=session.now())
            if apply:
                name = session.who_enters(ledger, by) if ledger else session.actor(by)
                done = intake.apply(
                    path,
                    proposal,
                    ledger=ledger,
                    by=name,
                    now=session.now(),
                    shop=shop,
                    zone=known_zone,
                    copies=_copies(path, ask=not json) if proposal.outcome != "refuse" else None,
                    strict=strict,
                )
    if marked is not None:
        intake.write_marked(proposal, marked)
        session.note(f"{marked}: problem cells are coloured; answer in its last column and import it")
    more = intake.options_text(column or (), all_rows or (), leave_out or (), answers, direction or ())
    lines = _page_lines(proposal, applied=done.applied, tried=apply, files=typed, more=more)
    if ask and not prompts:
        lines = iter(questions.answers_file(proposal.questions, given).splitlines())
    session.answer(proposal.report(applied=done.applied), lines, json=json)
    waits = open_files.keep_or_forget(path, done, files, stated)
    if waits is not None:
        session.note(f"a copy waits in {waits.folder} until nothing of it is open")
    if done.opened:
        session.note(f"a new ledger was begun at {path} for {shop!r}, time zone {done.opened}")
        session.note(f"  each day's first command puts a copy of it into {_first_copy()}")
        session.note(
            "  a disk that fails takes both: mountbook policy set backup_folder /another/disk --origin TEXT"
        )
        session.note("next: list who may sign, the manager first (mountbook staff add),")
        session.note("  then mountbook plan --out FOLDER")
    if done.first_list:
        session.note("the first staff list of this ledger: nobody had to sign it; from here on --by does")
    if proposal.outcome != "import":
        raise typer.Exit(1)


def _copies(path: Path, *, ask: bool) -> intake.Copies | None:
    """Return where copies of a new ledger go: asked on a terminal, else beside it; None for a known one."""
    if path.exists():
        return None
    beside = path.resolve().parent / backup.BESIDE
    named = ""
    if ask and session.may_ask():
        named = session.asked(
            f"Each day a copy of the ledger goes into {beside}. A disk that fails takes both."
            " A folder on another disk (Enter: none yet): "
        )
    if not named:
        return intake.Copies(
            backup.BESIDE, "our default: beside the ledger, as long as no other disk is named"
        )
    return intake.Copies(str(Path(named).expanduser().resolve()), "named when the ledger was begun")


def _first_copy() -> Path:
    """Make the first copy, audited, from which the daily audit goes on; return its folder."""
    with session.open_ledger() as ledger:
        return backup.default_folder(ledger)


def _page_lines(proposal: import_proposal.Proposal, **told: Any) -> Iterator[str | Callable[[], None]]:
    """Yield line by line, so that a line break inside the data breaks no line."""
    yield from (partial(session.say_folded, line) for line in (*page.head_lines(proposal), ""))
    columns = (terminal.column("sheet"), *(terminal.column(n, right=True) for n in page.COUNTED))
    yield partial(terminal.table, columns, page.count_rows(proposal))
    # whole, since the last is a command to copy
    yield from (*page.doubt_lines(proposal), "", *page.ending_lines(proposal, **told))


def blank(
    file: Annotated[Path, typer.Argument(metavar="FILE.xlsx", help="The workbook to write.")],
    json: session.Json = False,
) -> None:
    """Write an empty inventory workbook: headers, units, drop-downs, and a guide with example rows.

    Kinds that the shop added are offered where its ledger is there already.

    Example: mountbook blank inventory.xlsx
    """
    blank_workbook.write_blank(file, policy=session.policy())
    session.answer({"file": str(file)}, f"{file}: fill the sheets, then: mountbook import {file}", json=json)


def export(
    folder: Annotated[
        Path | None, typer.Argument(metavar="FOLDER", help="Where the csv files go.", show_default=False)
    ] = None,
    at_entry: Annotated[
        int | None, typer.Option("--at-entry", metavar="N", help="As it was after entry N; else the newest.")
    ] = None,
    xlsx: Annotated[
        Path | None, typer.Option("--xlsx", metavar="FILE", help="A workbook for people, to read or to edit.")
    ] = None,
    sqlite: Annotated[
        Path | None,
        typer.Option(
            "--sqlite", metavar="FILE.db", help="A SQLite file of these tables, with views to read."
        ),
    ] = None,
    paper: Annotated[
        str, typer.Option("--paper", metavar="TEXT", help="A4 or Letter, for the workbook's print set-up.")
    ] = "A4",
    json: session.Json = False,
) -> None:
    """Write a csv for each table, and datapackage.json, or a workbook for people; both can be imported.

    The file of --sqlite is for reading in other programs: the same tables, and the views pairs_today,
    holes_known and open_orders. It is no ledger: what is changed in it never comes back.

    Example: mountbook export out/2026-11-25 --xlsx fleet.xlsx
    """
    with session.open_ledger() as ledger:
        said, lines = both.write_export(
            ledger, folder, xlsx, sqlite, at_entry=at_entry, paper=paper, now=session.now()
        )
    session.answer(said, lines, json=json)
