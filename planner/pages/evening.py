"""The evening: tonight's list worst first, the rings of each pair, one signature for the rest of a rack.

And the in-season sample: drawn, what was found on each unit with a device, closed.
"""

import secrets
import sqlite3
from collections import Counter as Count
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import partial
from typing import Final

from fleet.base.days import clock_text, day_text, typed_day
from fleet.base.errors import AnotherSigns, BadInput, MountbookError, Refused
from fleet.base.units import counted
from fleet.facts.standing import Place, read_standing
from fleet.facts.tags import known_tag, ski_code, ski_coded
from fleet.ledger.desk import Desk, EnteredBefore, entries_of_tap, part_of_tap
from fleet.ledger.ledger import Ledger
from fleet.rules import clearance, counter, day_end, looks, recheck
from fleet.rules.sampling.record import (
    Sample,
    close_sample,
    draw_sample,
    newest_sample,
    not_operating,
    record_result,
    schedule,
)
from fleet.rules.sampling.rule import DeviationClass, NextSample, class_typed
from fleet.tables.connection import read_shop
from planner.pages.screws import STRIP_WIDE, TAP_WORDS, SkiStrip, findings, strips_of
from planner.pages.web import (
    Acts,
    Fields,
    Request,
    Response,
    Route,
    at_hand,
    hand_of,
    in_page_words,
    press,
    served_of,
    show,
    show_look,
    today_of,
)
from planner.paper.labels import held_tags, hold_tag_pdf
from planner.paper.recheck_list import NAME_WIDE, RING_R

_LIST: Final = "evening.html"
_JUST_MADE: Final = 30
"""A look that is sent within so many seconds was made now."""
_LONG: Final = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedAt:
    """The result of one look: the large word, the pair and what the ledger says of it."""

    word: str
    tag: str
    said: str
    held: bool = False


def _list(request: Request, ledger: Ledger, rack: str = "") -> recheck.RecheckList:
    with ledger.reading() as connection:
        return recheck.recheck_list(connection, today=today_of(request, connection), rack=rack)


async def _page(request: Request) -> Response:
    rack = request.query_params.get("rack", "").strip()
    return await show_look(request, _LIST, lambda ledger: _listed(request, ledger, rack=rack))


def _listed(
    request: Request, ledger: Ledger, *, rack: str = "", came: tuple[LookedAt, ...] = ()
) -> dict[str, object]:
    """Return the list, with what came of the looks just entered above it."""
    listed = _list(request, ledger, rack)
    whole = _list(request, ledger) if rack else listed
    now = served_of(request).now()
    racks = Count(_rack_of(row.rack) for row in whole.rows if row.rack)
    return {
        "day": day_text(listed.day),
        "list_id": listed.list_id,
        "rack": listed.rack,
        "groups": [
            (
                group.value,
                group.may_wait,
                [_line(row, listed, now) for row in listed.rows if row.group is group],
            )
            for group in recheck.Group
        ],
        "pairs": counted(len(listed.rows), "pair"),
        "minutes": listed.minutes,
        "least": listed.minutes_short,
        "racks": sorted(racks.items()),
        "out": [(pair.tag, pair.due_words(listed.day)) for pair in listed.out],
        "second_check": listed.second_check,
        "never_back": listed.never_back_words,
        "came": came,
        "status": 409 if any(each.word == "REFUSED" for each in came) else 200,
        "look": recheck.LOOK,
    }


def _line(row: recheck.RecheckRow, listed: recheck.RecheckList, now: datetime) -> dict[str, str]:
    back = clock_text(row.returned_at, listed.zone, today=now) if row.returned_at else ""
    return {
        "tag": row.tag,
        "rack": row.rack,
        "why": "; ".join((*row.reasons, row.setting.set_for)),
        "back": back,
    }


def _rack_of(rack: str) -> str:
    """Return the rack of a place in it, as the list of a rack takes it: ``A`` of ``A-01``."""
    return rack.rstrip("0123456789").rstrip("-./ ") or rack


async def _pair(request: Request) -> Response:
    asked = request.query_params
    scan, of, seen = asked.get("scan", ""), asked.get("of", ""), asked.get("seen", "")
    return await show_look(
        request, "evening_pair.html", lambda ledger: _looking(request, ledger, scan, of, seen)
    )


def _looking(request: Request, ledger: Ledger, scan: str, of: str, seen: str) -> dict[str, object]:
    """Return the pair that was scanned, with a ring for each screw. Raises Refused for skis of two pairs.

    ``of`` and ``seen``: the pair of which one ski was scanned before, and which.
    """
    connection = ledger.connection
    tag, side = known_tag(connection, scan.strip()), ski_coded(scan)[1]
    if of and len(seen) == 1 and side is not None and tag != of:
        raise Refused(
            f"{of} {seen} and {ski_code(tag, side)} are of two pairs: mixed",
            cure="find the other ski of each; nothing was entered",
        )
    sides = {*(seen if tag == of else ""), *(side.value if side else "")} & {"A", "B"}
    listed = _list(request, ledger)
    at = next((number for number, row in enumerate(listed.rows) if row.tag == tag), None)
    row = None if at is None else listed.rows[at]
    case, standing = clearance.read_case(connection, tag), read_standing(connection, tag)
    model, length_mm, rack = connection.execute(
        "SELECT model, length_mm, rack FROM pair WHERE tag = ?", (tag,)
    ).fetchone()
    place = standing.place
    return {
        "tag": tag,
        "facts": f"{model} · {length_mm / 10:g} cm · {f'rack {rack}' if rack else 'no rack'}",
        "seen": "".join(sorted(sides)),
        "number": None if at is None else at + 1,
        "pairs": len(listed.rows),
        "day": day_text(listed.day),
        "list_id": listed.list_id if row else "",
        "group": row.group.value if row else place.value,
        "reasons": row.reasons if row else (),
        "stopped": standing.quarantine_why or standing.hold_why,
        "second_check": place is Place.SECOND_CHECK,
        "stands": standing.setting.words,
        "strips": _strips(case, row),
        "wide": STRIP_WIDE,
        "radius": RING_R,
        "name_wide": NAME_WIDE,
        "words": TAP_WORDS,
        "known": case.pattern is not None,
    }


def _strips(case: clearance.Case, row: recheck.RecheckRow | None) -> tuple[SkiStrip, ...]:
    marked = row.marked if row else frozenset()
    screws = row.screws if row else recheck.screw_dots(case.mount, case.pattern, marked)
    return strips_of(screws, looks.pieces_of(case), marked)


async def _look(request: Request, fields: Fields) -> Response:
    hand, now = hand_of(request, fields), served_of(request).now()
    tag, wanted = fields.get("tag", ""), fields.get("wanted", "")
    stated = _waited_since(fields, now)
    if fields.get("person", hand.by) != hand.by:
        raise AnotherSigns(
            f"{fields['person']} made this look, and {hand.by} is at this desk now",
            cure="who looked signs in, then it is sent again",
            names=(fields["person"],),
        )

    def look(ledger: Ledger) -> dict[str, object]:
        try:
            with at_hand(ledger, hand, now=now, stated=stated) as desk:
                typed, said = findings(_strips(clearance.read_case(desk.connection, tag), None), fields)
                _check_wanted(wanted, typed)
                remark = "; ".join(filter(None, (fields.get("remark", "").strip(), *said)))
                used = looks.ListUsed.parse(fields["list"]) if fields.get("list") else None
                came = _came(looks.look_as_typed(desk, tag, None, typed, list_used=used, remark=remark))
        except EnteredBefore:
            standing = read_standing(ledger.connection, tag)
            came = LookedAt(
                word=standing.place.value.upper(), tag=tag, said="entered before, and not counted twice"
            )
        return _listed(request, ledger, came=(came,))

    return await show_look(request, _LIST, look)


def _waited_since(fields: Mapping[str, str], now: datetime) -> datetime | None:
    """Return when a look was made that waited on its tablet for the network; None for one just made.

    A pass that waited must not count as later than a return that came in between.
    """
    waited = fields.get("waited", "0")
    if not (waited.isascii() and waited.isdigit() and len(waited) < _LONG):
        raise BadInput("how long this look waited is not known", cure="look again; nothing was entered")
    seconds = int(waited)
    return now - timedelta(seconds=seconds) if seconds >= _JUST_MADE else None


def _check_wanted(wanted: str, typed: tuple[str, ...]) -> None:
    """Refuse a button that says another thing than the rings: nobody passes or holds by a slip."""
    found = {looks.Found(each.partition("=")[2]) for each in typed}
    moved = any(each.is_fault for each in found)
    if (wanted == "hold") is not moved:
        raise Refused(
            "a screw moved: that is a hold, never a pass" if moved else "no ring says that a screw moved",
            cure="tap the rings as they were found; nothing was entered",
        )


def _came(done: counter.Done) -> LookedAt:
    held = done.place is Place.HOLD
    word = "HOLD" if held else "PASSED" if done.place is Place.READY else done.place.value.upper()
    return LookedAt(word=word, tag=done.tag, said=done.words, held=held)


async def _rest(request: Request, fields: Fields) -> Response:
    """Enter the rest of a list by one signature: each pair a look of its own, as the command does."""
    hand, now = hand_of(request, fields), served_of(request).now()
    used = looks.ListUsed.parse(fields.get("list", ""))
    but = {name.removeprefix("but ") for name in fields if name.startswith("but ")}

    def one(ledger: Ledger, tag: str) -> LookedAt:
        try:
            with at_hand(ledger, replace(hand, tap=part_of_tap(hand.tap, tag)), now=now) as desk:
                return _came(looks.look_as_typed(desk, tag, looks.Found.NOT_MOVED.value, (), list_used=used))
        except EnteredBefore:  # by another process, since the list was read
            return LookedAt(word="PASSED", tag=tag, said="entered before, and not counted twice")
        except MountbookError as fault:
            told = in_page_words(request, fault)
            said = "; ".join(filter(None, (told.sentence, told.cure)))
            return LookedAt(word="REFUSED", tag=tag, said=said)

    def enter(ledger: Ledger) -> dict[str, object]:
        with ledger.reading() as connection:
            found = day_end.under_list(connection, used, but)
            before = [
                tag for tag in found.dealt_with if entries_of_tap(connection, part_of_tap(hand.tap, tag))
            ]
        came = [one(ledger, tag) for tag in found.tags]
        came += [LookedAt(word="NOT PASSED", tag=tag, said=f"it {why}") for tag, why in found.not_on_it]
        if before:
            said = f"{counted(len(before), 'pair')}, not counted twice: {', '.join(before)}"
            came.append(LookedAt(word="ENTERED BEFORE", tag="", said=said))
        came += [LookedAt(word="LEFT OUT", tag=tag, said="still to be looked at") for tag in found.excepted]
        return _listed(request, ledger, came=tuple(came))

    return await show_look(request, _LIST, enter)


async def _close(request: Request, fields: Fields) -> Response:
    """Close the evening, as the command does; then the rest of the day is audited at the machine."""
    served = served_of(request)
    acted = await served.act(hand_of(request, fields), day_end.close_evening)
    served.audit_evening()
    said = acted.came.sum_words if acted.came else "closed before, and not twice"
    came = LookedAt(word="CLOSED", tag="", said=said)
    return await show_look(request, _LIST, lambda ledger: _listed(request, ledger, came=(came,)))


async def _hold_tag(request: Request) -> Response:
    tag, printed_at = request.query_params.get("tag", ""), served_of(request).now()

    def made(connection: sqlite3.Connection) -> bytes:
        tags = held_tags(connection, [known_tag(connection, tag)])
        return hold_tag_pdf(tags, zone=read_shop(connection).zone, printed_at=printed_at)

    return Response(
        await served_of(request).read(made),
        media_type="application/pdf",
        headers={"content-disposition": 'inline; filename="hold-tag.pdf"'},
    )


_CLASSES: Final = {
    DeviationClass.NONE: "in order",
    DeviationClass.ONE: "class I: it is counted",
    DeviationClass.TWO: "class II: the pair is held at once",
    DeviationClass.THREE: "class III: the pair is locked away at once",
}


def _sample_drawn(desk: Desk, _: Fields) -> str:
    return next(draw_sample(desk, seed=secrets.token_hex(8)).said())


def _sample_result(desk: Desk, fields: Fields) -> str:
    unit, found = fields.get("unit", ""), class_typed(fields.get("found", ""))
    sample = record_result(
        desk, unit, found, device=fields.get("device", ""), remark=fields.get("remark", "")
    )
    return f"{[*sample.results][-1]}: {found}; {sample.to_go}"


def _sample_closed(desk: Desk, _: Fields) -> str:
    sample = close_sample(desk)
    return f"sample {sample.entry}: {sample.closed}; the next: {schedule(desk.connection).words}"


def _not_counted(desk: Desk, fields: Fields) -> str:
    day = typed_day(fields.get("closed_day", ""), "the day")
    not_operating(desk, day, why=fields.get("why", "").strip() or "closed")
    return f"{day_text(day)} does not count as an operating day"


_SAMPLE_ACTS: Final[Acts] = {
    "draw": _sample_drawn,
    "result": _sample_result,
    "close": _sample_closed,
    "not-counted": _not_counted,
}
"""The buttons of the page, each with the function of the command that does the same."""


async def _sample_page(request: Request) -> Response:
    return await _sample_shown(request, fields={"unit": request.query_params.get("unit", "")})


async def _sample_shown(
    request: Request, *, fields: Fields, said: str = "", refused: MountbookError | None = None
) -> Response:
    def look(connection: sqlite3.Connection) -> tuple[Sample | None, NextSample, date]:
        return newest_sample(connection), schedule(connection), today_of(request, connection)

    sample, due, today = await served_of(request).read(look)
    return show(
        request,
        "sample.html",
        refused=refused,
        sample=sample,
        due=due,
        today=today,
        acts_at="/evening/sample/do",
        said=said,
        classes=_CLASSES,
        typed={"device": fields.get("device", "")} if said else fields,
    )


ROUTES: Final = (
    Route("/evening", _page),
    Route("/evening/pair", _pair),
    Route("/evening/look", _look, methods=["POST"]),
    Route("/evening/rest", _rest, methods=["POST"]),
    Route("/evening/close", _close, methods=["POST"]),
    Route("/evening/hold-tag", _hold_tag),
    Route("/evening/sample", _sample_page),
    Route("/evening/sample/do", partial(press, acts=_SAMPLE_ACTS, shown=_sample_shown), methods=["POST"]),
)
