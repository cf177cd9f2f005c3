"""Hold, repair, quarantine: how a pair is stopped, and who may let it go again."""

from __future__ import annotations

from fleet.counter import Done
from fleet.desk import Desk
from fleet.equipment import Place
from fleet.errors import BadInput
from fleet.moves import Move, check_move
from fleet.signing import head_technician, manager, not_the_worker, signer
from fleet.standing import read_standing


def _named(text: str, what: str) -> str:
    if not text.strip():
        raise BadInput(f"{what} needs to be named", cure='add --why "what was seen"')
    return text.strip()


def _after(desk: Desk, tag: str, entry: int, words: str) -> Done:
    return Done(tag=tag, place=read_standing(desk.connection, tag).place, entry=entry, words=words)


def hold(desk: Desk, tag: str, *, why: str) -> Done:
    """Stop a pair. Anybody may; a pair that is out is held when it comes back."""
    cause = _named(why, "the cause of a hold")
    standing = read_standing(desk.connection, tag)
    check_move(Move.HOLD, tag, standing.place)
    entry = desk.enter("pair held", {"tag": tag}, note=cause)
    return _after(desk, tag, entry, f"HOLD: {cause}")


def clear_hold(desk: Desk, tag: str, *, why: str = "") -> Done:
    """Lift the hold. Signed by a listed person who did none of the work; no pass comes of it."""
    standing = read_standing(desk.connection, tag)
    check_move(Move.CLEAR_HOLD, tag, standing.place, detail=standing.quarantine_why)
    signer(desk.connection, desk.by, days=desk.signing_days, what="clear a hold")
    not_the_worker(desk.by, standing.workers, tag=tag)
    entry = desk.enter("hold cleared", {"tag": tag, "hold": standing.hold_entry}, note=why)
    return _cleared(desk, tag, entry)


def _cleared(desk: Desk, tag: str, entry: int) -> Done:
    after = read_standing(desk.connection, tag)
    words = "cleared and ready" if after.place is Place.READY else f"cleared; it is {after.place.value}"
    if after.place in (Place.BACK, Place.SECOND_CHECK):
        words += " and needs a look at both skis"
    return Done(tag=tag, place=after.place, entry=entry, words=words)


def end_stop(desk: Desk, tag: str, *, why: str) -> Done:
    """End what the bench stopped, and any hold with it: a fact about the ski, so only the head technician.

    A retired pair's too: its other ski may become part of a new pair.
    """
    standing = read_standing(desk.connection, tag)
    if standing.place is not Place.RETIRED:
        check_move(Move.CLEAR_HOLD, tag, standing.place, detail=standing.quarantine_why)
    head_technician(
        desk.connection, desk.by, days=desk.signing_days, what=f"end a stop ({standing.stop_why})"
    )
    not_the_worker(desk.by, standing.workers, tag=tag)
    reason = _named(why, "the reason")
    entry = desk.enter("stop ended", {"tag": tag, "stop": standing.stop_entry}, note=reason)
    return _cleared(desk, tag, entry)


def begin_repair(desk: Desk, tag: str) -> Done:
    """Onto the bench."""
    standing = read_standing(desk.connection, tag)
    check_move(Move.BEGIN_REPAIR, tag, standing.place)
    signer(desk.connection, desk.by, days=desk.signing_days, what="begin a repair")
    return _after(desk, tag, desk.enter("repair begun", {"tag": tag}), f"in repair: {standing.hold_why}")


def end_repair(desk: Desk, tag: str, *, did: str, glued_with: tuple[str, ...] = ()) -> Done:
    """Repaired. Another person must look; the next two returns are looked at first."""
    did = _named(did, "what was done")
    standing = read_standing(desk.connection, tag)
    check_move(Move.END_REPAIR, tag, standing.place)
    signer(desk.connection, desk.by, days=desk.signing_days, what="sign a repair")
    entry = desk.enter("repair done", {"tag": tag, "glued_with": list(glued_with)}, note=did)
    left = read_standing(desk.connection, tag).stop_why
    then = f"the head technician ends what stopped it: {left}" if left else "a second person looks"
    return _after(desk, tag, entry, f"repaired: {did}; {then}")


def quarantine(desk: Desk, tag: str, *, why: str) -> Done:
    """Lock a pair away after an accident, a complaint or a recall. Anybody may; nothing is touched."""
    cause = _named(why, "the cause of a quarantine")
    standing = read_standing(desk.connection, tag)
    check_move(Move.QUARANTINE, tag, standing.place)
    entry = desk.enter("pair quarantined", {"tag": tag}, note=cause)
    return _after(desk, tag, entry, f"QUARANTINE, touch nothing: {cause}")


def clear_quarantine(desk: Desk, tag: str, *, why: str) -> Done:
    """Only a manager, with a reason; the pair needs a pass like any other."""
    reason = _named(why, "the reason")
    standing = read_standing(desk.connection, tag)
    check_move(Move.CLEAR_QUARANTINE, tag, standing.place)
    manager(desk.connection, desk.by, days=desk.signing_days, what="clear a quarantine")
    entry = desk.enter("quarantine cleared", {"tag": tag}, note=reason)
    return _after(desk, tag, entry, "out of quarantine; it needs a look at both skis")


def clear(desk: Desk, tag: str, *, why: str = "") -> Done:
    """Lift whatever stops the pair: a quarantine if it is in one, else what the bench stopped, else the hold.

    A hold laid over a stop hides nothing: as long as the stop stands, only the head technician clears.
    """
    standing = read_standing(desk.connection, tag)
    if standing.place is Place.QUARANTINE:
        return clear_quarantine(desk, tag, why=why)
    if standing.stop_entry:
        return end_stop(desk, tag, why=why)
    return clear_hold(desk, tag, why=why)
