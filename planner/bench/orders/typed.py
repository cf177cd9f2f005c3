"""Screws and measured positions read from typed text, or from a csv file."""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from fleet.base.errors import BadInput, or_bad_input, typed_word
from fleet.base.files import typed_rows
from fleet.base.units import mm_to_um
from fleet.facts.holes import Side, SkiFault
from fleet.facts.tags import tag_order
from fleet.rules.holds import parse_fault, parse_side
from planner.bench.orders.bench_record import Drilled, Measured, Screw

_COLUMNS = ("ski", "number", "x_mm", "y_mm")


Labels = Mapping[Screw, str]
"""Each screw as its sheet names it (`planner.bench.orders.book.labels_of`)."""


def parse_screw(text: str, labels: Labels) -> Screw:
    """Return a screw typed as ``A17`` or ``A 17``: the ski, and the name beside the hole on that order's
    picture.
    """
    ski, name = text.strip()[:1].upper(), text.strip()[1:].strip()
    if ski not in tuple(Side) or not name:
        raise BadInput(f"{text!r} is not a hole of the sheet", cure='write it like "A17"')
    for screw, label in labels.items():
        if screw[0] == ski and label == name:
            return screw
    known = ", ".join(sorted((label for screw, label in labels.items() if screw[0] == ski), key=tag_order))
    raise BadInput(f"the sheet has no hole {name} on ski {ski}", cure=f"it has {known}")


def parse_drilled(text: str, side: Side) -> Drilled:
    """Return an answer typed as ``nothing``, ``as-planned`` or ``not-known``."""
    otherwise = f"{text!r} does not say what was drilled on ski {side}"
    cure = f'nothing, as-planned or not-known; holes are named one by one, like --drilled "{side}17"'
    return Drilled(typed_word(text, Drilled, otherwise, cure=cure))


def ask_drilled(
    said: Mapping[str, str],
    named: Sequence[str],
    measured: Sequence[str],
    file: Path | None,
    ask: Callable[[str], str],
) -> tuple[dict[Side, Drilled], list[str]]:
    """Return the answer for each ski: by option, else from ``ask`` (a word, or numbers on the sheet).

    A ski whose holes are named, or that a file of measured holes may speak of, is not asked about.
    """
    found: dict[Side, Drilled] = {}
    screws = list(named)
    for side in Side:
        answer = said[side.value]
        spoken_of = file is not None or any(
            text.strip().upper().startswith(side.value) for text in (*named, *measured)
        )
        if not answer and not spoken_of:
            answer = ask(
                f"Ski {side}: what was drilled? nothing, as-planned, not-known, or numbers on the sheet:"
            )
        numbers = answer.replace(",", " ").split()
        if numbers and all(number.isdecimal() for number in numbers):
            screws += [f"{side} {number}" for number in numbers]
        elif answer:
            found[side] = parse_drilled(answer, side)
    return found, screws


def parse_measured(text: str, labels: Labels) -> tuple[Screw, Measured]:
    """Return a place typed as ``A17=101.5,-18.0``: the hole, then x and y from that ski's own mark in mm."""
    screw, _, place = text.partition("=")
    parts = place.split(",")
    with or_bad_input(f"{text!r} is not a measured hole", cure='write it like "A17=101.5,-18.0" (mm)'):
        x, y = (mm_to_um(part) for part in parts)
    return parse_screw(screw, labels), Measured(x_um=x, y_um=y)


def parse_inserts(typed: Sequence[str], labels: Labels) -> dict[Screw, int]:
    """Return inserts typed as ``A17=9.0``: the hole, and the diameter that was drilled for it, in µm."""
    found: dict[Screw, int] = {}
    for text in typed:
        screw, _, diameter = text.partition("=")
        with or_bad_input(
            f"{text!r} does not say how wide the hole for the insert is", cure='write it like "A17=9.0" (mm)'
        ):
            diameter_um = mm_to_um(diameter)
        found[parse_screw(screw, labels)] = diameter_um
    return found


def parse_extra(typed: Sequence[str]) -> dict[Side, list[Measured]]:
    """Return unplanned holes typed as ``A=101.5,-18.0``, by ski, in mm from that ski's own mark."""
    found: dict[Side, list[Measured]] = {}
    for text in typed:
        ski, _, place = text.partition("=")
        with or_bad_input(f"{text!r} is not a hole of a ski", cure='write it like "A=101.5,-18.0" (mm)'):
            x_um, y_um = (mm_to_um(part) for part in place.split(","))
            side = Side(ski.strip().upper())
        found.setdefault(side, []).append(Measured(x_um=x_um, y_um=y_um))
    return found


def parse_faults(typed: Sequence[str]) -> dict[Side, SkiFault]:
    """Return a fault of one ski typed as ``A wet-core``."""
    found: dict[Side, SkiFault] = {}
    for text in typed:
        ski, _, fault = text.strip().partition(" ")
        found[parse_side(ski)] = parse_fault(fault)
    return found


def read_measured(path: Path | None, typed: Sequence[str], labels: Labels) -> dict[Screw, Measured]:
    """Return all measured holes, from a csv with ski, number, x_mm, y_mm and from typed text.

    ``number`` is the one on the sheet. Optional columns: diameter_mm, depth_mm. A screw given twice is
    refused.
    """
    found: dict[Screw, Measured] = {}
    rows = [parse_measured(text, labels) for text in typed]
    if path is not None:
        lines = typed_rows(path, _COLUMNS, cure=f"its columns are {', '.join(_COLUMNS)}")
        rows += [_row(path, number, line, labels) for number, line in enumerate(lines, start=2)]
    for screw, measured in rows:
        if screw in found:
            raise BadInput(f"{screw[0].value} {screw[1]} {screw[2]} is measured twice", cure="give it once")
        found[screw] = measured
    return found


def _row(path: Path, number: int, row: dict[str, str], labels: Labels) -> tuple[Screw, Measured]:
    def optional(name: str) -> int | None:
        return mm_to_um(row[name]) if row.get(name) else None

    with or_bad_input(f"{path}, row {number}:", cure="lengths in mm, like 101.5", of=(ValueError, TypeError)):
        screw = parse_screw(f"{row['ski']} {row['number']}", labels)
        return screw, Measured(
            x_um=mm_to_um(row["x_mm"]),
            y_um=mm_to_um(row["y_mm"]),
            diameter_um=optional("diameter_mm"),
            depth_um=optional("depth_mm"),
        )
