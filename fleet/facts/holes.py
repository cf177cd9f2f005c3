"""A hole in a ski: where, how wide, in what state, and how we know."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from fleet.base.units import checked_um


class Side(StrEnum):
    """Skis have no left and right: they are marked A and B once, with a dot near the tag."""

    A = "A"
    B = "B"


class HoleState(StrEnum):
    """What stands in the hole now."""

    OPEN = "open"
    SCREWED = "screwed"
    PLUGGED = "plugged"
    INSERT = "insert"
    STRIPPED = "stripped"


class SkiFault(StrEnum):
    """What is found on a ski and keeps it out of every plan until a head technician ends it."""

    WET_CORE = "wet core"
    CRACK = "crack"
    DELAMINATION = "delamination"


class Knowledge(StrEnum):
    """How a hole is known, best first. The allowance added to the spacing follows from it."""

    MEASURED_HERE = "measured here"
    DRILLED_HERE = "drilled here"
    MEASURED_BARE = "measured bare"
    BINDING_DROPS_IN = "binding drops in"
    BATCH_ASSUMED = "batch assumed"
    TEMPLATE = "template"
    SUSPECTED = "suspected"

    @property
    def may_be_reused(self) -> bool:
        """Whether a screw may be planned into a hole known this way."""
        return self in _REUSABLE_KNOWLEDGE

    @property
    def policy_name(self) -> str:
        """The policy that holds this knowledge's allowance, e.g. ``allowance_measured_here_mm``."""
        return f"allowance_{self.value.replace(' ', '_')}_mm"


_REUSABLE_KNOWLEDGE = frozenset(
    {
        Knowledge.MEASURED_HERE,
        Knowledge.DRILLED_HERE,
        Knowledge.MEASURED_BARE,
        Knowledge.BINDING_DROPS_IN,
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hole:
    """One hole of one ski. Coordinates in micrometres from that ski's own printed mark.

    ``diameter_um`` and ``depth_um`` are None where nobody measured them; ``entry`` is the ledger entry
    the hole came from. Raises ValueError for nonsense.
    """

    hole_id: str
    x_um: int
    y_um: int
    diameter_um: int | None
    depth_um: int | None
    state: HoleState
    knowledge: Knowledge
    entry: int = 0

    def __post_init__(self) -> None:
        checked_um("x_um", self.x_um)
        checked_um("y_um", self.y_um)
        for name, value in (("diameter_um", self.diameter_um), ("depth_um", self.depth_um)):
            if value is not None and checked_um(name, value) <= 0:
                raise ValueError(f"{name} must be more than 0, not {value}")
