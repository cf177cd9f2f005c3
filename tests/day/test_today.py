"""All that waits today, question by question, at the limits of each. The shop's clock is that of Vienna."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from fleet.facts.gates import gates_off
from fleet.facts.policy import default_policy
from fleet.ledger.ledger import Ledger
from fleet.ledger.people import set_policy
from fleet.rules.clearance import OwnBoot
from fleet.rules.counter import take_out
from fleet.rules.holds import begin_repair, end_repair, hold
from fleet.rules.recall_desk import close_recall, open_recall
from planner.bench.today import DoneAt, Today, today_at
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, WIM, ZONE, Shop
from tests.counter.test_recalls import recall

EVENING = datetime(2026, 12, 27, 17, 0, tzinfo=UTC)


def asked(shop: Shop, now: datetime = EVENING) -> Today:
    return today_at(shop.ledger.connection, now=now, zone=ZONE)


def names(shop: Shop, title: str, now: datetime = EVENING) -> list[str]:
    return [line.name for topic in asked(shop, now).topics if topic.title == title for line in topic.lines]


def words(shop: Shop, title: str, now: datetime = EVENING) -> dict[str, str]:
    topics = [topic for topic in asked(shop, now).topics if topic.title == title]
    return {line.name: line.words for topic in topics for line in topic.lines}


def out(shop: Shop, tag: str, due: date | None = None) -> None:
    with shop.desk(NELL) as desk:
        take_out(desk, [tag], due=due)


def test_a_shop_without_skis_is_led_to_the_import(tmp_path: Path) -> None:
    with Ledger.create(tmp_path / "new.db", shop="New", zone=ZONE, by=WIM, now=EVENING) as ledger:
        [first, *_] = today_at(ledger.connection, now=EVENING, zone=ZONE).topics
    assert first.said() == (
        "not in the ledger yet (1): the shop's skis",
        "  mountbook import own.xlsx (none yet: mountbook blank own.xlsx)",
    )
    assert first.done_at is DoneAt.IMPORT


def test_a_shop_with_skis_is_not(shop: Shop) -> None:
    assert not names(shop, "not in the ledger yet")


@pytest.mark.parametrize(
    ("now", "today", "past"),
    [
        (datetime(2026, 12, 28, 22, 59, tzinfo=UTC), ["P-1"], []),  # 23:59 on the day it is due
        (datetime(2026, 12, 28, 23, 0, tzinfo=UTC), [], ["P-1"]),  # midnight in the shop
        (datetime(2026, 12, 27, 22, 59, tzinfo=UTC), [], []),  # 23:59 on the day before
    ],
)
def test_a_pair_is_due_on_its_day_until_the_shops_midnight(
    shop: Shop, now: datetime, today: list[str], past: list[str]
) -> None:
    out(shop, "P-1", date(2026, 12, 28))
    assert names(shop, "due back today", now) == today
    assert names(shop, "out past the day they were due", now) == past


def test_the_night_of_the_clock_change_is_a_night(shop: Shop) -> None:
    """On 28 March 2027 the clock goes from 2 to 3: that day has 23 hours. A pair out since 23:30 of the day
    before, for which nobody said a day, is out overnight from midnight on and not from an hour later.
    """
    shop.now = datetime(2027, 3, 27, 22, 28, tzinfo=UTC)
    out(shop, "P-1")
    title = "out overnight, nobody said until when"
    assert names(shop, title, datetime(2027, 3, 27, 22, 59, tzinfo=UTC)) == []
    assert names(shop, title, datetime(2027, 3, 27, 23, 0, tzinfo=UTC)) == ["P-1"]
    out(shop, "P-2", date(2027, 3, 28))
    assert names(shop, "due back today", datetime(2027, 3, 28, 21, 59, tzinfo=UTC)) == ["P-2"]
    assert names(shop, "due back today", datetime(2027, 3, 28, 22, 0, tzinfo=UTC)) == []


def test_what_is_stopped_says_why_and_by_which_command_it_goes_on(command: Command) -> None:
    command("hold", "P-1", "--why", "edge scratched", "--by", NELL)
    command("quarantine", "P-2", "--why", "fall reported", "--by", NELL)
    command("hold", "P-3", "--why", "heel", "--by", NELL)
    command("repair", "begin", "P-3", "--by", JORY)
    said = command("today").stdout
    assert (
        "on hold (1): P-1 edge scratched\n  a listed person lifts the hold: mountbook clear TAG --by" in said
    )
    assert "in quarantine (1): P-2 fall reported\n  only a manager ends a quarantine: mountbook clear" in said
    assert (
        "in repair (1): P-3 heel\n  end the repair first: mountbook repair done TAG --did TEXT --by" in said
    )
    command("repair", "done", "P-3", "--did", "screw reset", "--by", JORY)
    said = command("today").stdout
    assert "waiting for the look of a second person (1): P-3\n  a second person looks at it, then: " in said


def test_what_came_back_is_counted_with_its_minutes(command: Command) -> None:
    command("out", "P-1", "P-2")
    command("back", "P-1", "P-2")
    assert (
        "back, to be looked at (2): P-1, P-2; 3 minutes\n  mountbook recheck print\n"
        in command("today").stdout
    )


def test_a_cure_that_runs_ends_to_the_minute(shop: Shop) -> None:
    """12 hours of an invented sheet: glued at 8:00, so cured at 20:00 and not a minute before."""
    with shop.desk(WIM) as desk:
        set_policy(desk, "cure_wood_glue_hours", "12", origin="invented sheet")
    with shop.desk(NELL) as desk:
        hold(desk, "P-1", why="heel")
    with shop.desk(JORY) as desk:
        begin_repair(desk, "P-1")
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did="screw reset", glued_with=("wood_glue",))
        glued = desk.now
    cured = glued + timedelta(hours=12)
    title = "glue or filler that still cures"
    assert names(shop, title, cured - timedelta(minutes=1)) == ["P-1"]
    assert names(shop, title, cured) == []
    assert words(shop, title, glued) == {"P-1": f"until {cured.astimezone(ZoneInfo(ZONE)):%H:%M}"}


def test_a_right_ends_with_the_last_minute_of_its_last_day_and_is_said_before(shop: Shop) -> None:
    """Old Timer's right ended on 26 December; Ida's, Jory's and the others' end on 31 May 2027."""
    title = "names whose right to sign ends"
    last = datetime(2027, 5, 31, 21, 59, tzinfo=UTC)  # 23:59 in the shop
    assert words(shop, title)["Old Timer"] == "ended Sat 26 Dec 2026"
    assert words(shop, title, last)[IDA] == "until today, the last day"
    assert words(shop, title, last + timedelta(minutes=1))[IDA] == "ended Mon 31 May 2027"
    first = datetime(2027, 5, 17, 0, 0, tzinfo=UTC)  # right_ends_days is 14
    assert IDA in words(shop, title, first)
    assert words(shop, title, first)[IDA] == "until Mon 31 May 2027"
    assert IDA not in words(shop, title, first - timedelta(days=1))
    gone = datetime(2027, 1, 10, 12, 0, tzinfo=UTC)  # 15 days after it ended, nobody is told any more
    assert "Old Timer" not in words(shop, title, gone)


def test_a_pair_out_without_a_boot_is_named(shop: Shop) -> None:
    out(shop, "P-1")
    shop.out("P-2", boot="B-305")
    shop.out("P-3", boot=OwnBoot(bsl_um=305_000, sole_type="alpine A"))
    assert names(shop, "out with no boot on record: fit not checked") == ["P-1"]


def test_a_pair_past_the_recheck_of_a_long_rental_is_named_on_the_day_after(shop: Shop) -> None:
    shop.policy("gate_long_rental_days", "10")
    out(shop, "P-1", date(2026, 12, 30))
    title = "out for longer than the rule of long rentals lets them"
    assert names(shop, title, EVENING + timedelta(days=10)) == []
    assert names(shop, title, EVENING + timedelta(days=11)) == ["P-1"]


def test_gates_that_are_off_are_one_topic_of_their_own(shop: Shop) -> None:
    title = "gates of the door that are off"
    off = list(gates_off(default_policy()))
    assert names(shop, title) == off
    assert not set(off) & set(names(shop, "rules of the shop that are not set"))
    shop.policy("gate_sole_standard", "yes")
    shop.policy("gate_long_rental_days", "10")
    assert names(shop, title) == [n for n in off if n not in ("gate_sole_standard", "gate_long_rental_days")]


def test_what_notes_ask_is_named_with_its_question_until_it_is_answered(command: Command) -> None:
    command("note", "P-1", "heel loose", "--by", NELL)
    command("note", "P-2", "blue edge", "--by", NELL)
    said = command("today").stdout
    assert "notes that ask something (1): P-1 'heel loose': hold it?\n  mountbook note TAG --took-it" in said
    command("note", "P-1", "--not-so", "--by", JORY)
    assert "notes that ask something" not in command("today").stdout


def test_passes_given_in_haste_are_shown_on_their_day_and_the_day_after(shop: Shop) -> None:
    """37 seconds are under the half of 75, and 38 are not."""
    start = shop.now
    for tag, seconds in (("P-1", 0), ("P-2", 37), ("P-3", 75)):
        shop.look(tag, by=JORY, at=start + timedelta(seconds=seconds))
    title = "passes given quickly, or many at one moment"
    assert words(shop, title) == {
        JORY: "(Sun 27 Dec 2026: 3 passes, 1 of them in less than half of the 75 seconds of a look)"
    }
    assert names(shop, title, EVENING + timedelta(days=1)) == [JORY]
    assert names(shop, title, EVENING + timedelta(days=2)) == []


def test_a_qualification_that_ends_is_named(shop: Shop) -> None:
    """Told 30 days before, by the shop's own default; Ida's own ends a day too late for that."""
    for name, days in ((JORY, 30), (IDA, 31)):
        until = date(2026, 12, 27) + timedelta(days=days)
        shop.enter("qualification stated", {"name": name, "what": "pass", "until": until.isoformat()})
    assert words(shop, "qualifications that end") == {JORY: "(pass, until Tue 26 Jan 2027)"}


def test_a_rule_that_nobody_set_is_off_until_it_is(shop: Shop) -> None:
    title = "rules of the shop that are not set"
    assert "cure_wood_glue_hours" in names(shop, title)
    assert "price_plug" not in names(shop, title)  # a price is no rule
    with shop.desk(WIM) as desk:
        set_policy(desk, "cure_wood_glue_hours", "12", origin="invented sheet")
    assert "cure_wood_glue_hours" not in names(shop, title)


def test_a_sample_is_due_on_its_operating_day_and_not_on_the_one_before(shop: Shop) -> None:
    """sample_first_days is 7 (a binding maker's technical manual, excerpts)."""
    for day in range(7):
        assert names(shop, "the in-season sample", shop.now) == []
        out(shop, "T-1")
        shop.back("T-1")
        shop.look("T-1")
        shop.now += timedelta(days=1) if day < 6 else timedelta()
    assert words(shop, "the in-season sample", shop.now) == {"due": "after 7 operating days"}


def test_the_same_value_answers_a_person_and_a_program(command: Command) -> None:
    command("hold", "P-1", "--why", "edge scratched", "--by", NELL)
    answer: dict[str, Any] = command("today", "--json").json
    assert answer["day"] == "2026-12-27"
    [held] = [topic for topic in answer["topics"] if topic["title"] == "on hold"]
    assert held["lines"] == [{"name": "P-1", "words": "edge scratched"}]
    assert held["next"] == "a listed person lifts the hold: mountbook clear TAG --by NAME"
    text = command("today").stdout
    assert all(f"{topic['title']} ({len(topic['lines'])})" in text for topic in answer["topics"])
    assert all(topic["next"] in text for topic in answer["topics"])


def test_many_of_a_kind_are_few_lines(shop: Shop) -> None:
    for number in range(20):
        shop.pair(f"Q-{number:02}")
        with shop.desk(NELL) as desk:
            hold(desk, f"Q-{number:02}", why="edge")
    [line] = [line for line in asked(shop).said() if line.startswith("on hold")]
    assert line.startswith("on hold (20): Q-00 edge, ")
    assert line.endswith(" and 8 more")
    [held] = [topic for topic in asked(shop).to_json()["topics"] if topic["title"] == "on hold"]
    assert len(held["lines"]) == 20


def test_nobody_waits_for_it() -> None:
    """The demo's own measure stands in tests/bench; here, that nothing heavy is imported to answer."""
    code = (
        "import sys; import planner.cli.counter, planner.bench.today; "
        "print([name for name in ('ortools', 'numpy', 'scipy', 'reportlab', 'openpyxl', 'rich')"
        " if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


def test_an_open_recall_stands_there_with_its_pairs_until_it_is_closed(shop: Shop) -> None:
    """P-1 to P-4 and T-1 are the shop; the recall reaches all that have a Lark 4, wherever they are."""
    out(shop, "P-1")
    with shop.desk(IDA) as desk:
        found = open_recall(desk, recall(pattern="Lark 4"))
    reached = {each.binding.on_pair for each in found if each.binding.on_pair}
    assert words(shop, "open recalls") == {"R-7": f"({len(reached)} pairs, 1 out)"}
    with shop.desk(IDA) as desk:
        close_recall(desk, "R-7", how="all replaced")
    assert words(shop, "open recalls") == {}


def test_pairs_that_nobody_passed_are_named_though_none_came_back(shop: Shop) -> None:
    title = "in the shop without a pass, no return on record"
    assert names(shop, title) == []
    shop.pair("P-9")
    assert names(shop, title) == ["P-9"]
    shop.pair("P-10")
    assert names(shop, title) == ["P-9", "P-10"]
    [topic] = [each for each in asked(shop).topics if each.title == title]
    assert topic.said()[0] == f"{title} (2): P-9, P-10"
