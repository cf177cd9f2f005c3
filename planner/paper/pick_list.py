"""The pick list of a van's run: what is loaded in one shop and taken in at the other, each with a box."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Final

from fleet.base.days import day_text
from fleet.facts.holes import Side
from fleet.facts.pairs import planned_brake_text
from fleet.facts.tags import tag_order
from fleet.tables.snapshot import Fleet
from planner.paper.ink import ICE, INK, LABEL, READ, RULE, SMALL, SOFT, TITLE, WHITE
from planner.paper.pdf_writer import pdf_of
from planner.paper.shapes import Anchor, Face, Page
from planner.paper.sheet_frame import (
    Anchors,
    FramedSheet,
    anchors_of,
    framed,
    paper_named,
    signature_row,
    standing_cautions,
    tag_words,
)
from planner.paper.typeface import fitted, shortened
from planner.plan.after_moves import id_there
from planner.plan.chain import Chain, ChainMove, VanRun, VanThing, load_text, loads
from planner.plan.values import Plan, PlannedSet

_HEAD: Final = 40.0
_ROW: Final = 13.0
_SIGN: Final = 16.0
_BOX: Final = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PickRow:
    """A thing on the list: its tag as large as can be, where it stands, what it is, and what it is for."""

    name: str
    rack: str
    what: str
    serves: str


def pick_rows(
    fleets: Mapping[str, Fleet], moves: Sequence[ChainMove], plans: Mapping[str, Plan], run: VanRun
) -> tuple[PickRow, ...]:
    """The things that a run takes along: pairs by rack, then boots, then bindings by sort.

    ``plans``: by shop, of what each thing serves there; none of a shop that things only go home to.
    """
    sender = fleets[run.leaves]
    sets = plans[run.reaches].sets if run.reaches in plans else ()
    mine = [move for move in moves if move.run == run.name]
    rows = [_pair_row(sender, sets, m.names[0]) for m in mine if m.thing is VanThing.PAIR]
    rows.sort(key=lambda row: (tag_order(row.rack), tag_order(row.name)))
    boots = sorted((m.names[0] for m in mine if m.thing is VanThing.BOOT), key=tag_order)
    rows += [_boot_row(sender, sets, name) for name in boots]
    kits = [_kit_row(sender, m.names, fleets[run.reaches].shop) for m in mine if m.thing is VanThing.BINDINGS]
    rows += sorted(kits, key=lambda row: (tag_order(row.what), tag_order(row.name)))
    return tuple(row if row.serves else replace(row, serves=f"home to {run.reaches}") for row in rows)


def _kit_row(sender: Fleet, names: Sequence[str], there: str) -> PickRow:
    """The two by their names here and there: a recall asks for them by number."""
    said = [sender.bindings[name] for name in names]
    first = said[0]
    called = [id_there(name, sender.shop, there) for name in names]
    serials = [n for b in said for n in (b.serial_toe, b.serial_heel) if n]
    return PickRow(
        name=names[0],
        rack="from the stock",
        what=f"{first.model}, pattern {first.pattern}, {planned_brake_text(first.brake_to_plan)}",
        serves="; ".join((f"with {names[-1]}", *serials, f"there called {' and '.join(called)}")),
    )


def _pair_row(sender: Fleet, sets: Sequence[PlannedSet], tag: str) -> PickRow:
    pair = sender.pairs[tag]
    on = sender.bindings_on(tag).get(Side.A)
    what = f"{pair.model}, {pair.length_mm / 10:g} cm, {on.model if on else 'flat, no binding on'}"
    serves = [f"for boots {s.boot}, {s.wish}" for s in sets if s.pair == tag]
    serves += [f"its binding for {s.pair}" for s in sets if s.binding_from == tag]
    return PickRow(name=tag, rack=pair.rack, what=what, serves="; ".join(serves))


def _boot_row(sender: Fleet, sets: Sequence[PlannedSet], tag: str) -> PickRow:
    boot = sender.boots[tag]
    size = "size not known" if boot.mondopoint_mm is None else f"size {boot.mondopoint_mm / 10:g}"
    serves = [f"on pair {s.pair}, {s.wish}" for s in sets if s.boot == tag]
    what = f"{boot.model}, {size}, sole {boot.sole_words}"
    return PickRow(name=tag, rack="boots", what=what, serves="; ".join(serves))


def pick_pdf(
    fleets: Mapping[str, Fleet],
    chain: Chain,
    moves: Sequence[ChainMove],
    plans: Mapping[str, Plan],
    *,
    printed_at: datetime,
    paper: str = "A4",
) -> bytes:
    """The lists of all runs that take anything along, each on pages of its own."""
    pages: list[Page] = []
    for run in chain.runs:
        rows = pick_rows(fleets, moves, plans, run)
        if rows:
            load = load_text(loads(chain, moves)[run.name])
            anchors = anchors_of(fleets[run.leaves], f"pick list {run.name}", printed_at=printed_at)
            pages += _pages(run, rows, load, anchors, paper)
    return pdf_of(pages, title="Pick lists")


def _pages(run: VanRun, rows: Sequence[PickRow], load: str, anchors: Anchors, paper: str) -> Iterator[Page]:
    probe = FramedSheet(paper_named(paper), proposal=True)
    probe.keep_foot([standing_cautions()])
    each = max(1, int((probe.bottom - _SIGN - probe.top - _HEAD) / _ROW))
    parts = [rows[start : start + each] for start in range(0, len(rows), each)]
    for number, part in enumerate(parts, start=1):
        sheet = framed(paper_named(paper), anchors, [standing_cautions()], number, len(parts), proposal=True)
        _head(sheet, run, load)
        for index, row in enumerate(part):
            _row(sheet, row, sheet.top + _HEAD + index * _ROW, banded=index % 2 == 0)
        cells = ((f"loaded in {run.leaves}: name, day", 0.5), (f"taken in at {run.reaches}: name, day", 0.5))
        signature_row(sheet, _SIGN - 2.0, cells)
        yield sheet.page(sheet.width, sheet.height)


def _head(sheet: FramedSheet, run: VanRun, load: str) -> None:
    y = sheet.top
    sheet.words(sheet.left, y + 8.2, "Pick list", size=TITLE + 6, face=Face.BOLD)
    title = shortened(f"{run.leaves} to {run.reaches}", Face.BOLD, TITLE, sheet.room - 30)
    sheet.words(sheet.left, y + 15.0, title, size=TITLE, face=Face.BOLD)
    sheet.words(sheet.right, y + 8.2, day_text(date.fromisoformat(run.day)), size=READ, anchor=Anchor.END)
    sheet.words(sheet.left, y + 20.5, load, size=READ)
    sheet.line(sheet.left, y + 23.0, sheet.right, y + 23.0, stroke=INK, width=0.9)
    rule = "What is on hold, out, at the bench or not here stays: enter it with `chain send --but TAG`."
    sheet.words(sheet.left, y + 27.6, rule, size=READ - 1.5, face=Face.BOLD)
    typed = f'typed when it leaves, and there with receive: mountbook chain send FOLDER --run "{run.name}"'
    typed = shortened(typed, Face.MONO, LABEL, sheet.room)
    sheet.words(sheet.left, y + 31.6, typed, size=LABEL, face=Face.MONO)
    sheet.words(sheet.left, y + _HEAD - 2.0, "loaded", size=LABEL, fill=SOFT)
    sheet.words(sheet.left + 14, y + _HEAD - 2.0, "tag, and where it stands", size=LABEL, fill=SOFT)
    sheet.words(sheet.left + 70, y + _HEAD - 2.0, "what it is, and what it is for", size=LABEL, fill=SOFT)
    sheet.words(sheet.right, y + _HEAD - 2.0, "taken in", size=LABEL, fill=SOFT, anchor=Anchor.END)


def _row(sheet: FramedSheet, row: PickRow, y: float, *, banded: bool) -> None:
    if banded:
        sheet.box(sheet.left, y, sheet.room, _ROW, fill=ICE)
    for x in (sheet.left + 2, sheet.right - 2 - _BOX):
        sheet.box(x, y + (_ROW - _BOX) / 2, _BOX, _BOX, fill=WHITE, stroke=RULE, width=0.5)
    tag_words(sheet, sheet.left + 14, y + 7.6, row.name, size=TITLE, room=40)
    if row.rack:
        rack = shortened(row.rack, Face.SANS, LABEL + 1, 50)
        sheet.words(sheet.left + 14, y + 11.4, rack, size=LABEL + 1, fill=SOFT)
    room = sheet.room - 70 - _BOX - 6
    sheet.words(sheet.left + 70, y + 5.2, shortened(row.what, Face.SANS, READ, room), size=READ)
    fitted(
        sheet,
        sheet.left + 70,
        y + 10.4,
        row.serves,
        size=READ - 1.5,
        room=room,
        least=SMALL,
        fill=SOFT,
        cut=True,
    )
