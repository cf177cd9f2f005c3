"""The tag that hangs on a held or locked-away pair: A6, readable from the other side of the bench."""

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from fleet.base.days import time_text
from fleet.base.entries import Head
from fleet.base.errors import Refused
from fleet.base.program import program
from fleet.facts.fault_causes import ROADS, RoadRule, road_of
from fleet.facts.standing import Place, Standing, read_standing, read_standings
from fleet.ledger.ledger import read_entries
from planner.paper.shapes import (
    GARNET,
    SMALL,
    SOFT,
    WHITE,
    Anchor,
    Drawing,
    Face,
    Page,
    fitted,
    paragraph,
    shortened,
)
from planner.paper.sheet_frame import (
    HEAD_CODE_MM,
    answer_box,
    box_label,
    head_code,
    moment_text,
    pdf_of,
    qr_code,
    shown_head,
    tag_words,
)

_WIDTH: Final = 105.0
_HEIGHT: Final = 148.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldTag:
    """The facts on a hold tag. ``locked``: a quarantine: nothing is touched; ``rule``: what ends it;
    ``head``: with its whole hash.
    """

    tag: str
    model: str
    locked: bool
    rule: RoadRule
    cause: str
    since: str
    by: str
    head: str


def hold_tag_pdf(tags: tuple[HoldTag, ...], *, zone: str, printed_at: datetime) -> bytes:
    """Return two tags a pair, one for each ski. A6, upright."""
    printed = moment_text(printed_at, zone)
    return pdf_of((_page(tag, ski, printed) for tag in tags for ski in "AB"), title="Hold tags")


def _page(tag: HoldTag, ski: str, printed: str) -> Page:
    d = Drawing()
    d.box(0, 0, _WIDTH, 34, fill=GARNET)
    d.disc(_WIDTH / 2, 8, 3.2, fill=WHITE)
    word = "LOCKED AWAY" if tag.locked else "HOLD"
    fitted(
        d, _WIDTH / 2, 28, word, size=44, room=_WIDTH - 12, least=20, face=Face.BOLD, fill=WHITE,
        anchor=Anchor.MIDDLE,
    )  # fmt: skip
    d.add(qr_code(tag.tag, 8, 40, 15))
    tag_words(d, 28, 51, tag.tag, size=34, room=58, face=Face.BOLD)
    d.words(_WIDTH - 8, 51, ski, size=30, face=Face.BOLD, anchor=Anchor.END)
    d.words(28, 57, shortened(tag.model, Face.SANS, 9, _WIDTH - 36), size=9, fill=SOFT)
    paragraph(d, 8, 68, tag.cause, size=13, room=_WIDTH - 16, step=6, face=Face.BOLD, most=4)
    d.words(8, 92, f"since {tag.since}, by {tag.by}", size=8.5, fill=SOFT)
    paragraph(d, 8, 100, tag.rule.on_tag, size=11, room=_WIDTH - 16, step=5)
    for column, label in enumerate(tag.rule.boxes):
        x = 8 + column * 46
        box_label(d, x, 115, label)
        answer_box(d, x, 117, 43, 13)
    code = _WIDTH - 8 - HEAD_CODE_MM
    d.add(qr_code(head_code(tag.head), code, 131.5, HEAD_CODE_MM))
    said = f"ledger {shown_head(tag.head)} · printed {printed} · {program()}"
    paragraph(d, 8, 139, said, size=SMALL, room=code - 8 - 2, step=3, face=Face.MONO, fill=SOFT)
    return replace(d.page(_WIDTH, _HEIGHT), head=tag.head)


def held_tags(connection: sqlite3.Connection, tags: Sequence[str]) -> tuple[HoldTag, ...]:
    """Return the tags of these pairs, or of all held ones. Raises Refused for a pair that is not held."""
    if tags:
        found = tuple(read_standing(connection, tag) for tag in tags)
        free = [standing.tag for standing in found if not (standing.hold_why or standing.quarantine_why)]
        if free:
            raise Refused(
                f"{', '.join(free)} is not held", cure='hold it first: mountbook hold TAG --why "..."'
            )
    else:
        held = (Place.HOLD.value, Place.QUARANTINE.value)
        found = read_standings(connection, where="place IN (?, ?)", args=held)
        if not found:
            raise Refused("nothing is held", cure="there is no tag to hang")
    head = Head(*connection.execute("SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1").fetchone())
    return tuple(_tag(connection, standing, head) for standing in found)


def _tag(connection: sqlite3.Connection, standing: Standing, head: Head) -> HoldTag:
    locked = bool(standing.quarantine_why)
    entry = standing.quarantine_entry if locked else standing.hold_entry
    (stopped,) = read_entries(connection, after=entry - 1, until=entry)
    model = connection.execute("SELECT model FROM pair WHERE tag = ?", (standing.tag,)).fetchone()[0]
    return HoldTag(
        tag=standing.tag,
        model=model,
        locked=locked,
        rule=ROADS[road_of(standing)],
        cause=standing.quarantine_why if locked else standing.hold_why,
        since=time_text(stopped.stated_at_utc, stopped.zone),
        by=stopped.by,
        head=head.full,
    )
