"""Pairs that may go out now, of a length, of a kind, for a boot. The door itself is asked about each."""

import sqlite3
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from fleet.base.errors import BadInput, or_bad_input, typed_word
from fleet.base.units import typed_number
from fleet.facts.kinds import Kind, shop_kinds
from fleet.facts.policy import Policy
from fleet.facts.standing import Place, read_standings
from fleet.facts.tags import tag_order
from fleet.rules.boots import check_is_in
from fleet.rules.clearance import Door
from fleet.tables.connection import AMONG, among
from fleet.tables.snapshot import read_policy


class Now(StrEnum):
    """The use of a pair now, in the order it is listed."""

    GOES = "goes"
    SET_FIRST = "set it first"
    NOT_NOW = "not now"


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundPair:
    """One pair and the answer of the door. ``stands``: the sole length that its binding was last set for."""

    tag: str
    model: str
    kind: str
    length_mm: int
    rack: str
    place: Place
    stands: str
    now: Now
    reasons: tuple[str, ...]
    step: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundPairs:
    """The pairs that the door was asked about, ``of`` so many."""

    pairs: tuple[FoundPair, ...]
    of: int


def find_pairs(
    connection: sqlite3.Connection,
    *,
    at: datetime,
    zone: str,
    boot: str | None = None,
    length_mm: int | None = None,
    kind: Kind | None = None,
    most: int | None = None,
) -> FoundPairs:
    """Return the pairs about that length and of that kind: what goes first, then the nearest in length.

    ``most``: so many of them are asked about, those that likely go before the others. Raises Refused for a
    boot that is not in the ledger, or is out.
    """
    if boot is not None:
        check_is_in(connection, boot)
    door = Door(connection, at=at, zone=zone, boot=boot)
    wanted = length_mm or 0
    rows = connection.execute(
        "SELECT tag, model, kind, length_mm, rack FROM pair JOIN standing USING (tag)"
        " WHERE place NOT IN ('retired', 'sold') AND (?1 IS NULL OR kind = ?1)"
        " AND (?2 IS NULL OR abs(length_mm - ?2) <= ?3)"
        " ORDER BY place <> 'ready', instr(stands, '\"sole_um\":' || ?4) = 0, abs(length_mm - ?5),"
        " tag COLLATE BY_NUMBER",
        (kind, length_mm, within_mm(connection), door.sole_um, wanted),
    ).fetchall()
    facts = {tag: (model, of, length, rack) for tag, model, of, length, rack in rows[:most]}
    standings = read_standings(connection, where=f"tag {AMONG}", args=among(facts))
    found = []
    for standing, answer in zip(standings, door.ask_each(standings), strict=True):
        model, of, length, rack = facts[standing.tag]
        found.append(
            FoundPair(
                tag=standing.tag,
                model=model,
                kind=of,
                length_mm=length,
                rack=rack,
                place=standing.place,
                stands=standing.setting.words,
                now=Now.SET_FIRST if answer.only_set else Now.NOT_NOW if answer.reasons else Now.GOES,
                reasons=answer.reasons,
                step=answer.step,
            )
        )
    order = list(Now)
    pairs = sorted(found, key=lambda p: (order.index(p.now), abs(p.length_mm - wanted), tag_order(p.tag)))
    return FoundPairs(pairs=tuple(pairs), of=len(rows))


def within_mm(connection: sqlite3.Connection) -> int:
    """Return how far a length may lie from the one asked for, by the shop's rule."""
    return int(read_policy(connection).number("instead_length_mm"))


def length_typed(text: str | None) -> int | None:
    """Return a ski's length in mm, typed in cm: ``165``. Raises BadInput for one no ski has."""
    if text is None:
        return None
    with or_bad_input(f"{text!r} is no length", cure="in cm, as printed on the ski: 165"):
        length = int(typed_number(text) * 10)
    if not 500 <= length <= 2500:
        raise BadInput(f"no ski is {text} cm long", cure="in cm, as printed on the ski: 165")
    return length


def kind_named(text: str | None, policy: Policy) -> Kind | None:
    """Return the kind of ski named by this word, one of the shop's; None for all kinds. Raises BadInput."""
    if text is None:
        return None
    known = shop_kinds(policy)
    cure = f"say {', '.join(sorted(known))}"
    return Kind(typed_word(text, known, f"{text!r} is no kind of ski", cure=cure))
