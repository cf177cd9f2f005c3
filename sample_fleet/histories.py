"""What happened to a pair before this ledger: mounts, one after the other, and how their holes are known.

A history is told as mounts; the holes follow from them by geometry. So every hole row of the sample fleet
comes from a mount that somebody could have made, and `told_mounts.csv` says which.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from fleet.base.units import mm_to_um
from fleet.facts.holes import HoleState, Knowledge
from fleet.facts.patterns import Pattern
from sample_fleet.invented import PATTERNS, SkiBatch

BY_NAME: Final = {pattern.name: pattern for pattern in PATTERNS}
KEEP_CLEAR_UM: Final = 10_500
"""Whoever drilled a later mount kept this far from earlier holes (the raw 10 mm and half a millimetre)."""
SURVEY_ERROR_UM: Final = 200
"""A hole surveyed bare is read at most this far off, along and across."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldMount:
    """One mount of the story. ``known``: how its holes are known today, or None: nobody wrote them down."""

    pattern: str
    bsl_mm: int
    offset_um: int
    on: str
    off: str | None
    known: Knowledge | None
    state: HoleState


@dataclass(slots=True, kw_only=True)
class Story:
    """What is told of one pair. ``inspected``: the word of the skis sheet, and the day."""

    mounts: list[ToldMount] = field(default_factory=list)
    inspected: tuple[str, str] = ("no", "")
    stripped: bool = False
    both: bool = False
    diameter_known: bool = True
    zone_known: bool = True
    mark_known: bool = True


def holes_um(pattern: Pattern, *, bsl_mm: int, offset_um: int) -> list[tuple[int, int]]:
    """(x, y) of a mount's holes in micrometres from the pair's reference mark, slides at 0."""
    return [
        (piece.follows.reference_um(offset_um, mm_to_um(bsl_mm)) + hole.x_um, hole.y_um)
        for piece in pattern.pieces
        for hole in piece.holes
    ]


Teller = Callable[[SkiBatch, int, random.Random], Story]


def _soles(batch: SkiBatch, length_cm: int) -> list[int]:
    """Soles that a customer of this ski length had in other years, mm (invented)."""
    if batch.kind == "junior":
        middle = {100: 235, 110: 235, 120: 245, 130: 255, 140: 265}[length_cm]
        return [middle, middle, middle + 10]
    if batch.kind == "telemark":
        middle = {162: 282, 170: 302, 178: 312}[length_cm]
    elif batch.kind == "touring":
        middle = {156: 278, 164: 288, 172: 308, 180: 318}[length_cm]
    else:
        middle = {146: 285, 153: 295, 160: 305, 167: 315, 174: 325}[length_cm]
    return [middle - 10, middle, middle, middle + 10]


def _add(
    story: Story,
    pattern: str,
    soles: list[int],
    rng: random.Random,
    *,
    on: str,
    off: str | None,
    known: Knowledge | None,
    state: HoleState,
) -> None:
    """The first mount of this pattern that keeps clear of what is there; soles and offsets are shuffled."""
    old = [
        point
        for mount in story.mounts
        for point in holes_um(BY_NAME[mount.pattern], bsl_mm=mount.bsl_mm, offset_um=mount.offset_um)
    ]
    offsets = sorted(range(-10_000, 10_001, 500), key=abs) if old else [0]
    reach = [more for more in range(-30, 31, 5) if old or abs(more) <= 10]
    for bsl, offset in (
        (bsl + more, offset)
        for offset in offsets
        for bsl in rng.sample(soles, len(soles))
        for more in rng.sample(reach, len(reach))
    ):
        new = holes_um(BY_NAME[pattern], bsl_mm=bsl, offset_um=offset)
        if all((x - a) ** 2 + (y - b) ** 2 >= KEEP_CLEAR_UM**2 for x, y in new for a, b in old):
            story.mounts.append(
                ToldMount(
                    pattern=pattern, bsl_mm=bsl, offset_um=offset, on=on, off=off, known=known, state=state
                )
            )
            return
    raise _NoRoom


class _NoRoom(Exception):
    """The earlier mounts leave no room for the next; another hand of them may."""


def _patient(teller: Teller, hands: int = 200) -> Teller:
    """Deal the story again until its mounts have room for each other."""

    def tell(batch: SkiBatch, length_cm: int, rng: random.Random) -> Story:
        for _ in range(hands):
            try:
                return teller(batch, length_cm, rng)
            except _NoRoom:
                continue
        raise ValueError(f"{batch.model} {length_cm}: no room for its mounts in {hands} hands")

    return tell


def _mounted_new(year: int, known: Knowledge) -> Teller:
    def tell(batch: SkiBatch, length_cm: int, rng: random.Random) -> Story:
        story = Story(inspected=("new", f"{year}-10-04"))
        _add(
            story,
            batch.pattern,
            _soles(batch, length_cm),
            rng,
            on=f"{year}-10-{rng.randint(6, 28):02d}",
            off=None,
            known=known,
            state=HoleState.SCREWED,
        )
        return story

    return tell


def _twice(first: str | None, second: str | None) -> Teller:
    """Mounted in 2021, plugged, surveyed bare in 2024 and mounted again by the house."""

    def tell(batch: SkiBatch, length_cm: int, rng: random.Random) -> Story:
        story = Story(inspected=("bare", "2024-10-09"))
        soles = _soles(batch, length_cm)[1:3]
        _add(
            story,
            first or batch.pattern,
            soles,
            rng,
            on="2021-11-14",
            off="2024-10-09",
            known=Knowledge.MEASURED_BARE,
            state=HoleState.PLUGGED,
        )
        _add(
            story,
            second or batch.pattern,
            soles,
            rng,
            on="2024-10-20",
            off=None,
            known=Knowledge.DRILLED_HERE,
            state=HoleState.SCREWED,
        )
        return story

    return tell


def _bare(
    *earlier: str | None, last: Knowledge, stripped: bool = False, diameter_known: bool = True
) -> Teller:
    """Binding taken off in April 2025, both skis surveyed bare; earlier sets are plugged.

    ``earlier``: the patterns of earlier sets, oldest first; None is the batch's own.
    """
    sets = len(earlier) + 1

    def tell(batch: SkiBatch, length_cm: int, rng: random.Random) -> Story:
        story = Story(inspected=("bare", "2025-04-21"), stripped=stripped, diameter_known=diameter_known)
        for number, pattern in enumerate((*earlier, None)):
            newest = number == sets - 1
            _add(
                story,
                pattern or batch.pattern,
                _soles(batch, length_cm),
                rng,
                on=f"{2025 - sets + number - 1}-11-02",
                off="2025-04-20" if newest else f"{2025 - sets + number}-10-12",
                known=last if newest else Knowledge.MEASURED_BARE,
                state=HoleState.OPEN if newest else HoleState.PLUGGED,
            )
        return story

    return tell


def _delivered_new(batch: SkiBatch, length_cm: int, rng: random.Random) -> Story:
    return Story(inspected=("new", "2025-09-30"))


def _hotel(*, both: bool) -> Teller:
    """Taken over with the hotel's hire room in 2023: nobody ever looked under these bindings."""

    def tell(batch: SkiBatch, length_cm: int, rng: random.Random) -> Story:
        story = Story(both=both, diameter_known=False, zone_known=both, mark_known=both)
        _add(
            story,
            batch.pattern,
            _soles(batch, length_cm),
            rng,
            on="2018-12-01",
            off=None,
            known=Knowledge.BATCH_ASSUMED if both else None,
            state=HoleState.SCREWED,
        )
        return story

    return tell


HISTORIES: Final[dict[str, Teller]] = {
    "track_drilled_here": _mounted_new(2022, Knowledge.DRILLED_HERE),
    "track_measured": _mounted_new(2022, Knowledge.MEASURED_HERE),
    "ours_from_new": _mounted_new(2023, Knowledge.DRILLED_HERE),
    "twice_ours": _twice(None, None),
    "walk_after_plain": _twice("Corrie 4+4", "Corrie Walk 4+4"),
    "bare_one_open": _bare(last=Knowledge.MEASURED_BARE),
    "bare_drops_in": _bare(last=Knowledge.BINDING_DROPS_IN),
    "bare_plugged_and_open": _bare(None, last=Knowledge.MEASURED_BARE),
    "bare_three_sets": _patient(_bare("Plinth 6", "Hirefold 4+4", last=Knowledge.MEASURED_BARE)),
    "bare_stripped": _bare(last=Knowledge.MEASURED_BARE, stripped=True),
    "bare_size_unmeasured": _bare(last=Knowledge.MEASURED_BARE, diameter_known=False),
    "delivered_new": _delivered_new,
    "hotel_no_rows": _hotel(both=False),
    "hotel_both": _hotel(both=True),
}
"""By the names that `sample_fleet.invented.SKI_BATCHES` deals out."""
