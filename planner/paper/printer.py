"""The shop printer's error of length, and the scale that corrects for it on true-scale sheets.

Measured once on the test sheet: how long the bars of 250 mm along and 100 mm across came out. Stored as
policies, so the figures are dated and signed like every other.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from fleet.base.errors import BadInput
from fleet.facts.policy import Policy
from fleet.ledger.desk import Desk
from fleet.ledger.people import set_policy
from fleet.tables.snapshot import read_policy

ALONG_MM: Final = 250.0
ACROSS_MM: Final = 100.0
_MOST: Final = 0.03
"""More than this is a print dialog that scales, not a printer that stretches."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PrinterScale:
    """Factors by which a true length is drawn so that it comes out true; 1 is no correction."""

    along: float = 1.0
    across: float = 1.0

    @property
    def words(self) -> str:
        """The scale in the words of a sheet."""
        if self.along == self.across == 1.0:
            return "no printer correction"
        return f"printer correction x {self.along:.4f} along, x {self.across:.4f} across"


def printer_scale(policy: Policy) -> PrinterScale:
    """Return the correction from the measured lengths of the two bars. Raises BadInput for impossible
    lengths.
    """
    return PrinterScale(
        along=_factor(policy, "printer_along_mm", ALONG_MM),
        across=_factor(policy, "printer_across_mm", ACROSS_MM),
    )


def _factor(policy: Policy, name: str, nominal_mm: float) -> float:
    measured = float(policy.number(name))
    if not nominal_mm * (1 - _MOST) <= measured <= nominal_mm * (1 + _MOST):
        raise BadInput(
            f"the bar of {nominal_mm:g} mm is entered as {measured:g} mm",
            cure="switch off 'fit to page' in the print dialog, print the test sheet again and measure it",
        )
    return nominal_mm / measured


_ORIGIN = "measured with a steel ruler on the printer's test sheet"


def enter_printer(desk: Desk, *, along: str, across: str) -> PrinterScale:
    """Store both lengths (mm as typed) and return the correction. Raises BadInput for a scaled print.

    The check comes before the entries, so that a refused pair of figures leaves nothing behind.
    """
    policy = read_policy(desk.connection)
    scale = printer_scale(policy.with_values(printer_along_mm=along, printer_across_mm=across))
    set_policy(desk, "printer_along_mm", along, origin=_ORIGIN)
    set_policy(desk, "printer_across_mm", across, origin=_ORIGIN)
    return scale
