"""Boots at the counter and in the evening: held, cleared, moved, back, by the words that pairs are.

A sole measured again: the length that counts from now on, and the other boots of its shell.
"""

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from fleet.base.errors import Refused, did_you_mean, filled, in_words, or_bad_input
from fleet.base.units import length_text, mm_to_um
from fleet.events.boots import BootBack, BootChanged, BootHeld, BootHoldCleared, BootMoved
from fleet.events.event import Changes
from fleet.facts.boots import Boot
from fleet.facts.kinds import Kind, KindRule
from fleet.facts.patterns import Pattern
from fleet.facts.policy import Policy
from fleet.facts.standing import Place
from fleet.ledger.desk import Desk, manager, signer
from fleet.rules.moves import Done, Move, check_move
from fleet.tables.snapshot import read_boots

_PREFIX: Final = "boot:"
"""Before a boot's tag that a pair has too."""


def boot_meant(connection: sqlite3.Connection, text: str) -> str | None:
    """Return the boot's tag where a tag means a boot: no pair has it, or it was typed ``boot:B-210``."""
    said = text.strip()
    bare = said[len(_PREFIX) :].strip() if said.casefold().startswith(_PREFIX) else said
    if bare == said and connection.execute("SELECT 1 FROM pair WHERE tag = ?", (bare,)).fetchone():
        return None
    for tag in (bare, bare.upper()):
        if connection.execute("SELECT 1 FROM boot WHERE tag = ?", (tag,)).fetchone():
            return tag
    return None


def read_boot(connection: sqlite3.Connection, tag: str) -> Boot:
    """Return the boot. Raises Refused with the nearest tag."""
    boot = read_boots(connection, tag).get(tag)
    if boot is None:
        known = read_boots(connection)
        raise Refused(f"there is no boot {tag} in the ledger", cure=did_you_mean(tag, known, "check the tag"))
    return boot


def _boot(desk: Desk, tag: str) -> Boot:
    return read_boots(desk.connection, tag)[tag]


def _done(desk: Desk, tag: str, entry: int, words: str) -> Done:
    return Done(tag=tag, place=_boot(desk, tag).place, entry=entry, words=words)


def reasons_against_boot(boot: Boot, *, kind: Kind, pattern: Pattern | None, policy: Policy) -> list[str]:
    """Return why the boot does not go out with a pair of that kind: what bars it, and kinds that differ."""
    reasons = [f"boot {boot.tag} is barred ({boot.barred})"] if boot.barred else []
    binding = pattern.kinds if pattern else ()
    if kinds := KindRule(policy).against(pair=(kind,), boot=boot.kinds, binding=binding):
        reasons.append(kinds)
    return reasons


def check_is_in(connection: sqlite3.Connection, tag: str) -> None:
    """Refuse a boot that is out with another pair."""
    boot = read_boots(connection, tag).get(tag)
    if boot is None or boot.place is not Place.OUT:
        return
    (pair,) = connection.execute(
        "SELECT tag FROM standing WHERE place = 'out' AND out_boot = ? ORDER BY out_entry DESC", (tag,)
    ).fetchone()
    raise Refused(
        f"boot {tag} is out with {pair}", cure=f"scan that pair back first, or the boot: mountbook back {tag}"
    )


def hold_boot(desk: Desk, tag: str, *, why: str) -> Done:
    """Stop a boot. Anybody may; one that is out is held when it comes back."""
    check_move(Move.HOLD, tag, _boot(desk, tag).place)
    return _done(desk, tag, desk.enter(BootHeld(tag=tag), note=why), f"HOLD: {why}")


def clear_boot(desk: Desk, tag: str, *, why: str = "") -> Done:
    """Lift the hold, signed by a listed person."""
    boot = _boot(desk, tag)
    check_move(Move.CLEAR_HOLD, tag, boot.place)
    signer(desk.connection, desk.by, days=desk.signing_days, what="clear a hold")
    return _done(
        desk, tag, desk.enter(BootHoldCleared(tag=tag, hold=boot.hold_entry), note=why), "cleared and ready"
    )


def move_boot(desk: Desk, tag: str, move: Move, *, to: str, reason: str) -> Done:
    """Enter missing, in transit, retired or sold; or ``shop``: found or arrived. With the rights of pairs."""
    check_move(move, tag, _boot(desk, tag).place)
    if move is Move.SELL:
        manager(desk.connection, desk.by, days=desk.signing_days, what="sell a boot")
    if move is Move.RETIRE:
        signer(desk.connection, desk.by, days=desk.signing_days, what="retire a boot")
        reason = in_words(reason, "why the boot is retired")
    return _done(desk, tag, desk.enter(BootMoved(tag=tag, to=to), note=reason), reason)


def take_boot_back(desk: Desk, tag: str, *, said: str = "", remark: str = "") -> Done:
    """Take a boot back. A return is a fact, even where the ledger did not know that it was out."""
    before = _boot(desk, tag)
    check_move(Move.BACK, tag, before.place)
    entry = desk.enter(BootBack(tag=tag, said=bool(said)), note=said or remark)
    after = _boot(desk, tag)
    words = f"HOLD: {after.hold_why}" if after.place is Place.HOLD else "back in its rack"
    if before.place is not Place.OUT:
        words += f" (the ledger had it {before.place.words})"
    return Done(tag=tag, place=after.place, entry=entry, words=words)


@dataclass(frozen=True, slots=True, kw_only=True)
class Remeasured:
    """A boot before and after, and its cell: boots of the same model, season and shell to look at too."""

    before: Boot
    after: Boot
    cell: tuple[str, ...]

    def said(self) -> Iterator[str]:
        """The lengths before and after, and the boots to look at too, as lines."""
        after, before = (
            "unknown" if boot.bsl_um is None else f"{length_text(boot.bsl_um)} mm"
            for boot in (self.after, self.before)
        )
        yield f"sole {after}, before: {before}"
        if self.cell:
            yield f"look at its cell too: {', '.join(self.cell)}"


def sole_typed(text: str) -> int:
    """Return a sole length as people type it, in micrometres. Raises BadInput for what is no length."""
    with or_bad_input(cure="write it like 303.5"):
        return mm_to_um(text.strip().replace(",", "."))


def measure_again(desk: Desk, tag: str, *, bsl_um: int, how: str, wear: str = "") -> Remeasured:
    """Replace the sole length by one measured today. Signed; refuses a length that is no sole.

    ``wear``: how worn the boot is, where that is said with it.
    """
    before = read_boot(desk.connection, tag)
    how = filled(how, "how the sole was measured needs to be named", cure='add --how "caliper, both boots"')
    with or_bad_input(cure="the outside length of the sole, in mm"):
        replace(before, bsl_um=bsl_um, bsl_measured=how)
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
