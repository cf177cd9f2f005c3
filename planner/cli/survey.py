"""`survey`, `batch`, `name-holes`: enter the holes of skis, and name them."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from fleet.base.errors import BadInput
from fleet.base.units import counted, first_of, length_text, um_to_mm
from fleet.facts.holes import Side, short_id
from fleet.facts.tags import tag_order
from planner.cli import session
from planner.cli.when_used import when_used
from planner.geometry.naming.measured import Entered, SurveyError, points_of, seen_bare
from planner.paper import cautions

with when_used():
    from fleet.ledger import desk as desks
    from fleet.tables import snapshot
    from planner.exchange.export import whole_file
    from planner.geometry.naming import explain
    from planner.geometry.survey import (
        batch as batch_rules,
        enter as survey_entries,
        proposal as survey_proposal,
        readings as survey_lines,
    )
    from planner.paper import sheet_frame, survey_sheet


PairTag = Annotated[str, typer.Argument(metavar="PAIR", help="The pair's tag.")]


def survey(
    pair: PairTag,
    from_: Annotated[
        Path | None,
        typer.Option("--from", metavar="FILE", help="Readings from a file: survey lines, or a .csv table."),
    ] = None,
    hole: Annotated[
        list[str] | None,
        typer.Option("--line", metavar="LINE", help='One reading, e.g. "A 101.5 18 d3.6"; may be repeated.'),
    ] = None,
    how: Annotated[
        str,
        typer.Option(
            "--how",
            metavar="TEXT",
            help="How the holes were seen: bare, or drops-in (the binding set on them).",
        ),
    ] = "bare",
    enter: Annotated[
        bool, typer.Option("--enter", help="Enter the readings; without it nothing is written.")
    ] = False,
    as_measured: Annotated[
        bool, typer.Option("--as-measured", help="Enter although there are doubts: they were measured again.")
    ] = False,
    sheet: Annotated[
        Path | None,
        typer.Option("--sheet", metavar="FILE", help="Write a sheet (.pdf) to fill in at the bench instead."),
    ] = None,
    paper: Annotated[str, typer.Option("--paper", metavar="A4|Letter", help="The sheet's paper.")] = "A4",
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Look at measured holes, see what does not fit, and enter them with --enter.

    Lines: "A mark 812", "A 101.5 18 d3.6 plugged", "A tail 913.5 18", "A bare -250 300", and four holes by
    distances: "A four 36 40.5 36 40.5 54.2 54.2 at 101.5".

    Example: mountbook survey K-031 --line "A mark 812" --line "A 101.5 18 d3.6" --enter --by "Vera Lind"
    """
    if sheet is not None:
        _sheet(pair, sheet, paper, readings=from_ is not None or bool(hole) or enter, json=json)
        return
    if from_ is not None:
        lines = (
            survey_lines.lines_of_csv(from_)
            if from_.suffix.lower() == ".csv"
            else session.read_text(from_).splitlines()
        )
    else:
        lines = list(hole or ()) or _typed()
    readings, faults = survey_lines.read_lines(lines)
    if enter and not faults:
        with session.at_desk(by, at) as desk:
            proposal = survey_entries.enter_survey(
                desk, pair, readings, how=how, although_doubtful=as_measured
            )
    else:
        with session.open_ledger() as ledger:
            proposal = survey_entries.look_at_survey(
                ledger.connection, pair, readings, how=how, on=session.today(ledger.zone)
            )
    _show_survey(pair, proposal, faults, entered=enter and not faults and proposal.entered, json=json)


def _sheet(pair: str, out: Path, paper: str, *, readings: bool, json: bool) -> None:
    if readings:
        raise BadInput(
            "a sheet is for readings that are not taken yet", cure="leave out --sheet, or the readings"
        )
    size = sheet_frame.paper_named(paper)
    fleet = session.fleet()
    anchors = sheet_frame.anchors_of(fleet, f"survey {pair}", printed_at=session.now())
    whole_file.write_whole(out, survey_sheet.survey_sheet_pdf(fleet.pair(pair), anchors=anchors, paper=size))
    session.answer({"file": str(out), "pair": pair}, f"{out}: survey sheet of pair {pair}", json=json)


def batch(
    enter: Annotated[
        bool, typer.Option("--enter", help="Enter the assumed holes; without it only look.")
    ] = False,
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """See which pairs were drilled alike, and take the rest of a measured batch as assumed.

    Assumed holes carry their allowance and open no area until the ski is seen bare.

    Example: mountbook batch --enter --by "Vera Lind"
    """
    if enter:
        with session.at_desk(by, at) as desk:
            desks.signer(desk.connection, desk.by, days=desk.signing_days, what="enter a batch")
            found = batch_rules.batches(
                snapshot.read_pairs(desk.connection), snapshot.read_policy(desk.connection)
            )
            for event in (event for one in found for event in one.entries):
                desk.enter(event)
    else:
        with session.open_ledger() as ledger:
            found = batch_rules.batches(
                snapshot.read_pairs(ledger.connection), snapshot.read_policy(ledger.connection)
            )
    rows, lines = [], []
    for one in found:
        (model, length_mm, *_), assumed = one.key, [event.tag for event in one.entries]
        rows.append(
            {
                "model": model,
                "length_cm": length_mm / 10,
                "pairs": list(one.tags),
                "measured": list(one.measured),
                "assumed": assumed,
                "why_not": one.why_not,
            }
        )
        taken = f"{'assumed' if enter else 'would be assumed'}: {', '.join(assumed)}"
        pairs = f"{len(one.tags)} pairs ({first_of(one.tags, 4)})"
        lines.append(f"{model} {length_mm / 10:g} cm, {pairs}: {taken if assumed else one.why_not}")
    lines = lines or ["no two pairs of one model and length carry the same mounts"]
    session.answer({"batches": rows, "entered": enter}, lines, json=json)


def name_holes(
    pair: PairTag,
    json: session.Json = False,
) -> None:
    """Say which known patterns made a ski's holes, with alternatives, or that none fits.

    Both skis are read together. Where a ski was seen bare, a mount with half of its holes missing is none.

    Example: mountbook name-holes K-031
    """
    fleet = session.fleet()
    skis = fleet.pair(pair).skis
    model = SurveyError(sigma_um=fleet.policy.um("survey_error_mm"))
    patterns = list(fleet.patterns.values())
    measured = [(points_of(skis[side].holes), seen_bare(skis[side])) for side in Side]
    answers = dict(zip(Side, explain.explain_both(measured, patterns, model), strict=True))
    session.answer(
        {"pair": pair, "skis": {s.value: _naming_json(n) for s, n in answers.items()}},
        (line for side, naming in answers.items() for line in _naming_lines(side.value, naming)),
        json=json,
        after=f"Which pattern fits what was measured, no more. {cautions.FIRST}",
        good=not any(naming.none_fits for naming in answers.values()),
    )


def _typed() -> list[str]:
    if sys.stdin.isatty():
        session.note("type readings, one a line; an empty line ends (see `mountbook survey --help`)")
        return list(iter(sys.stdin.readline, "\n"))
    return sys.stdin.read().splitlines()


def _show_survey(
    tag: str,
    proposal: survey_proposal.SurveyProposal,
    faults: list[survey_lines.LineFault],
    *,
    entered: bool,
    json: bool,
) -> None:
    lines = [f"line {fault.line}: {fault.message}: {fault.text!r}; {fault.fix}" for fault in faults]
    for slip in proposal.slips:
        where = f"line {', '.join(map(str, slip.lines))}: " if slip.lines else ""
        lines += [f"{where}{slip.message}", f"    {slip.measure}"]
    lines.append(
        f"{tag}: {counted(proposal.new_holes, 'new hole')}, {proposal.found_again} found again, "
        f"{counted(len(proposal.slips), 'doubt')}; {'entered' if entered else 'nothing entered'}"
    )
    after = ""
    if not entered and not faults:
        more = " --as-measured, once the doubts were measured again" if proposal.slips else ""
        enter = f"enter it with --enter --by NAME{more}"
        after = enter if proposal.entries else "the ledger knows all of this already"
    session.answer(
        {
            "pair": tag,
            "entered": entered,
            "new_holes": proposal.new_holes,
            "found_again": proposal.found_again,
            "slips": [
                {"code": s.code, "lines": list(s.lines), "message": s.message, "measure": s.measure}
                for s in proposal.slips
            ],
            "faults": [{"line": f.line, "text": f.text, "message": f.message, "fix": f.fix} for f in faults],
        },
        lines,
        json=json,
        after=after,
        good=not faults and (entered or not proposal.slips),
    )


def _naming_json(naming: explain.Naming) -> dict[str, object]:
    def span(values: tuple[int, int] | None) -> list[float] | None:
        return None if values is None else [um_to_mm(values[0]), um_to_mm(values[1])]

    return {
        "none_fits": naming.none_fits,
        "entered": naming.entered.value,
        "entered_probability": round(naming.entered_probability, 4),
        "mounts": [
            {
                "pattern": n.mount.pattern.name if n.accepted else None,
                "probability": round(n.probability, 4),
                "alternatives": [
                    {"pattern": None if p == explain.NO_KNOWN else p, "probability": round(q, 4)}
                    for p, q in n.alternatives
                ],
                "bsl_mm": span(n.mount.bsl_um),
                "offset_mm": span(n.mount.offset_um),
                "holes": list(n.hole_ids),
                "missed": n.mount.missed,
            }
            for n in naming.mounts
        ],
        "left_over": list(naming.left_over),
        "other_groups": naming.other_groups,
    }


def _share(probability: float) -> str:
    """A share as it may be said: never a certainty."""
    return "over 99 %" if probability > 0.99 else "under 1 %" if probability < 0.01 else f"{probability:.0%}"


def _naming_lines(side: str, naming: explain.Naming) -> list[str]:
    lines = [f"ski {side}"]
    if naming.entered is not Entered.AS_IS:
        lines.append(
            f"  read {naming.entered.value}? ({naming.entered_probability:.0%}); look at the ski again"
        )
    for n in naming.mounts:
        holes = ", ".join(sorted(map(short_id, n.hole_ids), key=tag_order))
        if not n.accepted:
            lines.append(
                f"  {holes}: none fits (nearest would be {n.mount.pattern.name}, refused by its fit)"
            )
            continue
        sole = (
            "sole not told"
            if n.mount.bsl_um is None
            else (f"sole {length_text(n.mount.bsl_um[0])} to {length_text(n.mount.bsl_um[1])} mm")
        )
        others = "".join(f"; or {p} {_share(q)}" for p, q in n.alternatives[:2])
        lines.append(f"  {n.mount.pattern.name} {_share(n.probability)}{others}: {sole}: holes {holes}")
        if 0.5 < n.probability < 0.95:
            lines.append("    too close to call: measure these holes once more")
    if naming.other_groups:
        lines.append("  the holes do not tell which toe goes with which heel: taken as nearest the mark")
    if naming.left_over:
        verdict = "none fits" if naming.none_fits else "left over"
        lines.append(f"  {verdict}: {', '.join(short_id(h) for h in naming.left_over)}")
    if not naming.mounts and not naming.left_over:
        lines.append("  no holes on record")
    return lines
