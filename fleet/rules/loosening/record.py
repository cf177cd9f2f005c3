"""The looks of the ledger as counts and spans. One look is one recheck of one pair."""

import json
import sqlite3
from collections import Counter, defaultdict
from enum import StrEnum

from fleet.rules.loosening.rates import Rate, Verdict, rates
from fleet.rules.loosening.survival import Span
from fleet.tables.snapshot import read_policy

UNKNOWN = "(not recorded)"


class By(StrEnum):
    """The fact by which looks are grouped."""

    PATTERN = "pattern"
    MODEL = "model"
    CONSTRUCTION = "construction"
    GLUE = "glue"
    SEASON = "season"
    JIG = "jig"


_SIMPLE = {
    By.PATTERN: "SELECT pattern, sum(moved), count(*) FROM look GROUP BY pattern",
    By.MODEL: "SELECT pair.model, sum(moved), count(*) FROM look JOIN pair USING (tag) GROUP BY pair.model",
    By.CONSTRUCTION: "SELECT construction, sum(moved), count(*) FROM look JOIN pair USING (tag)"
    " GROUP BY construction",
    By.SEASON: "SELECT season, sum(moved), count(*) FROM look JOIN binding ON on_pair = look.tag"
    " AND on_ski = 'A' GROUP BY season",
}


def counts(connection: sqlite3.Connection, by: By) -> dict[str, tuple[int, int]]:
    """Return (moved, looks) of each group. Unrecorded values are a group of their own."""
    if by in _SIMPLE:
        found: dict[str, tuple[int, int]] = {}
        for name, moved, looks in connection.execute(_SIMPLE[by]):
            before = found.get(name or UNKNOWN, (0, 0))
            found[name or UNKNOWN] = (before[0] + moved, before[1] + looks)
        return found
    return _by_order(connection, "glued_with" if by is By.GLUE else "jig")


def _by_order(connection: sqlite3.Connection, field: str) -> dict[str, tuple[int, int]]:
    """Group by a fact of the mount's work order: the glue in its holes, or the jig that was used."""
    named = {
        seq: json.loads(body).get(field)
        for seq, body in connection.execute("SELECT seq, body FROM entries WHERE what = 'order done'")
    }
    moved: Counter[str] = Counter()
    looks: Counter[str] = Counter()
    for mount, hits, times in connection.execute(
        "SELECT mount_entry, sum(moved), count(*) FROM look GROUP BY mount_entry"
    ):
        said = named.get(mount)
        name = ", ".join(said) if isinstance(said, list) else said
        moved[name or UNKNOWN] += hits
        looks[name or UNKNOWN] += times
    return {name: (moved[name], looks[name]) for name in looks}


def loosening_rates(connection: sqlite3.Connection, by: By) -> tuple[Rate, ...]:
    """The rates of one grouping, the worst first."""
    weight = read_policy(connection).count("loosening_prior_weight")
    return rates(counts(connection, by), weight=weight)


def worse_patterns(connection: sqlite3.Connection) -> dict[str, str]:
    """Patterns whose record is worse than the rest of the fleet's, with the counts as a remark."""
    return {
        rate.group: f"{rate.group}: moved at {rate.moved} of {rate.looks} looks"
        for rate in loosening_rates(connection, By.PATTERN)
        if rate.verdict is Verdict.WORSE
    }


def spans(connection: sqlite3.Connection) -> list[Span]:
    """Return one span for each mount ever looked at: days out to its first movement, or to its last look."""
    looks: dict[str, list[tuple[int, int, int]]] = defaultdict(list)
    for tag, mount, days, moved in connection.execute(
        "SELECT tag, mount_entry, days_out, moved FROM look ORDER BY entry"
    ):
        looks[tag].append((mount, days, moved))
    found = []
    for rows in looks.values():
        begun = 0
        for mount in dict.fromkeys(row[0] for row in rows):
            own = [row for row in rows if row[0] == mount]
            first = next((days for _, days, moved in own if moved), None)
            last = own[-1][1]
            found.append(Span(days=(last if first is None else first) - begun, moved=first is not None))
            begun = last
    return found
