"""Entries about where a pair is and who may have it: out, back, looks, holds, repairs, quarantine.

The place of a pair is never written by hand: it follows from the facts in its row of `standing`
(`place_of`), so no entry can put a held or unchecked pair on the ready rack.
"""

from __future__ import annotations

import json
import sqlite3
from functools import cache
from operator import itemgetter
from typing import Any, Final

from fleet.carried import BENCH
from fleet.days import days_between
from fleet.events.handler import Handler, insert
from fleet.events.samples import operated
from fleet.entries import Entry, canonical_json
from fleet.equipment import Place
from fleet.errors import Refused
from fleet.holes import Side
from fleet.standing import Moment, pass_counts

Facts = dict[str, Any]

IN_SHOP: Final = "shop"
MOVED_TO: Final = (Place.MISSING, Place.IN_TRANSIT, Place.RETIRED, Place.SOLD)
"""Whereabouts a person may enter; *out* is entered at the door only, the rest follows from facts."""


def facts_of(connection: sqlite3.Connection, tag: str) -> Facts:
    """The pair's row of `standing` by column name, or Refused."""
    cursor = connection.execute("SELECT * FROM standing WHERE tag = ?", (tag,))
    row = cursor.fetchone()
    if row is None:
        raise Refused(f"there is no pair {tag} in the ledger", cure="check the tag")
    return dict(zip(map(itemgetter(0), cursor.description), row, strict=True))


def place_of(facts: Facts, *, mounted: bool) -> Place:
    """Where the pair is, from the facts alone. The order of the questions is the rule."""
    if facts["whereabouts"] != IN_SHOP:
        return Place(facts["whereabouts"])
    if facts["quarantine_entry"]:
        return Place.QUARANTINE
    if facts["repair_entry"]:
        return Place.IN_REPAIR
    if facts["hold_entry"] or facts["stop_entry"]:
        return Place.HOLD
    if facts["second_check"]:
        return Place.SECOND_CHECK
    if not mounted:
        return Place.FLAT
    passed, *events = (
        Moment(facts[f"{what}_entry"], facts[f"{what}_at"])
        for what in ("pass", "return", "work", "fault", "unfinished")
    )
    return Place.READY if pass_counts(passed, events) else Place.BACK


def store(connection: sqlite3.Connection, facts: Facts, entry: Entry, *, undo: str = "") -> None:
    """Write the facts back with the place that follows from them. ``undo``: the row before, if undoable."""
    mounted = connection.execute(
        "SELECT 1 FROM binding WHERE on_pair = ? LIMIT 1", (facts["tag"],)
    ).fetchone()
    place = place_of(facts, mounted=bool(mounted)).value
    if place != facts["place"]:
        facts |= {"place": place, "place_entry": entry.seq, "place_at": entry.stated_at_utc}
    facts |= {"undo_entry": entry.seq if undo else 0, "undo_row": undo}
    connection.execute(_update(tuple(facts)), tuple(facts.values()))


@cache
def _update(columns: tuple[str, ...]) -> str:
    """By number, so that the tag is not set anew: that would take the row out of every index."""
    marks = {name: f"?{number}" for number, name in enumerate(columns, start=1)}
    where = marks.pop("tag")
    return f"UPDATE standing SET {', '.join(f'{n} = {m}' for n, m in marks.items())} WHERE tag = {where}"


def touched(connection: sqlite3.Connection, tag: str, entry: Entry) -> None:
    """A binding, hole, mount or partner of the pair changed on record: no earlier pass counts."""
    facts = facts_of(connection, tag)
    work_done(facts, entry, what=entry.what)
    store(connection, facts, entry)


def work_done(facts: Facts, entry: Entry, *, what: str, worker: str = "") -> None:
    """Note the newest work in the facts; a ``worker`` is one who may not pass it.

    Hands were at the pair, so what its binding stands at is not known, unless the entry says it.
    """
    not_known(facts)
    facts |= {
        "work_entry": entry.seq,
        "work_at": max(facts["work_at"], entry.stated_at_utc),
        "work_what": what,
    }
    if worker:
        facts |= {
            "workers": _with(facts["workers"], worker),
            "second_check": 1,
            "returns_since_work": 0,
        }


def _with(names: str, name: str) -> str:
    """The names, as JSON in order of the alphabet, with one more."""
    return json.dumps(sorted({*json.loads(names), name}))


def set_for(facts: Facts, entry: Entry, *, bsl_um: int) -> None:
    """The bindings of both skis stand at that sole length from this entry on."""
    facts |= {
        "set_for_um": bsl_um,
        "set_for_entry": entry.seq,
        "set_for_at": entry.stated_at_utc,
        "set_for_by": entry.by,
    }


def not_known(facts: Facts) -> None:
    """Nobody can say from the ledger at which sole length the bindings stand."""
    facts |= {"set_for_um": None, "set_for_entry": 0, "set_for_at": "", "set_for_by": ""}


def fault_found(facts: Facts, entry: Entry, *, loose: list[list[str]]) -> None:
    """A fault makes earlier passes void by number and by time."""
    facts |= {"fault_entry": entry.seq, "fault_at": max(facts["fault_at"], entry.stated_at_utc)}
    if loose:
        facts |= {"loose": json.dumps(loose), "returns_since_fault": 0}


_NOT_IN_SNAPSHOT: Final = frozenset(
    {
        *("undo_entry", "undo_row", "unfinished_entry", "unfinished_at", "unreached"),
        *("stop_entry", "stop_why"),
        *("finders", "cleared_by", "set_for_um", "set_for_entry", "set_for_at", "set_for_by"),
    }
)
"""What a scan does not change. The text of a snapshot stands in files of layout 2 and stays the same."""


def _snapshot(facts: Facts) -> str:
    return canonical_json({k: v for k, v in facts.items() if k not in _NOT_IN_SNAPSHOT})


def _set(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, bsl_um, boot}: hands set the binding of both skis for that sole, boot in. No pass is touched."""
    facts = facts_of(connection, entry.body["tag"])
    set_for(facts, entry, bsl_um=entry.body["bsl_um"])
    store(connection, facts, entry)


def _out(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, boot, due, fit: "fits" | "fit not checked", sole_um, set_entry}; all but tag and fit may be null.

    ``sole_um`` is the sole length of the boot; ``set_entry`` the `binding set` of the same action. Without
    a boot whoever skis it may have it set for anybody; and bodies of layout 2 (no ``sole_um``) say nothing
    of the setting: either way it is not known afterwards what it stands at.
    """
    body = entry.body
    facts = facts_of(connection, body["tag"])
    before = _snapshot(facts)
    if body.get("sole_um") is None or body["sole_um"] != facts["set_for_um"]:
        not_known(facts)
    facts |= {
        "whereabouts": Place.OUT.value,
        "out_entry": entry.seq,
        "out_at": entry.stated_at_utc,
        "out_boot": body["boot"],
        "out_due": body["due"],
        "hires": facts["hires"] + 1,
    }
    operated(connection, entry)
    store(connection, facts, entry, undo=before)


def _back(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, said}; what the renter said is the entry's note. Days count by the shop's calendar.

    What was not out went out unseen, with any boot.
    """
    facts = facts_of(connection, entry.body["tag"])
    before = _snapshot(facts)
    days = 1
    if facts["whereabouts"] == Place.OUT.value:
        days = max(1, days_between(facts["out_at"], entry.stated_at_utc, entry.zone))
    else:
        not_known(facts)
    facts |= {
        "whereabouts": IN_SHOP,
        "return_entry": entry.seq,
        "return_at": max(facts["return_at"], entry.stated_at_utc),
        "said_entry": entry.seq if entry.body["said"] else 0,
        "days_out": facts["days_out"] + days,
        "days_hired": facts["days_hired"] + days,
        "returns_since_work": facts["returns_since_work"] + 1,
        "returns_since_fault": facts["returns_since_fault"] + 1,
    }
    operated(connection, entry)
    store(connection, facts, entry, undo=before)


def _looked(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, kind, found: {A: {piece: word}, B}, outcome: pass|hold|unfinished, pattern, mount_entry, ...}

    ``unreached: [[A, piece]]``: of an unfinished look; it makes earlier passes void. Bodies of layout 2 have
    no such key, and void nothing.
    """
    body = entry.body
    facts = facts_of(connection, body["tag"])
    loose = [[side, piece] for side, piece in body["moved"]]
    insert(
        connection,
        "look",
        {
            "entry": entry.seq,
            "tag": body["tag"],
            "looked_at": entry.stated_at_utc,
            "kind": body["kind"],
            "outcome": body["outcome"],
            "moved": int(bool(loose)),
            "found": canonical_json(body["found"]),
            "pattern": body["pattern"],
            "mount_entry": body["mount_entry"],
            "days_out": facts["days_hired"],
            "by": entry.by,
        },
    )
    facts["look_entry"] = entry.seq
    if body["outcome"] == "pass":
        facts |= {
            "pass_entry": entry.seq,
            "pass_at": entry.stated_at_utc,
            "pass_by": entry.by,
            "second_check": 0,
            "workers": "[]",
            "days_out": 0,
            "said_entry": 0,
            "unreached": "[]",
            "cleared_by": "[]",
        }
    elif body["outcome"] == "hold":
        fault_found(facts, entry, loose=loose)
        facts |= {"hold_entry": entry.seq, "hold_why": body["cause"]}
        facts["finders"] = _with(facts["finders"], entry.by)
    elif body.get("unreached"):
        facts |= {
            "unfinished_entry": entry.seq,
            "unfinished_at": max(facts["unfinished_at"], entry.stated_at_utc),
            "unreached": json.dumps(body["unreached"]),
        }
    store(connection, facts, entry)


def _held(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag}, the cause as its note; a pair that is out is held from the moment it comes back."""
    facts = facts_of(connection, entry.body["tag"])
    facts |= {"hold_entry": entry.seq, "hold_why": ""}
    store(connection, facts, entry)


def _hold_cleared(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, hold}: the hold is lifted, with the reason as its note; no pass comes of it.

    Who lifts the hold of a moved screw is remembered until the next pass, which somebody else gives.
    """
    facts = facts_of(connection, entry.body["tag"])
    _lift(facts, entry)
    store(connection, facts, entry)


def _lift(facts: Facts, entry: Entry) -> None:
    if facts["finders"] != "[]":
        facts["cleared_by"] = _with(facts["cleared_by"], entry.by)
    facts |= {"hold_entry": 0, "hold_why": "", "finders": "[]"}


def _stop_ended(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, stop}: the head technician ends what the bench stopped at that entry, and any hold with it."""
    facts = facts_of(connection, entry.body["tag"])
    facts |= {"stop_entry": 0, "stop_why": ""}
    _lift(facts, entry)
    store(connection, facts, entry)


def _repair_begun(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag}"""
    facts = facts_of(connection, entry.body["tag"])
    facts["repair_entry"] = entry.seq
    store(connection, facts, entry)


def _repair_done(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, glued_with: [adhesive]}, what was done as its note: a second check by another follows."""
    body = entry.body
    facts = facts_of(connection, body["tag"])
    facts |= {"repair_entry": 0, "hold_entry": 0, "hold_why": "", "finders": "[]"}
    work_done(facts, entry, what="a repair", worker=entry.by)
    glued(facts, entry.stated_at_utc, body["glued_with"])
    facts["returns_since_fault"] = 0
    store(connection, facts, entry)


def glued(facts: Facts, at: str, adhesives: list[str]) -> None:
    """Glue was used: the pair waits until each adhesive has cured by policy."""
    if not adhesives:
        return
    still = set(json.loads(facts["glued_with"])) | set(adhesives)
    facts |= {
        "glued_at": max(facts["glued_at"], at),
        "glued_with": json.dumps(sorted(still)),
    }


def _quarantined(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag}, the cause as its note: accident, complaint or recall. Earlier passes are void."""
    facts = facts_of(connection, entry.body["tag"])
    facts |= {"quarantine_entry": entry.seq}
    fault_found(facts, entry, loose=[])
    store(connection, facts, entry)


def _quarantine_cleared(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag}, the reason as its note: by a manager. The pair still needs a pass."""
    facts = facts_of(connection, entry.body["tag"])
    facts |= {"quarantine_entry": 0}
    store(connection, facts, entry)


def _moved(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, to: missing | in transit | retired | sold | shop, reason}; what arrives counts as a return."""
    facts = facts_of(connection, entry.body["tag"])
    if entry.body["to"] == IN_SHOP:
        not_known(facts)
        facts |= {
            "whereabouts": IN_SHOP,
            "return_entry": entry.seq,
            "return_at": max(facts["return_at"], entry.stated_at_utc),
        }
    else:
        place = Place(entry.body["to"])
        if place not in MOVED_TO:
            raise Refused(f"a pair is not moved to {place.value} by hand: that follows from what happened")
        facts["whereabouts"] = place.value
    store(connection, facts, entry)


def _due_changed(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, due}: the renter keeps it until then."""
    facts = facts_of(connection, entry.body["tag"])
    facts["out_due"] = entry.body["due"]
    store(connection, facts, entry)


def _undone(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, entry, what, set_entry}: the pair's newest out or back was a slip; its row is as before.

    No scan undoes what hands did, so nothing of the setting becomes known again. If the out that was undone
    said that the binding had just been set (``set_entry``), neither that is known now: a slip is often the
    wrong tag, and then another pair was set.
    """
    facts = facts_of(connection, entry.body["tag"])
    if not facts["undo_entry"] or facts["undo_entry"] != entry.body["entry"]:
        raise Refused(f"entry {entry.body['entry']} cannot be undone: something came after it")
    facts |= json.loads(facts["undo_row"])
    if entry.body.get("set_entry"):
        not_known(facts)
    store(connection, facts, entry)


def _evening_closed(connection: sqlite3.Connection, entry: Entry) -> None:
    """{day, out, back, later, missing}"""
    body = entry.body
    if body["out"] - body["back"] - body["later"] - body["missing"] != 0:
        raise Refused("the evening does not add up")
    connection.execute("DELETE FROM evening WHERE day = ?", (body["day"],))
    insert(connection, "evening", body | {"entry": entry.seq})


def _release_test(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, side, piece, device, result}: what a person recorded with a device; no state follows."""
    facts_of(connection, entry.body["tag"])


def _carried_over(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, from, stops, quarantine, hold; bench, workers, glued_at, glued_with, unseen, where, counts, said}

    Another record of the same ski says what stops it (the cause is the note, and what a renter ``said``).
    Passes before it are void.
    ``bench``: the bench stopped it, which only the head technician ends.
    ``unseen``: holes may be there that this ledger does not know, so both skis are closed.
    ``where``: {whereabouts, out_at, out_boot, out_due, return_at}. It waits for a pair that is not here yet.
    """
    if connection.execute("SELECT 1 FROM standing WHERE tag = ?", (entry.body["tag"],)).fetchone():
        _carry(connection, entry.body, entry.seq, entry.stated_at_utc, entry)
        return
    waiting = {"tag": entry.body["tag"], "entry": entry.seq, "stated_at_utc": entry.stated_at_utc}
    insert(connection, "waiting_stop", waiting | {"body": canonical_json(entry.body)})


def take_waiting_stops(connection: sqlite3.Connection, tag: str, entry: Entry) -> None:
    """A pair was recorded: what waited for its tag stops it from its first moment."""
    rows = connection.execute(
        "SELECT entry, stated_at_utc, body FROM waiting_stop WHERE tag = ? ORDER BY entry", (tag,)
    ).fetchall()
    for seq, at, body in rows:
        _carry(connection, json.loads(body), seq, at, entry)
    connection.execute("DELETE FROM waiting_stop WHERE tag = ?", (tag,))


_COUNTS: Final = ("hires", "days_out", "days_hired", "returns_since_work", "returns_since_fault")


def _carry(connection: sqlite3.Connection, body: Facts, seq: int, at: str, entry: Entry) -> None:
    facts = facts_of(connection, body["tag"])
    facts |= {key: body["counts"][key] for key in _COUNTS if body.get("counts")}
    if body["quarantine"]:
        facts["quarantine_entry"] = seq
    if body["hold"]:
        facts |= {"hold_entry": seq, "hold_why": ""}
    if body.get("bench"):
        facts |= {"stop_entry": seq, "stop_why": BENCH}
    facts["workers"] = json.dumps(sorted({*json.loads(facts["workers"]), *body.get("workers", ())}))
    if body.get("glued_with"):
        glued(facts, body["glued_at"], body["glued_with"])
    if body.get("unseen"):
        for side in Side:
            why = f"worked on, as {body['from']} has it"
            close_ski(connection, body["tag"], side, seq=seq, at=at, why=why)
    where = body.get("where") or {}
    if where:
        facts["whereabouts"] = where["whereabouts"]
    if facts["whereabouts"] == IN_SHOP and not where.get("return_at"):  # else the return voids the pass
        facts |= {
            "work_entry": seq,
            "work_at": max(facts["work_at"], at),
            "work_what": "a record carried over",
        }
    if where.get("whereabouts") == Place.OUT.value:
        facts |= {
            "out_entry": seq,
            "out_at": where.get("out_at") or at,
            "out_boot": where.get("out_boot"),
            "out_due": where.get("out_due"),
        }
    if body.get("said"):
        facts["said_entry"] = seq
    if where.get("return_at"):
        facts |= {"return_entry": seq, "return_at": max(facts["return_at"], where["return_at"])}
    store(connection, facts, entry)


def close_ski(connection: sqlite3.Connection, tag: str, side: Side, *, seq: int, at: str, why: str) -> None:
    """Nothing that was seen of the ski counts any more; a survey bare since then opens it."""
    connection.execute("DELETE FROM area WHERE tag = ? AND side = ?", (tag, side.value))
    connection.execute(
        "UPDATE ski SET closed_entry = ?, closed_at = max(closed_at, ?), closed_why = ?"
        " WHERE tag = ? AND side = ?",
        (seq, at, why, tag, side.value),
    )


def _partner_lost(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, lost: A | B}: the pair is out of service; its other ski is single."""
    facts = facts_of(connection, entry.body["tag"])
    other = Side.B if Side(entry.body["lost"]) is Side.A else Side.A
    insert(connection, "single_ski", {"tag": entry.body["tag"], "side": other.value})
    facts["whereabouts"] = Place.RETIRED.value
    store(connection, facts, entry)


def _single_joined(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, side, into}: that single ski is part of a new pair now."""
    body = entry.body
    gone = connection.execute(
        "DELETE FROM single_ski WHERE tag = ? AND side = ?", (body["tag"], body["side"])
    ).rowcount
    if not gone:
        raise Refused(f"{body['tag']}/{body['side']} is no single ski")


def _stock_counted(connection: sqlite3.Connection, entry: Entry) -> None:
    """{counted, expected, not_seen, unexpected, unknown}: a count as it was; no pair is moved by it."""


def _case_made(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, sha256, head}: a bundle about the pair was made; its hash stands in the chain from now on."""
    facts_of(connection, entry.body["tag"])


HANDLERS: dict[str, Handler] = {
    "binding set": _set,
    "pair out": _out,
    "pair back": _back,
    "pair looked at": _looked,
    "pair held": _held,
    "hold cleared": _hold_cleared,
    "stop ended": _stop_ended,
    "repair begun": _repair_begun,
    "repair done": _repair_done,
    "pair quarantined": _quarantined,
    "quarantine cleared": _quarantine_cleared,
    "pair moved": _moved,
    "due changed": _due_changed,
    "scan undone": _undone,
    "evening closed": _evening_closed,
    "release test recorded": _release_test,
    "case made": _case_made,
    "pair carried over": _carried_over,
    "partner lost": _partner_lost,
    "single joined": _single_joined,
    "stock counted": _stock_counted,
}
