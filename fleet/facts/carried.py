"""The stops of a ski, as they go along from one record of it to another: a stop belongs to the ski.

Single skis made a new pair, a file written by `export`, a ledger that a restore replaces: each is another
record of a ski that may be stopped. The body made here is that of ``pair carried over``.
"""

import json
from collections.abc import Iterable, Mapping
from typing import Any, Final

from fleet.base.entries import Body
from fleet.facts.standing import Place

_QUARANTINE: Final = Place.QUARANTINE.value
BENCH: Final = "stopped at the bench"
"""The stops that only a head technician ends (`fleet.rules.holds.clear_hold`)."""
STOPS: Final = {
    _QUARANTINE: "quarantine_entry",
    Place.IN_REPAIR.value: "repair_entry",
    BENCH: "stop_entry",
    Place.HOLD.value: "hold_entry",
    Place.SECOND_CHECK.value: "second_check",
}
"""The stops of a pair, in words, each with the column of `standing` that says so."""
PEOPLE: Final = ("workers", "finders", "cleared_by")
"""Columns of `standing` with names as JSON: who may not pass the pair, or not lift its hold alone."""
STOP_COLUMNS: Final = tuple(STOPS.values())


def stops_of(standing: Mapping[str, Any]) -> tuple[str, ...]:
    """Return what stops a pair, in words, from its row of `standing`; a pair that is out or away may be
    stopped.
    """
    return tuple(word for word, column in STOPS.items() if standing[column])


ORDER, GLUE = "work order ", "glue "
"""The first words of a stop that is no column of `standing`, in the cell that goes along."""


def glue_words(adhesive: str, at: str) -> str:
    """Glue that may not have cured, in that cell."""
    return f"{GLUE}{adhesive} of {at}"


def glue_said(words: str) -> tuple[str, str]:
    """Return adhesive and time of `glue_words`; a time that is none counts as not known at the door."""
    adhesive, _, at = words[len(GLUE) :].partition(" of ")
    return adhesive.strip().casefold().replace(" ", "_"), at.strip()


_HANDS: Final = {
    "workers": "worked on by ",
    "finders": "fault found by ",
    "cleared_by": "hold lifted by ",
}
"""The first words of a person in that cell, by the column of `standing`."""


def people_of(standing: Mapping[str, Any]) -> tuple[str, ...]:
    """Return who may not pass a pair or not lift its hold alone, each as a part of that cell.

    The sign between its parts is written ``%3B`` in a name, and the percent sign ``%25``.
    """
    return tuple(
        f"{first}{str(name).replace('%', '%25').replace(';', '%3B')}"
        for column, first in _HANDS.items()
        for name in json.loads(standing[column])
    )


def people_said(parts: Iterable[str]) -> Body:
    """Return the names in such parts by their column; what is no such part is left alone."""
    names: dict[str, list[str]] = {}
    for part in parts:
        for column, first in _HANDS.items():
            if part.casefold().startswith(first):
                name = part[len(first) :].replace("%3B", ";").replace("%25", "%")
                names.setdefault(column, []).append(name)
    return dict(names)


def carried_body(tag: str, stops: Iterable[str], *, source: str) -> Body:
    """The body for a pair of which another record says that these stop it.

    A quarantine stays one, and so does what the bench stopped; whatever else stopped it (a repair begun, a
    second check) is a hold, which a listed person lifts: who had begun the work, and on what, is in the other
    record.
    """
    words = list(stops)
    return {
        "tag": tag,
        "from": source,
        "stops": "; ".join(words),
        "quarantine": _QUARANTINE in words,
        "hold": any(word not in (_QUARANTINE, BENCH) for word in words),
        **({"bench": True} if BENCH in words else {}),
    }


def quarantine_apart(stops: Iterable[str]) -> list[list[str]]:
    """Return the quarantine and whatever else stops a pair apart, since the entry of each has its own cause.

    One part without a stop where nothing stops it.
    """
    words = list(stops)
    parts = ([w for w in words if w == _QUARANTINE], [w for w in words if w != _QUARANTINE])
    return [part for part in parts if part] or [[]]


def carried_work(standing: Mapping[str, Any]) -> Body:
    """Return what else goes along with a ski: who may not clear or pass it, and glue that may not be dry."""
    return {
        **{key: json.loads(standing[key]) for key in PEOPLE},
        "glued_at": standing["glued_at"],
        "glued_with": json.loads(standing["glued_with"]),
    }
