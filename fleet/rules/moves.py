"""The one table of moves: each move of a pair, the places it starts from, the places it leads to, and why.

The place a pair ends up in is worked out from the facts (`fleet.events.event.place_of`); this table
says which moves are allowed at all, and a test holds the two against each other.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from fleet.base.errors import Refused
from fleet.facts.standing import Place, Standing, read_standing
from fleet.ledger.desk import Desk


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """The result for one pair or boot. ``entry`` is its number in the ledger."""

    tag: str
    place: Place
    entry: int
    words: str


P = Place


class Move(StrEnum):
    """The moves of a pair."""

    OUT = "go out"
    BACK = "come back"
    PASS = "be passed"
    LEAVE_UNFINISHED = "be left unfinished"
    FIND_FAULT = "be found loose"
    HOLD = "be held"
    CLEAR_HOLD = "be cleared"
    BEGIN_REPAIR = "go to repair"
    END_REPAIR = "come out of repair"
    QUARANTINE = "be quarantined"
    CLEAR_QUARANTINE = "leave quarantine"
    OPEN_ORDER = "get a work order"
    END_ORDER = "have its work order done"
    STOP_ORDER = "have its work order stopped"
    MISS = "be reported missing"
    SEND = "be sent to another shop"
    LEAVE = "be taken in at another shop"
    COME_HOME = "be sent home"
    ARRIVE = "arrive"
    RETIRE = "be retired"
    SELL = "be sold"


@dataclass(frozen=True, slots=True)
class Allowed:
    """One row of the table. ``to`` lists every place that the facts may lead to; () means it stays."""

    move: Move
    frm: tuple[Place, ...]
    to: tuple[Place, ...]
    why: str


_IN_SHOP = (P.FLAT, P.READY, P.BACK, P.HOLD, P.IN_REPAIR, P.SECOND_CHECK, P.QUARANTINE)
_SETTLED = (P.FLAT, P.BACK, P.READY, P.SECOND_CHECK)
_AWAY = (P.OUT, P.MISSING, P.IN_TRANSIT)

MOVES: Final[tuple[Allowed, ...]] = (
    Allowed(
        Move.OUT, (P.READY,), (P.OUT,), "only a pass later than the newest return and work opens the door"
    ),
    Allowed(
        Move.BACK,
        (*_AWAY, *_IN_SHOP),
        (P.BACK, P.HOLD, P.QUARANTINE, P.IN_REPAIR, P.SECOND_CHECK, P.FLAT),
        "a return is a fact: it is taken even where the ledger did not know the pair was out",
    ),
    Allowed(
        Move.PASS,
        (P.BACK, P.SECOND_CHECK, P.READY),
        (P.READY,),
        "a listed person saw every piece of both skis; not the one who did the work",
    ),
    Allowed(
        Move.LEAVE_UNFINISHED,
        (P.BACK, P.SECOND_CHECK, P.READY),
        (P.BACK, P.SECOND_CHECK),
        "a screw that could not be reached is no fault, but no earlier pass counts: the pair waits",
    ),
    Allowed(
        Move.FIND_FAULT,
        (P.BACK, P.SECOND_CHECK, P.READY, P.HOLD),
        (P.HOLD,),
        "any movement of a screw is a hold, even when it holds afterwards",
    ),
    Allowed(
        Move.HOLD,
        (*_AWAY, *_IN_SHOP),
        (P.HOLD, P.QUARANTINE, P.IN_REPAIR, *_AWAY),
        "anybody may stop a ski; one that is out is held when it comes back",
    ),
    Allowed(
        Move.CLEAR_HOLD,
        (P.HOLD,),
        _SETTLED,
        "by the road of its cause: a listed person, a moved screw another than its finder and with the"
        " reason, a crack or what the bench stopped the head technician, never who caused it; no pass comes"
        " of it, and work done meanwhile needs another person",
    ),
    Allowed(Move.BEGIN_REPAIR, (P.HOLD,), (P.IN_REPAIR,), "on the bench, cause named"),
    Allowed(
        Move.END_REPAIR,
        (P.HOLD, P.IN_REPAIR),
        (P.SECOND_CHECK, P.HOLD),
        "repaired is not passed: another person looks; what the bench stopped stays on hold",
    ),
    Allowed(
        Move.QUARANTINE,
        (*_AWAY, *_IN_SHOP),
        (P.QUARANTINE, *_AWAY),
        "accident, complaint or recall: nothing is touched; one that is out is locked away on return",
    ),
    Allowed(
        Move.CLEAR_QUARANTINE,
        (P.QUARANTINE,),
        (P.BACK, P.FLAT, P.HOLD, P.IN_REPAIR, P.SECOND_CHECK),
        "only a manager, with a reason; the pair still needs a pass",
    ),
    Allowed(
        Move.OPEN_ORDER, (P.FLAT, P.READY, P.BACK), (), "the bench may have it; an open order keeps it in"
    ),
    Allowed(
        Move.END_ORDER,
        (P.FLAT, P.READY, P.BACK),
        (P.SECOND_CHECK, P.FLAT, P.HOLD),
        "work was done: a second person looks",
    ),
    Allowed(
        Move.STOP_ORDER,
        (P.FLAT, P.READY, P.BACK),
        (P.HOLD,),
        "work was broken off: the head technician decides; it stays only where the skis are not the reason",
    ),
    Allowed(Move.MISS, (P.OUT, P.IN_TRANSIT, *_IN_SHOP), (P.MISSING,), "looked for and not found"),
    Allowed(
        Move.SEND, (P.FLAT, P.READY, P.BACK), (P.IN_TRANSIT,), "on the way to another shop, in nobody's hands"
    ),
    Allowed(
        Move.LEAVE,
        (P.IN_TRANSIT,),
        (P.RETIRED,),
        "its history goes on in that shop's ledger; what this one knows of its holes grows old",
    ),
    Allowed(
        Move.COME_HOME,
        (P.RETIRED,),
        (P.IN_TRANSIT,),
        "it had left for another shop, whose van brings it back",
    ),
    Allowed(
        Move.ARRIVE,
        (P.MISSING, P.IN_TRANSIT),
        (P.BACK, P.FLAT, P.HOLD, P.QUARANTINE, P.IN_REPAIR, P.SECOND_CHECK),
        "nobody knows what it went through: as a return",
    ),
    Allowed(Move.RETIRE, (*_IN_SHOP, P.MISSING), (P.RETIRED,), "taken out of service for good"),
    Allowed(
        Move.SELL,
        (P.FLAT, P.READY, P.BACK),
        (P.SOLD,),
        "leaves with its hole map; not from hold or quarantine: what is locked away is not sold",
    ),
)
"""Read as: this move, from any of these places, may lead to any of those, because."""

_BY_MOVE: Final = {line.move: line for line in MOVES}


def starts_from(move: Move, place: Place) -> bool:
    """Return whether the table allows the move from there; who may make it is asked apart."""
    return place in _BY_MOVE[move].frm


def may_move(desk: Desk, tag: str, move: Move) -> Standing:
    """Return how the pair stands, where that may be done to it. Raises Refused."""
    standing = read_standing(desk.connection, tag)
    check_move(move, tag, standing.place)
    return standing


def check_move(move: Move, tag: str, place: Place, *, detail: str = "") -> None:
    """Refuse the move unless the table allows it from there. ``detail`` says more about the place."""
    line = _BY_MOVE[move]
    if not starts_from(move, place):
        raise Refused(
            f"{tag} is {place.words}{f' ({detail})' if detail else ''}: it cannot {move.value}",
            cure=f"only from: {', '.join(place.words for place in line.frm)}; the rule: {line.why}",
        )
