"""The story's clock. Every moment is fixed, so that the same program tells the same story."""

from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

SHOP: Final = "Lantern House, Vardenal"
ZONE: Final = "Europe/Vienna"
_WALL: Final = ZoneInfo(ZONE)


def _at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=_WALL)


INVENTORY: Final = _at("2025-10-06T08:00")
POLICY: Final = _at("2025-10-06T08:40")
PLAN: Final = _at("2025-10-06T09:00")
ISSUE: Final = _at("2025-10-06T10:00")
BENCH: Final = _at("2025-10-08T08:00")
"""The first bench day; orders follow one another by their planned minutes, 8 hours a day."""
RELEASE_TESTS: Final = _at("2025-11-19T08:00")
SEASON_PREP: Final = _at("2025-11-20T08:00")
READY_BY: Final = "2025-11-28"
COUNTER_DAY: Final = _at("2025-12-28T00:00")
EVENING: Final = _at("2025-12-28T18:00")
BENCH_DAY: Final = timedelta(hours=8)


def bench_moment(minutes: int) -> datetime:
    """Return when the bench has worked that many minutes: Monday to Friday, 8 to 16 o'clock."""
    day, rest = divmod(minutes, int(BENCH_DAY.total_seconds()) // 60)
    moment = BENCH
    for _ in range(day):
        moment += timedelta(days=1)
        while moment.weekday() >= 5:
            moment += timedelta(days=1)
    return moment + timedelta(minutes=rest)


def first_visit(minutes: int) -> datetime:
    """Return when an order was plugged that is done after so many minutes: a working day and a minute
    before.
    """
    day = int(BENCH_DAY.total_seconds()) // 60
    return bench_moment(minutes - day - 1) if minutes > day else bench_moment(minutes) - timedelta(hours=25)


def on_the_counter_day(wall: str) -> datetime:
    """``08:24`` on the busy day, by the shop's clock."""
    return datetime.combine(COUNTER_DAY.date(), datetime.strptime(wall, "%H:%M").time(), tzinfo=_WALL)  # noqa: DTZ007
