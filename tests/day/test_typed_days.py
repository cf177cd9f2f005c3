"""Days as people type them at the counter. Sunday 27 December 2026 is today, unless a row says otherwise.

The calendar of the expected days is that of any wall; how people write them is common practice, no source.
"""

from __future__ import annotations

import re
from datetime import date, datetime

import pytest

from fleet.base.days import stated_time, typed_day
from fleet.base.errors import BadInput
from fleet.facts.policy import default_policy

TODAY = date(2026, 12, 27)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("2026-12-31", date(2026, 12, 31)),
        ("31.12.", date(2026, 12, 31)),
        ("31.12", date(2026, 12, 31)),
        ("31. 12.", date(2026, 12, 31)),
        ("31.12.2026", date(2026, 12, 31)),
        ("31.12.26", date(2026, 12, 31)),
        ("27.12.", TODAY),
        ("3.1.", date(2027, 1, 3)),
        ("Tue", date(2026, 12, 29)),
        ("Friday", date(2027, 1, 1)),
        ("freitag", date(2027, 1, 1)),
        ("Sa", date(2027, 1, 2)),
        ("Do.", date(2026, 12, 31)),
        ("thurs", date(2026, 12, 31)),
        ("tomorrow", date(2026, 12, 28)),
        ("morgen", date(2026, 12, 28)),
        ("today", TODAY),
        ("+3", date(2026, 12, 30)),
        ("+0", TODAY),
        ("+366", date(2027, 12, 28)),
    ],
)
def test_a_day_is_read_as_it_is_typed(typed: str, meant: date) -> None:
    assert typed_day(typed, today=TODAY) == meant


@pytest.mark.parametrize(
    ("typed", "asked", "cure"),
    [
        ("12/31", "'12/31': is the day or the month first?", "write 2026-12-31"),
        ("1/3", "'1/3': is the day or the month first?", "write 2027-01-03 or 2027-03-01"),
        ("3/1/2027", "'3/1/2027': is the day or the month first?", "write 2027-01-03 or 2027-03-01"),
        ("26.12.", "'26.12.' has passed", "write the year: 2027-12-26"),
        ("Sunday", "'Sunday': today is Sun 27 Dec", "write today, or 2027-01-03"),
        ("31.2.", "'31.2.' is not a day", "write it like 2026-12-04, 31.12., Fri, tomorrow or +3"),
        ("31.11.2026", "'31.11.2026' is not a day", "write it like 2026-12-04, 31.12., Fri, tomorrow or +3"),
        ("+367", "'+367' is not a day", "write it like 2026-12-04, 31.12., Fri, tomorrow or +3"),
        ("-1", "'-1' is not a day", "write it like 2026-12-04, 31.12., Fri, tomorrow or +3"),
        ("s", "'s' is not a day", "write it like 2026-12-04, 31.12., Fri, tomorrow or +3"),
        ("someday", "'someday' is not a day", "write it like 2026-12-04, 31.12., Fri, tomorrow or +3"),
    ],
)
def test_what_could_mean_two_days_is_asked(typed: str, asked: str, cure: str) -> None:
    with pytest.raises(BadInput) as fault:
        typed_day(typed, today=TODAY)
    assert (fault.value.sentence, fault.value.cure) == (asked, cure)


@pytest.mark.parametrize("typed", ["31.12.", "Fri", "tomorrow", "+3", "12/31"])
def test_where_no_day_is_today_only_a_whole_date_is_read(typed: str) -> None:
    with pytest.raises(BadInput, match="is not a day"):
        typed_day(typed, "--as-of")
    assert typed_day("31.12.2026") == date(2026, 12, 31)


@pytest.mark.parametrize("typed", ["0001-01-01", "1899-12-31", "3000-01-01", "9999-12-31", "31.12.9999"])
def test_a_year_that_no_calendar_on_a_wall_has_is_a_slip(typed: str) -> None:
    """At the ends of the calendar no clock goes on: such a day stopped the evening's list."""
    with pytest.raises(BadInput, match="is not a day"):
        typed_day(typed, today=TODAY)
    with pytest.raises(BadInput, match="is not a day"):
        default_policy().with_values(pass_from_day=typed)
    assert [typed_day(each).isoformat() for each in ("1900-01-01", "31.12.2999")] == [
        "1900-01-01",
        "2999-12-31",
    ]


@pytest.mark.parametrize(
    ("typed", "zone", "utc"),
    [
        ("2026-10-25T01:59", "Europe/Vienna", "2026-10-24T23:59"),
        ("2026-10-25T03:00", "Europe/Vienna", "2026-10-25T02:00"),
        ("2026-10-25T02:30+02:00", "Europe/Vienna", "2026-10-25T00:30"),
        ("2026-10-25T02:30+01:00", "Europe/Vienna", "2026-10-25T01:30"),
        ("2026-03-29T01:59", "Europe/Vienna", "2026-03-29T00:59"),
        ("2026-03-29T03:00", "Europe/Vienna", "2026-03-29T01:00"),
        ("2026-10-04T03:00", "Australia/Melbourne", "2026-10-03T16:00"),
        ("00:00", "Europe/Vienna", "2026-10-24T22:00"),
        ("9:05", "Europe/Vienna", "2026-10-25T08:05"),
    ],
)
def test_a_time_without_a_zone_is_the_shop_s_wall_clock(typed: str, zone: str, utc: str) -> None:
    """Hours of the clock change: last Sundays of March and October at 01:00 UTC (Directive 2000/84/EC);
    Melbourne's first Sunday of October at 02:00 (both from memory).
    """
    meant = datetime.fromisoformat(f"{utc}+00:00")
    assert stated_time(typed, zone, today=date(2026, 10, 25)) == meant


@pytest.mark.parametrize(
    ("typed", "asked"),
    [
        ("2026-10-25T02:00", "say which: 2026-10-25T02:00+02:00 or 2026-10-25T02:00+01:00"),
        ("2026-10-25T02:59", "say which: 2026-10-25T02:59+02:00 or 2026-10-25T02:59+01:00"),
        ("2:30", "say which: 2026-10-25T02:30+02:00 or 2026-10-25T02:30+01:00"),
        ("2026-03-29T02:30", "say which: 2026-03-29T02:30+01:00 or 2026-03-29T02:30+02:00"),
    ],
)
def test_an_hour_that_is_there_twice_or_not_at_all_is_asked(typed: str, asked: str) -> None:
    with pytest.raises(BadInput, match="falls into the hour of the clock change") as fault:
        stated_time(typed, "Europe/Vienna", today=date(2026, 10, 25))
    assert fault.value.cure == asked


@pytest.mark.parametrize("typed", ["", "25:00", "16", "noon", "0001-01-01T00:00", "9999-12-31T23:59-12:00"])
def test_what_is_no_time_is_asked_for_as_people_write_it(typed: str) -> None:
    with pytest.raises(BadInput, match=f"'{re.escape(typed)}' is not a time") as fault:
        stated_time(typed, "Europe/Vienna", today=TODAY)
    assert fault.value.cure == "write it like 16:40 or 2026-11-25T16:40"


def test_a_leap_day_is_found_in_the_year_that_has_it() -> None:
    assert typed_day("29.2.", today=date(2028, 1, 10)) == date(2028, 2, 29)
    with pytest.raises(BadInput):
        typed_day("29.2.", today=TODAY)
