"""The counter: out, back, later, missing, in transit, sold, and undoing a slip of the scanner.

Each function is one human action inside a transaction the caller holds: it looks, refuses or appends.
"""

from collections import Counter
from collections.abc import Sequence
from datetime import date, timedelta

from fleet.base.days import day_text, shop_day, time_text
from fleet.base.entries import name_key, parse_utc
from fleet.base.errors import BadInput, Refused, in_words, or_bad_input
from fleet.base.kept_names import NamesSaid
from fleet.base.units import counted, mm_text, mm_to_um
from fleet.events.event import LEFT_OUT
from fleet.events.movement import BindingSet, DueChanged, PairBack, PairMoved, PairOut, ScanUndone
from fleet.facts.standing import Place, Standing, read_standing
from fleet.ledger.desk import Desk, any_listed, manager, signer
from fleet.ledger.ledger import read_entries
from fleet.rules.boots import boot_meant, check_is_in, move_boot, take_boot_back
from fleet.rules.clearance import Answer, Door, OwnBoot, no_open_order
from fleet.rules.gates import Stop, long_rental
from fleet.rules.moves import (
    Done as Done,  # where most look for it
    Move,
    may_move,
)
from fleet.tables.snapshot import read_policy

FIT_NOT_CHECKED = "fit not checked"


def take_out(
    desk: Desk,
    tags: Sequence[str],
    *,
    boot: str | OwnBoot | None = None,
    due: date | None = None,
    set_now: bool = False,
    remark: str = "",
) -> list[Done]:
    """Hand the pairs out, all or none. Refused with every reason, and what could go instead.

    ``boot``: the tag of one of the shop's, or the customer's own; None only where the shop's rule lets it.
    ``set_now``: the binding was just set for this boot, boot in; that is an entry of its own before the out.
    ``remark`` is free text, such as where a list entered later comes from.
    """
    check_named(tags, boot)
    if set_now and boot is None:
        raise BadInput("--set says that a binding was set for a boot", cure="name it: --boot TAG")
    if set_now:
        any_listed(desk.connection, desk.by, days=desk.signing_days, what="say that a binding is set")
    door = Door(desk.connection, at=desk.at, zone=desk.zone, boot=boot, set_now=set_now)
    if isinstance(boot, str):
        check_is_in(desk.connection, boot)
    if due is not None and due < desk.day:
        raise BadInput(f"due on {day_text(due)} lies before it goes out", cure="check the date of --due")
    if set_now and (stop := door.gates.who_sets(desk.by)):
        raise Refused(stop.reason, cure=stop.step)
    too_long = long_rental(door.policy, out=desk.day, due=due)
    if isinstance(too_long, Stop):
        raise Refused(too_long.reason, cure=too_long.step)
    own = boot if isinstance(boot, OwnBoot) else None
    shop_boot = boot if isinstance(boot, str) else None
    done = []
    for tag in tags:
        answer = door.ask(tag)
        if answer.reasons:
            instead = () if answer.only_set else door.instead_of(tag, leave_out=tags)
            raise Refused(
                f"{tag} cannot go out: {'; '.join(answer.reasons)}",
                cure=f"nothing was handed out; {answer.step}".rstrip("; ") if len(tags) > 1 else answer.step,
                instead=instead,
            )
        if door.needs_boot:
            raise Refused(
                f"{tag} waits for its boot",
                cure=f"mountbook out {tag} --boot TAG, or for the customer's own boot: mountbook out {tag}"
                " --own-boot MM --sole-type TYPE",
            )
        set_entry = None
        words = FIT_NOT_CHECKED if answer.fit is None else f"boot {door.boot_name} fits"
        if set_now and door.sole_um is not None:
            set_entry, set_words = _enter_set(desk, tag, door.sole_um, shop_boot, answer)
            words += f"; {set_words}"
        words += f"; due {day_text(due)}" if due else ""
        words += "".join(f"; ASK: {each}" for each in (*answer.asked, too_long) if each)
        entry = desk.enter(
            PairOut(
                tag=tag,
                boot=shop_boot,
                due=due,
                fit=FIT_NOT_CHECKED if answer.fit is None else "fits",
                sole_um=door.sole_um,
                set_entry=set_entry,
                own_boot=own.sole_type.strip() if own else LEFT_OUT,
            ),
            note=remark,
        )
        done.append(Done(tag=tag, place=Place.OUT, entry=entry, words=words))
    return done


def set_binding(desk: Desk, tag: str, boot: str) -> Done:
    """Say that the binding of a pair that is in was set for a boot, boot in. Raises Refused where no travel
    reaches it, or both makers have not declared the fit.
    """
    any_listed(desk.connection, desk.by, days=desk.signing_days, what="say that a binding is set")
    door = Door(desk.connection, at=desk.at, zone=desk.zone, boot=boot)
    if stop := door.gates.who_sets(desk.by):
        raise Refused(stop.reason, cure=stop.step)
    standing, answer = read_standing(desk.connection, tag), door.ask(tag)
    if standing.place is Place.OUT:
        raise Refused(f"{tag} is out", cure="take it back first: mountbook back")
    if door.sole_um is None:
        raise Refused(f"the sole length of boot {boot} is not known", cure="measure it: mountbook sole")
    if answer.fit is not None and answer.fit.reasons:
        raise Refused(f"{tag} cannot be set for boot {boot}: {'; '.join(answer.fit.reasons)}")
    entry, words = _enter_set(desk, tag, door.sole_um, boot, answer)
    return Done(tag=tag, place=read_standing(desk.connection, tag).place, entry=entry, words=words)


def _enter_set(desk: Desk, tag: str, sole_um: int, boot: str | None, answer: Answer) -> tuple[int, str]:
    """Enter that the binding was set; return the entry and its words."""
    entry = desk.enter(BindingSet(tag=tag, bsl_um=sole_um, boot=boot, pieces=answer.pieces or LEFT_OUT))
    return entry, f"its binding was set for {mm_text(sole_um)} mm"


def own_boot_of(length: str | None, sole_type: str) -> OwnBoot | None:
    """Return the customer's own boot as somebody typed it; None where neither was typed."""
    if length is None and not sole_type:
        return None
    with or_bad_input(f"the sole length {length or 'was left out'}:", cure="--own-boot 305, in mm"):
        return OwnBoot(bsl_um=mm_to_um(length or ""), sole_type=sole_type)


def check_named(tags: Sequence[str], boot: str | OwnBoot | None = None) -> None:
    """Refuse no pair, a pair given twice, and one boot for several pairs."""
    if twice := [tag for tag, times in Counter(tags).items() if times > 1]:
        raise BadInput(f"{twice[0]} was given twice", cure="give each tag once")
    if not tags:
        raise BadInput("no pair was named", cure="scan or type its tag")
    if boot is not None and len(tags) > 1:
        raise BadInput(
            "one boot goes with one pair", cure="hand the pairs out one by one, each with its boot"
        )


def take_back(desk: Desk, tags: Sequence[str], *, said: str = "", remark: str = "") -> list[Done]:
    """Take the pairs or boots back, all or none. ``said``: what the renter said, kept as free text.

    ``remark`` is other free text; it does not count as said by the renter.
    """
    check_named(tags)
    done = []
    for tag in tags:
        if (boot := boot_meant(desk.connection, tag)) is not None:
            done.append(take_boot_back(desk, boot, said=said, remark=remark))
            continue
        standing = may_move(desk, tag, Move.BACK)
        if standing.place is Place.BACK and standing.returned.entry >= standing.out.entry > 0:
            raise Refused(
                f"{tag} came back already, {time_text(standing.returned.at, desk.zone)}",
                cure="nothing was counted twice",
            )
        if standing.place is Place.OUT:
            desk.check_after(standing.out, tag, "went out")
        entry = desk.enter(PairBack(tag=tag, said=bool(said)), note=said or remark)
        after = read_standing(desk.connection, tag)
        done.append(Done(tag=tag, place=after.place, entry=entry, words=_back_words(standing, after)))
    return done


def _back_words(before: Standing, after: Standing) -> str:
    words = "to the recheck rack"
    if after.place is Place.HOLD:
        words = f"HOLD: {after.hold_why}"
    elif after.place is Place.QUARANTINE:
        words = f"QUARANTINE, touch nothing: {after.quarantine_why}"
    elif after.place is not Place.BACK:
        words = f"stays {after.place.words}"
    if before.place is not Place.OUT:
        words += f" (it was never scanned out: the ledger had it {before.place.words})"
    return words


def keep_longer(desk: Desk, tag: str, *, until: date) -> Done:
    """Enter another due day: the renter keeps the pair longer."""
    standing = read_standing(desk.connection, tag)
    if standing.place is not Place.OUT:
        raise Refused(f"{tag} is {standing.place.words}, not out", cure="check the tag")
    if until < desk.day:
        raise BadInput(f"{day_text(until)} has passed already", cure="give the day it is due now")
    out = shop_day(standing.out.at, desk.zone)
    stop = long_rental(read_policy(desk.connection), out=out, due=until)
    if isinstance(stop, Stop):
        raise Refused(f"{tag}: {stop.reason}", cure=stop.step)
    entry = desk.enter(DueChanged(tag=tag, due=until))
    return Done(tag=tag, place=Place.OUT, entry=entry, words=f"due {day_text(until)}")


def undo(desk: Desk, tag: str) -> Done:
    """Undo the pair's newest out or back by a new entry, while it still counts as a slip of the scanner."""
    standing = read_standing(desk.connection, tag)
    if not standing.undo_entry:
        raise Refused(
            f"{tag} has nothing to undo: its newest entry is neither an out nor a back",
            cure="enter what happened as it is",
        )
    (scan,) = read_entries(desk.connection, after=standing.undo_entry - 1, until=standing.undo_entry)
    minutes = read_policy(desk.connection).count("undo_minutes")
    if desk.now - parse_utc(scan.recorded_at_utc) > timedelta(minutes=minutes):
        raise Refused(
            f"{tag}: that scan is older than {counted(minutes, 'minute')} and stands",
            cure="enter what happened as it is",
        )
    set_entry = scan.body.get("set_entry")
    entry = desk.enter(ScanUndone(tag=tag, entry=scan.seq, what=scan.what, of=scan.by, set_entry=set_entry))
    after = read_standing(desk.connection, tag)
    words = f"undone: {scan.what}; it is {after.place.words}"
    if set_entry:
        words += "; the sole its binding is set for is not known now"
    return Done(tag=tag, place=after.place, entry=entry, words=words)


def newest_scan(desk: Desk) -> str:
    """Return the tag of this person's newest out or back that can still be undone."""
    key, names = name_key(desk.by), NamesSaid(desk.connection)
    for tag, by in desk.connection.execute(
        "SELECT tag, entries.by FROM standing JOIN entries ON entries.seq = standing.undo_entry"
        " WHERE undo_entry > 0 ORDER BY undo_entry DESC"
    ):
        if name_key(names.of(by)) == key:
            return str(tag)
    raise Refused(f"{desk.by} has no scan to undo", cure="name the pair")


_MOVES = {
    "missing": Move.MISS,
    "in transit": Move.SEND,
    "retired": Move.RETIRE,
    "sold": Move.SELL,
    "shop": Move.ARRIVE,
}


def move(desk: Desk, tag: str, *, to: str, reason: str) -> Done:
    """Enter missing, in transit, retired or sold; or ``shop``: found or arrived. Selling and retiring are
    signed.
    """
    if to not in _MOVES:
        raise BadInput(f"a pair is not moved to {to!r} by hand", cure=f"one of: {', '.join(_MOVES)}")
    if (boot := boot_meant(desk.connection, tag)) is not None:
        return move_boot(desk, boot, _MOVES[to], to=to, reason=reason)
    may_move(desk, tag, _MOVES[to])
    if to == "sold":
        manager(desk.connection, desk.by, days=desk.signing_days, what="sell a ski")
    if to == "retired":
        signer(desk.connection, desk.by, days=desk.signing_days, what="retire a ski")
        reason = in_words(reason, "why the pair is retired")
    if to in ("sold", "retired", "in transit"):
        no_open_order(desk.connection, tag)
    entry = desk.enter(PairMoved(tag=tag, to=to), note=reason)
    after = read_standing(desk.connection, tag)
    words = "its hole map goes with it: mountbook hole-map" if to == "sold" else reason
    return Done(tag=tag, place=after.place, entry=entry, words=words)
