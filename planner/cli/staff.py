"""staff list|add|qualify: who may sign, and who is qualified for what."""

from __future__ import annotations

from typing import Annotated

import typer

from fleet.base.days import day_text, typed_day
from planner.cli import session, terminal
from planner.cli.at_desk import at_desk, parse_day
from planner.cli.session import At, By, Json
from planner.cli.terminal import TerminalColumn


def staff_list(json: Json = False) -> None:
    """Show who is on the staff list.

    Example: mountbook staff list
    """
    from fleet.rules.gates import qualifications_ending
    from fleet.tables.snapshot import read_staff

    with session.open_ledger() as ledger:
        people = read_staff(ledger.connection)
        ending = qualifications_ending(ledger.connection, today=session.today(ledger.zone))
    for each in ending if not json else ():
        session.note(f"{each.name}: qualified for {each.what} until {day_text(each.until)}")
    terminal.answer(
        {
            "staff": [
                {"name": p.name, "role": p.role.value, "valid_until": p.valid_until.isoformat()}
                for p in people.values()
            ],
            "qualifications_ending": [
                {"name": each.name, "what": each.what, "until": each.until.isoformat()} for each in ending
            ],
        },
        (TerminalColumn("name", words=True), TerminalColumn("role"), TerminalColumn("signs until")),
        [(p.name, p.role.value, day_text(p.valid_until)) for p in people.values()],
        empty="nobody is listed yet",
        json=json,
    )


def staff_add(
    name: Annotated[str, typer.Argument(metavar="NAME", help="As the person signs.")],
    role: Annotated[
        str, typer.Option("--role", metavar="ROLE", help="technician, head-technician, manager or counter.")
    ],
    until: Annotated[str, typer.Option("--until", metavar="DATE", help="The last day the signature counts.")],
    second: Annotated[
        str,
        typer.Option(
            "--second",
            metavar="NAME",
            help="The other who signs, where no manager or head technician is in date.",
        ),
    ] = "",
    by: By = None,
    json: Json = False,
) -> None:
    """List a person, or give a listed one another role or date. A manager signs.

    The first person may be listed by anybody, and is one who lists the others: begin with the manager.

    Example: mountbook staff add "Vera Lind" --role technician --until 2027-10-31 --by "Ada Quell"
    """
    from fleet.ledger.people import list_person
    from fleet.tables.snapshot import read_staff

    day = parse_day(until, "--until")
    with at_desk(by, None) as desk:
        first = not read_staff(desk.connection)
        person = list_person(
            desk,
            name,
            role=role,
            until=day or desk.day,
            second=session.person(second, desk.connection) if second else "",
        )
    lines = [f"{person.name}: {person.role.value} until {day_text(person.valid_until)}"]
    if first:
        lines.append("first on the list, so nobody had to sign; from here on say who lists with --by NAME")
    session.answer({"name": person.name, "role": person.role.value, "valid_until": until}, lines, json=json)


def staff_qualify(
    name: Annotated[str, typer.Argument(metavar="NAME", help="As on the staff list.")],
    what: Annotated[str, typer.Option("--for", metavar="WHAT", help="release-test, pass or setting.")],
    until: Annotated[str, typer.Option("--until", metavar="DATE", help="The last day on which it counts.")],
    by: By = None,
    at: At = None,
    json: Json = False,
) -> None:
    """State that a listed person is qualified for something. Another head technician or manager signs.

    Example: mountbook staff qualify "Vera Lind" --for release-test --until 2027-10-31 --by "Ada Quell"
    """
    from fleet.rules.gate_desk import qualify

    day = typed_day(until, "--until")
    with at_desk(by, at) as desk:
        said = qualify(desk, name, what=what, until=day)
    session.answer(
        {"name": said.name, "what": said.what, "until": day.isoformat()},
        f"{said.name}: qualified for {said.what} until {day_text(day)}",
        json=json,
    )
