"""The season prep checklist: nine pairs a page, values in place of ticks, two names under each nine.

Or one pair on one page: four parts of at most nine, each with a name under it. Where the ledger knows a value
it stands small in the answer box's corner, so that a difference shows.

Its sign-off gives a pair its first pass of the season. What the columns ask is common practice of the trade,
no source, except where a note names one.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from itertools import accumulate
from typing import Final

from fleet.base.errors import BadInput
from fleet.base.units import length_text, mm_text, toward
from fleet.facts.boots import Boot
from fleet.facts.holes import HoleState, Side
from fleet.facts.notes import in_short, on_pair
from fleet.facts.pairs import Binding, Pair, Ski, brake_text
from fleet.facts.tags import tag_order
from fleet.tables.snapshot import Fleet
from planner.paper.shapes import (
    GARNET,
    ICE,
    INK,
    LABEL,
    READ,
    RULE,
    SMALL,
    SOFT,
    TITLE,
    WHITE,
    Anchor,
    Face,
    Page,
    fitted,
    paragraph,
    shortened,
    size_that_fits,
    stacked,
    width_mm,
    wrapped,
)
from planner.paper.sheet_frame import (
    Anchors,
    FramedSheet,
    Paper,
    anchors_of,
    framed,
    note_lines,
    paper_named,
    pdf_of,
    qr_code,
    signature_row,
    standing_cautions,
    tag_drop,
    tag_head,
    tag_words,
)
from planner.plan.plan_words import notes_of
from planner.plan.values import PlannedSet, Rung

ROWS_A_PAGE: Final = 9
_HEAD: Final = 37.0
_SIGN_ROW: Final = 14.0
_NAMES: Final = 50.0
_RACK: Final = 13.0
_RACK_LINE: Final = 2.3

_COLUMNS: Final = (
    ("screws A", "that moved", 15.5),
    ("screws B", "that moved", 15.5),
    ("edges, base,", "top sheet", 17.0),
    ("brake", "over waist", 16.0),
    ("sole, read", "on the boot", 17.0),
    ("pieces set,", "boot in", 14.0),
    ("release test", "device, who", 0.0),
    ("PASS", "", 10.5),
    ("HOLD", "", 10.5),
)


def prep_pdf(
    fleet: Fleet,
    sets: Sequence[PlannedSet],
    *,
    printed_at: datetime,
    plan_hash: str = "",
    proposal: bool = False,
    paper: str = "A4",
    standing: str = "",
) -> bytes:
    """The checklist of these sets, by rack and tag. Raises BadInput where there is nothing to check.

    ``standing``: what is to be said of the plan, where it is not proved best.
    """
    if not sets:
        raise BadInput("there is no pair to prepare", cure="plan sets first: mountbook plan")
    ordered = sorted(sets, key=lambda s: (tag_order(fleet.pair(s.pair).rack), tag_order(s.pair)))
    anchors = anchors_of(fleet, "season prep", printed_at=printed_at, plan_hash=plan_hash)
    pages = _pages(fleet, ordered, anchors, paper_named(paper), proposal, standing)
    return pdf_of(pages, title="Season prep checklist")


def _pages(
    fleet: Fleet,
    sets: Sequence[PlannedSet],
    anchors: Anchors,
    paper: Paper,
    proposal: bool,
    standing: str,
) -> Iterator[Page]:
    parts = [sets[start : start + ROWS_A_PAGE] for start in range(0, len(sets), ROWS_A_PAGE)]
    for number, part in enumerate(parts, start=1):
        sheet = framed(paper, anchors, [standing_cautions()], number, len(parts), proposal=proposal)
        said = f"of {len(parts)} pages · {len(sets)} pairs" + (f" · plan: {standing}" if standing else "")
        _head(sheet, fleet, part, number, said)
        top = sheet.top + _HEAD
        row_h = min(22.0, (sheet.bottom - _SIGN_ROW - 3.0 - top) / ROWS_A_PAGE)
        for index, planned in enumerate(part):
            pair, boot = fleet.pair(planned.pair), fleet.boot(planned.boot)
            noted = notes_of(fleet, planned)
            _row(sheet, pair, boot, planned, noted, top + index * row_h, row_h, banded=index % 2 == 0)
        cells = (
            (f"these {len(part)}: passed", 0.14),
            ("held", 0.10),
            ("not found", 0.12),
            ("done by: name, date, time", 0.32),
            ("seen by ANOTHER person: name, time", 0.32),
        )
        signature_row(sheet, _SIGN_ROW, cells)
        yield sheet.page(sheet.width, sheet.height)


def _head(sheet: FramedSheet, fleet: Fleet, part: Sequence[PlannedSet], number: int, said: str) -> None:
    y = sheet.top
    room = sheet.room - width_mm(f"  {said}", Face.SANS, 9)
    shop = shortened(fleet.shop, Face.BOLD, READ, room * 0.6)
    racks = sorted({fleet.pair(planned.pair).rack for planned in part} - {""}, key=tag_order)
    if racks:
        span = racks[0] if len(racks) == 1 else f"{racks[0]} to {racks[-1]}"
        shift = width_mm(shop + "   ", Face.BOLD, READ)
        told = shortened(f"racks {span}", Face.SANS, READ, room - shift)
        sheet.words(sheet.left + shift, y + 14.2, told, size=READ)
    stacked(
        sheet,
        sheet.right,
        y,
        ((9.0, f"{number}", 30, Face.BOLD, INK), (14.2, said, 9, Face.SANS, SOFT)),
        anchor=Anchor.END,
    )
    sheet.line(sheet.left, y + 16.8, sheet.right, y + 16.8, stroke=INK, width=0.9)
    rule = "Read, do, write what you found. One screw that moves, one value that is off: HOLD, both skis."
    stacked(
        sheet,
        sheet.left,
        y,
        (
            (8.2, "Season prep", TITLE + 6, Face.BOLD, INK),
            (14.2, shop, READ, Face.BOLD, INK),
            (21.8, rule, READ - 0.5, Face.BOLD, INK),
        ),
    )
    note = (
        "The sole length is read on the boot, never taken from the size. Release tests only by a qualified "
        "person on an approved device, recorded here, never computed."
    )
    fitted(sheet, sheet.left, y + 25.6, note, size=8, room=sheet.room, least=SMALL)
    base = y + _HEAD - 4.6
    sheet.words(sheet.left, base + 3.0, "pair, and its boot", size=LABEL, fill=SOFT)
    for (upper, lower, _), (x, w) in zip(_COLUMNS, _columns(sheet), strict=True):
        stacked(
            sheet,
            x + w / 2,
            base,
            ((0.0, upper, LABEL, Face.BOLD, INK), (3.0, lower, SMALL, Face.SANS, SOFT)),
            anchor=Anchor.MIDDLE,
        )
    sheet.line(sheet.left, y + _HEAD, sheet.right, y + _HEAD, stroke=INK, width=0.5)


def _columns(sheet: FramedSheet) -> list[tuple[float, float]]:
    """Left and width of each answer column; the release test takes what is left over."""
    spare = sheet.room - _NAMES - sum(width for *_, width in _COLUMNS)
    widths = [width or spare for *_, width in _COLUMNS]
    return list(zip(accumulate(widths[:-1], initial=sheet.left + _NAMES), widths, strict=True))


def _row(
    sheet: FramedSheet,
    pair: Pair,
    boot: Boot,
    planned: PlannedSet,
    noted: str,
    y: float,
    h: float,
    *,
    banded: bool,
) -> None:
    if banded:
        sheet.box(sheet.left, y, sheet.room, h, fill=ICE)
    sheet.add(qr_code(pair.tag, sheet.left + 1.4, y + 1.6, min(10.5, h - 6.0)))
    x = sheet.left + 15.0
    room = _NAMES - 16.0
    low = tag_drop(pair.tag, room)
    tag_words(sheet, x, y + 5.4 + low, pair.tag, size=15, room=room)
    text = f"boot {boot.tag}"
    small = size_that_fits(text, Face.BOLD, 9.5, room, least=SMALL)
    lines = wrapped(text, Face.BOLD, small, room)[:3]
    crowded = low > 0 or len(lines) > 1  # by a long tag; then a note stands in the model's place
    model = f"{mm_text(pair.length_mm * 100)} cm · {pair.model}"
    under = noted if noted and crowded else model
    if pair.stands_at:
        said = f"{pair.stands_at}; {noted}" if noted and crowded else pair.stands_at
        stands = wrapped(said, Face.BOLD, SMALL, room, most=2 if crowded else 3)
        for below, line in enumerate(stands):
            sheet.words(x, y + 7.5 + low + 2.1 * below, line, size=SMALL, face=Face.BOLD)
        low, small = (low + 1.4, min(small, 7.5)) if len(stands) > 2 else (low + 0.6, small)
    else:
        sheet.words(x, y + 8.6 + low, shortened(under, Face.SANS, 7.5, room), size=7.5, fill=SOFT)
    for below, line in enumerate(lines):
        sheet.words(x, y + 12.5 + low + 0.4 * small * below, line, size=small, face=Face.BOLD)
    if noted and not crowded:
        sheet.words(x, y + 16.3, shortened(noted, Face.BOLD, 7, room), size=7, face=Face.BOLD)
    _rack(sheet, pair.rack, y + h - 1.5, h)
    if planned.way.rung is not Rung.AS_IS:
        words = f"bench first: {planned.way.rung}"
        fitted(
            sheet, x, y + h - 1.5, words, size=7.5, room=room, least=SMALL, face=Face.BOLD,
            fill=GARNET, cut=True,
        )  # fmt: skip
    else:
        centre = f"centre {toward(planned.way.offset_um)}"
        sheet.words(x, y + h - 1.5, shortened(centre, Face.SANS, 7.5, room), size=7.5, fill=SOFT)
    screws = [len(planned.way.skis[side].holes) for side in Side]
    expected = (
        *(f"0 of {count}" if count else "0" for count in screws),
        "",
        _brake(pair, planned),
        boot.sole_words.partition(",")[0],
        "",
        "",
        "",
        "",
    )
    for (cx, w), text, (title, *_) in zip(_columns(sheet), expected, _COLUMNS, strict=True):
        if title in ("PASS", "HOLD"):
            side = min(8.5, h - 5)
            sheet.box(
                cx + (w - side) / 2,
                y + (h - side) / 2,
                side,
                side,
                fill=WHITE,
                stroke=INK,
                width=0.45,
                radius=0.8,
            )
            continue
        sheet.box(cx + 0.6, y + 1.2, w - 1.2, h - 2.4, fill=WHITE, stroke=INK, width=0.3, radius=0.8)
        fitted(
            sheet, cx + w - 1.5, y + h - 2.3, text, size=7.2, room=w - 2.6, least=SMALL, fill=SOFT,
            anchor=Anchor.END,
        )  # fmt: skip
    sheet.line(sheet.left, y + h, sheet.right, y + h, stroke=RULE, width=0.25)


def _rack(sheet: FramedSheet, rack: str, base: float, h: float) -> None:
    """Print the rack's name below the code, its last line at ``base``: large, or small on as many lines as
    there is room for.
    """
    large = width_mm(rack, Face.BOLD, 8) <= _RACK
    size = 8.0 if large else SMALL
    most = max(1, int((h - 1.6 - min(10.5, h - 6.0) - 1.5) / _RACK_LINE))
    for up, line in enumerate(reversed(wrapped(rack, Face.BOLD, size, _RACK, most=most))):
        sheet.words(sheet.left + 1.4, base - _RACK_LINE * up, line, size=size, face=Face.BOLD)


def _brake(pair: Pair, planned: PlannedSet) -> str:
    if planned.brake_um is None:
        return "no brake"
    waist = "?" if pair.waist_um is None else mm_text(pair.waist_um)
    return f"{mm_text(planned.brake_um) if isinstance(planned.brake_um, int) else '?'} / {waist}"


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
    return pdf_of(_pair_pages(fleet, tags, anchors, paper_named(paper)), title="Season prep, pairs")


def _pair_pages(fleet: Fleet, tags: Sequence[str], anchors: Anchors, paper: Paper) -> Iterator[Page]:
    for tag in tags:
        pair = fleet.pair(tag)
        sheet = framed(paper, anchors, [standing_cautions()])
        bindings = fleet.bindings_on(tag)
        ids = [b.binding_id for b in bindings.values()]
        noted = in_short(on_pair(fleet.notes, tag, binding_ids=ids), tag=tag)
        y = note_lines(sheet, [*filter(None, [pair.stands_at, noted])], _pair_head(sheet, pair))
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
                Item(
                    ask="Brake, mm: opens, closes, clears",
                    expects=_each(bindings, lambda b: brake_text(b.brake_um, lead="", unit="")),
                ),
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


def _pair_head(sheet: FramedSheet, pair: Pair) -> float:
    facts = f"{pair.model} · {mm_text(pair.length_mm * 100)} cm" + (
        f" · rack {pair.rack}" if pair.rack else ""
    )
    facts = shortened(facts, Face.SANS, READ, sheet.room - 75)
    sheet.words(sheet.left + 20.5, sheet.top + 16.6, facts, size=READ)
    right = (
        (7.0, "Season prep", TITLE, Face.BOLD, INK),
        (12.4, pair.place.words, READ, Face.BOLD, INK),
        (16.6, "one value that is off: HOLD", 9.5, Face.BOLD, INK),
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
