"""`hold`, `clear`, `quarantine`, `repair`, `recall`: stop a pair, and let it go again."""

from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

from fleet.base.days import stored_day_text
from planner.cli import session, terminal
from planner.cli.counter import Tag
from planner.cli.when_used import when_used
from planner.plan.fault_isolation import one_by_one

with when_used():
    from fleet.facts import fault_causes, recalls
    from fleet.rules import holds, recall_desk
    from planner.paper import labels

Why = Annotated[str, typer.Option("--why", metavar="TEXT", help="What was seen; kept as free text.")]


def hold(
    tag: Tag,
    why: Why,
    cause: Annotated[
        str | None,
        typer.Option(
            "--cause",
            metavar="CAUSE",
            help="moved-screw, crack, accident, other ...; else read out of --why.",
        ),
    ] = None,
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Stop a pair. Anybody may hold; what ends the hold, and who, follows from its cause.

    Example: mountbook hold K-031 --why "toe wobbles" --cause moved-screw
    """
    if not cause and session.may_ask():
        proposed = fault_causes.proposed_cause(why).cause
        cause = (
            session.asked(f"cause [{proposed}], or one of {', '.join(fault_causes.fault_causes())}: ")
            or proposed
        )
    found = fault_causes.cause_of(cause) if cause else None
    session.on_pair(partial(holds.hold, why=why, cause=found), tag, by, at, json=json)


def ski_fault(
    tag: Tag,
    ski: Annotated[str, typer.Argument(metavar="SKI", help="A or B.")],
    fault: Annotated[str, typer.Argument(metavar="FAULT", help="wet-core, crack or delamination.")],
    why: Why = "",
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Enter a fault found on one ski: the pair is stopped until a head technician ends it.

    Example: mountbook ski-fault K-031 B crack --why "across the edge, behind the heel" --by "Vera Lind"
    """
    side, what = holds.parse_side(ski), holds.parse_fault(fault)
    session.on_pair(partial(holds.ski_fault, side=side, fault=what, why=why), tag, by, at, json=json)


def clear(
    tag: Tag, why: Why = "", by: session.By = None, at: session.At = None, json: session.Json = False
) -> None:
    """Lift a hold, signed by a listed person; a quarantine only a manager lifts, and what was stopped at the
    bench only a head technician, each with a reason.

    If a look found a moved screw, another than its finder lifts the hold and says why with --why.
    No pass comes of it: a pair that was found loose or worked on still needs its look, by somebody else.

    Example: mountbook clear K-031 --why "the driver slipped, the screw sits" --by "Vera Lind"
    """
    session.on_pair(partial(holds.clear, why=why), tag, by, at, json=json)


def quarantine(
    tag: Tag, why: Why, by: session.By = None, at: session.At = None, json: session.Json = False
) -> None:
    """Lock a pair away after an accident, a complaint or a recall. Nothing on it is touched.

    Example: mountbook quarantine K-031 --why "accident reported on the east run"
    """
    session.on_pair(partial(holds.quarantine, why=why), tag, by, at, json=json)


def hold_tag(
    tags: Annotated[list[str] | None, typer.Argument(metavar="TAG", help="Else all that are held.")] = None,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The PDF to write.")] = Path("hold.pdf"),
    json: session.Json = False,
) -> None:
    """Print the tags that hang on held and locked-away pairs, one for each ski, A6.

    Example: mountbook hold-tag K-031 --out hold.pdf
    """
    with session.open_ledger() as ledger:
        zone = ledger.zone
        some, refused = one_by_one(
            tags or (), lambda tag: labels.held_tags(ledger.connection, [tag])[0], what="hold tag", name=str
        )
        held = {each.tag: each for each in (some if tags else labels.held_tags(ledger.connection, ()))}
    session.written_each(
        out,
        list(held),
        lambda names: labels.hold_tag_pdf(
            tuple(held[name] for name in names), zone=zone, printed_at=session.now()
        ),
        what="hold tag",
        key="tags",
        words=", ".join,
        json=json,
        refused=refused,
    )


def repair_begin(tag: Tag, by: session.By = None, at: session.At = None, json: session.Json = False) -> None:
    """Take a held pair to the bench.

    Example: mountbook repair begin K-031 --by "Vera Lind"
    """
    session.on_pair(holds.begin_repair, tag, by, at, json=json)


def repair_done(
    tag: Tag,
    did: Annotated[str, typer.Option("--did", metavar="TEXT", help="What was done.")],
    touched: Annotated[
        list[str] | None,
        typer.Option(
            "--touched",
            metavar='"B heel"',
            help="The piece that was worked on, or none; may be repeated. Left out: any piece of both skis.",
        ),
    ] = None,
    glue: Annotated[
        list[str] | None, typer.Option("--glue", metavar="ADHESIVE", help="Glue used: wood_glue, epoxy.")
    ] = None,
    by: session.By = None,
    at: session.At = None,
    json: session.Json = False,
) -> None:
    """Say what was repaired. A second person of the staff list looks before the pair can go out.

    At which sole length the touched pieces stand is not known after it; say which, and the others stay known.

    Example: mountbook repair done K-031 --did "heel screw reset" --touched "B heel" --by "Vera Lind"
    """
    ended = partial(holds.end_repair, did=did, glued_with=tuple(glue or ()), touched=touched or ())
    session.on_pair(ended, tag, by, at, json=json)


Name = Annotated[str, typer.Argument(metavar="NAME", help="The shop's name for the recall.")]


def recall_open(
    name: Name,
    source: Annotated[str, typer.Option("--source", metavar="TEXT", help="The notice, with its date.")],
    pattern: Annotated[str, typer.Option("--pattern", metavar="NAME", help="Only this pattern.")] = "",
    piece: Annotated[str, typer.Option("--piece", metavar="PIECE", help="Only toe, or only heel.")] = "",
    serial_from: Annotated[
        str, typer.Option("--from", metavar="SERIAL", help="First serial or date code, inclusive.")
    ] = "",
    serial_to: Annotated[str, typer.Option("--to", metavar="SERIAL", help="Last one, inclusive.")] = "",
    season: Annotated[str, typer.Option("--season", metavar="SEASON", help="Only this season.")] = "",
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Open a recall and list what it reaches, out first. An unknown serial is reached: take off and read.

    Example: mountbook recall open R-7 --pattern "Lark 4" --piece heel --from 1100 --to 1999 --source "notice"
    """
    wanted = recalls.Recall(
        recall=name,
        pattern=pattern,
        piece=piece,
        serial_from=serial_from,
        serial_to=serial_to,
        season=season,
        source=source,
    )
    with session.at_desk(by, None) as desk:
        rows = recall_desk.open_recall(desk, wanted)
    _show(rows, json=json)


def recall_list(json: session.Json = False) -> None:
    """List what the open recalls reach, those out first with their due day.

    Example: mountbook recall list
    """
    _show(session.read(recall_desk.reached), json=json)


def recall_close(
    name: Name,
    how: Annotated[str, typer.Option("--how", metavar="TEXT", help="How it ended; kept as free text.")],
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Close a recall.

    Example: mountbook recall close R-7 --how "all heels replaced" --by "Vera Lind"
    """
    with session.at_desk(by, None) as desk:
        recall_desk.close_recall(desk, name, how=how)
    session.answer({"closed": name}, f"recall {name} is closed", json=json)


def _show(rows: list[Any], *, json: bool) -> None:
    lines = ["in range: off the ski, as the maker's notice says; nothing it reaches goes out meanwhile"]
    if any(r.reach is recalls.Reach.UNKNOWN for r in rows):
        lines = [
            "read: where it is not in range, enter the serial, and the recall lets it go:",
            f'  mountbook correct "{rows[0].binding.binding_id}" serial_heel=... --why "read" --by NAME',
            *lines,
        ]
    if any(r.place == "out" for r in rows):
        lines = ["out: ring who has it; the pair is not skied any more, and comes back", *lines]
    titles = ("recall", "where", "binding", "place", "its serial number")
    terminal.answer(
        {
            "reached": [
                {
                    "recall": r.recall,
                    "reach": r.reach.value,
                    "binding": r.binding.binding_id,
                    "pair": r.binding.on_pair,
                    "ski": r.binding.on_ski.value if r.binding.on_ski else None,
                    "place": r.place,
                    "due": r.due,
                    "serial_toe": r.binding.serial_toe,
                    "serial_heel": r.binding.serial_heel,
                }
                for r in rows
            ]
        },
        [terminal.column(title, words=True) for title in titles],
        [_cells(r) for r in rows],
        empty="no open recall reaches anything here",
        after=lines,
        json=json,
    )


def _cells(r: Any) -> tuple[str, ...]:
    where = f"{r.binding.on_pair} {r.binding.on_ski}" if r.binding.on_ski else "in stock"
    due = f", due {stored_day_text(r.due)}" if r.due else ", due day unknown" if r.place == "out" else ""
    number = "not known: take off and read" if r.reach is recalls.Reach.UNKNOWN else "in range"
    return r.recall, where, r.binding.binding_id, f"{r.place}{due}", number
