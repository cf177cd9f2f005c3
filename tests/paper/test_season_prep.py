"""The season prep checklists: sections, values, and which boots are drawn."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from io import BytesIO
from itertools import pairwise

import pymupdf
import pytest
from pypdf import PdfReader

from fleet.base.errors import BadInput
from fleet.facts.boots import Boot
from fleet.facts.holes import Side
from fleet.facts.patterns import Fit
from fleet.facts.policy import default_policy
from fleet.facts.staff import Role, Staff
from fleet.facts.standing import Place
from planner.paper.prep_checklist import (
    MOST_ITEMS,
    ROWS_A_PAGE,
    Item,
    Section,
    prep_pair_pdf,
    prep_pdf,
    sections_of,
)
from planner.paper.prep_shop import boot_cells, prep_shop_pdf, shop_items
from tests.paper.invented_shop import PRINTED_AT, part_reused, whole_plan


def boots(**seasons: int) -> dict[str, Boot]:
    """So many boots of one model and shell per season; ``unknown`` has no season on record."""
    found = {}
    for season, count in seasons.items():
        for n in range(count):
            tag = f"B-{season}-{n:03d}"
            found[tag] = Boot(
                tag=tag,
                model="Skarn",
                mondopoint_mm=270 + 5 * (n % 2),
                bsl_um=305_000,
                bsl_measured="printed",
                sole_type="ISO 5355 A",
                season="" if season == "unknown" else season[1:],
            )
    return found


def cells(fleet_of_boots: dict[str, Boot], seed: str = "a"):
    return boot_cells(fleet_of_boots, default_policy(), seed=seed)


def test_one_of_each_new_cell_and_a_twentieth_of_the_old_are_drawn():
    # published: fedsport.com overview (excerpt)
    old, new = cells(boots(s2024=100, s2026=12))
    assert (old.season, old.new, len(old.drawn)) == ("2024", False, 5)
    assert (new.season, new.new, len(new.drawn)) == ("2026", True, 1)


def test_half_sizes_share_a_shell_and_so_a_cell():
    # common practice, no source
    (cell,) = cells(boots(s2026=4))
    assert (cell.shell_cm, len(cell.tags)) == (27, 4)


def test_boots_of_no_recorded_season_count_as_new():
    (cell,) = cells(boots(unknown=30))
    assert cell.new
    assert len(cell.drawn) == 1


def test_the_draw_repeats_with_its_seed_and_differs_with_another():
    many = boots(s2024=200, s2026=3)
    assert cells(many, "a") == cells(many, "a")
    assert any(cells(many, "a") != cells(many, seed) for seed in "bcdef")


def test_every_boot_is_in_one_cell():
    many = boots(s2024=17, s2025=8, s2026=5, unknown=3)
    assert sorted(tag for cell in cells(many) for tag in cell.tags) == sorted(many)


def test_the_shop_has_nine_things_each_with_a_value_and_unset_cures_are_said_aloud():
    items = shop_items(part_reused()[0])
    assert len(items) == 9
    assert all(all(item) for item in items)
    assert "wood glue: NOT SET" in " ".join(item[2] for item in items)
    assert items[1][2] == "3.6 × 7, 3.6 × 9, 4.1 × 9"
    assert items[-1][2] == "no printer correction", "nobody measured its bars"


def test_a_pair_has_sections_of_at_most_nine_and_the_ledgers_values_stand_in_them():
    fleet, _ = part_reused()
    pair = fleet.pairs["K4-0417"]
    sections = sections_of(pair, fleet.bindings_on(pair.tag))
    assert all(1 <= len(section.items) <= MOST_ITEMS for section in sections)
    expected = {item.ask: item.expects for section in sections for item in section.items}
    assert expected["Mark to tail, ruler laid flat, mm"] == ("812.0", "812.0")
    assert expected["Screws in the ski"] == ("8", "8")
    assert expected["Screws that moved, by hand: one is a HOLD"] == ("0", "0")
    assert expected["Boot tag, and sole length READ ON THE BOOT, mm"][0] == "305 mm"


def test_holes_that_nobody_looked_for_are_not_counted_as_none():
    """Ski A carries a binding whose holes are not listed; ski B was seen bare and has no hole."""
    fleet, _ = part_reused()
    pair = fleet.pairs["K4-0417"]
    unseen = replace(pair.skis[Side.A], holes=(), inspected=())
    bare = replace(pair.skis[Side.B], holes=())
    sections = sections_of(replace(pair, skis={Side.A: unseen, Side.B: bare}), {})
    expected = {item.ask: item.expects for section in sections for item in section.items}
    assert bare.inspected
    assert expected["Screws in the ski"] == ("not known", "0")
    assert expected["Open holes: sealed today"] == ("not known", "0")


def test_a_section_of_ten_is_refused():
    with pytest.raises(ValueError, match="10 items"):
        Section(title="too long", items=(Item(ask="?"),) * 10)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_checklists_print_and_carry_tag_cautions_and_signatures(paper):
    fleet, _ = part_reused()
    pair = PdfReader(BytesIO(prep_pair_pdf(fleet, ["K4-0417"], printed_at=PRINTED_AT, paper=paper)))
    shop = PdfReader(BytesIO(prep_shop_pdf(fleet, printed_at=PRINTED_AT, paper=paper)))
    for page in (*pair.pages, *shop.pages):
        text = " ".join(page.extract_text().split())
        assert "A name signed here is a claim, not a proof." in text
        assert "name, time" in text or "by whom" in text
    assert "K4-0417" in pair.pages[0].extract_text()
    assert "OPENS ITS WHOLE CELL" in " ".join(shop.pages[1].extract_text().split())


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_boot_that_is_drawn_stands_whole_on_the_sheet_in_its_own_row(paper: str):
    """A fifth of 200 old boots of two shells: a tag that is cut off is a boot that nobody looks at."""
    fleet, _ = part_reused()
    policy = fleet.policy.with_values(prep_old_boots_percent="20")
    fleet = replace(fleet, boots=boots(s2024=200, s2026=2), policy=policy)
    drawn = [tag for cell in boot_cells(fleet.boots, policy, seed=fleet.head.hash) for tag in cell.drawn]
    assert len(drawn) >= 41
    _, *pages = pymupdf.open(stream=prep_shop_pdf(fleet, printed_at=PRINTED_AT, paper=paper))
    words = [word for page in pages for word in page.get_text("words")]
    assert sorted(word[4] for word in words if word[4].startswith("B-")) == sorted(drawn)
    assert not any("…" in word[4] for word in words)
    for page in pages:
        rows = {round(word[3], 0) for word in page.get_text("words") if word[4].startswith("B-")}
        gaps = [low - high for high, low in pairwise(sorted(rows))]
        assert all(gap >= 8 for gap in gaps), "lines of tags lie on each other"


def test_a_box_of_a_boot_says_what_a_mark_in_it_means_also_in_grey():
    """Black for in order, red for a cell that is opened: a grey printer shows two boxes alike."""
    fleet, _ = part_reused()
    _, page, *_ = pymupdf.open(stream=prep_shop_pdf(fleet, printed_at=PRINTED_AT))
    words = [word[4] for word in page.get_text("words")]
    cells = sum(bool(cell.drawn) for cell in boot_cells(fleet.boots, fleet.policy, seed=fleet.head.hash))
    assert cells > 0
    assert (words.count("ok"), words.count("open")) == (cells + 1, cells + 1)  # and once in the head


def test_no_pattern_and_no_person_of_a_shop_is_cut_off_the_list_of_what_should_be_there():
    fleet, _ = part_reused()
    names = [f"Person Number{n:02d}" for n in range(14)]
    patterns = [f"Corrie Walk {n}+4" for n in range(4, 24)]
    fleet = replace(
        fleet,
        staff={name: Staff(name=name, role=Role.TECHNICIAN, valid_until=date(2028, 5, 31)) for name in names},
        fits=tuple(
            Fit(sole_type="ISO 5355 A", pattern=name, binding_sheet="s", boot_sheet="s") for name in patterns
        ),
    )
    [page, *_] = pymupdf.open(stream=prep_shop_pdf(fleet, printed_at=PRINTED_AT))
    text = " ".join(page.get_text().split())
    assert "…" not in text
    for said in (*names, *patterns):
        assert said in text
    last, signs = page.search_for("Test sheet printed at 100 %"), page.search_for("done by: name, date, time")
    assert last[0].y1 + 20 < signs[0].y0


@pytest.mark.parametrize(("place", "words"), [(Place.HOLD, "on hold"), (Place.FLAT, "flat (no binding on)")])
def test_the_checklist_of_a_pair_says_its_place_as_every_other_sentence_does(place: Place, words: str):
    fleet, _ = part_reused()
    fleet = replace(fleet, pairs={"K4-0417": replace(fleet.pairs["K4-0417"], place=place)})
    printed = PdfReader(BytesIO(prep_pair_pdf(fleet, ["K4-0417"], printed_at=PRINTED_AT)))
    text = printed.pages[0].extract_text()
    assert f"Season prep{words}" in text.replace("\n", "")
    assert f"stands {place}" not in text


def test_the_checklist_of_a_plan_has_nine_pairs_a_page_and_every_pair_once():
    fleet, plan = whole_plan()
    pages = PdfReader(BytesIO(prep_pdf(fleet, plan.sets, printed_at=PRINTED_AT, proposal=True))).pages
    texts = [page.extract_text() for page in pages]
    assert [sum(tag in text for tag in fleet.pairs) for text in texts] == [ROWS_A_PAGE, ROWS_A_PAGE, 5]
    assert all("PROPOSAL" in text for text in texts)


def test_nothing_to_prepare_is_a_sentence():
    fleet, _ = part_reused()
    with pytest.raises(BadInput, match="no pair to prepare"):
        prep_pdf(replace(fleet), [], printed_at=PRINTED_AT)
