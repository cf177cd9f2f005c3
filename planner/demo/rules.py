"""The morning of the busy day: what the shop's rules refuse, a note that asks, and a worn boot."""

from __future__ import annotations

from collections.abc import Callable

from fleet.base.errors import Refused
from fleet.ledger.desk import Desk
from fleet.ledger.people import set_policy
from fleet.rules.boots import hold_boot
from fleet.rules.counter import take_out
from fleet.rules.notes import make_note, open_questions
from fleet.rules.soles import measure_again
from fleet.tables.snapshot import read_boots, read_policy
from planner.demo import moments
from planner.demo.shared import COUNTER, SECOND, TECHNICIAN, Chapter, Story


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
    return f"boot {held.tag} is worn, and on {held.place.value}: sole rounded at the heel end"
