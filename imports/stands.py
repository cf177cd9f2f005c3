"""The places of a binding's pieces on the rack, as a sheet says them: measured from the mark, boot out.

A blank cell is *not known*. From the places of toe and heel follows the sole length for which the binding
stands; where one of the pieces that travel is not said, nobody knows that length, and nothing is made of it.
"""

from collections.abc import Mapping
from typing import Any, Final

import msgspec

from fleet.base.units import mm_text, mm_to_um
from fleet.events.mounts import MountRecorded, Slide
from fleet.facts.holes import Mount
from fleet.facts.patterns import Follows, Pattern
from imports.rows import Row

STAND_KEYS: Final = {"toe": "toe_stands_mm", "heel": "heel_stands_mm"}
_SCREWED_BESIDE_UM: Final = 1_000
"""A piece without travel may stand so far beside where its mount puts it: hands screwed it down."""
_LEAST_SOLE_UM, _MOST_SOLE_UM = 150_000, 450_000


def with_stands(row: Row, mount: MountRecorded, pattern: Pattern, values: Mapping[str, Any]) -> MountRecorded:
    """Return the mount with where its pieces stand, or as it is where the row does not say it or is asked
    about it.
    """
    said = {piece: mm_to_um(values[key]) for piece, key in STAND_KEYS.items() if values.get(key) is not None}
    lacks = [piece for piece in pattern.travelling if piece not in said]
    if not said:
        return mount
    if lacks:
        row.note(
            "stands_not_known",
            f"the {' and the '.join(lacks)} piece of {pattern.name} travels too and its place is not said:"
            " nobody knows for which sole the binding stands",
            "measure every piece that travels",
            key=STAND_KEYS[next(iter(said))],
        )
        return mount
    ends, slides = {}, []
    for piece in pattern.pieces:
        listed_um = piece.follows.reference_um(mount.offset_um, mount.bsl_um)
        slide_um = said.get(piece.name.value, listed_um) - listed_um
        if not piece.travels and abs(slide_um) <= _SCREWED_BESIDE_UM:
            listed_um, slide_um = listed_um + slide_um, 0
        if not -piece.travel_back_um <= slide_um <= piece.travel_forward_um:
            row.ask(
                "stands_out_of_travel",
                f"the {piece.name} piece is said to stand {mm_text(slide_um)} mm from where a mount for"
                f" {mm_text(mount.bsl_um)} mm puts it; it travels {mm_text(piece.travel_back_um)} mm back and"
                f" {mm_text(piece.travel_forward_um)} mm forward",
                "measure it again from the mark, + to the tip; or correct the mounted sole or boot centre",
                key=STAND_KEYS.get(piece.name.value),
            )
            return mount
        ends[piece.follows] = listed_um + slide_um
        slides.append(Slide(piece=piece.name.value, reference_um=listed_um, slide_um=slide_um))
    sole_um = ends.get(Follows.TOE, 0) - ends.get(Follows.HEEL, 0)
    if not {Follows.TOE, Follows.HEEL} <= ends.keys() or not _LEAST_SOLE_UM <= sole_um <= _MOST_SOLE_UM:
        row.note(
            "stands_not_known",
            f"no sole length follows from where the pieces of {pattern.name} stand",
            "nothing: it is asked for when the pair goes out",
            key=STAND_KEYS[next(iter(said))],
        )
        return mount
    return msgspec.structs.replace(mount, stands=tuple(slides), set_for_um=sole_um)


def ask_if_moved(row: Row, known: Mount, said: MountRecorded, pattern: Pattern) -> None:
    """Ask where a row says another place than the ledger: a spreadsheet sets no binding."""
    if not said.stands:
        return
    for at in said.stands:
        stands_um = known.stands_um(at.piece, pattern.travelling)
        if at.piece in pattern.travelling and stands_um != at.reference_um + at.slide_um:
            now = "not known" if stands_um is None else f"{mm_text(stands_um)} mm"
            row.ask(
                "stands_differ",
                f"the {at.piece} piece stands at {mm_text(at.reference_um + at.slide_um)} mm by the row,"
                f" in the ledger: {now}",
                "a binding is set with the boot in: mountbook out PAIR --boot TAG --set",
                key=STAND_KEYS.get(at.piece),
            )
