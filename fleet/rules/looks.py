"""A look at a pair: the finding for each piece of both skis, and the state that follows.

The second person: whose hands at a pair bar them from passing or clearing it, told from its entries.
The recheck of the evening, the second check after work and the season prep sign-off are the same look.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Final

from fleet.base.days import day_text
from fleet.base.entries import Entry, Head
from fleet.base.errors import BadInput, Refused, or_bad_input, typed_word
from fleet.events.event import Event
from fleet.events.looks import Outcome, PairLookedAt, Screws
from fleet.events.orders import OrderDone, OrderPlugged, OrderStopped
from fleet.events.stops import HoldCleared, PairCarriedOver, RepairDone, StopEnded
from fleet.facts.holes import Side
from fleet.facts.patterns import PieceName
from fleet.facts.staff import CHECKERS
from fleet.facts.standing import Place, Standing, read_standing
from fleet.facts.tags import known_tag, names_of
from fleet.ledger.desk import Desk, in_date, is_one_of, not_one_of, signer
from fleet.ledger.ledger import named_entries
from fleet.rules.clearance import Case, read_case
from fleet.rules.counter import Done
from fleet.rules.moves import Move, check_move
from fleet.tables.snapshot import read_policy, read_staff


class Found(StrEnum):
    """The finding of a hand at the screws of one piece. Paper, screen and ledger say it in these words.

    The words of older programs stand in old entries, and may still be typed.
    """

    NOT_MOVED = "not moved"
    TURNED = "turned"
    TURNED_UNDER_AN_EIGHTH = "turned under an eighth"
    SPINS = "spins"
    MISSING = "missing"
    CRACKED = "cracked"
    COULD_NOT_REACH = "could not reach"

    @classmethod
    def _missing_(cls, value: object) -> Found | None:
        return _EARLIER_WORDS.get(str(value))

    @property
    def is_fault(self) -> bool:
        """True for any movement, for any crack, and for any screw that is not there."""
        return self not in (Found.NOT_MOVED, Found.COULD_NOT_REACH)


_EARLIER_WORDS: Final = {
    "under an eighth": Found.TURNED_UNDER_AN_EIGHTH,
    "more": Found.TURNED,
    "cannot reach": Found.COULD_NOT_REACH,
}


def found_words(stored: str) -> str:
    """Return today's word for a finding of an entry, old or new; a word that is none stays as it is."""
    try:
        return Found(stored).value
    except ValueError:
        return stored


class LookKind(StrEnum):
    """The occasion of a look."""

    RECHECK = "recheck"
    SECOND_CHECK = "second check"
    SEASON_PREP = "season prep"


LookFound = Mapping[Side, Mapping[str, Found]]
_WHEN_UNRECORDED: Final = (PieceName.TOE.value, PieceName.HEEL.value)


@dataclass(frozen=True, slots=True, kw_only=True)
class ListUsed:
    """The printed list that was used: its id, the entry it was made at, and its day.

    ``since_entry``: of a supplement, the entry at which the list before it was made. ``rack``: of a rack's
    list, the rack.
    """

    list_id: str
    made_at_entry: int
    day: date
    since_entry: int = 0
    rack: str = ""

    @classmethod
    def parse(cls, list_id: str) -> ListUsed:
        """Return the list of a printed id, ``RC-20261125-1284``. Raises BadInput for anything else."""
        number, slash, rack = list_id.strip().partition("/")
        parts = number.upper().split("-")
        with or_bad_input(
            f"{list_id!r} is not the number of a recheck list", cure="it reads like RC-20261125-1284"
        ):
            letters, day, *since, entry = parts
            if (
                letters != "RC"
                or len(since) > 1
                or (since and int(since[0]) > int(entry))
                or bool(slash) > bool(rack)
            ):
                raise ValueError
            return cls(
                list_id=f"{number.upper()}{slash}{rack}",
                rack=rack,
                made_at_entry=int(entry),
                since_entry=int(since[0]) if since else 0,
                day=date.fromisoformat(f"{day[:4]}-{day[4:6]}-{day[6:]}"),
            )


def list_id_for(day: date, entry: int, *, since: int = 0, rack: str = "") -> str:
    """Return the number printed on a list: its day and the ledger entry it was made at. That of a supplement
    names the entry of the list before it too, and that of a rack the rack, or its signature could pass the
    pairs of another list.
    """
    return f"RC-{day:%Y%m%d}-{f'{since}-' if since else ''}{entry}{f'/{rack}' if rack else ''}"


def check_printed(printed: ListUsed, head: Head) -> None:
    """Raise BadInput for the number of a list that this ledger cannot have printed."""
    if printed.made_at_entry > head.seq:
        raise BadInput(
            f"{printed.list_id} was not made from this ledger, whose newest entry is {head.seq}",
            cure="the number stands beside the code of the printed list; check --ledger",
        )


def pieces_of(case: Case) -> tuple[str, ...]:
    """Return the pieces to look at on each ski: the pattern's, or toe and heel where it is not recorded."""
    return tuple(piece.name.value for piece in case.pattern.pieces) if case.pattern else _WHEN_UNRECORDED


def parse_found(
    everywhere: str | None, single: tuple[str, ...], *, pieces: tuple[str, ...], tag: str
) -> dict[Side, dict[str, Found]]:
    """Return a typed text as a finding for each piece of each ski. A piece not named was not seen.

    ``everywhere`` holds for all pieces; each of ``single`` reads ``B heel=spins`` and wins over it.
    """
    found: dict[Side, dict[str, Found]] = {side: {} for side in Side}
    if everywhere is not None:
        word = _word(everywhere)
        for side in Side:
            found[side] = dict.fromkeys(pieces, word)
    for text in single:
        place, _, word_text = text.partition("=")
        otherwise = BadInput(f"{text!r} is not a finding", cure='write it like "B heel=spins"')
        side, piece = piece_typed(place if word_text else "", otherwise, pieces=pieces, tag=tag)
        found[side][piece] = _word(word_text)
    return found


def piece_typed(text: str, otherwise: BadInput, *, pieces: tuple[str, ...], tag: str) -> tuple[Side, str]:
    """Return ski and piece of a typed ``B heel``; BadInput for a piece that the pair has not.

    Raises ``otherwise`` for a text of another form.
    """
    words = text.split()
    if len(words) != 2 or words[0].upper() not in list(Side):
        raise otherwise
    if words[1].lower() not in pieces:
        raise BadInput(f"{tag} has no {words[1]} piece", cure=f"its pieces are {' and '.join(pieces)}")
    return Side(words[0].upper()), words[1].lower()


def _word(text: str) -> Found:
    words, cure = (*Found, *_EARLIER_WORDS), f"one of: {', '.join(Found)}"
    return Found(typed_word(text, words, f"{text!r} is not a finding", cure=cure))


def look_as_typed(
    desk: Desk,
    typed: str,
    everywhere: str | None,
    single: Sequence[str],
    *,
    kind: LookKind | None = None,
    list_used: ListUsed | None = None,
    remark: str = "",
) -> Done:
    """Enter one look from words: the pair as it was scanned, the findings as `parse_found` reads them."""
    tag = known_tag(desk.connection, typed)
    pieces = pieces_of(read_case(desk.connection, tag))
    seen = parse_found(everywhere, tuple(single), pieces=pieces, tag=tag)
    return record_look(desk, tag, seen, kind=kind, list_used=list_used, remark=remark)


def record_look(
    desk: Desk,
    tag: str,
    found: LookFound,
    *,
    kind: LookKind | None = None,
    list_used: ListUsed | None = None,
    remark: str = "",
) -> Done:
    """Enter one look. A pass needs every piece of both skis seen; any movement is a hold.

    A piece out of reach leaves the look unfinished: no earlier pass counts, the pair waits for another.

    ``kind`` None: the second check where one is due, else the recheck. Raises Refused as the rules say.
    """
    case = read_case(desk.connection, tag)
    standing = case.standing
    pieces = pieces_of(case)
    moved = tuple(
        (side, piece)
        for side in Side
        for piece in pieces
        if (word := found.get(side, {}).get(piece)) is not None and word.is_fault
    )
    unseen = [
        f"{side.value} {piece}" for side in Side for piece in pieces if found.get(side, {}).get(piece) is None
    ]
    blocked = tuple(
        (side, piece)
        for side in Side
        for piece in pieces
        if found.get(side, {}).get(piece) is Found.COULD_NOT_REACH
    )
    if kind is None:
        kind = LookKind.SECOND_CHECK if standing.second_check else LookKind.RECHECK
    outcome: Outcome = "hold" if moved else "unfinished" if blocked else "pass"
    if standing.place in (Place.HOLD, Place.QUARANTINE, Place.IN_REPAIR) and not moved:
        check_move(Move.PASS, tag, standing.place, detail=standing.hold_why or standing.quarantine_why)
    signer(desk.connection, desk.by, days=desk.signing_days, what="sign a look")
    if outcome == "hold":
        check_move(Move.FIND_FAULT, tag, standing.place)
    else:
        if unseen:
            raise Refused(
                f"{tag} was not seen whole: {', '.join(unseen)} has no finding",
                cure="look at both skis; the pair is passed as a pair",
            )
        check_move(Move.PASS if outcome == "pass" else Move.LEAVE_UNFINISHED, tag, standing.place)
    if outcome == "pass":
        _check_pass(desk, case, list_used)
    words = _outcome_words(outcome, moved, blocked, found)
    entry = desk.enter(
        PairLookedAt(
            tag=tag,
            kind=kind.value,
            found={side: {piece: word.value for piece, word in found.get(side, {}).items()} for side in Side},
            moved=moved,
            unreached=blocked if outcome == "unfinished" else (),
            outcome=outcome,
            cause=words if outcome == "hold" else "",
            pattern=case.mount.pattern if case.mount else "",
            mount_entry=case.mount.entry if case.mount else 0,
            list=list_used.list_id if list_used else None,
            list_of_another_day=list_used is not None and list_used.day != desk.day,
        ),
        note=remark,
    )
    after = read_standing(desk.connection, tag)
    if list_used is not None and list_used.day != desk.day:
        words += f"; NOTE: {list_used.list_id} is the list of {day_text(list_used.day)}, not of today"
    return Done(tag=tag, place=after.place, entry=entry, words=words)


def _check_pass(desk: Desk, case: Case, list_used: ListUsed | None) -> None:
    standing = case.standing
    tag = standing.tag
    if standing.workers or standing.cleared_by:
        desk.second_signature()
    not_one_of("worker", desk.by, barred(desk, standing, standing.workers, passes=True), tag=tag)
    not_one_of("clearer", desk.by, barred(desk, standing, standing.cleared_by, passes=True), tag=tag)
    for side in Side:  # with none on either it would be flat
        if side not in case.bindings:
            raise Refused(f"{tag} has no binding on record on ski {side.value}", cure="check the tag")
    for event, words in (
        (standing.returned, "came back"),
        (standing.work, "was worked on"),
        (standing.fault, "was found with a fault"),
        (standing.unfinished, "was left unfinished"),
    ):
        desk.check_after(event, tag, words)
    if list_used is not None:
        check_printed(list_used, desk.tx.head)
        if list_used.day > max(desk.signing_days):
            raise BadInput(
                f"list {list_used.list_id} is of {day_text(list_used.day)}, which has not come yet",
                cure="the number stands beside the code of the printed list",
            )
        if standing.returned.entry > list_used.made_at_entry:
            raise Refused(
                f"{tag} came back after list {list_used.list_id} was made: that look was before this return",
                cure="look at it again, from a new list",
            )


def _outcome_words(outcome: Outcome, moved: Screws, blocked: Screws, found: LookFound) -> str:
    if outcome == "pass":
        return "passed"
    if outcome == "unfinished":
        return f"not passed: {Found.COULD_NOT_REACH} {', '.join(map(' '.join, blocked))}; it waits for a look"
    return "; ".join(f"ski {side} {piece}: {found[side][piece].value}" for side, piece in moved)


ONE_PERSON: Final = "one_person_passes"
_HANDS: Final = (RepairDone, OrderPlugged, OrderDone, HoldCleared, StopEnded, PairCarriedOver)


def barred(desk: Desk, standing: Standing, names: Collection[str], *, passes: bool) -> tuple[str, ...]:
    """Return those of the names (workers, or who lifted a hold) who may not pass or clear the pair now.

    All of them, while anybody else of the list may look. Where every listed person in date had a hand in
    it, only the one whose hand was the newest: two people check each other. A shop that lists one passes its
    own work by the dated policy of that, where no screw had moved.
    """
    hands = {*standing.workers, *standing.cleared_by}
    able = in_date(read_staff(desk.connection), CHECKERS, days=desk.signing_days)
    if any(not is_one_of(each, hands) for each in able):
        return tuple(names)
    if len(able) > 1:
        newest = _newest_hand(desk.connection, standing.tag)
        return tuple(name for name in names if not newest or is_one_of(name, (newest,)))
    return () if passes and _may_alone(desk, standing) else tuple(names)


def _newest_hand(connection: sqlite3.Connection, tag: str) -> str:
    """Return who worked on the pair or lifted its hold last; "" where another record knows that."""
    hands = _entries_of(connection, tag, _HANDS)
    return hands[-1].by if hands and hands[-1].what != PairCarriedOver.WHAT else ""


def _entries_of(connection: sqlite3.Connection, tag: str, kinds: Collection[type[Event]]) -> list[Entry]:
    """Return the pair's entries of these kinds, oldest first, under every tag that it had."""
    named = (one for name in names_of(connection, tag) for one in named_entries(connection, name))
    whats = {each.WHAT for each in kinds}
    found = {entry.seq: entry for entry, *_ in named if entry.what in whats}
    return [found[seq] for seq in sorted(found)]


def _may_alone(desk: Desk, standing: Standing) -> bool:
    setting = read_policy(desk.connection).setting(ONE_PERSON)
    a_screw_moved = bool(standing.fault.entry) and not standing.passed.is_later_than(standing.fault)
    return setting.value == "yes" and setting.since <= desk.day.isoformat() and not a_screw_moved


def causers(connection: sqlite3.Connection, standing: Standing) -> tuple[str, ...]:
    """Return whose work at the bench stopped the pair, since a stop of it was last ended."""
    found: list[str] = []
    for each in _entries_of(connection, standing.tag, (OrderDone, OrderStopped, StopEnded)):
        if each.what == StopEnded.WHAT:
            found = []
        elif each.body.get("stop"):
            found.append(each.by)
    return tuple(found)
