"""The recheck list of today: pairs that came back and were not passed, worst first, with reasons.

`fleet.rules.day_end` says what a signature under a whole printed list passes, and closes the day.

The values stand here; `recheck_list` reads them from the ledger. Nothing heavy is imported, so that the
list opens at once on the bench's old laptop.
"""

import json
import sqlite3
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from enum import StrEnum
from typing import Final, cast

from fleet.base.days import day_text, stored_day
from fleet.base.entries import Head
from fleet.base.errors import RECORD_FAULTS, BadInput, Refused
from fleet.base.units import counted, first_of
from fleet.facts.gates import PASS_DAYS, PASS_FROM
from fleet.facts.holes import Mount, PieceSlide, Side
from fleet.facts.notes import in_short, on_pair
from fleet.facts.patterns import Pattern, pattern_from_body
from fleet.facts.standing import NOT_KNOWN, BindingSetting, Place, Standing, read_standings
from fleet.facts.tags import tag_order
from fleet.rules.gates import OldestPass, aged_words, long_out, oldest_pass, out_without_boot
from fleet.rules.looks import Found, ListUsed, check_printed, found_words, list_id_for
from fleet.rules.loosening.record import worse_patterns
from fleet.tables.connection import read_shop
from fleet.tables.snapshot import newest_setting, read_notes, read_policy


class Group(StrEnum):
    """The three parts of the list, in the order they are looked at."""

    CHECK_FIRST = "check first"
    DUE = "due"
    ROUTINE = "routine"

    @property
    def may_wait(self) -> bool:
        """True if a short evening may leave the pair for tomorrow (it stays unpassed until then)."""
        return self is Group.ROUTINE


LOOK: Final = (
    "identify the pair by its tag",
    "ask what the renter said",
    "base and edges",
    "top sheet",
    "wobble each piece by hand",
    "each screw, by hand",
    "binding bodies and brakes",
    "reference boot in",
    "sign",
)
"""The order of the look at one pair (common practice, no source)."""
_NAMED: Final = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class ScrewDot:
    """One screw of the small picture: micrometres from the mark; ``marked``: look here first."""

    piece: str
    x_um: int
    y_um: int
    marked: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RecheckRow:
    """One pair to look at. ``reasons`` are whole phrases, the weightiest first.

    ``marked`` holds the (side, piece) to look at first; ``screws`` is empty for a ski whose binding is
    not recorded. ``returned_at`` is UTC text, "" for a pair that never came back; ``seconds`` is the time
    the look takes by policy. ``setting``: the sole length its bindings were last set for. ``entry``: the
    newest entry that put the pair on the list. ``aged``: it stands ready, and its pass is too old.
    """

    tag: str
    model: str
    kind: str
    length_mm: int
    rack: str
    group: Group
    reasons: tuple[str, ...]
    marked: frozenset[tuple[Side, str]]
    screws: Mapping[Side, tuple[ScrewDot, ...]]
    pattern: str
    returned_at: str
    seconds: int
    setting: BindingSetting = NOT_KNOWN
    entry: int = 0
    aged: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class UnreturnedPair:
    """A pair that is out, and the day on which its renter is due; None: nobody said one.

    ``remarks``: what else the counter has to know of it.
    """

    tag: str
    due: date | None = None
    remarks: tuple[str, ...] = field(default=(), compare=False)

    def due_words(self, today: date) -> str:
        """The words ``due today``, ``due Fri 26 Dec 2025``, ``was due ...`` or ``due day not known``."""
        if self.due is None:
            return "due day not known"
        if self.due == today:
            return "due today"
        return f"{'was due' if self.due < today else 'due'} {day_text(self.due)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class RecheckList:
    """The list of one day, as of one head. ``list_id`` is printed and typed when results are entered.

    ``second_check`` are pairs fresh from the bench that wait for a second person (not on the list:
    nobody skied them yet); ``out``: the pairs that are out at this head; ``never_back``: the
    pairs in the shop without a valid pass that no return and no look put there (the season prep is theirs).
    ``faults``: pairs whose record could not be read whole; they stand first, with what is known.
    ``supplement_to``: the printed list that this one goes with; "" for a whole list. ``rack``: of a rack's
    list, the rack; it holds each pair there that no pass covers, and nothing of other racks.
    """

    list_id: str
    day: date
    head: Head
    zone: str
    rows: tuple[RecheckRow, ...]
    second_check: tuple[str, ...] = ()
    out: tuple[UnreturnedPair, ...] = ()
    never_back: tuple[str, ...] = ()
    faults: tuple[tuple[str, Exception], ...] = ()
    supplement_to: str = ""
    rack: str = ""

    @property
    def never_back_words(self) -> str:
        """Those pairs in a sentence, the first of them named; "" where there are none."""
        named = f"{len(self.never_back)} (season prep sign-off): {first_of(self.never_back, _NAMED)}"
        return f"in the shop without a pass, no return on record: {named}" if self.never_back else ""

    @property
    def minutes(self) -> int:
        """The minutes that the whole list takes, rounded up."""
        return -(-sum(row.seconds for row in self.rows) // 60)

    @property
    def minutes_short(self) -> int:
        """The minutes of the rows that may not wait, rounded up."""
        return -(-sum(row.seconds for row in self.rows if not row.group.may_wait) // 60)

    def count(self, group: Group) -> int:
        """Return the number of pairs in that part of the list."""
        return sum(row.group is group for row in self.rows)


_MOST_WEIGHT = 100
_MANY_RACKS = 12


def recheck_list(connection: sqlite3.Connection, *, today: date, rack: str = "") -> RecheckList:
    """Return the pairs that came back and were not passed, as of the newest entry, worst first.

    With them those whose pass is too old on that day by the shop's rule; these come last. With ``rack``: the
    pairs of that rack that no pass covers, skied or not.

    The order: the renter said so, loose last time, first returns after work, never passed, then by days
    out since the last pass; the longest out first, then the earliest return.
    """
    head = Head(*connection.execute("SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1").fetchone())
    policy = read_policy(connection)
    first_returns = policy.count("recheck_first_returns")
    due_days = policy.count("recheck_due_days")
    seconds = policy.count("recheck_seconds")
    zone = read_shop(connection).zone
    oldest = oldest_pass(policy, today)
    args = (oldest.start_utc(zone) if oldest else "",)
    unpassed = read_standings(connection, where=_MAY_BE_LISTED, args=args)
    if rack:
        rack, in_rack = _rack(connection, rack)
        waiting = unpassed = tuple(each for each in unpassed if each.tag in in_rack)
    else:
        waiting = tuple(each for each in unpassed if each.place is Place.READY or each.waits_for_a_look)
    facts = _PairFacts(connection, args)
    rows, faults = [], []
    for standing in waiting:
        try:
            group, weight, reasons, marked = _why(
                standing,
                first_returns=first_returns,
                due_days=due_days,
                said=facts.note(standing.said_entry),
                rate=facts.rate(standing.tag),
                found=facts.found(standing.fault.entry),
                unskied=_unskied(standing, oldest, zone),
            )
            if noted := facts.noted(standing.tag):
                reasons = (*reasons, noted)
            row = facts.row(standing, group=group, reasons=reasons, marked=marked, seconds=seconds)
        except RECORD_FAULTS as fault:  # one pair's record must not keep the others from being looked at
            faults.append((standing.tag, fault))
            group, weight, row = Group.CHECK_FIRST, _MOST_WEIGHT, facts.unread(standing, fault, seconds)
        rows.append(
            (
                (
                    list(Group).index(group),
                    -weight,
                    -standing.days_out,
                    standing.returned.at,
                    tag_order(standing.tag),
                ),
                row,
            )
        )
    rows.sort()  # no two pairs have one tag: the row itself is never compared
    unshod, overdue = out_without_boot(connection), long_out(connection, today=today, zone=zone)
    return RecheckList(
        list_id=list_id_for(today, head.seq, rack=rack),
        day=today,
        head=head,
        zone=zone,
        rows=tuple(row for _, row in rows),
        faults=tuple(faults),
        rack=rack,
        second_check=()
        if rack
        else tuple(
            row[0]
            for row in connection.execute(
                "SELECT tag FROM standing WHERE place = ? ORDER BY tag COLLATE BY_NUMBER",
                (Place.SECOND_CHECK.value,),
            )
        ),
        out=()
        if rack
        else tuple(
            UnreturnedPair(
                tag=tag,
                due=stored_day(due),
                remarks=("no boot named: the sole it is set for is not known",) * (tag in unshod)
                + ("a long rental, past its recheck",) * (tag in overdue),
            )
            for tag, due in connection.execute(
                "SELECT tag, out_due FROM standing WHERE place = ? ORDER BY out_due IS NULL, out_due,"
                " tag COLLATE BY_NUMBER",
                (Place.OUT.value,),
            )
        ),
        never_back=tuple(
            sorted({each.tag for each in unpassed} - {each.tag for each in waiting}, key=tag_order)
        ),
    )


def supplement(listed: RecheckList, printed: ListUsed) -> RecheckList:
    """Return what came onto the list since a printed one was made, under its own number."""
    if listed.rack or printed.rack:
        raise BadInput("a rack's list has no supplement", cure="print the rack's list again, with --rack")
    check_printed(printed, listed.head)
    return replace(
        listed,
        list_id=list_id_for(listed.day, listed.head.seq, since=printed.made_at_entry),
        rows=tuple(row for row in listed.rows if row.entry > printed.made_at_entry),
        second_check=(),
        never_back=(),
        faults=tuple(
            (row.tag, error)
            for row in listed.rows
            for tag, error in listed.faults
            if tag == row.tag and row.entry > printed.made_at_entry
        ),
        supplement_to=printed.list_id,
    )


def _why(
    standing: Standing,
    *,
    first_returns: int,
    due_days: int,
    said: str,
    rate: str,
    found: Mapping[str, Mapping[str, str]],
    unskied: str = "",
) -> tuple[Group, int, tuple[str, ...], frozenset[tuple[Side, str]]]:
    """Return the group, a weight within it, the reasons, and the pieces to look at first."""
    if unskied:
        return Group.ROUTINE, -1, (unskied, *([rate] if rate else [])), frozenset()
    reasons: list[str] = []
    marked: set[tuple[Side, str]] = set()
    weight = 0
    if standing.said_entry:
        reasons.append(f"renter: \u201c{said}\u201d")
        weight = 8
    if standing.loose and standing.returns_since_fault <= first_returns:
        marked = {(Side(side), piece) for side, piece in standing.loose}
        reasons += [
            f"{found_words(found.get(side, {}).get(piece, 'loose'))} last time: ski {side} {piece}"
            for side, piece in standing.loose
        ]
        weight += 4
    elif standing.returns_since_fault <= first_returns:
        reasons.append("after a repair")
        weight += 3
    for side, piece in standing.unreached:
        marked.add((Side(side), piece))
        reasons.append(f"{Found.COULD_NOT_REACH} last time: ski {side} {piece}")
    weight += 4 if standing.unreached else 0
    if standing.returns_since_work <= first_returns:
        ordinal = {1: "1st", 2: "2nd", 3: "3rd"}.get(
            standing.returns_since_work, f"{standing.returns_since_work}th"
        )
        reasons.append(f"{ordinal} return after {standing.work_what}")
        weight += 2
    if not standing.passed.entry:
        reasons.append("never passed: nothing is known")
        weight += 1
    if reasons:
        return Group.CHECK_FIRST, weight, (*reasons, *([rate] if rate else [])), frozenset(marked)
    if standing.days_out >= due_days:
        days = f"{counted(standing.days_out, 'day')} out since the last pass"
        return Group.DUE, 0, (days, *([rate] if rate else [])), frozenset()
    return Group.ROUTINE, 1 if rate else 0, (rate,) if rate else ("routine",), frozenset()


_MAY_BE_LISTED: Final = "(place = 'back' OR (place = 'ready' AND pass_at < ?))"


def _rack(connection: sqlite3.Connection, typed: str) -> tuple[str, frozenset[str]]:
    """Return the rack as it is written, and the tags of its pairs; ``A`` is each place ``A-01`` too.

    Raises Refused where none stands there.
    """
    pairs = connection.execute("SELECT rack, tag FROM pair WHERE rack > '' ORDER BY rack").fetchall()
    wanted = typed.strip().casefold()
    found = [
        (rack[: len(wanted)], tag)
        for rack, tag in pairs
        if rack.casefold().startswith(wanted) and not rack[len(wanted) : len(wanted) + 1].isalnum()
    ]
    if not found:
        racks = racks_words(dict(Counter(rack for rack, _ in pairs)))
        raise Refused(f"no pair stands in rack {typed.strip()!r}", cure=f"racks and their pairs: {racks}")
    return found[0][0], frozenset(tag for _, tag in found)


def racks_words(racks: Mapping[str, int]) -> str:
    """``R-1: 5, R-2: 3``; where each pair has a place of its own, by what stands before its number."""
    if len(racks) > _MANY_RACKS:
        parts: Counter[str] = Counter()
        for rack, pairs in racks.items():
            parts[rack.rstrip("0123456789").rstrip("-./ ") or rack] += pairs
        racks = parts
    return ", ".join(f"{rack}: {pairs}" for rack, pairs in racks.items()) or "none on record"


def _unskied(standing: Standing, oldest: OldestPass | None, zone: str) -> str:
    """Return why a pair is on the list that did not come back since its pass; "" for one that did."""
    if standing.place is Place.READY:
        return aged_words(standing, oldest, zone=zone)
    if standing.waits_for_a_look or not standing.passed.entry:
        return ""
    return f"no pass since {standing.work_what}"


class _PairFacts:
    """The facts shown in a row besides the standing, read in a few queries for all pairs."""

    def __init__(self, connection: sqlite3.Connection, args: tuple[str] = ("",)) -> None:
        waiting = f"(SELECT tag FROM standing WHERE {_MAY_BE_LISTED})"
        # no list printed before it names a pair whose pass aged by these rules
        self._rules_entry = newest_setting(connection, PASS_FROM, PASS_DAYS)
        self._pairs = {
            row[0]: row[1:]
            for row in connection.execute(
                f"SELECT tag, model, kind, length_mm, rack FROM pair WHERE tag IN {waiting}", args
            )
        }
        self._mounts = {
            row[0]: row[1:]
            for row in connection.execute(
                "SELECT tag, pattern, bsl_um, offset_um, mounted_on, slides FROM mount"
                f" WHERE removed_on IS NULL AND tag IN {waiting} ORDER BY mount_id",
                args,
            )
        }
        self._bodies = dict(connection.execute("SELECT name, body FROM pattern"))
        self._patterns: dict[str, Pattern] = {}
        self._dots: dict[tuple[object, ...], dict[Side, tuple[ScrewDot, ...]]] = {}
        self._notes = {
            row[0]: row[1]
            for row in connection.execute(
                f"SELECT seq, text FROM notes JOIN standing ON said_entry = seq WHERE {_MAY_BE_LISTED}", args
            )
        }
        self._on_things = read_notes(connection, where="ended_entry = 0")
        self._ids: dict[str, list[str]] = {}
        if any(note.binding_id for note in self._on_things):
            for tag, name in connection.execute("SELECT on_pair, binding_id FROM binding"):
                self._ids.setdefault(tag, []).append(name)
        self._rates = worse_patterns(connection)
        self._found = dict(
            connection.execute(
                f"SELECT entry, found FROM look JOIN standing ON fault_entry = entry WHERE {_MAY_BE_LISTED}",
                args,
            )
        )

    def noted(self, tag: str) -> str:
        """Return the notes that stand on the pair, its skis and its bindings, in short."""
        return in_short(on_pair(self._on_things, tag, binding_ids=self._ids.get(tag, ())), tag=tag)

    def note(self, entry: int) -> str:
        """Return the renter's words, unless they were redacted."""
        return self._notes.get(entry) or "(text removed)"

    def found(self, entry: int) -> dict[str, dict[str, str]]:
        """Return what a look found by ski and piece; nothing where that entry is no look."""
        return cast("dict[str, dict[str, str]]", json.loads(self._found.get(entry, "{}")))

    def rate(self, tag: str) -> str:
        """Return a remark where the pattern has moved more often than the fleet; else ""."""
        return self._rates.get(self._mounts.get(tag, ("",))[0]) or ""

    def _mount(self, tag: str) -> tuple[Mount | None, Pattern | None]:
        """Return the mount that is on, and its pattern; each is read alone: a broken one costs its pair."""
        if tag not in self._mounts:
            return None, None
        name, bsl_um, offset_um, mounted_on, slides = self._mounts[tag]
        if name in self._bodies and name not in self._patterns:
            self._patterns[name] = pattern_from_body(json.loads(self._bodies[name]))
        said = tuple(PieceSlide(**slide) for slide in json.loads(slides)["slides"])
        mount = Mount(pattern=name, bsl_um=bsl_um, offset_um=offset_um, mounted_on=mounted_on, slides=said)
        return mount, self._patterns.get(name)

    def unread(self, standing: Standing, fault: Exception, seconds: int) -> RecheckRow:
        """Return the row of a pair whose record cannot be read: every screw of it is looked at."""
        model, kind, length_mm, rack = self._pairs.get(standing.tag, ("", "", 0, ""))
        why = f"its record cannot be read ({type(fault).__name__}: {fault}): look at every screw"
        return RecheckRow(
            tag=standing.tag,
            model=model,
            kind=kind,
            length_mm=length_mm,
            rack=rack,
            group=Group.CHECK_FIRST,
            reasons=(why,),
            marked=frozenset(),
            screws=dict.fromkeys(Side, ()),
            pattern="",
            returned_at=standing.returned.at,
            seconds=seconds,
            entry=_came_on(standing),
        )

    def row(
        self,
        standing: Standing,
        *,
        group: Group,
        reasons: tuple[str, ...],
        marked: frozenset[tuple[Side, str]],
        seconds: int,
    ) -> RecheckRow:
        """Return one row of the list."""
        aged = standing.place is Place.READY
        model, kind, length_mm, rack = self._pairs[standing.tag]
        mount, pattern = self._mount(standing.tag)
        alike = (mount.pattern, mount.bsl_um, mount.offset_um, mount.slides, marked) if mount else ()
        if alike not in self._dots:
            self._dots[alike] = screw_dots(mount, pattern, marked)
        return RecheckRow(
            tag=standing.tag,
            model=model,
            kind=kind,
            length_mm=length_mm,
            rack=rack,
            group=group,
            reasons=reasons,
            marked=marked,
            screws=self._dots[alike],
            pattern=mount.pattern if mount else "",
            returned_at=standing.returned.at,
            seconds=seconds,
            setting=standing.setting,
            entry=max(standing.passed.entry, self._rules_entry) if aged else _came_on(standing),
            aged=aged,
        )


def _came_on(standing: Standing) -> int:
    """Return the newest entry that put the pair on the list: its return, or what a look found or left."""
    came = max(standing.returned.entry, standing.fault.entry, standing.unfinished.entry)
    return came or standing.since.entry


def screw_dots(
    mount: Mount | None, pattern: Pattern | None, marked: frozenset[tuple[Side, str]]
) -> dict[Side, tuple[ScrewDot, ...]]:
    """Return the places of the mounted pieces' screws, from the mark; empty where not recorded."""
    if mount is None or pattern is None:
        return dict.fromkeys(Side, ())
    references = {slide.piece: slide.reference_um for slide in mount.slides}
    return {
        side: tuple(
            ScrewDot(
                piece=piece.name.value,
                x_um=references.get(
                    piece.name.value, piece.follows.reference_um(mount.offset_um, mount.bsl_um)
                )
                + hole.x_um,
                y_um=hole.y_um,
                marked=(side, piece.name.value) in marked,
            )
            for piece in pattern.pieces
            for hole in piece.holes
        )
        for side in Side
    }
