"""`sample ...`, `loosens`: the in-season sample and its odds, and rates of screws found moved."""

import secrets
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

from fleet.base.days import day_text
from fleet.base.errors import BadInput, or_bad_input
from planner.cli import session, terminal
from planner.cli.when_used import when_used
from planner.paper import cautions

with when_used():
    from fleet.rules.loosening import record as loosening, survival
    from fleet.rules.sampling import record as samples, rule as sample_rule
    from planner.exchange import loosening_xlsx
    from planner.exchange.export import whole_file


def sample_status(json: session.Json = False) -> None:
    """Show when the next sample is due and what is open.

    Example: mountbook sample status
    """
    with session.open_ledger() as ledger:
        due, newest = samples.schedule(ledger.connection), samples.newest_sample(ledger.connection)
    session.answer(
        {
            "due": due.due,
            "after_operating_days": due.after_days,
            "operating_days_so_far": due.days_so_far,
            "sample": _json(newest) if newest else None,
        },
        [f"next sample: {due.words}", *(newest.said() if newest else ())],
        json=json,
        after=cautions.SAMPLE,
    )


def sample_draw(
    seed: Annotated[
        str | None, typer.Option("--seed", metavar="TEXT", help="To repeat a draw; else drawn at random.")
    ] = None,
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Draw today's sample: half from today's returns, half from the rack. The seed is recorded.

    Only pairs of the kinds that the policy sample_kinds names are counted and drawn.

    Example: mountbook sample draw --by "Vera Lind"
    """
    with session.at_desk(by, None) as desk:
        drawn = samples.draw_sample(desk, seed=seed or secrets.token_hex(8))
    session.answer(_json(drawn), drawn.said(), json=json, after=cautions.SAMPLE)


def sample_result(
    unit: Annotated[str, typer.Argument(metavar="UNIT", help='The pair or ski drawn: K-031 or "K-031 A".')],
    found: Annotated[str, typer.Option("--found", metavar="CLASS", help="in-order, I, II or III.")],
    device: Annotated[str, typer.Option("--device", metavar="TEXT", help="The test device and its number.")],
    remark: Annotated[str, typer.Option("--remark", metavar="TEXT", help="Kept as free text.")] = "",
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Enter what a qualified person found with a device. II is held at once, III is withdrawn.

    Example: mountbook sample result "K-031 A" --found in-order --device "bench 1" --by "Vera Lind"
    """
    meant = sample_rule.class_typed(found)
    with session.at_desk(by, None) as desk:
        sample = samples.record_result(desk, unit, meant, device=device, remark=remark)
    session.answer(_json(sample), f"{unit}: {meant}; {sample.to_go}", json=json)


def sample_close(by: session.By = None, json: session.Json = False) -> None:
    """Close the sample. PASS or FAIL follows from the counts; the next date from the outcome.

    Example: mountbook sample close --by "Vera Lind"
    """
    with session.at_desk(by, None) as desk:
        sample = samples.close_sample(desk)
        due = samples.schedule(desk.connection)
    session.answer(
        _json(sample) | {"next_after_operating_days": due.after_days},
        f"sample {sample.entry}: {sample.closed}; the next after {due.after_days} operating days",
        json=json,
    )


def sample_closed_day(
    day: Annotated[str, typer.Argument(metavar="DATE", help="The day, like 2026-12-29.")],
    why: Annotated[str, typer.Option("--why", metavar="TEXT", help="Kept as free text.")] = "closed",
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Say that a day was no operating day.

    Example: mountbook sample closed-day 2026-12-29 --why "tows closed"
    """
    wanted = session.parse_day(day, "DATE")
    with session.at_desk(by, None) as desk:
        samples.not_operating(desk, wanted or desk.day, why=why)
    said = day_text(wanted or desk.day)
    session.answer({"not_operating": day}, f"{said} does not count as an operating day", json=json)


def sample_odds(
    lot: Annotated[int, typer.Option("--lot", metavar="N", min=1, help="How many there are.")],
    bad: Annotated[int, typer.Option("--bad", metavar="N", min=0, help="How many of them are bad.")],
    size: Annotated[int, typer.Option("--size", metavar="N", min=0, help="How many are looked at.")],
    json: session.Json = False,
) -> None:
    """Say what a sample misses, exactly (hypergeometric). A sample does not find rare loose screws.

    Example: mountbook sample odds --lot 640 --bad 13 --size 64
    """
    with or_bad_input(cure="check the three numbers"):
        missed = float(sample_rule.misses_all(lot=lot, bad=bad, sample=size))
    session.answer(
        {"lot": lot, "bad": bad, "size": size, "misses_all": round(missed, 6)},
        f"a sample of {size} out of {lot} with {bad} bad ones misses them all with probability {missed:.2f}",
        json=json,
    )


def sample_standard(
    lot: Annotated[int, typer.Option("--lot", metavar="N", min=1, help="Units in the lot.")],
    aql: Annotated[str, typer.Option("--aql", metavar="NUMBER", help="0.65, 1.0, 1.5, 2.5, 4.0 ...")] = "1.5",
    level: Annotated[str, typer.Option("--level", metavar="LEVEL", help="S-1 to S-4, I, II, III.")] = "II",
    tightened: Annotated[bool, typer.Option("--tightened", help="Tightened inspection.")] = False,
    json: session.Json = False,
) -> None:
    """Show the single-sampling plan of MIL-STD-105E / ISO 2859-1 for a lot, as an alternative.

    Example: mountbook sample standard --lot 640 --aql 1.5
    """
    plan = sample_rule.standard_plan(lot, aql=aql, level=level, tightened=tightened)
    arrow = f", arrow {plan.arrow} to {plan.plan_letter}" if plan.arrow else ""
    everything = " (all of them)" if plan.all_of_them else ""
    session.answer(
        {
            "letter": plan.letter,
            "arrow": plan.arrow,
            "plan_letter": plan.plan_letter,
            "size": plan.size,
            "accept": plan.accept,
            "reject": plan.reject,
            "all_of_them": plan.all_of_them,
        },
        f"letter {plan.letter}{arrow}: take {plan.size}{everything}, accept at {plan.accept} or fewer"
        f" bad ones, reject from {plan.reject}",
        json=json,
        after="table from one public transcription; the original scan was not read",
    )


def _json(sample: Any) -> dict[str, Any]:
    return {
        "sample": sample.entry,
        "day": sample.drawn.day.isoformat(),
        "seed": sample.drawn.seed,
        "lot": sample.drawn.lot,
        "kinds": list(sample.drawn.kinds or ()),
        "size": sample.drawn.size,
        "class_1_allowed": sample.drawn.allowed,
        "limit_derived": sample.drawn.derived,
        "from_returns": list(sample.drawn.from_returns),
        "from_rack": list(sample.drawn.from_rack),
        "results": {unit: found.value for unit, found in sample.results.items()},
        "outcome": sample.closed,
    }


def loosens(
    by_group: Annotated[
        str,
        typer.Option("--group", metavar="GROUP", help="pattern, model, construction, glue, season or jig."),
    ] = "pattern",
    svg: Annotated[Path | None, typer.Option("--svg", metavar="FILE", help="The curve as a drawing.")] = None,
    xlsx: Annotated[Path | None, typer.Option("--xlsx", metavar="FILE", help="Rates and curve.")] = None,
    json: session.Json = False,
) -> None:
    """Show how often screws moved, by group (few looks count less), and after how many days out.

    It orders the recheck list; it never shortens the shop's minimum.

    Example: mountbook loosens --group pattern
    """
    if by_group not in list(loosening.By):
        raise BadInput(f"{by_group!r} is not a group", cure=f"one of: {', '.join(loosening.By)}")
    with session.open_ledger() as ledger:
        rates = loosening.loosening_rates(ledger.connection, loosening.By(by_group))
        mounts = loosening.spans(ledger.connection)
    if xlsx is not None:
        whole_file.not_over_a_workbook(xlsx)
    steps = survival.curve(mounts)
    last = max((span.days for span in mounts), default=0)
    if svg is not None:
        whole_file.write_whole(
            svg, survival.as_svg(steps, last_day=last, title="Days out to the first movement").encode()
        )
    if xlsx is not None:
        whole_file.write_whole(xlsx, loosening_xlsx.loosening_xlsx(rates, steps, group=by_group))
    numbers = ("moved", "looks", "rate %", "from %", "to %")
    columns = (
        terminal.column(by_group, words=True),
        *(terminal.column(title, right=True) for title in numbers),
        terminal.column("beside the others", words=True),
    )
    cells = [
        (r.group, r.moved, r.looks, *(f"{x * 100:.2f}" for x in (r.shrunk, r.low, r.high)), r.verdict.value)
        for r in rates
    ]
    drawn = survival.as_text(steps, last_day=last, ascii_only=not session.speaks_unicode())
    session.answer(
        {
            "group": by_group,
            "rates": [
                {
                    "group": r.group,
                    "moved": r.moved,
                    "looks": r.looks,
                    "rate_percent": round(r.shrunk * 100, 2),
                    "low_percent": round(r.low * 100, 2),
                    "high_percent": round(r.high * 100, 2),
                    "worse_than_rest": round(r.worse, 3),
                    "verdict": r.verdict.value,
                }
                for r in rates
            ],
            "curve": [
                {"day": s.day, "at_risk": s.at_risk, "moved": s.moved, "still": round(s.still, 4)}
                for s in steps
            ],
        },
        [
            partial(terminal.table, columns, cells) if rates else "no look is on record yet",
            "",
            *drawn.splitlines(),
        ],
        json=json,
        after=cautions.COUNTS,
    )
