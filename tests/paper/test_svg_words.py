"""A tablet has not the typeface of the paper, and a picture cannot bring it: the words keep their room."""

from __future__ import annotations

from typing import Any

import pytest

from planner.paper.shapes import Anchor, Face, Page, Words, width_mm
from planner.paper.svg_writer import svg_of
from tests.chromium import chromium

__all__ = ["chromium"]


@pytest.mark.parametrize("face", Face)
def test_words_are_as_wide_as_on_paper_in_another_typeface(chromium: Any, face: Face) -> None:
    text, size = "Ø 4.1 × 9.0 and toward TAIL", 14.0
    shapes = tuple(
        Words(x=100.0, y=20.0, text=text, size=size, face=face, fill="black", anchor=anchor)
        for anchor in Anchor
    )
    svg = svg_of(Page(200.0, 40.0, shapes), label="words").replace("Noto Sans", "no such face")
    page = chromium.new_page()
    page.set_content(svg)
    boxes = page.evaluate(
        "() => [...document.querySelectorAll('text')].map((t) => [t.getBBox().x, t.getBBox().width])"
    )
    page.close()
    wide = width_mm(text, face, size)
    starts = {Anchor.START: 100.0, Anchor.MIDDLE: 100.0 - wide / 2, Anchor.END: 100.0 - wide}
    assert boxes == [pytest.approx([starts[anchor], wide], abs=0.3) for anchor in Anchor]
