"""Season prep of one pair on one page: four parts of at most nine, each with a name under it.

What is asked is common practice of the trade, no source. Where the ledger knows a value it stands small in
the answer box's corner, so that a difference shows; nothing is answered with a tick where a value exists.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Final

from fleet.base.errors import BadInput
from fleet.base.units import length_text, mm_text, toward
from fleet.facts.holes import HoleState, Side
from fleet.facts.notes import in_short, on_pair
from fleet.facts.pairs import Binding, Pair, Ski, brake_text
from fleet.tables.snapshot import Fleet
from planner.paper.pdf_writer import pdf_of
from planner.paper.shapes import INK, LABEL, READ, SMALL, SOFT, TITLE, WHITE, Anchor, Face, Page
from planner.paper.sheet_frame import (
    Anchors,
    FramedSheet,
    Paper,
    anchors_of,
    framed,
    note_lines,
    paper_named,
    signature_row,
    standing_cautions,
    tag_head,
)
from planner.paper.typeface import paragraph, shortened, size_that_fits, wrapped

_EXPECTED_LINES: Final = 4
"""The end of a tag tells more than its beginning, and the letter of the ski comes last."""
MOST_ITEMS: Final = 9
_BOX: Final = 18.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One thing to look at. ``expects``: the ledger's value for ski A and ski B; one box if ``whole``."""

    ask: str
    expects: tuple[str, ...] = ("", "")
    whole: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """At most nine items and one signature."""

    title: str
    items: tuple[Item, ...]

    def __post_init__(self) -> None:
        if not 1 <= len(self.items) <= MOST_ITEMS:
            raise ValueError(f"section {self.title} has {len(self.items)} items")


def prep_pair_pdf(
    fleet: Fleet,
    tags: Sequence[str],
    *,
    printed_at: datetime,
    paper: str = "A4",
) -> bytes:
    """One page a pair.

    Raises BadInput for no tags, Refused for an unknown one.
    """
    if not tags:
        raise BadInput("there is no pair to prepare", cure="name the pairs")
    anchors = anchors_of(fleet, "season prep, pair", printed_at=printed_at)
    return pdf_of(_pages(fleet, tags, anchors, paper_named(paper)), title="Season prep, pairs")


def _pages(fleet: Fleet, tags: Sequence[str], anchors: Anchors, paper: Paper) -> Iterator[Page]:
    for tag in tags:
        pair = fleet.pair(tag)
        sheet = framed(paper, anchors, [standing_cautions()])
        bindings = fleet.bindings_on(tag)
        ids = [b.binding_id for b in bindings.values()]
        noted = in_short(on_pair(fleet.notes, tag, binding_ids=ids), tag=tag)
        y = note_lines(sheet, [*filter(None, [pair.stands_at, noted])], _head(sheet, pair))
        _cards(sheet, sections_of(pair, bindings), y + 3.5)
        yield sheet.page(sheet.width, sheet.height)


def sections_of(pair: Pair, bindings: Mapping[Side, Binding]) -> tuple[Section, ...]:
    """The four parts of this pair, with what the ledger knows."""
    mount = pair.current_mount
    mounted = "" if mount is None or mount.set_words else f"{mm_text(mount.stands_for_um)} mm"
    waist = (mm_text(pair.waist_um),) * 2 if pair.waist_um is not None else ("not known",) * 2
    return (
        Section(
            title="1  The skis",
            items=(
                Item(ask="Tag and letter read on the ski", expects=_read_tags(pair.tag)),
                Item(ask="Base and edges: what was found"),
                Item(ask="Top sheet, tip, tail: cracks, opening layers"),
                Item(ask="Mark to tail, ruler laid flat, mm", expects=_sides(pair, _tail)),
                Item(ask="Waist, mm", expects=waist),
            ),
        ),
        Section(
            title="2  Screws and holes",
            items=(
                Item(ask="Screws in the ski", expects=_sides(pair, partial(_count, HoleState.SCREWED))),
                Item(ask="Screws that moved, by hand: one is a HOLD", expects=("0", "0")),
                Item(ask="Screws with worn or wrong heads", expects=("0", "0")),
                Item(ask="Open holes: sealed today", expects=_sides(pair, partial(_count, HoleState.OPEN))),
                Item(ask="Pieces wobbled by hand: play", expects=("none", "none")),
            ),
        ),
        Section(
            title="3  The binding",
            items=(
                Item(ask="Model on the ski", expects=_each(bindings, lambda b: b.model)),
                Item(ask="Serial or date code, toe", expects=_each(bindings, lambda b: b.serial_toe)),
                Item(ask="Serial or date code, heel", expects=_each(bindings, lambda b: b.serial_heel)),
                Item(ask="Brake, mm: opens, closes, clears", expects=_each(bindings, _brake)),
                Item(ask="Bodies, wear parts, springs: what was found"),
            ),
        ),
        Section(
            title="4  With the boot",
            items=(
                Item(
                    ask="Boot tag, and sole length READ ON THE BOOT, mm",
                    expects=(mounted, ""),
                    whole=True,
                ),
                Item(
                    ask="Boot centre from the mark",
                    expects=(toward(mount.offset_um) if mount is not None else "no binding", ""),
                    whole=True,
                ),
                Item(ask="Heel back until free, up to the boot, boot in: scale reading"),
                Item(ask="In and out by hand, three times: what was felt"),
                Item(ask="Release test, if it has one: device, date, result. Recorded, never computed"),
            ),
        ),
    )


def _sides(pair: Pair, value: Callable[[Ski], str]) -> tuple[str, ...]:
    return tuple(value(pair.skis[side]) for side in Side)


def _tail(ski: Ski) -> str:
    tail = ski.mark_from_tail_um
    return "not known" if tail is None else length_text(tail)


def _count(state: HoleState, ski: Ski) -> str:
    """Return how many holes are in this state; where nobody looked, none on record does not mean none."""
    found = sum(hole.state is state for hole in ski.holes)
    return str(found) if found or ski.inspected else "not known"


def _each(bindings: Mapping[Side, Binding], value: Callable[[Binding], str]) -> tuple[str, ...]:
    return tuple(
        (value(bindings[side]) or "not recorded") if side in bindings else "no binding" for side in Side
    )


def _read_tags(tag: str) -> tuple[str, str]:
    """Return the words to be read on each ski; a tag that would fill the box stands in the head alone."""
    said = tag if len(tag) <= 30 else "tag as above,"
    return (f"{said} A", f"{said} B")


def _brake(binding: Binding) -> str:
    return brake_text(binding.brake_um, lead="", unit="")


def _head(sheet: FramedSheet, pair: Pair) -> float:
    facts = f"{pair.model} · {mm_text(pair.length_mm * 100)} cm" + (
        f" · rack {pair.rack}" if pair.rack else ""
    )
    facts = shortened(facts, Face.SANS, READ, sheet.room - 75)
    sheet.words(sheet.left + 20.5, sheet.top + 16.6, facts, size=READ)
    right = (
        (7.0, "Season prep", TITLE, Face.BOLD),
        (12.4, f"stands {pair.place}", READ, Face.BOLD),
        (16.6, "one value that is off: HOLD", 9.5, Face.BOLD),
    )
    return tag_head(sheet, pair.tag, pair.tag, room=sheet.room - 82, right=right)


def _cards(sheet: FramedSheet, sections: Sequence[Section], top: float) -> None:
    gap = 4.0
    w = (sheet.room - gap) / 2
    h = (sheet.bottom - top - gap - 15.0) / 2
    for index, section in enumerate(sections):
        x = sheet.left + (index % 2) * (w + gap)
        y = top + (index // 2) * (h + gap)
        _card(sheet, section, x, y, w, h)
    signed = "signed, a person of the staff list: name, time"
    signature_row(sheet, 13.0, (("PASS", 0.1), ("HOLD", 0.1), ("why", 0.4), (signed, 0.4)))


def _card(sheet: FramedSheet, section: Section, x: float, y: float, w: float, h: float) -> None:
    sheet.box(x, y, w, h, fill=WHITE, stroke=INK, width=0.5, radius=1.5)
    sheet.words(x + 3, y + 6.2, section.title, size=13, face=Face.BOLD)
    boxes = x + w - 2 * _BOX - 4.0
    for index, side in enumerate(Side):
        at = boxes + index * (_BOX + 1.5) + _BOX / 2
        sheet.words(at, y + 6.0, f"ski {side}", size=LABEL, face=Face.BOLD, anchor=Anchor.MIDDLE)
    top, sign = y + 8.5, 10.5
    row = (h - 8.5 - sign) / len(section.items)
    for index, item in enumerate(section.items):
        _item(sheet, item, x + 3, top + index * row, boxes, row)
    base = y + h - 3.0
    sheet.words(x + 3, base, "done by, time", size=LABEL, fill=SOFT)
    sheet.line(x + 22, base, x + w - 3, base, stroke=SOFT, width=0.25)


def _item(sheet: FramedSheet, item: Item, x: float, y: float, boxes: float, row: float) -> None:
    lines = wrapped(item.ask, Face.SANS, 9.5, boxes - x - 2)
    start = y + row / 2 - (len(lines) - 1) * 2.0 + 1.2
    paragraph(sheet, x, start, item.ask, size=9.5, room=boxes - x - 2, step=4.0)
    widths = (2 * _BOX + 1.5,) if item.whole else (_BOX, _BOX)
    for index, width in enumerate(widths):
        left = boxes + index * (_BOX + 1.5)
        sheet.box(left, y + 0.9, width, row - 1.8, fill=WHITE, stroke=INK, width=0.3, radius=0.8)
        text = item.expects[index]
        size = size_that_fits(text, Face.SANS, SMALL, width - 1.6, least=SMALL)
        lines = wrapped(text, Face.SANS, size, width - 1.4)
        for above, line in enumerate(reversed(lines[-_EXPECTED_LINES:])):
            base = y + row - 1.9 - above * size * 0.42
            sheet.words(left + width - 0.9, base, line, size=size, fill=SOFT, anchor=Anchor.END)
