"""The end of a work order: done, or stopped halfway. Both enter the holes that are in the ski now.

And the end in words: what was plugged, drilled, mounted and glued, and what stops the pair.
"""

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import msgspec

from fleet.base.days import time_text
from fleet.base.entries import name_key, utc_text
from fleet.base.errors import BadInput, Refused, in_words, typed_word
from fleet.base.units import counted
from fleet.events.event import LEFT_OUT
from fleet.events.orders import OrderDone, OrderPlugged, OrderStopped, Remade
from fleet.events.pairs import NewHole, SkiClosed
from fleet.events.stops import SkiFaultFound
from fleet.facts.holes import HoleState, Side, SkiFault
from fleet.facts.pairs import Pair, pair_state
from fleet.facts.policy import Policy
from fleet.facts.standing import Moment, Place, read_standing
from fleet.ledger.desk import Desk, signer
from fleet.rules.clearance import cure_reasons, cured_at
from fleet.rules.hours import hour_words
from fleet.rules.moves import Move, check_move
from fleet.tables.snapshot import newest_setting, read_bindings, read_pairs, read_policy
from planner.bench.orders.bench_record import (
    Drilled,
    Measured,
    Screw,
    adhesives,
    binding_changes,
    changed_holes,
    emptied_holes,
    extra_holes,
    fits_order,
    holes_astray,
    loose_bindings,
    new_holes,
    new_mount,
    off_to_stock,
    outside_the_rule,
    said_adhesive,
    stopped_screws,
    stripped_holes,
    takes_off,
    with_inserts,
)
from planner.bench.orders.book import WorkOrder, find_order
from planner.plan.values import PlannedSet, screws_in_wood

_FILLER = ("plug_adhesive", "holes are plugged with")


@dataclass(frozen=True, slots=True, kw_only=True)
class Closed:
    """The result of an ended order. ``hour``: what is to be said of the hour from which its glue cures."""

    order: WorkOrder
    place: Place
    entry: int
    drilled: tuple[str, ...]
    plugged: tuple[str, ...]
    bindings_on: tuple[str, ...]
    bindings_off: tuple[str, ...]
    glued_with: tuple[str, ...]
    hold: str
    hour: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plugged:
    """The result of an order's first visit. ``cured``: the time when the filler has; None where that is not
    set.
    """

    order: WorkOrder
    entry: int
    holes: tuple[str, ...]
    filler: str
    cured: datetime | None


def done(
    desk: Desk,
    text: str,
    *,
    measured: Mapping[Screw, Measured],
    bindings: Sequence[str] = (),
    jig: str = "",
    glue: str | None = None,
    measured_again: bool = False,
    extra: Mapping[Side, Sequence[Measured]] | None = None,
    seen_by: str = "",
    inserts: Mapping[Screw, int] | None = None,
) -> Closed:
    """Enter the order as done: holes, mount and bindings move; a second person must look.

    ``jig`` names the jig that was used, so that what loosens can be told by jig. ``glue``: what the bench
    says went into the holes, ``none`` for none; it must be said where a screw went into wood. A measured hole
    that lies off its rigid piece is refused; once it was ``measured_again`` it is entered, and the pair is
    stopped. ``extra``: holes that nobody planned, by ski; with one the pair is stopped too.
    ``seen_by``: the other person of the staff list who saw the places before the first hole. ``inserts``:
    screws whose hole holds an insert now, with the diameter drilled for it; its glue cures too.

    Refused for anything but the newest open revision, and for a pair that changed since it was issued.
    """
    order = _ready(desk, text, Move.END_ORDER)
    planned = order.planned
    policy = read_policy(desk.connection)
    pair = read_pairs(desk.connection, order.tag)[order.tag]
    _check_cured(desk, order, pair, policy)
    rows = new_holes(pair, planned, measured=measured, measured_again=measured_again, names=order.holes)
    astray = _astray(planned, measured, rows, policy, labels=order.labels, measured_again=measured_again)
    rows, old_inserts = with_inserts(rows, planned, inserts or {}, _names(order))
    slipped = extra_holes(pair, rows, extra or {})
    outside = outside_the_rule(pair, rows, policy) if measured else []
    stop = "; ".join([*astray, *_slipped(slipped), *outside])
    day = desk.day.isoformat()
    return _enter(
        desk,
        order,
        OrderDone(
            number=order.number,
            revision=order.revision,
            tag=order.tag,
            new_holes=(*rows, *slipped),
            changed_holes=changed_holes(pair, planned, old_inserts),
            mount_removed_on=day if _is_on(pair) else None,
            mount=new_mount(planned, day=day),
            bindings=binding_changes(planned, bindings=read_bindings(desk.connection), named=bindings),
            giver=_giver(desk, order, day),
            glued_with=tuple(adhesives(pair, planned, policy, glue=glue, about_inserts=bool(inserts))),
            jig=jig.strip(),
            cure_from_entry=desk.cure_from_entry,
            hold="",
            stop=stop,
            seen_by=_seen_by(desk, seen_by) or LEFT_OUT,
        ),
    )


def _seen_by(desk: Desk, name: str) -> str:
    """Return the second person as the staff list spells the name. Raises Refused for nobody listed, and for
    the worker.
    """
    if not name.strip():
        return ""
    other = signer(desk.connection, name, days=desk.signing_days, what="see the places before the first hole")
    if name_key(other.name) == name_key(desk.by):
        raise Refused(
            f"{other.name} did the work and cannot be who saw the places before the first hole",
            cure="another person looks; leave --seen-by out where nobody did",
        )
    return other.name


def _names(order: WorkOrder) -> dict[Screw, str]:
    """The id of each screw's hole; of an older sheet, which names no new ones, those of the old holes."""
    return dict(order.holes or {}) | {
        screw: hole.hole_id for screw, hole in order.planned.way.screws.items() if hole.hole_id is not None
    }


def plugged(desk: Desk, text: str, *, spins: Sequence[Screw] = (), filler: str = "") -> Plugged:
    """Enter the first visit of an order: the binding is off, what the order plugs is filled, the cure runs.

    ``spins``: screws that do not hold in their old holes, which are filled too, to be drilled again in the
    same place after the cure. ``filler``: what was used; "" for that of the shop's rule. Refused for an order
    that plugs nothing, or whose holes are plugged already.
    """
    order = _ready(desk, text, Move.END_ORDER)
    pair = read_pairs(desk.connection, order.tag)[order.tag]
    to_plug = (*left_to_plug(pair, order.planned), *stripped_holes(order.planned, spins))
    if not to_plug:
        raise Refused(
            f"{order.name} has no hole left to plug",
            cure=f'when the work is done: mountbook order done "{order.name}"',
        )
    filler = _filler(desk, order, filler)
    entry = desk.enter(
        OrderPlugged(
            number=order.number,
            revision=order.revision,
            tag=order.tag,
            changed_holes=emptied_holes(pair, plugged=to_plug),
            mount_removed_on=desk.day.isoformat() if _is_on(pair) else None,
            filled_with=filler,
            cure_from_entry=desk.cure_from_entry,
        )
    )
    return Plugged(
        order=order, entry=entry, holes=to_plug, filler=filler, cured=cured_at(desk.connection, order.tag)
    )


def _filler(desk: Desk, order: WorkOrder, said: str) -> str:
    """Return what fills the order's holes: as the bench says, else by the shop's rule. Raises Refused where
    that was set since the order was issued: its sheet may name another, which cures longer.
    """
    policy = read_policy(desk.connection)
    if said:
        return typed_word(said, policy.adhesives, f"{said!r} is no filler of this shop")
    by_rule = said_adhesive(policy, *_FILLER)
    if newest_setting(desk.connection, _FILLER[0]) > order.issued_entry:
        raise Refused(
            f"what holes are plugged with was set anew since {order.name} was issued: which was used?",
            cure=f"say it as it stood on the sheet: --filler NAME ({', '.join(policy.adhesives)})",
        )
    return by_rule


def left_to_plug(pair: Pair, planned: PlannedSet) -> tuple[str, ...]:
    """Return the ids of the holes that the order plugs and that are not plugged yet."""
    return tuple(
        hole.hole_id
        for side in Side
        for hole in pair.skis[side].holes
        if hole.hole_id in planned.way.skis[side].plug and hole.state is not HoleState.PLUGGED
    )


def _check_cured(desk: Desk, order: WorkOrder, pair: Pair, policy: Policy) -> None:
    """Raise Refused while a hole is still to be plugged, or a filler or glue of the pair cures."""
    if not takes_off(order.planned):
        return
    if open_yet := left_to_plug(pair, order.planned):
        holes = counted(len(open_yet), "hole")
        raise Refused(
            f"{holes} of {order.tag} still to be entered as plugged; a filler cures before the next hole is"
            " drilled",
            cure=f'enter when they were filled: mountbook order plugged "{order.name}" --at TIME',
        )
    standing = read_standing(desk.connection, order.tag)
    if reasons := cure_reasons(standing, at=desk.at, zone=desk.zone, policy=policy):
        raise Refused(
            f"{order.tag} cannot be finished yet: {'; '.join(reasons)}",
            cure="drill and screw after the cure; --at says when it was done",
        )


def stop(
    desk: Desk,
    text: str,
    *,
    why: str,
    drilled: Mapping[Side, Drilled],
    made: Sequence[Screw] = (),
    measured: Mapping[Screw, Measured] | None = None,
    plugged: Sequence[str] = (),
    binding_off: bool = False,
    about_skis: bool = True,
    measured_again: bool = False,
    spins: Sequence[Screw] = (),
    extra: Mapping[Side, Sequence[Measured]] | None = None,
    faults: Mapping[Side, SkiFault] | None = None,
    filler: str = "",
) -> Closed:
    """Break the order off and enter the holes already made, ski by ski; where nobody knows, close the ski.

    The pair is on hold, and out of every plan, until a head technician ends that. ``about_skis`` False:
    nothing was done and the reason is not the skis, so the pair is as it was. ``spins``: screws that do not
    hold in their old holes, which are stripped from now on; ``extra``: holes that nobody planned; ``faults``:
    what was found on a ski; ``filler``: as in `plugged`.
    """
    reason = in_words(why, "why the work is stopped")
    order = _ready(desk, text, Move.STOP_ORDER)
    planned = order.planned
    connection = desk.connection
    policy = read_policy(connection)
    pair = read_pairs(connection, order.tag)[order.tag]
    seen = measured or {}
    said, screws = stopped_screws(planned, drilled, (*made, *seen))
    unknown = [side for side in Side if said[side] is Drilled.NOT_KNOWN]
    rows = new_holes(
        pair,
        planned,
        measured=seen,
        only=screws,
        state=HoleState.OPEN,
        measured_again=measured_again,
        names=order.holes,
    )
    astray = _astray(
        planned, seen, rows, policy, labels=order.labels, drilled=screws, measured_again=measured_again
    )
    slipped = extra_holes(pair, rows, extra or {})
    stripped = stripped_holes(planned, spins)
    touched = bool(rows or slipped or plugged or stripped or binding_off)
    if not about_skis and (touched or unknown or faults):
        raise BadInput(
            f"{order.tag} was worked on, or may have been: the skis are not as they were",
            cure="leave --not-the-skis out; a head technician looks and ends the stop",
        )
    day = desk.day.isoformat()
    glue = [_filler(desk, order, filler)] if plugged else []
    closed = _enter(
        desk,
        order,
        OrderStopped(
            number=order.number,
            revision=order.revision,
            tag=order.tag,
            drilled={side: said[side].value for side in Side},
            new_holes=(*rows, *slipped),
            changed_holes=emptied_holes(pair, plugged=plugged, stripped=stripped) if touched else (),
            mount_removed_on=day if touched and _is_on(pair) else None,
            # A mount counts against the ski's life as soon as one hole was, or may have been, drilled for it.
            mount=msgspec.structs.replace(new_mount(planned, day=day), removed_on=day, drilled=True)
            if rows or unknown
            else None,
            bindings=off_to_stock(order.tag, read_bindings(connection)) if touched else (),
            giver=None,
            glued_with=tuple(glue),
            cure_from_entry=desk.cure_from_entry,
            hold="",
            stop="; ".join([*astray, *_slipped(slipped), f"work order {order.name} was stopped"])
            if about_skis
            else "",
        ),
        note=reason,
    )
    for side in unknown:
        words = f"what was drilled for work order {order.name} is not known"
        desk.enter(SkiClosed(tag=order.tag, side=side, why=words))
    for side, fault in (faults or {}).items():
        desk.enter(SkiFaultFound(tag=order.tag, side=side, fault=fault))
    return replace(closed, hold=read_standing(connection, order.tag).stop_why or closed.hold)


def _slipped(holes: Sequence[NewHole]) -> list[str]:
    return [f"hole {hole.hole_id} was not planned" for hole in holes]


def _astray(
    planned: PlannedSet,
    measured: Mapping[Screw, Measured],
    made: Sequence[NewHole],
    policy: Policy,
    *,
    labels: Mapping[Screw, str],
    drilled: Sequence[Screw] | None = None,
    measured_again: bool,
) -> list[str]:
    """Return holes off their rigid piece, by id and in words. Raises Refused until they were measured
    again.
    """
    allowed = policy.um("bench_error_mm") + policy.um("survey_error_mm")
    found = holes_astray(planned, measured, allowed_um=allowed, labels=labels, drilled=drilled)
    if found and not measured_again:
        raise Refused(
            "; ".join(f"{one.on_sheet} {one.words}" for one in found),
            cure="measure the holes of that piece again; if it is so all the same, type it again with"
            " --measured-again: it is entered, and the pair is held",
        )
    ids = {(hole.side, hole.x_um, hole.y_um): hole.hole_id for hole in made}
    return [f"{ids.get(one.place) or one.on_sheet} {one.words}" for one in found]


def screws_to_glue(connection: sqlite3.Connection, text: str) -> int:
    """Return the number of an open order's screws that go into wood: if any, the bench is asked for its
    glue.
    """
    order = find_order(connection, text)
    return screws_in_wood(read_pairs(connection, order.tag)[order.tag], order.planned)


def bindings_for(connection: sqlite3.Connection, order: WorkOrder) -> tuple[str, ...]:
    """Return the ids of the bindings in stock that the order may take."""
    found = connection.execute(
        "SELECT binding_id FROM binding WHERE gone_entry = 0 AND on_pair IS NULL AND pattern = ?",
        (order.planned.way.pattern,),
    )
    stock = read_bindings(connection, ids=ids) if (ids := [name for (name,) in found]) else {}
    return tuple(binding.binding_id for binding in loose_bindings(order.planned, stock))


def _ready(desk: Desk, text: str, move: Move) -> WorkOrder:
    order = find_order(desk.connection, text)
    what = "sign a work order as done" if move is Move.END_ORDER else "stop a work order"
    signer(desk.connection, desk.by, days=desk.signing_days, what=what)
    standing = read_standing(desk.connection, order.tag)
    check_move(move, order.tag, standing.place, detail=standing.hold_why or standing.quarantine_why)
    desk.check_after(standing.returned, order.tag, "came back")
    desk.check_after(standing.work, order.tag, "was worked on")
    (issued_at,) = desk.connection.execute(
        "SELECT stated_at_utc FROM entries WHERE seq = ?", (order.issued_entry,)
    ).fetchone()
    issued = Moment(order.issued_entry, issued_at)  # no work, and no glue that cures, lies before it
    desk.check_after(issued, f"work order {order.name} of {order.tag}", "was issued")
    for tag, then in ((order.tag, order.pair_state), (order.giver, order.giver_state)):
        if tag is not None and move is Move.END_ORDER and pair_state(desk.connection, tag) != then:
            raise Refused(
                f"{tag} changed since {order.name} was issued: its holes, mount or binding are not what the"
                " sheet counts on",
                cure="stop the order with the holes already made, and plan again",
            )
    return order


def _is_on(pair: Pair) -> bool:
    """Return True if a mount is on, even if only a sheet states it."""
    return pair.current_mount is not None or pair.present_stated is not None


def _giver(desk: Desk, order: WorkOrder, day: str) -> Remade | None:
    """Return the changes of the pair that gives its binding, if that is still on it."""
    if order.giver is None or not takes_off(order.planned):
        return None
    bindings = read_bindings(desk.connection).values()
    if not any(b.on_pair == order.giver and fits_order(order.planned, b) for b in bindings):
        return None
    standing = read_standing(desk.connection, order.giver)
    if not standing.place.plannable:
        raise Refused(
            f"the binding for {order.tag} is on {order.giver}, which is {standing.place.words}",
            cure="wait for it, or plan again",
        )
    giver = read_pairs(desk.connection, order.giver)[order.giver]
    return Remade(
        tag=order.giver,
        changed_holes=emptied_holes(giver),
        mount_removed_on=day if _is_on(giver) else None,
    )


def _enter(desk: Desk, order: WorkOrder, work: OrderDone | OrderStopped, *, note: str = "") -> Closed:
    entry = desk.enter(work, note=note)
    moved = [
        (each.binding_id, each.changes["on_pair"]) for each in work.bindings if "on_pair" in each.changes
    ]
    return Closed(
        order=order,
        place=read_standing(desk.connection, order.tag).place,
        entry=entry,
        drilled=tuple(hole.hole_id for hole in work.new_holes),
        plugged=tuple(
            hole.hole_id
            for hole in work.changed_holes
            if hole.changes.get("state", ("", ""))[1] == HoleState.PLUGGED
        ),
        bindings_on=tuple(name for name, (_, now_on) in moved if now_on == order.tag),
        bindings_off=tuple(name for name, (_, now_on) in moved if now_on is None),
        glued_with=work.glued_with,
        hold="; ".join(why for why in (work.stop, work.hold) if why),
        hour=hour_words(desk, entry),
    )


def plugged_lines(first: Plugged, zone: str) -> Iterator[str]:
    """Yield what the first visit plugged, and when the filler has cured."""
    filler = first.filler.replace("_", " ")
    yield f"{first.order.name}: {counted(len(first.holes), 'hole')} of {first.order.tag} plugged, {filler}"
    if first.cured is None:
        name = f"cure_{first.filler}_hours"
        yield f"  NOT to be drilled: nobody has said how long it cures (mountbook policy set {name})"
    else:
        yield f"  drill and screw NOT BEFORE {time_text(utc_text(first.cured), zone)}"


def closed_lines(closed: Closed) -> Iterator[str]:
    """Yield where the pair is now, what was done to it, and why it is stopped."""
    yield (
        f"{closed.order.name}: {closed.order.tag} is {closed.place.words};"
        f" {counted(len(closed.drilled), 'hole')} drilled, {len(closed.plugged)} plugged"
    )
    if closed.glued_with:
        glue = ", ".join(word.replace("_", " ") for word in closed.glued_with)
        yield f"  in its holes: {glue}{closed.hour}"
    if closed.hold:
        yield f"  HOLD: {closed.hold}"
    elif closed.place.value == "second check":
        yield "  a second person looks at it before it can go out:"
        yield f"  mountbook prep sign {closed.order.tag} --all not-moved --by NAME"
