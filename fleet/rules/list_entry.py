"""One signature under a whole printed list passes its pairs that nobody excepts and nothing moved."""

import sqlite3
from collections.abc import Collection
from dataclasses import dataclass

from fleet.base.errors import Refused
from fleet.facts.standing import Place, Standing, read_standings
from fleet.ledger.history import entries_about
from fleet.rules.looks import ListUsed
from fleet.rules.recheck import check_printed, recheck_list


@dataclass(frozen=True, slots=True, kw_only=True)
class UnderList:
    """``tags``: what the signature passes. ``excepted``: of those left out, the ones that still wait.

    ``not_on_it``: pairs that wait too, each with why this list does not speak of it. ``dealt_with``: pairs
    that may have stood on it, and of which what was found has been entered since.
    """

    tags: tuple[str, ...]
    excepted: tuple[str, ...]
    not_on_it: tuple[tuple[str, str], ...]
    dealt_with: tuple[str, ...]


def under_list(
    connection: sqlite3.Connection,
    used: ListUsed,
    but: Collection[str],
) -> UnderList:
    """Return what a signature under the list stands for. Only a pair is passed of which nothing was entered
    since the list was printed: it is then as it was on the paper.

    Raises Refused for an exception that does not stand on the list: who mistyped it meant another pair.
    """
    listed = recheck_list(connection, today=used.day, rack=used.rack)  # as of its paper: a pass aged since
    check_printed(used, listed.head)
    on_it: list[str] = []
    others: list[tuple[str, str]] = []
    for row in listed.rows:
        newest = max((each.entry.seq for each in entries_about(connection, row.tag)), default=0)
        if row.entry > used.made_at_entry:
            others.append((row.tag, "came back after the list was printed"))
        elif newest > used.made_at_entry:
            others.append((row.tag, f"has an entry that is newer than the printed list (entry {newest})"))
        elif row.entry <= used.since_entry:
            others.append((row.tag, "stands on the list before, not on this supplement"))
        else:
            on_it.append(row.tag)
    later = read_standings(connection, where="max(look_entry, place_entry) > ?", args=(used.made_at_entry,))
    dealt_with = tuple(standing.tag for standing in later if _dealt_with(standing, used))
    for tag in but:
        if tag not in on_it and tag not in dealt_with:
            raise Refused(
                f"{tag} does not stand on list {used.list_id}",
                cure="nothing was entered: check the tag on the paper",
            )
    return UnderList(
        tags=tuple(tag for tag in on_it if tag not in but),
        excepted=tuple(tag for tag in on_it if tag in but),
        not_on_it=tuple(others),
        dealt_with=dealt_with,
    )


def _dealt_with(standing: Standing, used: ListUsed) -> bool:
    """Return whether it may have stood on the list, and what was found has been entered since."""
    came = max(standing.returned.entry, used.since_entry + 1)
    stopped = standing.place in (Place.HOLD, Place.IN_REPAIR, Place.QUARANTINE)
    return came <= used.made_at_entry < max(standing.look_entry, standing.since.entry if stopped else 0)
