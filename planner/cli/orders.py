"""`order issue|list|print|plugged|done|stop`: from a plan to the bench, and back into the ledger."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

from fleet.base.entries import utc_text
from fleet.base.errors import BadInput, MountbookError
from fleet.base.units import counted
from fleet.facts.standing import read_standings
from planner.cli import session, terminal
from planner.cli.when_used import when_used
from planner.plan.fault_isolation import Fault

with when_used():
    from fleet.ledger import desk as desks
    from fleet.tables import snapshot
    from planner.bench.orders import book, branches, close, typed
    from planner.bench.weeks import bench_file
    from planner.exchange.export import whole_file
    from planner.paper import cautions, issued_sheets
    from planner.plan import plan_file


Order = Annotated[
    str, typer.Argument(metavar="ORDER", help='Number and letter on the sheet: "WO-2611-0417 A".')
]
Orders = Annotated[
    list[str] | None,
    typer.Argument(metavar="ORDER", help='Number and letter on each sheet: "WO-2611-0417 A".'),
]
OrderFile = Annotated[
    Path | None,
    typer.Option("--file", metavar="FILE", help="More orders, one a line; - reads the codes from a scanner."),
]
MeasuredFile = Annotated[
    Path | None,
    typer.Option("--measured", metavar="FILE", help="csv of measured holes: ski, number, x_mm, y_mm."),
]
MeasuredHole = Annotated[
    list[str] | None,
    typer.Option("--hole", metavar='"A17=X,Y"', help="Hole 17 of ski A, measured: mm from that ski's mark."),
]
MeasuredAgain = Annotated[
    bool, typer.Option("--measured-again", help="The holes were measured again and are where they are said.")
]


Extra = Annotated[
    list[str] | None,
    typer.Option("--extra", metavar='"A=X,Y"', help="A hole that nobody planned: mm from that ski's mark."),
]


def order_issue(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The folder `mountbook plan` wrote.")],
    paper: Annotated[str, typer.Option("--paper", metavar="SIZE", help="A4 or Letter.")] = "A4",
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Judge a plan against today's ledger, open its work orders, and print them.

    An open order that the plan does not change stays; others are cancelled, and their sheets collected.

    Example: mountbook order issue plans/autumn --by "Vera Lind"
    """
    desk = partial(session.at_desk, by, at)
    issued, files, held_back, not_printed = issued_sheets.issue_drawn(
        plan_file.read_plan(folder), folder, desk, paper=paper
    )
    written = [str(path) for path in files.publish()]
    stand, collect = ([order.name for order in orders] for orders in (issued.stand, issued.collect))
    opened = counted(len(issued.orders) - len(stand), "work order")
    session.answer(
        {
            "issued": [_order_json(order) for order in issued.orders if order not in issued.stand],
            "stand": stand,
            "collect": collect,
            "as_they_are": issued.as_they_are,
            "files": written,
            "not_issued": [fault.to_json() for fault in held_back],
            "not_printed": [fault.to_json() for fault in not_printed],
        },
        [
            f"{opened} issued, {counted(issued.as_they_are, 'set')} to hand out without work",
            partial(_order_table, issued.orders, stand),
            *([f"COLLECT these sheets, they are void: {', '.join(collect)}"] if collect else []),
            *(partial(session.say, f"  {name}") for name in written),
        ],
        json=json,
        folded=True,
    )
    session.end_with((held_back, "NOT ISSUED"), (not_printed, "NOT PRINTED"))


def order_list(
    everything: Annotated[bool, typer.Option("--all", help="Closed and cancelled ones too.")] = False,
    json: session.Json = False,
) -> None:
    """List the open work orders, and the pairs that a stopped one keeps out of every plan.

    Example: mountbook order list
    """
    with session.open_ledger() as ledger:
        orders = book.read_orders(ledger.connection, everything=everything)
        stops = read_standings(ledger.connection, where="stop_entry > 0")
    lines = ["stopped at the bench, in no plan until a head technician ends it:"] if stops else []
    for stop in stops:
        lines += [
            f"  {stop.tag}  {stop.stop_why}  (entry {stop.stop_entry})",
            f'    mountbook clear {stop.tag} --why "..." --by NAME',
        ]
    session.answer(
        {
            "orders": [_order_json(order) for order in orders],
            "stopped": [{"pair": s.tag, "why": s.stop_why, "entry": s.stop_entry} for s in stops],
        },
        [partial(_order_table, orders) if orders else "no open work orders", *lines],
        json=json,
        folded=True,
    )


def order_print(
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The PDF.")],
    orders: Annotated[
        list[str] | None, typer.Argument(metavar="ORDER", help="Only these; without any, all open ones.")
    ] = None,
    bench: Annotated[
        Path | None, typer.Option("--bench", metavar="FOLDER", help="A bench plan: print in its order.")
    ] = None,
    day: Annotated[
        str,
        typer.Option("--day", metavar="DATE", help="With --bench: only the orders of that day."),
    ] = "",
    since: Annotated[
        int, typer.Option("--since", metavar="ENTRY", help="Only orders issued after this ledger entry.")
    ] = 0,
    html: Annotated[
        Path | None, typer.Option("--html", metavar="FILE", help="Also as one page for the tablet.")
    ] = None,
    paper: Annotated[str, typer.Option("--paper", metavar="SIZE", help="A4 or Letter.")] = "A4",
    json: session.Json = False,
) -> None:
    """Print open orders again: one, today's in the order of the bench, or what was issued since.

    A sheet is valid until something new is entered about its pair or binding. Then it is not printed.

    Example: mountbook order print --bench plans/bench --day 2026-11-30 --out today.pdf
    """
    calendar = bench_file.read_bench_file(bench) if bench is not None else None
    if day and calendar is None:
        raise BadInput("--day needs the calendar", cure="add --bench FOLDER")
    with session.open_ledger() as ledger, ledger.reading() as connection:
        printed = issued_sheets.print_again(
            connection, names=orders or (), calendar=calendar, day=day, since=since, paper=paper,
            now=session.now(),
        )  # fmt: skip
        page, failed = (
            issued_sheets.tablet_page(connection, printed, now=session.now()) if html else (b"", ())
        )
    if printed.data:
        whole_file.write_whole(out, printed.data)
    if html:
        whole_file.write_whole(html, page)
    where = f" in {out}" if printed.data else ""
    where += f"; for the tablet: {html}" if html else ""
    session.answer(
        {
            "printed": [order.name for order in printed.orders],
            "moved_past": [order.name for order in printed.past],
            "file": str(out) if printed.data else None,
        }
        | ({"page": str(html)} if html else {})
        | ({"not_printed": [f.to_json() for f in printed.faults]} if printed.faults else {}),
        [
            f"{counted(len(printed.orders), 'work order')}{where}",
            *(
                f"  {order.name}: {order.tag} or its binding changed since; do not work by it, plan again"
                for order in printed.past
            ),
        ],
        json=json,
        folded=True,
    )
    session.end_with((printed.faults, "NOT PRINTED"), (failed, "NOT ON THE PAGE"))


Spins = Annotated[
    list[str] | None,
    typer.Option("--spins", metavar='"A17"', help="The screw in old hole A17 spins; may be repeated."),
]


Filler = Annotated[
    str, typer.Option("--filler", metavar="NAME", help="What the holes were filled with, if not by the rule.")
]


def order_plugged(
    orders: Orders = None,
    file: OrderFile = None,
    spins: Spins = None,
    filler: Filler = "",
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Enter the first visit of orders: binding off, old holes plugged and filled. The filler's cure begins.

    Until it has cured the order cannot be done. With --spins that hole is filled too, and drilled again in
    the same place after the cure.

    Example: mountbook order plugged "WO-2611-0417 A" --by "Vera Lind"
    """
    named = _named(orders, file)
    _check_one(named, spins)

    def one(desk: desks.Desk, text: str) -> tuple[close.Plugged, str]:
        labels = book.find_order(desk.connection, text).labels
        screws = [typed.parse_screw(screw, labels) for screw in spins or ()]
        return close.plugged(desk, text, spins=screws, filler=filler), desk.zone

    first, refused = session.each_at_desk(by, at, named, one, what="order")
    said = [
        {
            "order": each.order.number,
            "revision": each.order.revision,
            "pair": each.order.tag,
            "entry": each.entry,
            "plugged": list(each.holes),
            "filler": each.filler,
            "not_before": None if each.cured is None else utc_text(each.cured),
        }
        for each, _ in first
    ]
    _answer_orders(
        named, said, [line for each in first for line in close.plugged_lines(*each)], refused, json=json
    )


def _named(orders: list[str] | None, file: Path | None) -> list[str]:
    """Return the orders typed and scanned, each once though the codes of both its skis were scanned."""

    def name(text: str) -> str:
        try:
            return book.find_order(connection, text).name
        except MountbookError:
            return text  # it is refused at the desk, in words

    typed = session.all_named(orders, file, what="order")
    if len(typed) == 1:
        return typed
    with session.open_ledger() as ledger, ledger.reading() as connection:
        return list(dict.fromkeys(name(text) for text in typed))


def _check_one(named: Sequence[str], *of_one: object) -> None:
    """Refuse what is said of the holes or bindings of one order where many are named."""
    if len(named) > 1 and any(of_one):
        raise BadInput(
            "what is said of holes or bindings belongs to one order",
            cure="enter that order by itself; nothing was entered",
        )


def _answer_orders(
    named: Sequence[str],
    said: list[dict[str, Any]],
    lines: list[str],
    refused: Sequence[Fault],
    *,
    json: bool,
) -> None:
    """One order is answered by itself; many as every batch is."""
    if len(named) == 1:
        session.answer(said[0], lines, json=json)
        return
    session.answer_each(said, lines, refused, more={}, json=json)


def order_done(
    orders: Orders = None,
    file: OrderFile = None,
    measured: MeasuredFile = None,
    hole: MeasuredHole = None,
    binding: Annotated[
        list[str] | None, typer.Option("--binding", metavar="ID", help="The two used, ski A first; else any.")
    ] = None,
    jig: Annotated[str, typer.Option("--jig", metavar="NAME", help="The jig that was used.")] = "",
    measured_again: MeasuredAgain = False,
    glue: Annotated[
        str | None,
        typer.Option("--glue", metavar="NAME", help="The glue in the holes, as on the sheet; or none."),
    ] = None,
    extra: Extra = None,
    insert: Annotated[
        list[str] | None,
        typer.Option("--insert", metavar='"A17=9.0"', help="Hole A17 holds an insert; mm drilled for it."),
    ] = None,
    seen_by: Annotated[
        str, typer.Option("--seen-by", metavar="NAME", help="Who saw the places before the first hole.")
    ] = "",
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Enter orders as done: drilled as planned, or where the holes were measured.

    Where a screw went into wood the glue is asked for, never assumed, and its cure begins.
    A second person of the staff list must look before the pair can go out.
    Of many orders each is entered by itself; those that need a value of their own are listed.

    Example: mountbook order done "WO-2611-0417 A" --glue wood_glue --hole "A17=101.5,-18.0" --by "Vera Lind"
    """
    named = _named(orders, file)
    _check_one(named, measured, hole, measured_again, extra, binding, insert)
    if len(named) == 1 and glue is None and session.may_ask():  # before the transaction: nobody else waits
        driven = session.read(lambda connection: close.screws_to_glue(connection, named[0]))
        if driven:
            glue = session.asked(f"Which glue went into the {driven} holes? Its name, or none: ")

    def one(desk: desks.Desk, text: str) -> close.Closed:
        takes_glue = len(named) == 1 or bool(close.screws_to_glue(desk.connection, text))
        labels = book.find_order(desk.connection, text).labels
        return close.done(
            desk,
            text,
            measured=typed.read_measured(measured, hole or (), labels),
            bindings=tuple(binding or ()),
            jig=jig,
            glue=glue if takes_glue else None,
            measured_again=measured_again,
            extra=typed.parse_extra(extra or ()),
            seen_by=session.person(seen_by, desk.connection) if seen_by else "",
            inserts=typed.parse_inserts(insert or (), labels),
        )

    closed, refused = session.each_at_desk(by, at, named, one, what="order")
    lines = [line for each in closed for line in close.closed_lines(each)]
    if any(each.drilled for each in closed) and not seen_by:
        lines.append("  nobody is named who saw the places before the first hole (--seen-by NAME)")
    _answer_orders(named, [_closed_json(each) for each in closed], lines, refused, json=json)


def order_stop(
    order: Order,
    why: Annotated[str, typer.Option("--why", metavar="TEXT", help="What happened; kept as free text.")] = "",
    drilled: Annotated[
        list[str] | None,
        typer.Option("--drilled", metavar='"A17"', help="Hole 17 of ski A is drilled; may be repeated."),
    ] = None,
    measured: MeasuredFile = None,
    hole: MeasuredHole = None,
    ski_a: Annotated[
        str, typer.Option("--ski-a", metavar="WHAT", help="Drilled on ski A: nothing, as-planned, not-known.")
    ] = "",
    ski_b: Annotated[
        str, typer.Option("--ski-b", metavar="WHAT", help="Drilled on ski B: nothing, as-planned, not-known.")
    ] = "",
    measured_again: MeasuredAgain = False,
    not_the_skis: Annotated[
        bool, typer.Option("--not-the-skis", help="Nothing was done, and the reason is not the skis.")
    ] = False,
    plugged: Annotated[
        list[str] | None, typer.Option("--plugged", metavar="HOLE", help="An old hole already plugged.")
    ] = None,
    filler: Filler = "",
    binding_off: Annotated[bool, typer.Option("--binding-off", help="The old binding is off.")] = False,
    spins: Spins = None,
    extra: Extra = None,
    fault: Annotated[
        list[str] | None,
        typer.Option("--fault", metavar='"A wet-core"', help="On ski A: wet-core, crack or delamination."),
    ] = None,
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Break an order off: what was drilled on each ski, and why. The pair is on hold until a head technician
    ends it (`mountbook clear`). A ski of which nobody knows what was drilled
    takes no new holes until it was surveyed bare.

    Example: mountbook order stop "WO-2611-0417 A" --drilled "A17" --ski-b nothing --why "core is wet"
    """
    said, drilled = typed.ask_drilled({"A": ski_a, "B": ski_b}, drilled or (), hole or (), measured, _ask)
    why = why or _ask("Why is the work stopped?")
    with session.at_desk(by, at) as desk:
        labels = book.find_order(desk.connection, order).labels
        closed = close.stop(
            desk,
            order,
            why=why,
            drilled=said,
            made=[typed.parse_screw(text, labels) for text in drilled],
            measured=typed.read_measured(measured, hole or (), labels),
            plugged=tuple(plugged or ()),
            binding_off=binding_off,
            about_skis=not not_the_skis,
            measured_again=measured_again,
            spins=[typed.parse_screw(text, labels) for text in spins or ()],
            extra=typed.parse_extra(extra or ()),
            faults=typed.parse_faults(fault or ()),
            filler=filler,
        )
    session.answer(_closed_json(closed), close.closed_lines(closed), json=json)


def order_branch(
    order: Order,
    branch: Annotated[
        str,
        typer.Argument(
            metavar="BRANCH",
            help="plug, insert, move, slipped, wet-core, crack, delamination or broken-off.",
        ),
    ],
    hole: Annotated[
        str, typer.Option("--hole", metavar='"A17"', help="Which hole, as on the order's sheet.")
    ] = "",
    ski: Annotated[str, typer.Option("--ski", metavar="SKI", help="Which ski: A or B.")] = "",
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="The PDF; without it the steps are shown.")
    ] = None,
    paper: Annotated[str, typer.Option("--paper", metavar="SIZE", help="A4 or Letter.")] = "A4",
    json: session.Json = False,
) -> None:
    """Say what to do where an order cannot go on: what to do, what to enter, and the line to type.

    A screw that spins in an old hole: plug and drill again, an insert, or another place. It enters nothing.

    Example: mountbook order branch "WO-2611-0417 A" insert --hole "A17" --out insert.pdf
    """
    with session.open_ledger() as ledger, ledger.reading() as connection:
        fleet = snapshot.read_fleet(connection)
        found = branches.branch_of(
            book.find_order(connection, order), branch, hole=hole, ski=ski, policy=fleet.policy
        )
    if out is not None:
        whole_file.write_whole(
            out, issued_sheets.branch_pdf(fleet, found, printed_at=session.now(), paper=paper)
        )
    lines: list[str | Callable[[], None]] = [f"{cautions.DEFER} {cautions.NO_SETTING}"]
    for number, step in enumerate(found.steps, start=1):
        lines.append(f"{number}. {step.lead}. {step.words}")
        lines += [partial(session.say, f"     {line}") for line in step.type.splitlines()]
    steps = [
        {"lead": s.lead, "words": s.words, "type": s.type.splitlines(), "origin": s.origin}
        for s in found.steps
    ]
    session.answer(
        {"branch": found.name, "order": found.order, "pair": found.tag, "steps": steps},
        lines if out is None else f"{found.order}, {found.name}: {out}",
        json=json,
        folded=True,
    )


def _ask(question: str) -> str:
    """Return the answer of somebody at a terminal; '' where there is no terminal."""
    return session.asked(f"{question} ") if session.may_ask() else ""


def _order_json(order: Any) -> dict[str, Any]:
    return {
        "order": order.number,
        "revision": order.revision,
        "pair": order.tag,
        "boot": order.boot,
        "way": order.way,
        "minutes": order.minutes,
        "state": order.state,
        "binding_from": order.giver,
        "needed_by": order.body["needed_by"],
    }


def _order_table(orders: Any, stand: Collection[str] = ()) -> None:
    terminal.table(
        (
            terminal.column("order"),
            terminal.column("state"),
            terminal.column("pair"),
            terminal.column("boot"),
            terminal.column("way", words=True),
            terminal.column("min", right=True),
            terminal.column("binding from", spare=True),
        ),
        [
            (o.name, "stands" if o.name in stand else o.state, o.tag, o.boot, o.way, o.minutes, o.giver or "")
            for o in orders
        ],
    )


def _closed_json(closed: close.Closed) -> dict[str, Any]:
    return {
        "order": closed.order.number,
        "revision": closed.order.revision,
        "pair": closed.order.tag,
        "place": closed.place.value,
        "entry": closed.entry,
        "drilled": list(closed.drilled),
        "plugged": list(closed.plugged),
        "bindings_on": list(closed.bindings_on),
        "bindings_off": list(closed.bindings_off),
        "glue": list(closed.glued_with),
        "hold": closed.hold,
    }
