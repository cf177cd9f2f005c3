"""Hold, repair, quarantine: the ways to stop a pair, and the people who may let it go again."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Final

from fleet.base.errors import BadInput, Refused, filled, in_words, typed_word
from fleet.events.event import LEFT_OUT
from fleet.events.stops import (
    HoldCleared,
    PairHeld,
    PairQuarantined,
    QuarantineCleared,
    RepairBegun,
    RepairDone,
    SkiFaultFound,
    StopEnded,
)
from fleet.facts.fault_causes import OTHER, ROADS, FaultCause, Road, proposed_cause, road_of, road_words
from fleet.facts.holes import Side, SkiFault
from fleet.facts.standing import Place, Standing, read_standing
from fleet.ledger.desk import (
    Desk,
    head_technician,
    manager,
    not_one_of,
    signer,
)
from fleet.rules.boots import boot_meant, clear_boot, hold_boot
from fleet.rules.clearance import read_case
from fleet.rules.counter import Done
from fleet.rules.hours import hour_words
from fleet.rules.looks import barred, causers, piece_typed, pieces_of
from fleet.rules.moves import Move, may_move
from fleet.tables.snapshot import read_policy

_SEEN: Final = 'add --why "what was seen"'
"""A reason is asked for, and no more of it: nobody leaves a ski unstopped for want of words."""


def _after(desk: Desk, tag: str, entry: int, words: str) -> Done:
    return Done(tag=tag, place=read_standing(desk.connection, tag).place, entry=entry, words=words)


def hold(desk: Desk, tag: str, *, why: str, cause: FaultCause | None = None) -> Done:
    """Stop a pair or boot. Anybody may; one that is out is held when it comes back.

    ``cause`` None: as its words propose. What ends the hold of a pair follows from the cause (`ROADS`);
    an accident is a quarantine.
    """
    seen = filled(why, "the cause of a hold needs to be named", cure=_SEEN)
    if (boot := boot_meant(desk.connection, tag)) is not None:
        return hold_boot(desk, boot, why=seen)
    found = cause or proposed_cause(seen)
    read_out = "" if cause or found.cause == OTHER else f"; cause: {found.cause}, read out of these words"
    if found.road is Road.MANAGER:
        done = quarantine(desk, tag, why=seen)
        return replace(done, words=f"{done.words}{read_out}")
    may_move(desk, tag, Move.HOLD)
    if found.road is Road.LISTED:
        return _after(desk, tag, desk.enter(PairHeld(tag=tag), note=seen), f"HOLD: {seen}")
    entry = desk.enter(PairHeld(tag=tag, cause=found.cause, road=found.road), note=seen)
    then = road_words(read_standing(desk.connection, tag))
    return _after(desk, tag, entry, f"HOLD: {seen}{read_out}; what ends it: {then}")


def parse_side(text: str) -> Side:
    """Return the side typed as ``A`` or ``B``, in any case."""
    otherwise = f"{text!r} is no ski of a pair"
    return Side(typed_word(text, Side, otherwise, cure="A or B, as marked with the dot"))


def parse_fault(text: str) -> SkiFault:
    """Return the fault typed as ``wet-core``, ``crack`` or ``delamination``."""
    known = ", ".join(each.replace(" ", "-") for each in SkiFault)
    cure = f"one of {known}; else mountbook hold"
    return SkiFault(typed_word(text, SkiFault, f"{text!r} is no fault of a ski", cure=cure))


def ski_fault(desk: Desk, tag: str, side: Side, fault: SkiFault, *, why: str = "") -> Done:
    """Enter a fault of one ski. Anybody may; the pair is in no plan until a head technician ends it."""
    standing = read_standing(desk.connection, tag)
    if standing.place in (Place.RETIRED, Place.SOLD):
        raise Refused(f"{tag} is {standing.place.words}", cure="check the tag")
    entry = desk.enter(SkiFaultFound(tag=tag, side=side, fault=fault), note=why.strip())
    return _after(desk, tag, entry, f"STOPPED: ski {side}: {fault}; only a head technician ends it")


def clear_hold(desk: Desk, tag: str, *, why: str = "") -> Done:
    """Lift the hold by its road (`ROADS`); no pass comes of it.

    A head technician who ends a stop ends with it whatever hold was laid over it.
    """
    standing = may_move(desk, tag, Move.CLEAR_HOLD)
    why = _may_end(desk, standing, why)
    if standing.stop_entry:
        entry = desk.enter(StopEnded(tag=tag, stop=standing.stop_entry), note=why)
    else:
        entry = desk.enter(HoldCleared(tag=tag, hold=standing.hold_entry), note=why)
    after = read_standing(desk.connection, tag)
    words = "cleared and ready" if after.place is Place.READY else f"cleared; it is {after.place.words}"
    if after.place in (Place.BACK, Place.SECOND_CHECK):
        words += " and needs a look at both skis"
    return Done(tag=tag, place=after.place, entry=entry, words=words)


def _may_end(desk: Desk, standing: Standing, why: str) -> str:
    """Refuse unless the road of the pair's stop lets this person end it; return the reason (`ROADS`)."""
    road, tag = road_of(standing), standing.tag
    rule = ROADS[road]
    if standing.workers or "finder" in rule.never:
        desk.second_signature()
    names = {
        "worker": barred(desk, standing, standing.workers, passes=False),
        "finder": standing.finders,
        "causer": causers(desk.connection, standing),
    }
    if "causer" in rule.never:
        not_one_of("causer", desk.by, names["causer"], tag=tag)
    signed: Callable[..., object] = signer
    if road is Road.HEAD:
        signed = partial(head_technician, never=[name for who in rule.never for name in names[who]])
    elif road is Road.MANAGER:
        signed = manager
    what = rule.what.format(stop=standing.stop_why)
    signed(desk.connection, desk.by, days=desk.signing_days, what=what)
    for who in rule.never:
        not_one_of(who, desk.by, names[who], tag=tag)
    return in_words(why, rule.reason or "a reason") if rule.reason or why else ""


def begin_repair(desk: Desk, tag: str) -> Done:
    """Put a held pair on the bench."""
    standing = may_move(desk, tag, Move.BEGIN_REPAIR)
    signer(desk.connection, desk.by, days=desk.signing_days, what="begin a repair")
    _not_before(desk, standing)
    return _after(desk, tag, desk.enter(RepairBegun(tag=tag)), f"in repair: {standing.hold_why}")


def end_repair(
    desk: Desk, tag: str, *, did: str, glued_with: tuple[str, ...] = (), touched: Sequence[str] = ()
) -> Done:
    """Enter the end of a repair. Another person must look; the next two returns are looked at first.

    ``touched``: the pieces that hands were at, as typed, ``A heel``, or ``none``: at which sole length they
    stand is not known any more. Nothing named: that counts for every piece of both skis. Refused where the
    words tell of a glue of the shop and none is named.
    """
    did = in_words(did, "what was done", option="--did")
    standing = may_move(desk, tag, Move.END_REPAIR)
    pieces = parse_touched(touched, pieces=pieces_of(read_case(desk.connection, tag)), tag=tag)
    signer(desk.connection, desk.by, days=desk.signing_days, what="sign a repair")
    _not_before(desk, standing)
    for glue in () if glued_with else read_policy(desk.connection).adhesives:
        if (words := glue.replace("_", " ")) in did.casefold().replace("_", " "):
            raise Refused(
                f"{did!r} tells of {words}, and no glue is named: its cure would not run",
                cure=f"name it: --glue {glue}; where none was used, say it in other words",
            )
    entry = desk.enter(
        RepairDone(
            tag=tag,
            glued_with=glued_with,
            cure_from_entry=desk.cure_from_entry if glued_with else LEFT_OUT,
            touched=LEFT_OUT if pieces is None else pieces,
        ),
        note=did,
    )
    after = read_standing(desk.connection, tag)
    left = after.stop_why
    then = f"the head technician ends what stopped it: {left}" if left else "a second person looks"
    if standing.setting.pieces:
        then += f"; its binding is {after.setting.set_for}"
    return _after(desk, tag, entry, f"repaired: {did}; {then}{hour_words(desk, entry)}")


def parse_touched(
    texts: Sequence[str], *, pieces: tuple[str, ...], tag: str
) -> tuple[tuple[str, str], ...] | None:
    """Return ski and piece of each typed ``A heel``; () for ``none``, None where nothing was typed.

    Raises BadInput for a piece that the pair has not, and for ``none`` beside a piece.
    """
    if not texts:
        return None
    if [text.strip().lower() for text in texts] == ["none"]:
        return ()
    cure = 'write it like "B heel", or none alone'
    found = (
        piece_typed(text, BadInput(f"{text!r} is not a piece of a ski", cure=cure), pieces=pieces, tag=tag)
        for text in texts
    )
    return tuple(dict.fromkeys(found))


def _not_before(desk: Desk, standing: Standing) -> None:
    """Refuse a time given for work on a pair that was not stopped yet."""
    if desk.stated is not None:
        words = "went to repair" if standing.place is Place.IN_REPAIR else "was held"
        desk.check_after(standing.since, standing.tag, words)


def quarantine(desk: Desk, tag: str, *, why: str) -> Done:
    """Lock a pair away after an accident, a complaint or a recall. Anybody may; nothing is touched."""
    cause = filled(why, "the cause of a quarantine needs to be named", cure=_SEEN)
    may_move(desk, tag, Move.QUARANTINE)
    entry = desk.enter(PairQuarantined(tag=tag), note=cause)
    return _after(desk, tag, entry, f"QUARANTINE, touch nothing: {cause}")


def clear_quarantine(desk: Desk, tag: str, *, why: str) -> Done:
    """Lift a quarantine. Only a manager may, with a reason; the pair needs a pass like any other."""
    standing = may_move(desk, tag, Move.CLEAR_QUARANTINE)
    reason = _may_end(desk, standing, why)
    entry = desk.enter(QuarantineCleared(tag=tag), note=reason)
    after = read_standing(desk.connection, tag)
    words = "quarantine ended; it needs a look at both skis"
    if after.place in (Place.HOLD, Place.IN_REPAIR):
        words = f"quarantine ended; still {after.place.words}: {after.hold_why}"
    return Done(tag=tag, place=after.place, entry=entry, words=words)


def clear(desk: Desk, tag: str, *, why: str = "") -> Done:
    """Lift whatever stops the pair: a quarantine if it is in one, else the hold; or the hold of a boot."""
    if (boot := boot_meant(desk.connection, tag)) is not None:
        return clear_boot(desk, boot, why=why)
    if read_standing(desk.connection, tag).place is Place.QUARANTINE:
        return clear_quarantine(desk, tag, why=why)
    return clear_hold(desk, tag, why=why)
