"""Boots at the counter and in the evening: held, cleared, moved, back, by the words that pairs are."""

import sqlite3
from typing import Final

from fleet.base.errors import Refused, in_words
from fleet.events.boots import BootBack, BootHeld, BootHoldCleared, BootMoved
from fleet.facts.boots import Boot
from fleet.facts.kinds import Kind, KindRule
from fleet.facts.patterns import Pattern
from fleet.facts.policy import Policy
from fleet.facts.standing import Place
from fleet.ledger.desk import Desk
from fleet.ledger.signing import manager, signer
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
        words += f" (the ledger had it {before.place.value})"
    return Done(tag=tag, place=after.place, entry=entry, words=words)
