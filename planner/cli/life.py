"""`life`, `mounts-worth`: the further mounts that skis can take, and what the last of them are worth."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from fleet.base.units import counted, length_text, toward, um_to_mm
from planner.cli import session, terminal
from planner.cli.terminal import TerminalColumn

if TYPE_CHECKING:
    from planner.geometry.life.fleet_life import PairLife
    from planner.geometry.life.sequence import LifeLeft

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
    from planner.geometry.life.fleet_life import FleetLife

    fleet = session.fleet()
    lives = FleetLife(fleet)
    found = [lives.of(fleet.pair(pair))] if pair is not None else list(lives.all_pairs())
    lines = (
        "further mounts: by the spacing, by the shop's rule, taking the nearest place each time",
        "pair        holes  mounts  spacing  rule  nearest  pattern",
        *map(_row, found),
    )
    session.answer(
        {"pairs": [_json(one) for one in found]},
        lines if pair is None else _pair_lines(found[0]),
        json=json,
        after=CAUTION,
    )


def _row(one: PairLife) -> str:
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
    from dataclasses import asdict

    from planner.plan.part_prices import WORTHS
    from planner.planning.seasons.winters import TABLES, best_of, boots_like_before, played, share_of_new

    fleet = session.fleet()
    share = share_of_new(fleet, new_boots)
    buy = boots_like_before(fleet, share=share)
    rows = []
    with terminal.progress("playing out winters") as say:
        for number, worths in enumerate(TABLES, start=1):
            if say is not None:
                say(f"{counted(winters, 'winter')}, table {number} of {len(TABLES)}")
            rows.append(played(fleet, buy, worths, winters=winters, seed=seed))
    best = best_of(rows)
    if json:
        session.emit_json(
            {"new_boots_percent": 100 * share, "played": [asdict(row) for row in rows], "best": asdict(best)}
        )
        return
    session.say(
        f"{counted(winters, 'winter')}, {100 * share:.0f} % of the boots new in each, one draw of them"
    )
    terminal.table(
        (
            TerminalColumn("worth of the last, last but one, other mounts"),
            *(
                TerminalColumn(title, right=True)
                for title in ("sets served", "mounts drilled", "minutes", "pairs worn out")
            ),
        ),
        [
            (
                "not set" if row.worths is None else ", ".join(map(str, row.worths)),
                *(row.served, row.mounts, row.minutes, row.worn_out),
            )
            for row in rows
        ],
    )
    if best.worths is None:
        session.say("no table does better than none: leave them unset")
    else:
        session.say("most for the skis, if a set served counts as five mounts, and a pair worn out too:")
        for name, worth in zip(WORTHS, best.worths, strict=True):
            session.say(f'  mountbook policy set {name} {worth} --origin "played out over {winters} winters"')
    session.note(f"Invented winters: other boots, other figures; try other seeds. {CAUTION}")


def _unknown(one: PairLife) -> str:
    from fleet.facts.pairs import EARLIER_UNKNOWN

    return "" if one.earlier_mounts_known else f", {EARLIER_UNKNOWN}"


def _number(life_left: LifeLeft) -> str:
    least, most = life_left.at_least, life_left.at_most
    return str(least) if least == most else f"{least} to {most}"


def _by_rule(one: PairLife) -> int:
    """Return how many further mounts the shop's number of mounts leaves."""
    return max(0, one.mounts_max - one.drilled_mounts)


def _pair_lines(one: PairLife) -> list[str]:
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


def _json(one: PairLife) -> dict[str, Any]:
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
