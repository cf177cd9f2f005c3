"""The true-scale template, measured on rendered pages by two renderers that share no code."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from io import BytesIO
from itertools import combinations
from math import hypot

import numpy as np
import pytest
from pypdf import PdfReader

from fleet.base.errors import BadInput
from fleet.facts.policy import default_policy
from planner.paper.printer_sheet import printer_scale
from planner.paper.shapes import GARNET, PINE, Anchor, Line, Words, width_mm
from planner.paper.sheet_frame import Paper
from planner.paper.ski_facts import each_ski
from planner.paper.template import (
    far_lines_um,
    sheet_span_um,
    template_job,
    template_pages,
    template_pdf,
    tiles,
)
from tests.paper.invented_shop import CASES, PRINTED_AT
from tests.paper.sample_sheets import sample

DPI = 600
PX = DPI / 25.4


def job(name: str, *, proposal: bool = False, **policy: str):
    fleet, planned = CASES[name]()
    fleet = replace(fleet, policy=fleet.policy.with_values(**policy))
    return template_job(
        fleet,
        planned,
        number=None if proposal else "WO-2611-0417",
        revision=None if proposal else "A",
        proposal=proposal,
        plan_hash="9f3ca1e7",
        printed_at=PRINTED_AT,
    )


def rendered(data: bytes, renderer: str, folder) -> Iterator[np.ndarray]:
    """Each page as an array of height x width x 3."""
    if renderer == "pymupdf":
        import pymupdf

        for page in pymupdf.open(stream=data, filetype="pdf"):
            pixels = page.get_pixmap(dpi=DPI, alpha=False)
            yield np.frombuffer(pixels.samples, np.uint8).reshape(pixels.height, pixels.width, 3)
        return
    from PIL import Image

    Image.MAX_IMAGE_PIXELS = None
    (folder / "t.pdf").write_bytes(data)
    subprocess.run(["pdftoppm", "-r", str(DPI), "t.pdf", "t"], cwd=folder, check=True)
    for file in sorted(folder.glob("t-*.ppm")):
        yield np.asarray(Image.open(file))


FIELD = slice(round(15 * PX), round(140 * PX))
"""The columns of the sheet in which holes are drawn (the words stand to the right of them)."""


def in_ink(page: np.ndarray, ink: str) -> np.ndarray:
    """Where the field shows garnet or pine: both differ from grey, one to the red and one to the green."""
    red, green = (page[:, FIELD, channel].astype(np.int16) for channel in (0, 1))
    return red - green > 50 if ink == GARNET else green - red > 40


def centres(mask: np.ndarray, least_mm: float) -> list[tuple[float, float]]:
    """Middles (x, y in mm from the top left) of connected figures at least this large both ways."""
    from scipy import ndimage

    labels, _ = ndimage.label(mask, structure=np.ones((3, 3)))
    found = []
    for rows, columns in ndimage.find_objects(labels):
        h, w = (rows.stop - rows.start) / PX, (columns.stop - columns.start) / PX
        if h >= least_mm and w >= least_mm and abs(h - w) < 0.5:
            x = FIELD.start + (columns.start + columns.stop) / 2
            found.append((x / PX, (rows.start + rows.stop) / 2 / PX))
    return sorted(found)


def line_near(darkness: np.ndarray, at_mm: float, within_mm: float = 1.0) -> float:
    """Where a fine line crosses a strip of the page: the darkest place near ``at_mm``, by its centroid."""
    start, stop = round((at_mm - within_mm) * PX), round((at_mm + within_mm) * PX)
    part = darkness[start:stop].astype(float)
    part[part < part.max() * 0.3] = 0
    return (start + 0.5 + (part * np.arange(len(part))).sum() / part.sum()) / PX


def darkness_along(page: np.ndarray, *, column_mm: float) -> np.ndarray:
    """How dark each row is at that column."""
    return 255.0 - page[:, round(column_mm * PX)].mean(axis=1)


def darkness_across(page: np.ndarray, *, row_mm: float) -> np.ndarray:
    """How dark each column is at that row."""
    return 255.0 - page[round(row_mm * PX)].mean(axis=1)


@cache
def ledger_places(name: str) -> list[list[tuple[float, float]]]:
    """Per ski, where the screws go (x, y from that ski's own mark), millimetres."""
    fleet, planned = CASES[name]()
    pair = fleet.pair(planned.pair)
    return [[(s.x_um / 1000, s.y_um / 1000) for s in ski.screws] for ski in each_ski(pair, planned.way)]


def measured_places(page: np.ndarray, top_mark_mm: float) -> tuple[list[tuple[float, float]], float, float]:
    """Screws found on a page as (x, y) from ITS printed mark and centre line, all measured in pixels."""
    mark = line_near(darkness_along(page, column_mm=44.5), top_mark_mm)
    axis = line_near(darkness_across(page, row_mm=mark + 12.5), 82.0)
    found = centres(in_ink(page, GARNET), 8.0) + centres(in_ink(page, PINE), 3.0)
    return [(mark - y, x - axis) for x, y in found], mark, axis


RENDERERS = ["pymupdf", pytest.param("pdftoppm", marks=pytest.mark.long)]


@pytest.mark.parametrize("renderer", RENDERERS)
@pytest.mark.parametrize("paper", [Paper.A4, pytest.param(Paper.LETTER, marks=pytest.mark.long)])
def test_holes_lie_within_a_tenth_of_a_millimetre_also_across_two_joined_pages(paper, renderer, tmp_path):
    if renderer == "pdftoppm" and shutil.which(renderer) is None:
        pytest.skip("pdftoppm is not installed")
    made = job("part reused")
    cut = tiles([s.x_um for s in made.skis[0].screws], sheet_span_um(paper, made.scale))
    assert len(cut) == 2, "ski A takes two sheets"
    found: list[tuple[float, float]] = []
    one_ski = replace(made, skis=made.skis[:1])
    for page, tile in zip(rendered(template_pdf([one_ski], paper), renderer, tmp_path), cut, strict=True):
        places, _, _ = measured_places(page, 8.0 + tile.end_um / 1000)
        assert places
        found += places
    wanted = sorted(ledger_places("part reused")[0])
    assert len(found) == len(wanted) == 8
    for (ax, ay), (bx, by) in zip(sorted(found), wanted, strict=True):
        assert hypot(ax - bx, ay - by) < 0.1
    for (a, wa), (b, wb) in combinations(zip(sorted(found), wanted, strict=True), 2):
        assert abs(hypot(a[0] - b[0], a[1] - b[1]) - hypot(wa[0] - wb[0], wa[1] - wb[1])) < 0.1


@pytest.mark.parametrize("renderer", RENDERERS)
@pytest.mark.parametrize("paper", [pytest.param(Paper.A4, marks=pytest.mark.long), Paper.LETTER])
def test_both_bars_are_exact(paper, renderer, tmp_path):
    one_ski = replace(job("part reused"), skis=job("part reused").skis[:1])
    page = next(rendered(template_pdf([one_ski], paper), renderer, tmp_path))
    height = paper.size_mm[1]
    left = darkness_along(page, column_mm=12.8)
    ends = [line_near(left, (height + sign * 250) / 2) for sign in (-1, 1)]
    assert ends[1] - ends[0] == pytest.approx(250.0, abs=0.05)
    low = darkness_across(page, row_mm=height - 11.5 + 1.8)
    ends = [line_near(low, 82 + sign * 50) for sign in (-1, 1)]
    assert ends[1] - ends[0] == pytest.approx(100.0, abs=0.05)


def test_a_printer_that_shrinks_is_made_up_for_in_each_direction(tmp_path):
    """A printer that prints 250 as 247.5 and 100 as 100.5 needs 1.0101 and 0.9950 of the length."""
    made = job("part reused", printer_along_mm="247.5", printer_across_mm="100.5")
    page = next(rendered(template_pdf([replace(made, skis=made.skis[:1])]), "pymupdf", tmp_path))
    left = darkness_along(page, column_mm=12.8)
    long = 250 * 250 / 247.5
    ends = [line_near(left, (297 + sign * long) / 2) for sign in (-1, 1)]
    assert ends[1] - ends[0] == pytest.approx(long, abs=0.05)
    rings = centres(in_ink(page, PINE), 3.0)
    across = max(x for x, _ in rings) - min(x for x, _ in rings)
    assert across == pytest.approx(40 * 100 / 100.5, abs=0.1)


def test_a_bar_far_from_its_length_is_a_print_dialog_and_not_a_printer():
    policy = default_policy().with_values(printer_along_mm="240")
    with pytest.raises(BadInput, match="the bar of 250 mm is entered as 240 mm"):
        printer_scale(policy)


@pytest.mark.parametrize("paper", Paper)
def test_every_sheet_says_which_ski_what_stops_the_work_and_what_it_is_tied_to(paper):
    pages = PdfReader(BytesIO(template_pdf([job("crowded")], paper))).pages
    assert len(pages) == 4
    for number, page in enumerate(pages, start=1):
        text = " ".join(page.extract_text().split())
        for words in (
            "K5-0088",
            f"SKI {'A' if number <= 2 else 'B'}",
            "STOP RULE",
            "One bar or one ring off: STOP.",
            "250 mm exactly",
            "100 mm exactly",
            "TIP",
            "1284:ab12cd34",
            "STALE AFTER Wed 2 Dec 2026",
            "A name signed here is a claim, not a proof.",
            f"page {number} of 4",
            "no printer correction",
        ):
            assert words in text, (number, words)


def test_a_template_of_a_plan_says_proposal_on_every_sheet():
    pages = PdfReader(BytesIO(template_pdf([job("part reused", proposal=True)]))).pages
    assert all("PROPOSAL" in page.extract_text() for page in pages)


def test_print_scaling_is_off_in_the_template():
    reader = PdfReader(BytesIO(template_pdf([job("part reused")])))
    assert reader.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"] == "/None"


def test_an_unknown_core_prints_no_drill_size_on_the_template():
    text = PdfReader(BytesIO(template_pdf([job("unknown core")]))).pages[0].extract_text()
    assert "READ THE SKI" in " ".join(text.split())
    assert "3.6" not in text


def test_skis_whose_marks_lie_get_their_own_places():
    a, b = ledger_places("lying marks")
    assert [round(ax - bx, 3) for (ax, _), (bx, _) in zip(a, b, strict=True)] == [3.0] * 8


def undrilled(name: str = "part reused"):
    """The job with the old holes taken out of both skis: nothing under the sheet proves how it lies."""
    made = job(name)
    screws = lambda ski: tuple(replace(s, do="drill", old=None) for s in ski.screws)  # noqa: E731
    skis = tuple(replace(ski, old_holes=(), screws=screws(ski)) for ski in made.skis)
    return replace(made, skis=skis)


def page_texts(made, paper=Paper.A4) -> list[str]:
    pages = PdfReader(BytesIO(template_pdf([made], paper))).pages
    return [" ".join(page.extract_text().split()) for page in pages]


@pytest.mark.parametrize("paper", Paper)
def test_a_sheet_without_old_holes_has_a_line_to_measure_at_its_far_end(paper):
    made = undrilled()
    cut = tiles([s.x_um for s in made.skis[0].screws], sheet_span_um(paper, made.scale))
    texts = page_texts(replace(made, skis=made.skis[:1]), paper)
    assert len(texts) == len(cut)
    for tile, text in zip(cut, texts, strict=True):
        lines = far_lines_um(tile)
        assert lines
        assert max(abs(x_um - tile.anchor_um) for x_um in lines) > 100_000
        for x_um in lines:
            assert tile.holds(x_um, 5_000)
            words = f"{abs(x_um) / 1000:.1f} mm toward {'TIP' if x_um > 0 else 'TAIL'} of the mark"
            assert f"FAR LINE: {words}" in text
        assert "by steel ruler on the ski" in text
        assert "rings on the real" not in text.lower()
        assert "One bar or one far line off: STOP." in text


def test_a_sheet_with_old_holes_is_proved_by_them_and_has_no_far_line():
    texts = page_texts(job("part reused"))
    assert all("FAR LINE" not in text and "Rings on the real old holes" in text for text in texts)


@pytest.mark.parametrize("way", [-1, 1])
def test_the_far_line_and_both_its_scales_are_exact(way, tmp_path):
    """Measured in pixels: as far from the mark as it says, its ticks of 40 mm 80 mm apart."""
    made = undrilled()
    made = replace(made, skis=made.skis[:1])
    cut = tiles([s.x_um for s in made.skis[0].screws], sheet_span_um(Paper.A4, made.scale))
    seen = 0
    for page, tile in zip(rendered(template_pdf([made]), "pymupdf", tmp_path), cut, strict=True):
        anchor = line_near(darkness_along(page, column_mm=44.5), 8.0 + (tile.end_um - tile.anchor_um) / 1000)
        for x_um in far_lines_um(tile):
            if (x_um - tile.anchor_um) * way < 0:
                continue
            far = line_near(darkness_along(page, column_mm=44.5), 8.0 + (tile.end_um - x_um) / 1000)
            assert (anchor - far) == pytest.approx((x_um - tile.anchor_um) / 1000, abs=0.05)
            ticks = darkness_across(page, row_mm=far - way * 1.7)
            left, right = (line_near(ticks, 82 + side * 40, 0.5) for side in (-1, 1))
            assert right - left == pytest.approx(80.0, abs=0.05)
            seen += 1
    assert seen


def test_no_far_line_lies_on_a_hole_of_the_order():
    for name in CASES:
        made = undrilled(name) if job(name).skis[0].screws else job(name)
        for ski in made.skis:
            for tile in tiles([s.x_um for s in ski.screws], sheet_span_um(Paper.LETTER, made.scale)):
                for x_um in far_lines_um(tile):
                    assert all(abs(s.x_um - x_um) >= 4_000 for s in ski.screws if tile.holds(s.x_um, 0))


@pytest.mark.parametrize("tag", ["K-194", "K-159"])
def test_no_words_are_struck_through_by_the_centre_line_or_by_the_cross_of_a_hole(tag: str) -> None:
    """A junior pair with holes everywhere, and one whose new holes lie where the scale has a name."""
    fleet, plan = sample("imported")
    [planned] = [each for each in plan.sets if each.pair == tag]
    made = template_job(
        fleet, planned, number="WO-1", revision="A", proposal=False, plan_hash="", printed_at=PRINTED_AT
    )
    struck = []
    for page in template_pages(made, Paper.A4):
        lines = [s for s in page.shapes if isinstance(s, Line)]
        axis = max((s for s in lines if s.x1 == s.x2), key=lambda s: abs(s.y1 - s.y2))
        crosses = [s for s in lines if hypot(s.x1 - s.x2, s.y1 - s.y2) == pytest.approx(12)]
        for words in page.shapes:
            if isinstance(words, Words) and not words.turn:
                wide, high = width_mm(words.text, words.face, words.size), words.size * 25.4 / 72 * 0.72
                left = words.x - {Anchor.START: 0.0, Anchor.MIDDLE: wide / 2, Anchor.END: wide}[words.anchor]
                struck += [
                    words.text
                    for line in (axis, *crosses)
                    if min(line.x1, line.x2) < left + wide
                    and max(line.x1, line.x2) > left
                    and min(line.y1, line.y2) < words.y
                    and max(line.y1, line.y2) > words.y - high
                ]
    assert struck == []
