"""`case`: everything about one pair, for use after an accident or a complaint."""

import secrets
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from fleet.base.errors import or_bad_input
from fleet.facts.tags import called_now
from planner.cli import session
from planner.cli.counter import Tag
from planner.cli.when_used import when_used

with when_used():
    from fleet.audit import heads
    from planner.cli import case_bundle, case_proof
    from planner.exchange import check_case
    from planner.exchange.export import whole_file
    from planner.paper import case_paper


def case(
    tag: Tag,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FOLDER", help="Where it goes; else case-TAG here.")
    ] = None,
    as_of: Annotated[
        str | None,
        typer.Option("--as-of", metavar="DATE", help="As the shop knew it at the end of that day."),
    ] = None,
    paper: Annotated[str, typer.Option("--paper", metavar="SIZE", help="A4 or Letter.")] = "A4",
    head: Annotated[
        list[str] | None,
        typer.Option(
            "--head",
            metavar="N:HASH",
            help="A head on a sheet that the reader has: prove it, too. Repeatable.",
        ),
    ] = None,
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Bundle everything about a pair, as it was, without personal data: case.json and case.pdf.

    The paper draws both skis and tells what happened in order of time: looks by piece, signatures, recalls.

    The hash of case.json stands on every page, and in the ledger as an entry of its own. case.proof.json
    proves each entry against a signed head; check_case.py checks that without this program and the ledger.

    Example: mountbook case K-031 --as-of 2026-12-27
    """
    from fleet.events.movement import CASE_SALT, CaseMade

    now, salt = session.now(), secrets.token_hex(16)
    folder = out or Path(f"case-{whole_file.part_of_a_name(tag)}")
    with session.open_ledger() as ledger:
        tag = called_now(ledger.connection, tag)
        sheets = case_proof.checked_heads(ledger, [heads.parse_head(text) for text in head or ()])
        bundle = case_bundle.case_bundle(ledger, tag, salt=salt, as_of=session.parse_day(as_of, "--as-of"))
        name = session.who_enters(ledger, by)
        case_proof.begin_sealing(ledger, by=name, now=now)
        with ledger.transaction(by=name, now=now) as tx:
            made = CaseMade(tag=tag, sha256=bundle.sha256, head=bundle.head)
            number = tx.enter(made, note=f"{CASE_SALT}{salt}")
            sheet = replace(bundle.sheet, head=tx.head.full)
            pdf = case_paper.case_sheet_pdf(sheet, printed_at=now, paper=paper)
            folder.mkdir(parents=True, exist_ok=True)
            whole_file.write_whole(folder / "case.json", bundle.data)
            whole_file.write_whole(folder / "case.pdf", pdf)
        proof = case_proof.case_proof(
            ledger, bundle.data, number, sheets=sheets, now=now, key=session.key_path()
        )
        whole_file.write_whole(folder / "case.proof.json", proof)
        whole_file.write_whole(folder / "check_case.py", Path(check_case.__file__).read_bytes())
    session.answer(
        {
            "pair": tag,
            "sha256": bundle.sha256,
            "head": bundle.head,
            "folder": str(folder),
            "made_entry": number,
        },
        (
            f"{folder}: case.json and case.pdf, entry {bundle.head}",
            f"  SHA-256 of case.json {bundle.sha256}, which entry {number} names",
            "  case.proof.json proves its entries; whoever reads it runs: python check_case.py case.json",
        ),
        json=json,
    )


def case_check(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A case.json that was handed out.")],
    json: session.Json = False,
) -> None:
    """Say whether this ledger made a case.json, and whether its entries are still the ledger's.

    Exit code 1 if not.

    Example: mountbook case-check case-K-031/case.json
    """
    with or_bad_input(f"cannot read {file}:", cure="name the file case.json", of=OSError):
        data = file.read_bytes()
    with session.open_ledger() as ledger:
        checked = case_bundle.check_case(ledger, data)
    session.answer(
        {
            "sha256": checked.sha256,
            "made_entry": checked.made_entry,
            "entries": checked.entries,
            "changed": list(checked.changed),
        },
        f"{file}: {checked.words()}",
        json=json,
        good=checked.good,
    )
