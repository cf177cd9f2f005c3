"""Every reason against a pair going out, at its limit: what is let out, and what the door says a step on.

The pair is P-1 of the shop, passed and ready, at eleven in the morning in Vienna (10:00 UTC); its facts are
changed one at a time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from fleet.base.entries import utc_text
from fleet.facts.holes import Mount, Side
from fleet.facts.policy import default_policy
from fleet.facts.recalls import Recall
from fleet.facts.standing import Moment, Place
from fleet.rules.clearance import Case, read_case, reasons_against
from tests.counter.shop import ZONE, Shop

AT = datetime(2026, 12, 28, 10, 0, tzinfo=UTC)
PASSED = Moment(50, utc_text(AT - timedelta(hours=1)))
Change = Callable[[Case], Case]


def seconds(number: int) -> str:
    """So many seconds after the pass."""
    return utc_text(AT - timedelta(hours=1) + timedelta(seconds=number))


def stands(**facts: Any) -> Change:
    return lambda case: replace(case, standing=replace(case.standing, **facts))


def bound(side: Side, **facts: Any) -> Change:
    return lambda case: replace(case, bindings={**case.bindings, side: replace(case.bindings[side], **facts)})


def without(*sides: Side) -> Change:
    return lambda case: replace(
        case, bindings={side: b for side, b in case.bindings.items() if side not in sides}
    )


def also(*changes: Change) -> Change:
    def change(case: Case) -> Case:
        for each in changes:
            case = each(case)
        return case

    return change


def mount_of(case: Case) -> Mount:
    assert case.mount is not None
    return case.mount


A, B = Side.A, Side.B
AS_IT_IS: Change = also()
GLUED = {"glued_at": utc_text(AT - timedelta(hours=12))}
GLUED_A_SECOND_LATER = {"glued_at": utc_text(AT - timedelta(hours=12) + timedelta(seconds=1))}
ROWS: dict[str, tuple[Change, Change, list[str]]] = {
    "on hold": (
        stands(place=Place.BACK),
        stands(place=Place.HOLD, hold_entry=60, hold_why="heel turned"),
        ["it is on hold: heel turned"],
    ),
    "in quarantine": (
        stands(place=Place.READY),
        stands(place=Place.QUARANTINE, quarantine_entry=60, quarantine_why="a fall"),
        ["it is in quarantine: a fall"],
    ),
    "to be held, on its return": (
        AS_IT_IS,
        stands(hold_entry=60, hold_why="heel turned"),
        ["it is to be held: heel turned"],
    ),
    "flat": (AS_IT_IS, stands(place=Place.FLAT), ["it is flat (no binding on)"]),
    "already out": (AS_IT_IS, stands(place=Place.OUT), ["it is out"]),
    "sold": (AS_IT_IS, stands(place=Place.SOLD), ["it is sold"]),
    "two mounts that nobody took off": (
        lambda case: replace(case, also_on=()),
        lambda case: replace(case, also_on=(replace(mount_of(case), bsl_um=317_000, entry=7),)),
        [
            "2 mounts are on it in the ledger: Lark 4 for 317 mm of entry 7, Lark 4 for 305 mm of entry 17;"
            " withdraw what is not on"
        ],
    ),
    "no pass": (AS_IT_IS, stands(passed=Moment(0, "")), ["no pass is on record"]),
    "a pass after the time of going out": (
        stands(passed=Moment(50, utc_text(AT))),
        stands(passed=Moment(50, utc_text(AT + timedelta(seconds=1)))),
        ["its pass is of Mon 28 Dec 2026 11:00, after the time of going out"],
    ),
    "a return entered after the pass": (
        stands(returned=Moment(49, seconds(-1))),
        stands(returned=Moment(51, seconds(-1))),
        ["it came back Mon 28 Dec 2026 09:59 and nobody has passed it since"],
    ),
    "a return at the time of the pass": (
        stands(returned=Moment(49, seconds(-1))),
        stands(returned=Moment(49, seconds(0))),
        ["it came back Mon 28 Dec 2026 10:00 and nobody has passed it since"],
    ),
    "work entered after the pass": (
        stands(work=Moment(49, seconds(-1)), work_what="a repair"),
        stands(work=Moment(51, seconds(-1)), work_what="a repair"),
        ["a repair was entered Mon 28 Dec 2026 09:59 and nobody has passed it since"],
    ),
    "work after the time of the pass": (
        stands(work=Moment(49, seconds(-1)), work_what=""),
        stands(work=Moment(49, seconds(1)), work_what=""),
        ["work was entered Mon 28 Dec 2026 10:00 and nobody has passed it since"],
    ),
    "a fault entered after the pass": (
        stands(fault=Moment(49, seconds(-1))),
        stands(fault=Moment(51, seconds(-1))),
        ["a fault was found Mon 28 Dec 2026 09:59 and nobody has passed it since"],
    ),
    "a fault after the time of the pass": (
        stands(fault=Moment(49, seconds(-1))),
        stands(fault=Moment(49, seconds(0))),
        ["a fault was found Mon 28 Dec 2026 10:00 and nobody has passed it since"],
    ),
    "an open order": (
        AS_IT_IS,
        lambda case: replace(case, open_order="WO-2610-0001 B"),
        ["work order WO-2610-0001 B is open"],
    ),
    "glue that cures": (
        stands(**GLUED, glued_with=("wood_glue",)),
        stands(**GLUED_A_SECOND_LATER, glued_with=("wood_glue",)),
        ["its wood glue cures until Mon 28 Dec 2026 11:00"],
    ),
    "glue of two kinds, one of them slower": (
        stands(**GLUED, glued_with=("wood_glue",)),
        stands(**GLUED, glued_with=("wood_glue", "epoxy")),
        ["its epoxy cures until Mon 28 Dec 2026 11:30"],
    ),
    "glue whose cure time is not set": (
        stands(**GLUED, glued_with=("wood_glue",)),
        stands(**GLUED, glued_with=("hide_glue",)),
        [
            "the cure time of its hide glue is not set, so it counts as not cured"
            " (mountbook policy set cure_hide_glue_hours)"
        ],
    ),
    "glue whose cure time is not set, beside one that cures": (
        stands(**GLUED_A_SECOND_LATER),
        stands(**GLUED_A_SECOND_LATER, glued_with=("hide_glue", "wood_glue")),
        [
            "the cure time of its hide glue is not set, so it counts as not cured"
            " (mountbook policy set cure_hide_glue_hours)",
            "its wood glue cures until Mon 28 Dec 2026 11:00",
        ],
    ),
    "two bindings on ski B": (
        AS_IT_IS,
        lambda case: replace(case, doubled={B: ("P-1/B", "X-9")}),
        ["several bindings are on record on ski B: P-1/B, X-9"],
    ),
    "a hold without words": (AS_IT_IS, stands(place=Place.HOLD, hold_entry=60), ["it is on hold"]),
    "a hold and a quarantine, locked away": (
        AS_IT_IS,
        stands(
            place=Place.QUARANTINE,
            quarantine_entry=60,
            quarantine_why="a fall",
            hold_entry=59,
            hold_why="heel turned",
        ),
        ["it is in quarantine: a fall", "it is to be held: heel turned"],
    ),
    "in repair, the cause is said of the hold": (
        AS_IT_IS,
        stands(place=Place.IN_REPAIR, hold_entry=59, hold_why="heel turned", quarantine_why="no matter"),
        ["it is in repair", "it is to be held: heel turned"],
    ),
    "its second check": (
        AS_IT_IS,
        stands(place=Place.SECOND_CHECK),
        ["it is waiting for its second check"],
    ),
    "back, with a pass that counts": (
        stands(place=Place.BACK),
        stands(place=Place.BACK, returned=Moment(51, seconds(60))),
        ["it came back Mon 28 Dec 2026 10:01 and nobody has passed it since"],
    ),
    "a look left unfinished after the pass": (
        stands(unfinished=Moment(49, seconds(-1)), unreached=(("B", "heel"),)),
        stands(unfinished=Moment(51, seconds(60)), unreached=(("A", "toe"), ("B", "heel"))),
        ["a look could not reach ski A toe, ski B heel Mon 28 Dec 2026 10:01 and nobody has passed it since"],
    ),
    "all that came after the pass is said": (
        AS_IT_IS,
        stands(
            returned=Moment(51, seconds(60)),
            work=Moment(52, seconds(120)),
            work_what="a repair",
            fault=Moment(53, seconds(180)),
        ),
        [
            "it came back Mon 28 Dec 2026 10:01 and nobody has passed it since",
            "a repair was entered Mon 28 Dec 2026 10:02 and nobody has passed it since",
            "a fault was found Mon 28 Dec 2026 10:03 and nobody has passed it since",
        ],
    ),
    "no binding on ski B": (AS_IT_IS, without(B), ["no binding is on record on ski B"]),
    "no binding on ski A": (AS_IT_IS, without(A), ["no binding is on record on ski A"]),
    "no binding": (
        AS_IT_IS,
        without(A, B),
        ["no binding is on record on ski A", "no binding is on record on ski B"],
    ),
    "two different bindings": (
        also(bound(A, pattern="Other 4"), bound(B, pattern="Other 4")),
        bound(B, pattern="Other 4"),
        ["its two skis carry different bindings"],
    ),
    "a recall that reaches ski B": (
        bound(B, serial_heel="2101"),
        bound(B, serial_heel="2100"),
        ["recall R-1 is open and reaches the binding of ski B"],
    ),
    "a recall that reaches ski A": (
        bound(A, serial_heel="1999"),
        bound(A, serial_heel="2000"),
        ["recall R-1 is open and reaches the binding of ski A"],
    ),
    "a recall that reaches both skis": (
        AS_IT_IS,
        also(bound(A, serial_heel="2050"), bound(B, serial_heel="2050")),
        ["recall R-1 is open and reaches the binding of ski A, B"],
    ),
    "a recall, and ski B's serial is not known": (
        bound(B, serial_toe=""),
        bound(B, serial_heel=""),
        ["recall R-1 is open and may reach the binding of ski B: take off and read"],
    ),
    "a recall, and no serial is known": (
        AS_IT_IS,
        also(bound(A, serial_heel=""), bound(B, serial_heel="")),
        ["recall R-1 is open and may reach the binding of ski A, B: take off and read"],
    ),
    "a recall, and ski A's serial is not known": (
        bound(A, serial_toe=""),
        bound(A, serial_heel=""),
        ["recall R-1 is open and may reach the binding of ski A: take off and read"],
    ),
    "a recall that reaches ski A, and ski B's serial is not known": (
        AS_IT_IS,
        also(bound(A, serial_heel="2050"), bound(B, serial_heel="")),
        ["recall R-1 is open and reaches the binding of ski A"],
    ),
}
RECALLS = (
    Recall(recall="R-0", pattern="Other 5", piece="", serial_from="", serial_to="", season="", source="s"),
    Recall(
        recall="R-1", pattern="", piece="heel", serial_from="2000", serial_to="2100", season="", source="s"
    ),
)


@pytest.mark.parametrize("name", ROWS)
def test_the_door_opens_at_the_limit_and_says_why_not_a_step_beyond(shop: Shop, name: str) -> None:
    let_out, kept_in, words = ROWS[name]
    case = read_case(shop.ledger.connection, "P-1")
    passed = {"place": Place.READY, "passed": PASSED, "returned": Moment(0, ""), "work": Moment(0, "")}
    case = stands(**passed)(case)
    policy = default_policy().with_values(cure_wood_glue_hours="12", cure_epoxy_hours="12.5")

    def asked(change: Change) -> list[str]:
        found = reasons_against(change(case), at=AT, zone=ZONE, policy=policy, recalls=RECALLS)
        return list(found)

    assert asked(let_out) == []
    assert asked(kept_in) == words


def test_every_reason_is_said_at_once(shop: Shop) -> None:
    """One after the other costs the guest a walk for each."""
    case = read_case(shop.ledger.connection, "P-1")
    all_at_once = also(
        stands(place=Place.HOLD, hold_entry=9, hold_why="loose", passed=Moment(0, "")),
        lambda c: replace(c, open_order="WO-2610-0001 A"),
        without(B),
    )(case)
    assert reasons_against(all_at_once, at=AT, zone=ZONE, policy=default_policy(), recalls=()) == (
        "it is on hold: loose",
        "no pass is on record",
        "work order WO-2610-0001 A is open",
        "no binding is on record on ski B",
    )
