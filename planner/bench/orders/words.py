"""The end of an order in words: what was plugged, drilled, mounted and glued, and what stops the pair."""

from __future__ import annotations

from collections.abc import Iterator

from fleet.base.days import time_text
from fleet.base.entries import utc_text
from fleet.base.units import counted
from planner.bench.orders.close import Closed, Plugged


def plugged_lines(first: Plugged, zone: str) -> Iterator[str]:
    """Yield what the first visit plugged, and when the filler has cured."""
    filler = first.filler.replace("_", " ")
    yield f"{first.order.name}: {counted(len(first.holes), 'hole')} of {first.order.tag} plugged, {filler}"
    if first.cured is None:
        name = f"cure_{first.filler}_hours"
        yield f"  NOT to be drilled: nobody has said how long it cures (mountbook policy set {name})"
    else:
        yield f"  drill and screw NOT BEFORE {time_text(utc_text(first.cured), zone)}"


def closed_lines(closed: Closed) -> Iterator[str]:
    """Yield where the pair is now, what was done to it, and why it is stopped."""
    yield (
        f"{closed.order.name}: {closed.order.tag} is {closed.place.words};"
        f" {counted(len(closed.drilled), 'hole')} drilled, {len(closed.plugged)} plugged"
    )
    if closed.glued_with:
        glue = ", ".join(word.replace("_", " ") for word in closed.glued_with)
        yield f"  in its holes: {glue}{closed.hour}"
    if closed.hold:
        yield f"  HOLD: {closed.hold}"
    elif closed.place.value == "second check":
        yield "  a second person looks at it before it can go out:"
        yield f"  mountbook prep sign {closed.order.tag} --all not-moved --by NAME"
