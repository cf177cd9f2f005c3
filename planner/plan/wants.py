"""The sets wanted that a plan was made for: the ledger's, or its own where it was made for many seasons.

A want of its own keeps the ledger's name where it is the same but for how many. Where a set must be able
to serve any of several wants, it is named after the first of them in priority, with a number: ``W-1+02``.
"""

from __future__ import annotations

from dataclasses import replace

from fleet.tables.snapshot import Fleet
from planner.plan.values import Plan


def as_asked(fleet: Fleet, plan: Plan) -> Fleet:
    """The fleet with the wants that the plan was made for."""
    return fleet if plan.wants is None else replace(fleet, wishes=plan.wants)


def shared_name(lead: str, number: int) -> str:
    """The name of a want whose sets may serve several, ``lead`` first."""
    return f"{lead}+{number:02}"


def lead_of(name: str) -> str:
    """The want that a shared want is named after; any other name stays as it is."""
    lead, plus, number = name.rpartition("+")
    return lead if plus and len(number) >= 2 and number.isdecimal() else name
