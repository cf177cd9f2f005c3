"""A sole measured again: the length that counts from now on, and the other boots of its shell."""

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass

from fleet.base.errors import BadInput, filled
from fleet.base.units import length_text, mm_to_um
from fleet.events.boots import BootChanged
from fleet.events.event import Changes
from fleet.facts.boots import Boot
from fleet.ledger.desk import Desk
from fleet.ledger.signing import signer
from fleet.rules.clearance import read_boot


@dataclass(frozen=True, slots=True, kw_only=True)
class Remeasured:
    """A boot before and after, and its cell: boots of the same model, season and shell to look at too."""

    before: Boot
    after: Boot
    cell: tuple[str, ...]

    def said(self) -> Iterator[str]:
        """The lengths before and after, and the boots to look at too, as lines."""
        after, before = (_length(boot.bsl_um) for boot in (self.after, self.before))
        yield f"sole {after}, before: {before}"
        if self.cell:
            yield f"look at its cell too: {', '.join(self.cell)}"


def _length(bsl_um: int | None) -> str:
    return "unknown" if bsl_um is None else f"{length_text(bsl_um)} mm"


def sole_typed(text: str) -> int:
    """Return a sole length as people type it, in micrometres. Raises BadInput for what is no length."""
    try:
        return mm_to_um(text.strip().replace(",", "."))
    except ValueError as fault:
        raise BadInput(str(fault), cure="write it like 303.5") from fault


def measure_again(desk: Desk, tag: str, *, bsl_um: int, how: str, wear: str = "") -> Remeasured:
    """Replace the sole length by one measured today. Signed; refuses a length that is no sole.

    ``wear``: how worn the boot is, where that is said with it.
    """
    before = read_boot(desk.connection, tag)
    how = filled(how, "how the sole was measured needs to be named", cure='add --how "caliper, both boots"')
    try:
        Boot(
            tag=tag,
            model=before.model,
            mondopoint_mm=before.mondopoint_mm,
            bsl_um=bsl_um,
            bsl_measured=how,
            sole_type=before.sole_type,
        )
    except ValueError as fault:
        raise BadInput(str(fault), cure="the outside length of the sole, in mm") from fault
    signer(desk.connection, desk.by, days=desk.signing_days, what="measure a sole")
    changes: Changes = {"bsl_measured": (before.bsl_measured, f"measured again: {how}")}
    if before.sole_measured_on != desk.day.isoformat():
        changes["sole_measured_on"] = (before.sole_measured_on, desk.day.isoformat())
    if wear and before.wear != wear:
        changes["wear"] = (before.wear, wear)
    if before.bsl_um != bsl_um:
        changes["bsl_um"] = (before.bsl_um, bsl_um)
    desk.enter(BootChanged(tag=tag, changes=changes))
    return Remeasured(
        before=before, after=read_boot(desk.connection, tag), cell=cell_of(desk.connection, before)
    )


def cell_of(connection: sqlite3.Connection, boot: Boot) -> tuple[str, ...]:
    """Return the other boots of its cell. Sizes x.0 and x.5 usually share a shell (common practice, no
    source).
    """
    rows = connection.execute(
        "SELECT tag, mondopoint_mm FROM boot WHERE model = ? AND season = ? AND tag <> ? ORDER BY tag",
        (boot.model, boot.season, boot.tag),
    )
    shell = None if boot.mondopoint_mm is None else boot.mondopoint_mm // 10
    return tuple(tag for tag, size in rows if (None if size is None else size // 10) == shell)
