"""Labels where the rule says they are, and codes that a scanner reads from the rendered page."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO
from itertools import combinations

import pymupdf
import pytest
import zxingcpp
from PIL import Image
from pypdf import PdfReader

from fleet.base.errors import BadInput, Refused
from fleet.facts.holes import Side
from fleet.facts.tags import check_character
from planner.paper import cautions
from planner.paper.labels import DOT_MM, Label, fleet_labels, labels_pdf, module_mm, roll_layout, sheet_layout
from planner.paper.sheet_frame import qr_code
from planner.paper.template import template_job, template_pdf
from planner.paper.work_order import work_order_pdf
from planner.paper.work_order_facts import work_order_sheet
from tests.paper.invented_shop import CASES, PRINTED_AT, part_reused

HEAD = f"1284:{'a3f920c1' * 8}"
SHEET = {"columns": 3, "rows": 7, "w": 63.5, "h": 38.1, "left": 7.2, "top": 15.1, "pitch_x": 66.0}

TO_THE_EDGE = {"columns": 3, "rows": 7, "w": 70.0, "h": 37.0, "left": 0.0, "top": 15.0}


def pictures(data: bytes, dpi: int) -> list[Image.Image]:
    return [
        Image.frombytes("L", (p.width, p.height), p.samples)
        for p in (
            page.get_pixmap(dpi=dpi, colorspace=pymupdf.csGRAY)
            for page in pymupdf.open(stream=data, filetype="pdf")
        )
    ]


def codes(picture: Image.Image):
    """The codes but that of the ledger's head, which `test_head_code.py` reads."""
    found = zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode)
    return [code for code in found if not code.text.startswith("HEAD ")]


def labels(count: int) -> list[Label]:
    return [Label(tag=f"K4-{n:04d}", line="Quern Ridge 93 · 178 cm", side=Side.A) for n in range(count)]


def test_every_label_of_a_sheet_is_read_at_203_dpi():
    (page,) = pictures(labels_pdf(labels(21), sheet_layout("A4", **SHEET), head=HEAD), 203)
    assert sorted(code.text for code in codes(page)) == [f"K4-{n:04d} A" for n in range(21)]


@pytest.mark.parametrize("size", [(38, 19), (57, 32), (70, 37), (100, 50)])
def test_a_label_of_a_roll_is_read_at_203_dpi_and_its_modules_are_whole_dots(size):
    layout = roll_layout(w=size[0], h=size[1])
    dots = module_mm(layout) / DOT_MM
    assert dots == pytest.approx(round(dots))
    for picture, label in zip(
        pictures(labels_pdf(labels(2), layout, head=HEAD), 203), labels(2), strict=True
    ):
        (code,) = codes(picture)
        assert code.text == label.code


def test_labels_lie_where_the_rule_says_and_move_by_the_shift():
    plain = sheet_layout("A4", **SHEET)
    assert next(iter(plain.corners())) == (7.2, 15.1)
    assert list(plain.corners())[-1] == pytest.approx((7.2 + 2 * 66, 15.1 + 6 * 38.1))
    moved = replace(plain, shift_x=0.8, shift_y=-0.4)
    at, shifted = (
        codes(pictures(labels_pdf(labels(1), layout, head=HEAD), 300)[0])[0] for layout in (plain, moved)
    )
    dx = (shifted.position.top_left.x - at.position.top_left.x) / 300 * 25.4
    dy = (shifted.position.top_left.y - at.position.top_left.y) / 300 * 25.4
    assert (dx, dy) == pytest.approx((0.8, -0.4), abs=0.13)


def test_a_model_is_not_cut_while_the_label_has_room_below_its_code():
    """The last line begins below the code, where the code and its quiet zone end above it."""
    boot = replace(labels(1)[0], line="Longname Boot 110 of 25", facts=" · sole 325 mm, counts as 315")
    wide, low = sheet_layout("A4", **TO_THE_EDGE), roll_layout(w=57, h=20)
    (said, beside) = (
        PdfReader(BytesIO(labels_pdf([boot], layout, head=HEAD))).pages[0].extract_text()
        for layout in (wide, low)
    )
    assert "Longname Boot 110 of 25 · sole 325 mm, counts as 315" in said
    assert "… · sole 325 mm" in beside, "no room below the code: the line stays beside it"
    (code,) = codes(pictures(labels_pdf([boot], wide, head=HEAD), 203)[0])
    assert code.text == boot.code


def test_a_sheet_begun_is_used_up_before_the_next():
    layout = sheet_layout("A4", **SHEET)
    pages = PdfReader(BytesIO(labels_pdf(labels(21), layout, skip=20, head=HEAD))).pages
    assert [page.extract_text().count("K4-") for page in pages] == [1, 20]


def test_each_ski_has_its_label_with_tag_check_character_and_letter():
    fleet, _ = part_reused()
    a, b = fleet_labels(fleet)
    assert (a.side, b.side, a.tag) == (Side.A, Side.B, "K4-0417")
    (boots,) = fleet_labels(fleet, ["B-210"])
    assert boots.side is None
    text = PdfReader(BytesIO(labels_pdf([a], roll_layout(w=70, h=37), head=HEAD))).pages[0].extract_text()
    assert f"/ {check_character('K4-0417')}" in text
    assert "K4-0417" in text


def test_a_boots_label_cuts_the_model_and_never_the_sole_length():
    """A telemark boot of 325 mm that counts as 315 mm; the name of its model is longer than the label."""
    fleet, _ = part_reused()
    boot = replace(fleet.boots["B-210"], model="A boot whose model has a long name", bsl_um=315_000)
    boot = replace(boot, bsl_measured="measured 325 mm, duckbill minus 10 mm")
    made = fleet_labels(replace(fleet, boots={boot.tag: boot}), [boot.tag])
    [page] = PdfReader(BytesIO(labels_pdf(made, sheet_layout("A4", **TO_THE_EDGE), head=HEAD))).pages
    assert "… · sole 325 mm, counts as 315" in page.extract_text()


def test_nothing_stands_where_an_office_printer_leaves_the_edge_blank():
    """The sheet of 3 x 7 labels of 70 x 37 mm without a margin at its sides; 4 mm stay blank."""
    [page] = pymupdf.open(stream=labels_pdf(labels(21), sheet_layout("A4", **TO_THE_EDGE), head=HEAD))
    blank = 4.0 / 25.4 * 72
    boxes = [*(d["rect"] for d in page.get_drawings()), *(word[:4] for word in page.get_text("words"))]
    assert min(box[0] for box in boxes) >= blank - 0.1
    assert max(box[2] for box in boxes) <= page.rect.width - blank + 0.1


TO_THE_TOP = {"columns": 3, "rows": 8, "w": 70.0, "h": 37.0, "left": 0.0, "top": 0.5}
LOW_TO_THE_TOP = {"columns": 4, "rows": 14, "w": 52.5, "h": 21.2, "left": 0.0, "top": 0.0}


@pytest.mark.parametrize("sheet", [TO_THE_TOP, LOW_TO_THE_TOP])
def test_nothing_of_the_first_and_last_row_stands_in_the_edge_that_stays_blank(sheet):
    """Sheets of 24 and of 56 labels up to the paper's edge: the sign of the ski and the model are whole."""
    count = sheet["columns"] * sheet["rows"]
    data = labels_pdf(labels(count), sheet_layout("A4", **sheet), head=HEAD)
    [page] = pymupdf.open(stream=data)
    blank = 4.0 / 25.4 * 72
    spans = [
        span for block in page.get_text("dict")["blocks"] for line in block["lines"] for span in line["spans"]
    ]
    assert min(span["origin"][1] - 0.72 * span["size"] for span in spans) >= blank - 0.1
    assert max(span["origin"][1] + 0.22 * span["size"] for span in spans) <= page.rect.height - blank + 0.1
    drawn = [drawing["rect"] for drawing in page.get_drawings()]
    assert min(box[1] for box in drawn) >= blank - 0.1
    assert max(box[3] for box in drawn) <= page.rect.height - blank + 0.1
    letters = [
        pymupdf.Rect(x0, y - 0.72 * span["size"], x1, y + (0.22 * span["size"] if span["size"] < 8 else 0))
        for span in spans
        for x0, _, x1, _ in [span["bbox"]]
        for _, y in [span["origin"]]
    ]
    assert not [(one, other) for one, other in combinations(letters, 2) if one.intersects(other)]
    signs = [box for box in drawn if round(box.width / 72 * 25.4, 1) == 6.0]
    tags = [box for box in letters if box.height > 11 and box.width > 20]
    assert len(signs) == len(tags) == count
    assert not [(tag, sign) for tag in tags for sign in signs if tag.intersects(sign)]
    assert len(codes(pictures(data, 203)[0])) == count


@pytest.mark.parametrize(
    ("paper", "sheet", "place"),
    [
        ("A4", SHEET, "below"),
        ("A4", TO_THE_EDGE, "below"),
        ("A4", SHEET | {"top": 22.0}, "below"),
        ("A4", SHEET | {"top": 29.0}, "above"),
        ("Letter", {"columns": 3, "rows": 10, "w": 66.7, "h": 25.4, "left": 4.8, "top": 12.7}, "below"),
        ("A4", TO_THE_TOP, None),
    ],
)
def test_each_sheet_bears_its_caution_clear_of_the_labels_where_a_margin_holds_it(paper, sheet, place):
    """What a label must not be taken for, and who comes before it."""
    layout = sheet_layout(paper, **sheet)
    for page in pymupdf.open(stream=labels_pdf(labels(layout.count + 1), layout, head=HEAD, outlines=True)):
        said = page.search_for(cautions.LABEL)
        assert len(said) == (place is not None)
        if place is None:
            continue
        [box] = said
        first, last = layout.top / 25.4 * 72, page.rect.height - layout.clear_below / 25.4 * 72
        assert box.y1 <= first if place == "above" else box.y0 >= last
        assert box.x0 >= 11
        assert box.x1 <= page.rect.width - 11
        beside = [word for word in page.get_text("words") if not box.contains(word[:4])]
        assert not any(box.intersects(word[:4]) for word in beside)
        assert not any(box.intersects(drawing["rect"]) for drawing in page.get_drawings())


def test_an_unknown_tag_gets_no_label():
    with pytest.raises(Refused, match="no pair and no boot K9"):
        fleet_labels(part_reused()[0], ["K9"])


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"pitch_x": 60.0}, "the labels overlap"),
        ({"columns": 4}, "over the edge of the sheet"),
        ({"h": 15.0}, "too small for tag and code"),
        ({"rows": 0}, "at least one label"),
        ({"left": -1.0}, "over the edge"),
    ],
)
def test_measures_that_cannot_be_are_refused(change, sentence):
    with pytest.raises(BadInput, match=sentence):
        sheet_layout("A4", **(SHEET | change))


@pytest.mark.parametrize(
    ("text", "modules"), [("K" * 20, 21), ("k" * 14, 21), ("k" * 15, 25), ("k" * 84, 37)]
)
def test_a_longer_tag_has_finer_modules_in_the_same_room(text, modules):
    """Characters each version holds at level M: ISO/IEC 18004, from memory."""
    assert qr_code(text, 0, 0, 15).module == pytest.approx(15 / modules)


def test_where_the_modules_would_be_too_fine_to_read_the_paper_says_no_code():
    assert qr_code("k" * 84, 0, 0, 10.5).text == "NO CODE"
    assert qr_code("k" * 5000, 0, 0, 15).text == "NO CODE"


@pytest.mark.parametrize("name", CASES)
def test_the_codes_of_an_order_and_of_its_template_name_sheet_pair_and_ski(name):
    fleet, planned = CASES[name]()
    told = {"number": "WO-1", "revision": "A", "proposal": False, "plan_hash": "9f", "printed_at": PRINTED_AT}
    sheet = work_order_sheet(fleet, planned, **told)
    pages = pictures(work_order_pdf([sheet]), 150)
    said = [code.text for page in pages for code in codes(page)]
    assert list(dict.fromkeys(said)) == [f"WO-1 A/{planned.pair}/{''.join(ski.sides)}" for ski in sheet.skis]
    assert len(said) == len(pages)
    pages = pictures(template_pdf([template_job(fleet, planned, **told)]), 150)
    said = [code.text for page in pages for code in codes(page)]
    assert len(said) == len(pages)
    assert list(dict.fromkeys(said)) == [f"WO-1 A/{planned.pair}/{side}" for side in "AB"]


def test_the_code_of_a_template_of_a_proposal_names_the_pair_alone():
    fleet, planned = part_reused()
    told = {"number": None, "revision": None, "proposal": True, "plan_hash": "9f", "printed_at": PRINTED_AT}
    pages = pictures(template_pdf([template_job(fleet, planned, **told)]), 150)
    assert {code.text for page in pages for code in codes(page)} == {planned.pair}


def test_the_longest_tag_is_printed_in_full_below_the_sign_of_its_ski_or_refused_on_a_low_label():
    """As many lines as the label is high: three on 70 x 37 mm hold 64 characters, two do not."""
    tag = f"ALPINE-HALL-TWO-{'X' * 44}0417"
    one = [Label(tag=tag, line="Quern Ridge 93", side=Side.B)]
    layout = roll_layout(w=70, h=37)
    (picture,) = pictures(labels_pdf(one, layout, head=HEAD), 203)
    assert [code.text for code in codes(picture)] == [f"{tag} B"]
    [page] = pymupdf.open(stream=labels_pdf(one, layout, head=HEAD), filetype="pdf")
    lines = [w for w in page.get_text("words") if set(w[4]) & set("X") or "ALPINE" in w[4]]
    assert "".join(w[4] for w in lines) == tag
    assert len(lines) == 3
    sign_ends_mm = 8.0
    assert min(w[1] for w in lines) / 72 * 25.4 >= sign_ends_mm
    with pytest.raises(BadInput, match="do not fit a label of 70 x 30 mm"):
        labels_pdf(one, roll_layout(w=70, h=30), head=HEAD)
