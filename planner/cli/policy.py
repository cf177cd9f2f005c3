"""`policy list|set|check`, `staff list|add|qualify`: the shop's rules, and who may sign and is qualified."""

from typing import Annotated

import typer

from fleet.base.days import day_text, typed_day
from planner.cli import session, terminal
from planner.cli.when_used import when_used

with when_used():
    from fleet.facts import gates
    from fleet.ledger import people
    from fleet.rules import below_rule, gate_desk, gates as gate_rules
    from fleet.tables import snapshot


def policy_list(json: session.Json = False) -> None:
    """Show every setting in force.

    Example: mountbook policy list
    """
    settings = list(session.read(snapshot.read_policy))
    terminal.answer(
        {
            "policy": [
                {"name": s.name, "value": s.value, "unit": s.unit, "origin": s.origin, "since": s.since}
                for s in settings
            ]
        },
        (
            terminal.column("policy"),
            terminal.column("value", words=True, right=True),
            terminal.column("unit"),
            terminal.column("since", spare=True),
            terminal.column("origin", words=True),
        ),
        [
            (s.name, s.value or "not set", "" if s.unit == "text" else s.unit, s.since, s.origin)
            for s in settings
        ],
        json=json,
    )


def policy_set(
    name: Annotated[str, typer.Argument(metavar="NAME", help="As `mountbook policy list` shows it.")],
    value: Annotated[str, typer.Argument(metavar="VALUE", help="A number in the setting's own unit.")],
    origin: Annotated[
        str, typer.Option("--origin", metavar="TEXT", help="Where the figure comes from.")
    ] = "",
    yes: session.Yes = False,
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Show what a setting would change, ask, and change it from today on; the old one stays in the ledger.

    Example: mountbook policy set cure_epoxy_hours 12 --origin "data sheet of the epoxy, batch 44" --yes
    """
    with session.at_desk(by, None) as desk:
        old, new = people.policy_change(desk, name, value, origin=origin)
    _, effect = session.shown_first(
        f"{name} {old.said} -> {new.said}",
        lambda desk: people.set_policy(desk, name, value, origin=origin),
        by=by,
        yes=yes,
        json=json,
        gate=gates.is_gate(name),
    )
    session.answer(
        {"name": name, "old": old.value, "new": new.value, "unit": new.unit, **effect},
        f"{name}: {old.said} -> {new.said} ({new.origin})",
        json=json,
    )


def policy_check(json: session.Json = False) -> None:
    """List mounts that today's policy would not allow. Nothing is changed: the head technician decides.

    Gates of the door that the shop has not set are named too.

    Example: mountbook policy check
    """
    fleet = session.fleet()
    flags, off = below_rule.mounts_below_rule(fleet), gates.gates_off(fleet.policy)
    session.answer(
        {"below_the_rule": [session.flag_json(flag) for flag in flags], "gates_off": list(off)},
        [f"  {flag.tag}  {flag.policy}: {flag.message}" for flag in flags]
        or ["every mount on record keeps today's policy"],
        json=json,
        after=f"gates of the door that are off, until the shop sets them: {', '.join(off)}" if off else "",
    )


def staff_list(json: session.Json = False) -> None:
    """Show who is on the staff list.

    Example: mountbook staff list
    """
    with session.open_ledger() as ledger:
        people = snapshot.read_staff(ledger.connection)
        ending = gate_rules.qualifications_ending(ledger.connection, today=session.today(ledger.zone))
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
        (terminal.column("name", words=True), terminal.column("role"), terminal.column("signs until")),
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
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """List a person, or give a listed one another role or date. A manager signs.

    The first person may be listed by anybody, and is one who lists the others: begin with the manager.

    Example: mountbook staff add "Vera Lind" --role technician --until 2027-10-31 --by "Ada Quell"
    """
    day = session.parse_day(until, "--until")
    with session.at_desk(by, None) as desk:
        first = not snapshot.read_staff(desk.connection)
        person = people.list_person(
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
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """State that a listed person is qualified for something. Another head technician or manager signs.

    Example: mountbook staff qualify "Vera Lind" --for release-test --until 2027-10-31 --by "Ada Quell"
    """
    day = typed_day(until, "--until")
    with session.at_desk(by, at) as desk:
        said = gate_desk.qualify(desk, name, what=what, until=day)
    session.answer(
        {"name": said.name, "what": said.what, "until": day.isoformat()},
        f"{said.name}: qualified for {said.what} until {day_text(day)}",
        json=json,
    )
