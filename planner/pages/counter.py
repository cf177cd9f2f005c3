"""The counter: one field for a scanner, one large answer. The scan loop of the command does the work."""

import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Final, cast

from fleet.base.days import day_at, short_day_text, time_text
from fleet.base.entries import parse_utc, utc_text
from fleet.base.errors import MountbookError, Refused, or_bad_input
from fleet.base.units import mm_text
from fleet.events.movement import PairBack, PairOut, ScanUndone
from fleet.events.stops import PairHeld, PairQuarantined
from fleet.facts.standing import read_standing
from fleet.ledger.desk import Desk, ScansOfDay, entries_of_tap
from fleet.ledger.ledger import Ledger
from fleet.rules.clearance import Door, OwnBoot
from fleet.rules.scanning import HELP, Counter, Mode, Reply
from planner.pages.web import (
    ENTERED_BEFORE,
    Fields,
    Hand,
    Request,
    Response,
    Route,
    at_hand,
    desk_of,
    hand_of,
    served_of,
    show_look,
)

_PAGE: Final = "counter.html"
_DUE_DAYS: Final = 4
"""So many days have a button of their own."""
_KEPT: Final = 4
"""So many answers before the newest stay on the page."""
_WORD_OF: Final = {ScanUndone.WHAT: "UNDONE", PairHeld.WHAT: "HOLD", PairQuarantined.WHAT: "QUARANTINE"}
"""Kind of entry -> the large word, where that is not the place at which the pair is now."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanAnswer:
    """The large answer to one scan. ``look``: the form in which it is drawn; ``line``: what the button of
    ``SET FIRST`` enters.
    """

    word: str
    look: str
    tag: str = ""
    said: str = ""
    cure: str = ""
    stands: str = ""
    needs: str = ""
    line: str = ""
    others: tuple[dict[str, str], ...] = ()


@dataclass(slots=True)
class ScanDesk:
    """One desk's counter: its scan loop, its scans of the day, and its newest answers, the newest first."""

    loop: Counter
    ledger: Ledger
    scans: ScansOfDay
    answers: list[ScanAnswer] = field(default_factory=list)


def _at(ledger: Ledger, request: Request, shown: Mapping[str, str]) -> ScanDesk:
    """Return the counter of the desk that asks; a new one where the ledger was opened anew.

    ``shown``: what its page shows, and sends along: a page that outlived its server means that still.
    """
    kept = cast(dict[str, ScanDesk], request.app.state.counters)
    desk, today = desk_of(request), day_at(served_of(request).now(), ledger.zone)
    found, scans = kept.get(desk.key_hash), ScansOfDay(desk.name, today, ledger.zone)
    if found is None or found.ledger is not ledger:
        loop = Counter(ledger, by="", mode=found.loop.mode if found else Mode.OUT)
        _as_shown(loop, shown)
        found = kept[desk.key_hash] = ScanDesk(loop, ledger, scans, found.answers if found else [])
    elif (found.scans.desk, found.scans.day) != (desk.name, today):
        found.scans = scans
    return found


def _as_shown(loop: Counter, shown: Mapping[str, str]) -> None:
    """Have the scan loop stand as the page shows it. Raises BadInput for what no page of ours shows."""
    with or_bad_input("this page shows what it cannot", cure="open the page again"):
        if mode := shown.get("mode"):
            loop.mode = Mode(mode)
        if due := shown.get("due"):
            loop.due = date.fromisoformat(due)
        if paper := shown.get("paper"):
            loop.paper_time = parse_utc(paper)
            loop.paper_note = shown.get("note", "")


async def _page(request: Request) -> Response:
    return await show_look(request, _PAGE, lambda ledger: _values(request, _at(ledger, request, {})))


async def _scan(request: Request, fields: Fields) -> Response:
    hand, now = hand_of(request, fields), served_of(request).now()
    line = _line(fields)

    def scan(ledger: Ledger) -> dict[str, object]:
        desk = _at(ledger, request, fields)
        if line.strip():
            desk.answers.insert(0, _handled(desk.loop, line, ledger, hand, now=now))
            del desk.answers[_KEPT + 1 :]
        refused = bool(line.strip()) and desk.answers[0].word in ("REFUSED", "SET FIRST")
        return _values(request, desk) | {"status": 409 if refused else 200}

    return await show_look(request, _PAGE, scan)


def _line(fields: Fields) -> str:
    """Return the line that the scan loop reads: that of a button, or what was scanned and typed."""
    if "line" in fields:
        return fields["line"]
    if fields.get("day"):
        return f"due {fields['day']}"
    if fields.get("own_mm"):
        return f"own {fields['own_mm']} {fields.get('own_type', '')}"
    return f"{fields.get('scan', '')} {fields.get('said', '')}"


def _handled(loop: Counter, line: str, ledger: Ledger, hand: Hand, *, now: datetime) -> ScanAnswer:
    """Return the answer to one line, entered by this hand."""

    def at_desk(now: datetime, stated: datetime | None) -> AbstractContextManager[Desk]:
        return at_hand(ledger, hand, now=now, stated=stated)

    loop.at_desk = at_desk
    try:
        if before := entries_of_tap(ledger.connection, hand.tap):  # else the scan loop takes it for a beep
            return _before(ledger.connection, before)
        reply = loop.handle(line, now=now)
        with ledger.reading() as connection:
            return _answer(connection, reply, loop.mode, at=now, zone=ledger.zone)
    except BaseException:
        loop.drop()
        raise


def _before(connection: sqlite3.Connection, entries: Sequence[int]) -> ScanAnswer:
    """Return the answer to an action that was entered before, from what stands in the ledger."""
    what, tag = connection.execute(
        "SELECT what, json_extract(body, '$.tag') FROM entries WHERE seq = ?", (entries[-1],)
    ).fetchone()
    word = {PairOut.WHAT: "OUT", PairBack.WHAT: "BACK", **_WORD_OF}.get(what, "ENTERED")
    return ScanAnswer(word=word, look=word.lower(), tag=tag or "", said=ENTERED_BEFORE)


def _answer(
    connection: sqlite3.Connection, reply: Reply, mode: Mode, *, at: datetime, zone: str
) -> ScanAnswer:
    if reply.fault is not None:
        return _refusal(connection, reply, reply.fault, at=at, zone=zone)
    if reply.done is not None:
        place = reply.done.place.value.upper()
        said = reply.text.removeprefix(f"{reply.done.tag}  {place}").strip()
        (what,) = connection.execute("SELECT what FROM entries WHERE seq = ?", (reply.done.entry,)).fetchone()
        word = _WORD_OF.get(what, place)
        return ScanAnswer(word=word, look=word.lower().replace(" ", "-"), tag=reply.done.tag, said=said)
    tag, said = "", reply.text
    if reply.pair or reply.boot:
        tag, _, said = reply.text.partition("  ")
        if reply.again:
            return ScanAnswer(word=mode.value.upper(), look=mode.value, tag=tag, said=said)
        return ScanAnswer(word=f"NOT {mode.value.upper()} YET", look="waits", tag=tag, said=said)
    return ScanAnswer(word="REFUSED" if reply.refused else "", look="note", said=said)


def _refusal(
    connection: sqlite3.Connection, reply: Reply, fault: MountbookError, *, at: datetime, zone: str
) -> ScanAnswer:
    """Return a refusal with what would go instead; SET FIRST where the setting is all that is missing."""
    instead = fault.instead if isinstance(fault, Refused) else ()
    refused = ScanAnswer(
        word="REFUSED",
        look="refused",
        tag=reply.pair or (reply.boot if isinstance(reply.boot, str) else ""),
        said=fault.sentence,
        cure=fault.cure,
        others=_others(connection, instead),
    )
    if not (reply.pair and reply.boot):
        return refused
    try:
        door = Door(connection, at=at, zone=zone, boot=reply.boot)
        if not door.ask(reply.pair).only_set:
            return refused
        others = _others(connection, door.instead_of(reply.pair))
    except MountbookError:  # no such pair or boot: the refusal says so
        return refused
    own = reply.boot if isinstance(reply.boot, OwnBoot) else None
    boot = f"own {mm_text(own.bsl_um)} {own.sole_type}" if own else reply.boot
    return ScanAnswer(
        word="SET FIRST",
        look="set-first",
        tag=f"{reply.pair} + {door.boot_name}",
        said=fault.sentence,
        cure=fault.cure,
        stands=read_standing(connection, reply.pair).setting.words,
        needs=f"{mm_text(door.sole_um)} mm" if door.sole_um else "",
        line=f"set {reply.pair} {boot}",
        others=others,
    )


def _others(connection: sqlite3.Connection, tags: Sequence[str]) -> tuple[dict[str, str], ...]:
    """Return the pairs that would go in the place of a refused one."""
    found = []
    for tag in tags:
        rack, length_mm = connection.execute(
            "SELECT rack, length_mm FROM pair WHERE tag = ?", (tag,)
        ).fetchone()
        stands = read_standing(connection, tag).setting.words
        found.append({"tag": tag, "rack": rack, "length_cm": f"{length_mm / 10:g}", "stands": stands})
    return tuple(found)


def _values(request: Request, desk: ScanDesk) -> dict[str, object]:
    """Return what the desk's page shows, as it is now: its next scan changes the desk."""
    loop, now, today = desk.loop, served_of(request).now(), desk.scans.day
    with desk.ledger.reading() as connection:
        out, back = desk.scans.read_on(connection)
    days = [today + timedelta(days=ahead) for ahead in range(_DUE_DAYS)]
    return {
        "mode": loop.mode.value,
        "waits": loop.pair or loop.boot or "",
        "for_boot": bool(loop.pair) and len(loop.sides) != 1,
        "now": time_text(utc_text(now), desk.ledger.zone),
        "out": out,
        "back": back,
        "paper": utc_text(loop.paper_time) if loop.paper_time else "",
        "note": loop.paper_note,
        "due": _due_words(loop.due, today),
        "due_day": loop.due.isoformat() if loop.due else "",
        "days": [(day.isoformat(), _due_words(day, today), day == loop.due) for day in days],
        "other_day": loop.due is not None and loop.due not in days,
        "answer": desk.answers[0] if desk.answers else None,
        "earlier": desk.answers[1:],
        "help": HELP.splitlines(),
    }


def _due_words(day: date | None, today: date) -> str:
    if day is None or day == today:
        return "today" if day else ""
    words = short_day_text(day)
    return words.rpartition(" ")[0] if timedelta() < day - today < timedelta(days=_DUE_DAYS) else words


ROUTES: Final = (Route("/counter", _page), Route("/counter/scan", _scan, methods=["POST"]))
