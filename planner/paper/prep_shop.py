"""Season prep of the shop itself: nine tools and papers, then the boots by cell.

A cell: boots of one make, model, age, sole and shell. One of each new cell and a share of the old boots are
drawn for a look, at random but repeatably; a boot that fails opens its whole cell. Source: fedsport.com,
overview of preseason practice for rental shops (published excerpt). That x.0 and x.5 share a shell is common
practice, no source.
"""

import random
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import ceil
from typing import Final

from fleet.base.units import mm_text
from fleet.facts.boots import Boot
from fleet.facts.policy import Policy
from fleet.tables.snapshot import Fleet
from planner.paper.printer_sheet import printer_scale
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
    answer_box,
    framed,
    paper_named,
    pdf_of,
    signature_row,
    standing_cautions,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BootCell:
    """One cell. ``shell_cm`` is the whole centimetre of Mondopoint, None where no size is recorded.

    ``new``: of the newest season recorded, or of no recorded season (nobody can say it was seen before).
    ``drawn``: the tags to look at.
    """

    model: str
    season: str
    sole_type: str
    shell_cm: int | None
    tags: tuple[str, ...]
    new: bool
    drawn: tuple[str, ...]


def boot_cells(boots: Mapping[str, Boot], policy: Policy, *, seed: str) -> tuple[BootCell, ...]:
    """All cells in order of model and shell, with the draw. The same boots and seed give the same draw."""
    cells: dict[tuple[str, str, str, int | None], list[str]] = defaultdict(list)
    for boot in boots.values():
        shell = boot.mondopoint_mm // 10 if boot.mondopoint_mm is not None else None
        cells[boot.model, boot.season, boot.sole_type, shell].append(boot.tag)
    newest = max((boot.season for boot in boots.values()), default="")
    draw = random.Random(f"boot cells {seed}")
    old = sorted(tag for key, tags in cells.items() if key[1] not in ("", newest) for tag in tags)
    share = ceil(len(old) * policy.number("prep_old_boots_percent") / 100)
    drawn = set(draw.sample(old, min(share, len(old))))
    per_cell = policy.count("prep_new_boots_per_cell")
    found = []
    for model, season, sole_type, shell in sorted(cells, key=lambda k: (k[0], k[1], k[2], k[3] or 0)):
        tags = sorted(cells[model, season, sole_type, shell])
        new = season in ("", newest)
        chosen = draw.sample(tags, min(per_cell, len(tags))) if new else drawn.intersection(tags)
        found.append(
            BootCell(
                model=model, season=season, sole_type=sole_type, shell_cm=shell, tags=tuple(tags), new=new,
                drawn=tuple(sorted(chosen)),
            )
        )  # fmt: skip
    return tuple(found)


_CELL_ROW: Final = 8.6
_TAGS: Final = 34.0
"""Millimetres beside each other for the tags of a cell."""
_TOOL_ROW: Final = 19.0
_SIGN_ROW: Final = 14.0
_MORE: Final = 3.3
"""From line to line of what should come out, millimetres: a third line makes its row so much higher."""


def prep_shop_pdf(fleet: Fleet, *, printed_at: datetime, paper: str = "A4") -> bytes:
    """The shop's own checklist and the cells of its boots."""
    size = paper_named(paper)
    anchors = anchors_of(fleet, "season prep, shop", printed_at=printed_at)
    cells = boot_cells(fleet.boots, fleet.policy, seed=fleet.head.hash)
    return pdf_of(_pages(fleet, cells, anchors, size), title="Season prep, shop and boots")


def shop_items(fleet: Fleet) -> tuple[tuple[str, str, str], ...]:
    """Nine things of the shop: what, how, and the value that should come out (common practice, no source)."""
    policy = fleet.policy
    sizes = {
        f"{mm_text(policy.um(f'drill_{word}_mm'))} × {mm_text(policy.um(f'depth_{word}_mm'))}"
        for word in ("no_metal", "metal", "thin_core")
    }
    glues = [policy.word(use) for use in ("mount_adhesive", "plug_adhesive")]
    cures = [(glue.replace("_", " "), policy.cure_hours(glue)) for glue in glues]
    signers = ", ".join(sorted(fleet.staff)) or "none listed: nobody may sign"
    patterns = sorted({fit.pattern for fit in fleet.fits})
    return (
        ("Steel ruler and caliper", "Held against each other and against a reference length.", "agree"),
        ("Bits and depth stops", "Measured, not read off; tried on scrap.", ", ".join(sorted(sizes))),
        ("Drivers", "Tip fits the screws; clutch at its lowest; a hand driver at each bench.", "fits"),
        (
            "Glue, epoxy, plugs",
            "Batch and date written; cure times from their data sheets.",
            "; ".join(f"{glue}: {'NOT SET' if hours is None else f'{hours} h'}" for glue, hours in cures),
        ),
        (
            "Makers' sheets",
            "One for every pattern mounted here, this season's.",
            f"{len(patterns)} patterns: {', '.join(patterns)}",
        ),
        ("Recalls", "Makers' notices looked through; date and what applies.", "date"),
        ("Staff list", "Who signs here, training valid all season.", signers),
        (
            "Release test device",
            "Calibrated; only a qualified person uses it. Number and date.",
            "valid until",
        ),
        (
            "Printer",
            "Test sheet printed at 100 %, both bars measured.",
            printer_scale(policy).words,
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _CellRow:
    """One row of a cell: lines of the tags that are drawn. A cell of many takes several rows, none cut."""

    cell: BootCell
    lines: tuple[str, ...]
    size: float
    continued: bool


def _rows_of(cell: BootCell) -> Iterator[_CellRow]:
    text = " ".join(cell.drawn)
    size = size_that_fits(text, Face.MONO_BOLD, READ, _TAGS, least=SMALL)
    lines = wrapped(text, Face.MONO_BOLD, size, _TAGS)
    for start in range(0, len(lines) or 1, 2):
        yield _CellRow(cell=cell, lines=tuple(lines[start : start + 2]), size=size, continued=start > 0)


def _pages(fleet: Fleet, cells: Sequence[BootCell], anchors: Anchors, paper: Paper) -> Iterator[Page]:
    room = paper.size_mm[1] - 9.0 - 30.0 - 22.0 - 16.0
    per_page = int(room / _CELL_ROW)
    rows = [row for cell in cells for row in _rows_of(cell)]
    parts = [rows[start : start + per_page] for start in range(0, len(rows), per_page)]
    yield _shop_page(fleet, anchors, paper, 1 + len(parts))
    for number, part in enumerate(parts, start=2):
        yield _cells_page(cells, part, anchors, paper, number, 1 + len(parts), fleet)


def _title(sheet: FramedSheet, title: str, below: str, right: str) -> float:
    y = sheet.top
    sheet.words(sheet.left, y + 8.2, title, size=TITLE + 4, face=Face.BOLD)
    room = sheet.room - width_mm(f"  {right}", Face.BOLD, READ)
    sheet.words(sheet.left, y + 14.0, shortened(below, Face.SANS, READ, room), size=READ)
    sheet.words(sheet.right, y + 14.0, right, size=READ, face=Face.BOLD, anchor=Anchor.END)
    sheet.line(sheet.left, y + 16.8, sheet.right, y + 16.8, stroke=INK, width=0.9)
    return y + 16.8


def _shop_page(fleet: Fleet, anchors: Anchors, paper: Paper, pages: int) -> Page:
    sheet = framed(paper, anchors, [standing_cautions()], 1, pages)
    y = _title(sheet, "Season prep: the shop", fleet.shop, "nine things to look at") + 4
    items = shop_items(fleet)
    room = sheet.bottom - 18.0 - y - 6
    row = min(_TOOL_ROW, room / len(items))
    more = int((room - row * len(items)) / _MORE)
    box = sheet.right - 58.0
    sheet.words(box, y, "found (a value, a number, a date)", size=LABEL, fill=SOFT)
    y += 2
    for number, (what, how, expected) in enumerate(items, start=1):
        sheet.words(sheet.left + 3.4, y + 7.2, str(number), size=15, face=Face.BOLD, anchor=Anchor.MIDDLE)
        x, wide = sheet.left + 9, box - sheet.left - 13
        sheet.words(x, y + 5.2, what, size=12.5, face=Face.BOLD)
        sheet.words(x, y + 9.4, how, size=size_that_fits(how, Face.SANS, 9, wide, least=7))
        lines = wrapped(expected, Face.MONO, 8, wide, most=2 + more)
        stacked(sheet, x, y + 13.2, ((_MORE * at, line, 8, Face.MONO, SOFT) for at, line in enumerate(lines)))
        added = max(0, len(lines) - 2)
        more -= added
        high = row + added * _MORE
        answer_box(sheet, box, y + 1.4, 58, high - 2.8)
        sheet.line(sheet.left, y + high, sheet.right, y + high, stroke=RULE, width=0.25)
        y += high
    signature_row(
        sheet, _SIGN_ROW, (("done by: name, date, time", 0.5), ("seen by ANOTHER person: name, time", 0.5))
    )
    return sheet.page(sheet.width, sheet.height)


def _cells_page(
    cells: Sequence[BootCell],
    part: Sequence[_CellRow],
    anchors: Anchors,
    paper: Paper,
    page: int,
    pages: int,
    fleet: Fleet,
) -> Page:
    sheet = framed(paper, anchors, [standing_cautions()], page, pages)
    drawn = sum(len(cell.drawn) for cell in cells)
    boots = sum(len(cell.tags) for cell in cells)
    y = _title(sheet, "Boots by cell", f"{boots} pairs in {len(cells)} cells", f"{drawn} drawn")
    policy = fleet.policy
    new, share = policy.count("prep_new_boots_per_cell"), policy.number("prep_old_boots_percent")
    rule = (
        "A cell: boots of one model, shell, sole and season. "
        f"{new} of each new cell, {share} % of the old boots, drawn at random. "
        "ONE THAT FAILS OPENS ITS WHOLE CELL: every boot of it is looked at before any goes out."
    )
    y = paragraph(sheet, sheet.left, y + 4.2, rule, size=9, room=sheet.room, step=4.2, face=Face.BOLD) + 0.4
    left = sheet.left
    columns = (left + 1.0, left + 62.0, left + 76.0, left + 112.0, sheet.right - 24.0)
    for text, at in zip(
        ("cell", "boots", "look at", "sole, tread, buckles; sole length read", "ok / cell open"),
        columns,
        strict=True,
    ):
        sheet.words(at, y, text, size=LABEL, fill=SOFT)
    y += 1.4
    sheet.line(sheet.left, y, sheet.right, y, stroke=INK, width=0.5)
    for index, row in enumerate(part):
        if index % 2 == 0:
            sheet.box(sheet.left, y, sheet.room, _CELL_ROW, fill=ICE)
        _cell(sheet, row, y, columns)
        y += _CELL_ROW
    signature_row(
        sheet, _SIGN_ROW, (("boots seen by: name, date, time", 0.5), ("cells opened, by whom", 0.5))
    )
    return sheet.page(sheet.width, sheet.height)


def _cell(sheet: FramedSheet, row: _CellRow, y: float, columns: tuple[float, ...]) -> None:
    cell = row.cell
    name = shortened(cell.model, Face.BOLD, 9.5, 58)
    sheet.words(columns[0], y + 3.8, name, size=9.5, face=Face.BOLD)
    shell = "size not recorded" if cell.shell_cm is None else f"shell {cell.shell_cm}"
    age = cell.season or "season not recorded"
    sheet.words(
        columns[0], y + 7.0, shortened(f"{shell} · {cell.sole_type} · {age}", Face.SANS, 7, 58), size=7
    )
    if row.continued:
        sheet.words(columns[1], y + 5.6, "continued", size=SMALL, fill=SOFT)
    else:
        count = str(len(cell.tags))
        sheet.words(columns[1] + 6, y + 5.6, count, size=READ, face=Face.BOLD, anchor=Anchor.END)
    if not cell.drawn:
        sheet.words(columns[2], y + 5.6, "not drawn this time", size=8, fill=SOFT)
        return
    first = y + (3.8 if len(row.lines) > 1 else 5.6)
    stacked(
        sheet,
        columns[2],
        first,
        ((3.2 * at, line, row.size, Face.MONO_BOLD, INK) for at, line in enumerate(row.lines)),
    )
    wide = columns[4] - columns[3] - 2
    for x, w, ink, word in (
        (columns[3], wide, INK, ""),
        (columns[4], 10.5, INK, "ok"),
        (columns[4] + 12, 10.5, GARNET, "open"),
    ):
        sheet.box(x, y + 0.9, w, _CELL_ROW - 1.8, fill=WHITE, stroke=ink, width=0.35, radius=0.8)
        sheet.words(x + 1, y + 3.6, word, size=SMALL, fill=SOFT)
