"""`today`, `find`, `counter`, `out`, `back`, `later`, `undo`, `move`: the commands of the counter."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from fleet.base.days import typed_day
from fleet.base.errors import BadInput, MountbookError
from fleet.base.shown_text import one_line
from fleet.facts.tags import known_tag
from fleet.tables.sqlite_faults import SQLITE_FAULTS, ledger_fault
from planner.cli import session, terminal
from planner.cli.when_used import when_used
from planner.plan.fault_isolation import own_fault

with when_used():
    from fleet.ledger import desk as desks
    from fleet.rules import counter as counter_rules, find as finding, scanning
    from fleet.tables import snapshot
    from planner.bench import today as what_waits


TagsOrFile = Annotated[
    list[str] | None, typer.Argument(metavar="TAG", help="The pairs, by the tag on the ski.")
]
TagFile = Annotated[
    Path | None, typer.Option("--file", metavar="FILE", help="More of them, one a line; - reads the scanner.")
]
Due = Annotated[
    str | None,
    typer.Option("--due", metavar="DATE", help="The day it is due back: 31.12., Fri, tomorrow, +3."),
]
Tag = Annotated[str, typer.Argument(metavar="TAG", help="The pair, by the tag on the ski.")]


def out(
    tags: TagsOrFile = None,
    file: TagFile = None,
    boot: Annotated[str | None, typer.Option("--boot", metavar="TAG", help="The boots it goes with.")] = None,
    own_boot: Annotated[
        str | None,
        typer.Option("--own-boot", metavar="MM", help="The customer's own boot: its sole length, mm."),
    ] = None,
    sole_type: Annotated[
        str, typer.Option("--sole-type", metavar="TYPE", help="The sole type of the customer's own boot.")
    ] = "",
    set_now: Annotated[
        bool, typer.Option("--set", help="The binding was just set for this boot, boot in.")
    ] = False,
    due: Due = None,
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Hand pairs out. Only what may go goes; a refusal says why and what could go instead.

    A pair waits for its boot: one of the shop's, or the customer's own by its sole length and type. A boot
    goes with a binding that was last set for its sole length. If it is set for another, or nobody
    knows for which, set it, boot in, and type the same with --set.

    Example: mountbook out K-031 --boot B-210
    """
    if boot and (own_boot or sole_type):
        raise BadInput("one boot goes with one pair", cure="--boot, or --own-boot with --sole-type")
    own = counter_rules.own_boot_of(own_boot, sole_type)

    def one(desk: desks.Desk, tag: str) -> counter_rules.Done:
        meant = known_tag(desk.connection, tag)
        shod = known_tag(desk.connection, boot) if boot else own
        day = session.parse_day(due, "--due", today=desk.day)
        return counter_rules.take_out(desk, [meant], boot=shod, due=day, set_now=set_now)[0]

    done, refused = session.each_at_desk(
        by,
        at,
        session.all_named(tags, file, check=partial(counter_rules.check_named, boot=boot or own)),
        one,
        care=False,
    )
    session.show(done, refused=refused, json=json, later=at is not None)


def back(
    tags: TagsOrFile = None,
    file: TagFile = None,
    said: Annotated[str, typer.Option("--said", metavar="TEXT", help="What the renter said.")] = "",
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Take pairs back. They go to the recheck rack and stay in until somebody has passed them.

    Example: mountbook back K-031 --said "felt loose"
    """

    def one(desk: desks.Desk, tag: str) -> counter_rules.Done:
        return counter_rules.take_back(desk, [known_tag(desk.connection, tag)], said=said)[0]

    done, refused = session.each_at_desk(
        by, at, session.all_named(tags, file, check=counter_rules.check_named), one, care=False
    )
    session.show(done, refused=refused, json=json, later=at is not None)


def set_binding(
    tag: Annotated[str, typer.Argument(metavar="TAG", help="A pair that is in.")],
    boot: Annotated[str, typer.Option("--boot", metavar="TAG", help="The boot it was set for, boot in.")],
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Say that a pair's binding was set for a boot, while the pair stays in.

    Where the shop's rule asks for a release test after a setting, this comes first, then the test.

    Example: mountbook set-binding K-031 --boot B-210 --by "Nell Abres"
    """
    with session.at_desk(by, at, care=False) as desk:
        done = counter_rules.set_binding(
            desk, known_tag(desk.connection, tag), known_tag(desk.connection, boot)
        )
    session.show([done], json=json, later=at is not None)


def later(
    until: Annotated[
        str, typer.Option("--until", metavar="DATE", help="The day it is due now: 31.12., Fri, tomorrow, +3.")
    ],
    tags: TagsOrFile = None,
    file: TagFile = None,
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Note that a renter keeps pairs longer.

    Example: mountbook later K-031 K-032 --until Sun
    """

    def one(desk: desks.Desk, tag: str) -> counter_rules.Done:
        day = typed_day(until, "--until", today=desk.day)
        return counter_rules.keep_longer(desk, known_tag(desk.connection, tag), until=day)

    done, refused = session.each_at_desk(by, at, session.all_named(tags, file), one, care=False)
    session.show(done, refused=refused, json=json)


def undo(
    tag: Annotated[str | None, typer.Argument(metavar="TAG", help="The pair; else your newest scan.")] = None,
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Undo a slip of the scanner, as a new entry, while nothing else has happened to the pair.

    Example: mountbook undo K-031
    """
    with session.at_desk(by, None, care=False) as desk:
        done = counter_rules.undo(desk, tag or counter_rules.newest_scan(desk))
    session.show([done], json=json)


def move(
    tag: Tag,
    to: Annotated[
        str,
        typer.Option(
            "--to", metavar="PLACE", help="missing, in-transit, retired, sold; shop: found or arrived."
        ),
    ],
    why: Annotated[str, typer.Option("--why", metavar="TEXT", help="The reason.")] = "",
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Note that a pair is missing, on its way, retired or sold, or that it turned up again.

    Example: mountbook move K-031 --to missing --why "not in the rack at the count"
    """
    moved = partial(counter_rules.move, to=to.replace("-", " "), reason=why)
    session.on_pair(moved, tag, by, at, care=False, json=json)


def today(json: session.Json = False) -> None:
    """Say what waits today: due back, stopped, to be looked at, at the bench; each with the next command.

    Example: mountbook today
    """
    with session.open_ledger() as ledger, ledger.reading() as connection:
        found = what_waits.today_at(connection, now=session.now(), zone=ledger.zone)
    session.answer(found.to_json(), found.said(), json=json, folded=True)
    if found.faulty:
        session.note(f"NOT READ: {', '.join(found.faulty)}")
        raise typer.Exit(1)


def find(
    length: Annotated[
        str | None, typer.Option("--length", metavar="CM", help="Skis about as long as this.")
    ] = None,
    kind: Annotated[
        str | None, typer.Option("--kind", metavar="KIND", help="These only: telemark, alpine, ...")
    ] = None,
    boot: Annotated[
        str | None,
        typer.Option("--boot", metavar="TAG", help="For this boot: by its sole, and as it is set."),
    ] = None,
    ready: Annotated[
        bool, typer.Option("--ready", help="Only what goes now, or once its binding is set.")
    ] = False,
    json: session.Json = False,
) -> None:
    """Find the pairs that may go out now; of the others, why not. The rule is that of the door itself.

    Example: mountbook find --length 165 --boot B-210 --ready
    """
    wanted = finding.length_typed(length)
    with session.open_ledger() as ledger, ledger.reading() as connection:
        shod = known_tag(connection, boot) if boot else None
        near = finding.within_mm(connection)
        found = finding.find_pairs(
            connection,
            at=session.now(),
            zone=ledger.zone,
            boot=shod,
            length_mm=wanted,
            kind=finding.kind_named(kind, snapshot.read_policy(connection)),
        )
    pairs = [pair for pair in found.pairs if not ready or pair.now is not finding.Now.NOT_NOW]
    lines: list[str | Callable[[], None]] = []
    for now, title in (
        (finding.Now.GOES, "goes now"),
        (finding.Now.SET_FIRST, "set the binding first, boot in, then hand out with --set"),
        (finding.Now.NOT_NOW, "not now"),
    ):
        some = [pair for pair in pairs if pair.now is now]
        if not some:
            continue
        columns = (
            terminal.column("pair"),
            terminal.column("cm", right=True),
            terminal.column("kind"),
            terminal.column("rack", words=True),
            terminal.column("model", words=True),
            terminal.column("why not" if now is finding.Now.NOT_NOW else "set for sole", words=True),
        )
        cells = [
            (p.tag, f"{p.length_mm / 10:g}", p.kind, p.rack, p.model, "; ".join(p.reasons) or p.stands)
            for p in some
        ]
        lines += [f"{title} ({len(some)})", partial(terminal.table, columns, cells)]
        if now is not finding.Now.NOT_NOW:
            with_boot = f" --boot {shod}" if shod else ""
            more = " --set --by NAME" if now is finding.Now.SET_FIRST else ""
            lines.append(f"  mountbook out {some[0].tag}{with_boot}{more}")
    if not pairs:
        about = f" within {near / 10:g} cm of {wanted / 10:g} cm" if wanted is not None else ""
        lines = [f"no pair{about} goes out now" if ready else f"no pair{about} is in the ledger"]
    session.answer({"boot": shod, "pairs": [_pair_json(pair) for pair in pairs]}, lines, json=json)


def _pair_json(pair: finding.FoundPair) -> dict[str, object]:
    return {
        "tag": pair.tag,
        "model": pair.model,
        "kind": pair.kind,
        "length_cm": pair.length_mm / 10,
        "rack": pair.rack,
        "place": pair.place.value,
        "stands_at": pair.stands,
        "now": pair.now.value,
        "reasons": list(pair.reasons),
        "next": pair.step,
    }


def counter(
    mode: Annotated[str, typer.Option("--mode", metavar="MODE", help="Begin with out or back.")] = "back",
    by: session.By = None,
) -> None:
    """Scan pairs out and back, one line an action. Type help at its prompt for the words it takes.

    Example: mountbook counter --mode out --by "Nell Abres"
    """
    if mode not in list(scanning.Mode):
        raise BadInput(f"{mode!r} is not a mode", cure="out or back")
    shown = sys.stdin.isatty() and sys.stdout.isatty()
    with session.open_ledger(care=False) as ledger:
        loop = scanning.Counter(ledger, by=session.who_enters(ledger, by), mode=scanning.Mode(mode))
        if shown:
            session.say("mountbook counter: scan or type a tag; help, undo, quit")
        faulty = False
        while True:
            if shown:
                sys.stdout.write(loop.prompt)
                sys.stdout.flush()
            line = sys.stdin.readline()
            reply, at_fault = _handled(loop, line or "quit")
            faulty = faulty or at_fault
            if reply.text and line:
                _show(reply.text, refused=reply.refused, shown=shown)
            if reply.quit:
                break
    if faulty:
        raise typer.Exit(1)


def _handled(loop: scanning.Counter, line: str) -> tuple[scanning.Reply, bool]:
    """Return the reply, and True if it reports a fault. A fault costs this scan, not the next one."""
    try:
        return loop.handle(line, now=session.now()), False
    except SQLITE_FAULTS as fault:
        told: MountbookError = ledger_fault(fault, session.ledger_path())
    except Exception as fault:
        told = own_fault(fault)
    loop.drop()
    return scanning.Reply(text=f"REFUSED  {told.sentence}  ({told.cure})", refused=True), True


def _show(text: str, *, refused: bool, shown: bool) -> None:
    """Print the reply. A refusal rings the bell and stands in reverse, to be seen from the ski rack."""
    said = scanning.HELP.splitlines() if text == scanning.HELP else [one_line(text)]
    if not shown:
        sys.stdout.writelines(f"{line}\n" for line in said)
    else:
        width = shutil.get_terminal_size().columns - 2
        lines = [row for line in said for row in session.folded(line, width)]
        if refused:
            lines = [f"\x1b[7m {line:<{width}} \x1b[0m" for line in lines]
        sys.stdout.write(("\a" if refused else "") + "\n".join(lines) + "\n")
    sys.stdout.flush()
