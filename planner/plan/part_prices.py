"""The cost of a way by the shop's own figures: of its parts in money, of its mount in points.

Only a plan with a parts budget asks for prices. Bindings are not among them: a plan uses those that are
there. A mount's worth goes by how many further mounts its pair has room for, the one drilled counted.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from fleet.base.errors import BadInput, or_bad_input
from fleet.base.units import typed_number
from fleet.facts.patterns import Pattern
from fleet.facts.policy import Policy, hundredths
from planner.plan.values import Rung, Way

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


NEW, REUSED, PLUG = "price_new_hole", "price_reused_hole", "price_plug"


@dataclass(frozen=True, slots=True, kw_only=True)
class PartPrices:
    """Hundredths of the shop's money for one new hole, one screw into an old hole, one plug."""

    new_cents: int
    reused_cents: int
    plug_cents: int

    def of_way(self, way: Way, pattern: Pattern) -> int:
        """Return what the parts of a way cost, in hundredths; nothing where no screw is touched."""
        if way.rung.rank <= Rung.ADJUST.rank:
            return 0
        return int(self.of_counts(pattern, way.drilled, way.plugged))

    def of_counts(self, pattern: Pattern, drilled: Any, plugged: Any) -> Any:
        """The same for a way that touches screws, from its counts of both skis, or from arrays of counts."""
        screws = 2 * sum(len(piece.holes) for piece in pattern.pieces)
        return self.new_cents * drilled + self.reused_cents * (screws - drilled) + self.plug_cents * plugged


def prices_in(policy: Policy) -> PartPrices | None:
    """The prices, or None while one of them is not set."""
    if any(policy.optional_number(name) is None for name in (NEW, REUSED, PLUG)):
        return None
    return PartPrices(
        new_cents=policy.hundredths(NEW),
        reused_cents=policy.hundredths(REUSED),
        plug_cents=policy.hundredths(PLUG),
    )


def budget_cents(text: str | None, policy: Policy) -> int | None:
    """A budget as typed, in hundredths. Raises BadInput for nonsense, and where a price is not set."""
    if text is None:
        return None
    with or_bad_input(f"{text!r} is no amount of money", cure="write it like 250 or 99.50"):
        money = typed_number(text)
    if money < 0:
        raise BadInput(f"{text!r} is no amount of money from 0 up", cure="write it like 250 or 99.50")
    refuse_no_prices(policy)
    return hundredths(money)


def refuse_no_prices(policy: Policy) -> None:
    """Raise BadInput where a price is not set."""
    for name in (NEW, REUSED, PLUG):
        policy.number(name)


def money_text(cents: int) -> str:
    """``12.50``."""
    return f"{cents // 100}.{cents % 100:02}"
