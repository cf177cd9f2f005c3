"""Branches: what is done, entered and typed when a work order cannot go on as its sheet says.

The steps are rows that a head technician reads (``branches.csv``). In braces stands what is filled in;
words in CAPITALS in a line to type are for the person who types it.
"""

from dataclasses import dataclass, replace
from functools import cache
from itertools import groupby
from operator import attrgetter
from pathlib import Path
from string import Formatter
from typing import Final

from fleet.base.errors import BadInput, did_you_mean
from fleet.base.files import csv_rows
from fleet.base.units import mm_text
from fleet.facts.holes import hole_label
from fleet.facts.policy import Policy
from fleet.rules.holds import parse_side
from planner.bench.orders.book import WorkOrder
from planner.bench.orders.typed import parse_screw
from planner.plan.values import PlannedHole

_FILE: Final = Path(__file__).with_name("branches.csv")
_NOT_SET: Final = "see its data sheet (not set in the policy)"


@dataclass(frozen=True, slots=True, kw_only=True)
class BranchStep:
    """One row. ``happened`` names the branch for people, ``lead`` is read from afar, ``words`` close up,
    ``type`` is a line to type or empty.
    """

    branch: str
    happened: str
    lead: str
    words: str
    type: str
    origin: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Branch:
    """The steps of one branch for one order. ``happened``: its name for people; ``about``: the hole or the
    ski, in words, or empty.
    """

    name: str
    happened: str
    order: str
    tag: str
    about: str
    steps: tuple[BranchStep, ...]


@cache
def branch_rows() -> dict[str, tuple[BranchStep, ...]]:
    """Every branch by its name, in the order of the file."""
    rows = (BranchStep(**row) for row in csv_rows(_FILE))
    return {name: tuple(steps) for name, steps in groupby(rows, attrgetter("branch"))}


def branch_of(order: WorkOrder, name: str, *, hole: str, ski: str, policy: Policy) -> Branch:
    """Return the branch with the order's names filled in. BadInput for an unknown one, and where its hole or
    ski is not named.
    """
    rows = branch_rows().get(name)
    if rows is None:
        cure = did_you_mean(name, branch_rows(), f"one of: {', '.join(branch_rows())}")
        raise BadInput(f"there is no branch {name!r}", cure=cure)
    filled = {
        "order": order.name,
        "tag": order.tag,
        "filler": _with_cure(policy, policy.word("plug_adhesive")),
        "insert_glue": _with_cure(policy, policy.word("insert_adhesive")),
    }
    filled |= _hole(order, hole) if hole else {}
    if ski or hole:
        filled["ski"] = parse_side(ski or hole[:1]).value
    texts = (text for row in rows for text in (row.lead, row.words, row.type))
    asked = {key for text in texts for _, key, _, _ in Formatter().parse(text) if key}
    if missing := sorted(asked - filled.keys() - {"drill"}):
        raise BadInput(
            f"the branch {name} needs its {' and '.join(missing)}",
            cure='--hole "A17"' if "hole" in missing else "--ski A",
        )
    steps = tuple(
        replace(
            row,
            lead=row.lead.format_map(filled),
            words=row.words.format_map(filled),
            type=row.type.format_map(filled),
        )
        for row in rows
    )
    about = f"hole {filled['hole']}" if "hole" in asked else f"ski {filled['ski']}" if "ski" in asked else ""
    return Branch(
        name=name, happened=rows[0].happened, order=order.name, tag=order.tag, about=about, steps=steps
    )


def _hole(order: WorkOrder, text: str) -> dict[str, str]:
    screw = parse_screw(text, order.labels)
    name = hole_label((order.holes or {}).get(screw, order.labels[screw]))
    return {"hole": f"{screw[0]}{name}", "drill": _drill(order.planned.way.screws[screw])}


def _drill(hole: PlannedHole) -> str:
    """The size of that hole; where it is not known nobody is told one."""
    if hole.diameter_um is None:
        return "READ THE SKI"
    depth = "depth: READ THE SKI" if hole.depth_um is None else f"× {mm_text(hole.depth_um)} mm"
    return f"Ø {mm_text(hole.diameter_um)} {depth}"


def _with_cure(policy: Policy, glue: str) -> str:
    if not glue:
        return "What the maker's sheet names"
    hours = policy.cure_hours(glue)
    cure = f"cure time: {_NOT_SET}" if hours is None else f"cure {hours} hours"
    return f"{glue.replace('_', ' ').capitalize()}, {cure}"
