"""Ready pairs by length, kind and boot, the way from a tag to its page, and that page of a pair or a boot.

The page has its picture, its record as of a day, and what is done with it.
"""

import sqlite3
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any, Final
from urllib.parse import urlencode

from fleet.base.days import typed_day
from fleet.base.errors import BadInput, MountbookError
from fleet.base.units import counted
from fleet.facts.fault_causes import cause_of, fault_causes, road_words
from fleet.facts.holes import Side, SkiFault
from fleet.facts.kinds import shop_kinds
from fleet.facts.notes import Note
from fleet.facts.standing import Place, read_standing
from fleet.facts.tags import known_tag
from fleet.ledger.desk import Desk
from fleet.ledger.history import boot_history, pair_history
from fleet.ledger.ledger import Ledger
from fleet.rules import boots, clearance, counter, find, fitting, gate_desk, holds, looks, moves
from fleet.rules.notes import answer, end_notes, make_note, question_of, thing_meant
from fleet.tables.connection import read_shop
from fleet.tables.snapshot import read_policy
from planner.pages.web import (
    Fields,
    RedirectResponse,
    Request,
    Response,
    Route,
    entry_of,
    press,
    served_of,
    show,
)
from planner.paper.ski_view.picture import pair_picture
from planner.paper.ski_view.ski_words import HOLE_HEAD, boot_lines, pair_lines
from planner.paper.svg_writer import svg_of

_GROUPS: Final = {
    find.Now.GOES: "Goes now",
    find.Now.SET_FIRST: "Set the binding first, boot in",
    find.Now.NOT_NOW: "Not now",
}
_MOST: Final = 300
"""So many pairs are asked about for one page: nobody reads more, and the counter does not wait for it."""


async def _page(request: Request) -> Response:
    asked = {name: request.query_params.get(name, "").strip() for name in ("length", "kind", "boot")}
    served = served_of(request)

    def look(connection: sqlite3.Connection) -> tuple[find.FoundPairs, tuple[str, ...]]:
        policy = read_policy(connection)
        kinds = tuple(shop_kinds(policy))
        if not any(asked.values()):
            return find.FoundPairs(pairs=(), of=0), kinds
        found = find.find_pairs(
            connection,
            at=served.now(),
            zone=read_shop(connection).zone,
            boot=known_tag(connection, asked["boot"]) if asked["boot"] else None,
            length_mm=find.length_typed(asked["length"] or None),
            kind=find.kind_named(asked["kind"] or None, policy),
            most=_MOST,
        )
        return found, kinds

    found, kinds = await served.read(look)
    groups = [(title, [pair for pair in found.pairs if pair.now is now]) for now, title in _GROUPS.items()]
    return show(
        request,
        "find.html",
        asked=asked,
        kinds=kinds,
        groups=groups,
        behind=_GROUPS[find.Now.NOT_NOW] if any(pairs for _, pairs in groups[:-1]) else "",
        any=any(asked.values()),
        looked_at=len(found.pairs),
        of=counted(found.of, "pair") if found.of > len(found.pairs) else "",
    )


async def _thing(request: Request) -> Response:
    """Lead on to the pair, the boot or the pair of the ski or binding that was meant."""
    said = request.query_params.get("tag", "").strip()

    def look(connection: sqlite3.Connection) -> str:
        meant = thing_meant(connection, said)
        if "boot" in meant:
            return f"/find/boot?{urlencode({'tag': meant['boot']})}"
        tag = meant.get("tag")
        if tag is None:
            (tag,) = connection.execute(
                "SELECT on_pair FROM binding WHERE binding_id = ?", (meant["binding_id"],)
            ).fetchone()
        if tag is None:
            raise BadInput(
                f"the binding {said} is on no pair", cure="it is in stock: type a pair, a ski or a boot"
            )
        return f"/find/pair?{urlencode({'tag': tag})}"

    return RedirectResponse(await served_of(request).read(look), status_code=303)


_BOOT: Final = "boot:"
_MOVES_TO: Final = {
    moves.Move.MISS: ("missing", "missing"),
    moves.Move.SEND: ("in transit", "sent to another shop"),
    moves.Move.ARRIVE: ("shop", "here again: found or arrived"),
    moves.Move.RETIRE: ("retired", "retired, for good"),
    moves.Move.SELL: ("sold", "sold, for good"),
}
"""Move -> the word that the rule takes, and that of the page."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _ThingPage:
    """A pair or a boot as its page shows it. ``name``: as the rules take it, ``boot:B-210`` for a boot."""

    what: str
    name: str
    tag: str
    lines: tuple[str, ...]
    notes: tuple[Note, ...]
    place: Place
    stopped: str = ""
    ends: str = ""
    adhesives: tuple[str, ...] = ()
    pieces: tuple[str, ...] = ()
    testers: tuple[str, ...] = ()
    picture: str = ""


def _hold(desk: Desk, name: str, fields: Fields) -> moves.Done:
    cause = cause_of(fields["cause"]) if fields.get("cause") else None
    return holds.hold(desk, name, why=fields.get("why", ""), cause=cause)


def _fault(desk: Desk, name: str, fields: Fields) -> moves.Done:
    side, fault = holds.parse_side(fields.get("ski", "")), holds.parse_fault(fields.get("fault", ""))
    return holds.ski_fault(desk, name, side, fault, why=fields.get("why", ""))


def _repaired(desk: Desk, name: str, fields: Fields) -> moves.Done:
    glued = tuple(key.removeprefix("glue ") for key in fields if key.startswith("glue "))
    touched = tuple(key.removeprefix("touched ") for key in fields if key.startswith("touched "))
    return holds.end_repair(desk, name, did=fields.get("did", ""), glued_with=glued, touched=touched)


def _note(desk: Desk, name: str, fields: Fields) -> str:
    side = fields.get("ski", "")
    return make_note(desk, f"{name}/{holds.parse_side(side)}" if side else name, fields.get("text", "")).words


def _tested(desk: Desk, name: str, fields: Fields) -> str:
    ski, _, piece = fields.get("piece", "").partition(" ")
    said = {key: fields.get(key, "") for key in ("device", "result", "outcome", "remark")}
    entry = gate_desk.record_release_test(desk, name, side=holds.parse_side(ski), piece=piece, **said)
    return f"release test of ski {ski} {piece}: recorded as entry {entry}"


def _sole(desk: Desk, name: str, fields: Fields) -> str:
    bsl_um, how, wear = boots.sole_typed(fields.get("bsl", "")), fields.get("how", ""), fields.get("wear", "")
    tag = name.removeprefix(_BOOT)
    return "; ".join(boots.measure_again(desk, tag, bsl_um=bsl_um, how=how, wear=wear).said())


def _about_note(fields: Fields) -> dict[str, Any]:
    return {"why": fields.get("why", ""), "entry": entry_of(fields, "note")}


_ACTS: Final[Mapping[str, Callable[[Desk, str, Fields], moves.Done | str]]] = {
    "hold": _hold,
    "quarantine": lambda desk, name, fields: holds.quarantine(desk, name, why=fields.get("why", "")),
    "fault": _fault,
    "clear": lambda desk, name, fields: holds.clear(desk, name, why=fields.get("why", "")),
    "begin": lambda desk, name, fields: holds.begin_repair(desk, name),
    "repaired": _repaired,
    "later": lambda desk, name, fields: counter.keep_longer(
        desk, name, until=typed_day(fields.get("until", ""), "the day", today=desk.day)
    ),
    "move": lambda desk, name, fields: counter.move(
        desk, name, to=fields.get("to", ""), reason=fields.get("why", "")
    ),
    "bound": lambda desk, name, fields: counter.set_binding(
        desk, name, known_tag(desk.connection, fields.get("boot", ""))
    ),
    "tested": _tested,
    "sole": _sole,
    "note": _note,
    "end": lambda desk, name, fields: end_notes(desk, name, **_about_note(fields))[0].words,
    "took": lambda desk, name, fields: answer(desk, name, took=True, **_about_note(fields))[0].words,
    "not-so": lambda desk, name, fields: answer(desk, name, took=False, **_about_note(fields))[0].words,
}
"""The buttons of the page, each with the function of the command that does the same."""
_OF_PAIRS: Final = frozenset({"quarantine", "fault", "begin", "repaired", "later", "bound", "tested"})
_OF_BOOTS: Final = frozenset({"sole"})


async def _pair(request: Request) -> Response:
    return await _shown(request, fields={"name": request.query_params.get("tag", "")}, as_of=_as_of(request))


async def _boot(request: Request) -> Response:
    name = f"{_BOOT}{request.query_params.get('tag', '')}"
    return await _shown(request, fields={"name": name}, as_of=_as_of(request))


async def _do(request: Request, fields: Fields) -> Response:
    name = fields.get("name", "")
    of_others = _OF_PAIRS if name.startswith(_BOOT) else _OF_BOOTS

    def of_thing(
        act: Callable[[Desk, str, Fields], moves.Done | str],
    ) -> Callable[[Desk, Fields], moves.Done | str]:
        def enter(desk: Desk, fields: Fields) -> moves.Done | str:
            return act(desk, name if name.startswith(_BOOT) else known_tag(desk.connection, name), fields)

        return enter

    acts = {does: of_thing(act) for does, act in _ACTS.items() if does not in of_others}
    return await press(request, fields, acts, _shown)


def _came(came: moves.Done | str) -> dict[str, object]:
    """Return the large answer to an action."""
    if isinstance(came, str):
        return {"word": "ENTERED", "said": came, "stopped": False}
    stopped = came.place in (Place.HOLD, Place.QUARANTINE)
    said = came.words.removeprefix(f"{came.place.upper()}: ")
    return {"word": came.place.upper(), "said": said, "stopped": stopped}


async def _shown(
    request: Request,
    *,
    fields: Fields,
    as_of: date | None = None,
    said: moves.Done | str = "",
    refused: MountbookError | None = None,
) -> Response:
    name = fields.get("name", "")
    thing = await served_of(request).look(lambda ledger: _read(ledger, name, as_of))
    address = f"/find/{thing.what.lower()}"
    here = f"{address}?{urlencode({'tag': thing.tag})}"
    return show(
        request,
        "thing.html",
        refused=refused,
        thing=thing,
        as_of=as_of,
        address=address,
        here_again=here,
        sign_in=f"/sign?{urlencode({'then': here})}",
        blocks=_blocks(thing.lines[1:]),
        may={each.name: moves.starts_from(each, thing.place) for each in moves.Move},
        moves=[said for each, said in _MOVES_TO.items() if moves.starts_from(each, thing.place)],
        place=thing.place.words,
        notes=[(note, question_of(note).asks if note.is_question else "") for note in thing.notes],
        causes=tuple(fault_causes()),
        faults=tuple(SkiFault),
        sides=tuple(Side),
        came=_came(said) if said else None,
        acts_at="/find/do",
        act_on=thing.name,
        typed={} if said else fields,
    )


def _read(ledger: Ledger, name: str, as_of: date | None) -> _ThingPage:
    if name.startswith(_BOOT):
        return _boot_of(ledger, name.removeprefix(_BOOT), as_of)
    connection = ledger.connection
    history = pair_history(ledger, known_tag(connection, name), as_of=as_of)
    mount, tag = history.pair.current_mount, history.pair.tag
    pattern = clearance.read_pattern(connection, mount.pattern) if mount else None
    slid_um = fitting.slides_now(mount, pattern) if mount and pattern else {}
    standing = read_standing(connection, tag)
    asked = {"tag": tag} | ({"as_of": as_of.isoformat()} if as_of else {})
    stopped = history.pair.place in (Place.HOLD, Place.QUARANTINE, Place.IN_REPAIR) or standing.causes
    return _ThingPage(
        what="Pair",
        name=tag,
        tag=tag,
        lines=tuple(pair_lines(history, slid_um, maps=False, notes=False)),
        notes=history.notes,
        place=history.pair.place,
        stopped="" if as_of else standing.causes,
        ends=road_words(standing) if stopped and not as_of else "",
        adhesives=tuple(read_policy(connection).adhesives),
        pieces=tuple(
            f"{side} {piece}"
            for side in Side
            for piece in looks.pieces_of(clearance.read_case(connection, tag))
        ),
        testers=tuple(device for (device,) in connection.execute("SELECT DISTINCT device FROM tester")),
        picture=f"/find/picture.svg?{urlencode(asked)}",
    )


def _boot_of(ledger: Ledger, said: str, as_of: date | None) -> _ThingPage:
    history = boot_history(ledger, boots.boot_meant(ledger.connection, f"{_BOOT}{said}") or said, as_of=as_of)
    boot = history.boot
    held = bool(boot.hold_entry) and not as_of
    return _ThingPage(
        what="Boot",
        name=f"{_BOOT}{boot.tag}",
        tag=boot.tag,
        lines=tuple(boot_lines(history, notes=False)),
        notes=history.notes,
        place=boot.place,
        stopped=boot.hold_why if held else "",
        ends="a listed person lifts the hold" if held else "",
    )


def _as_of(request: Request) -> date | None:
    said = request.query_params.get("as_of", "").strip()
    return typed_day(said, "the day") if said else None


async def _picture(request: Request) -> Response:
    as_of, served = _as_of(request), served_of(request)

    def look(ledger: Ledger) -> str:
        history = pair_history(ledger, request.query_params.get("tag", ""), as_of=as_of)
        return svg_of(pair_picture(ledger, history, now=served.now()), label=f"Pair {history.pair.tag}")

    return Response(await served.look(look), media_type="image/svg+xml")


def _blocks(lines: tuple[str, ...]) -> Iterator[list[str]]:
    """Yield the lines in the blocks that blank lines part; a table of holes apart from the words above it."""
    for written, block in groupby(lines, bool):
        if written:
            said = list(block)
            heads = (number for number, line in enumerate(said) if line.startswith(f"  {HOLE_HEAD[0]} "))
            at = next(heads, len(said))
            yield from filter(None, (said[:at], said[at:]))


ROUTES: Final = (
    Route("/find", _page),
    Route("/find/thing", _thing),
    Route("/find/pair", _pair),
    Route("/find/boot", _boot),
    Route("/find/do", _do, methods=["POST"]),
    Route("/find/picture.svg", _picture),
)
