"""What the batch refuses, and what it still answers, at the last micrometre; many pairs and soles at once."""

from __future__ import annotations

import pytest

from fleet.base.errors import BadInput
from fleet.facts.holes import HoleState, Side
from fleet.facts.patterns import Follows, Pattern, Piece, PieceName
from planner.geometry.placement.batch import AT_A_TIME, NOWHERE, SOLES_AT_ONCE, BatchFinder
from planner.geometry.placement.hole_table import hole_tables
from planner.geometry.placement.legal import LegalFinder, offsets_only
from tests.placement import conftest as make

ONE_BY_ONE = "ask pair by pair"


def pattern(*pieces: Piece) -> Pattern:
    return Pattern(name="teaching", binding_model="teaching", pieces=pieces)


def centred(name: PieceName, *places: tuple[float, float], travel: tuple[float, float] = (0, 0)) -> Piece:
    return make.piece(name, Follows.CENTRE, places, travel=travel)


def refused(whole: Pattern, *soles_mm: float, **policy: str) -> tuple[str, str] | None:
    """The sentence and the cure, None where it answers."""
    try:
        finder = BatchFinder(pattern=whole, policy=make.p10(**policy), pairs=[make.twin_pair([])])
        finder.offsets([make.um(mm) for mm in soles_mm or (300,)])
    except BadInput as found:
        return found.sentence, found.cure
    return None


@pytest.mark.parametrize(("apart_mm", "asked"), [(1, True), (1.001, False)])
def test_two_holes_of_a_piece_that_one_old_hole_could_take_are_asked_pair_by_pair(apart_mm, asked) -> None:
    """Half a millimetre to each side; also across the ski, and on the slant 0.6 and 0.8."""
    said = ("two holes of the toe piece could claim one old hole", ONE_BY_ONE) if asked else None
    assert refused(pattern(centred(PieceName.TOE, (0, 0), (40, 0), (40 - apart_mm, 0)))) == said
    assert refused(pattern(centred(PieceName.TOE, (0, 18), (0, 18 - apart_mm)))) == said
    slant = centred(PieceName.HEEL, (0, 0), (0.6 * apart_mm, 0.8 if asked else 0.802))
    assert (refused(pattern(slant)) is not None) is asked


@pytest.mark.parametrize(
    ("apart_mm", "aside_mm", "back", "forward", "touch"),
    [
        (10, 0, 0, 0, False),
        (9.999, 0, 0, 0, True),
        (-10, 0, 0, 0, False),
        (-9.999, 0, 0, 0, True),
        (0, 10, 0, 0, False),
        (0, 9.999, 0, 0, True),
        (0, -9.999, 0, 0, True),
        (0, -10, 0, 0, False),
        # the second piece slides: back it lies further to the tip, forward nearer to the tail
        (-12, 0, 2, 0, False),
        (-12, 0, 2.001, 0, True),
        (-12, 0, 0, 5, False),
        (12, 0, 0, 2, False),
        (12, 0, 0, 2.001, True),
        (12, 0, 5, 0, False),
    ],
)
def test_pieces_that_could_come_within_the_spacing_are_asked_pair_by_pair(
    apart_mm, aside_mm, back, forward, touch
) -> None:
    """``apart``: how far the second piece lies ahead of the first."""
    still = centred(PieceName.TOE, (0, 0), (0, 60))
    sliding = centred(PieceName.HEEL, (apart_mm, aside_mm), (apart_mm, aside_mm - 60), travel=(back, forward))
    said = ("pieces of teaching could touch at this sole", ONE_BY_ONE) if touch else None
    assert refused(pattern(still, sliding)) == said


@pytest.mark.parametrize(("back", "forward"), [(2, 0), (0, 3)])
def test_the_first_piece_slides_too(back, forward) -> None:
    for apart_mm, touch in ((10 + forward, False), (9.999 + forward, True)):
        whole = pattern(
            centred(PieceName.TOE, (apart_mm, 0), travel=(back, forward)), centred(PieceName.HEEL, (0, 0))
        )
        assert (refused(whole) is not None) is touch
        whole = pattern(
            centred(PieceName.TOE, (-(apart_mm - forward + back), 0), travel=(back, forward)),
            centred(PieceName.HEEL, (0, 0)),
        )
        assert (refused(whole) is not None) is touch


def test_a_short_sole_brings_pieces_together_and_only_that_sole_refuses() -> None:
    """T4/H4: the toe's rear row and the heel's front row lie 100 mm less than the sole apart."""
    assert refused(make.t4h4(), 110, 300) is None
    assert refused(make.t4h4(), 300, 109.998) == ("pieces of T4/H4 could touch at this sole", ONE_BY_ONE)


def test_a_tolerance_above_half_the_spacing_counts_between_pieces_too() -> None:
    near = pattern(centred(PieceName.TOE, (0, 0)), centred(PieceName.HEEL, (12, 0)))
    assert refused(near, reuse_tolerance_mm="6") is None
    assert refused(near, reuse_tolerance_mm="6.001") is not None
    assert refused(near, reuse_tolerance_mm="9.999") is not None
    lone = pattern(centred(PieceName.TOE, (0, 0)))
    assert refused(lone, reuse_tolerance_mm="9.999") is None
    assert refused(lone, reuse_tolerance_mm="10") == (
        "the reuse tolerance must be smaller than the spacing",
        "",
    )


def test_a_piece_at_the_mark_beside_others_is_asked_pair_by_pair() -> None:
    mark = make.piece(PieceName.PLATE, Follows.MARK, [(0, 0)])
    said = ("a piece at the mark beside others", ONE_BY_ONE)
    assert refused(pattern(mark, centred(PieceName.TOE, (200, 0)))) == said
    assert refused(pattern(centred(PieceName.TOE, (200, 0)), mark)) == said
    assert refused(pattern(mark)) is None


@pytest.mark.parametrize(
    ("old_mm", "legal"),
    [(10, True), (9.999, False), (-10, True), (-9.999, False), (0, True), (0.5, True), (0.501, False)],
)
@pytest.mark.parametrize("side", list(Side))
def test_a_piece_that_stays_at_the_mark_is_legal_everywhere_or_nowhere(old_mm, legal, side) -> None:
    """An open hole at the mark takes the screw, half a millimetre beside; the travel does not count."""
    mark = make.piece(PieceName.PLATE, Follows.MARK, [(0, 0)], travel=(5, 5))
    carrying = {each: make.ski(each, make.holes([(old_mm, 0)]) if each is side else ()) for each in Side}
    pair = make.pair(carrying[Side.A], carrying[Side.B])
    found = BatchFinder(pattern=pattern(mark), policy=make.p10(), pairs=[pair]).offsets([300_000, 310_000])
    assert found.nearest_um.tolist() == [[0, 0] if legal else [NOWHERE, NOWHERE]]
    assert found.ranges.tolist() == [[1, 1] if legal else [0, 0]]


def test_many_pairs_and_soles_are_answered_each_by_itself() -> None:
    """More than are looked at together; each pair has its own old hole, and the last soles are too long."""
    policy = make.p10()
    whole = make.t4h4()
    kinds = [
        make.pair(
            make.ski(Side.A, make.holes([(130 + n, 18)], state=HoleState.PLUGGED)),
            make.ski(Side.B, make.holes([(-160 - 2 * n, -18)], state=HoleState.PLUGGED)),
        )
        for n in range(7)
    ]
    pairs = [kinds[n % 7] for n in range(AT_A_TIME + 9)]
    soles = [make.um(mm) for mm in range(290, 290 + 5 * (SOLES_AT_ONCE + 2), 5)]
    short = Pattern(
        name=whole.name,
        binding_model="teaching",
        pieces=whole.pieces,
        bsl_max_um=soles[-2],
        bsl_min_um=soles[1],
    )
    tables = hole_tables(pairs, policy)
    for each in (short, Pattern(name="toe", binding_model="teaching", pieces=whole.pieces[:1])):
        found = BatchFinder(pattern=each, policy=policy, tables=tables).offsets(soles)
        assert found.nearest_um.shape == found.ranges.shape == (len(pairs), len(soles))
        assert found.nearest_um.dtype.itemsize == found.ranges.dtype.itemsize == 4
        plain = [[], []]
        for pair in kinds:
            finder = LegalFinder(pair=pair, pattern=each, policy=policy)
            legal = [offsets_only(finder.offsets(sole)) for sole in soles]
            near = [[min(max(low, 0), high) for low, high in some] for some in legal]
            plain[0].append([min(some, key=lambda u: (abs(u), u), default=NOWHERE) for some in near])
            plain[1].append([len(some) for some in legal])
        assert found.nearest_um.tolist() == [plain[0][n % 7] for n in range(len(pairs))]
        assert found.ranges.tolist() == [plain[1][n % 7] for n in range(len(pairs))]
        if each is short:
            assert {row[0] for row in plain[0]} == {row[-1] for row in plain[0]} == {NOWHERE}
