"""A small model of the rules of the door, in plain Python: it imports nothing of the program.

It is told which command was typed, by whom and when, and keeps what follows from it in its own few words.
Each command has a verdict before it is typed: YES (it must be taken), NO (it must be refused), or None, where
the answer hangs on things that the model does not hold.
"""

from __future__ import annotations

import copy
import unicodedata
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

YES, NO = True, False
SIDES = ("A", "B")
PIECES = ("toe", "heel")
SHOP_ZONE = timedelta(hours=1)
"""The invented shop keeps winter time; the machine never leaves the winter."""
SLACK = timedelta(minutes=2)
LONGEST_BACK = timedelta(days=400)
CHECKERS = ("technician", "head technician", "manager")
RANK = ("counter", *CHECKERS)
AWAY = ("out", "missing", "in transit")
IN_SHOP = ("flat", "ready", "back", "hold", "in repair", "second check", "quarantine")
HEAD_CAUSES = ("crack", "delamination", "wet core", "hole below the rule")
SECOND_CAUSES = ("moved screw", "spinning screw", "missing screw", "cracked piece")

Event = tuple[int, datetime | None]
NEVER: Event = (0, None)


def day_of(moment: datetime) -> date:
    return (moment + SHOP_ZONE).date()


def later(one: Event, other: Event) -> bool:
    """Later both by number and by stated time."""
    if other[1] is None:
        return one[0] > 0
    return one[1] is not None and one[0] > other[0] and one[1] > other[1]


def key(name: str) -> str:
    folded = unicodedata.normalize("NFKC", name).casefold()
    return " ".join(unicodedata.normalize("NFKC", folded).split())


def is_word(text: str) -> bool:
    return any(len([c for c in part if c.isalpha()]) >= 3 for part in text.split())


@dataclass(eq=False)
class Binding:
    pattern: str
    model: str
    brake: int | None
    serials: dict[str, str]
    season: str


@dataclass
class Mount:
    pattern: str
    toe_um: int  # where the toe of the sole is held, from ski A's mark
    heel_um: int
    entry: int = 0
    on: date = date.min


@dataclass
class Hour:
    """Glue of one entry: from when it cures, and the hour that was typed for it, if any, and by whom."""

    entry: int
    at: datetime
    stated: datetime | None = None
    by: str = ""

    @property
    def waits(self) -> bool:
        return self.stated is not None and self.at > self.stated


@dataclass
class Boot:
    tag: str
    bsl: int | None
    sole: str
    hold: int = 0
    where: str = "shop"
    back: int = 0


@dataclass
class Pair:
    tag: str
    away: str = ""
    passed: Event = NEVER
    pass_by: str = ""
    marks: dict[str, Event] = field(default_factory=dict)  # return, work, fault, unfinished
    stops: dict[str, int] = field(default_factory=dict)  # quarantine, repair, hold, bench, second
    workers: frozenset[str] = frozenset()
    finders: frozenset[str] = frozenset()
    clearers: frozenset[str] = frozenset()
    causers: tuple[str, ...] = ()
    last_hand: str = ""
    stands: dict[tuple[str, str], tuple[int, int, datetime] | None] = field(default_factory=dict)
    """None: hands were at that piece since."""
    glue: frozenset[str] = frozenset()
    hours: list[Hour] = field(default_factory=list)
    plugging: bool = False  # the newest work is an order's first visit
    bindings: dict[str, dict[str, Binding]] = field(default_factory=lambda: {side: {} for side in SIDES})
    mounts: list[Mount] = field(default_factory=list)
    out: Event = NEVER
    since: Event = NEVER  # when it came to the place where it is; NEVER where the model does not hold it
    out_boot: str | None = None
    undo: tuple[dict[str, Any], datetime, str, bool, str] | None = None
    version: int = 0
    single: str = ""
    newest: int = 0  # the newest entry about it

    @property
    def glued_at(self) -> datetime | None:
        return max((hour.at for hour in self.hours), default=None)

    @property
    def mounted(self) -> bool:
        return any(self.bindings.values())

    @property
    def place(self) -> str:
        if self.away:
            return self.away
        for stop, word in (
            ("quarantine", "quarantine"),
            ("repair", "in repair"),
            ("hold", "hold"),
            ("bench", "hold"),
            ("second", "second check"),
        ):
            if self.stops.get(stop):
                return word
        if not self.mounted:
            return "flat"
        return "ready" if self.passes() else "back"

    def passes(self) -> bool:
        return self.passed[0] > 0 and all(later(self.passed, mark) for mark in self.marks.values())

    def setting(self) -> int | None:
        if None in self.stands.values():
            return None
        soles = {each[0] for each in self.stands.values() if each}
        both = {side for side, _ in self.stands} == set(SIDES)
        return soles.pop() if both and len(soles) == 1 else None

    def set_when(self) -> Event:
        if self.setting() is None:
            return NEVER
        _, seq, at = max((each for each in self.stands.values() if each), key=lambda each: each[1])
        return (seq, at)

    def same_as(self, other: Pair) -> bool:
        """Whether nothing happened to it between a copy (``other``) and now, so that a restore leaves its pass.

        An out that was undone happened to nobody, the setting in the same breath neither: the version is that
        of before, the pass counts here too, and what the binding stands at is not known, which is compared
        by itself. A model that took such a slip for a touch held back a pair that was ready all along.
        """
        mine, theirs = (
            (p.version, p.stands, p.stops, p.marks, p.passed, p.away, p.out, p.workers, p.finders, p.clearers)
            for p in (self, other)
        )
        return mine == theirs


_SNAPSHOT = (
    "away",
    "out",
    "out_boot",
    "passed",
    "pass_by",
    "workers",
    "glue",
    "version",
    "plugging",
)


@dataclass(kw_only=True)
class Said:
    """One command as it was typed: ``by`` is the person meant, ``typed``: named with --by."""

    what: str
    tag: str = ""
    by: str = ""
    typed: bool = True
    now: datetime
    at: datetime | None = None
    more: dict[str, Any] = field(default_factory=dict)

    @property
    def when(self) -> datetime:
        return self.at or self.now

    @property
    def days(self) -> tuple[date, date]:
        return day_of(self.when), day_of(self.now)


@dataclass
class Model:
    first: datetime
    staff: dict[str, tuple[str, date]] = field(default_factory=dict)
    pairs: dict[str, Pair] = field(default_factory=dict)
    boots: dict[str, Boot] = field(default_factory=dict)
    fits: set[tuple[str, str]] = field(default_factory=set)
    recalls: dict[str, dict[str, Any]] = field(default_factory=dict)
    policy: dict[str, str] = field(default_factory=dict)
    tests: dict[tuple[str, str, str], list[tuple[datetime, int, str, str, str]]] = field(default_factory=dict)
    calibrations: dict[str, list[tuple[date, date]]] = field(default_factory=dict)
    qualified: dict[tuple[str, str], list[tuple[date, date]]] = field(default_factory=dict)
    standards: dict[str, str] = field(default_factory=dict)
    unsupported: dict[str, date] = field(default_factory=dict)
    kinds: dict[str, str] = field(default_factory=dict)  # of boots' and bindings' models
    orders: dict[str, dict[str, Any]] = field(default_factory=dict)  # open ones, by name
    waiting: dict[str, list[Pair]] = field(default_factory=dict)
    versions: int = 0
    renamed: list[tuple[str, str]] = field(default_factory=list)
    stated: list[Said] = field(default_factory=list)
    """Rules, fits taken back, models, soles and failed tests, in order: what a restore enters again."""

    # people

    def can(self, by: str, roles: tuple[str, ...], said: Said) -> bool:
        role, until = self.staff.get(key(by), ("", date.min))
        return role in roles and all(day <= until for day in said.days)

    def able(self, roles: tuple[str, ...], days: tuple[date, ...]) -> list[str]:
        return [n for n, (r, until) in self.staff.items() if r in roles and all(d <= until for d in days)]

    def decides(self, said: Said) -> bool:
        days = (said.days[1],) if said.what in ("restore", "rebuild") else said.days
        for role in ("manager", "head technician"):
            if able := self.able((role,), days):
                return key(said.by) in able
        return False

    def barred(self, pair: Pair, names: frozenset[str], said: Said, *, passes: bool) -> frozenset[str]:
        """Those of the names who may not pass or clear it: two people check each other."""
        hands = pair.workers | pair.clearers
        able = self.able(CHECKERS, said.days)
        if any(name not in hands for name in able):
            return names
        if len(able) > 1:
            return names if not pair.last_hand else names & {pair.last_hand}
        moved = pair.marks.get("fault", NEVER)[0] > 0 and not later(pair.passed, pair.marks["fault"])
        alone = self.policy.get("one_person_passes") == "yes" and not moved
        return frozenset() if passes and alone else names

    # the door

    def order_of(self, tag: str) -> str:
        return next((n for n, o in self.orders.items() if tag in (o["tag"], o["giver"])), "")

    def reasons(self, pair: Pair, at: datetime) -> list[str]:
        found = []
        if pair.place not in ("ready", "back"):
            found.append(f"place {pair.place}")
        if pair.stops.get("hold") or pair.stops.get("bench"):
            found.append("held")
        if not pair.passed[0]:
            found.append("never passed")
        elif pair.passed[1] > at:
            found.append("passed later than that")
        else:
            found += [f"{what} since the pass" for what, m in pair.marks.items() if not later(pair.passed, m)]
        if self.order_of(pair.tag):
            found.append("order open")
        found += self.uncured(pair, at)
        found += [f"{len(pair.bindings[s])} bindings on ski {s}" for s in SIDES if len(pair.bindings[s]) != 1]
        if len(pair.mounts) > 1:
            found.append("several mounts")
        on = [b for s in SIDES for b in list(pair.bindings[s].values())[-1:]]
        if len({b.pattern for b in on}) > 1 or len({b.brake for b in on}) > 1:
            found.append("its bindings differ")
        found += [f"recall {name}" for name, r in self.recalls.items() if r["open"] and _reaches(r, on)]
        return found + self.gates(pair, on, at)

    def uncured(self, pair: Pair, at: datetime) -> list[str]:
        found = []
        for each in pair.glue:
            hours = self.policy.get(f"cure_{each}_hours", "")
            if not hours or pair.glued_at is None or pair.glued_at + timedelta(hours=float(hours)) > at:
                found.append(f"{each} cures")
        return found

    def gates(self, pair: Pair, on: list[Binding], at: datetime) -> list[str]:
        found, day = [], day_of(at)
        if self.policy.get("gate_unsupported_model") == "yes":
            names = {b.model for b in on} | {f"{m.pattern} binding" for m in pair.mounts[-1:]}
            found += [f"{n} is not supported" for n in names if self.unsupported.get(n, date.max) <= day]
        if "pass" in self.asks("gate_qualification") and pair.passed[1] is not None:
            if not self.qualifies(pair.pass_by, "pass", day_of(pair.passed[1])):
                found.append("passed by somebody unqualified")
        asked = self.asks("gate_release_test_alpine")
        for side in SIDES if asked else ():
            for piece in PIECES:
                found += self.untested(pair, side, piece, asked)
        return found

    def asks(self, gate: str) -> list[str]:
        value = self.policy.get(gate, "")
        return [] if value in ("", "no") else [word.strip() for word in value.split(",")]

    def qualifies(self, name: str, what: str, day: date) -> bool:
        said = [until for until, since in self.qualified.get((key(name), what), []) if since <= day]
        return bool(said) and day <= said[-1]

    def untested(self, pair: Pair, side: str, piece: str, asked: list[str]) -> list[str]:
        tests = self.tests.get((pair.tag, side, piece))
        if not tests:
            return [f"{side} {piece} not tested"]
        at, seq, outcome, device, by = max(tests, key=lambda each: each[:2])
        work, was_set = pair.marks.get("work", NEVER), pair.set_when()
        for word, since in (("work", work), ("setting", was_set)):
            if word in asked and since[0] and not later((seq, at), since):
                return [f"{side} {piece} not tested since {word}"]
        known = self.calibrations.get(device)
        if outcome == "failed" or (known and not any(on <= day_of(at) <= to for on, to in known)):
            return [f"{side} {piece} test does not count"]
        if "release test" in self.asks("gate_qualification"):
            if not self.qualifies(by, "release test", day_of(at)):
                return [f"{side} {piece} tested by somebody unqualified"]
        return []

    def boot_reasons(self, pair: Pair, boot: Boot, *, set_now: bool) -> list[str]:
        found = []
        place = self.boot_place(boot)
        if place not in ("ready", "out") or boot.hold:
            found.append(f"boot {place}")
        if not pair.mounts:
            return [*found, "mount not known"]
        mount = pair.mounts[-1]
        kinds = {"alpine", self.kinds.get("boot") if boot.tag else None, self.kinds.get("binding")}
        if len(kinds - {None}) > 1:
            found.append("kinds differ")
        standard = self.standards.get(f"{mount.pattern} binding")
        if self.policy.get("gate_sole_standard") == "yes" and standard and not _foreseen(standard, boot.sole):
            found.append("no standard foresees it")
        if (boot.sole, mount.pattern) not in self.fits:
            found.append("not declared")
        if boot.bsl is None:
            return [*found, "sole not known"]
        centre = mount.toe_um - boot.bsl // 2
        if abs(mount.toe_um - boot.bsl - mount.heel_um) > 10_000 or abs(centre) > 10_000:
            found.append("out of travel")
        if not found and pair.setting() != boot.bsl and not set_now:
            found.append("not set for it")
        if set_now and "setting" in self.asks("gate_release_test_alpine"):
            found.append("set now, and not tested since")
        return found

    def boot_place(self, boot: Boot) -> str:
        if boot.where != "shop":
            return boot.where
        out = [
            p.out[0] for p in self.pairs.values() if p.place == "out" and p.out_boot == boot.tag and boot.tag
        ]
        if out and max(out) > boot.back:
            return "out"
        return "hold" if boot.hold else "ready"

    def may_go(self, said: Said) -> bool:
        pair, more = self.pairs.get(said.tag), said.more
        boot, due = more.get("boot"), more.get("due")
        if pair is None or not self.time_holds(said):
            return NO
        if more.get("set"):
            if boot is None or not self.can(said.by, RANK, said):
                return NO
            if "setting" in self.asks("gate_qualification"):
                if not self.qualifies(said.by, "setting", said.days[0]):
                    return NO
        if isinstance(boot, str):
            if boot not in self.boots or self.boot_place(self.boots[boot]) == "out":
                return NO
            boot = self.boots[boot]
        if due is not None and (due < said.days[0] or self.too_long(said.when, due)):
            return NO
        if boot is None and self.policy.get("out_without_boot") != "yes":
            return NO
        if self.reasons(pair, said.when):
            return NO
        return boot is None or not self.boot_reasons(pair, boot, set_now=bool(more.get("set")))

    def too_long(self, out: datetime, due: date) -> bool:
        every = self.policy.get("gate_long_rental_days")
        days = (due - day_of(out)).days
        return bool(every) and days >= 15 and days > int(every)

    def time_holds(self, said: Said) -> bool:
        return said.at is None or (said.at <= said.now + SLACK and self.first - said.at < LONGEST_BACK)

    # verdicts

    def verdict(self, said: Said) -> bool | None:
        if not self.time_holds(said):
            return NO
        return getattr(self, f"_may_{said.what.replace('-', '_').replace(' ', '_')}", _free)(said)

    def _may_out(self, said: Said) -> bool:
        return self.may_go(said)

    def _may_set_binding(self, said: Said) -> bool | None:
        """By any listed person where it may be asked for: the fit is declared and within travel."""
        pair, boot = self.pairs.get(said.tag), self.boots.get(said.more["boot"])
        if pair is None or boot is None or pair.place == "out" or not self.can(said.by, RANK, said):
            return NO
        if "setting" in self.asks("gate_qualification"):
            if not self.qualifies(said.by, "setting", said.days[0]):
                return NO
        if not pair.mounts or pair.place not in IN_SHOP:
            return None
        fit = {"not declared", "sole not known", "out of travel"}
        return not fit & set(self.boot_reasons(pair, boot, set_now=True))

    def _may_back(self, said: Said) -> bool:
        if said.tag in self.boots:
            return self.boot_place(self.boots[said.tag]) not in ("retired", "sold")
        pair = self.pairs.get(said.tag)
        if pair is None or pair.place in ("retired", "sold"):
            return NO
        if pair.place == "back" and pair.marks.get("return", NEVER)[0] >= pair.out[0] > 0:
            return NO
        return pair.place != "out" or said.when > pair.out[1]

    def _may_later(self, said: Said) -> bool:
        pair, due = self.pairs.get(said.tag), said.more["due"]
        if pair is None or pair.place != "out" or due < said.days[0]:
            return NO
        return not self.too_long(pair.out[1], due)

    def _may_undo(self, said: Said) -> bool:
        pair = self.pairs.get(said.tag)
        return pair is not None and pair.undo is not None and said.now - pair.undo[1] <= timedelta(minutes=10)

    def _may_move(self, said: Said) -> bool:
        to, boot = said.more["to"], self.boots.get(said.tag)
        pair = self.pairs.get(said.tag)
        if pair is None and boot is None:
            return NO
        place = self.boot_place(boot) if boot else pair.place
        allowed = {
            "missing": ("out", "in transit", *IN_SHOP),
            "in transit": ("flat", "ready", "back"),
            "shop": ("missing", "in transit"),
            "retired": (*IN_SHOP, "missing"),
            "sold": ("flat", "ready", "back"),
        }
        if place not in allowed[to]:
            return NO
        if to == "sold" and not self.can(said.by, ("manager",), said):
            return NO
        if to == "retired" and not self.can(said.by, CHECKERS, said):
            return NO
        if to == "retired" and not is_word(said.more["why"]):
            return NO
        return bool(boot) or to not in ("sold", "retired", "in transit") or not self.order_of(said.tag)

    def _may_look(self, said: Said) -> bool:
        pair, found = self.pairs.get(said.tag), said.more["found"]
        if pair is None or not self.can(said.by, CHECKERS, said):
            return NO
        moved = any(word not in ("not moved", "could not reach") for word in found.values())
        if moved:
            return pair.place in ("back", "second check", "ready", "hold")
        if pair.place not in ("back", "second check", "ready") or len(found) < 4:
            return NO
        if "could not reach" in found.values():
            return YES
        return self.may_pass(pair, said)

    _may_recheck_record = _may_look
    _may_prep_sign = _may_look

    def may_pass(self, pair: Pair, said: Said) -> bool:
        if not self.can(said.by, CHECKERS, said) or pair.place not in ("back", "second check", "ready"):
            return NO
        hands = pair.workers | pair.clearers
        if hands and not said.typed:
            return NO
        if key(said.by) in self.barred(pair, hands, said, passes=True):
            return NO
        if not all(pair.bindings.values()):
            return NO
        return all(mark[1] is None or said.when > mark[1] for mark in pair.marks.values())

    def _may_hold(self, said: Said) -> bool:
        boot, pair = self.boots.get(said.tag), self.pairs.get(said.tag)
        place = self.boot_place(boot) if boot else pair.place if pair else "sold"
        return place not in ("retired", "sold") and bool(said.more["why"].strip())

    _may_quarantine = _may_hold

    def _may_ski_fault(self, said: Said) -> bool:
        pair = self.pairs.get(said.tag)
        return pair is not None and pair.place not in ("retired", "sold") and said.more["known"]

    def _may_clear(self, said: Said) -> bool:
        if boot := self.boots.get(said.tag):
            return self.boot_place(boot) == "hold" and self.can(said.by, CHECKERS, said)
        pair, why = self.pairs.get(said.tag), said.more["why"]
        if pair is None:
            return NO
        if pair.place == "quarantine":
            road = "manager"
        elif pair.place != "hold":
            return NO
        else:
            road = "head" if pair.stops.get("bench") else "second" if pair.finders else "listed"
        if (pair.workers or road in ("head", "second")) and not said.typed:
            return NO
        if road == "manager":
            return self.can(said.by, ("manager",), said) and is_word(why)
        workers = self.barred(pair, pair.workers, said, passes=False)
        never = set(workers) | set(pair.finders) | set(pair.causers)
        if road == "head":
            heads = self.able(("head technician",), said.days)
            role = "manager" if heads and all(name in never for name in heads) else "head technician"
            return self.can(said.by, (role,), said) and key(said.by) not in never and is_word(why)
        if not self.can(said.by, CHECKERS, said) or key(said.by) in workers:
            return NO
        if road == "second":
            return key(said.by) not in pair.finders and is_word(why)
        return not why or is_word(why)

    def _may_repair_begin(self, said: Said) -> bool | None:
        pair = self.pairs.get(said.tag)
        if pair is not None and said.at is not None and pair.place == "hold" and not pair.since[0]:
            return None
        placed = pair is not None and pair.place == "hold" and self._after_stop(pair, said)
        return placed and self.can(said.by, CHECKERS, said)

    def _after_stop(self, pair: Pair, said: Said) -> bool:
        """A time given for work is later than the stop."""
        return said.at is None or pair.since[1] is None or said.when > pair.since[1]

    def _may_repair_done(self, said: Said) -> bool | None:
        pair = self.pairs.get(said.tag)
        placed = pair is not None and pair.place in ("hold", "in repair") and self._after_stop(pair, said)
        if placed and pair is not None and said.at is not None and not pair.since[0]:
            return None
        return placed and self.can(said.by, CHECKERS, said) and is_word(said.more["did"])

    def _may_staff_add(self, said: Said) -> bool | None:
        name, role, until = key(said.more["name"]), said.more["role"], said.more["until"]
        heads = self.able(("head technician", "manager"), said.days)
        if not heads:
            return None
        lists = [n for n in heads if self.staff[n][0] == "manager"] or heads
        old = self.staff.get(name)

        raised = old is not None and (RANK.index(role) > RANK.index(old[0]) or until > old[1])
        may = [n for n in lists if n != name or not raised]
        if not may and old is not None and name in lists and role == old[0]:
            may = [n for n in heads if n != name] or [name]
        return key(said.by) in may

    def _may_staff_qualify(self, said: Said) -> bool:
        name = key(said.more["name"])
        head = self.can(said.by, ("head technician", "manager"), said)
        return name in self.staff and head and key(said.by) != name

    def _may_policy_set(self, said: Said) -> bool:
        return self.decides(said) and said.more["plausible"]

    def _may_fit_take_back(self, said: Said) -> bool:
        head = self.can(said.by, ("head technician", "manager"), said)
        return head and said.more["fit"] in self.fits and is_word(said.more["why"])

    def _may_kind(self, said: Said) -> bool:
        return self.can(said.by, ("head technician", "manager"), said) and said.more["known"]

    def _may_pattern_model(self, said: Said) -> bool:
        return self.can(said.by, ("head technician", "manager"), said) and said.more["known"]

    def _may_recall_open(self, said: Said) -> bool:
        names = said.more["name"] not in self.recalls
        return names and self.can(said.by, CHECKERS, said) and said.more["known"]

    def _may_recall_close(self, said: Said) -> bool:
        found = self.recalls.get(said.more["name"])
        return found is not None and found["open"] and self.can(said.by, CHECKERS, said)

    def _may_sole(self, said: Said) -> bool:
        return said.tag in self.boots and self.can(said.by, CHECKERS, said) and said.more["known"]

    def _may_release_test(self, said: Said) -> bool:
        return said.tag in self.pairs and self.can(said.by, CHECKERS, said) and said.more["known"]

    def _may_calibration(self, said: Said) -> bool:
        return self.can(said.by, CHECKERS, said) and said.more["until"] >= said.more["on"]

    def _only(*roles: str) -> Any:
        def may(self: Model, said: Said) -> bool | None:
            return None if self.can(said.by, roles, said) else NO

        return may

    _may_order_issue = _may_correct = _may_withdraw = _may_redact = _may_pattern_add = _may_pattern_kinds = (
        _only("head technician", "manager")
    )
    _may_stock_in = _may_stock_out = _may_sample_close = _may_sample_result = _may_batch = _only(*CHECKERS)
    _may_note_end = _only(*RANK)

    def _may_order(self, said: Said) -> bool | None:
        """Done, plugged and stopped: who, where it is, and nothing before it was issued, came back, was worked on."""
        order = self.orders.get(said.more["order"])
        if order is None or not self.can(said.by, CHECKERS, said):
            return NO
        pair = self.pairs[order["tag"]]
        if pair.place not in ("flat", "ready", "back"):
            return NO
        before = [pair.marks.get("return", NEVER), pair.marks.get("work", NEVER), order["issued"]]
        if not all(at is None or said.when > at for _, at in before):
            return NO
        if said.what == "order done" and order["takes_off"] and self.uncured(pair, said.when):
            return NO
        return None

    _may_order_done = _may_order_plugged = _may_order_stop = _may_order

    def _may_order_branch(self, said: Said) -> bool | None:
        return None if said.more["known"] and said.more["order"] in self.orders else NO

    def _may_name_holes(self, said: Said) -> bool | None:
        return None if said.tag in self.pairs else NO

    def _may_printer_measured(self, said: Said) -> bool:
        return self.can(said.by, ("head technician", "manager"), said) and said.more["known"]

    def _may_rename(self, said: Said) -> bool | None:
        """None where a sample may wait for the pair, or another pair had that tag."""
        there = said.tag in self.pairs and not self.order_of(said.tag) and said.more["why"].strip()
        fresh = said.more["to"] not in self.pairs and said.more["to"] not in self.boots
        head = self.can(said.by, ("head technician", "manager"), said)
        return None if there and fresh and head else NO

    def _may_confirm_hour(self, said: Said) -> bool:
        """By a listed person who types a name and did not enter it, for glue that waits for that word."""
        hours = [h for pair in self.pairs.values() for h in pair.hours if h.entry == said.more["entry"]]
        waits = any(h.waits for h in hours) and all(h.by != key(said.by) for h in hours)
        return waits and said.typed and self.can(said.by, CHECKERS, said)

    def _may_mend_clock(self, said: Said) -> bool | None:
        head = self.can(said.by, ("head technician", "manager"), said)
        return None if head and is_word(said.more["why"]) else NO

    def _may_singles_lost(self, said: Said) -> bool:
        pair = self.pairs.get(said.tag)
        there = pair is not None and pair.place in (*IN_SHOP, "missing") and not self.order_of(said.tag)
        return there and self.can(said.by, CHECKERS, said)

    def _may_singles_join(self, said: Said) -> bool | None:
        singles = {f"{p.tag}/{p.single}" for p in self.pairs.values() if p.single}
        named = said.more["a"] in singles and said.more["b"] in singles and said.more["a"] != said.more["b"]
        fresh = said.tag not in self.pairs and said.tag not in self.boots
        return None if named and fresh and self.can(said.by, CHECKERS, said) else NO

    def _may_restore(self, said: Said) -> bool:
        return self.decides(said) and said.more["sound"]

    def _may_rebuild(self, said: Said) -> bool | None:
        return None if self.decides(said) else NO

    # what follows

    def take(self, said: Said, seq: int, entries: list[tuple[int, str, dict[str, Any]]]) -> None:
        """The command was taken; ``entries`` are what it wrote, ``seq`` the newest number."""
        handler = getattr(self, f"_do_{said.what.replace('-', '_').replace(' ', '_')}", None)
        if handler is not None:
            before = {tag: pair.place for tag, pair in self.pairs.items()}
            handler(said, seq, entries)
            for tag, pair in self.pairs.items():
                if pair.place != before.get(tag):
                    pair.since = (seq, said.when) if said.what != "undo" else NEVER

    def _touch(self, pair: Pair, seq: int) -> Pair:
        self.versions += 1
        pair.undo, pair.version = None, self.versions
        return pair

    def _mark(self, pair: Pair, what: str, seq: int, at: datetime) -> None:
        old = pair.marks.get(what, NEVER)[1]
        pair.marks[what] = (seq, max(old, at) if old else at)

    def _worked(self, pair: Pair, seq: int, at: datetime, worker: str = "") -> None:
        self._touch(pair, seq)
        pair.stands, pair.plugging = {}, False
        self._mark(pair, "work", seq, at)
        if worker:
            pair.workers |= {key(worker)}
            pair.stops["second"] = seq

    def _glued(self, pair: Pair, said: Said, seq: int, glue: Any) -> None:
        """A cure counts from its entry where an earlier hour was typed, until that hour is confirmed."""
        at = said.when if said.at is None else max(said.when, said.now)
        self._glue(pair, Hour(seq, at, said.at, key(said.by)), glue)

    def _glue(self, pair: Pair, hour: Hour, glue: Any) -> None:
        if glue:
            pair.glue |= set(glue)
            pair.hours = [*pair.hours, hour]

    def _do_confirm_hour(self, said: Said, seq: int, entries: list[Any]) -> None:
        for pair in self.pairs.values():
            if any(hour.entry == said.more["entry"] for hour in pair.hours):
                self._touch(pair, seq)
                pair.hours = [
                    Hour(h.entry, h.stated, h.stated, h.by)
                    if h.entry == said.more["entry"] and h.stated
                    else h
                    for h in pair.hours
                ]

    def _do_rename(self, said: Said, seq: int, entries: list[Any]) -> None:
        self.renamed.append((said.tag, said.more["to"]))
        self.call(said.tag, said.more["to"])
        self.pairs[said.more["to"]].undo = None
        for waiting in self.waiting.pop(said.more["to"], []):
            self._carry(self.pairs[said.more["to"]], waiting, None, seq, said.now)

    def called(self, tag: str) -> str:
        """The tag that it has now."""
        for old, new in self.renamed:
            tag = new if tag == old else tag
        return tag

    def call(self, old: str, new: str) -> None:
        """The pair has another tag; all that is known of it goes on under that."""
        pair = self.pairs.pop(old)
        pair.tag = new
        self.pairs[new] = pair
        for order in self.orders.values():
            order |= {who: new for who in ("tag", "giver") if order[who] == old}
        for said in self.stated:
            said.tag = new if said.tag == old else said.tag
        for tag, side, piece in [at for at in self.tests if at[0] == old]:
            self.tests[new, side, piece] = self.tests.pop((tag, side, piece))

    def _do_out(self, said: Said, seq: int, entries: list[Any]) -> None:
        pair, boot = self.pairs[said.tag], said.more.get("boot")
        sole = self.boots[boot].bsl if isinstance(boot, str) else boot.bsl if boot else None
        if said.more.get("set"):
            pieces = PIECES if pair.mounts else ("",)
            pair.stands = {(s, p): (sole, seq - 1, said.when) for s in SIDES for p in pieces}
        before = {name: copy.copy(getattr(pair, name)) for name in _SNAPSHOT}
        before |= {"marks": dict(pair.marks), "stops": dict(pair.stops)}
        if sole is None or pair.setting() != sole:
            pair.stands = {}
        self._touch(pair, seq)
        pair.away, pair.out, pair.out_boot = "out", (seq, said.when), boot if isinstance(boot, str) else None
        pair.undo = (before, said.now, key(said.by), bool(said.more.get("set")), "out")

    def _do_set_binding(self, said: Said, seq: int, entries: list[Any]) -> None:
        pair, sole = self._touch(self.pairs[said.tag], seq), self.boots[said.more["boot"]].bsl
        assert sole is not None
        pieces = PIECES if pair.mounts else ("",)
        pair.stands = {(s, p): (sole, seq, said.when) for s in SIDES for p in pieces}

    def _do_back(self, said: Said, seq: int, entries: list[Any]) -> None:
        if boot := self.boots.get(said.tag):
            boot.where, boot.back = "shop", seq
            return
        pair = self.pairs[said.tag]
        before = {name: copy.copy(getattr(pair, name)) for name in _SNAPSHOT}
        before |= {"marks": dict(pair.marks), "stops": dict(pair.stops)}
        self._touch(pair, seq)
        if pair.away != "out":
            pair.stands = {}
        pair.away = ""
        self._mark(pair, "return", seq, said.when)
        pair.undo = (before, said.now, key(said.by), False, "back")

    def _do_undo(self, said: Said, seq: int, entries: list[Any]) -> None:
        pair = self.pairs[said.tag]
        before, _, _, was_set, _ = pair.undo or ({}, None, "", False, "")
        unfinished, bench = pair.marks.get("unfinished"), pair.stops.get("bench")
        for name, value in before.items():
            setattr(pair, name, value)
        pair.undo = None
        if was_set:
            pair.stands = {}
        if unfinished:
            pair.marks["unfinished"] = unfinished
        if bench:
            pair.stops["bench"] = bench

    def _do_later(self, said: Said, seq: int, entries: list[Any]) -> None:
        self._touch(self.pairs[said.tag], seq)

    def _do_move(self, said: Said, seq: int, entries: list[Any]) -> None:
        to, boot = said.more["to"], self.boots.get(said.tag)
        if boot:
            boot.where = to
            boot.back = seq if to == "shop" else boot.back
            return
        pair = self._touch(self.pairs[said.tag], seq)
        pair.away = "" if to == "shop" else to
        if to == "shop":
            pair.stands = {}
            self._mark(pair, "return", seq, said.when)

    def _do_look(self, said: Said, seq: int, entries: list[Any]) -> None:
        self._looked(self.pairs[said.tag], said, seq, said.more["found"])

    _do_recheck_record = _do_prep_sign = _do_look

    def _looked(self, pair: Pair, said: Said, seq: int, found: dict[str, str]) -> None:
        self._touch(pair, seq)
        if any(word not in ("not moved", "could not reach") for word in found.values()):
            self._mark(pair, "fault", seq, said.when)
            pair.stops["hold"] = seq
            pair.finders |= {key(said.by)}
        elif "could not reach" in found.values():
            self._mark(pair, "unfinished", seq, said.when)
        else:
            pair.passed, pair.pass_by = (seq, said.when), said.by
            pair.stops.pop("second", None)
            pair.workers = pair.clearers = frozenset()

    def _do_recheck_enter(self, said: Said, seq: int, entries: list[Any]) -> None:
        for number, what, body in entries:
            if what == "pair looked at":
                self._looked(self.pairs[body["tag"]], said, number, {"all": "not moved"})

    def _do_hold(self, said: Said, seq: int, entries: list[Any]) -> None:
        if boot := self.boots.get(said.tag):
            boot.hold = seq
            return
        self._held(self.pairs[said.tag], said, seq, said.more["cause"])

    def _held(self, pair: Pair, said: Said, seq: int, cause: str) -> None:
        self._touch(pair, seq)
        if cause == "accident":
            pair.stops["quarantine"] = seq
        elif cause in HEAD_CAUSES:
            pair.stops["bench"] = seq
        else:
            pair.stops["hold"] = seq
        if cause in SECOND_CAUSES:
            pair.finders |= {key(said.by)}
        if cause != "other":
            self._mark(pair, "fault", seq, said.when)

    def _do_quarantine(self, said: Said, seq: int, entries: list[Any]) -> None:
        self._held(self.pairs[said.tag], said, seq, "accident")

    def _do_ski_fault(self, said: Said, seq: int, entries: list[Any]) -> None:
        self._held(self.pairs[said.tag], said, seq, "crack")

    def _do_clear(self, said: Said, seq: int, entries: list[Any]) -> None:
        if boot := self.boots.get(said.tag):
            boot.hold = 0
            return
        pair = self._touch(self.pairs[said.tag], seq)
        if pair.stops.pop("quarantine", 0):
            return
        if pair.stops.pop("bench", 0):
            pair.causers = ()
        pair.stops.pop("hold", None)
        if pair.finders:
            pair.clearers |= {key(said.by)}
        pair.finders, pair.last_hand = frozenset(), key(said.by)

    def _do_repair_begin(self, said: Said, seq: int, entries: list[Any]) -> None:
        self._touch(self.pairs[said.tag], seq).stops["repair"] = seq

    def _do_repair_done(self, said: Said, seq: int, entries: list[Any]) -> None:
        pair = self.pairs[said.tag]
        for stop in ("repair", "hold"):
            pair.stops.pop(stop, None)
        pair.finders, pair.last_hand = frozenset(), key(said.by)
        known, touched = pair.stands, said.more["touched"]
        self._worked(pair, seq, said.when, said.by)
        whole = {side for side, piece in touched or () if (side, piece) not in known}
        for (side, piece), stand in known.items() if touched is not None else ():
            if side not in whole:
                pair.stands[side, piece] = None if (side, piece) in touched else stand
        self._glued(pair, said, seq, said.more["glue"])

    def _do_staff_add(self, said: Said, seq: int, entries: list[Any]) -> None:
        self.staff[key(said.more["name"])] = (said.more["role"], said.more["until"])

    def _do_staff_qualify(self, said: Said, seq: int, entries: list[Any]) -> None:
        where = (key(said.more["name"]), said.more["for"])
        self.qualified.setdefault(where, []).append((said.more["until"], said.days[0]))

    def _do_policy_set(self, said: Said, seq: int, entries: list[Any]) -> None:
        self.stated.append(said)
        self.policy[said.more["name"]] = said.more["value"]

    def _do_fit_take_back(self, said: Said, seq: int, entries: list[Any]) -> None:
        self.stated.append(said)
        self.fits.discard(said.more["fit"])

    def _do_kind(self, said: Said, seq: int, entries: list[Any]) -> None:
        self.kinds[said.more["thing"]] = said.more["kind"]

    def _do_pattern_model(self, said: Said, seq: int, entries: list[Any]) -> None:
        self.stated.append(said)
        if said.more.get("standard"):
            self.standards[said.more["model"]] = said.more["standard"]
        if said.more.get("since"):
            self.unsupported[said.more["model"]] = said.more["since"]

    def _do_recall_open(self, said: Said, seq: int, entries: list[Any]) -> None:
        self.recalls[said.more["name"]] = {**said.more, "open": True}

    def _do_recall_close(self, said: Said, seq: int, entries: list[Any]) -> None:
        self.recalls[said.more["name"]]["open"] = False

    def _do_sole(self, said: Said, seq: int, entries: list[Any]) -> None:
        self.stated.append(said)
        self.boots[said.tag].bsl = said.more["bsl"]

    def _do_release_test(self, said: Said, seq: int, entries: list[Any]) -> None:
        more = said.more
        if more["outcome"] == "failed":
            self.stated.append(said)
        self.tests.setdefault((said.tag, more["ski"], more["piece"]), []).append(
            (said.when, seq, more["outcome"], more["device"], said.by)
        )

    def _do_calibration(self, said: Said, seq: int, entries: list[Any]) -> None:
        self.calibrations.setdefault(said.more["device"], []).append((said.more["on"], said.more["until"]))

    def _do_correct(self, said: Said, seq: int, entries: list[Any]) -> None:
        tag, what = self.called(said.more["pair"]), said.more["thing"]
        if what == "binding":
            side, name, piece, value = said.more["binding"]
            if tag in self.pairs and name in self.pairs[tag].bindings[side]:
                self.pairs[tag].bindings[side][name].serials[piece] = value
        if what in ("binding", "hole") and tag in self.pairs:
            self._worked(self.pairs[tag], seq, said.now)

    def _do_withdraw(self, said: Said, seq: int, entries: list[Any]) -> None:
        what, body = said.more["kind"], said.more["body"]
        tag = self.called(
            body.get("on_pair") or body.get("tag") or str(body.get("hole_id", "")).split("/")[0]
        )
        if what == "boot recorded":
            self.boots.pop(tag, None)
        elif what == "fit declared":
            self.fits.discard((body["sole_type"], body["pattern"]))
        elif what == "pair recorded":
            self.pairs.pop(tag, None)
        elif tag in self.pairs and what != "mount stated":
            pair = self.pairs[tag]
            if what == "binding recorded":
                pair.bindings[body["on_ski"]].pop(body["binding_id"], None)
            if what == "mount recorded":
                pair.mounts = [m for m in pair.mounts if m.entry != said.more["entry"]]
            self._worked(pair, seq, said.now)

    def _do_survey(self, said: Said, seq: int, entries: list[Any]) -> None:
        pair = self.pairs[said.tag]
        for _, what, body in entries:
            if what == "area inspected":
                pair.stands = {at: one for at, one in pair.stands.items() if at[0] != body["side"]}

    def _do_batch(self, said: Said, seq: int, entries: list[Any]) -> None:
        for number, what, body in entries:
            if what == "holes recorded":
                self._worked(self.pairs[body["tag"]], number, said.now)

    def _do_note_took(self, said: Said, seq: int, entries: list[Any]) -> None:
        for number, what, body in entries:
            if what in ("pair held", "pair quarantined") and body["tag"] in self.pairs:
                cause = "accident" if what == "pair quarantined" else body.get("cause") or "other"
                self._held(self.pairs[body["tag"]], said, number, cause)

    def _do_sample_result(self, said: Said, seq: int, entries: list[Any]) -> None:
        tag, found = said.more["pair"], said.more["found"]
        pair = self.pairs[tag]
        place = pair.place
        if found == "II" and place not in ("hold", "quarantine"):
            self._held(pair, said, seq, "other")
        if found == "III" and place != "quarantine":
            self._held(pair, said, seq, "accident")

    def _do_order_issue(self, said: Said, seq: int, entries: list[Any]) -> None:
        for number, what, body in entries:
            name = f"{body['number']} {body['revision']}"
            if what == "order cancelled":
                self.orders.pop(name, None)
            elif what == "order issued":
                rung = body["way"]
                self.orders[name] = {
                    "tag": body["tag"],
                    "giver": body["giver"],
                    "issued": (number, said.when),
                    "takes_off": rung not in ("as it is", "adjust"),
                    "way": rung,
                }

    def _do_order_plugged(self, said: Said, seq: int, entries: list[Any]) -> None:
        for number, what, body in entries:
            if what == "order plugged":
                pair = self.pairs[body["tag"]]
                self._worked(pair, number, said.when)
                pair.workers |= {key(said.by)}
                pair.last_hand, pair.plugging = key(said.by), True
                if body["mount_removed_on"]:
                    pair.mounts = []
                self._glued(pair, said, number, [body["filled_with"]])

    def _do_order_done(self, said: Said, seq: int, entries: list[Any]) -> None:
        for number, what, body in entries:
            if what in ("order done", "order stopped"):
                self._benched(said, number, what, body)
            elif what == "ski fault found":
                self._held(self.pairs[body["tag"]], said, number, "crack")

    _do_order_stop = _do_order_done

    def _benched(self, said: Said, seq: int, what: str, body: dict[str, Any]) -> None:
        order = self.orders.pop(f"{body['number']} {body['revision']}")
        pair = self.pairs[body["tag"]]
        if body["mount_removed_on"]:
            pair.mounts = []
        for moved in body["bindings"]:
            self._move_binding(moved["binding_id"], moved["changes"])
        touched = body["new_holes"] or body["changed_holes"] or body["bindings"]
        unknown = "not known" in (body.get("drilled") or {}).values()
        as_it_was = what == "order stopped" and not touched and not unknown and body.get("stop") == ""
        if (
            as_it_was
        ):  # the ledger takes their word that no hand was at it: its pass stands, here and in a copy
            pair.undo = None
        else:
            self._touch(pair, seq)
        if what == "order done":
            if pair.plugging:
                pair.glue = frozenset()
            self._worked(pair, seq, said.when, said.by)
            pair.last_hand = key(said.by)
            mount = body["mount"]
            if mount:
                ends = _ends(mount)
                on = date.fromisoformat(mount["mounted_on"])
                pair.mounts.append(Mount(mount["pattern"], *ends, entry=seq, on=on))
                names = [slide["piece"] for slide in mount["slides"]] or [""]
                stand = (mount["bsl_um"], seq, said.when)
                pair.stands = {(s, p): stand for s in SIDES for p in names}
        elif touched or unknown:
            self._worked(pair, seq, said.when)
        elif body.get("stop") != "":
            pair.stands = {}
        self._glued(pair, said, seq, body["glued_with"])
        if body.get("stop"):
            pair.stops["bench"] = seq
            pair.causers += (key(said.by),)
        if body["giver"]:
            giver = self.pairs[body["giver"]["tag"]]
            if body["giver"]["mount_removed_on"]:
                giver.mounts = []
            self._worked(giver, seq, said.when)
        assert order

    def _move_binding(self, name: str, changes: dict[str, Any]) -> None:
        known = [
            side.pop(name) for p in self.pairs.values() for side in p.bindings.values() if name in side
        ] or [self.stock.pop(name)]
        tag, ski = changes["on_pair"][1], changes["on_ski"][1]
        (self.pairs[tag].bindings[ski] if tag else self.stock)[name] = known[0]

    stock: dict[str, Binding] = field(default_factory=dict)

    def _do_stock_in(self, said: Said, seq: int, entries: list[Any]) -> None:
        for _, what, body in entries:
            for name in body["binding_ids"] if what == "stock in" else ():
                self.stock[name] = Binding(
                    body["pattern"], body["model"], body["brake_um"], {"toe": "", "heel": ""}, body["season"]
                )

    def _do_singles_lost(self, said: Said, seq: int, entries: list[Any]) -> None:
        pair = self._touch(self.pairs[said.tag], seq)
        pair.away, pair.single = "retired", "B" if said.more["ski"] == "A" else "A"

    def _do_singles_join(self, said: Said, seq: int, entries: list[Any]) -> None:
        new = Pair(said.tag)
        self.pairs[said.tag] = new
        for waiting in self.waiting.pop(said.tag, []):
            self._carry(new, waiting, None, seq, said.now)
        for name in (said.more["a"], said.more["b"]):
            tag, side = name.split("/")
            old = self.pairs[tag]
            old.single = ""
            for each in list(old.bindings[side]):
                self._move_binding(each, {"on_pair": [tag, None], "on_ski": [side, None]})
                self._worked(old, seq, said.now)
            if any(old.stops.values()) or old.workers or old.glue:
                self._carry(new, old, None, seq, said.now, where=False)
        self._touch(new, seq)

    # another record of the same skis

    def _carry(
        self, new: Pair, theirs: Pair, ours: Pair | None, seq: int, at: datetime, *, where: bool = True
    ) -> None:
        """What stops a ski in one record stops it in the other; nothing else comes along."""
        known = ours.stops if ours else {}
        stops = {stop for stop, number in theirs.stops.items() if number and number != known.get(stop)}
        if "quarantine" in stops:
            new.stops["quarantine"] = seq
        if "bench" in stops:
            new.stops["bench"] = seq
        if stops - {"quarantine", "bench"}:
            new.stops["hold"] = seq
        new.stands = {}
        new.workers, new.finders = new.workers | theirs.workers, new.finders | theirs.finders
        new.clearers |= theirs.clearers
        new.last_hand = ""
        if theirs.glue:
            self._glue(new, Hour(seq, theirs.glued_at or at), theirs.glue)
        returned = False
        if (where and ours is not None) or (where and theirs.away):
            mine = (ours.away, ours.out, ours.marks.get("return")) if ours else ("", NEVER, None)
            if mine != (theirs.away, theirs.out, theirs.marks.get("return")):
                new.away = theirs.away
                if theirs.away == "out":
                    new.out, new.out_boot = (seq, theirs.out[1] or at), theirs.out_boot
                came = theirs.marks.get("return", NEVER)
                if came[0] and (ours is None or came != ours.marks.get("return")):
                    self._mark(new, "return", seq, came[1])
                    returned = True
        if not new.away and not returned:
            self._mark(new, "work", seq, at)
        self._touch(new, seq)

    def restored(
        self, saved: Model, seq: int, now: datetime, *, complete: bool, worked_on: frozenset[str]
    ) -> Model:
        """The model of the ledger after that copy was put in its place.

        ``worked_on``: pairs that are not as they were, since hands were at their holes.
        """
        new, saved = copy.deepcopy(saved), copy.deepcopy(saved)
        for old, to in self.renamed[len(saved.renamed) if complete else 0 :]:
            if old in new.pairs and to not in new.pairs:
                new.call(old, to)
                saved.call(old, to)
                new.renamed.append((old, to))
        new.versions = max(self.versions, new.versions) + 1000
        for pair in new.pairs.values():
            pair.since = NEVER
        for tag, pair in list(new.pairs.items()):
            ours, theirs = saved.pairs[tag], self.pairs.get(tag)
            order = self.order_of(tag) if tag in self.pairs else ""
            if not complete:
                pair.stands = {}
                if pair.passed[0]:
                    new._worked(pair, seq, now)
                pair.undo = None
            if theirs is None:
                if complete:
                    new._mark(new._touch(pair, seq), "work", seq, now)
                    pair.stands = {}
                continue
            anew = order and order not in saved.orders
            worked = complete and tag in worked_on
            if anew or worked or not theirs.same_as(ours):
                new._carry(pair, theirs, ours, seq, now)
                if anew or worked:
                    pair.stops["hold"] = seq
        for tag, theirs in self.pairs.items():
            hands = theirs.workers | theirs.finders | theirs.clearers
            if tag not in new.pairs and (any(theirs.stops.values()) or theirs.away or theirs.glue or hands):
                new.waiting.setdefault(tag, []).append(copy.deepcopy(theirs))
        if complete:  # what was stated since is as true as before, and is entered again
            new.staff = dict(self.staff)
            for said in self.stated[len(saved.stated) :]:
                if not said.tag or said.tag in new.pairs or said.tag in new.boots:
                    new.take(said, seq, [])
        for name, recall in self.recalls.items():
            if recall["open"] and name not in new.recalls:
                new.recalls[name] = dict(recall)
        for tag, boot in self.boots.items():
            mine = new.boots.get(tag)
            if mine is not None and boot.hold and boot.hold != mine.hold:
                mine.hold = seq
            if mine is not None and boot.where != "shop" and boot.where != mine.where:
                mine.where = boot.where
        return new

    def imported(self, seq: int, now: datetime, *, cured_by: datetime) -> Model:
        """The model of a new ledger that an export of this one was taken into: stops come, no pass does.

        A mount of a day to come, which a clock that ran ahead leaves behind, is asked about and stays out.

        ``cured_by``: glue that had not cured then goes along. The clock, or the newest moment at which a pair
        came to its place, whichever is earlier: a clock that ran ahead in between cures nothing.
        """
        new = Model(first=now, staff=dict(self.staff), fits=set(self.fits), versions=self.versions + 1)
        for tag, pair in self.pairs.items():
            made = Pair(tag, bindings=copy.deepcopy(pair.bindings), mounts=[])
            made.mounts = [copy.copy(mount) for mount in pair.mounts if mount.on <= now.date()]
            made.marks["work"] = (seq, now)
            for stop, number in pair.stops.items():
                if number:
                    made.stops[stop if stop in ("quarantine", "bench") else "hold"] = seq
            on = [b for side in SIDES for b in pair.bindings[side].values()]
            if self.order_of(tag) or any(r["open"] and _reaches(r, on) for r in self.recalls.values()):
                made.stops["hold"] = seq
            made.workers, made.finders, made.clearers = pair.workers, pair.finders, pair.clearers
            if self.uncured(pair, cured_by):
                made.glue, made.hours = pair.glue, [Hour(seq, pair.glued_at or now)]
            made.away = pair.away
            made.out = (seq, now) if pair.away == "out" else NEVER
            new.pairs[tag] = made
        new.stock = copy.deepcopy(self.stock)
        for tag, boot in self.boots.items():
            made_boot = copy.deepcopy(boot)
            made_boot.back, made_boot.hold = 0, seq if boot.hold else 0
            new.boots[tag] = made_boot
        return new


def _free(said: Said) -> None:
    return None


def _ends(mount: dict[str, Any]) -> tuple[int, int]:
    """Where toe and heel of a sole are held with nothing slid."""
    toe = mount["offset_um"] + mount["bsl_um"] // 2
    held = {slide["piece"]: slide["reference_um"] for slide in mount["slides"]}
    return held.get("toe", toe), held.get("heel", toe - mount["bsl_um"])


def _reaches(recall: dict[str, Any], bindings: list[Binding]) -> bool:
    """Whether it reaches a binding, or may: what nobody can read counts as reached."""
    for binding in bindings:
        if recall["pattern"] and binding.pattern != recall["pattern"]:
            continue
        if recall["season"] and binding.season and binding.season != recall["season"]:
            continue
        if not recall["from"]:
            return True
        for piece in PIECES:
            serial = binding.serials[piece]
            if recall["piece"] in ("", piece):
                if not serial.isdigit() or int(recall["from"]) <= int(serial) <= int(recall["to"]):
                    return True
    return False


def _foreseen(standard: str, sole: str) -> bool:
    """Of the two standards and the two soles of the invented shop."""
    return (standard, sole) != ("ISO 9462", "touring")
