"""The progress of a bench plan: orders done, orders behind, orders that the ledger no longer has."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """Order numbers by progress. ``behind``: still open after the planned end of their last visit."""

    done: tuple[str, ...]
    stopped: tuple[str, ...]
    cancelled: tuple[str, ...]
    behind: tuple[str, ...]
    late: tuple[str, ...]
    under_way: tuple[str, ...]
    to_come: tuple[str, ...]
    moved: tuple[str, ...]


def progress_of(data: Mapping[str, Any], states: Mapping[str, str], *, now: datetime) -> Progress:
    """Compare a bench.json with the newest state of each order (open, done, stopped, cancelled).

    An order that the ledger does not know (a plan made from proposals) counts as open. ``late``: open
    after its due day's end; it is in ``behind``, ``under_way`` or ``to_come`` as well.
    """
    starts: dict[str, datetime] = {}
    ends: dict[str, datetime] = {}
    for row in data["visits"]:
        begins, over = datetime.fromisoformat(row["start"]), datetime.fromisoformat(row["end"])
        starts[row["order"]] = min(begins, starts.get(row["order"], begins))
        ends[row["order"]] = max(over, ends.get(row["order"], over))
    groups: dict[str, list[str]] = {
        name: [] for name in ("done", "stopped", "cancelled", "behind", "under_way", "to_come")
    }
    late = []
    today = now.astimezone(next(iter(starts.values())).tzinfo).date() if starts else now.date()
    for order in data["orders"]:
        number = order["order"]
        state = states.get(number, "open")
        if state != "open":
            groups[state].append(number)
            continue
        if order["due"] and today.isoformat() > order["due"]:
            late.append(number)
        if number in ends and ends[number] < now:
            groups["behind"].append(number)
        elif number in starts and starts[number] <= now:
            groups["under_way"].append(number)
        else:
            groups["to_come"].append(number)
    return Progress(late=tuple(late), moved=tuple(data["moved"]), **{k: tuple(v) for k, v in groups.items()})
