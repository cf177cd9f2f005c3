"""`boot`, `note`, `kind`, `fit`, `stock`, `sole`, `release-test`, `calibration`: what is known."""

from typing import Annotated

import typer

from fleet.base.days import day_text, typed_day
from fleet.base.errors import BadInput, or_bad_input
from fleet.base.units import counted, mm_to_um, um_to_mm
from fleet.facts.pairs import Brake
from planner.cli import session, terminal
from planner.cli.counter import Tag
from planner.cli.when_used import when_used

with when_used():
    from fleet.ledger import history as histories
    from fleet.rules import boots, gate_desk, holds, notes, stock as stock_rules
    from fleet.tables import snapshot
    from planner.paper.ski_view import ski_words

Why = Annotated[str, typer.Option("--why", metavar="TEXT", help="The reason; kept as free text.")]


def boot(
    tag: Annotated[str, typer.Argument(metavar="TAG", help="The boot's tag.")],
    as_of: Annotated[
        str | None,
        typer.Option("--as-of", metavar="DATE", help="As the shop knew it at the end of that day."),
    ] = None,
    json: session.Json = False,
) -> None:
    """Show a boot: sole, kind, wear, where it is, notes, and everything ever entered about it.

    Example: mountbook boot B-210
    """
    with session.open_ledger() as ledger:
        meant = boots.boot_meant(ledger.connection, f"boot:{tag}") or tag
        history = histories.boot_history(ledger, meant, as_of=session.parse_day(as_of, "--as-of"))
    session.answer(ski_words.boot_json(history), ski_words.boot_lines(history), json=json)


def note(
    tag: Annotated[
        str | None,
        typer.Argument(metavar="TAG", help="A pair, a ski (K-031/A), a boot, a binding; else all asked."),
    ] = None,
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What is noted; kept as free text.")] = "",
    end: Annotated[bool, typer.Option("--end", help="The note holds no more.")] = False,
    took_it: Annotated[bool, typer.Option("--took-it", help="Do what the note proposes.")] = False,
    not_so: Annotated[bool, typer.Option("--not-so", help="What the note proposes is not so.")] = False,
    entry: Annotated[
        int | None, typer.Option("--entry", metavar="N", help="Which note, where several stand.")
    ] = None,
    why: Why = "",
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Note something about a thing, end a note, or answer what a word in a note proposes.

    Without a text it shows the notes that stand, without a tag what is asked and open. What is proposed is
    never done by itself: --took-it does it with the rights that it needs, --not-so says that it is not so.

    Example: mountbook note K-031 "edge blunt at the tip" --by "Vera Lind"
    """
    if [bool(text), end, took_it, not_so].count(True) > 1:
        raise BadInput("one thing at a time", cure="a text, or --end, or --took-it, or --not-so")
    if tag is None:
        if end or took_it or not_so:
            raise BadInput("a note is on something", cure="name the pair, ski, boot or binding")
        asked = session.read(notes.open_questions)
        rows = [{"on": each.note.name, "words": each.words, "entry": each.note.entry} for each in asked]
        session.answer({"open": rows}, [each.words for each in asked] or ["nothing is asked"], json=json)
        return
    if not (text or end or took_it or not_so):
        found = session.read(
            lambda connection: notes.notes_on(connection, notes.thing_meant(connection, tag))
        )
        lines = list(ski_words.note_lines(found)) or [f"no note on {tag}"]
        session.answer({"notes": [ski_words.note_json(each) for each in found]}, lines, json=json)
        return
    with session.at_desk(by, at) as desk:
        if text:
            done = [notes.make_note(desk, tag, text)]
        elif end:
            done = notes.end_notes(desk, tag, why=why, entry=entry)
        else:
            done = notes.answer(desk, tag, took=took_it, why=why, entry=entry)
    rows = [{"on": each.name, "entry": each.entry, "words": each.words} for each in done]
    session.answer({"done": rows}, [each.words for each in done], json=json)


def kind(
    model: Annotated[str, typer.Argument(metavar="MODEL", help="The model, as the ledger writes it.")],
    word: Annotated[str, typer.Argument(metavar="KIND", help="alpine, touring, telemark or junior.")],
    bindings: Annotated[bool, typer.Option("--bindings", help="A model of bindings, not boots.")] = False,
    yes: session.Yes = False,
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """State what a model of boots, or with --bindings of bindings, is for. Kinds that differ never meet.

    What that would change is shown and asked first.

    Example: mountbook kind "Gimmel 26" telemark --by "Vera Lind" --yes
    """
    number, effect = session.shown_first(
        f"{model}: {word}",
        lambda desk: gate_desk.state_kind(desk, "binding" if bindings else "boot", model, word),
        by=by,
        yes=yes,
        json=json,
    )
    session.answer({"model": model, "kind": word, "entry": number, **effect}, f"{model}: {word}", json=json)


def fit_list(json: session.Json = False) -> None:
    """Show which sole types both makers declare for which patterns. No row means no.

    Example: mountbook fit list
    """
    fits = session.read(snapshot.read_fits)
    rows = [
        {"sole_type": f.sole_type, "pattern": f.pattern, "sheets": [f.binding_sheet, f.boot_sheet]}
        for f in fits
    ]
    titles = ("sole type", "pattern", "binding maker's sheet", "boot maker's sheet")
    terminal.answer(
        {"fits": rows},
        [terminal.column(title, words=True) for title in titles],
        [(f.sole_type, f.pattern, f.binding_sheet, f.boot_sheet) for f in fits],
        empty="no fit is declared",
        json=json,
    )


def fit_take_back(
    sole_type: Annotated[str, typer.Argument(metavar="SOLE-TYPE", help="As the boots have it.")],
    pattern: Annotated[str, typer.Argument(metavar="PATTERN", help="The pattern's name.")],
    why: Why = "",
    yes: session.Yes = False,
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Take a declared fit back: from now on it is in no plan and no such boot goes out with it. Signed.

    What that would change is shown and asked first.

    Example: mountbook fit take-back "ISO 9523" "Tarn 4+4" --why "withdrawn by its maker" --yes
    """
    number, effect = session.shown_first(
        f"the fit of {sole_type} in {pattern} taken back",
        lambda desk: gate_desk.take_fit_back(desk, sole_type, pattern, why=why),
        by=by,
        yes=yes,
        json=json,
    )
    words = f"{sole_type} in {pattern} is taken back, entry {number}"
    session.answer({"entry": number, **effect}, words, json=json)


def stock_list(json: session.Json = False) -> None:
    """Show the bindings in stock by sort: pattern, brake, season, serial.

    Example: mountbook stock list
    """
    with session.open_ledger() as ledger:
        by_sort = stock_rules.stock_by_sort(ledger.connection)
        ids = {binding.binding_id for each in by_sort.values() for binding in each}
        asked = [each for each in notes.open_questions(ledger.connection) if each.note.binding_id in ids]
    stock = stock_rules.pairs_in(by_sort)
    terminal.answer(
        {"stock": stock, "in_no_plan": [each.note.name for each in asked]},
        [terminal.column("pairs x pattern, brake, season, serial", words=True)],
        [(f"{number:>4} x {sort}",) for sort, number in stock.items()],
        empty="no binding is in stock",
        after=[f"in no plan: {each.words}" for each in asked],
        json=json,
    )


_Quantity = Annotated[int, typer.Option("--quantity", metavar="N", help="Pairs of bindings.")]


def stock_in(
    pattern: Annotated[str, typer.Argument(metavar="PATTERN", help="The pattern's name.")],
    quantity: _Quantity,
    brake: Annotated[str, typer.Option("--brake", metavar="MM", help="Its width in mm, none, or not-known.")],
    season: Annotated[str, typer.Option("--season", metavar="SEASON", help="Season of purchase.")] = "",
    why: Why = "",
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Enter pairs of bindings that came into the stock. Signed, with the reason.

    Example: mountbook stock in "Tarn 4+4" --quantity 4 --brake 95 --why "delivery 118" --by "Vera Lind"
    """
    words = {"none": Brake.NONE, "not-known": Brake.UNKNOWN, "not known": Brake.UNKNOWN}
    with or_bad_input(cure="write it like 95; none: no brake; not-known: nobody measured it"):
        brake_um = words.get(brake.strip().casefold()) or mm_to_um(brake)
    with session.at_desk(by, None) as desk:
        sort, have = stock_rules.take_in(desk, pattern, quantity, brake_um=brake_um, season=season, why=why)
    session.answer({"sort": sort, "in_stock": have}, f"{sort}: {_have(have)} now", json=json)


def stock_out(
    sort: Annotated[str, typer.Argument(metavar="SORT", help="As `mountbook stock list` writes it.")],
    quantity: _Quantity,
    why: Why = "",
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Enter pairs of bindings that left the stock for good. Signed, with the reason.

    Example: mountbook stock out "Tarn 4+4 95 2024" --quantity 1 --why "heel cracked" --by "Vera Lind"
    """
    with session.at_desk(by, None) as desk:
        found, have = stock_rules.take_from(desk, sort, quantity, why=why)
    session.answer({"sort": found, "in_stock": have}, f"{found}: {_have(have)} left", json=json)


def _have(pairs: int) -> str:
    return f"{counted(pairs, 'pair')} of bindings"


def release_test(
    tag: Tag,
    ski: Annotated[str, typer.Option("--ski", metavar="SKI", help="A or B.")],
    piece: Annotated[str, typer.Option("--piece", metavar="PIECE", help="toe, heel or plate.")],
    device: Annotated[str, typer.Option("--device", metavar="TEXT", help="The device and its number.")],
    result: Annotated[str, typer.Option("--result", metavar="TEXT", help="In the tester's own words.")],
    outcome: Annotated[
        str, typer.Option("--outcome", metavar="WORD", help="passed or failed, as the tester says.")
    ] = "",
    remark: Annotated[str, typer.Option("--remark", metavar="TEXT", help="Kept as free text.")] = "",
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Record a release test as a qualified person made it. The program sets, reads and judges no value.

    Example: mountbook release-test K-031 --ski A --piece toe --device "bench 1" --result "as sheet 4"
    """
    side = holds.parse_side(ski)
    with session.at_desk(by, at) as desk:
        entry = gate_desk.record_release_test(
            desk,
            tag,
            side=side,
            piece=piece.lower(),
            device=device,
            result=result,
            outcome=outcome,
            remark=remark,
        )
    session.answer(
        {"pair": tag, "entry": entry}, f"{tag} {side} {piece.lower()}: recorded as entry {entry}", json=json
    )


def calibration(
    device: Annotated[str, typer.Argument(metavar="DEVICE", help="As release tests name it.")],
    on: Annotated[str, typer.Option("--on", metavar="DATE", help="The day of its calibration.")],
    until: Annotated[str, typer.Option("--until", metavar="DATE", help="The last day it counts.")],
    certificate: Annotated[str, typer.Option("--certificate", metavar="TEXT", help="Its certificate.")] = "",
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Enter the calibration of a release tester. A test made on other days counts at no gate of the door.

    Example: mountbook calibration "bench 1" --on 2026-09-01 --until 2027-08-31 --by "Vera Lind"
    """
    began, ends = typed_day(on, "--on"), typed_day(until, "--until")
    with session.at_desk(by, None) as desk:
        entry = gate_desk.calibrated(desk, device, on=began, until=ends, certificate=certificate)
    session.answer(
        {"device": device, "until": ends.isoformat(), "entry": entry},
        f"{device}: calibrated {day_text(began)}, counts until {day_text(ends)}",
        json=json,
    )


def sole(
    boot: Annotated[str, typer.Argument(metavar="BOOT", help="The boot's tag.")],
    bsl: Annotated[str, typer.Option("--bsl", metavar="MM", help="The sole length measured, mm.")],
    how: Annotated[str, typer.Option("--how", metavar="TEXT", help="How it was measured.")],
    wear: Annotated[
        str, typer.Option("--wear", metavar="WORDS", help="How worn it is: used, worn, worn out.")
    ] = "",
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Replace a worn boot's sole length by a measured one; list boots alike, to be looked at too.

    Example: mountbook sole B-210 --bsl 303.5 --how "caliper, both boots" --by "Vera Lind"
    """
    bsl_um = boots.sole_typed(bsl)
    with session.at_desk(by, at) as desk:
        done = boots.measure_again(desk, boot, bsl_um=bsl_um, how=how, wear=" ".join(wear.split()))
    session.answer(
        {"boot": boot, "bsl_mm": um_to_mm(bsl_um), "look_at": list(done.cell)},
        (f"{boot}: {line}" for line in done.said()),
        json=json,
    )
