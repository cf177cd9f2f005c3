"""Days by the shop's calendar; instants in UTC. The two meet here, and days get their words."""

import re
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo

from fleet.base.entries import parse_utc
from fleet.base.errors import BadInput, or_bad_input

_LANGUAGES: Final = ("en", "de")
_NEAR: Final = {"today": 0, "heute": 0, "tomorrow": 1, "morgen": 1}
_DOTTED: Final = re.compile(r"(\d{1,2})\.\s?(\d{1,2})(?:\.\s?(\d{4}|\d{2})?)?")
_SLASHED: Final = re.compile(r"(\d{1,2})/(\d{1,2})(?:/(\d{4}|\d{2}))?")
_FIRST, _LAST = date(1900, 1, 1), date(2999, 12, 31)
"""A day beyond these is a slip of the pen; at the ends of the calendar no clock goes on."""
_FURTHEST_DAYS: Final = 366
"""No renter keeps a pair for longer; a number beyond it is a slip."""


@lru_cache(maxsize=8)
def _zone(name: str) -> ZoneInfo:
    return ZoneInfo(name)


def shop_time(utc: str, zone: str) -> datetime:
    """UTC text as the shop's wall clock (aware)."""
    return parse_utc(utc).astimezone(_zone(zone))


@lru_cache(maxsize=512)
def shop_day(utc: str, zone: str) -> date:
    """The day of the shop's calendar on which it happened."""
    return shop_time(utc, zone).date()


def midnight(day: date, zone: str) -> datetime:
    """The first moment of a day by the shop's calendar (aware); with a clock change it has 23 or 25 hours."""
    return datetime.combine(day, time(), _zone(zone))


def day_at(moment: datetime, zone: str) -> date:
    """Return the day that it is in a shop at that moment."""
    return moment.astimezone(_zone(zone)).date()


def days_between(start_utc: str, end_utc: str, zone: str) -> int:
    """Whole calendar days from start to end; a night over the clock change is still one day."""
    return (shop_day(end_utc, zone) - shop_day(start_utc, zone)).days


def time_text(utc: str, zone: str) -> str:
    """For people: ``Wed 2 Dec 2026 16:40``, the shop's wall clock."""
    at = shop_time(utc, zone)
    return f"{day_text(at)} {at:%H:%M}"


def clock_text(utc: str, zone: str, *, today: datetime) -> str:
    """For people: ``16:40``, with its day where that is not the day of ``today``."""
    moment, now = shop_time(utc, zone), today.astimezone(_zone(zone))
    return f"{moment:%H:%M}" if moment.date() == now.date() else short_time_text(moment)


def day_text(day: date) -> str:
    """For people: ``Wed 2 Dec 2026``, in English on every machine."""
    return f"{short_day_text(day)} {day.year}"


def short_time_text(moment: datetime) -> str:
    """For people, where nobody doubts the year: ``Wed 2 Dec 16:40``, by the moment's own clock."""
    return f"{short_day_text(moment)} {moment:%H:%M}"


def short_day_text(day: date) -> str:
    """For people, where nobody doubts the year: ``Wed 2 Dec``. The one place where a day gets words."""
    weekday, month, *_ = day.ctime().split()  # never in the machine's language; Babel's tables cost 30 ms
    return f"{weekday} {day.day} {month}"


def weekdays() -> tuple[str, ...]:
    """``Mon`` to ``Sun``."""
    return tuple(short_day_text(date(2024, 1, first)).split()[0] for first in range(1, 8))  # a Monday


def stated_time(text: str, zone: str, *, today: date | None = None) -> datetime:
    """A time as people type it, ``2026-11-25T16:40``: without a zone it is the shop's wall clock. With
    ``today`` also ``16:40``, of that day.

    Raises BadInput for a wall-clock hour that does not exist or exists twice: say which with an offset.
    """
    like = "2026-11-25T16:40" if today is None else "16:40 or 2026-11-25T16:40"
    typed = f"{today}T{text:0>5}" if today is not None and len(text) <= len("16:40") else text
    with or_bad_input(
        f"{text!r} is not a time", cure=f"write it like {like}", of=(ValueError, OverflowError)
    ):
        moment = datetime.fromisoformat(typed)
        early, late = (moment.replace(tzinfo=moment.tzinfo or _zone(zone), fold=fold) for fold in (0, 1))
        found = early.astimezone(UTC)
    if early.utcoffset() != late.utcoffset():
        either = " or ".join(each.isoformat(timespec="minutes") for each in (early, late))
        raise BadInput(f"{text} falls into the hour of the clock change", cure=f"say which: {either}")
    return found


def typed_day(text: str, where: str = "", *, today: date | None = None) -> date:
    """A day as people type it: ``2026-12-04`` or ``4.12.2026``; ``where``: the option it was typed for.

    With ``today``, the day it is counted from, also ``4.12.``, ``Fri``, ``tomorrow`` or ``+3``: the next such
    day. What could mean two days is not guessed: BadInput asks, as it refuses what is no day.
    """
    clean = text.strip().casefold()
    dotted, found = _DOTTED.fullmatch(clean), stored_day(clean)
    if dotted and dotted[3]:
        found = _day_of(int(dotted[3]) + (2000 if len(dotted[3]) == 2 else 0), int(dotted[2]), int(dotted[1]))
    elif not found and today is not None:
        found = _coming(text, clean, dotted, today)
    if found is None or not _FIRST <= found <= _LAST:
        like = "2026-12-04" if today is None else "2026-12-04, 31.12., Fri, tomorrow or +3"
        raise BadInput(f"{where} {text!r} is not a day".strip(), cure=f"write it like {like}")
    return found


def _coming(text: str, clean: str, dotted: re.Match[str] | None, today: date) -> date | None:
    """A day without a year, counted from today; None for what is none. BadInput where it must be asked."""
    if dotted:
        return _next_of(text, int(dotted[2]), int(dotted[1]), today)
    if slashed := _SLASHED.fullmatch(clean):
        first, second = int(slashed[1]), int(slashed[2])
        year = int(slashed[3]) + (2000 if len(slashed[3]) == 2 else 0) if slashed[3] else None
        both = [(first, second), (second, first)]  # (month, day), either way round
        days = {_day_of(year, *each) if year else _next_day(*each, today) for each in both} - {None}
        if not days:
            return None
        meant = " or ".join(sorted(str(day) for day in days))
        raise BadInput(f"{text!r}: is the day or the month first?", cure=f"write {meant}")
    if re.fullmatch(r"\+\d{1,3}", clean):
        ahead = int(clean)
        return today + timedelta(days=ahead) if ahead <= _FURTHEST_DAYS else None
    if clean in _NEAR:
        return today + timedelta(days=_NEAR[clean])
    number = _weekday(clean.removesuffix("."))
    if number is None:
        return None
    if number == today.weekday():
        raise BadInput(
            f"{text!r}: today is {short_day_text(today)}",
            cure=f"write today, or {today + timedelta(days=7)}",
        )
    return today + timedelta(days=(number - today.weekday()) % 7)


def _weekday(word: str) -> int | None:
    """The weekday whose name begins so, in English or German; None for none, and for one of several."""
    from babel.dates import get_day_names

    if len(word) < 2:
        return None
    named = {
        number
        for language in _LANGUAGES
        for number, name in get_day_names("wide", locale=language).items()
        if name.casefold().startswith(word)
    }
    return named.pop() if len(named) == 1 else None


def _next_of(text: str, month: int, day: int, today: date) -> date | None:
    """The next such day; one more than half a year ahead was rather meant as one that has passed."""
    found = _next_day(month, day, today)
    if found is not None and (found - today).days > _FURTHEST_DAYS // 2:
        raise BadInput(f"{text!r} has passed", cure=f"write the year: {found}")
    return found


def _next_day(month: int, day: int, today: date) -> date | None:
    this_year = _day_of(today.year, month, day)
    return this_year if this_year and this_year >= today else _day_of(today.year + 1, month, day)


def _day_of(year: int, month: int, day: int) -> date | None:
    return stored_day(f"{year:04}-{month:02}-{day:02}")


def stored_day(text: str | None) -> date | None:
    """Return a stored day; a text that is none counts as not known."""
    try:
        return date.fromisoformat(text or "")
    except ValueError:
        return None


def stored_day_text(text: str | None) -> str:
    """A stored day for people; a text that is none stays as it was said."""
    day = stored_day(text)
    return day_text(day) if day else text or ""
