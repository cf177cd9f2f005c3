"""A desk: one human action with its person, its time of entry, and its stated time; who may sign it.

A name is a claim, not a proof; but it must be on the list and in date. Actions sent by a page have an id: an
action that is sent twice is found again. The id stands in the body of each entry, under the entry's hash. So
it is decided in the entry's own transaction: after a kill either both are in the file or neither is, and a
backup brings both.
"""

import re
import secrets
import sqlite3
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from hashlib import sha256
from typing import Final
from zoneinfo import ZoneInfo

from fleet.base.days import day_text, midnight, time_text
from fleet.base.entries import Body, name_key, parse_utc, utc_text
from fleet.base.errors import AnotherSigns, BadInput, Refused
from fleet.base.units import counted
from fleet.events.event import LEFT_OUT, Event, Later
from fleet.events.movement import PairBack, PairOut, ScanUndone
from fleet.facts.staff import CHECKERS, HEADS, Role, Staff, listed
from fleet.facts.standing import Moment
from fleet.ledger.transaction import CLOCK_SLACK, Transaction
from fleet.tables.snapshot import read_policy, read_staff


def signer(connection: sqlite3.Connection, name: str, *, days: Collection[date], what: str) -> Staff:
    """Return the person of the staff list who signs. Raises Refused.

    ``days``: the day it is said to have happened and the day it is entered; the signature must count on
    each. Counter staff hand out, take back and set bindings; they do not sign.
    """
    staff = read_staff(connection)
    able = in_date(staff, CHECKERS, days=days)
    person = _on_the_list(staff, name, able, what=what)
    if not person.may_check:
        raise AnotherSigns(
            f"{name} is counter staff and cannot {what}", cure="a technician signs", names=tuple(able)
        )
    return _in_date(person, days, what=what)


def any_listed(connection: sqlite3.Connection, name: str, *, days: Collection[date], what: str) -> Staff:
    """Return a signer who may be any person of the staff list, counter staff included."""
    staff = read_staff(connection)
    able = in_date(staff, tuple(Role), days=days)
    return _in_date(_on_the_list(staff, name, able, what=what), days, what=what)


def manager(connection: sqlite3.Connection, name: str, *, days: Collection[date], what: str) -> Staff:
    """Return a signer who must be a manager."""
    return _in_role(read_staff(connection), name, (Role.MANAGER,), days=days, what=what)


def head_technician(
    connection: sqlite3.Connection,
    name: str,
    *,
    days: Collection[date],
    what: str,
    never: Collection[str] = (),
) -> Staff:
    """Return a signer who must be a head technician; a manager where every one in date is one who ``never``
    may.
    """
    staff = read_staff(connection)
    heads = in_date(staff, (Role.HEAD_TECHNICIAN,), days=days)
    role = Role.MANAGER if heads and all(is_one_of(each, never) for each in heads) else Role.HEAD_TECHNICIAN
    return _in_role(staff, name, (role,), days=days, what=what)


def in_date(staff: Mapping[str, Staff], roles: Collection[Role], *, days: Collection[date]) -> list[str]:
    """Return the people of these roles whose signature counts on each of the days: whom a cure may name."""
    return [
        person.name
        for person in staff.values()
        if person.role in roles and all(person.may_sign(day) for day in days)
    ]


def head(connection: sqlite3.Connection, name: str, *, days: Collection[date], what: str) -> Staff:
    """Return a signer who must be a head technician or a manager, for matters of the whole shop."""
    return _in_role(read_staff(connection), name, HEADS, days=days, what=what)


def decider(staff: Mapping[str, Staff], name: str, *, days: Collection[date], what: str) -> Staff:
    """Return a signer for staff, safety rules, restore and rebuild: a manager; with none in date a head
    technician. With neither, two listed people list one first.
    """
    roles = _deciding(staff, days=days)
    if staff and not roles:
        raise Refused(
            f"no manager and no head technician is in date, so nobody can {what}",
            cure="two listed people list one: mountbook staff add NAME --role manager --until DATE --by NAME"
            " --second NAME",
        )
    return _in_role(staff, name, roles or (Role.MANAGER,), days=days, what=what)


def deciders(staff: Mapping[str, Staff], *, days: Collection[date]) -> list[str]:
    """Return the names that `decider` takes: the managers in date, with none the head technicians."""
    return in_date(staff, _deciding(staff, days=days), days=days)


def _deciding(staff: Mapping[str, Staff], *, days: Collection[date]) -> tuple[Role, ...]:
    return next(((role,) for role in reversed(HEADS) if in_date(staff, (role,), days=days)), ())


def _on_the_list(
    staff: Mapping[str, Staff], name: str, others: Collection[str], *, what: str, cure: str = ""
) -> Staff:
    person = listed(staff, name)
    if person is None:
        raise AnotherSigns(
            f"{name!r} is not on the staff list and cannot {what}",
            cure=cure
            or f"sign with --by NAME, one of: {', '.join(others) or 'nobody yet'};"
            " list people with `mountbook staff add NAME --role technician --until DATE`",
            names=tuple(others),
        )
    return person


def _in_date(person: Staff, days: Collection[date], *, what: str) -> Staff:
    for day in sorted(days):
        if not person.may_sign(day):
            raise Refused(
                f"{person.name}'s signature ran out on {day_text(person.valid_until)} and cannot {what}",
                cure="another listed person signs, or the manager lists a new date",
            )
    return person


def _in_role(
    staff: Mapping[str, Staff], name: str, roles: Sequence[Role], *, days: Collection[date], what: str
) -> Staff:
    names = tuple(in_date(staff, roles, days=days))
    able = ", ".join(names)
    role_word = roles[-1].value.replace(" ", "-")
    cure = (
        f"sign with --by NAME, one of: {able}"
        if able
        else f"list one with `mountbook staff add NAME --role {role_word} --until DATE`"
    )
    person = _on_the_list(staff, name, names, what=what, cure=cure)
    if person.role not in roles:
        role = f"a {person.role.value}" if person.may_check else "counter staff"
        words = " or ".join(f"a {each.value}" for each in roles)
        raise AnotherSigns(f"{name} is {role}; only {words} can {what}", cure=cure, names=names)
    return _in_date(person, days, what=what)


_LOOKS: Final = "a second person of the staff list looks at it"
_NOT_THEY: Final = {
    "worker": ("{name} did the work on {tag} and cannot pass it too", _LOOKS),
    "clearer": ("{name} cleared the hold of {tag} and cannot pass it too", _LOOKS),
    "finder": (
        "{name} found the moved screw of {tag} and cannot clear it too",
        "mountbook repair done {tag} --did TEXT --by NAME, or another person of the staff list clears it and"
        " says why",
    ),
    "causer": (
        "{name} caused what stopped {tag}: another head technician ends that",
        "where no other is listed in date, the manager does",
    ),
}
"""People who may not sign next, and the words for each: two signatures of one person are one signature."""


def not_one_of(who: str, name: str, others: Collection[str], *, tag: str) -> None:
    """Refuse a signature by one of those; ``who`` they are is a word of the table above."""
    if is_one_of(name, others):
        sentence, cure = _NOT_THEY[who]
        raise Refused(sentence.format(name=name, tag=tag), cure=cure.format(tag=tag))


def is_one_of(name: str, others: Collection[str]) -> bool:
    """Return whether one of the names is that person's, however each is spelt."""
    return name_key(name) in map(name_key, others)


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """A transaction with its person and its times. ``stated`` is None for what happens now.

    ``typed``: whether the person was named for this action; else it is the name that the desk has.
    """

    tx: Transaction
    by: str
    now: datetime
    zone: str
    stated: datetime | None = None
    typed: bool = True

    def __post_init__(self) -> None:
        if self.stated is None:
            return
        if self.stated > self.now + CLOCK_SLACK:
            raise BadInput(
                f"{self._time_text(self.stated)} has not come yet:"
                f" this machine's clock says {self._time_text(self.now)}",
                cure="a time given with --at lies in the past; a clock that is wrong is set by the network",
            )
        most = read_policy(self.connection).count("back_date_days")
        if self.before_first_entry > timedelta(days=most):
            raise BadInput(
                f"{self._time_text(self.stated)} lies more than {counted(most, 'day')} before the first"
                " entry of this ledger",
                cure="check the year given with --at; the policy back_date_days says how far back it may lie",
            )

    @property
    def before_first_entry(self) -> timedelta:
        """The time by which the stated moment lies before the ledger's first entry; zero if after it."""
        first = self.connection.execute("SELECT recorded_at_utc FROM entries WHERE seq = 1").fetchone()[0]
        return max(parse_utc(first) - self.at, timedelta())

    def _time_text(self, moment: datetime) -> str:
        return time_text(utc_text(moment), self.zone)

    @property
    def connection(self) -> sqlite3.Connection:
        """The state as this action sees it."""
        return self.tx.connection

    @property
    def at(self) -> datetime:
        """The moment when it happened."""
        return self.stated or self.now

    @property
    def moment(self) -> str:
        """The moment when it happened, as UTC text."""
        return utc_text(self.at)

    @property
    def day(self) -> date:
        """The shop's day on which it happened."""
        return self.at.astimezone(ZoneInfo(self.zone)).date()

    @property
    def signing_days(self) -> tuple[date, ...]:
        """The days on which a signature must count: when it happened and when it is entered."""
        return (self.day, self.now.astimezone(ZoneInfo(self.zone)).date())

    @property
    def cure_from_entry(self) -> bool | Later:
        """True for a time entered later: its glue cures from the entry, until a second person confirms it."""
        return LEFT_OUT if self.stated is None else True

    def second_signature(self) -> None:
        """Refuse the desk's own name for what a second person signs."""
        if not self.typed:
            raise AnotherSigns(
                f"a second person signs this: {self.by} is only the name of this desk",
                cure="type who it is with --by NAME",
            )

    def enter(self, event: Event | str, body: Body | None = None, /, *, note: str = "") -> int:
        """Append one entry in this person's name at this time."""
        return self.tx.enter(event, body, stated_at=self.stated, note=note, by=self.by)

    def check_after(self, event: Moment, tag: str, words: str) -> None:
        """Refuse a stated time that is not later than something that must lie before it."""
        if event.entry and self.moment <= event.at:
            raise BadInput(
                f"{tag} {words} {time_text(event.at, self.zone)}, which is not before"
                f" {time_text(self.moment, self.zone)}",
                cure="check the time given with --at"
                if self.stated is not None
                else "a clock is wrong, here or where that was entered: set both by the network, then"
                " mountbook mend-clock",
            )


_FORM: Final = re.compile(r"[A-Za-z0-9_-]{16,40}")


def new_tap() -> str:
    """Return an id that no other action has: 16 characters, drawn."""
    return secrets.token_urlsafe(12)


def checked_tap(text: str) -> str:
    """Return the id of an action as a page sent it. Raises BadInput for anything else."""
    if not _FORM.fullmatch(text):
        raise BadInput("this action has no id of its own", cure="open the page again; nothing was entered")
    return text


def part_of_tap(tap: str, name: str) -> str:
    """Return the id of one part of an action on many things, the same each time the action is sent."""
    return sha256(f"{checked_tap(tap)} {name}".encode()).hexdigest()[:32]


def entries_of_tap(connection: sqlite3.Connection, tap: str) -> tuple[int, ...]:
    """Return the entries that came about by that action, in their order; () where there are none."""
    rows = connection.execute("SELECT entry FROM tap WHERE id = ? ORDER BY entry", (tap,))
    return tuple(row[0] for row in rows)


class EnteredBefore(Exception):
    """The action was entered before. No fault, and nothing was done now."""


def newest_scan_at(connection: sqlite3.Connection, desk: str) -> str:
    """Return the tag of that desk's newest out or back that can still be undone. Raises Refused."""
    row = connection.execute(
        "SELECT tag FROM standing JOIN tap ON tap.entry = standing.undo_entry"
        " WHERE undo_entry > 0 AND tap.desk = ? ORDER BY undo_entry DESC LIMIT 1",
        (desk,),
    ).fetchone()
    if row is None:
        raise Refused(f"{desk} has no scan to undo", cure="name the pair: undo, then its tag")
    return str(row[0])


@dataclass(slots=True)
class ScansOfDay:
    """Counts the pairs that went out and came back at one desk on a day of the shop. A scan undone, here or
    elsewhere, is not counted.
    """

    desk: str
    day: date
    zone: str
    counts: dict[str, int] = field(default_factory=lambda: {PairOut.WHAT: 0, PairBack.WHAT: 0})
    _read_until: int | None = None

    def read_on(self, connection: sqlite3.Connection) -> tuple[int, int]:
        """Return the outs and the backs; only entries that came since the last time are read."""
        begun = utc_text(midnight(self.day, self.zone))
        (head,) = connection.execute("SELECT max(seq) FROM entries").fetchone()
        if self._read_until is None:
            query = "SELECT coalesce(min(entry) - 1, ?) FROM day_begun WHERE day >= ?"
            (self._read_until,) = connection.execute(query, (head, begun[:10])).fetchone()
        for what, count in connection.execute(
            "SELECT scan.what, sum(CASE said.what WHEN ?1 THEN -1 ELSE 1 END) FROM entries AS said"
            " CROSS JOIN entries AS scan ON scan.seq ="
            " CASE said.what WHEN ?1 THEN json_extract(said.body, '$.entry') ELSE said.seq END"
            " CROSS JOIN tap ON tap.entry = scan.seq"
            " WHERE said.seq > ?2 AND said.what IN (?1, ?3, ?4) AND scan.recorded_at_utc >= ?5"
            " AND tap.desk = ?6 GROUP BY scan.what",
            (ScanUndone.WHAT, self._read_until, PairOut.WHAT, PairBack.WHAT, begun, self.desk),
        ):
            self.counts[what] += count
        self._read_until = head
        return self.counts[PairOut.WHAT], self.counts[PairBack.WHAT]
