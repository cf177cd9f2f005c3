"""A survey typed at the bench: what it enters, and the slips it must not swallow."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, strategies as st

from fleet.events.pairs import AreaInspected, HoleChanged, HolesRecorded
from fleet.facts.holes import Hole, HoleState, Knowledge, Mount, Side
from fleet.facts.kinds import Kind
from fleet.facts.pairs import Construction, Pair, Ski
from fleet.facts.policy import default_policy
from fleet.facts.standing import Place
from planner.geometry.survey.batch import batches
from planner.geometry.survey.proposal import (
    PlacedHole,
    SurveyProposal,
    one_in_another,
    place_four,
    propose_survey,
)
from planner.geometry.survey.readings import FourReading, HoleReading, read_lines

AGREE_UM = 1_000


def pair(
    tag: str = "K-1",
    *,
    holes: tuple[Hole, ...] = (),
    marks: tuple[int | None, int | None] = (812_000, 812_000),
) -> Pair:
    return Pair(
        tag=tag,
        model="Firn 92",
        kind=Kind.ALPINE,
        length_mm=1780,
        waist_um=92_000,
        construction=Construction.NO_METAL,
        rack="C-1",
        place=Place.FLAT,
        skis={
            side: Ski(side=side, mark_from_tail_um=mark, holes=holes)
            for side, mark in zip(Side, marks, strict=True)
        },
        mounts=(Mount(pattern="T4/H4", bsl_um=305_000, offset_um=0, mounted_on="2024-11-01"),),
    )


def hole(hole_id: str, x_mm: float, y_mm: float, **changes: object) -> Hole:
    known = {
        "diameter_um": 3_600,
        "depth_um": None,
        "state": HoleState.OPEN,
        "knowledge": Knowledge.TEMPLATE,
    } | changes
    return Hole(hole_id=hole_id, x_um=round(x_mm * 1000), y_um=round(y_mm * 1000), **known)  # type: ignore[arg-type]


def survey(
    text: str, of: Pair | None = None, knowledge: Knowledge = Knowledge.MEASURED_BARE
) -> SurveyProposal:
    readings, faults = read_lines(text.splitlines())
    assert faults == []
    return propose_survey(
        of or pair(),
        readings,
        on="2026-10-01",
        knowledge=knowledge,
        agree_um=AGREE_UM,
        pair_difference_um=1_000,
        least_drill_um=3_600,
    )


BOTH_ALIKE = "\n".join(
    f"{side} {x} {y}" for side in "AB" for x, y in ((142.5, 18), (142.5, -18), (107.5, 20), (107.5, -20))
)


def test_four_holes_on_both_skis_are_entered_without_a_doubt() -> None:
    proposal = survey(BOTH_ALIKE)
    assert proposal.slips == ()
    (event,) = proposal.entries
    assert isinstance(event, HolesRecorded)
    assert [(h.hole_id, h.x_um, h.y_um) for h in event.holes][:4] == [
        ("K-1/A1", 142_500, -18_000),
        ("K-1/A2", 142_500, 18_000),
        ("K-1/A3", 107_500, -20_000),
        ("K-1/A4", 107_500, 20_000),
    ]
    assert {h.knowledge for h in event.holes} == {"measured bare"}


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("C 10 10", "does not begin with the ski"),
        ("A", "nothing follows"),
        ("A 10", "x and y"),
        ("A 10 ten", "not a number"),
        ("A 10 10 loose", "neither"),
        ("A 10 10 d-3", "more than 0"),
        ("A four 1 2 3", "six distances"),
        ("A mark", "1 lengths are needed"),
        ("A 10.00001 4", "finer than a micrometre"),
    ],
)
def test_a_line_that_says_nothing_measurable_is_a_fault_with_its_number(line: str, message: str) -> None:
    readings, faults = read_lines(["# a comment", line])
    assert readings == []
    assert faults[0].line == 2
    assert message in faults[0].message


@pytest.mark.parametrize("text", ["A 101.5 18", "a 101,5 18", "A 101.5, 18", "A 101,5; 18"])
def test_points_commas_and_semicolons_are_read_alike(text: str) -> None:
    (reading,), _ = read_lines([text])
    assert isinstance(reading, HoleReading)
    assert (reading.x_um, reading.y_um) == (101_500, 18_000)


def test_a_hole_measured_from_the_tail_lies_where_the_mark_says() -> None:
    proposal = survey("A tail 913.5 18")
    assert proposal.entries[0].body()["holes"][0]["x_um"] == 101_500


def test_tail_and_mark_that_disagree_are_a_slip_with_both_figures() -> None:
    slips = survey("A tail 913.5 18 x 104").slips
    assert [s.code for s in slips] == ["tail and mark disagree"]
    assert "101.5" in slips[0].message
    assert "104.0" in slips[0].message


def test_a_tail_distance_without_a_known_mark_enters_nothing() -> None:
    proposal = survey("A tail 913.5 18", of=pair(marks=(None, None)))
    assert proposal.entries == ()
    assert [s.code for s in proposal.slips] == ["mark unknown"]


def test_the_other_ski_differing_by_more_than_one_millimetre_is_a_slip() -> None:
    slips = survey(BOTH_ALIKE.replace("B 142.5 18", "B 144 18")).slips
    assert [s.code for s in slips] == ["skis differ"]
    assert "1.5 mm apart" in slips[0].message


def test_the_skis_are_compared_by_tail_distance_not_by_marks_that_lie() -> None:
    # Ski B's mark sits 3 mm too far forward: its holes read 3 mm less from its own mark.
    text = BOTH_ALIKE.replace("B 142.5", "B 139.5").replace("B 107.5", "B 104.5")
    assert survey(text, of=pair(marks=(812_000, 815_000))).slips == ()


@pytest.mark.parametrize(
    ("transform", "word"),
    [(lambda x, y: (x, -y), "mirrored"), (lambda x, y: (-x, -y), "tip for tail")],
)
def test_a_ski_read_the_wrong_way_round_is_called_out(transform: object, word: str) -> None:
    lopsided = ((142.5, 18), (130, -12), (107.5, 20), (96, -15))
    lines = [f"A {x} {y}" for x, y in lopsided]
    lines += [f"B {a} {b}" for a, b in (transform(x, y) for x, y in lopsided)]  # type: ignore[operator]
    slips = survey("\n".join(lines)).slips
    assert [s.code for s in slips] == ["read the wrong way"]
    assert word in slips[0].message


def test_a_hole_found_again_is_corrected_and_its_knowledge_rises() -> None:
    known = pair(holes=(hole("K-1/A1", 142.0, 18),))
    proposal = survey("A 142.5 18 d3.6", of=known)
    assert proposal.entries == (
        HoleChanged(
            hole_id="K-1/A1",
            changes={"x_um": (142_000, 142_500), "knowledge": ("template", "measured bare")},
        ),
    )


def test_a_survey_never_lowers_what_is_known_of_a_hole() -> None:
    known = pair(holes=(hole("K-1/A1", 142.0, 18, knowledge=Knowledge.MEASURED_HERE),))
    assert survey("A 142.5 18", of=known).entries == ()


def test_an_unremarked_line_does_not_take_the_screw_out_of_a_hole() -> None:
    known = pair(
        holes=(hole("K-1/A1", 142.5, 18, state=HoleState.SCREWED, knowledge=Knowledge.MEASURED_BARE),)
    )
    assert survey("A 142.5 18", of=known).entries == ()


def test_a_hole_of_the_ledger_that_a_bare_stretch_does_not_show_is_asked_about() -> None:
    known = pair(holes=(hole("K-1/A1", 142.5, 18), hole("K-1/A2", -150, 18)))
    proposal = survey("A bare -200 -100\nA 142.5 18", of=known)
    assert [s.code for s in proposal.slips] == ["in the ledger, not found"]
    assert (
        AreaInspected(tag="K-1", side=Side.A, from_um=-200_000, to_um=-100_000, how="bare", on="2026-10-01")
        in proposal.entries
    )


def four(front: float, right: float, rear: float, left: float, d1: float, d2: float) -> FourReading:
    values = [round(1000 * v) for v in (front, right, rear, left, d1, d2)]
    return FourReading(
        line=1,
        side=Side.A,
        front_um=values[0],
        right_um=values[1],
        rear_um=values[2],
        left_um=values[3],
        right_to_left_um=values[4],
        left_to_right_um=values[5],
        front_x_um=142_500,
    )


def test_a_group_of_four_is_placed_from_its_distances() -> None:
    # A 3-4-5 rectangle, 30 wide and 40 long: diagonals 50 (Euclid).
    placed = place_four(four(30, 40, 30, 40, 50, 50), agree_um=AGREE_UM)
    assert placed.places_um == ((142_500, 15_000), (142_500, -15_000), (102_500, 15_000), (102_500, -15_000))
    assert placed.suspect is None
    assert not placed.unclear


@pytest.mark.parametrize(
    ("index", "name"), [(4, "front right to rear left"), (5, "front left to rear right"), (1, "right length")]
)
def test_one_misread_distance_of_six_is_named(index: int, name: str) -> None:
    six = [
        36.0,
        42.0,
        40.0,
        42.0,
        math.hypot(math.sqrt(42**2 - 2**2), 38),
        math.hypot(math.sqrt(42**2 - 2**2), 38),
    ]
    six[index] += 6
    assert place_four(four(*six), agree_um=AGREE_UM).suspect == name


@given(front=st.integers(20, 50), rear=st.integers(20, 50), length=st.integers(25, 70))
def test_any_exact_symmetric_group_is_recovered_within_ten_micrometres(
    front: int, rear: int, length: int
) -> None:
    side, across = math.hypot(length, (front - rear) / 2), math.hypot(length, (front + rear) / 2)
    placed = place_four(four(front, side, rear, side, across, across), agree_um=AGREE_UM)
    expected = ((0, front / 2), (0, -front / 2), (-length, rear / 2), (-length, -rear / 2))
    for (x, y), (ex, ey) in zip(placed.places_um, expected, strict=True):
        assert abs(x - 142_500 - 1000 * ex) <= 10
        assert abs(y - 1000 * ey) <= 10


def measured(tag: str, shift_mm: float = 0.0) -> Pair:
    return pair(
        tag,
        holes=tuple(
            hole(f"{tag}/A{i}", x + shift_mm, y, knowledge=Knowledge.MEASURED_BARE)
            for i, (x, y) in enumerate(((142.5, 18), (142.5, -18), (107.5, 20), (107.5, -20)), start=1)
        ),
    )


def test_three_measured_alike_make_the_rest_of_the_batch_assumed() -> None:
    pairs = {t: measured(t, 0.1 * i) for i, t in enumerate(("K-1", "K-2", "K-3"))} | {"K-4": pair("K-4")}
    (batch,) = batches(pairs, default_policy())
    assert batch.why_not == ""
    (event,) = batch.entries
    assert event.tag == "K-4"
    assert {h.knowledge for h in event.holes} == {"batch assumed"}
    assert len(event.holes) == 8


@pytest.mark.parametrize(
    ("shifts", "why"),
    [((0.0, 0.1), "2 of the batch measured"), ((0.0, 0.1, 0.6), "differ by up to 0.6 mm")],
)
def test_too_few_or_too_different_measurements_assume_nothing(shifts: tuple[float, ...], why: str) -> None:
    pairs = {f"K-{i}": measured(f"K-{i}", s) for i, s in enumerate(shifts)} | {"K-9": pair("K-9")}
    (batch,) = batches(pairs, default_policy())
    assert batch.entries == ()
    assert why in batch.why_not


@pytest.mark.parametrize("side", ["A", "B"])
@pytest.mark.parametrize(("apart_um", "doubt"), [(3_599, True), (3_600, False)])
def test_two_holes_nearer_than_a_drill_is_thick_are_asked_about(
    side: str, apart_um: int, doubt: bool
) -> None:
    """Two holes of 3.6 mm whose middles lie 3.6 mm apart touch; nearer, they would be one hole."""
    found = one_in_another(
        [
            PlacedHole(
                line=line,
                side=Side(side),
                x_um=100_000 + x_um,
                y_um=18_000,
                reading=HoleReading(line=line, side=Side(side), x_um=100_000 + x_um, y_um=18_000),
            )
            for line, x_um in ((1, 0), (2, apart_um))
        ],
        least_drill_um=3_600,
    )
    assert [slip.code for slip in found] == (["one hole in another"] if doubt else [])


def test_the_measured_diameter_counts_and_holes_of_two_skis_never_overlap() -> None:
    found = survey("A 100 18 d4.1\nA 104 18 d4.1\nB 100 18 d4.1\nB 104.5 18 d4.1")
    assert [slip.lines for slip in found.slips if slip.code == "one hole in another"] == [(1, 2)]
    [slip] = [slip for slip in found.slips if slip.code == "one hole in another"]
    assert "ski A: holes at (100.0, 18.0) and (104.0, 18.0) mm overlap" in slip.message
