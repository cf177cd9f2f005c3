"""Days as people type them at the counter. Sunday 27 December 2026 is today, unless a row says otherwise.

The calendar of the expected days is that of any wall; how people write them is common practice, no source.
"""

from __future__ import annotations

from datetime import date

import pytest

from fleet.base.days import typed_day
from fleet.base.errors import BadInput

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


def test_a_leap_day_is_found_in_the_year_that_has_it() -> None:
    assert typed_day("29.2.", today=date(2028, 1, 10)) == date(2028, 2, 29)
    with pytest.raises(BadInput):
        typed_day("29.2.", today=TODAY)
