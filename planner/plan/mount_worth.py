"""The worth of a mount by how many further mounts its pair has room for, the one drilled counted."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from fleet.facts.policy import Policy

WORTHS: Final = ("mount_worth_1", "mount_worth_2", "mount_worth_3")
"""The policies: of the last mount, of the last but one, and of every one before."""


def mount_worths(policy: Policy) -> tuple[int, ...] | None:
    """The points, the last mount first; None where the shop sets none. Raises BadInput where some lack."""
    if all(policy.optional_number(name) is None for name in WORTHS):
        return None
    return tuple(policy.count(name) for name in WORTHS)


def worth_of_next(worths: Sequence[int], left: int) -> int:
    """The points of the next mount of a pair with room for so many; at the least it is the last one."""
    return worths[min(len(worths), max(1, left)) - 1]
