"""The fleet's further mounts over the years, the pairs that end, and the page that shows both."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from pypdf import PdfReader

from fleet.facts.holes import Mount
from fleet.facts.standing import Place
from fleet.tables.snapshot import Fleet
from planner.bench.season import life_over_years, life_played_out, pairs_that_end
from planner.paper.chart import Bar, bar_chart, season_end_pdf
from planner.paper.shapes import Box, Drawing, Words
from tests.assign.builders import fleet, kit, pair, wish


def mounts(*days: str | None) -> tuple[Mount, ...]:
    return tuple(
        Mount(pattern="P", bsl_um=305_000, offset_um=0, mounted_on=day, removed_on=None) for day in days
    )


def shop(drilled: dict[str, Sequence[str | None]]) -> Fleet:
    pairs = [replace(pair(tag), mounts=mounts(*days), earlier_mounts=0) for tag, days in drilled.items()]
    return fleet(
        pairs=pairs,
        boots=[],
        wishes=[wish("W-1")],
        bindings=list(kit(1, "P", None, "K-1")),
        patterns=("P",),
        fits=(("sole", "P"),),
    )


def test_pairs_without_a_further_mount_are_named_with_the_reason() -> None:
    found = shop({"K-1": ["2023-10-01"], "K-2": ["2023-10-01", "2025-10-09"], "K-3": [None, None, None]})
    assert [*pairs_that_end(found).items()] == [
        ("K-2", "2 mounts drilled, the shop's rule allows 2; the last on Thu 9 Oct 2025"),
        ("K-3", "3 mounts drilled, the shop's rule allows 2"),
    ]
    sold = replace(found, pairs={t: replace(p, place=Place.SOLD) for t, p in found.pairs.items()})
    assert pairs_that_end(sold) == {}
    assert life_over_years(sold, today=date(2026, 1, 1))[-1].left == (0, 0, 0, 0)
    more = replace(found, policy=found.policy.with_values(mounts_max="3"))
    assert [*pairs_that_end(more)] == ["K-3"]


def test_a_year_counts_what_was_drilled_by_its_end_and_a_mount_of_no_date_as_before() -> None:
    days = {
        "K-1": ["2023-10-01"],
        "K-2": ["2023-10-01", "2025-10-09"],
        "K-3": [None],
        "K-4": ["2025-12-31", "2026-01-01"],
    }
    years = life_over_years(shop(days), today=date(2026, 2, 1))
    assert [(each.name, each.left) for each in years] == [
        ("2023", (0, 3, 1, 0)),  # K-4 has both still
        ("2025", (1, 3, 0, 0)),  # K-2 ends
        ("today", (2, 2, 0, 0)),
    ]
    assert life_played_out(shop(days), 2).left == (2, 2, 0, 0)
    assert (life_played_out(shop(days), 2).name, life_played_out(shop(days), 2).drawn) == ("+2", True)


@pytest.mark.parametrize("many", [1, 60])
def test_the_page_names_them_as_far_as_it_has_room_and_says_how_many_more(many: int) -> None:
    found = shop({f"K-{n}": ["2023-10-01", "2025-10-09"] for n in range(1, many + 1)})
    ends, years = pairs_that_end(found), life_over_years(found, today=date(2026, 2, 1))
    made = season_end_pdf(found, years, ends, (), printed_at=datetime(2026, 2, 1, tzinfo=UTC))
    (page,) = PdfReader(io.BytesIO(made)).pages
    text = page.extract_text()
    assert f"{many} pair{'' if many == 1 else 's'} without a further mount" in text
    named = sum(f"K-{n} " in text for n in range(1, many + 1))
    assert (f"and {many - named} more: mountbook season-end" in text) == (many > named)
    assert named == 1 or 10 < named < 60


def test_every_part_of_a_bar_has_its_number_inside_or_beside_and_its_height() -> None:
    d = Drawing()
    bars = [Bar("2024", (1, 2, 97)), Bar("+1", (0, 50, 0), drawn=True)]
    parts = (("none", "#A3123F"), ("one", "#FFFFFF"), ("two", "#EEF3F5"))
    bar_chart(d, bars, title="pairs", parts=parts, left=0, top=0, width=100, height=60)
    words = [each.text for each in d.shapes if isinstance(each, Words)]
    assert [words.count(text) for text in ("1", "2", "97", "100", "50", "0")] == [1, 1, 1, 1, 2, 0]
    heights = [each.h for each in d.shapes if isinstance(each, Box) and each.w > 4]
    assert heights[0] * 97 == pytest.approx(heights[2])
    assert heights[3] == pytest.approx(heights[0] * 50)
    assert [bool(each.dash) for each in d.shapes if isinstance(each, Box) and each.w > 4] == [False] * 3 + [
        True
    ]
