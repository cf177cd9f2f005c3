"""`why`, `where`, `whatif`, `plan-compare`: why a boot is on a pair, and what would change it.

And `life`, `mounts-worth`: the further mounts that skis can take, and what the last of them are worth.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

from fleet.base.errors import BadInput
from fleet.base.units import counted, length_text, toward, um_to_mm
from fleet.facts.pairs import EARLIER_UNKNOWN
from planner.cli import session, terminal
from planner.cli.when_used import when_used
from planner.plan.fault_isolation import Fault

with when_used():
    from fleet.rules import find
    from fleet.tables import snapshot
    from planner.geometry.life import fleet_life, sequence
    from planner.geometry.why import answer as answers, what_if
    from planner.plan import part_prices, plan_file, set_aside
    from planner.planning.explain import alternatives, case as plan_case, compare, remedies, report
    from planner.planning.replan import again
    from planner.planning.seasons import winters as season_winters


Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="A folder that `mountbook plan` wrote.")]


def why(
    what: Annotated[str, typer.Argument(metavar="PAIR", help="A pair; of a plan, also a boot or a want.")],
    boot_or_plan: Annotated[
        str, typer.Argument(metavar="BOOT|FOLDER", help="The boot's tag, or a folder that `plan` wrote.")
    ],
    pattern: Annotated[
        str | None, typer.Option("--pattern", metavar="P", help="This pattern; else every declared one.")
    ] = None,
    json: session.Json = False,
) -> None:
    """Say whether a boot may go on a pair; if not, what blocks it and the nearest change that would help.

    With the folder of a plan: why the pair got this boot and this way, or what would serve a want that is
    short. The best plans without the choice, and with something bought, are found by solving again.

    Example: mountbook why K-031 B-210

    Example: mountbook why K-031 plans/autumn
    """
    fleet = session.fleet()
    names_a_plan = "/" in boot_or_plan or "\\" in boot_or_plan or Path(boot_or_plan).exists()
    if boot_or_plan not in fleet.boots and names_a_plan:
        if pattern is not None:
            raise BadInput("--pattern is asked of a pair and a boot, not of a plan", cure="leave it out")
        _why_of_plan(fleet, what, Path(boot_or_plan), json=json)
        return
    answer = answers.why(fleet, pair_tag=what, boot_tag=boot_or_plan, pattern_name=pattern)
    session.answer(answer.to_json(), answers.why_lines(answer), json=json, good=answer.possible)


def _why_of_plan(fleet: snapshot.Fleet, what: str, folder: Path, *, json: bool) -> None:
    plan = plan_file.read_plan(folder)
    short = next((u for u in plan.unserved if u.wish == what), None)
    if short is None:
        alternatives.find_set(plan.sets, what)
    case, aside = set_aside.plan_without_faulty(
        set_aside.as_planned(fleet, plan),
        lambda some: plan_case.build_case(some, plan, say=session.note),
        served=lambda case: len(case.problem.plannable),
    )
    if short is not None:
        found = remedies.remedies(case, what, say=session.note)
        _answer(json, report.remedies_json(short, found), report.remedy_lines(short, found), aside)
        return
    argument = alternatives.argue(case, what)
    life = alternatives.life_cost(case.fleet, argument.planned)
    lines = [*report.argument_lines(argument), *([] if life is None else [report.life_line(life)])]
    left = None if life is None else {"pattern": life.pattern, "before": life.before, "after": life.after}
    _answer(json, report.argument_json(argument) | {"further_mounts": left}, lines, aside)


def whatif(
    folder: Annotated[
        Path | None, typer.Argument(metavar="FOLDER", help="A plan to make again; else the fleet is asked.")
    ] = None,
    spacing: Annotated[
        str | None, typer.Option("--spacing", metavar="MM", help="Another spacing, centre to centre.")
    ] = None,
    window: Annotated[
        str | None, typer.Option("--window", metavar="MM", help="Another limit of the boot centre's offset.")
    ] = None,
    convention: Annotated[
        str | None,
        typer.Option(
            "--convention", metavar="WHICH", help="mid-sole or pin-line on the mark, for every pattern."
        ),
    ] = None,
    kind: Annotated[
        str | None, typer.Option("--kind", metavar="KIND", help="These pairs only: telemark, alpine, ...")
    ] = None,
    pin: Annotated[
        str | None,
        typer.Option("--pin", metavar="MM", help="Toe end to pin line, for boots that have none on record."),
    ] = None,
    pair: Annotated[str | None, typer.Option("--pair", metavar="TAG", help="This pair only.")] = None,
    bindings: Annotated[
        list[str] | None,
        typer.Option("--bindings", metavar="N x PATTERN MM", help="Bindings bought, with a brake; repeat."),
    ] = None,
    boots: Annotated[
        list[str] | None,
        typer.Option("--boots", metavar="N x TAG", help="Boots bought, just like that one; repeat."),
    ] = None,
    leave_out: Annotated[
        list[str] | None, typer.Option("--leave-out", metavar="TAG", help="A pair not to plan; repeat.")
    ] = None,
    json: session.Json = False,
) -> None:
    """Compare another spacing, offset limit or mount convention: which pairs gain or lose which positions.

    With the folder of a plan: plan again as if something were different, or were bought, and compare. Of the
    best plans then it is the one that changes the fewest sets. Nothing is written.

    Example: mountbook whatif --spacing 12

    Example: mountbook whatif --convention pin-line --pin 145 --kind telemark

    Example: mountbook whatif plans/autumn --bindings "6 x T4/H4 100"
    """
    of_fleet = {"--convention": convention, "--kind": kind, "--pin": pin, "--pair": pair}
    of_plan = {"--bindings": bindings, "--boots": boots, "--leave-out": leave_out}
    for name, given in (of_plan if folder is None else of_fleet).items():
        if given:
            asked = "a plan" if folder is None else "the fleet, not of a plan"
            raise BadInput(f"{name} is asked of {asked}", cure="name its folder, or leave the option out")
    said = {"spacing_mm": spacing, "offset_limit_mm": window}
    values = {name: value for name, value in said.items() if value is not None}
    if folder is not None:
        _what_if_of_plan(folder, values, bindings or [], boots or [], leave_out or [], json=json)
        return
    fleet = session.fleet()
    found = what_if.what_if(
        fleet,
        values=values,
        convention=what_if.convention_named(convention),
        only_pair=pair,
        kind=find.kind_named(kind, fleet.policy),
        pin_um=None if pin is None else answers.length_typed(pin, "60"),
    )
    session.answer(found.to_json(), answers.what_if_lines(found), json=json)


def _what_if_of_plan(
    folder: Path,
    values: dict[str, str],
    bindings: Sequence[str],
    boots: Sequence[str],
    left_out: Sequence[str],
    *,
    json: bool,
) -> None:
    what = plan_case.Supposed(
        values=values,
        bindings=[plan_case.bought_from(text) for text in bindings],
        boots_like=dict(plan_case.boots_from(text) for text in boots),
        left_out=left_out,
    )
    plan = plan_file.read_plan(folder)
    other, aside = set_aside.plan_without_faulty(
        plan_case.supposed_fleet(set_aside.as_planned(session.fleet(), plan), what),
        lambda fleet: again.plan_nearest(fleet, plan, progress=session.note),
        served=lambda made: made.totals.served,
    )
    found = compare.compare_plans(plan, set_aside.with_set_aside(other, aside) if aside else other)
    _answer(json, compare.difference_json(found), compare.difference_lines(found), aside)


def plan_compare(first: Folder, second: Folder, json: session.Json = False) -> None:
    """Put two plans beside each other: what changed, and what it costs.

    Example: mountbook plan-compare plans/autumn plans/second
    """
    found = compare.compare_plans(plan_file.read_plan(first), plan_file.read_plan(second))
    _answer(json, compare.difference_json(found), compare.difference_lines(found))


def _answer(json: bool, said: dict[str, Any], lines: Iterable[str], aside: Sequence[Fault] = ()) -> None:
    """Print the answer, then what it was made without; exit code 1 if that is anything."""
    without = {"set_aside": [fault.to_json() for fault in aside]} if aside else {}
    session.answer(said | without, lines, json=json, folded=True)
    session.end_with((aside, "SET ASIDE"))


PairTag = Annotated[str, typer.Argument(metavar="PAIR", help="The pair's tag.")]


def where(
    pair: PairTag,
    pattern: Annotated[str, typer.Argument(metavar="PATTERN", help="The hole pattern's name.")],
    bsl_mm: Annotated[str, typer.Argument(metavar="BSL", help="Boot sole length in mm, as printed on it.")],
    pin_mm: Annotated[
        str | None, typer.Option("--pin", metavar="MM", help="Toe end to pin line, for a pin-line mount.")
    ] = None,
    json: session.Json = False,
) -> None:
    """List the legal offsets of a pattern on a pair for a sole length, exact, with what is reused.

    Example: mountbook where K-031 "Larch 4+4" 315
    """
    found = answers.listing(
        session.fleet(), pair_tag=pair, pattern_name=pattern, bsl_mm=bsl_mm, pin_mm=pin_mm
    )
    session.answer(found.to_json(), found.lines(), json=json, good=bool(found.legal or found.ways))


CAUTION = (
    "Places by the shop's spacing, not what the core bears: makers, policy and the head technician decide."
)


def life(
    pair: Annotated[
        str | None, typer.Argument(metavar="PAIR", help="One pair; all pairs without it.")
    ] = None,
    json: session.Json = False,
) -> None:
    """Say how many further mounts, each on holes of its own, a pair's spacing allows.

    Exact where one number stands; "2 to 3" where the search could not close the gap. Beside it: what taking
    the nearest legal offset each time leads to, and the order of mounts that achieves the longest life.

    Example: mountbook life K-031
    """
    fleet = session.fleet()
    lives = fleet_life.FleetLife(fleet)
    found = [lives.of(fleet.pair(pair))] if pair is not None else list(lives.all_pairs())
    lines = (
        "further mounts: by the spacing, by the shop's rule, taking the nearest place each time",
        "pair        holes  mounts  spacing  rule  nearest  pattern",
        *map(_life_row, found),
    )
    session.answer(
        {"pairs": [_life_json(one) for one in found]},
        lines if pair is None else _pair_lines(found[0]),
        json=json,
        after=CAUTION,
    )


def _life_row(one: fleet_life.PairLife) -> str:
    best = one.best
    number, nearest = (_number(best), best.nearest_first) if best else ("0", 0)
    words = best.pattern if best and best.at_least else one.why_none
    return (
        f"{one.tag:<12}{one.holes:>4}  {one.drilled_mounts:>6}  {number:>7}  {_by_rule(one):>4}"
        f"  {nearest:>7}  {words}{_unknown(one)}"
    )


def mounts_worth(
    winters: Annotated[int, typer.Option("--winters", metavar="N", min=1, max=30, help="How many.")] = 10,
    new_boots: session.NewBoots = None,
    seed: Annotated[int, typer.Option("--seed", metavar="N", help="For other draws of boots.")] = 1,
    json: session.Json = False,
) -> None:
    """Play out winters: what saving the last mounts of each pair brings, and what it costs in new holes.

    Each winter boots leave and others come, in groups and with sole lengths as in the shop's own ledger; the
    shop plans its sets wanted, and the work is done. Nothing is entered: whoever likes a row of the table
    sets its three worths as a policy; plans from then on keep these mounts before they count holes.

    Example: mountbook mounts-worth --winters 10
    """
    fleet = session.fleet()
    share = season_winters.share_of_new(fleet, new_boots)
    buy = season_winters.boots_like_before(fleet, share=share)
    rows = []
    with terminal.progress("playing out winters") as say:
        for number, worths in enumerate(season_winters.TABLES, start=1):
            if say is not None:
                say(f"{counted(winters, 'winter')}, table {number} of {len(season_winters.TABLES)}")
            rows.append(season_winters.played(fleet, buy, worths, winters=winters, seed=seed))
    best = season_winters.best_of(rows)
    numbers = ("sets served", "mounts drilled", "minutes", "pairs worn out")
    columns = [
        terminal.column("worth of the last, last but one, other mounts"),
        *(terminal.column(title, right=True) for title in numbers),
    ]
    cells = [
        (
            "not set" if row.worths is None else ", ".join(map(str, row.worths)),
            *(row.served, row.mounts, row.minutes, row.worn_out),
        )
        for row in rows
    ]
    advice = ["no table does better than none: leave them unset"]
    if best.worths is not None:
        advice = [
            "most for the skis, if a set served counts as five mounts, and a pair worn out too:",
            *(
                f'  mountbook policy set {name} {worth} --origin "played out over {winters} winters"'
                for name, worth in zip(part_prices.WORTHS, best.worths, strict=True)
            ),
        ]
    session.answer(
        {"new_boots_percent": 100 * share, "played": [asdict(row) for row in rows], "best": asdict(best)},
        [
            f"{counted(winters, 'winter')}, {100 * share:.0f} % of the boots new in each, one draw of them",
            partial(terminal.table, columns, cells),
            *advice,
        ],
        json=json,
        after=f"Invented winters: other boots, other figures; try other seeds. {CAUTION}",
    )


def _unknown(one: fleet_life.PairLife) -> str:
    return "" if one.earlier_mounts_known else f", {EARLIER_UNKNOWN}"


def _number(life_left: sequence.LifeLeft) -> str:
    least, most = life_left.at_least, life_left.at_most
    return str(least) if least == most else f"{least} to {most}"


def _by_rule(one: fleet_life.PairLife) -> int:
    """Return how many further mounts the shop's number of mounts leaves."""
    return max(0, one.mounts_max - one.drilled_mounts)


def _pair_lines(one: fleet_life.PairLife) -> list[str]:
    lines = [
        f"{one.tag}: {counted(one.holes, 'hole')} on both skis,"
        f" {counted(one.drilled_mounts, 'drilled mount')}{_unknown(one)}"
        f" (the shop's rule: {one.mounts_max}; a manager decides on more)"
    ]
    if one.why_none:
        lines.append(f"  no further mount: {one.why_none}")
    for left in one.by_pattern:
        lines.append(
            f"  {left.pattern}: places by spacing: {_number(left)}; by the shop's rule: {_by_rule(one)};"
            f" {left.nearest_first} where each mount takes the nearest place"
        )
        lines += [
            f"    {n}. sole {length_text(m.bsl_um)} mm, {toward(m.offset_um)}, {m.adds} holes a ski"
            for n, m in enumerate(left.mounts, start=1)
        ]
    return lines


def _life_json(one: fleet_life.PairLife) -> dict[str, Any]:
    return {
        "pair": one.tag,
        "holes": one.holes,
        "drilled_mounts": one.drilled_mounts,
        "earlier_mounts_known": one.earlier_mounts_known,
        "mounts_max": one.mounts_max,
        "by_the_rule": _by_rule(one),
        "why_none": one.why_none,
        "patterns": [
            {
                "pattern": left.pattern,
                "at_least": left.at_least,
                "at_most": left.at_most,
                "nearest_first": left.nearest_first,
                "mounts": [
                    {"bsl_mm": um_to_mm(m.bsl_um), "offset_mm": um_to_mm(m.offset_um), "adds": m.adds}
                    for m in left.mounts
                ],
            }
            for left in one.by_pattern
        ],
    }
