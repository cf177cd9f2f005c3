"""`stocktake`, `singles`, `season-end`, `hole-map`: the whole shop at the season's end."""

from __future__ import annotations

from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from fleet.base.units import length_text, um_to_mm
from fleet.facts.holes import Side
from fleet.facts.pairs import EARLIER_UNKNOWN
from fleet.facts.standing import Place, read_standing
from planner.cli import session, terminal
from planner.cli.counter import Tag
from planner.cli.when_used import when_used
from planner.paper import cautions

with when_used():
    from fleet.facts import carried
    from fleet.rules import holds, stock
    from fleet.tables import snapshot
    from planner.bench import season as season_care
    from planner.exchange.export import whole_file
    from planner.paper import case_paper, chart
    from planner.planning.seasons import winters as season_winters


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
    text = session.read_text(file, cure="one tag a line, UTF-8")
    with session.at_desk(by, None) as desk:
        found = stock.enter_count(desk, text.splitlines())
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
        good=found.agrees,
    )


def hole_map(
    tags: Annotated[list[str], typer.Argument(metavar="TAG", help="The pairs, one page each.")],
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The PDF.")] = Path("hole-map.pdf"),
    paper: Annotated[str, typer.Option("--paper", metavar="SIZE", help="A4 or Letter.")] = "A4",
    json: session.Json = False,
) -> None:
    """Draw the holes of a pair on one page, as it leaves with a ski that is sold.

    Example: mountbook hole-map K-031 --out K-031.pdf
    """
    fleet = session.fleet()
    session.written_each(
        out,
        tags,
        lambda some: case_paper.hole_map_pdf(fleet, some, printed_at=session.now(), paper=paper),
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
    side = holds.parse_side(ski)
    with session.at_desk(by, None) as desk:
        season_care.lose_partner(desk, tag, lost=side, why=why)
    single = f"{tag}/{'A' if side is Side.B else 'B'}"
    session.answer({"retired": tag, "single": single}, f"{tag} is retired; {single} is single", json=json)


def singles_match(json: session.Json = False) -> None:
    """Show which single skis make pairs: same model and length, holes alike; as many pairs as possible.

    Example: mountbook singles match
    """
    from fleet.events.event import facts_of

    with session.open_ledger() as ledger:
        singles = season_care.read_singles(ledger.connection)
        stops = {ski.name: carried.stops_of(facts_of(ledger.connection, ski.name[:-2])) for ski in singles}
        causes = {ski.name: read_standing(ledger.connection, ski.name[:-2]).causes for ski in singles}
        tolerance = snapshot.read_policy(ledger.connection).um("pair_difference_mm")
    found = season_care.match_singles(singles, tolerance_um=tolerance)
    alone = [ski.name for ski in singles if ski.name not in season_care.names(found)]
    rows = [{"first": m.first, "second": m.second, "difference_mm": um_to_mm(m.difference_um)} for m in found]
    stopped = {name: words for name, words in stops.items() if words}
    lines = [f"{m.first} + {m.second}  holes alike within {length_text(m.difference_um)} mm" for m in found]
    lines.append(f"alone: {', '.join(alone) or 'none'}")
    for name, words in stopped.items():
        said = " and ".join(word if word == carried.BENCH else Place(word).words for word in words)
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
    with session.at_desk(by, None) as desk:
        pair = season_care.join(desk, tag, first, second)
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
    with session.open_ledger() as ledger:
        fleet = snapshot.read_fleet(ledger.connection)
        today = session.today(ledger.zone)
        rows = season_care.pair_seasons(ledger.connection, fleet, today=today)
    ends, years = season_care.pairs_that_end(fleet), list(season_care.life_over_years(fleet, today=today))
    if winters:
        buy_boots = season_winters.boots_like_before(
            fleet, share=season_winters.share_of_new(fleet, new_boots)
        )
        with terminal.progress("playing out winters"):
            played = season_winters.winters_of(fleet, buy_boots, winters=winters, seed=1)
            years += [
                season_care.life_played_out(then, number) for number, (_, then) in enumerate(played, start=1)
            ]
    buy = season_care.to_buy(fleet)
    if out is not None:
        whole_file.write_whole(
            out, chart.season_end_pdf(fleet, years, ends, buy, printed_at=session.now(), paper=paper)
        )
    numbers = ("days out", "looks", "moved", "repairs", "mounts left", "heels: seasons old")
    columns = (
        terminal.column("pair"),
        terminal.column("suggestion", words=True),
        *(terminal.column(title, right=True) for title in numbers),
        terminal.column("why", words=True),
    )
    session.answer(
        {
            "pairs": [asdict(row) for row in rows],
            "buy": [asdict(row) for row in buy],
            "ends": [{"tag": tag, "reason": reason} for tag, reason in ends.items()],
            "years": [asdict(year) for year in years],
        },
        [
            partial(terminal.table, columns, [_season_cells(row) for row in rows]),
            *(f"{tag} ends: {reason}" for tag, reason in ends.items()),
            *(
                f"buy for {want.wish}: {want.quantity - want.standing} {want.kind}"
                f" {want.length_min_mm // 10} to {want.length_max_mm // 10} cm"
                for want in buy
            ),
            *([f"the fleet's life, year by year: {out}"] if out is not None else []),
        ],
        json=json,
        after=f"{cautions.COUNTS} The manager decides what is sold.",
    )


def _season_cells(row: season_care.PairSeason) -> tuple[object, ...]:
    left = str(row.mounts_left) if row.earlier_mounts_known else f"at most {row.mounts_left}"
    heel = "not known" if row.heel_seasons is None else row.heel_seasons
    why = [*row.reasons, *[EARLIER_UNKNOWN] * (not row.earlier_mounts_known)]
    return row.tag, row.suggest, row.days_out, row.looks, row.moved, row.repairs, left, heel, "; ".join(why)
