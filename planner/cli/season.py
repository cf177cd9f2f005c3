"""`stocktake`, `singles`, `season-end`, `hole-map`: the whole shop at the season's end."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.base.units import length_text, um_to_mm
from fleet.facts.standing import Place, read_standing
from planner.cli import session, terminal
from planner.cli.counter import Tag
from planner.paper import cautions

if TYPE_CHECKING:
    from planner.bench.season import PairSeason


def stocktake(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="Scanned tags, one a line; - reads the scanner.")
    ],
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Count by scan against the ledger. The count is entered as it is; nothing is moved by it.

    Boots are missed only where any was scanned. Bindings are counted by lines such as
    `12 x Tarn 4+4 95 2024`, the sort as `mountbook stock list` writes it.

    Example: mountbook stocktake count.txt --by "Nell Abres"
    """
    from fleet.rules.stock import enter_count

    text = session.read_text(file, cure="one tag a line, UTF-8")
    with session.at_desk(by, None) as desk:
        found = enter_count(desk, text.splitlines())
    not_seen = [*found.not_seen, *(found.boots_not_seen or ())]
    session.answer(
        {
            "counted": found.counted,
            "expected": found.expected,
            "not_seen": not_seen,
            "unexpected": [{"tag": tag, "place": place} for tag, place in found.unexpected],
            "unknown": list(found.unknown),
            "twice": list(found.twice),
            "stock": [{"sort": s, "counted": n, "ledger": has} for s, n, has in found.stock],
        },
        (
            f"counted {found.counted}, the ledger has {found.expected} in the shop",
            *(f"  {tag}  not seen: look again, then `mountbook move {tag} --to missing`" for tag in not_seen),
            *(f"  {tag}  is here, the ledger has it {at}: scan it back" for tag, at in found.unexpected),
            *(f"  {tag}  is not in the ledger" for tag in found.unknown),
            *(
                f"  {number} x {sort}: the ledger has {has}; `mountbook stock in` or `stock out`"
                for sort, number, has in found.stock
                if number != has
            ),
            *([f"  scanned twice, counted once: {', '.join(found.twice)}"] if found.twice else []),
        ),
        json=json,
    )
    if not found.agrees:
        raise typer.Exit(1)


def hole_map(
    tags: Annotated[list[str], typer.Argument(metavar="TAG", help="The pairs, one page each.")],
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The PDF.")] = Path("hole-map.pdf"),
    paper: Annotated[str, typer.Option("--paper", metavar="SIZE", help="A4 or Letter.")] = "A4",
    json: session.Json = False,
) -> None:
    """Draw the holes of a pair on one page, as it leaves with a ski that is sold.

    Example: mountbook hole-map K-031 --out K-031.pdf
    """
    from planner.paper.case_paper import hole_map_pdf

    fleet = session.fleet()
    session.written_each(
        out,
        tags,
        lambda some: hole_map_pdf(fleet, some, printed_at=session.now(), paper=paper),
        what="hole map",
        key="tags",
        words=", ".join,
        json=json,
    )


def singles_lost(
    tag: Tag,
    ski: Annotated[str, typer.Option("--ski", metavar="SKI", help="Which ski is gone: A or B.")],
    why: Annotated[str, typer.Option("--why", metavar="TEXT", help="Kept as free text.")] = "",
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Say that one ski of a pair is gone; the pair is retired, the other ski is single.

    Example: mountbook singles lost K-031 --ski B --why "broken" --by "Vera Lind"
    """
    from fleet.facts.holes import Side
    from fleet.rules.holds import parse_side
    from planner.bench.season import lose_partner

    side = parse_side(ski)
    with session.at_desk(by, None) as desk:
        lose_partner(desk, tag, lost=side, why=why)
    single = f"{tag}/{'A' if side is Side.B else 'B'}"
    session.answer({"retired": tag, "single": single}, f"{tag} is retired; {single} is single", json=json)


def singles_match(json: session.Json = False) -> None:
    """Show which single skis make pairs: same model and length, holes alike; as many pairs as possible.

    Example: mountbook singles match
    """
    from fleet.events.event import facts_of
    from fleet.facts.carried import BENCH, stops_of
    from fleet.tables.snapshot import read_policy
    from planner.bench.season import match_singles, names, read_singles

    with session.open_ledger() as ledger:
        singles = read_singles(ledger.connection)
        stops = {ski.name: stops_of(facts_of(ledger.connection, ski.name[:-2])) for ski in singles}
        causes = {ski.name: read_standing(ledger.connection, ski.name[:-2]).causes for ski in singles}
        tolerance = read_policy(ledger.connection).um("pair_difference_mm")
    found = match_singles(singles, tolerance_um=tolerance)
    alone = [ski.name for ski in singles if ski.name not in names(found)]
    rows = [{"first": m.first, "second": m.second, "difference_mm": um_to_mm(m.difference_um)} for m in found]
    stopped = {name: words for name, words in stops.items() if words}
    lines = [f"{m.first} + {m.second}  holes alike within {length_text(m.difference_um)} mm" for m in found]
    lines.append(f"alone: {', '.join(alone) or 'none'}")
    for name, words in stopped.items():
        said = " and ".join(word if word == BENCH else Place(word).words for word in words)
        lines.append(f"{name} is {said}: {causes[name]}; this goes along into a new pair")
    told = [{"ski": name, "stops": list(words)} for name, words in stopped.items()]
    session.answer({"pairs": rows, "alone": alone, "stopped": told}, lines, json=json)


def singles_join(
    tag: Annotated[str, typer.Argument(metavar="NEW-TAG", help="The new pair's tag.")],
    first: Annotated[str, typer.Option("--a", metavar="SKI", help="Becomes ski A: K-031/A.")],
    second: Annotated[str, typer.Option("--b", metavar="SKI", help="Becomes ski B: K-044/B.")],
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Make two single skis a new pair. Holes come along; bindings and passes do not.

    Example: mountbook singles join K-900 --a K-031/A --b K-044/B --by "Vera Lind"
    """
    from planner.bench.season import join as make_pair

    with session.at_desk(by, None) as desk:
        pair = make_pair(desk, tag, first, second)
    told = f"{pair.tag} is {pair.place.words}: mount it, then the season prep sign-off"
    if pair.place is not Place.FLAT:
        told = f"{pair.tag} is {pair.place.words}, as its skis were; lift that first (mountbook clear)"
    session.answer({"tag": pair.tag, "place": pair.place.value}, told, json=json)


def season_end(
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Also a PDF: the fleet's life as a chart.")
    ] = None,
    winters: Annotated[
        int, typer.Option("--winters", metavar="N", min=0, max=10, help="Also play out the next N winters.")
    ] = 0,
    new_boots: session.NewBoots = None,
    paper: Annotated[str, typer.Option("--paper", metavar="SIZE", help="A4 or Letter.")] = "A4",
    json: session.Json = False,
) -> None:
    """Show each pair's season in figures, what to think about selling, and what the sets wanted lack.

    Pairs that may take no further mount by the shop's rule are named. With --out a page shows how many
    further mounts the fleet had year by year; with --winters also what the next winters would leave.

    Example: mountbook season-end --out season.pdf --winters 5
    """
    from dataclasses import asdict

    from fleet.tables.snapshot import read_fleet
    from planner.bench.season import (
        life_over_years,
        life_played_out,
        pair_seasons,
        pairs_that_end,
        to_buy,
    )

    with session.open_ledger() as ledger:
        fleet = read_fleet(ledger.connection)
        today = session.today(ledger.zone)
        rows = pair_seasons(ledger.connection, fleet, today=today)
    ends, years = pairs_that_end(fleet), list(life_over_years(fleet, today=today))
    if winters:
        from planner.planning.seasons.winters import boots_like_before, share_of_new, winters_of

        buy_boots = boots_like_before(fleet, share=share_of_new(fleet, new_boots))
        with terminal.progress("playing out winters"):
            played = winters_of(fleet, buy_boots, winters=winters, seed=1)
            years += [life_played_out(then, number) for number, (_, then) in enumerate(played, start=1)]
    buy = to_buy(fleet)
    if out is not None:
        from planner.exchange.export.whole_file import write_whole
        from planner.paper.chart import season_end_pdf

        write_whole(out, season_end_pdf(fleet, years, ends, buy, printed_at=session.now(), paper=paper))
    if json:
        session.emit_json(
            {
                "pairs": [asdict(row) for row in rows],
                "buy": [asdict(row) for row in buy],
                "ends": [asdict(pair) for pair in ends],
                "years": [asdict(year) for year in years],
            }
        )
        return
    numbers = ("days out", "looks", "moved", "repairs", "mounts left", "heels: seasons old")
    terminal.table(
        (
            terminal.column("pair"),
            terminal.column("suggestion", words=True),
            *(terminal.column(title, right=True) for title in numbers),
            terminal.column("why", words=True),
        ),
        [_season_cells(row) for row in rows],
    )
    for pair in ends:
        session.say(f"{pair.tag} ends: {pair.reason}")
    for want in buy:
        session.say(
            f"buy for {want.wish}: {want.quantity - want.standing} {want.kind}"
            f" {want.length_min_mm // 10} to {want.length_max_mm // 10} cm"
        )
    if out is not None:
        session.say(f"the fleet's life, year by year: {out}")
    session.note(f"{cautions.COUNTS} The manager decides what is sold.")


def _season_cells(row: PairSeason) -> tuple[object, ...]:
    from fleet.facts.pairs import EARLIER_UNKNOWN

    left = str(row.mounts_left) if row.earlier_mounts_known else f"at most {row.mounts_left}"
    heel = "not known" if row.heel_seasons is None else row.heel_seasons
    why = [*row.reasons, *[EARLIER_UNKNOWN] * (not row.earlier_mounts_known)]
    return row.tag, row.suggest, row.days_out, row.looks, row.moved, row.repairs, left, heel, "; ".join(why)
