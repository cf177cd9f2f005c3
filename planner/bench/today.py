"""All that waits today at the counter and at the bench: few lines, each with the command that leads on.

With the next step of each open order: plug, wait for the cure, drill, or only set. It is read from the
order's body as it stands, by the names that FORMATS promises: the values of a plan take longer to load than
the whole of `today`.
"""

import json
import sqlite3
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Any, Final

from fleet.base.days import clock_text, day_at, day_text, shop_day
from fleet.base.entries import utc_text
from fleet.base.errors import RECORD_FAULTS
from fleet.base.units import counted, first_of
from fleet.facts.gates import gates_off, is_gate
from fleet.facts.holes import HoleState
from fleet.facts.policy import Policy
from fleet.facts.standing import Place, Standing, read_standings
from fleet.rules import clearance, gates, notes, recall_desk, recheck
from fleet.rules.clearance import next_step
from fleet.rules.loads import loads_on_the_way
from fleet.rules.quick_passes import quick_passes
from fleet.rules.sampling.record import newest_sample, schedule
from fleet.tables.connection import AMONG, among, read_shop
from fleet.tables.snapshot import read_policy, read_staff

_BINDING_STAYS: Final = ("as it is", "adjust")


class Step(StrEnum):
    """The next step, in the words of a heading."""

    PLUG = "orders whose old holes are plugged first"
    CURE = "orders whose filler still cures"
    WORK = "orders to drill or to mount"
    SET = "orders that only set the binding"
    WAIT = "orders that wait for their pair"
    UNREAD = "orders whose record cannot be read"


@dataclass(frozen=True, slots=True, kw_only=True)
class NextVisit:
    """An open order, its pair, the next step, and what is to be known of it."""

    order: str
    pair: str
    step: Step
    words: str = ""


def next_visits(
    connection: sqlite3.Connection,
    *,
    policy: Policy,
    now: datetime,
    zone: str,
    number: str = "",
) -> Iterator[NextVisit]:
    """Yield what the bench does next with each open order's pair, and not before when.

    ``number``: of the only order that is asked for.
    """
    only, args = (" AND number = ?", (number,)) if number else ("", ())
    orders = connection.execute(
        f"SELECT number, revision, tag, way, body FROM work_order WHERE state = 'open'{only} ORDER BY number",
        args,
    ).fetchall()
    pairs = read_standings(connection, where=f"tag {AMONG}", args=among(tag for _, _, tag, _, _ in orders))
    standings = {standing.tag: standing for standing in pairs}
    for number, revision, tag, way, body in orders:
        try:
            plug = [hole for ski in json.loads(body)["set"]["skis"].values() for hole in ski["plug"]]
            query = "SELECT hole_id, state FROM hole WHERE tag = ?"
            states = dict(connection.execute(query, (tag,)) if plug else ())
            open_yet = sum(states[hole] != HoleState.PLUGGED for hole in plug)
            step, words = _next(way, standings[tag], open_yet, policy=policy, now=now, zone=zone)
        except RECORD_FAULTS as fault:  # one order must not hide the others
            step, words = Step.UNREAD, f"{type(fault).__name__}: {fault}"
        yield NextVisit(order=f"{number} {revision}", pair=tag, step=step, words=words)


def _next(
    way: str, standing: Standing, open_yet: int, *, policy: Policy, now: datetime, zone: str
) -> tuple[Step, str]:
    if not standing.place.plannable:
        return Step.WAIT, standing.place.words
    if way in _BINDING_STAYS:
        return Step.SET, ""
    if open_yet:
        return Step.PLUG, f"{counted(open_yet, 'hole')} to plug"
    unset = [each for each in standing.glued_with if policy.cure_hours(each) is None]
    if unset:
        words = " and ".join(each.replace("_", " ") for each in unset)
        return Step.CURE, f"nobody has said how long its {words} cures"
    cured = clearance.cure_end(standing, policy)
    if cured is None and standing.glued_with:
        return Step.CURE, "it is not known since when"
    if cured is not None and cured > now:
        return Step.CURE, f"not before {clock_text(utc_text(cured), zone, today=now)}"
    return Step.WORK, ""


_SHOWN: Final = 12
_FIGURES: Final = ("money", "points")
"""Units of what the shop may leave open for good: a price or a weight, no rule."""


@dataclass(frozen=True, slots=True)
class TodayLine:
    """One thing that waits: a pair, an order or a name, and what is to be known of it."""

    name: str
    words: str = ""


class TopicOf(StrEnum):
    """The kind of names that a topic lists: pairs and other things with a tag, work orders, people by their
    passes, or none of these.
    """

    THINGS = "things"
    ORDERS = "orders"
    PASSES = "passes"
    NAMES = "names"


class DoneAt(StrEnum):
    """The place in the shop where the work of a topic is done; ELSE: at the thing, or at the terminal."""

    COUNTER = "counter"
    EVENING = "evening"
    BENCH = "bench"
    SAMPLE = "evening/sample"
    STAFF = "staff"
    IMPORT = "inventory"
    ELSE = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Topic:
    """All that waits for one and the same thing. ``more`` belongs to all of it; ``then``: the command."""

    title: str
    lines: tuple[TodayLine, ...]
    then: str
    more: str = ""
    of: TopicOf = TopicOf.THINGS
    done_at: DoneAt = DoneAt.ELSE

    @property
    def count(self) -> int:
        """Return the number of things that wait."""
        return len(self.lines)

    def said(self) -> tuple[str, str]:
        """The topic in a line, and the command that leads on."""
        shown = first_of([f"{line.name} {line.words}".rstrip() for line in self.lines], _SHOWN)
        more = f"; {self.more}" if self.more else ""
        return f"{self.title} ({self.count}): {shown}{more}", f"  {self.then}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Today:
    """All that waits on a day. ``faulty``: the names of what could not be read; they stand in their topic."""

    day: date
    shop: str
    topics: tuple[Topic, ...]
    faulty: tuple[str, ...]

    def said(self) -> Iterator[str]:
        """The day for a person."""
        yield f"{day_text(self.day)}, {self.shop}"
        for topic in self.topics:
            yield from topic.said()
        if not self.topics:
            yield "nothing waits"

    def to_json(self) -> dict[str, Any]:
        """The day for a program."""
        return {
            "day": self.day.isoformat(),
            "shop": self.shop,
            "topics": [
                {
                    "title": topic.title,
                    "lines": [{"name": line.name, "words": line.words} for line in topic.lines],
                    "more": topic.more,
                    "next": topic.then,
                }
                for topic in self.topics
            ],
            "not_read": list(self.faulty),
        }


def today_at(connection: sqlite3.Connection, *, now: datetime, zone: str) -> Today:
    """Return what waits at that moment by the shop's calendar."""
    day = day_at(now, zone)
    standings = read_standings(connection, where="place <> 'ready' OR glued_with <> '[]'")
    listed = recheck.recheck_list(connection, today=day)
    policy = read_policy(connection)
    visits = tuple(next_visits(connection, policy=policy, now=now, zone=zone))
    unread = (visit.order for visit in visits if visit.step is Step.UNREAD)
    faulty = (*(tag for tag, _ in listed.faults), *unread)
    asked = (
        *_nothing_yet(connection),
        *_out(connection, standings, listed, day, zone),
        _recalls(connection),
        *_stopped(standings),
        *_loads(connection),
        *_to_look_at(listed),
        _without_a_pass(listed),
        *_orders(visits),
        _cures(standings, {visit.pair for visit in visits}, policy, now, zone),
        _questions(connection),
        _quick(connection, day),
        _rights(connection, policy, day),
        _qualifications(connection, day),
        _sample(connection),
        *_rules(policy),
    )
    return Today(
        day=day,
        shop=read_shop(connection).name,
        topics=tuple(topic for topic in asked if topic.lines),
        faulty=faulty,
    )


def _nothing_yet(connection: sqlite3.Connection) -> Iterator[Topic]:
    if connection.execute("SELECT 1 FROM pair LIMIT 1").fetchone() is None:
        yield Topic(
            title="not in the ledger yet",
            lines=_named(["the shop's skis"]),
            of=TopicOf.NAMES,
            then="mountbook import own.xlsx (none yet: mountbook blank own.xlsx)",
            done_at=DoneAt.IMPORT,
        )


def _out(
    connection: sqlite3.Connection,
    standings: Sequence[Standing],
    listed: recheck.RecheckList,
    day: date,
    zone: str,
) -> Iterator[Topic]:
    due = [pair for pair in listed.out if pair.due is not None]
    yield Topic(
        title="due back today",
        lines=_named(p.tag for p in due if p.due == day),
        then="mountbook back TAG",
        done_at=DoneAt.COUNTER,
    )
    yield Topic(
        title="out past the day they were due",
        lines=tuple(TodayLine(p.tag, p.due_words(day)) for p in due if p.due is not None and p.due < day),
        then="mountbook back TAG, or: mountbook later TAG --until DATE",
        done_at=DoneAt.COUNTER,
    )
    unknown = {pair.tag for pair in listed.out if pair.due is None}
    out = [standing for standing in standings if standing.place is Place.OUT]
    yield Topic(
        title="out overnight, nobody said until when",
        lines=_named(s.tag for s in out if s.tag in unknown and shop_day(s.out.at, zone) < day),
        then="mountbook later TAG --until DATE",
    )
    yield Topic(
        title="out with no boot on record: fit not checked",
        lines=_named(gates.out_without_boot(connection)),
        then="mountbook back TAG, then: mountbook out TAG --boot TAG",
        done_at=DoneAt.COUNTER,
    )
    yield Topic(
        title="out for longer than the rule of long rentals lets them",
        lines=_named(gates.long_out(connection, today=day, zone=zone)),
        then="mountbook back TAG; looked at, it goes out again",
        done_at=DoneAt.COUNTER,
    )


def _recalls(connection: sqlite3.Connection) -> Topic:
    """Return the open recalls that reach a binding, with how many pairs, and how many of those are out."""
    pairs: dict[str, dict[str, str]] = {}
    for each in recall_desk.reached(connection):
        of = pairs.setdefault(each.recall, {})
        if each.binding.on_pair:
            of[each.binding.on_pair] = each.place
    return Topic(
        title="open recalls",
        lines=tuple(
            TodayLine(
                name, f"({counted(len(places), 'pair')}, {sum(p == Place.OUT for p in places.values())} out)"
            )
            for name, places in sorted(pairs.items())
        ),
        then="mountbook recall list; ring who has one of these pairs: it is not skied any more",
        of=TopicOf.NAMES,
    )


def _stopped(standings: Sequence[Standing]) -> Iterator[Topic]:
    """Yield what is stopped or waits for a second person, apart by what leads on from there."""
    for place, title in (
        (Place.HOLD, "on hold"),
        (Place.IN_REPAIR, "in repair"),
        (Place.QUARANTINE, "in quarantine"),
        (Place.SECOND_CHECK, "waiting for the look of a second person"),
    ):
        by_step: dict[str, list[TodayLine]] = {}
        for each in standings:
            if each.place is place:
                step = next_step(replace(each, tag="TAG"), open_order=None)
                by_step.setdefault(step, []).append(TodayLine(each.tag, each.causes))
        for step, lines in by_step.items():
            at = DoneAt.EVENING if place is Place.SECOND_CHECK else DoneAt.ELSE
            yield Topic(title=title, lines=tuple(lines), then=step, done_at=at)


def _loads(connection: sqlite3.Connection) -> Iterator[Topic]:
    """Yield what is on a van, apart by whether it left this shop or comes to it."""
    loads = [load.sent for load in loads_on_the_way(connection)]
    for leaves, title in ((True, "sent by van and not taken in yet"), (False, "on its way here by van")):
        for load in loads:
            if load.leaves is leaves:
                yield Topic(
                    title=title,
                    lines=_named([name for _, name in load.rows()]),
                    more=f"{'to' if leaves else 'from'} {load.other}, run {load.run}",
                    of=TopicOf.NAMES,
                    then=f'mountbook chain receive FOLDER --run "{load.run}" --by NAME, where it comes to',
                )


def _to_look_at(listed: recheck.RecheckList) -> Iterator[Topic]:
    for title, aged in (("back, to be looked at", False), ("in the rack, its pass too old", True)):
        part = replace(listed, rows=tuple(row for row in listed.rows if row.aged is aged))
        yield Topic(
            title=title,
            lines=_named(row.tag for row in part.rows),
            then="mountbook recheck print",
            done_at=DoneAt.EVENING,
            more=counted(part.minutes, "minute"),
        )


def _without_a_pass(listed: recheck.RecheckList) -> Topic:
    """Return the pairs that nobody passed though none came back: before a season, after a restore."""
    return Topic(
        title="in the shop without a pass, no return on record",
        lines=_named(listed.never_back),
        then="mountbook prep sign TAG --all not-moved --by NAME,"
        " or rack by rack: mountbook recheck print --rack RACK",
        done_at=DoneAt.EVENING,
    )


_DONE: Final = "mountbook order done ORDER --by NAME"
_ORDER_STEPS: Final = {
    Step.PLUG: "mountbook order plugged ORDER --by NAME",
    Step.CURE: f"after the cure: {_DONE}",
    Step.WORK: _DONE,
    Step.SET: _DONE,
    Step.WAIT: "mountbook ski PAIR",
    Step.UNREAD: "mountbook audit",
}


def _orders(visits: Sequence[NextVisit]) -> Iterator[Topic]:
    """Yield the open orders, apart by their next visit."""
    for step, then in _ORDER_STEPS.items():
        lines = [
            TodayLine(each.order, f"({each.pair}) {each.words}".rstrip())
            for each in visits
            if each.step is step
        ]
        at = DoneAt.ELSE if step is Step.UNREAD else DoneAt.BENCH
        yield Topic(title=step.value, lines=tuple(lines), then=then, of=TopicOf.ORDERS, done_at=at)


def _cures(
    standings: Sequence[Standing], with_order: Collection[str], policy: Policy, now: datetime, zone: str
) -> Topic:
    """Return the pairs whose glue or filler cures, the first to be cured first; an order says its own."""
    ends: list[tuple[str, TodayLine]] = []
    for each in standings:
        if not each.glued_with or each.tag in with_order or each.place in (Place.RETIRED, Place.SOLD):
            continue
        cured = clearance.cure_end(each, policy)
        if cured is None:
            ends.append(("", TodayLine(each.tag, "until when is not known")))
        elif cured > now:
            until = clock_text(utc_text(cured), zone, today=now)
            ends.append((utc_text(cured), TodayLine(each.tag, f"until {until}")))
    return Topic(
        title="glue or filler that still cures",
        lines=tuple(line for _, line in sorted(ends, key=lambda end: (end[0], end[1].name))),
        then="mountbook ski TAG",
    )


def _questions(connection: sqlite3.Connection) -> Topic:
    return Topic(
        title="notes that ask something",
        lines=tuple(
            TodayLine(each.note.name, f"'{each.note.words}': {each.asks}")
            for each in notes.open_questions(connection)
        ),
        then="mountbook note TAG --took-it --by NAME, or: mountbook note TAG --not-so --by NAME",
    )


def _quick(connection: sqlite3.Connection, day: date) -> Topic:
    """Return who passed pairs quickly or in bulk today and the day before; older ones are the audit's."""
    return Topic(
        title="passes given quickly, or many at one moment",
        lines=tuple(
            TodayLine(each.by, f"({day_text(each.day)}: {each.counts})")
            for each in quick_passes(connection, since=day - timedelta(days=1))
        ),
        then="the passes stand; the head technician looks at some of these pairs: mountbook audit",
        of=TopicOf.PASSES,
    )


def _qualifications(connection: sqlite3.Connection, day: date) -> Topic:
    return Topic(
        title="qualifications that end",
        lines=tuple(
            TodayLine(each.name, f"({each.what}, {last_day_words(each.until, day)})")
            for each in gates.qualifications_ending(connection, today=day)
        ),
        then="mountbook staff qualify NAME --for MATTER --until DATE --by NAME",
        of=TopicOf.NAMES,
        done_at=DoneAt.STAFF,
    )


def last_day_words(last: date, day: date) -> str:
    """Return the last day of something in words, before, on and after it."""
    if last == day:
        return "until today, the last day"
    return f"{'ended' if last < day else 'until'} {day_text(last)}"


def _rights(connection: sqlite3.Connection, policy: Policy, day: date) -> Topic:
    ahead = timedelta(days=policy.count("right_ends_days"))
    people = sorted(read_staff(connection).values(), key=lambda person: (person.valid_until, person.name))
    lines = [
        TodayLine(person.name, last_day_words(person.valid_until, day))
        for person in people
        if day - ahead <= person.valid_until <= day + ahead
    ]
    return Topic(
        title="names whose right to sign ends",
        lines=tuple(lines),
        then="mountbook staff add NAME --role ROLE --until DATE --by NAME",
        of=TopicOf.NAMES,
        done_at=DoneAt.STAFF,
    )


def _sample(connection: sqlite3.Connection) -> Topic:
    title = "the in-season sample"
    newest = newest_sample(connection)
    if newest is not None and newest.closed is None:
        then = "mountbook sample result UNIT --found CLASS --device TEXT --by NAME"
        return Topic(
            title=title,
            lines=(TodayLine(f"sample {newest.entry}", newest.to_go),),
            then=then if newest.open_units else "mountbook sample close --by NAME",
            of=TopicOf.NAMES,
            done_at=DoneAt.SAMPLE,
        )
    due = schedule(connection)
    days = counted(due.days_so_far, "operating day")
    return Topic(
        title=title,
        lines=(TodayLine("due", f"after {days}"),) if due.due else (),
        then="mountbook sample draw --by NAME",
        of=TopicOf.NAMES,
        done_at=DoneAt.SAMPLE,
    )


def _rules(policy: Policy) -> Iterator[Topic]:
    unset = (s.name for s in policy if not s.value and s.unit not in _FIGURES and not is_gate(s.name))
    then = "mountbook policy set NAME VALUE --origin TEXT --by NAME"
    for title, names in (
        ("rules of the shop that are not set", unset),
        ("gates of the door that are off", gates_off(policy)),
    ):
        yield Topic(title=title, lines=_named(names), then=then, of=TopicOf.NAMES)


def _named(names: Iterable[str]) -> tuple[TodayLine, ...]:
    return tuple(TodayLine(name) for name in names)
