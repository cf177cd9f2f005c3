"""Times in the words of a sheet: the shop's wall clock."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from fleet.base.days import day_text


def moment_text(moment: datetime, zone: str) -> str:
    """Return ``Wed 25 Nov 2026, 17:50`` by the shop's clock. Raises ValueError for a time without a zone."""
    if moment.tzinfo is None:
        raise ValueError("a printed time needs a zone")
    local = moment.astimezone(ZoneInfo(zone))
    return f"{day_text(local.date())}, {local:%H:%M}"


def stale_text(moment: datetime, zone: str, days: int) -> str:
    """Return the last day on which a sheet printed now may be used."""
    return day_text(moment.astimezone(ZoneInfo(zone)).date() + timedelta(days=days))


def spoken_day(text: str) -> str:
    """Return an ISO day in the words of a sheet; other words are left as they are."""
    try:
        return day_text(date.fromisoformat(text))
    except ValueError:
        return text
