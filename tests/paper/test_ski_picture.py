"""Where words on the ski picture come to lie."""

from __future__ import annotations

import math
from dataclasses import replace

from fleet.facts.holes import Hole, HoleState, Knowledge, Side
from planner.paper.shapes import Disc, Drawing, Words, width_mm
from planner.paper.ski_facts import ScrewFact, SkiFact
from planner.paper.ski_picture import SkiPicture


def _screw(label: str, y_um: int, nearest: str) -> ScrewFact:
    return ScrewFact(
        label=label, turn=1, number=1, hole_id=None, nearest_id=None,
        piece="heel", x_um=-99_000, y_um=y_um, do="drill", diameter_um=4100, depth_um=9000,
        nearest_um=11_500, nearest_label=nearest, old=None,
    )  # fmt: skip


def _hole(label: str, y_um: int) -> Hole:
    return Hole(
        hole_id=label, x_um=-110_500, y_um=y_um, diameter_um=4100, depth_um=None,
        state=HoleState.OPEN, knowledge=next(iter(Knowledge)),
    )  # fmt: skip


def test_equal_distances_of_mirrored_holes_stand_outside_each_beside_its_own_hole():
    old = (_hole("g", -19_000), _hole("h", 19_000))
    ski = SkiFact(
        sides=(Side.A, Side.B), screws=(_screw("5", -19_000, "g"), _screw("7", 19_000, "h")),
        old_holes=old, plugs=old, mark_from_tail_um=702_000,
        centre_from_tail_um=712_000, centre_from_mark_um=0, not_inspected=(),
    )  # fmt: skip
    drawing = Drawing()
    picture = SkiPicture(drawing, ski, waist_um=76_000, left=10, top=60, width=62, height=90)
    picture.draw()
    places = sorted(s.x for s in drawing.shapes if isinstance(s, Words) and s.text == "11.5")
    assert len(places) == 2
    assert places[0] < picture.at(0, -19_000)[0]
    assert places[1] > picture.at(0, 19_000)[0]


def test_the_name_of_a_hole_on_the_mark_is_not_struck_through_by_it():
    hole = replace(_hole("10", 18_000), x_um=0)
    ski = SkiFact(
        sides=(Side.A,), screws=(), old_holes=(hole,), plugs=(), mark_from_tail_um=702_000,
        centre_from_tail_um=702_000, centre_from_mark_um=0, not_inspected=(),
    )  # fmt: skip
    drawing = Drawing()
    picture = SkiPicture(drawing, ski, waist_um=76_000, left=10, top=60, width=62, height=90)
    picture.draw()
    [name] = [s for s in drawing.shapes if isinstance(s, Words) and s.text == "10"]
    mark = picture.length.y(0)
    height = 7.2 * 25.4 / 72 * 0.72  # of figures in this type
    assert not name.y - height < mark < name.y


def test_a_distance_with_no_room_beside_the_signs_stands_in_the_table_only():
    """A junior toe between old holes, in a low picture: words that lay on a sign could not be read."""
    screws = tuple(
        replace(_screw(label, y_um, near), x_um=99_500, nearest_um=11_000, piece="toe")
        for label, y_um, near in (("13", -11_500, "8"), ("15", 11_500, "7"))
    )
    old = tuple(
        replace(_hole(label, y_um), x_um=x_um, state=HoleState.PLUGGED)
        for label, x_um, y_um in (
            ("2", 123_500, -11_500), ("1", 123_500, 11_500), ("8", 110_500, -11_500),
            ("7", 110_500, 11_500), ("3", 94_500, 0), ("9", 82_000, 0),
        )
    )  # fmt: skip
    plugs = tuple(hole for hole in old if hole.label in "213")
    ski = SkiFact(
        sides=(Side.A, Side.B), screws=screws, old_holes=old, plugs=plugs, mark_from_tail_um=466_000,
        centre_from_tail_um=466_000, centre_from_mark_um=0, not_inspected=(),
    )  # fmt: skip
    told = {}
    for height in (46, 90):
        drawing = Drawing()
        SkiPicture(drawing, ski, waist_um=62_000, left=10, top=60, width=57, height=height).draw()
        distances = [s for s in drawing.shapes if isinstance(s, Words) and s.text == "11.0"]
        for words in distances:
            half, middle = width_mm("11.0", words.face, words.size) / 2, words.y - 0.8
            for disc in (s for s in drawing.shapes if isinstance(s, Disc)):
                beside = max(abs(words.x - disc.x) - half, 0.0)
                assert math.hypot(beside, max(abs(middle - disc.y) - 0.9, 0.0)) > disc.r - 0.3
        told[height] = len(distances)
    assert told == {46: 0, 90: 2}
