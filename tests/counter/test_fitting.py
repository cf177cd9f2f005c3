"""A boot in a binding as it is mounted and set: each rule a micrometre this side of its limit and beyond.

Lark 4 has a fixed toe and a heel that travels 10 mm each way; mounted for 305 mm on the mark, the toe's
sole end stands at +152.5 mm and the heel's at -152.5 mm.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from fleet.facts.boots import Boot
from fleet.facts.holes import Mount, PieceSlide
from fleet.facts.patterns import Fit, Follows, Pattern, PatternHole, Piece, PieceName
from fleet.facts.policy import default_policy
from fleet.facts.standing import BindingSetting
from fleet.rules.fitting import FitAnswer, boot_fits, centre_window, mount_as_set, slides_now
from tests.counter.shop import lark

TOE_UM, HEEL_UM = 152_500, -152_500
MOUNT = Mount(pattern="Lark 4", bsl_um=305_000, offset_um=0, mounted_on="2026-10-01")
BOOT = Boot(
    tag="B-7", model="", mondopoint_mm=265, bsl_um=305_000, bsl_measured="printed", sole_type="alpine A"
)
FIT = Fit(sole_type="alpine A", pattern="Lark 4", binding_sheet="L-1", boot_sheet="S-1")
PATTERN = lark()


def travels(*, toe: tuple[int, int] = (0, 0), heel: tuple[int, int] = (0, 0)) -> Pattern:
    """Lark 4 with another travel: so many micrometres back and forward."""
    return replace(
        PATTERN,
        pieces=tuple(
            replace(piece, travel_back_um=back, travel_forward_um=forward)
            for piece, (back, forward) in zip(PATTERN.pieces, (toe, heel), strict=True)
        ),
    )


def piece(name: PieceName, follows: Follows, back: int, forward: int) -> Piece:
    hole = (PatternHole(x_um=0, y_um=0),)
    return Piece(name=name, follows=follows, holes=hole, travel_back_um=back, travel_forward_um=forward)


def stands_at(*, toe_um: int = TOE_UM, heel_um: int = HEEL_UM) -> Mount:
    """The same mount, its pieces recorded as they stand."""
    slides = (
        PieceSlide(piece="toe", slide_um=0, reference_um=toe_um),
        PieceSlide(piece="heel", slide_um=0, reference_um=heel_um),
    )
    return replace(MOUNT, slides=slides)


WINDOWS: dict[str, tuple[Mount, Pattern, int, tuple[int, int] | None]] = {
    "nothing travels, the sole it is mounted for": (MOUNT, travels(), 305_000, (0, 0)),
    "nothing travels, a sole 2 um longer": (MOUNT, travels(), 305_002, None),
    "nothing travels, a sole 2 um shorter": (MOUNT, travels(), 304_998, None),
    # both sole ends may lie from 2 mm behind to 3 mm before where the pieces stand
    "both travel alike": (MOUNT, travels(toe=(2_000, 3_000), heel=(2_000, 3_000)), 305_000, (-2_000, 3_000)),
    "a sole 1 mm longer takes half of it at each end": (
        MOUNT, travels(toe=(2_000, 3_000), heel=(2_000, 3_000)), 306_000, (-1_500, 2_500),
    ),
    "the longest sole": (MOUNT, travels(toe=(2_000, 3_000), heel=(2_000, 3_000)), 310_000, (500, 500)),
    "2 um beyond the longest": (MOUNT, travels(toe=(2_000, 3_000), heel=(2_000, 3_000)), 310_002, None),
    "the shortest sole": (MOUNT, travels(toe=(2_000, 3_000), heel=(2_000, 3_000)), 300_000, (500, 500)),
    "2 um below the shortest": (MOUNT, travels(toe=(2_000, 3_000), heel=(2_000, 3_000)), 299_998, None),
    "the mount's own offset": (replace(MOUNT, offset_um=4_000), travels(), 305_000, (4_000, 4_000)),
    "pieces recorded where they stand": (
        stands_at(toe_um=TOE_UM + 700, heel_um=HEEL_UM + 700), travels(), 305_000, (700, 700),
    ),
    "pieces recorded 2 um too far apart": (stands_at(toe_um=TOE_UM + 2), travels(), 305_000, None),
    "only the heel recorded": (
        replace(MOUNT, slides=(PieceSlide(piece="heel", slide_um=0, reference_um=HEEL_UM + 500),)),
        travels(toe=(0, 500)),
        305_000,
        (500, 500),
    ),
    "a plate that follows the mark holds nothing": (
        MOUNT,
        replace(PATTERN, pieces=(piece(PieceName.PLATE, Follows.MARK, 0, 0), *travels().pieces)),
        305_000,
        (0, 0),
    ),
    "a plate that follows the centre": (
        replace(MOUNT, offset_um=1_000),
        replace(PATTERN, pieces=(piece(PieceName.PLATE, Follows.CENTRE, 300, 200),)),
        299_000,
        (700, 1_200),
    ),
    "a pattern that stands by the mark alone": (
        MOUNT,
        replace(PATTERN, pieces=(piece(PieceName.PLATE, Follows.MARK, 0, 0),)),
        305_000,
        (-10_000_000, 10_000_000),  # no ski is 10 m long: any centre
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", WINDOWS)
def test_where_the_centre_of_the_boot_may_stand(name: str) -> None:
    mount, pattern, bsl_um, window = WINDOWS[name]
    assert centre_window(mount, pattern, bsl_um) == window


def set_since(mount: Mount, um: int) -> Mount:
    """Its binding was set for that sole since it was mounted."""
    return replace(mount, set_for_um=um, still_set=um == mount.bsl_um, set_again=True)


def slid(mount: Mount, um: int, offset_um: int, *, heel_from_um: int, heel_um: int) -> Mount:
    """The mount as it stands at that sole: the toe where it was, the heel slid."""
    toe = PieceSlide(piece="toe", reference_um=TOE_UM, slide_um=0)
    heel = PieceSlide(piece="heel", reference_um=heel_from_um, slide_um=heel_um)
    return replace(
        mount,
        bsl_um=um,
        offset_um=offset_um,
        slides=(toe, heel),
        set_for_um=um,
        still_set=True,
        set_again=False,
    )


HEEL_ON = stands_at(heel_um=HEEL_UM + 500)
MARK_TOO, MARK_FIRST = (
    replace(PATTERN, pieces=pieces)
    for plate in [piece(PieceName.PLATE, Follows.MARK, 0, 0)]
    for pieces in ((*PATTERN.pieces, plate), (plate, *PATTERN.pieces))
)
MEASURED = (PieceSlide(piece="heel", reference_um=HEEL_UM, slide_um=2_000),)
# the mount, the pattern, the sole it was set for since; as it stands then, None: nobody knows how it is slid
SET_SINCE: dict[str, tuple[Mount, Pattern, int, Mount | None]] = {
    "the longest: the heel slides 10 mm back, so the boot's centre goes back by half of it": (
        MOUNT, PATTERN, 315_000, slid(MOUNT, 315_000, -5_000, heel_from_um=HEEL_UM, heel_um=-10_000),
    ),
    "the shortest": (
        MOUNT, PATTERN, 295_000, slid(MOUNT, 295_000, 5_000, heel_from_um=HEEL_UM, heel_um=10_000),
    ),
    "a heel screwed down 0.5 mm further on slides 0.5 mm less": (
        HEEL_ON, PATTERN, 295_000, slid(HEEL_ON, 295_000, 5_000, heel_from_um=HEEL_UM + 500, heel_um=9_500),
    ),
    "a plate by the mark is slid by nobody": (
        MOUNT, MARK_TOO, 315_000, slid(MOUNT, 315_000, -5_000, heel_from_um=HEEL_UM, heel_um=-10_000),
    ),
    "wherever that plate is listed": (
        MOUNT, MARK_FIRST, 315_000, slid(MOUNT, 315_000, -5_000, heel_from_um=HEEL_UM, heel_um=-10_000),
    ),
    "2 um beyond the longest": (MOUNT, PATTERN, 315_002, None),
    "2 um below the shortest": (MOUNT, PATTERN, 294_998, None),
    "the sole it was mounted for": (MOUNT, PATTERN, 305_000, None),
    "of two that travel nobody wrote which": (
        MOUNT, travels(toe=(10_000, 10_000), heel=(10_000, 10_000)), 315_000, None,
    ),
    "of two that travel nobody wrote which, though both must stand at their ends": (
        MOUNT, travels(toe=(2_000, 3_000), heel=(2_000, 3_000)), 310_000, None,
    ),
    "a toe that travels alone holds the centre anywhere": (
        MOUNT, replace(PATTERN, pieces=travels(toe=(2_000, 3_000)).pieces[:1]), 307_000, None,
    ),
    "measured: it stands where it was seen": (replace(MOUNT, stands=MEASURED), PATTERN, 315_000, None),
}  # fmt: skip


@pytest.mark.parametrize("name", SET_SINCE)
def test_how_a_mount_stands_that_was_set_for_another_sole(name: str) -> None:
    mount, pattern, um, stands = SET_SINCE[name]
    mount = set_since(mount, um)
    assert mount_as_set(mount, pattern) == (stands or mount)


def test_where_the_ledger_does_not_say_how_a_piece_is_slid_nobody_is_told_0() -> None:
    assert slides_now(set_since(MOUNT, 315_000), PATTERN) == {"toe": 0, "heel": -10_000}
    assert slides_now(set_since(MOUNT, 315_002), PATTERN) == {"toe": None, "heel": None}
    assert slides_now(replace(set_since(MOUNT, 315_000), stands=MEASURED), PATTERN)["heel"] == 2_000


Asked = dict[str, Any]
"""What `asked` is asked: asked within the test, not when the table is read."""


def said(**facts: Any) -> Asked:
    return facts


def asked(
    *,
    boot: Boot = BOOT,
    mount: Mount | None = MOUNT,
    pattern: Pattern | None = PATTERN,
    stands_for_um: int | str | None = "the boot",
    fits: tuple[Fit, ...] = (FIT,),
    limit_mm: str = "10",
) -> FitAnswer:
    bsl_um = boot.bsl_um if isinstance(stands_for_um, str) else stands_for_um
    return boot_fits(
        boot=boot,
        mount=mount,
        pattern=pattern,
        setting=BindingSetting(bsl_um=bsl_um),
        fits=fits,
        policy=default_policy().with_values(offset_limit_mm=limit_mm),
    )


def sole(bsl_um: int | None, sole_type: str = "alpine A") -> Boot:
    return replace(BOOT, bsl_um=bsl_um, sole_type=sole_type)


NO_MOUNT = "how its binding is mounted is not on record, so no boot can be checked"
STATED = replace(PATTERN, bsl_min_um=300_000, bsl_max_um=310_000)
CENTRED = replace(PATTERN, pieces=(piece(PieceName.PLATE, Follows.CENTRE, 0, 0),))
BACK_1_MM, FORWARD_1_MM = (travels(toe=both, heel=both) for both in ((1_000, 0), (0, 1_000)))
# what fits; what a step beyond does not, and why
LIMITS: dict[str, tuple[Asked, Asked, tuple[str, ...]]] = {
    "no mount": (said(), said(mount=None), (NO_MOUNT,)),
    "no pattern": (said(), said(pattern=None), (NO_MOUNT,)),
    "a sole for this pattern": (
        said(boot=sole(305_000, "touring"), fits=(FIT, replace(FIT, sole_type="touring"))),
        said(boot=sole(305_000, "touring")),
        ("boot B-7 has a sole of type touring, not declared by both makers for Lark 4",),
    ),
    "the same sole for another pattern": (
        said(fits=(replace(FIT, pattern="Other 4"), FIT)),
        said(fits=(replace(FIT, pattern="Other 4"),)),
        ("boot B-7 has a sole of type alpine A, not declared by both makers for Lark 4",),
    ),
    "a sole without a name": (
        said(),
        said(boot=sole(305_000, "")),
        ("the sole type of boot B-7 is not known",),
    ),
    "a sole whose length is not known": (
        said(),
        said(boot=sole(None)),
        ("the sole length of boot B-7 is not known",),
    ),
    "the shortest sole of the pattern": (
        said(boot=sole(300_000), pattern=STATED),
        said(boot=sole(299_999), pattern=STATED),
        ("boot B-7 has a sole of 299.999 mm, outside what Lark 4 takes",),
    ),
    "the longest sole of the pattern": (
        said(boot=sole(310_000), pattern=STATED),
        said(boot=sole(310_001), pattern=STATED),
        ("boot B-7 has a sole of 310.001 mm, outside what Lark 4 takes",),
    ),
    "the longest sole its travel reaches": (
        said(boot=sole(315_000)),
        said(boot=sole(315_002)),
        ("boot B-7 has a sole of 315.002 mm; mounted for 305 mm its travel does not reach that",),
    ),
    "the shortest sole its travel reaches": (
        said(boot=sole(295_000)),
        said(boot=sole(294_998)),
        ("boot B-7 has a sole of 294.998 mm; mounted for 305 mm its travel does not reach that",),
    ),
    "the shop's limit toward the tip": (
        said(mount=replace(MOUNT, offset_um=4_000), pattern=CENTRED, limit_mm="4"),
        said(mount=replace(MOUNT, offset_um=4_500), pattern=CENTRED, limit_mm="4"),
        ("boot B-7 has a sole of 305 mm; it would stand 4.5 mm from the mark, the shop's limit is 4.0 mm",),
    ),
    "the shop's limit toward the tail": (
        said(mount=replace(MOUNT, offset_um=-4_000), pattern=CENTRED, limit_mm="4"),
        said(mount=replace(MOUNT, offset_um=-4_500), pattern=CENTRED, limit_mm="4"),
        ("boot B-7 has a sole of 305 mm; it would stand 4.5 mm from the mark, the shop's limit is 4.0 mm",),
    ),
    "the near end of what it can hold is what counts, toward the tip": (
        said(mount=replace(MOUNT, offset_um=5_000), pattern=BACK_1_MM, limit_mm="4"),
        said(mount=replace(MOUNT, offset_um=6_000), pattern=BACK_1_MM, limit_mm="4"),
        ("boot B-7 has a sole of 305 mm; it would stand 5.0 mm from the mark, the shop's limit is 4.0 mm",),
    ),
    "the near end of what it can hold is what counts, toward the tail": (
        said(mount=replace(MOUNT, offset_um=-5_000), pattern=FORWARD_1_MM, limit_mm="4"),
        said(mount=replace(MOUNT, offset_um=-6_000), pattern=FORWARD_1_MM, limit_mm="4"),
        ("boot B-7 has a sole of 305 mm; it would stand 5.0 mm from the mark, the shop's limit is 4.0 mm",),
    ),
    "all at once": (
        said(boot=sole(310_000), pattern=STATED),
        said(boot=sole(316_000, "touring"), pattern=STATED),
        (
            "boot B-7 has a sole of type touring, not declared by both makers for Lark 4",
            "boot B-7 has a sole of 316 mm, outside what Lark 4 takes",
            "boot B-7 has a sole of 316 mm; mounted for 305 mm its travel does not reach that",
        ),
    ),
    "a sole of no known length and of another type": (
        said(),
        said(boot=sole(None, "touring")),
        (
            "boot B-7 has a sole of type touring, not declared by both makers for Lark 4",
            "the sole length of boot B-7 is not known",
        ),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", LIMITS)
def test_a_boot_fits_at_the_limit_and_says_why_not_a_step_beyond(name: str) -> None:
    near, beyond, reasons = LIMITS[name]
    fits, does_not = asked(**near), asked(**beyond)
    assert fits == FitAnswer()
    assert does_not == FitAnswer(reasons=reasons)


@pytest.mark.parametrize("beyond_um", [1, -1])
def test_the_shop_s_limit_holds_to_the_micrometre(beyond_um: int) -> None:
    at = 4_000 if beyond_um > 0 else -4_000
    assert asked(mount=replace(MOUNT, offset_um=at), pattern=CENTRED, limit_mm="4") == FitAnswer()
    beyond = asked(mount=replace(MOUNT, offset_um=at + beyond_um), pattern=CENTRED, limit_mm="4")
    assert beyond.reasons


@pytest.mark.parametrize(
    ("stands_for_um", "not_set"),
    [
        (305_000, ""),
        (305_001, "its binding is set for sole 305.001 mm, boot B-7 has 305 mm"),
        (304_999, "its binding is set for sole 304.999 mm, boot B-7 has 305 mm"),
        (None, "the sole its binding is set for is not known, boot B-7 has 305 mm"),
    ],
)
def test_a_boot_that_fits_is_not_set_until_the_binding_stands_at_its_sole(
    stands_for_um: int | None, not_set: str
) -> None:
    answer = asked(stands_for_um=stands_for_um)
    assert answer == FitAnswer(not_set=not_set)
    assert answer.reasons == ()


def test_a_boot_that_does_not_fit_is_not_asked_to_be_set() -> None:
    """Setting it would only bring a wrong boot nearer to the door."""
    assert asked(boot=sole(305_000, "touring"), stands_for_um=310_000).not_set == ""
