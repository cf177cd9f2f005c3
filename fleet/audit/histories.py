"""Histories that cannot have happened as entered. The file is sound; a person should look at the entries.

Each entry is looked at with the state *before* it, rebuilt from the entries alone. The rules for going
out are told again here in their own few words, on purpose: they share nothing with `fleet.rules.clearance`,
so that a hole in the one is seen by the other. Nor do the door's gates (`GatesAgain`) share anything with
`fleet.rules.gates`. A later ``entry remarked`` or ``entry withdrawn`` about
the same entry turns its question into a note; where the doubt is about a signature, only one by another
person of the staff list does.

`Rights` keeps to whom each right of the staff list was given, by whom and when.
"""

import json
import sqlite3
from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from itertools import combinations
from typing import Final

import msgspec

from fleet.base.days import day_text, shop_day, stored_day_text
from fleet.base.entries import Entry, name_key, parse_utc, utc_text
from fleet.base.kept_names import NamesSaid
from fleet.base.units import mm_text
from fleet.checks.findings import AuditFinding, AuditSeverity, note, question
from fleet.facts.policy import default_policy
from fleet.facts.standing import Place, setting_from
from fleet.tables.held_state import read_standing_row

_BEFORE_ALL: Final = -(2**63)
"""A damaged file has numbers below 1."""


class Rights(msgspec.Struct):
    """The rights that the entries up to ``seq`` give, so that an audit can go on from there another day.

    given: a line for each entry that lists a person anew, in another role, or for longer
    held: role and last day of each person so far
    """

    seq: int = _BEFORE_ALL
    given: list[str] = []
    held: dict[str, tuple[str, str]] = {}

    def read(self, connection: sqlite3.Connection) -> None:
        """Take in the entries since then."""
        (newest,) = connection.execute("SELECT coalesce(max(seq), 0) FROM entries").fetchone()
        names = NamesSaid(connection)
        for seq, at, zone, by, text in connection.execute(
            "SELECT seq, recorded_at_utc, zone, by, body FROM entries"
            " WHERE what = 'staff listed' AND seq > ? AND seq <= ? ORDER BY seq",
            (self.seq, newest),
        ):
            try:
                body = names.body(text)
                name, role, until, second = (
                    body["name"], body["role"], body["valid_until"], body.get("second")
                )  # fmt: skip
                key, day = name_key(name), day_text(shop_day(at, zone))
            except (ValueError, KeyError, TypeError, AttributeError):  # damage has a finding of its own
                continue
            old = self.held.get(key)
            self.held[key] = (role, until)
            if old is None or old[0] != role or until > old[1]:
                by = names.of(by)
                signers = f"{by} and {second}" if second else by
                self.given.append(
                    f"{name}: {role} until {stored_day_text(until)}, by {signers}, {day} (entry {seq})"
                )
        self.seq = newest


_SLACK: Final = timedelta(minutes=2)
_CURE: Final = "look at it, enter what is true, and `mountbook remark {} --why ...` says what happened"
_SIGNED: Final = {
    "pair looked at": ("technician", "head technician", "manager"),
    "binding set": ("counter", "technician", "head technician", "manager"),
    "hold cleared": ("technician", "head technician", "manager"),
    "quarantine cleared": ("manager",),
}
"""Entries that only people of these roles sign (DESIGN: only the listed sign)."""
_OF_A_PAIR: Final = ("pair ", "repair ", "order ", "scan ", "hold ", "stop ", "ski fault ")
"""Beginnings of the kinds that `_Seen` follows."""
_SIGNERS: Final = ("technician", "head technician", "manager")
_OF_A_SIGNATURE: Final = (
    *("not on the staff list", "wrong role", "out of date", "passed by the repairer"),
    "listed in need",
)
"""Questions about who signed: nobody answers them for herself."""
_ANOTHER: Final = (
    "another person of the staff list looks at it, enters what is true, and `mountbook remark {} --why ..."
    " --by NAME` says what happened"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Answer:
    """A remark about an older entry, or its withdrawal. ``signs``: the roles that may sign it."""

    seq: int
    who: str
    signs: bool


class _Seen(msgspec.Struct):
    """One pair by its entries: newest pass, newest return or work, True if it is out, and whose hand was the
    newest at it. ``faulty``: something was found at it that nobody has passed since.
    """

    out: bool = False
    passed: tuple[int, str] = (0, "")
    disturbed: tuple[int, str] = (0, "")
    worked_by: frozenset[str] = frozenset()
    newest_hand: str = ""
    faulty: bool = False

    def take(self, entry: Entry) -> None:
        """Apply the entry's effect on the pair, written here in a few independent words."""
        disturbed = (entry.seq, max(self.disturbed[1], entry.stated_at_utc))
        match entry.what:
            case "pair out":
                self.out = True
            case "pair back":
                self.out, self.disturbed = False, disturbed
            case "pair looked at" if entry.body["outcome"] == "pass":
                self.passed, self.worked_by = (entry.seq, entry.stated_at_utc), frozenset()
                self.faulty = False
            case "repair done" | "order plugged" | "order done":
                self.disturbed, self.worked_by = disturbed, self.worked_by | {name_key(entry.by)}
                self.newest_hand = name_key(entry.by)
            case "hold cleared" | "stop ended":
                self.newest_hand = name_key(entry.by)
            case "pair quarantined" | "pair looked at":
                self.disturbed, self.faulty = disturbed, True
            case "pair held" | "ski fault found":
                self.faulty = self.faulty or entry.what == "ski fault found" or "road" in entry.body
            case "pair moved":
                self.out = False
            case "pair carried over":
                where = entry.body.get("where") or {"whereabouts": "out" if self.out else ""}
                away = where["whereabouts"] not in ("", "shop")  # it comes back by an entry of its own
                at = where.get("return_at") or ("" if away else entry.stated_at_utc)
                self.disturbed, self.newest_hand = (entry.seq, max(self.disturbed[1], at)), ""
                self.out = where["whereabouts"] == "out"


@dataclass(slots=True, kw_only=True)
class _Memory:
    """All that is remembered from one entry to the next, so that an audit can go on another day."""

    found: list[AuditFinding] = field(default_factory=list)
    answers: dict[int, list[_Answer]] = field(default_factory=dict)
    signed_by: dict[int, list[str]] = field(default_factory=dict)
    previous: str = ""
    pairs: dict[str, _Seen] = field(default_factory=dict)
    before_scan: dict[str, _Seen] = field(default_factory=dict)
    rights: Rights = field(default_factory=Rights)


class Histories:
    """The rules, given one entry after another."""

    def __init__(self, state: sqlite3.Connection, *, now: datetime, remembered: bytes | None = None) -> None:
        self._state = state
        self._now = utc_text(now + _SLACK)
        self._seen = msgspec.json.decode(remembered, type=_Memory) if remembered else _Memory()
        self._people: dict[str, tuple[str, str]] | None = None
        self._gates = GatesAgain(state)

    @property
    def rights(self) -> Rights:
        """The rights given, as far as an audit before this one read them."""
        return self._seen.rights

    def remembered(self) -> bytes:
        """Return what the next audit needs to go on from here, as JSON."""
        return msgspec.json.encode(self._seen)

    def before(self, entry: Entry) -> None:
        """Check an entry against the state of the entry before it."""
        self._seen.found += self._clock(entry)
        self._seen.found += self._signature(entry)
        self._seen.found += self._in_need(entry)
        if entry.what == "ledger restored" and entry.body.get("passes") == "void":
            for seen in self._seen.pairs.values():
                seen.disturbed = (entry.seq, max(seen.disturbed[1], entry.stated_at_utc))
        if entry.what == "pair renamed":
            for seen_by_tag in (self._seen.pairs, self._seen.before_scan):
                if entry.body["tag"] in seen_by_tag:
                    seen_by_tag[entry.body["to"]] = seen_by_tag.pop(entry.body["tag"])
        if entry.what == "clock mended":
            self._clock_mended(entry)
        if entry.what in ("entry remarked", "entry withdrawn"):
            self._seen.answers.setdefault(entry.body["entry"], []).append(self._answer(entry))
        if entry.what.startswith(_OF_A_PAIR) and "tag" in entry.body:
            self._seen.found += self._door(entry)
        if not entry.what.startswith(_OF_A_PAIR):
            self._people = None  # the state after it may list others
        self._gates.follow(entry)

    def found(self, *, whole: bool) -> list[AuditFinding]:
        """Return all questions and notes; ``whole``: the state is that of the last entry, so it is checked
        too.
        """
        standing = list(self._of_the_state()) if whole else []
        return [self._softened(finding) for finding in (*self._seen.found, *standing)]

    def _softened(self, finding: AuditFinding) -> AuditFinding:
        answers = self._seen.answers.get(finding.entry or 0, [])
        if not answers or finding.severity is not AuditSeverity.QUESTION:
            return finding
        newest = answers[-1].seq
        if finding.code in _OF_A_SIGNATURE:
            signers = self._seen.signed_by[finding.entry or 0]
            answers = [answer for answer in answers if answer.signs and answer.who not in signers]
        if not answers:
            said = f"{finding.sentence} (entry {newest} is no answer: not by another who may sign)"
            return replace(finding, sentence=said)
        said = f"{finding.sentence} (see entry {answers[-1].seq})"
        return replace(finding, severity=AuditSeverity.NOTE, sentence=said, cure="")

    def _answer(self, entry: Entry) -> _Answer:
        role, until = self._staff().get(name_key(entry.by), ("", ""))
        signs = role in _SIGNERS and shop_day(entry.recorded_at_utc, entry.zone) <= date.fromisoformat(until)
        return _Answer(seq=entry.seq, who=name_key(entry.by), signs=signs)

    def _staff(self) -> dict[str, tuple[str, str]]:
        """Return role and last day of each person, by the key of the name, in the state before the entry.

        They are read again after each entry that is not of a pair.
        """
        if self._people is None:
            rows = self._state.execute("SELECT name, role, valid_until FROM staff ORDER BY entry")
            self._people = {name_key(name): (role, until) for name, role, until in rows}
        return self._people

    def _clock(self, entry: Entry) -> Iterator[AuditFinding]:
        """Report each time a clock went back, and each run of entries whose time is still to come, once."""
        written, before = entry.recorded_at_utc, self._seen.previous
        self._seen.previous = written
        if before and written < before and parse_utc(before) - parse_utc(written) > _SLACK:
            found = note(
                "clock set back",
                f"entry {entry.seq} was written at {written}, by a clock that had shown {before} before",
                entry=entry.seq,
                cure="set the machine's clock by the network; entry numbers keep the true order",
            )
            yield replace(found, day=shop_day(written, entry.zone).isoformat())
        if written > self._now and not before > self._now:
            yield question(
                "written in the future",
                f"entry {entry.seq} was written at {written}, which has not come yet",
                entry=entry.seq,
                cure="set the machines' clocks by the network",
            )
        if entry.stated_at_utc > written and (parse_utc(entry.stated_at_utc) - parse_utc(written) > _SLACK):
            yield self._ask(entry, "stated in the future", "is stated to have happened after it was written")

    def _clock_mended(self, entry: Entry) -> None:
        """The run's times are answered for, and each pair's newest times are those that the entry says."""
        for seq in range(entry.body["first"], entry.body["last"] + 1):
            self._seen.answers.setdefault(seq, []).append(self._answer(entry))
        for times in entry.body["pairs"]:
            seen = self._seen.pairs.setdefault(times["tag"], _Seen())
            seen.passed = (seen.passed[0], times["pass_at"])
            newest = max(times[f"{what}_at"] for what in ("return", "work", "fault", "unfinished"))
            seen.disturbed = (seen.disturbed[0], newest)

    def _signature(self, entry: Entry) -> Iterator[AuditFinding]:
        roles = _SIGNED.get(entry.what)
        if roles is None:
            return
        row = self._staff().get(name_key(entry.by))
        if row is None:
            yield self._ask(
                entry, "not on the staff list", f"is signed by {entry.by}, who is not on the staff list"
            )
        elif row[0] not in roles:
            yield self._ask(entry, "wrong role", f"is signed by {entry.by}, {row[0]}, who may not sign that")
        elif shop_day(entry.stated_at_utc, entry.zone) > date.fromisoformat(row[1]):
            yield self._ask(entry, "out of date", f"is signed by {entry.by}, whose listing ended on {row[1]}")

    def _in_need(self, entry: Entry) -> Iterator[AuditFinding]:
        """Ask about a right that was given while nobody who gives one was in date."""
        second = entry.body.get("second") if entry.what == "staff listed" else None
        if second is not None:
            first = entry.body.get("first", entry.by)
            by = f"{first} and {second}" if second else first
            person = f"{entry.body['name']} as {entry.body['role']} by {by}"
            words = f"lists {person}, while no manager or head technician was in date"
            yield self._ask(entry, "listed in need", words)

    def _door(self, entry: Entry) -> Iterator[AuditFinding]:
        tag = entry.body["tag"]
        seen = self._seen.pairs.setdefault(tag, _Seen())
        if entry.what in ("pair out", "pair back"):
            self._seen.before_scan[tag] = copy(seen)
        if entry.what == "pair out":
            yield from self._out(entry, tag, seen)
        elif entry.what == "pair back" and not seen.out:
            yield self._ask(entry, "back without out", f"takes back {tag}, which was not out")
        elif (
            entry.what == "pair looked at"
            and entry.body["outcome"] == "pass"
            and name_key(entry.by) in seen.worked_by
            and not self._nobody_else_looks(entry, tag, seen)
        ):
            yield self._ask(entry, "passed by the repairer", f"passes {tag} by {entry.by}, who worked on it")
        elif entry.what == "scan undone" and tag in self._seen.before_scan:
            self._seen.pairs[tag] = self._seen.before_scan.pop(tag)
            return
        seen.take(entry)

    def _nobody_else_looks(self, entry: Entry, tag: str, seen: _Seen) -> bool:
        """Return whether one who worked on it may pass it: everybody in date had a hand in it.

        Of two the one whose hand was not the newest; one alone by the dated policy, where nothing was found.
        """
        days = {shop_day(at, entry.zone).isoformat() for at in (entry.stated_at_utc, entry.recorded_at_utc)}
        able = {
            name for name, (role, until) in self._staff().items() if role in _SIGNERS and until >= max(days)
        }
        stood = read_standing_row(self._state, tag)
        hands = (stood["workers"], stood["cleared_by"]) if stood else ()
        if able - {name_key(name) for names in hands for name in json.loads(names)}:
            return False
        if len(able) > 1:
            return seen.newest_hand not in ("", name_key(entry.by))
        row = self._state.execute(
            "SELECT value, since FROM policy WHERE name = 'one_person_passes'"
        ).fetchone()
        dated = (
            row is not None
            and row[0] == "yes"
            and row[1] <= shop_day(entry.stated_at_utc, entry.zone).isoformat()
        )
        return dated and not seen.faulty

    def _out(self, entry: Entry, tag: str, seen: _Seen) -> Iterator[AuditFinding]:
        stood = read_standing_row(self._state, tag)
        place = stood["place"] if stood else None
        yield from self._setting(entry, tag, stood["stands"] if stood else "{}")
        for code, words in self._gates.passed_by(entry):
            yield self._ask(entry, code, words)
        if seen.out:
            yield self._ask(entry, "out twice", f"takes out {tag}, which was out already")
        elif not (seen.passed[0] > seen.disturbed[0] and seen.passed[1] > seen.disturbed[1]):
            yield self._ask(
                entry, "out without a pass", f"takes out {tag} without a pass after its newest return or work"
            )
        elif place != Place.READY:
            yield self._ask(entry, "out from nowhere", f"takes out {tag} while it is {place}")

    def _setting(self, entry: Entry, tag: str, stands: str) -> Iterator[AuditFinding]:
        """Check the sole that went out. Bodies of layout 2 do not name it."""
        sole = entry.body.get("sole_um")
        stood = setting_from(stands).bsl_um
        if sole is not None and stood != sole:
            stands = "nobody knows what" if stood is None else f"{mm_text(stood)} mm is what"
            yield self._ask(
                entry,
                "out with another sole",
                f"takes out {tag} with a sole of {mm_text(sole)} mm, and {stands} its binding was set for",
            )

    def _of_the_state(self) -> Iterator[AuditFinding]:
        """Report facts of the final state that cannot be true, whoever entered them."""
        for code, sentence, query in _STANDING_RULES:
            for entry, *facts in self._state.execute(query):
                yield question(code, sentence.format(*facts), entry=entry, cure=_CURE.format(entry))

    def _ask(self, entry: Entry, code: str, sentence: str) -> AuditFinding:
        cure = _CURE
        if code in _OF_A_SIGNATURE:
            body = entry.body if code == "listed in need" else {}
            names = (body.get("first", entry.by), body.get("second", ""), body.get("name", ""))
            self._seen.signed_by[entry.seq], cure = sorted(set(map(name_key, names))), _ANOTHER
        return replace(
            question(code, f"entry {entry.seq} {sentence}", entry=entry.seq, cure=cure.format(entry.seq)),
            day=shop_day(entry.recorded_at_utc, entry.zone).isoformat(),
        )


_STANDING_RULES: Final = (
    (
        "two bindings on a ski",
        "ski {1} of {0} carries {2} bindings",
        "SELECT max(entry), on_pair, on_ski, count(*) FROM binding WHERE on_pair IS NOT NULL"
        " GROUP BY on_pair, on_ski HAVING count(*) > 1",
    ),
    (
        "binding on no pair",
        "binding {0} is on {1}, which is no pair of this ledger",
        "SELECT entry, binding_id, on_pair FROM binding"
        " WHERE on_pair IS NOT NULL AND on_pair NOT IN (SELECT tag FROM pair)",
    ),
    (
        "two mounts at once",
        "{0} has {1} mounts that were never removed",
        "SELECT max(entry), tag, count(*) FROM mount WHERE removed_on IS NULL"
        " GROUP BY tag HAVING count(*) > 1",
    ),
    (
        "removed before mounted",
        "a mount of {0} was removed on {2}, before it was mounted on {1}",
        "SELECT entry, tag, mounted_on, removed_on FROM mount"
        " WHERE removed_on < mounted_on AND removed_on <> '' AND mounted_on <> ''",
    ),
    (
        "one hole twice",
        "ski {1} of {0} has {2} holes in one and the same place",
        "SELECT max(entry), tag, side, count(*) FROM hole GROUP BY tag, side, x_um, y_um HAVING count(*) > 1",
    ),
    (
        "hole beside the ski",
        "hole {1} of {0} lies further from the mark than the ski is long",
        "SELECT hole.entry, hole.tag, hole_id FROM hole JOIN pair USING (tag)"
        " WHERE abs(x_um) > length_mm * 1000",
    ),
    (
        "two orders at once",
        "{0} has {1} open work orders",
        "SELECT max(issued_entry), tag, count(*) FROM work_order WHERE state = 'open'"
        " GROUP BY tag HAVING count(*) > 1",
    ),
)


_SCANS: Final = frozenset({"pair out", "pair back", "pair looked at", "scan undone"})
"""Entries that change no rule, kind, pattern or mount."""
_OF_THE_PAIR: Final = (
    "SELECT kind FROM pair WHERE tag = ?1"
    " UNION SELECT body ->> 'kind' FROM pattern JOIN mount ON pattern = name"
    " WHERE tag = ?1 AND removed_on IS NULL"
    " UNION SELECT model_kind.kind FROM model_kind JOIN pattern ON binding_model = model"
    " JOIN mount ON pattern = name WHERE thing = 'binding' AND tag = ?1 AND removed_on IS NULL"
)
_OF_THE_MODEL: Final = "SELECT kind FROM model_kind WHERE thing = 'boot' AND model = ?"


class GatesAgain:
    """The gates, each entry in turn. Rules and kinds are read again after each entry that may change one."""

    def __init__(self, state: sqlite3.Connection) -> None:
        self._state = state
        self._rules: dict[str, str] = {}
        self._kinds: dict[tuple[str, str], frozenset[str | None]] = {}

    def passed_by(self, entry: Entry) -> Iterator[tuple[str, str]]:
        """Yield a code and words for each gate that a `pair out` passed by, as the state was before it."""
        body = entry.body
        tag, boot, own = body["tag"], body["boot"], body.get("own_boot")
        if own is not None and not own.strip():
            words = f"takes out {tag} with a customer's own boot whose sole type nobody said"
            yield "own boot without a sole type", words
        # Bodies of layout 2 have no sole: there was no such rule then.
        if boot is None and own is None and "sole_um" in body and self._rule("out_without_boot") != "yes":
            yield "out without a boot", f"takes out {tag} without a boot, and out_without_boot is no"
        if boot is not None:
            yield from self._boot(tag, boot)
        yield from self._tests(entry)

    def follow(self, entry: Entry) -> None:
        """Forget what an entry may have changed."""
        if entry.what not in _SCANS:
            self._rules.clear()
            self._kinds.clear()

    def _rule(self, name: str) -> str:
        if name not in self._rules:
            row = self._state.execute("SELECT value FROM policy WHERE name = ?", (name,)).fetchone()
            self._rules[name] = str(row[0] if row else default_policy().word(name)).strip().lower()
        return self._rules[name]

    def _found(self, query: str, name: str) -> frozenset[str | None]:
        key = (query, name)
        if key not in self._kinds:
            self._kinds[key] = frozenset(kind for (kind,) in self._state.execute(query, (name,)))
        return self._kinds[key]

    def _boot(self, tag: str, boot: str) -> Iterator[tuple[str, str]]:
        row = self._state.execute(
            "SELECT whereabouts, hold_entry, kind, model FROM boot WHERE tag = ?", (boot,)
        ).fetchone()
        if row is None:
            return
        whereabouts, hold, kind, model = row
        was = "on hold" if hold else whereabouts if whereabouts not in ("shop", Place.OUT.value) else ""
        if was:
            yield "out with a stopped boot", f"takes out {tag} with boot {boot}, which was {was}"
        kinds = {kind} | self._found(_OF_THE_PAIR, tag) | self._found(_OF_THE_MODEL, model)
        stated = sorted(each for each in kinds if each)
        if len(stated) < 2:
            return
        meet = [sorted(pair.strip().split("+")) for pair in self._rule("kinds_may_meet").split(",")]
        if any(list(pair) not in meet for pair in combinations(stated, 2)):
            kinds_said = ", ".join(stated)
            words = f"takes out {tag} with boot {boot}: their kinds differ and may not meet: {kinds_said}"
            yield "out with another kind", words

    def _tests(self, entry: Entry) -> Iterator[tuple[str, str]]:
        tag = entry.body["tag"]
        row = self._state.execute("SELECT kind FROM pair WHERE tag = ?", (tag,)).fetchone()
        added = dict(pair.strip().split("=") for pair in self._rule("kinds").split(",") if "=" in pair)
        gate = f"gate_release_test_{added.get(row[0], row[0]).strip()}" if row else ""
        if not gate or self._rule(gate) in ("", "no"):
            return
        stood = read_standing_row(self._state, tag) or {"work_entry": 0, "work_at": "", "stands": "{}"}
        since = [(stood["work_entry"], stood["work_at"])] * ("work" in self._rule(gate))
        set_at = setting_from(stood["stands"]).when
        if "setting" in self._rule(gate) and set_at.entry != entry.body.get("set_entry"):
            since.append((set_at.entry, set_at.at))
        pieces = {
            name
            for (name,) in self._state.execute(
                "SELECT piece.value ->> 'name' FROM mount JOIN pattern ON pattern = name,"
                " json_each(body, '$.pieces') AS piece WHERE tag = ? AND removed_on IS NULL",
                (tag,),
            )
        } & {"toe", "heel"} or {"toe", "heel"}
        newest = {
            (side, piece): (seq, at, outcome)
            for side, piece, seq, at, outcome in self._state.execute(
                "SELECT side, piece, entry, at, outcome FROM release_test WHERE tag = ? ORDER BY at, entry",
                (tag,),
            )
        }
        missing = []
        for side, piece in sorted((side, piece) for side in "AB" for piece in pieces):
            seq, at, outcome = newest.get((side, piece), (0, "", "failed"))
            if outcome == "failed" or any(seq <= then or at <= when for then, when in since):
                missing.append(f"ski {side} {piece}")
        if missing:
            words = f"takes out {tag} and no release test of {', '.join(missing)} counts, as {gate} asks"
            yield "out without a release test", words
