"""Sunday 28 December at the counter: parties ask, sets go out, skis come back, and the evening's list.

Its morning before that: what the shop's rules refuse, a note that asks, and a worn boot.

`sample_fleet/counter_day.csv` says who asks for what and who comes back when; which set goes with whom is
found here, as the counter would: a set of the plan that may go out now, of the right shell and length.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Final

from fleet.base.errors import Refused
from fleet.base.files import csv_rows
from fleet.base.units import counted, mm_text, mm_to_um
from fleet.ledger.desk import Desk
from fleet.ledger.people import set_policy
from fleet.rules.boots import hold_boot, measure_again
from fleet.rules.clearance import Door
from fleet.rules.counter import take_back, take_out
from fleet.rules.notes import make_note, open_questions
from fleet.rules.recheck import Group, recheck_list
from fleet.tables.snapshot import Fleet, read_boots, read_fleet, read_policy
from planner.demo import moments
from planner.demo.shared import COUNTER, SECOND, TECHNICIAN, Chapter, Story
from planner.paper.recheck_list import recheck_pdf
from planner.plan.values import PlannedSet

_HALF_SIZE_MM: Final = 5


@dataclass(slots=True)
class Day:
    """The day so far: the log, which set each party has, and the counts."""

    fleet: Fleet
    log: list[str] = field(default_factory=list)
    with_party: dict[str, PlannedSet] = field(default_factory=dict)
    out: int = 0
    back: int = 0
    refused: int = 0
    empty_handed: int = 0
    set_first: list[str] = field(default_factory=list)


def busy_day(story: Story) -> tuple[Chapter, Chapter]:
    """The counter from morning to evening, and the recheck list that it leaves."""
    story.say("a busy day at the counter")
    day = Day(read_fleet(story.ledger.connection))
    _try_a_held_ski(story, day)
    for row in csv_rows(story.sample / "counter_day.csv"):
        (_asks if row["event"] == "asks" else _comes_back)(story, day, row)
    log = story.folder / "4_counter" / "counter_day.txt"
    log.parent.mkdir(parents=True, exist_ok=True)
    log.write_text("\n".join(day.log) + "\n", encoding="utf-8")
    counter = Chapter(
        title="The busy day",
        facts=(
            f"{day.out} sets went out, {day.back} came back, {day.out - day.back} stay out over night",
            f"{len(day.set_first)} bindings were set for their boots at the counter first"
            f" ({', '.join(day.set_first[:1])})",
            f"{counted(day.refused, 'pair')} refused at the door,"
            f" {counted(day.empty_handed, 'party', 'parties')} found no ready set",
        ),
        files=(("4_counter/counter_day.txt", "the day, line by line, refusals with their reasons"),),
    )
    return counter, _evening(story)


def _try_a_held_ski(story: Story, day: Day) -> None:
    """Somebody takes a pair off the hold rack first thing in the morning; the door stays shut."""
    held = story.ledger.connection.execute(
        "SELECT tag FROM standing WHERE place = 'hold' ORDER BY tag LIMIT 1"
    ).fetchone()
    if held is None:
        return
    try:
        with story.desk(COUNTER, moments.on_the_counter_day("08:10")) as desk:
            take_out(desk, [held[0]])
    except Refused as fault:
        day.refused += 1
        instead = f"; instead: {', '.join(fault.instead)}" if fault.instead else ""
        day.log.append(f"08:10  REFUSED   {fault.sentence}{instead}")


def _asks(story: Story, day: Day, row: dict[str, str]) -> None:
    moment = moments.on_the_counter_day(row["at"])
    wish = f"{row['kind']} {row['length_min_cm']} to {row['length_max_cm']} cm, shell {row['mondopoint']}"
    due = moment.date() + timedelta(days=1)
    for planned in _candidates(story, day, row):
        door = Door(story.ledger.connection, at=moment, zone=moments.ZONE, boot=planned.boot)
        answer = door.ask(planned.pair)
        if answer.reasons and not answer.only_set:
            continue
        with story.desk(COUNTER, moment) as desk:
            done = take_out(desk, [planned.pair], boot=planned.boot, due=due, set_now=answer.only_set)[0]
        if answer.only_set:
            day.set_first.append(f"{planned.pair} for {mm_text(planned.way.bsl_um)} mm")
        day.with_party[row["party"]] = planned
        day.out += 1
        day.log.append(f"{row['at']}  out       party {row['party']}: {wish}: {done.tag}, {done.words}")
        return
    day.empty_handed += 1
    day.log.append(f"{row['at']}  NOTHING   party {row['party']}: {wish}: no ready set of the plan")


def _candidates(story: Story, day: Day, row: dict[str, str]) -> Iterator[PlannedSet]:
    """Sets of the plan that would suit, the same shell before half a size up; by tag."""
    out = {tag for (tag,) in story.ledger.connection.execute("SELECT tag FROM standing WHERE place = 'out'")}
    shell_mm = mm_to_um(row["mondopoint"]) // 100
    shortest, longest = int(row["length_min_cm"]) * 10, int(row["length_max_cm"]) * 10
    for size in (shell_mm, shell_mm + _HALF_SIZE_MM):
        for planned in sorted(story.plan.sets, key=lambda each: each.pair):
            pair, boot = day.fleet.pair(planned.pair), day.fleet.boot(planned.boot)
            if (
                pair.kind.value == row["kind"]
                and boot.mondopoint_mm == size
                and shortest <= pair.length_mm <= longest
                and planned.pair not in out
            ):
                yield planned


def _comes_back(story: Story, day: Day, row: dict[str, str]) -> None:
    planned = day.with_party.get(row["party"])
    if planned is None:
        return
    with story.desk(COUNTER, moments.on_the_counter_day(row["at"])) as desk:
        done = take_back(desk, [planned.pair], said=row["says"])[0]
    day.back += 1
    said = f' (renter: "{row["says"]}")' if row["says"] else ""
    day.log.append(f"{row['at']}  back      party {row['party']}: {done.tag}, {done.words}{said}")


def _evening(story: Story) -> Chapter:
    """The recheck list, printed at six."""
    story.say("printing the recheck list")
    listed = recheck_list(story.ledger.connection, today=moments.EVENING.date())
    data = recheck_pdf(listed, head=listed.head, shop=moments.SHOP, printed_at=moments.EVENING)
    (story.folder / "4_counter" / "recheck.pdf").write_bytes(data)
    groups = ", ".join(f"{count} {group.value}" for group in Group if (count := listed.count(group)))
    return Chapter(
        title="The evening",
        facts=(
            f"{len(listed.rows)} pairs to look at before anybody skis them again: {groups};"
            f" {listed.minutes} minutes",
        ),
        files=(("4_counter/recheck.pdf", "tonight's recheck list"),),
    )


def morning(story: Story, untested: str, test: Callable[[Desk, str], None]) -> Chapter:
    """Tell what the rules refuse. ``untested``: the pair that had no release test, before ``test``."""
    story.say("what the rules refuse")
    boot = next(each.boot for each in story.plan.sets if each.pair == untested)
    _refused(
        story,
        TECHNICIAN,
        "07:50",
        lambda desk: set_policy(desk, "spacing_mm", "8", origin="heard at another shop"),
        why="only a manager can set spacing_mm",
    )
    _refused(
        story,
        COUNTER,
        "08:00",
        lambda desk: take_out(desk, [untested], boot=boot),
        why="no release test of ski A toe",
    )
    with story.desk(TECHNICIAN, moments.on_the_counter_day("08:02")) as desk:
        test(desk, untested)
    with story.desk(COUNTER, moments.on_the_counter_day("08:04")) as desk:
        make_note(desk, untested, "heel loose?")
    asked = open_questions(story.ledger.connection)[-1]
    spacing = read_policy(story.ledger.connection).word("spacing_mm")
    return Chapter(
        title="The rules",
        facts=(
            f"{TECHNICIAN} may not set spacing_mm to 8, only a manager: it stays {spacing}",
            f"{untested} was refused at the door: no release test; then it was tested",
            f"a note on {asked.note.name} asks: {asked.asks} ('{asked.note.words}'); a person answers it",
            _worn_boot(story),
        ),
    )


def _refused(story: Story, by: str, at: str, act: Callable[[Desk], object], *, why: str) -> None:
    """Try what the program refuses for that reason, and nothing else."""
    try:
        with story.desk(by, moments.on_the_counter_day(at)) as desk:
            act(desk)
    except Refused as fault:
        if why in fault.sentence:
            return
        raise
    raise AssertionError(f"{by} was not refused at {at}: {why}")


def _worn_boot(story: Story) -> str:
    """A boot of no set is found worn when its sole is measured again."""
    planned = {each.boot for each in story.plan.sets}
    boots = read_boots(story.ledger.connection).values()
    boot = next(each for each in boots if each.tag not in planned and each.bsl_um is not None)
    with story.desk(SECOND, moments.on_the_counter_day("08:06")) as desk:
        measure_again(desk, boot.tag, bsl_um=boot.bsl_um or 0, how="caliper, both boots", wear="worn")
    with story.desk(SECOND, moments.on_the_counter_day("08:07")) as desk:
        held = hold_boot(desk, boot.tag, why="sole rounded at the heel end")
    return f"boot {held.tag} is worn, and {held.place.words}: sole rounded at the heel end"
