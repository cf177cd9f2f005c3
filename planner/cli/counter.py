"""`out`, `back`, `later`, `undo`, `move`: the commands of the counter."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from fleet.facts.tags import known_tag
from planner.cli.at_desk import all_named, at_desk, each_at_desk, on_pair, parse_day, show
from planner.cli.session import At, By, Json

TagsOrFile = Annotated[
    list[str] | None, typer.Argument(metavar="TAG", help="The pairs, by the tag on the ski.")
]
TagFile = Annotated[
    Path | None, typer.Option("--file", metavar="FILE", help="More of them, one a line; - reads the scanner.")
]
Due = Annotated[
    str | None,
    typer.Option("--due", metavar="DATE", help="The day it is due back: 31.12., Fri, tomorrow, +3."),
]
Tag = Annotated[str, typer.Argument(metavar="TAG", help="The pair, by the tag on the ski.")]


def out(
    tags: TagsOrFile = None,
    file: TagFile = None,
    boot: Annotated[str | None, typer.Option("--boot", metavar="TAG", help="The boots it goes with.")] = None,
    own_boot: Annotated[
        str | None,
        typer.Option("--own-boot", metavar="MM", help="The customer's own boot: its sole length, mm."),
    ] = None,
    sole_type: Annotated[
        str, typer.Option("--sole-type", metavar="TYPE", help="The sole type of the customer's own boot.")
    ] = "",
    set_now: Annotated[
        bool, typer.Option("--set", help="The binding was just set for this boot, boot in.")
    ] = False,
    due: Due = None,
    by: By = None,
    at: At = None,
    json: Json = False,
) -> None:
    """Hand pairs out. Only what may go goes; a refusal says why and what could go instead.

    A pair waits for its boot: one of the shop's, or the customer's own by its sole length and type. A boot
    goes with a binding that was last set for its sole length. If it is set for another, or nobody
    knows for which, set it, boot in, and type the same with --set.

    Example: mountbook out K-031 --boot B-210
    """
    from fleet.base.errors import BadInput
    from fleet.ledger.desk import Desk
    from fleet.rules.counter import Done, check_named, own_boot_of, take_out

    if boot and (own_boot or sole_type):
        raise BadInput("one boot goes with one pair", cure="--boot, or --own-boot with --sole-type")
    own = own_boot_of(own_boot, sole_type)

    def one(desk: Desk, tag: str) -> Done:
        meant = known_tag(desk.connection, tag)
        shod = known_tag(desk.connection, boot) if boot else own
        day = parse_day(due, "--due", today=desk.day)
        return take_out(desk, [meant], boot=shod, due=day, set_now=set_now)[0]

    done, refused = each_at_desk(
        by, at, all_named(tags, file, check=partial(check_named, boot=boot or own)), one, care=False
    )
    show(done, refused=refused, json=json, later=at is not None)


def back(
    tags: TagsOrFile = None,
    file: TagFile = None,
    said: Annotated[str, typer.Option("--said", metavar="TEXT", help="What the renter said.")] = "",
    by: By = None,
    at: At = None,
    json: Json = False,
) -> None:
    """Take pairs back. They go to the recheck rack and stay in until somebody has passed them.

    Example: mountbook back K-031 --said "felt loose"
    """
    from fleet.ledger.desk import Desk
    from fleet.rules.counter import Done, check_named, take_back

    def one(desk: Desk, tag: str) -> Done:
        return take_back(desk, [known_tag(desk.connection, tag)], said=said)[0]

    done, refused = each_at_desk(by, at, all_named(tags, file, check=check_named), one, care=False)
    show(done, refused=refused, json=json, later=at is not None)


def set_binding(
    tag: Annotated[str, typer.Argument(metavar="TAG", help="A pair that is in.")],
    boot: Annotated[str, typer.Option("--boot", metavar="TAG", help="The boot it was set for, boot in.")],
    by: By = None,
    at: At = None,
    json: Json = False,
) -> None:
    """Say that a pair's binding was set for a boot, while the pair stays in.

    Where the shop's rule asks for a release test after a setting, this comes first, then the test.

    Example: mountbook set-binding K-031 --boot B-210 --by "Nell Abres"
    """
    from fleet.rules.counter import set_binding as said_set

    with at_desk(by, at, care=False) as desk:
        done = said_set(desk, known_tag(desk.connection, tag), known_tag(desk.connection, boot))
    show([done], json=json, later=at is not None)


def later(
    until: Annotated[
        str, typer.Option("--until", metavar="DATE", help="The day it is due now: 31.12., Fri, tomorrow, +3.")
    ],
    tags: TagsOrFile = None,
    file: TagFile = None,
    by: By = None,
    at: At = None,
    json: Json = False,
) -> None:
    """Note that a renter keeps pairs longer.

    Example: mountbook later K-031 K-032 --until Sun
    """
    from fleet.base.days import typed_day
    from fleet.ledger.desk import Desk
    from fleet.rules.counter import Done, keep_longer

    def one(desk: Desk, tag: str) -> Done:
        day = typed_day(until, "--until", today=desk.day)
        return keep_longer(desk, known_tag(desk.connection, tag), until=day)

    done, refused = each_at_desk(by, at, all_named(tags, file), one, care=False)
    show(done, refused=refused, json=json)


def undo(
    tag: Annotated[str | None, typer.Argument(metavar="TAG", help="The pair; else your newest scan.")] = None,
    by: By = None,
    json: Json = False,
) -> None:
    """Undo a slip of the scanner, as a new entry, while nothing else has happened to the pair.

    Example: mountbook undo K-031
    """
    from fleet.rules import counter

    with at_desk(by, None, care=False) as desk:
        done = counter.undo(desk, tag or counter.newest_scan(desk))
    show([done], json=json)


def move(
    tag: Tag,
    to: Annotated[
        str,
        typer.Option(
            "--to", metavar="PLACE", help="missing, in-transit, retired, sold; shop: found or arrived."
        ),
    ],
    why: Annotated[str, typer.Option("--why", metavar="TEXT", help="The reason.")] = "",
    by: By = None,
    at: At = None,
    json: Json = False,
) -> None:
    """Note that a pair is missing, on its way, retired or sold, or that it turned up again.

    Example: mountbook move K-031 --to missing --why "not in the rack at the count"
    """
    from fleet.rules.counter import move as make_move

    moved = partial(make_move, to=to.replace("-", " "), reason=why)
    on_pair(moved, tag, by, at, care=False, json=json)
