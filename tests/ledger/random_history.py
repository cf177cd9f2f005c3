"""Histories of a small fleet that nobody would plan: every kind of entry, in any order, slips included.

Entries go straight to the ledger's door, without the rules of the desk: what the ledger takes, its
readings must find again. What it refuses is left out.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any, Final

from fleet.base.entries import utc_text
from fleet.base.errors import MountbookError
from fleet.facts.carried import carried_body
from fleet.facts.holes import Side, fresh_hole_ids
from fleet.ledger.corrections import withdraw
from fleet.ledger.transaction import Transaction
from fleet.tables.snapshot import read_pairs
from tests.bench.ledger_growth import boot
from tests.counter.shop import IDA, binding_body
from tests.counter.test_impossible import order_body

TAGS: Final = ("P-1", "P-2", "P-3", "T-1", "P-1/2", "B-305")
"""Tags of pairs; two are traps: one looks like a hole or binding of P-1, one is a boot's tag too."""

_Body = dict[str, Any]


class RandomHistory:
    """A hand that enters one random thing after another into one transaction."""

    def __init__(self, tx: Transaction, *, start: datetime) -> None:
        self.tx = tx
        self.now = start
        self.number = 0

    def enter(self, name: str, seed: int) -> bool:
        """One action by name; False if the ledger refused it."""
        rng = random.Random(seed)
        self.number += 1
        self.now += timedelta(minutes=rng.choice((1, 1, 90, 700, -60)))  # clocks are set back too
        self.tx._now, self.tx._recorded = self.now, utc_text(self.now)
        connection = self.tx.connection
        connection.execute("SAVEPOINT action")
        head = self.tx.head
        try:
            ACTIONS[name](self, rng)
        except MountbookError:
            connection.execute("ROLLBACK TO action")
            self.tx.head = head
            return False
        finally:
            connection.execute("RELEASE action")
        return True

    def say(self, what: str, body: _Body, *, note: str = "") -> int:
        return self.tx.enter(what, body, note=note)

    def one(self, rng: random.Random, query: str, *args: object) -> Any:
        rows = self.tx.connection.execute(query, args).fetchall()
        return rng.choice(rows) if rows else (None,) * 9

    def hole_rows(self, rng: random.Random, tag: str | None) -> list[_Body]:
        pair = read_pairs(self.tx.connection, tag).get(tag) if tag is not None else None
        if pair is None:
            return []
        side = rng.choice(list(Side))
        ski = pair.skis[side]
        ids = fresh_hole_ids(tag, side, [hole.hole_id for hole in ski.holes], above=ski.holes_numbered_to)
        names = [next(ids) if rng.random() < 0.8 else f"own-{self.number}-{n}" for n in range(2)]
        return [
            {
                "hole_id": name,
                "side": side.value,
                "x_um": 1000 * self.number,
                "y_um": 18_000 * (n + 1),
                "diameter_um": 3600,
                "depth_um": None,
                "state": "screwed",
                "knowledge": "drilled here",
            }
            for n, name in enumerate(names)
        ]

    def hole_changes(self, rng: random.Random, tag: str) -> list[_Body]:
        hole_id, state = self.one(rng, "SELECT hole_id, state FROM hole WHERE tag = ?", tag)[:2]
        if hole_id is None:
            return []
        return [{"hole_id": hole_id, "changes": {"state": [state, rng.choice(("open", "plugged"))]}}]

    def binding_moves(self, rng: random.Random, to: str | None) -> list[_Body]:
        binding_id, was, ski = self.one(rng, "SELECT binding_id, on_pair, on_ski FROM binding")[:3]
        if binding_id is None:
            return []
        changes = {"on_pair": [was, to], "on_ski": [ski, rng.choice("AB") if to else None]}
        return [{"binding_id": binding_id, "changes": changes}]


def _tagged(what: str, **body: Any) -> Callable[[RandomHistory, random.Random], None]:
    def act(self: RandomHistory, rng: random.Random) -> None:
        note = f"note {self.number}" if rng.random() < 0.3 else ""
        self.say(what, {"tag": rng.choice(TAGS)} | body, note=note)

    return act


def _renamed(self: RandomHistory, rng: random.Random) -> None:
    """To a tag that nothing has, and the next time back."""
    tag = rng.choice(TAGS)
    now = self.one(rng, "SELECT new FROM renamed WHERE old = ?", tag)[0]
    self.say("pair renamed", {"tag": now, "to": tag} if now else {"tag": tag, "to": f"R-{self.number}"})


def _looked(self: RandomHistory, rng: random.Random) -> None:
    outcome = rng.choice(("pass", "pass", "hold", "unfinished"))
    self.say(
        "pair looked at",
        {
            "tag": rng.choice(TAGS),
            "kind": "recheck",
            "found": {},
            "moved": [["A", "toe"]] if outcome == "hold" else [],
            "outcome": outcome,
            "unreached": [["B", "heel"]] if outcome == "unfinished" and rng.random() < 0.5 else [],
            "cause": "toe" if outcome == "hold" else "",
            "pattern": "Lark 4",
            "mount_entry": 0,
        },
    )


def _undone(self: RandomHistory, rng: random.Random) -> None:
    tag, entry = self.one(rng, "SELECT tag, undo_entry FROM standing WHERE undo_entry > 0")[:2]
    set_entry = rng.choice((None, entry))
    self.say("scan undone", {"tag": tag, "entry": entry, "what": "pair out", "set_entry": set_entry})


def _paired(self: RandomHistory, rng: random.Random, tag: str | None = None) -> None:
    ski = dict.fromkeys(("mark_from_tail_um", "zone_back_um", "zone_front_um", "zone_half_width_um"))
    body = {"model": rng.choice(("Invented ski", "P-1")), "kind": "alpine", "length_mm": 1700}
    facts = {"waist_um": None, "construction": None, "rack": "P-2", "earlier_mounts": rng.choice((0, None))}
    self.say("pair recorded", {"tag": tag or rng.choice(TAGS), "skis": {"A": ski, "B": ski}} | body | facts)


def _pair_changed(self: RandomHistory, rng: random.Random) -> None:
    tag, rack = self.one(rng, "SELECT tag, rack FROM pair")[:2]
    self.say("pair changed", {"tag": tag, "changes": {"rack": [rack, f"R-{self.number}"]}})


def _holes(self: RandomHistory, rng: random.Random) -> None:
    tag = rng.choice(TAGS)
    self.say("holes recorded", {"tag": tag, "holes": self.hole_rows(rng, tag)})


def _hour(self: RandomHistory, rng: random.Random) -> None:
    tag, entry = self.one(rng, "SELECT tag, entry FROM glue")[:2]
    self.say("hour confirmed", {"hours": [{"tag": tag, "entry": entry}]})


def _hole_changed(self: RandomHistory, rng: random.Random) -> None:
    for body in self.hole_changes(rng, rng.choice(TAGS)):
        self.say("hole changed", body)


def _area(self: RandomHistory, rng: random.Random) -> None:
    body = {"side": rng.choice("AB"), "from_um": -1000 * self.number, "to_um": 1000, "how": "bare"}
    self.say("area inspected", {"tag": rng.choice(TAGS), "on": "2026-12-01"} | body)


def _closed(self: RandomHistory, rng: random.Random) -> None:
    self.say("ski closed", {"tag": rng.choice(TAGS), "side": rng.choice("AB"), "why": f"hole {self.number}"})


def _mount_body(rng: random.Random, tag: str) -> _Body:
    body = {"pattern": rng.choice(("Lark 4", "Other 4")), "bsl_um": 305_000, "offset_um": 0, "slides": []}
    return {"tag": tag, "mounted_on": "2026-12-01", "removed_on": None, "drilled": True} | body


def _stated(self: RandomHistory, rng: random.Random) -> None:
    body = {"binding_model": "Old 3", "bsl_um": rng.choice((None, 305_000)), "offset_um": None}
    off = {"mounted_on": "", "removed_on": rng.choice((None, "2026-12-02"))}
    self.say("mount stated", {"tag": rng.choice(TAGS)} | body | off)


def _mount(self: RandomHistory, rng: random.Random) -> None:
    body = _mount_body(rng, rng.choice(TAGS))
    self.say("mount recorded", body | ({"completes": True} if rng.random() < 0.5 else {}))


def _binding(self: RandomHistory, rng: random.Random) -> None:
    tag = rng.choice((None, *TAGS))
    self.say(
        "binding recorded",
        binding_body(f"L-{self.number}", on_pair=tag, on_ski=rng.choice(list(Side)) if tag else None),
    )


def _binding_moved(self: RandomHistory, rng: random.Random) -> None:
    for body in self.binding_moves(rng, rng.choice((None, *TAGS))):
        self.say("binding changed", body)


def _serial_changed(self: RandomHistory, rng: random.Random) -> None:
    binding_id, serial = self.one(rng, "SELECT binding_id, serial_toe FROM binding")[:2]
    changes = {"serial_toe": [serial, str(self.number)]}
    self.say("binding changed", {"binding_id": binding_id, "changes": changes})


def _boot_changed(self: RandomHistory, rng: random.Random) -> None:
    tag, model = self.one(rng, "SELECT tag, model FROM boot")[:2]
    self.say("boot changed", {"tag": tag, "changes": {"model": [model, f"Boot {self.number}"]}})


def _order(self: RandomHistory, rng: random.Random) -> None:
    tag, giver = rng.choice(TAGS), rng.choice((None, *TAGS))
    self.say("order issued", order_body(tag, giver=giver) | {"number": f"WO-2612-{self.number:04d}"})


def _cancelled(self: RandomHistory, rng: random.Random) -> None:
    number, revision = self.one(rng, "SELECT number, revision FROM work_order WHERE state = 'open'")[:2]
    self.say("order cancelled", {"number": number, "revision": revision, "why": "not in the new plan"})


def _plugged(self: RandomHistory, rng: random.Random) -> None:
    query = "SELECT number, revision, tag FROM work_order WHERE state = 'open'"
    number, revision, tag = self.one(rng, query)[:3]
    body = {
        "number": number,
        "revision": revision,
        "tag": tag,
        "changed_holes": self.hole_changes(rng, tag),
        "mount_removed_on": rng.choice(("2026-12-02", None)),
        "filled_with": "epoxy",
    }
    self.say("order plugged", body)


def _worked(what: str) -> Callable[[RandomHistory, random.Random], None]:
    def act(self: RandomHistory, rng: random.Random) -> None:
        query = "SELECT number, revision, tag, giver FROM work_order WHERE state = 'open'"
        number, revision, tag, giver = self.one(rng, query)[:4]
        part = {"tag": giver, "mount_removed_on": None}
        body = {
            "number": number,
            "revision": revision,
            "tag": tag,
            "new_holes": self.hole_rows(rng, tag),
            "changed_holes": self.hole_changes(rng, tag),
            "mount_removed_on": "2026-12-02",
            "mount": _mount_body(rng, tag) if tag else None,
            "bindings": self.binding_moves(rng, tag),
            "giver": part | {"changed_holes": self.hole_changes(rng, giver)} if giver else None,
            "glued_with": ["epoxy"] if rng.random() < 0.3 else [],
            "hold": "",
            "stop": rng.choice(("", "was stopped")),
        }
        self.say(what, body)

    return act


def _withdrawn(self: RandomHistory, rng: random.Random) -> None:
    """Of the kinds that may be; newest ones more often, because old ones have something built on them."""
    where = "what LIKE '%recorded' OR what IN ('area inspected', 'hole changed', 'fit declared')"
    query = f"SELECT seq FROM entries WHERE {where} ORDER BY seq DESC LIMIT {rng.choice((1, 3, 50))}"
    rows = self.tx.connection.execute(query).fetchall()
    withdraw(self.tx, rng.choice(rows)[0], by=IDA, why="a slip", today=date(2026, 12, 27))


def _remarked(self: RandomHistory, rng: random.Random) -> None:
    self.say("entry remarked", {"entry": rng.randint(1, self.tx.head.seq)}, note=f"remark {self.number}")


def _blanked(self: RandomHistory, rng: random.Random) -> None:
    seq = self.one(rng, "SELECT seq FROM notes WHERE text IS NOT NULL")[0]
    if seq is not None:
        self.tx.blank_note(seq, why="a name")


def _partner_lost(self: RandomHistory, rng: random.Random) -> None:
    self.say("partner lost", {"tag": rng.choice(TAGS), "lost": rng.choice("AB")})


def _joined(self: RandomHistory, rng: random.Random) -> None:
    """As joining two singles leaves it: a new pair with holes, a binding taken off, the single gone."""
    tag, side = self.one(rng, "SELECT tag, side FROM single_ski")[:2]
    new = f"J-{self.number}"
    _paired(self, rng, tag=new)
    self.say("holes recorded", {"tag": new, "holes": self.hole_rows(rng, new)})
    for row in self.binding_moves(rng, None):
        self.say("binding changed", row)
    self.say("single joined", {"tag": tag, "side": side, "into": new})


def _carried(self: RandomHistory, rng: random.Random) -> None:
    """What another record says of a pair that is here, or of one that is not here yet."""
    tag = rng.choice((*TAGS, f"W-{self.number}", f"W-{self.number + 1}"))
    body = carried_body(tag, rng.sample(("quarantine", "hold", "in repair"), rng.randrange(3)), source="x")
    whereabouts = rng.choice(("shop", "out", "missing"))
    where = {"whereabouts": whereabouts, "out_at": "", "out_boot": None, "out_due": None, "return_at": ""}
    work = {"workers": [IDA], "glued_at": "", "glued_with": [], "unseen": rng.random() < 0.5}
    self.say("pair carried over", body | work | ({"where": where} if rng.random() < 0.5 else {}))
    if rng.random() < 0.5:
        _paired(self, rng, tag=tag)


def _drawn(self: RandomHistory, rng: random.Random) -> None:
    unit = f"{rng.choice(TAGS)} A"
    body = {"day": "2026-12-27", "seed": "s", "reading": "skis", "lot": 9, "size": 2, "allowed": 0}
    halves = {"from_returns": [unit], "from_rack": [rng.choice(TAGS)]}
    sample = self.say("sample drawn", body | halves | {"derived": False})
    result = {"sample": sample, "unit": unit, "tag": unit[:-2], "found": "none", "device": "d"}
    self.say("sample result", result)
    self.say("sample closed", {"sample": sample, "outcome": "PASS"})


def _recall(self: RandomHistory, rng: random.Random) -> None:
    body = {"pattern": "Lark 4", "piece": "", "serial_from": "1", "serial_to": "9", "season": ""}
    self.say("recall opened", {"recall": f"R-{self.number}", "source": "P-1"} | body)
    self.say("recall closed", {"recall": f"R-{self.number}"})


def _counted(self: RandomHistory, rng: random.Random) -> None:
    lists = {"not_seen": [rng.choice(TAGS)], "unexpected": [[rng.choice(TAGS), "out"]], "unknown": ["Z-9"]}
    self.say("stock counted", {"counted": 1, "expected": 2} | lists)


def _imported(self: RandomHistory, rng: random.Random) -> None:
    self.say("import applied", {"file": "P-1.xlsx", "sha256": "0" * 64, "left_out": [], "counts": {}})


def _noted(self: RandomHistory, rng: random.Random) -> None:
    """A note on any thing, or the end or answer of one."""
    tag, binding = rng.choice(TAGS), self.one(rng, "SELECT binding_id FROM binding")[0]
    target: _Body = rng.choice(
        ({"tag": tag}, {"tag": tag, "side": "B"}, {"boot": "B-305"}, {"binding_id": binding})
    )
    self.say("note made", target | {"proposes": rng.choice(("", "hold"))}, note=f"note {self.number}")


def _note_closed(what: str, **more: str) -> Callable[[RandomHistory, random.Random], None]:
    def act(self: RandomHistory, rng: random.Random) -> None:
        query = "SELECT entry, tag, side, boot, binding_id FROM thing_note WHERE ended_entry = 0"
        entry, tag, side, boot_tag, binding = self.one(rng, query)[:5]
        target = {"tag": tag, "side": side, "boot": boot_tag, "binding_id": binding}
        self.say(what, target | {"note": entry} | more)

    return act


def _boot_said(what: str, **more: Any) -> Callable[[RandomHistory, random.Random], None]:
    def act(self: RandomHistory, rng: random.Random) -> None:
        self.say(what, {"tag": self.one(rng, "SELECT tag FROM boot")[0]} | more, note=f"note {self.number}")

    return act


def _stock_in(self: RandomHistory, rng: random.Random) -> None:
    ids = [f"S-{self.number} no. 1 {side}" for side in "AB"]
    body = {"model": "Lark 4 binding", "pattern": "Lark 4", "brake_um": 95_000, "season": ""}
    self.say("stock in", body | {"binding_ids": ids})


def _stock_out(self: RandomHistory, rng: random.Random) -> None:
    binding = self.one(rng, "SELECT binding_id FROM binding WHERE on_pair IS NULL AND gone_entry = 0")[0]
    self.say("stock out", {"binding_ids": [binding]})


def _stock_back(self: RandomHistory, rng: random.Random) -> None:
    binding = self.one(rng, "SELECT binding_id FROM binding WHERE gone_entry > 0")[0]
    self.say("stock back", {"binding_ids": [binding]})


def _kind_and_fit(self: RandomHistory, rng: random.Random) -> None:
    self.say("model kind stated", {"thing": "binding", "model": "Lark 4 binding", "kind": "alpine"})
    sole_type, pattern = self.one(rng, "SELECT sole_type, pattern FROM fit")[:2]
    self.say("fit taken back", {"sole_type": sole_type, "pattern": pattern})


def _load_sent(self: RandomHistory, rng: random.Random) -> None:
    tag, boots = self.one(rng, "SELECT tag FROM pair")[0], self.one(rng, "SELECT tag FROM boot")[0]
    loose = self.tx.connection.execute("SELECT binding_id FROM binding WHERE on_pair IS NULL").fetchone()
    names = {"pairs": [tag], "boots": [boots], "binding_ids": list(loose or ())}
    body = {"run": f"run {self.number}", "other": "South", "leaves": rng.random() < 0.5, "sha256": "0" * 64}
    self.say("load sent", body | names)


def _load_taken_in(self: RandomHistory, rng: random.Random) -> None:
    load, tag = self.one(rng, "SELECT entry, tag FROM load_thing WHERE tag IS NOT NULL")[:2]
    self.say("load taken in", {"load": load, "pairs": [tag], "boots": [], "binding_ids": []})


ACTIONS: Final[dict[str, Callable[[RandomHistory, random.Random], None]]] = {
    "set": _tagged("binding set", bsl_um=305_000, boot="B-305"),
    "out": _tagged("pair out", boot=None, due=None, fit="fit not checked"),
    "out as set": _tagged("pair out", boot="B-305", due=None, fit="fits", sole_um=305_000, set_entry=None),
    "back": _tagged("pair back", said=True),
    "look": _looked,
    "undo": _undone,
    "hold": _tagged("pair held"),
    "fault": _tagged("ski fault found", side="B", fault="crack"),
    "clear": _tagged("hold cleared", hold=0),
    "stop ended": _tagged("stop ended", stop=0),
    "repair": _tagged("repair begun"),
    "repaired": _tagged("repair done", glued_with=["epoxy"]),
    "repaired, a piece named": _tagged("repair done", glued_with=[], touched=[["A", "heel"]]),
    "repaired, entered later": _tagged("repair done", glued_with=["epoxy"], cure_from_entry=True),
    "hour": _hour,
    "quarantine": _tagged("pair quarantined"),
    "quarantine cleared": _tagged("quarantine cleared"),
    "renamed": _renamed,
    "moved": _tagged("pair moved", to="missing"),
    "found": _tagged("pair moved", to="shop"),
    "due": _tagged("due changed", due="2026-12-30"),
    "tested": _tagged("release test recorded", side="A", piece="toe", device="d", result="r"),
    "case": _tagged("case made", sha256="0" * 64, head="1:0"),
    "mount off": _tagged("mount removed", removed_on="2026-12-03"),
    "new pair": _paired,
    "pair changed": _pair_changed,
    "holes": _holes,
    "hole changed": _hole_changed,
    "area": _area,
    "closed": _closed,
    "mount": _mount,
    "stated": _stated,
    "binding": _binding,
    "binding moved": _binding_moved,
    "serial": _serial_changed,
    "boot": lambda self, rng: self.say("boot recorded", boot(rng.choice(TAGS))) and None,
    "boot changed": _boot_changed,
    "order": _order,
    "cancelled": _cancelled,
    "plugged": _plugged,
    "done": _worked("order done"),
    "stopped": _worked("order stopped"),
    "withdrawn": _withdrawn,
    "remark": _remarked,
    "blanked": _blanked,
    "partner lost": _partner_lost,
    "joined": _joined,
    "carried": _carried,
    "sample": _drawn,
    "recall": _recall,
    "count": _counted,
    "import": _imported,
    "note": _noted,
    "note ended": _note_closed("note ended"),
    "note answered": _note_closed("note answered", answer="not so"),
    "boot held": _boot_said("boot held"),
    "boot cleared": _boot_said("boot hold cleared", hold=0),
    "boot moved": _boot_said("boot moved", to="missing"),
    "boot back": _boot_said("boot back", said=False),
    "stock in": _stock_in,
    "stock out": _stock_out,
    "stock back": _stock_back,
    "kind and fit": _kind_and_fit,
    "load": _load_sent,
    "load in": _load_taken_in,
}
