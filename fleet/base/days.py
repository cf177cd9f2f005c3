"""Days by the shop's calendar; instants in UTC. The two meet here, and days get their words."""

from __future__ import annotations

from datetime import date, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

from fleet.base.entries import parse_utc
from fleet.base.errors import BadInput


@lru_cache(maxsize=8)
def _zone(name: str) -> ZoneInfo:
    return ZoneInfo(name)


def shop_time(utc: str, zone: str) -> datetime:
    """UTC text as the shop's wall clock (aware)."""
    return parse_utc(utc).astimezone(_zone(zone))


def shop_day(utc: str, zone: str) -> date:
    """The day of the shop's calendar on which it happened."""
    return shop_time(utc, zone).date()


def days_between(start_utc: str, end_utc: str, zone: str) -> int:
    """Whole calendar days from start to end; a night over the clock change is still one day."""
    return (shop_day(end_utc, zone) - shop_day(start_utc, zone)).days


def time_text(utc: str, zone: str) -> str:
    """For people: ``Wed 2 Dec 2026 16:40``, the shop's wall clock."""
    at = shop_time(utc, zone)
    return f"{day_text(at)} {at:%H:%M}"


def day_text(day: date) -> str:
    """For people: ``Wed 2 Dec 2026``, in English on every machine."""
    return _in_words(day, "EEE d MMM y")


def short_time_text(moment: datetime) -> str:
    """For people, where nobody doubts the year: ``Wed 2 Dec 16:40``, by the moment's own clock."""
    return f"{_in_words(moment, 'EEE d MMM')} {moment:%H:%M}"


def weekdays() -> tuple[str, ...]:
    """``Mon`` to ``Sun``."""
    from babel.dates import get_day_names

    names = get_day_names("abbreviated", locale="en")
    return tuple(names[number] for number in range(7))


def _in_words(day: date, form: str) -> str:
    """The one place where a day gets words. ``form`` as Unicode writes the fields of a day."""
    from babel.dates import format_date  # costs 20 ms, and a scan at the counter seldom says a day

    return format_date(day, form, locale="en")


def typed_day(text: str, where: str = "") -> date:
    """A day as people type it, ``2026-12-04``; ``where``: the option it was typed for. BadInput otherwise."""
    try:
        return date.fromisoformat(text.strip())
    except ValueError as fault:
        raise BadInput(f"{where} {text!r} is not a day".strip(), cure="write it like 2026-12-04") from fault


def stored_day(text: str | None) -> date | None:
    """Return a stored day; a text that is none counts as not known."""
    try:
        return date.fromisoformat(text or "")
    except ValueError:
        return None
