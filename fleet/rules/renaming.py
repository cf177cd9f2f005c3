"""Renaming a pair: signed, and only where no sheet and no sample counts on the old tag."""

from typing import Final

from fleet.base.errors import BadInput, Refused, filled
from fleet.events.pairs import PairRenamed
from fleet.facts.standing import read_standing
from fleet.facts.tags import called_now
from fleet.ledger.desk import Desk, head
from fleet.rules.clearance import no_open_order
from fleet.rules.sampling.record import newest_sample


def rename(desk: Desk, tag: str, to: str, *, why: str) -> int:
    """Enter that a pair has another tag from now on. A head technician or a manager signs."""
    new, old = " ".join(to.split()), called_now(desk.connection, tag)
    if not new or new == old or not new.isprintable() or len(new) > _LONGEST:
        raise BadInput(f"{to!r} is no other tag for {old}", cure=f"a tag of 1 to {_LONGEST} characters")
    why = filled(why, "another tag needs a reason", cure='add --why "the old label was lost"')
    head(desk.connection, desk.by, days=desk.signing_days, what="give a pair another tag")
    read_standing(desk.connection, old)
    no_open_order(desk.connection, old)
    sample = newest_sample(desk.connection)
    if (
        sample is not None
        and sample.closed is None
        and {old, f"{old} A", f"{old} B"} & set(sample.open_units)
    ):
        raise Refused(f"{old} waits for its result in sample {sample.entry}", cure="enter that first")
    for (taken,) in desk.connection.execute("SELECT tag FROM boot WHERE tag = ?", (new,)):
        raise Refused(f"{taken} is the tag of a boot", cure="choose a tag that nothing has")
    return desk.enter(PairRenamed(tag=old, to=new), note=why)


_LONGEST: Final = 64
