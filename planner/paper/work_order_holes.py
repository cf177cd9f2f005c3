"""The picture of a work order, and the table of its holes beside it: where on the ski.

Each cross line on the ski leads to the rows of its holes: what is done there, and a box for what was found.
"""

from collections.abc import Callable, Sequence
from functools import partial
from itertools import groupby

from fleet.base.units import across_text, half_mm_down, length_text, to_half_mm
from fleet.facts.holes import Hole, HoleState
from planner.paper.shapes import (
    GARNET,
    INK,
    LABEL,
    PINE,
    READ,
    RULE,
    SMALL,
    SOFT,
    Anchor,
    Drawing,
    Face,
    fitted,
    stacked,
    width_mm,
)
from planner.paper.sheet_frame import (
    MARGIN,
    FramedSheet,
    answer_box,
)
from planner.paper.ski_facts import ScrewFact, SkiFact
from planner.paper.ski_picture import (
    NOT_INSPECTED_WORDS,
    UNSURE_WORDS,
    SkiPicture,
    hatch_sign,
    is_unsure,
    old_hole_sign,
    screw_sign,
    unsure_sign,
)
from planner.paper.work_order_facts import WorkOrderSheet
from planner.plan.values import Rung

LEAST_ROW = 8.5
"""The least row whose box a pen fits into: 8 mm of it are the box."""
WIDE_ROW = 11.0
_LEAST_SCALE = 0.3
"""In a picture with less of a millimetre to one of the ski, words lie on each other."""
_PICTURE_WIDTH = 57.0
_FOUND_W = 15.0
_TABLE_HEAD = 6.5
_LEGEND = 7.0


def _picture(sheet: Drawing, order: WorkOrderSheet, ski: SkiFact, y: float, height: float) -> SkiPicture:
    return SkiPicture(
        sheet, ski, waist_um=order.pair.waist_um, left=MARGIN, top=y, width=_PICTURE_WIDTH, height=height
    )


def _readable(order: WorkOrderSheet, ski: SkiFact, height: float) -> bool:
    return _picture(Drawing(), order, ski, 0.0, height).scale >= _LEAST_SCALE


def where_fits(order: WorkOrderSheet, ski: SkiFact, height: float) -> bool:
    """Return True if a pen fits into each box, and the picture can be read, in so many millimetres."""
    rows, room = sum(len(lines) for _, lines in _stations(ski)), height - _LEGEND
    return room >= _TABLE_HEAD + LEAST_ROW * rows and _readable(order, ski, room)


def draw_where(sheet: FramedSheet, order: WorkOrderSheet, ski: SkiFact, top: float, bottom: float) -> None:
    """Draw the picture, the table of holes beside it, and the signs, from ``top`` to ``bottom``."""
    rows = sum(len(lines) for _, lines in _stations(ski))
    row = min(WIDE_ROW, (bottom - _LEGEND - top - _TABLE_HEAD) / max(rows, 1))
    wanted = 110.0 if _readable(order, ski, 110.0) else 150.0
    height = min(bottom - _LEGEND - top, max(_TABLE_HEAD + row * rows, wanted))
    legend = top + height + 5.0
    picture = _picture(sheet, order, ski, top, height)
    table_x = sheet.left + _PICTURE_WIDTH + 7.0
    stations, head, stays = _stations(ski), _TABLE_HEAD, order.rung.rank <= Rung.ADJUST.rank
    columns = _table_head(sheet, ski, table_x, top, head)
    edge = picture.axis + picture.edge
    places = [picture.at(x_um, 0)[1] for x_um, _ in stations]
    heights = [row * len(lines) for _, lines in stations]
    tops = beside(places, heights, top + head, top + height)
    last = 0.0
    for (x_um, lines), ski_y, h, y in zip(stations, places, heights, tops, strict=True):
        sheet.poly(
            [(edge, ski_y), (edge + 2.6, ski_y), (table_x - 3.2, y + h / 2), (table_x - 1.2, y + h / 2)],
            stroke=INK, width=0.25, closed=False,
        )  # fmt: skip
        sheet.disc(edge, ski_y, 0.55, fill=INK)
        if y > last + 0.3 and last:
            sheet.line(table_x, y, sheet.right, y, stroke=SOFT, width=0.3)
        _station_rows(sheet, ski, x_um, lines, table_x, y, row, columns, stays=stays)
        last = y + h
    picture.draw()
    _legend(sheet, ski, legend, stays=stays)


def beside(places: Sequence[float], heights: Sequence[float], top: float, bottom: float) -> list[float]:
    """Return the tops of blocks, each as near beside its place as order and room allow (no overlap)."""
    tops: list[float] = []
    y = top
    for place, height in zip(places, heights, strict=True):
        y = max(y, place - height / 2)
        tops.append(y)
        y += height
    limit = bottom
    for index in range(len(tops) - 1, -1, -1):
        tops[index] = min(tops[index], limit - heights[index])
        limit = tops[index]
    return tops


_Line = ScrewFact | tuple[Hole, ...]


def _stations(ski: SkiFact) -> list[tuple[int, list[_Line]]]:
    """Return the work at each place along the ski (to 0.5 mm), tip first, left before right.

    A screw has a line of its own; the holes plugged at one place share one.
    """
    todo: list[ScrewFact | Hole] = [*ski.screws, *ski.plugs]
    todo.sort(key=lambda hole: (-to_half_mm(hole.x_um), hole.y_um))
    stations: list[tuple[int, list[_Line]]] = []
    for x_um, group in groupby(todo, key=lambda hole: to_half_mm(hole.x_um)):
        holes = list(group)
        lines: list[_Line] = [hole for hole in holes if isinstance(hole, ScrewFact)]
        plugs = tuple(hole for hole in holes if isinstance(hole, Hole))
        stations.append((x_um, [*lines, plugs] if plugs else lines))
    return stations


def _table_head(sheet: FramedSheet, ski: SkiFact, x: float, y: float, h: float) -> tuple[float, ...]:
    """Column heads; the x of: screw, do, across, nearest, first box; then the width of a box."""
    box_w = _FOUND_W if len(ski.sides) == 2 else 2 * _FOUND_W
    boxes = sheet.right - 2 * _FOUND_W
    columns = (x + 37.0, x + 41.2, x + 57.5, boxes - 1.5)
    for text, at in (("along the ski, from the mark, mm", x), ("across", columns[2])):
        sheet.words(at, y + 4.2, text, size=LABEL, fill=SOFT)
    told = ["nearest hole"] * bool(ski.drilled) + ["old hole is"] * bool(ski.reused or ski.plugs)
    for index, text in enumerate(told):
        base = y + (2.0 if len(told) > 1 else 4.2) + 3.0 * index
        sheet.words(columns[3], base, text, size=LABEL, fill=SOFT, anchor=Anchor.END)
    for index, side in enumerate(ski.sides):
        middle = boxes + index * _FOUND_W + box_w / 2
        stacked(
            sheet,
            middle,
            y,
            (
                (2.0, f"ski {side}", LABEL, Face.BOLD, INK),
                (5.0, "as drilled" if ski.drilled else "as found", SMALL, Face.SANS, SOFT),
            ),
            anchor=Anchor.MIDDLE,
        )
    sheet.line(x, y + h - 0.4, sheet.right, y + h - 0.4, stroke=INK, width=0.5)
    return (*columns, boxes, box_w)


def _station_rows(
    sheet: FramedSheet,
    ski: SkiFact,
    x_um: int,
    lines: list[_Line],
    x: float,
    y: float,
    row: float,
    columns: tuple[float, ...],
    *,
    stays: bool,
) -> None:
    do_x, boxes, box_w = columns[1], columns[4], columns[5]
    h = row * len(lines)
    _station_place(sheet, ski, x_um, x, y + h / 2, min(14.5, row * 2.2))
    for index, line in enumerate(lines):
        top = y + row * index
        if isinstance(line, ScrewFact):
            _screw_line(sheet, line, top + row / 2, columns, row, stays=stays)
        else:
            _plug_line(sheet, line, top + row / 2, columns, row)
        for box in range(len(ski.sides)):
            answer_box(sheet, boxes + box * _FOUND_W + 0.5, top + 0.2, box_w - 1.0, row - 0.5)
        if index:
            sheet.line(do_x - 0.5, top, boxes - 1, top, stroke=RULE, width=0.2)
    sheet.line(x, y + h, sheet.right, y + h, stroke=SOFT, width=0.3)


def _station_place(sheet: FramedSheet, ski: SkiFact, x_um: int, x: float, middle: float, size: float) -> None:
    """Draw the distance and direction from the mark, and from the tail where that is known."""
    sheet.words(x, middle + size * 0.13, length_text(abs(x_um)), size=size, face=Face.MONO_BOLD)
    shift = width_mm("000.0", Face.MONO_BOLD, size) + 1.3
    way = "on the mark" if x_um == 0 else f"toward {'TIP' if x_um > 0 else 'TAIL'}"
    tail = ski.mark_from_tail_um
    sheet.words(x + shift, middle + (1.0 if tail is None else -0.1), way, size=LABEL, face=Face.BOLD)
    if tail is not None:
        text = f"{length_text(tail + x_um)} from tail"
        sheet.words(x + shift, middle + 2.5, text, size=SMALL, fill=SOFT)


def _screw_line(
    sheet: FramedSheet, screw: ScrewFact, y: float, columns: tuple[float, ...], row: float, *, stays: bool
) -> None:
    screw_x, do_x, across_x, nearest_x, *_ = columns
    size, base = min(READ, row * 1.75), y + 1.35
    screw_sign(sheet, screw_x, y, screw.do, screw.label, scale=min(1.0, row / 6.2))
    drill = screw.do == "drill"
    sheet.words(
        do_x, base, "stays" if stays else screw.do, size=size, face=Face.BOLD, fill=GARNET if drill else PINE
    )
    sheet.words(across_x, base, across_text(to_half_mm(screw.y_um) if drill else screw.y_um), size=size)
    if drill and screw.nearest_um is not None:
        text = f"{half_mm_down(screw.nearest_um)} to {screw.nearest_label}"
        sheet.words(nearest_x, base, text, size=min(9.0, size), anchor=Anchor.END)
    elif screw.old is not None:
        state = "own screw" if screw.old.state is HoleState.INSERT else screw.old.state.value
        sheet.words(nearest_x, base, state, size=min(9.0, size), fill=SOFT, anchor=Anchor.END)


def _plug_line(
    sheet: FramedSheet, holes: tuple[Hole, ...], y: float, columns: tuple[float, ...], row: float
) -> None:
    screw_x, do_x, across_x, nearest_x, *_ = columns
    size, base = min(READ, row * 1.75), y + 1.35
    old_hole_sign(sheet, screw_x, y, holes[0].state, plug=True, r=min(1.55, row / 4))
    names = f"plug {' '.join(hole.label for hole in holes)}"
    fitted(sheet, do_x, base, names, size=size, room=across_x - do_x - 2, least=SMALL, face=Face.BOLD)
    ys = [hole.y_um for hole in holes]
    where = (
        f"{length_text(abs(ys[0]))} each side"
        if len(ys) == 2 and ys[0] == -ys[1]
        else ", ".join(across_text(y_um) for y_um in ys)
    )
    states = ", ".join(dict.fromkeys(hole.state.value for hole in holes))
    room = nearest_x - across_x - width_mm(states, Face.SANS, 8) - 1
    apart = 0.0
    if width_mm(where, Face.SANS, 7) > room:  # a line each
        room, apart = nearest_x - across_x, row / 5
    fitted(sheet, across_x, base - apart, where, size=size, room=room, least=SMALL)
    sheet.words(nearest_x, base + apart, states, size=8, fill=SOFT, anchor=Anchor.END)


def _legend(sheet: FramedSheet, ski: SkiFact, y: float, *, stays: bool) -> None:
    """Only the signs that this picture uses, in one line under it."""
    x, plugs = sheet.left + 1.5, {hole.state for hole in ski.plugs}
    staying = [hole for hole in ski.old_holes if hole not in ski.plugs]
    stay = {hole.state for hole in staying}
    screw, hole = partial(screw_sign, sheet, y=y, label=""), partial(old_hole_sign, sheet, y=y)
    signs: list[tuple[bool, Callable[[float], None], str, float]] = [
        (bool(ski.drilled), partial(screw, do="drill"), "drill", 4.2),
        (bool(ski.reused), partial(screw, do="reuse"), "stays" if stays else "reuse", 4.2),
        (bool(plugs), partial(hole, state=HoleState.OPEN, plug=True), "plug today", 3.6),
        (
            HoleState.STRIPPED in plugs,
            partial(hole, state=HoleState.STRIPPED, plug=True),
            "plug today, stripped",
            4.2,
        ),
        *((state in stay, partial(hole, state=state), state.value, 3.4) for state in HoleState),
        (any(map(is_unsure, staying)), partial(unsure_sign, sheet, y=y), UNSURE_WORDS, 3.4),
        (bool(ski.not_inspected), partial(hatch_sign, sheet, y=y), NOT_INSPECTED_WORDS, 4.4),
    ]
    for shown, sign, text, advance in signs:
        if shown:
            sign(x + 0.8)
            sheet.words(x + advance, y + 0.9, text, size=LABEL, fill=INK)
            x += advance + width_mm(text, Face.SANS, LABEL) + 4.5
