"""`find` and `today`: the questions of the day at the counter."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from planner.cli import session, terminal
from planner.cli.session import Json
from planner.cli.terminal import TerminalColumn

if TYPE_CHECKING:
    from fleet.rules.find import FoundPair


def today(json: Json = False) -> None:
    """Say what waits today: due back, stopped, to be looked at, at the bench; each with the next command.

    Example: mountbook today
    """
    from planner.bench.day.today import today_at

    with session.open_ledger() as ledger, ledger.reading() as connection:
        found = today_at(connection, now=session.now(), zone=ledger.zone)
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
    json: Json = False,
) -> None:
    """Find the pairs that may go out now; of the others, why not. The rule is that of the door itself.

    Example: mountbook find --length 165 --boot B-210 --ready
    """
    from fleet.facts.tags import known_tag
    from fleet.rules.find import Now, find_pairs, kind_named, length_typed, within_mm
    from fleet.tables.snapshot import read_policy

    wanted = length_typed(length)
    with session.open_ledger() as ledger, ledger.reading() as connection:
        shod = known_tag(connection, boot) if boot else None
        near = within_mm(connection)
        found = find_pairs(
            connection,
            at=session.now(),
            zone=ledger.zone,
            boot=shod,
            length_mm=wanted,
            kind=kind_named(kind, read_policy(connection)),
        )
    pairs = [pair for pair in found.pairs if not ready or pair.now is not Now.NOT_NOW]
    if json:
        session.emit_json({"boot": shod, "pairs": [_pair_json(pair) for pair in pairs]})
        return
    for now, title in (
        (Now.GOES, "goes now"),
        (Now.SET_FIRST, "set the binding first, boot in, then hand out with --set"),
        (Now.NOT_NOW, "not now"),
    ):
        some = [pair for pair in pairs if pair.now is now]
        if not some:
            continue
        session.say(f"{title} ({len(some)})")
        terminal.table(
            (
                TerminalColumn("pair"),
                TerminalColumn("cm", right=True),
                TerminalColumn("kind"),
                TerminalColumn("rack", words=True),
                TerminalColumn("model", words=True),
                TerminalColumn("why not" if now is Now.NOT_NOW else "set for sole", words=True),
            ),
            [
                (p.tag, f"{p.length_mm / 10:g}", p.kind, p.rack, p.model, "; ".join(p.reasons) or p.stands)
                for p in some
            ],
        )
        if now is not Now.NOT_NOW:
            with_boot = f" --boot {shod}" if shod else ""
            more = " --set --by NAME" if now is Now.SET_FIRST else ""
            session.say(f"  mountbook out {some[0].tag}{with_boot}{more}")
    if not pairs:
        about = f" within {near / 10:g} cm of {wanted / 10:g} cm" if wanted is not None else ""
        session.say(f"no pair{about} goes out now" if ready else f"no pair{about} is in the ledger")


def _pair_json(pair: FoundPair) -> dict[str, object]:
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
