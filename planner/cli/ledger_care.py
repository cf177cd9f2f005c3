"""`audit`, `backup`, `restore`, `ski`, `correct`, `rename`, `redact`, `mend-clock`: care of the ledger."""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from fleet.base.days import day_at, stated_time, time_text
from fleet.base.errors import BadInput, LedgerFault
from fleet.base.shown_text import harmless
from fleet.base.units import counted
from planner.cli import session
from planner.cli.when_used import when_used

with when_used():
    from fleet.audit import (
        backup as backups,
        checkpoint,
        daily,
        full,
        heads as printed_heads,
        name_removal,
        redaction,
    )
    from fleet.ledger import corrections, history as histories, transaction
    from fleet.rules import clearance, fitting, hours, renaming
    from planner.exchange import open_files
    from planner.pages import desks
    from planner.paper import sheet_frame
    from planner.paper.ski_view import picture as pair_picture, ski_words


Why = Annotated[str, typer.Option("--why", metavar="TEXT", help="What went wrong; kept as free text.")]
_MOST: Final = 10**12  # a number beyond it was scanned off something else
EntryNumber = Annotated[int, typer.Argument(metavar="ENTRY", help="The entry's number.", min=1, max=_MOST)]
EntryNumbers = Annotated[
    list[int], typer.Argument(metavar="ENTRY…", help="The entries' numbers.", min=1, max=_MOST)
]


def audit(
    head: Annotated[
        str | None,
        typer.Option("--head", metavar="N:HASH", help="A head printed on a sheet, or scanned from its code."),
    ] = None,
    heads: Annotated[
        list[Path] | None,
        typer.Option(
            "--heads",
            metavar="FOLDER",
            help="A folder of kept heads or of sheets as PDF: are they all in this file? May be repeated.",
        ),
    ] = None,
    since_last: Annotated[
        bool, typer.Option("--since-last", help="Only the entries since the last audit, and the state.")
    ] = False,
    json: session.Json = False,
) -> None:
    """Look at everything in the ledger: the file, the rules, and questions only people can answer.

    Changes nothing in it. Exit code 0: nothing found; 1: questions to answer; 4: a rule was not kept; 3: the
    file was damaged or changed.

    Example: mountbook audit --head 1284:a3f920c1
    """
    printed = [printed_heads.parse_head(head)] if head is not None else []
    path, now = session.ledger_path(), session.now()
    kept: list[printed_heads.KeptHead] = []
    try:
        with session.open_ledger(care=False) as ledger:
            kept += daily.kept_heads(ledger)
            for folder in heads or ():
                kept += [
                    *printed_heads.heads_in(folder, ledger=daily.first_hash(ledger)),
                    *sheet_frame.heads_of_sheets(folder),
                ]
    except LedgerFault:
        pass  # what is wrong with the file is the audit's to say
    asked: Any = {"now": now, "checkpoint": checkpoint.checkpoint_of(path), "heads": printed, "kept": kept}
    report = full.audit_since(path, **asked, progress=_progress()) if since_last else None
    report = report or full.audit_file(path, **asked, progress=_progress())
    session.answer(report.to_json(), report.lines(), json=json)
    if report.exit_code:
        raise typer.Exit(report.exit_code)


def backup(
    folder: Annotated[
        Path | None,
        typer.Argument(
            metavar="FOLDER",
            help="Where to; else the policy backup_folder, else `backups` beside the ledger.",
        ),
    ] = None,
    keep: Annotated[
        int | None, typer.Option("--keep", metavar="N", help="How many to keep; else the policy backup_keep.")
    ] = None,
    json: session.Json = False,
) -> None:
    """Copy the ledger as a whole, audit the copy, and delete copies older than the newest N.

    A signed head beside it shows later whether the ledger still is the one that was copied.

    Example: mountbook backup /media/stick --keep 14
    """
    path = session.ledger_path()
    with session.open_ledger() as ledger:
        target = folder or backups.default_folder(ledger)
        number = keep if keep is not None else backups.default_keep(ledger)
        done = backups.backup(path, target, now=session.now(), keep=number, progress=_progress())
        failed = daily.sign_head(
            ledger, done.head, now=session.now(), key=session.key_path(), beside=target.resolve()
        )
    waiting = [str(each) for each in open_files.kept_copies(path)]
    beside = open_files.folder_beside(path)
    apart = f"  not in it: {beside}, where files of open imports wait; it holds what they held"
    session.answer(
        done.to_json() | {"not_in_it": waiting},
        (
            f"{done.path}" if done.new else f"{done.path} (nothing new since)",
            f"  entry {done.head}, audited; {len(done.dropped)} older dropped",
            *([apart] if waiting else []),
        ),
        json=json,
    )
    for words in failed:
        session.note(f"note: {words}")


def restore(
    backup: Annotated[Path, typer.Argument(metavar="BACKUP", help="A file that `mountbook backup` made.")],
    head: Annotated[
        str | None,
        typer.Option(
            "--head",
            metavar="N:HASH",
            help="The newest printed head, where the old file is lost: if it is the backup's, passes stand.",
        ),
    ] = None,
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Put a backup in the ledger's place, after auditing it. The old file is kept beside it.

    What happened to a pair since the backup still stops it: holds, quarantines, returns and pairs that are
    out are carried over from the old file. A manager signs, with none in date a head technician.

    Example: mountbook restore backups/mountbook-20261125T165000Z-1284-a3f920c1.db --by "Vera Lind"
    """
    done = backups.restore(
        backup,
        session.ledger_path(),
        by=session.actor(by),
        now=session.now(),
        printed=printed_heads.parse_head(head) if head is not None else None,
        progress=_progress(),
    )
    session.answer(done.to_json(), done.lines(), json=json)


def rebuild(by: session.By = None, json: session.Json = False) -> None:
    """Derive the state anew from sound entries, where an audit says that only the state differs.

    The file as it was found is kept beside it, and an entry says that it happened. A manager signs, with
    none in date a head technician.

    Example: mountbook rebuild --by "Vera Lind"
    """
    done = backups.rebuild(
        session.ledger_path(), by=session.actor(by), now=session.now(), progress=_progress()
    )
    session.answer(
        {"rows": done.rows, "kept": str(done.kept), "entry": done.entry},
        (
            f"{counted(done.rows, 'row')} differed; the state is derived anew, and entry {done.entry} says"
            " so",
            f"  the file as it was found is kept as {done.kept}",
        ),
        json=json,
    )


def ski(
    pair: Annotated[str, typer.Argument(metavar="PAIR", help="The pair's tag.")],
    as_of: Annotated[
        str | None,
        typer.Option("--as-of", metavar="DATE", help="As the shop knew it at the end of that day."),
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option("--picture", metavar="FILE", help="Draw both mounting zones: .svg, .pdf or .png."),
    ] = None,
    boot: Annotated[
        str | None, typer.Option("--boot", metavar="TAG", help="On the picture: where this boot may stand.")
    ] = None,
    pattern: Annotated[
        str | None, typer.Option("--pattern", metavar="P", help="On the picture: where this pattern may go.")
    ] = None,
    bsl_mm: Annotated[
        str | None, typer.Option("--bsl", metavar="MM", help="The sole length that goes with --pattern.")
    ] = None,
    json: session.Json = False,
) -> None:
    """Show a pair: marks, holes, areas, mounts, bindings, and everything ever entered about it.

    Example: mountbook ski K-031 --picture k-031.svg --pattern "Larch 4+4" --bsl 315
    """
    with session.open_ledger() as ledger:
        history = histories.pair_history(ledger, pair, as_of=session.parse_day(as_of, "--as-of"))
        mount = history.pair.current_mount
        known = clearance.read_pattern(ledger.connection, mount.pattern) if mount else None
        slid_um = fitting.slides_now(mount, known) if mount and known else {}
        if picture is not None or any(given is not None for given in (boot, pattern, bsl_mm)):
            pair_picture.draw_pair(
                ledger, history, picture, boot=boot, pattern=pattern, bsl_mm=bsl_mm, now=session.now()
            )
            session.note(f"drawn to {picture}; never measure from it")
    session.answer(ski_words.pair_json(history, slid_um), ski_words.pair_lines(history, slid_um), json=json)


def correct(
    name: Annotated[
        str, typer.Argument(metavar="NAME", help="A pair, a ski (K-031/A), a hole, a boot or a binding.")
    ],
    fields: Annotated[list[str], typer.Argument(metavar="FIELD=VALUE…", help="x_mm=12.5 rack=R4 …")],
    why: Why,
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Set recorded facts right by an entry that shows old and new. A head technician signs.

    Fields and units are those of the exported files; an empty value means unknown.

    Example: mountbook correct K-031/A7 x_mm=101.5 --why "read the rule from the wrong end" --by "Vera Lind"
    """
    settings = corrections.parse_settings(fields)
    _entered(
        by,
        json,
        lambda tx, who, day: corrections.correct(tx, name, settings, by=who, why=why, today=day),
    )


def withdraw(entry: EntryNumber, why: Why, by: session.By = None, json: session.Json = False) -> None:
    """Take back what an entry made (holes, an area, a mount, …) by an entry that quotes it.

    Example: mountbook withdraw 812 --why "entered for the wrong pair" --by "Vera Lind"
    """
    _entered(
        by, json, lambda tx, name_by, day: corrections.withdraw(tx, entry, by=name_by, why=why, today=day)
    )


def rename(
    old: Annotated[str, typer.Argument(metavar="OLD", help="The tag that the pair has.")],
    new: Annotated[str, typer.Argument(metavar="NEW", help="The tag that it gets.")],
    why: Why,
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Give a pair another tag; its history stays in one piece. A head technician or a manager signs.

    The old tag still finds it, and is given to no other ski.

    Example: mountbook rename K-031 K-131 --why "the old label was on two pairs" --by "Vera Lind"
    """
    with session.at_desk(by, None) as desk:
        number = renaming.rename(desk, old, new, why=why)
    words = f"entered as {number}: label it {new} (mountbook labels), and collect paper that says {old}"
    session.answer({"entry": number}, words, json=json)


def remark(
    entries: EntryNumbers,
    why: Why,
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Say what happened about older entries; an audit then notes them instead of asking.

    Example: mountbook remark 812 815 --why "the clock of counter 2 was wrong until noon"
    """

    def say(tx: transaction.Transaction, *_: object) -> int:
        return [corrections.remark(tx, entry, why=why) for entry in dict.fromkeys(entries)][-1]

    _entered(by, json, say)


def redact(
    entry: Annotated[
        int | None,
        typer.Argument(metavar="ENTRY", help="The number of the entry with the text.", min=1, max=_MOST),
    ] = None,
    person: Annotated[
        str | None, typer.Option("--person", metavar="NAME", help="The person whose name is taken out.")
    ] = None,
    why: Why = "",
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Blank what a person typed in an entry, or a person's name in all; the chain stays whole.

    It is blanked in the files that a restore or a rebuild kept, too. Backups that still hold it are named.

    With --person a name is taken out of every entry, list and page: a mark such as "name removed 12-3f9a"
    stands in its place, one for each person, so who may pass and clear a pair stays as it was. It waits while
    the person is listed in date, or signed a stop or an order that is open. A name that an older mountbook
    wrote stays: the chain is made over it. All entries are read again, and no counter can enter anything
    until that is done: do it in the evening.

    Example: mountbook redact 812 --why "asked for by the renter" --by "Vera Lind"

    Example: mountbook redact --person "Jon Maurel" --why "left, and asked for it" --by "Vera Lind"
    """

    if (entry is None) == (person is None):
        raise BadInput(
            "redact takes an entry's number or a person's name",
            cure='write mountbook redact 812, or mountbook redact --person "NAME"',
        )
    if person is not None:
        _redact_name(person, why, by, json)
    elif entry is not None:
        _redact_text(entry, why, by, json)


def _redact_text(entry: int, why: str, by: str | None, json: bool) -> None:
    number = _enter(
        by, lambda tx, name_by, day: corrections.redact(tx, entry, by=name_by, why=why, today=day)
    )
    with session.open_ledger() as ledger:
        name = session.person(by, ledger.connection)
        beside = open_files.kept_copies(ledger.path)
        reached = redaction.reach(ledger, entry, by=name, why=why, now=session.now(), beside=beside)
    lines = (f"entered as {number}", *reached.lines())
    session.answer({"entry": number} | reached.to_json(), lines, json=json)


def _redact_name(person: str, why: str, by: str | None, json: bool) -> None:
    now = session.now()
    with session.open_ledger() as ledger:
        name = session.who_enters(ledger, by)
        today = day_at(now, ledger.zone)
        with ledger.transaction(by=name, now=now) as transaction:
            removed = name_removal.remove_name(ledger, transaction, person, by=name, why=why, today=today)
        beside = open_files.kept_copies(ledger.path)
        reached = redaction.reach_name(ledger, removed, by=name, why=why, now=now, beside=beside)
        told = desks.forget_person(session.key_path().parent, ledger.path, person, mark=removed.mark)
    lines = (f"entered as {removed.entry}", *removed.lines(), *told, *reached.lines())
    session.answer({"entry": removed.entry, "mark": removed.mark} | reached.to_json(), lines, json=json)


def _entered(by: str | None, json: bool, action: Callable[[transaction.Transaction, str, date], int]) -> None:
    number = _enter(by, action)
    session.answer({"entry": number}, f"entered as {number}", json=json)


def _enter(by: str | None, action: Callable[[transaction.Transaction, str, date], int]) -> int:
    with session.at_desk(by, None) as desk:
        return action(desk.tx, desk.by, desk.day)


def _progress() -> Callable[[str], None] | None:
    """Return a function that prints progress on one line of a terminal; None where there is no terminal."""
    if not sys.stderr.isatty():
        return None

    def show(text: str) -> None:
        sys.stderr.write(f"\r{harmless(text):<70}")
        if text.endswith("indexes"):
            sys.stderr.write("\r" + " " * 70 + "\r")
        sys.stderr.flush()

    return show


def confirm_hour(
    entries: EntryNumbers,
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Confirm as a second person the hours of work that was entered later: its glue cures from then on.

    Until then it cures from the entry. Many entries of one evening are confirmed at once.

    Example: mountbook confirm-hour 812 815 --by "Vera Lind"
    """
    with session.at_desk(by, None) as desk:
        confirmed = hours.confirm_hours(desk, entries)
        zone = desk.zone
    session.answer(
        {"confirmed": [{"tag": one.tag, "entry": one.entry, "at": at} for one, at in confirmed.items()]},
        [f"{one.tag}: its cure counts from {time_text(at, zone)}" for one, at in confirmed.items()],
        json=json,
    )


def mend_clock(
    first: Annotated[int, typer.Option("--from", metavar="ENTRY", help="The wrong clock's first entry.")],
    last: Annotated[int, typer.Option("--to", metavar="ENTRY", help="Its last entry.")],
    said: Annotated[str, typer.Option("--said", metavar="TIME", help="A time that it showed.")],
    was: Annotated[str, typer.Option("--was", metavar="TIME", help="The right time at that moment.")],
    why: Annotated[str, typer.Option("--why", metavar="TEXT", help="What was wrong; kept as free text.")],
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Set right the times of entries that were made while a clock was wrong. The entries stay as they are.

    A pass, a return or a glue of next year then counts from when it was. A head technician or manager signs.

    Example: mountbook mend-clock --from 12 --to 15 --said 2027-12-03T10:00 --was 2026-12-03T10:00 --why reset
    """
    with session.at_desk(by, None) as desk:
        said_at, was_at = (stated_time(text, desk.zone) for text in (said, was))
        shift = was_at - said_at
        tags = hours.mend_clock(desk, first, last, shift=shift, why=why)
    entries = counted(last - first + 1, "entry", "entries")
    session.answer(
        {"from": first, "to": last, "seconds": round(shift.total_seconds()), "pairs": list(tags)},
        f"{entries} set right; the times of {counted(len(tags), 'pair')} follow: {', '.join(tags) or 'none'}",
        json=json,
    )
