"""The brake of a binding: its width, that there is none, or that nobody knows."""

from __future__ import annotations

from enum import StrEnum

from fleet.base.units import mm_text


class Brake(StrEnum):
    """Words in the place of a brake's width. In the ledger ``none`` and ``not known`` stand, or null: as
    older ledgers tell that there is none, which nobody saw. ``told as none`` is that in files.
    """

    NONE = "none"
    UNKNOWN = "not known"
    TOLD = "told as none"


BrakeWidth = int | Brake | None
"""Micrometres, or a word; null: told as none, not seen."""


def no_brake(brake: BrakeWidth) -> bool:
    """Return whether there is none, seen or told."""
    return brake_to_plan(brake) is None


def brake_to_plan(brake: BrakeWidth) -> BrakeWidth:
    """As plans count it: the width, None for no brake (seen or told), ``not known``."""
    return brake if isinstance(brake, int) or brake is Brake.UNKNOWN else None


def brake_text(brake: BrakeWidth, *, lead: str = "brake ", unit: str = " mm") -> str:
    """``brake 95 mm``, ``no brake``, ``no brake (told, not seen)``, ``brake not known``."""
    if isinstance(brake, int):
        return f"{lead}{mm_text(brake)}{unit}"
    if brake is Brake.UNKNOWN:
        return f"{lead}not known"
    return "no brake" if brake is Brake.NONE else "no brake (told, not seen)"


def planned_brake_text(brake: BrakeWidth, *, lead: str = "brake ", unit: str = " mm") -> str:
    """The same of a plan, which counts told and seen alike: ``no brake`` for None."""
    return brake_text(Brake.NONE if no_brake(brake) else brake, lead=lead, unit=unit)
