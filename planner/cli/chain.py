"""`mountbook chain`: several shops, each with its own ledger, in one plan."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.base.errors import BadInput
from fleet.base.units import counted
from planner.cli import session, terminal
from planner.cli.when_used import when_used

with when_used():
    from fleet.ledger import ledger as ledgers
    from fleet.rules import loads as sent_loads
    from fleet.tables import snapshot
    from planner.bench import vans
    from planner.paper import plan_folder
    from planner.plan import chain as chains, part_prices
    from planner.planning.chain import plan as chain_planning, way_home

if TYPE_CHECKING:
    from fleet.events.movement import LoadSent


def chain_plan(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The shops and the vans, as TOML.")],
    out: Annotated[Path, typer.Option("--out", metavar="FOLDER", help="Where all plans and lists go.")],
    ready_by: Annotated[
        str | None, typer.Option("--ready-by", metavar="DATE", help="The day the sets must be ready.")
    ] = None,
    seconds: Annotated[
        float | None,
        typer.Option("--seconds", metavar="N", min=0, help="Choose the moves in that time; else a minute."),
    ] = None,
    json: session.Json = False,
) -> None:
    """Plan several shops together: who serves what, and what the vans take from shop to shop.

    A proposal: every ledger is read and stays as it is. Whatever is stopped, out, ordered or in question
    does not move. FILE names the shops and the vans:

    \b
    [[shop]]
    name = "North"
    ledger = "north.db"
    minutes = 2400
    [[van]]
    from = "North"
    to = "South"
    day = 2026-11-30
    pairs = 6
    boots = 8
    bindings = 4
    minutes = 5

    The minutes of a van are what each thing that moves costs; its
    price, in money, is what the shop that it comes to pays for each. A shop's budget is for parts and that.

    Example: mountbook chain plan chain.toml --out plans/chain --ready-by 2026-12-04
    """
    plan_folder.refuse_no_folder(out)
    moment, day = session.now(), session.parse_day(ready_by, "--ready-by")
    chain = chains.read_chain(file)
    with terminal.progress("reading the ledgers") as say:
        fleets, _ = read_shops(chain)
        plan = chain_planning.plan_chain(
            fleets,
            chain,
            now=moment,
            ready_by=day.isoformat() if day else None,
            seconds=chain_planning.REPAIR_SECONDS if seconds is None else seconds,
            say=say,
        )
        files, not_drawn = plan_folder.write_chain(
            out, fleets=fleets, chain=chain, plan=plan, printed_at=moment, progress=say
        )
    lines = [*_lines(chain, plan), *(f"  {made}" for made in files)]
    session.answer(chains.chain_plan_to_json(chain, plan), lines, json=json, folded=True)
    session.end_with((not_drawn, "NOT DRAWN"))


def read_shops(chain: chains.Chain) -> tuple[dict[str, snapshot.Fleet], dict[str, list[LoadSent]]]:
    """Every shop's fleet as its ledger stands, and its loads ever. BadInput where two ledgers are of one
    shop.
    """
    fleets: dict[str, snapshot.Fleet] = {}
    loads: dict[str, list[LoadSent]] = {}
    for shop in chain.shops:
        with ledgers.Ledger.open(shop.ledger) as ledger, ledger.reading() as connection:
            fleets[shop.name] = sent_loads.with_lent(snapshot.read_fleet(connection), connection)
            loads[shop.name] = sent_loads.loads_ever(connection)
        same = [name for name, fleet in fleets.items() if fleet.shop == fleets[shop.name].shop]
        if len(same) > 1:
            raise BadInput(
                f"the ledgers of {' and '.join(same)} are both of the shop {fleets[shop.name].shop!r}",
                cure="name the ledger of each shop, not two copies of one",
            )
    return fleets, loads


def _lines(chain: chains.Chain, plan: chains.ChainPlan) -> Iterator[str | Callable[[], None]]:
    served = sum(each.totals.served for each in plan.plans.values())
    wanted = sum(each.totals.wanted for each in plan.plans.values())
    yield f"{served} of {wanted} sets served in {len(plan.plans)} shops, {chains.result_of(plan)}"
    yield from chains.left_open(plan)
    paid = chain.paid_cents(plan.moves)
    for name, each in plan.plans.items():
        t = each.totals
        parts = "" if t.parts_cents is None else f", {part_prices.money_text(t.parts_cents)} for parts"
        vans = f", {part_prices.money_text(paid[name])} for what comes" if paid[name] else ""
        yield (
            f"{name}: {t.served} of {t.wanted} sets, {counted(t.drilled, 'hole')} to drill,"
            f" {counted(t.minutes, 'bench minute')}{parts}{vans}"
        )
    load = chains.loads(chain, plan.moves)
    yield from (f"van {run.name}: {chains.load_text(load[run.name])}" for run in chain.runs)
    notes = ["A proposal: read chain.xlsx first. Each shop issues its own work orders from its folder."]
    if plan.stays:
        stay = f"{counted(len(plan.stays), 'thing')} no van takes; why stands in chain.xlsx, Stays"
        notes = [stay, *notes]
    yield from (partial(session.note, line) for line in notes)


def chain_home(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The shops and the vans, as TOML.")],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FOLDER", help="Where the pick lists go; else only said.")
    ] = None,
    json: session.Json = False,
) -> None:
    """Say what stands in another shop than its own; with --out, which van brings it home, and its pick lists.

    Each pair, boots and loose bindings go back to the shop that had them first, by a run that leaves today or
    later, as many as there is room for. `chain send` and `chain receive` enter it, as for any load.

    Example: mountbook chain home chain.toml --out plans/home
    """
    if out is not None:
        plan_folder.refuse_no_folder(out)
    moment, chain = session.now(), chains.read_chain(file)
    fleets, sent = read_shops(chain)
    chain = chain_planning.in_time(chain, fleets, moment)
    away = way_home.away_from_home(fleets, sent, moment)
    moves, stays = way_home.way_home(chain, away)
    files = out and plan_folder.write_way_home(
        out,
        fleets=fleets,
        chain=chain,
        moves=moves,
        stays=tuple((each.stands, " and ".join(each.names), each.stays) for each in stays),
        printed_at=moment,
    )
    rows = [asdict(each) | {"names": list(each.names), "thing": each.thing.value} for each in away]
    going = [{"run": m.run, "thing": m.thing.value, "names": list(m.names)} for m in moves]
    load = chains.loads(chain, moves)
    stand = [f"{' and '.join(each.names)}: stands in {each.stands}, its home is {each.home}" for each in away]
    stay = [f"STAYS: {' and '.join(each.names)}: {each.stays}" for each in stays]
    vans = [
        f"van {run.name}: {chains.load_text(load[run.name])}"
        for run in chain.runs
        if any(load[run.name].values())
    ]
    session.answer(
        {"away": rows, "moves": going, "stays": [list(each.names) for each in stays]},
        [
            *stand,
            *(partial(session.note, line) for line in stay),
            *vans,
            *(f"  {made}" for made in files or ()),
            *([] if away else ["every thing stands in its own shop, as far as the ledgers tell"]),
        ],
        json=json,
        folded=True,
    )


Run = Annotated[str, typer.Option("--run", metavar="NAME", help="The run, as its pick list names it.")]
Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="The folder of `chain plan`.")]


def chain_send(
    folder: Folder,
    run: Run,
    by: session.By = None,
    but: Annotated[
        list[str] | None, typer.Option("--but", metavar="TAG", help="Stays here after all; repeat.")
    ] = None,
    json: session.Json = False,
) -> None:
    """Enter that a van left with its load: here it is in transit, at the other shop on its way.

    Each thing is looked up anew: what was stopped, ordered or handed out since the plan stays, and is named.
    What this ledger knows of it goes along in the folder, sealed. Both ledgers are those of the plan.

    Example: mountbook chain send plans/chain --run "North to South, 2026-11-30" --by "Ida Fennweg"
    """
    with _both_ledgers(folder, run, by, leaves=True) as (planned, home, there, name):
        sent = vans.send_run(planned, home, there, by=name, now=session.now(), but=but or ())
    session.answer(
        {"run": run, "sent": list(sent.names), "stays": dict(sent.stays)},
        (
            f"sent to {planned.run.reaches}: {', '.join(sent.names)}",
            f'  there: mountbook chain receive {folder} --run "{run}" --by NAME',
        ),
        json=json,
    )
    for each, why in sent.stays.items():
        session.note(f"STAYS: {each}: {why}")
    if sent.stays:
        raise typer.Exit(1)


def chain_receive(
    folder: Folder,
    run: Run,
    by: session.By = None,
    missing: Annotated[
        list[str] | None, typer.Option("--missing", metavar="TAG", help="Was not in the van; repeat.")
    ] = None,
    json: session.Json = False,
) -> None:
    """Take in what a van brought: its holes, mounts, notes and stops come along from the other ledger.

    A pair then is back, and waits for a look here; nobody knows for which sole its binding stands. What is
    --missing stays on its way, on the day's list of both shops.

    Example: mountbook chain receive plans/chain --run "North to South, 2026-11-30" --by "Vera Lind"
    """
    with _both_ledgers(folder, run, by, leaves=False) as (planned, home, there, name):
        came = vans.receive_run(planned, home, there, by=name, now=session.now(), missing=missing or ())
    session.answer(
        {"run": run, "taken_in": list(came.names), "on_the_way": list(came.on_the_way)},
        f"taken in at {planned.run.reaches}: {', '.join(came.names) or 'nothing'}",
        json=json,
        folded=True,
    )
    for each, why in came.still_there.items():
        session.note(f"STILL IN THE OTHER LEDGER: {each}: {why}")
    if came.on_the_way:
        session.note(f"STILL ON THE WAY: {', '.join(came.on_the_way)}")
    session.end_with((came.faults, "NOT TAKEN IN"))
    if came.on_the_way or came.still_there:
        raise typer.Exit(1)


@contextmanager
def _both_ledgers(
    folder: Path, run: str, by: str | None, *, leaves: bool
) -> Iterator[tuple[vans.PlannedRun, ledgers.Ledger, ledgers.Ledger, str]]:
    """The run, the ledgers that it leaves and reaches, and who signs in the one of them."""
    planned = vans.run_of(folder, run)
    with session.open_ledger(planned.leaves) as home, session.open_ledger(planned.reaches) as there:
        yield planned, home, there, session.who_enters(home if leaves else there, by)
