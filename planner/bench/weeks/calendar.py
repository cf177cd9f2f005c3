"""Open days of the bench: from the shop's wall clock to UTC minutes."""

from collections.abc import Collection, Sequence
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from fleet.base.days import weekdays
from fleet.base.errors import BadInput
from planner.bench.weeks.values import Window, WorkDay


def utc_minute(moment: datetime) -> int:
    """Return the whole minutes since 1970 in UTC of an aware time."""
    return int(moment.timestamp()) // 60


def wall(minute: int, zone: str) -> datetime:
    """Return a UTC minute as the shop's wall clock shows it."""
    return datetime.fromtimestamp(minute * 60, UTC).astimezone(ZoneInfo(zone))


def open_days(
    *,
    first: date,
    last: date,
    zone: str,
    hours: Sequence[float],
    opens: time = time(8, 0),
    pause: tuple[time, time] | None = None,
    weekdays_closed: Collection[str] = ("Sun",),
    closed: Collection[date] = (),
    not_before: datetime | None = None,
) -> tuple[WorkDay, ...]:
    """Return the open days from ``first`` to ``last``, both included.

    ``hours``: bench hours a day of each person, in order; the pause is not counted in them.
    ``not_before`` cuts what is already past (planning again in the middle of a day). Raises BadInput if
    nothing is open, or the hours do not fit into a day.
    """
    if last < first:
        raise BadInput(f"the bench weeks end on {last}, before they begin on {first}", cure="turn them round")
    now = utc_minute(not_before) + 1 if not_before is not None else None
    days = []
    for ahead in range((last - first).days + 1):
        day = first + timedelta(days=ahead)
        if weekdays()[day.weekday()] in weekdays_closed or day in closed:
            continue
        windows = {
            person: found
            for person, length in enumerate(hours)
            if (found := _windows(day, ZoneInfo(zone), length, opens, pause, now))
        }
        if windows:
            days.append(WorkDay(day=day, windows=windows))
    if not days:
        raise BadInput(f"the bench is not open between {first} and {last}", cure="look at the closing days")
    return tuple(days)


def _windows(
    day: date, zone: ZoneInfo, hours: float, opens: time, pause: tuple[time, time] | None, now: int | None
) -> tuple[Window, ...]:
    left = round(hours * 60)
    if left <= 0:
        return ()
    begins = _minute(day, opens, zone)
    stretches = []
    if pause is not None and begins < (rest := _minute(day, pause[0], zone)):
        before = min(left, rest - begins)
        stretches.append((begins, begins + before))
        left -= before
        begins = _minute(day, pause[1], zone)
    if left:
        stretches.append((begins, begins + left))
    if stretches[-1][1] > _minute(day + timedelta(days=1), opens, zone):
        raise BadInput(f"{hours:g} hours from {opens:%H:%M} do not fit into a day", cure="give fewer hours")
    cut = [(max(a, now), b) if now is not None else (a, b) for a, b in stretches]
    return tuple(Window(start=a, end=b) for a, b in cut if a < b)


def _minute(day: date, at: time, zone: ZoneInfo) -> int:
    return utc_minute(datetime.combine(day, at, tzinfo=zone))
