"""Today's list: who is on it, in which order, with which reasons; and the evening's sum."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from fleet.base.errors import Refused
from fleet.facts.holes import Side
from fleet.rules.counter import keep_longer, move
from fleet.rules.day_end import Evening, close_evening, read_evening
from fleet.rules.holds import clear, end_repair
from fleet.rules.looks import ListUsed
from fleet.rules.recheck import Group, RecheckList, recheck_list, supplement
from tests.counter.shop import IDA, JORY, NELL, SANNE, WIM, ZONE, Shop


def listed(shop: Shop) -> RecheckList:
    return recheck_list(shop.ledger.connection, today=shop.today)


def test_an_untouched_shop_has_an_empty_list(shop: Shop) -> None:
    assert listed(shop).rows == ()


def test_what_came_back_is_on_the_list_until_it_is_passed(shop: Shop) -> None:
    shop.out("P-1", "P-2")
    assert (listed(shop).rows, len(listed(shop).out)) == ((), 2)
    shop.back("P-1")
    assert [(row.tag, row.group, row.reasons) for row in listed(shop).rows] == [
        ("P-1", Group.ROUTINE, ("routine",))
    ]
    shop.look("P-1")
    assert listed(shop).rows == ()


def test_a_fresh_pair_is_not_on_the_list_but_counted(shop: Shop) -> None:
    """It never came back: the season prep sign-off is its door."""
    shop.pair("P-9")
    assert (listed(shop).rows, listed(shop).never_back) == ((), ("P-9",))
    shop.back("P-9")
    assert [(row.tag, row.group, row.reasons) for row in listed(shop).rows] == [
        ("P-9", Group.CHECK_FIRST, ("never passed: nothing is known",))
    ]


def test_the_order_is_worst_first_with_the_reason(shop: Shop) -> None:
    """The renter's word, loose last time, first return after work, days out, routine."""
    shop.pair("P-5")
    shop.ready("P-5")
    for tag in ("P-2", "P-3"):  # P-2 was loose, P-3 was repaired without a finding
        if tag == "P-2":
            shop.look(tag, found={"B heel": "more"})
        else:
            with shop.desk(NELL) as desk:
                from fleet.rules.holds import hold

                hold(desk, tag, why="brake bent")
        with shop.desk(JORY) as desk:
            end_repair(desk, tag, did="reset")
        shop.look(tag, by=SANNE)
    shop.out("P-4", "P-1", "P-2", "P-3", "P-5")
    shop.tick(minutes=5 * 24 * 60)
    shop.back("P-4")
    shop.look("P-4")
    shop.out("P-4")
    shop.back("P-4")
    shop.back("P-1", said="felt loose")
    shop.back("P-2")
    shop.back("P-3")
    shop.back("P-5")
    rows = listed(shop).rows
    assert [(row.tag, row.group) for row in rows] == [
        ("P-1", Group.CHECK_FIRST),
        ("P-2", Group.CHECK_FIRST),
        ("P-3", Group.CHECK_FIRST),
        ("P-5", Group.DUE),
        ("P-4", Group.ROUTINE),
    ]
    reasons = {row.tag: row.reasons for row in rows}
    assert reasons["P-1"] == ("renter: “felt loose”",)
    assert reasons["P-2"] == ("turned last time: ski B heel", "1st return after a repair")
    assert reasons["P-3"] == ("after a repair", "1st return after a repair")
    assert reasons["P-5"] == ("5 days out since the last pass",)
    assert [row.marked for row in rows][1] == frozenset({(Side.B, "heel")})


def test_the_first_two_returns_after_a_repair_are_looked_at_first_and_the_third_is_not(shop: Shop) -> None:
    shop.look("P-1", found={"A toe": "spins"})
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did="insert set")
    shop.look("P-1", by=SANNE)
    groups = []
    for _ in range(3):
        shop.out("P-1")
        shop.back("P-1")
        groups.append(listed(shop).rows[0].group)
        shop.look("P-1")
    assert groups == [Group.CHECK_FIRST, Group.CHECK_FIRST, Group.ROUTINE]


def test_a_held_pair_is_not_on_the_list_and_stays_in(shop: Shop) -> None:
    shop.back("P-1")
    shop.look("P-1", found={"A toe": "spins"})
    assert listed(shop).rows == ()


def test_a_look_left_unfinished_is_on_the_list_with_the_piece_to_look_at_first(shop: Shop) -> None:
    """P-9 came back once; P-2 never did: either waits for the rest of the look, and the evening with it."""
    shop.out("P-1")
    shop.back("P-1")
    shop.look("P-1")
    shop.look("P-1", found={"B heel": "cannot reach"})
    shop.look("P-2", found={"A toe": "cannot reach", "B toe": "cannot reach"})
    assert [(row.tag, row.group, row.reasons, row.marked) for row in listed(shop).rows] == [
        (
            "P-2",
            Group.CHECK_FIRST,
            ("could not reach last time: ski A toe", "could not reach last time: ski B toe"),
            frozenset({(Side.A, "toe"), (Side.B, "toe")}),
        ),
        (
            "P-1",
            Group.CHECK_FIRST,
            ("could not reach last time: ski B heel",),
            frozenset({(Side.B, "heel")}),
        ),
    ]
    assert listed(shop).never_back == ()
    waiting = r"2 pairs that may not wait were not looked at: P-2, P-1"
    with pytest.raises(Refused, match=waiting), shop.desk(IDA) as desk:
        close_evening(desk)
    shop.look("P-1")
    shop.look("P-2")
    assert listed(shop).rows == ()


def test_a_pair_found_loose_on_the_rack_waits_on_the_list_once_its_hold_is_lifted(shop: Shop) -> None:
    shop.out("P-1")
    shop.back("P-1")
    shop.look("P-1")
    printed = ListUsed.parse(listed(shop).list_id)
    shop.look("P-1", by=IDA, found={"A toe": "more"})
    with shop.desk(WIM) as desk:
        clear(desk, "P-1", why="the driver slipped, it had not turned")
    [row] = listed(shop).rows
    assert (row.tag, row.reasons[0]) == ("P-1", "turned last time: ski A toe")
    assert supplement(listed(shop), printed).rows == (row,), "it came onto the list since that was printed"


def test_the_pictures_dots_stand_where_the_mounted_pieces_are(shop: Shop) -> None:
    """Lark 4 for 305 mm on the mark: toe holes at 152.5 - 10 and - 45, heel holes at -152.5 + 15 and + 55."""
    shop.back("P-1")
    [row] = listed(shop).rows
    assert sorted({dot.x_um for dot in row.screws[Side.A]}) == [-137_500, -97_500, 107_500, 142_500]
    assert {(dot.piece, dot.x_um > 0) for dot in row.screws[Side.B]} == {("toe", True), ("heel", False)}


def test_the_list_takes_the_minutes_the_policy_says(shop: Shop) -> None:
    """Worked example: 118 returns at 75 s are 2.46 h. Here 4 at 75 s are 5 minutes."""
    shop.back("P-1", "P-2", "P-3", "P-4")
    assert listed(shop).minutes == 5
    assert listed(shop).minutes_short == 0


@pytest.mark.parametrize(
    ("out_at", "back_at", "days"),
    [
        # zoneinfo is the outside here: 23 hours in truth, one day of the shop's calendar.
        ("2026-03-28T16:00+01:00", "2026-03-29T16:00+02:00", 1),
        ("2026-10-24T16:00+02:00", "2026-10-25T16:00+01:00", 1),
        ("2026-12-27T09:00+01:00", "2026-12-27T16:00+01:00", 1),
        ("2026-12-27T23:30+01:00", "2026-12-28T00:30+01:00", 1),
        ("2026-12-27T09:00+01:00", "2027-01-03T16:00+01:00", 7),
    ],
)
def test_days_count_by_the_shops_calendar(out_at: str, back_at: str, days: int) -> None:
    from fleet.base.days import days_between
    from fleet.base.entries import utc_text

    out, back = (utc_text(datetime.fromisoformat(text)) for text in (out_at, back_at))
    assert max(1, days_between(out, back, ZONE)) == days


def test_a_southern_shop_counts_its_own_days() -> None:
    """A clock change in the southern spring (2026-10-04) and an evening that is still yesterday in UTC."""
    from fleet.base.days import days_between, shop_day

    assert days_between("2026-10-03T03:00:00.000Z", "2026-10-04T03:00:00.000Z", "Australia/Melbourne") == 1
    assert shop_day("2026-07-04T20:00:00.000Z", "Pacific/Auckland") == date(2026, 7, 5)


def evening(shop: Shop) -> Evening:
    return read_evening(shop.ledger.connection, day=shop.today, zone=ZONE)


EACH_OUT = "for each: scan it back, `mountbook later TAG --until DATE`, or `mountbook move TAG --to missing`"


@pytest.mark.parametrize(
    ("back", "sentence", "cure"),
    [
        (
            ("P-1",),
            "the evening does not add up: 3 out - 1 back - 0 later - 0 missing = 2: P-2, P-3;"
            " 1 pair that may not wait was not looked at: P-1",
            f"{EACH_OUT}; look at P-1 and record it, or hold it",
        ),
        (
            ("P-1", "P-2"),
            "the evening does not add up: 3 out - 2 back - 0 later - 0 missing = 1: P-3;"
            " 2 pairs that may not wait were not looked at: P-1, P-2",
            f"{EACH_OUT}; look at them and record it, or hold them",
        ),
        (
            ("P-1", "P-2", "P-3"),
            "3 pairs that may not wait were not looked at: P-1, P-2, P-3",
            "look at them and record it, or hold them",
        ),
    ],
)
def test_all_that_keeps_the_evening_open_is_told_at_once(
    shop: Shop, back: tuple[str, ...], sentence: str, cure: str
) -> None:
    shop.out("P-1", "P-2", "P-3")
    for tag in back:
        shop.back(tag, said="felt loose")
    with shop.desk(IDA) as desk, pytest.raises(Refused) as told:
        close_evening(desk)
    assert (told.value.sentence, told.value.cure) == (sentence, cure)


def test_the_evening_closes_only_when_every_pair_is_accounted_for(shop: Shop) -> None:
    def close() -> Evening:
        with shop.desk(IDA) as desk:
            return close_evening(desk)

    shop.out("P-1", "P-2", "P-3", "P-4")
    shop.back("P-1")
    with pytest.raises(Refused, match=r"4 out - 1 back - 0 later - 0 missing = 3: P-2, P-3, P-4"):
        close()
    with shop.desk(NELL) as desk:
        keep_longer(desk, "P-2", until=shop.today + timedelta(days=3))
    with shop.desk(NELL) as desk:
        move(desk, "P-3", to="missing", reason="renter does not answer")
    with pytest.raises(Refused, match=r"= 1: P-4"):
        close()
    shop.back("P-4", said="heel clicks")
    with pytest.raises(Refused, match=r"1 pair that may not wait was not looked at: P-4"):
        close()
    shop.look("P-4")
    done = close()  # P-1 is routine and may wait: it stays in
    assert (done.out, done.back, done.later, done.missing) == (4, ("P-1", "P-4"), ("P-2",), ("P-3",))
    with pytest.raises(Refused, match="nobody has passed it since"):
        shop.out("P-1")


def test_a_due_day_that_has_come_is_not_later(shop: Shop) -> None:
    shop.out("P-1")
    with shop.desk(NELL) as desk:
        keep_longer(desk, "P-1", until=shop.today + timedelta(days=1))
    assert evening(shop).later == ("P-1",)
    shop.tick(minutes=24 * 60)
    assert evening(shop).unanswered == ("P-1",)


def test_an_evening_holds_what_came_back_on_that_day_of_the_shop_alone(shop: Shop) -> None:
    """Midnight in Vienna is 23:00 UTC in winter."""
    midnights = [datetime(2026, 12, day, 23, 0, tzinfo=UTC) for day in (27, 28)]
    shop.out("P-1", "P-2", "P-3", "P-4")
    moment = timedelta(milliseconds=1)
    returns = (midnights[0] - moment, midnights[0], midnights[1] - moment, midnights[1])
    for tag, at in zip(("P-1", "P-2", "P-3", "P-4"), returns, strict=True):
        shop.now = midnights[1] + timedelta(hours=1)
        shop.back(tag, at=at)
    days = [read_evening(shop.ledger.connection, day=date(2026, 12, day), zone=ZONE) for day in (27, 28, 29)]
    assert [day.back for day in days] == [("P-1",), ("P-2", "P-3"), ("P-4",)]
    assert [day.sum_words for day in days] == [
        f"{back} out - {back} back - 0 later - 0 missing = 0" for back in (1, 2, 1)
    ]


def test_clearing_after_a_loose_screw_still_wants_a_look_first(shop: Shop) -> None:
    shop.back("P-1")
    shop.look("P-1", found={"A toe": "more"})
    with shop.desk(WIM) as desk:
        clear(desk, "P-1", why="tightened")
    [row] = listed(shop).rows
    assert (row.group, row.reasons[0]) == (Group.CHECK_FIRST, "turned last time: ski A toe")
