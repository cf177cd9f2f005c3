"""Paper names the length that can be read on the boot, and the counted one beside it where they differ."""

from __future__ import annotations

import pymupdf
import pytest

from fleet.facts.boots import Boot
from planner.demo import moments
from planner.paper.labels import fleet_labels
from planner.paper.prep_checklist import prep_pdf
from planner.paper.work_order import work_order_pdf
from planner.plan.values import Rung
from tests.paper.sample_sheets import sample, sheets


@pytest.mark.parametrize(
    ("bsl_um", "how", "words"),
    [
        (305_000, "printed", "305 mm"),
        (272_000, "measured 282 mm, duckbill minus 10 mm", "282 mm, counts as 272"),
        (271_500, "measured 281.5 mm, duckbill minus 10 mm", "281.5 mm, counts as 271.5"),
        (282_000, "measured 282 mm, duckbill minus 0 mm", "282 mm"),
        (None, "", "not known"),
    ],
)
def test_the_length_that_a_rule_reads_stands_first(bsl_um: int | None, how: str, words: str) -> None:
    boot = Boot(
        tag="B-1", model="Invented", mondopoint_mm=250, bsl_um=bsl_um, bsl_measured=how, sole_type="nordic 75"
    )
    assert boot.sole_words == words


def test_every_sheet_of_a_duckbill_boot_names_what_its_sole_measures() -> None:
    """75 mm soles of the sample measure 10 mm more than they count (the shop's rule)."""
    fleet, plan = sample("imported")
    duckbills = {tag for tag, boot in fleet.boots.items() if "counts" in boot.sole_words}
    ordered = [sheet for sheet in sheets("imported") if sheet.boot.tag in duckbills]
    assert len(ordered) > 5
    for sheet in ordered[:6]:
        text = pymupdf.open(stream=work_order_pdf([sheet]))[0].get_text()
        read, counts = (int(part) for part in sheet.boot.sole_words.split(" mm, counts as "))
        assert read - counts == 10
        words = text.split()
        at = words.index("counts")
        assert words[at + 1 : at + 3] == ["as", str(counts)]
        assert str(read) in words[at - 3 : at]
    prep = "".join(
        page.get_text() for page in pymupdf.open(stream=prep_pdf(fleet, plan.sets, printed_at=moments.PLAN))
    )
    served = next(s for s in plan.sets if s.boot in duckbills and s.way.rung is not Rung.AS_IS)
    read = fleet.boots[served.boot].sole_words.partition(",")[0]
    assert read in prep
    tag = min(duckbills)
    [label] = fleet_labels(fleet, [tag])
    assert label.facts == f" · sole {fleet.boots[tag].sole_words}"
