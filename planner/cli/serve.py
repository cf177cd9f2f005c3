"""`serve`: the pages for the counter, the bench and the evening."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from fleet.base.errors import MountbookError
from planner.cli import session
from planner.cli.when_used import load_all_named, when_used
from planner.plan.fault_isolation import own_fault

with when_used():
    from fleet.ledger import ledger as ledgers
    from planner.pages import app, web


def serve(
    lan: Annotated[
        bool, typer.Option("--lan", help="For the tablets in the shop's network too, each let in by a code.")
    ] = False,
    port: Annotated[int, typer.Option("--port", metavar="N", help="The port; 0 takes a free one.")] = 8010,
    cert: Annotated[
        Path | None, typer.Option("--cert", metavar="FILE", help="A certificate (PEM), for https.")
    ] = None,
    key: Annotated[
        Path | None, typer.Option("--key", metavar="FILE", help="The certificate's key (PEM).")
    ] = None,
) -> None:
    """Serve the pages until Ctrl-C: for a browser on this machine, and with --lan for the shop's tablets.

    The commands work beside it. One ledger has one server.

    Example: mountbook serve --lan
    """
    with session.open_ledger() as ledger:
        shop = ledger.shop
        zone = ledger.zone
    load_all_named()
    app.serve_pages(
        session.ledger_path(),
        settings=Path(typer.get_app_dir("mountbook")),
        shop=shop,
        zone=zone,
        now=session.now,
        care=web.LedgerCare(day=_said(session.care_of_today), evening=_said(session.audit_of_the_evening)),
        lan=lan,
        port=port,
        cert=cert,
        key=key,
        say=_say,
        say_code=lambda code: session.say(f"the code for the next tablet, once: {code}"),
    )
    session.say("stopped; every action in the ledger is whole")


def _said(care: Callable[[ledgers.Ledger], None]) -> Callable[[ledgers.Ledger], None]:
    """Return the care with its faults said at this machine: nobody waits for its answer at a page."""

    def taken(ledger: ledgers.Ledger) -> None:
        try:
            care(ledger)
        except MountbookError as fault:
            session.note(f"note: {fault.sentence}; {fault.cure}")
        except Exception as fault:
            session.note(f"note: {own_fault(fault).sentence}")

    return taken


def _say(address: app.Listening) -> None:
    session.say(f"the pages are at {address.here}")
    if address.lan:
        for name in address.lan:
            session.say(f"  for tablets: {name}")
        if not address.lan[0].startswith("https"):
            session.say("  without --cert and --key anybody in this network can read what is sent")
        _print_code(address.lan[0])
    session.say("Ctrl-C stops them")


def _print_code(address: str) -> None:
    """Print the address as a code for a tablet's camera, where the terminal can show one."""
    if not (sys.stdout.isatty() and session.speaks_unicode()):
        return
    import segno

    segno.make(address, micro=False).terminal(out=sys.stdout, compact=True)
