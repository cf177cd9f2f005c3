"""The rule for going out: every reason against a pair at once, in words. No switch turns one off.

The next step for a pair that may not go out: one step in words, with its command.
"""

import json
import sqlite3
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import islice
from typing import Final

from fleet.base.days import time_text
from fleet.base.entries import utc_text
from fleet.base.errors import RECORD_FAULTS, BadInput, Refused, or_bad_input
from fleet.base.grouping import grouped
from fleet.base.units import mm_text
from fleet.facts.boots import Boot
from fleet.facts.columns import facts_from_row
from fleet.facts.fault_causes import road_words
from fleet.facts.gates import asked_for, sole_standard
from fleet.facts.holes import Mount, MountFacts, PieceSlide, Side
from fleet.facts.kinds import Kind
from fleet.facts.pairs import Binding, brake_text
from fleet.facts.patterns import Pattern
from fleet.facts.policy import Policy
from fleet.facts.recalls import Reach, Recall, read_recalls
from fleet.facts.standing import (
    BindingSetting,
    Place,
    Standing,
    pieces_text,
    read_standing,
    read_standings,
    setting_from,
)
from fleet.rules.boots import read_boot, reasons_against_boot
from fleet.rules.fitting import FitAnswer, boot_fits
from fleet.rules.gates import Gates, Stop
from fleet.tables.connection import AMONG, among
from fleet.tables.snapshot import read_bindings, read_fits, read_patterns, read_policy, rows_by_name

_ENOUGH_INSTEAD = 5
OWN_BOOT: Final = "of the customer"
_TEST_AFTER: Final = "the shop's rule asks for a release test after its binding was set"
_SET_AND_TEST: Final = "mountbook set-binding {0} --boot TAG --by NAME, then mountbook release-test {0}"
_SET_IT: Final = "set it, boot in, and type the same with --set"
_MOUNT_UNKNOWN: Final = (
    "measure how it is mounted and bring it in with a sheet of mounts: mountbook import SHEET;"
    " what an import left open: mountbook import open"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """The facts about one pair at the door.

    ``doubled``: the bindings of each ski with more than one on record; nobody knows which of them is on.
    ``also_on``: older mounts that nobody entered as removed; nobody knows which mount is on.
    """

    standing: Standing
    kind: Kind
    length_mm: int
    bindings: Mapping[Side, Binding]
    doubled: Mapping[Side, tuple[str, ...]]
    mount: Mount | None
    also_on: tuple[Mount, ...]
    pattern: Pattern | None
    open_order: str | None


def reasons_against(
    case: Case, *, at: datetime, zone: str, policy: Policy, recalls: Collection[Recall]
) -> tuple[str, ...]:
    """Return every reason why the pair may not go out at that moment; () means it may."""
    standing = case.standing
    reasons: list[str] = []
    if standing.place not in (Place.READY, Place.BACK):
        why = standing.hold_why if standing.place is Place.HOLD else ""
        why = standing.quarantine_why if standing.place is Place.QUARANTINE else why
        reasons.append(f"it is {standing.place.words}{f': {why}' if why else ''}")
    if standing.hold_entry and standing.place is not Place.HOLD:
        reasons.append(f"it is to be held: {standing.hold_why}")
    reasons += _pass_reasons(standing, at=at, zone=zone)
    if case.open_order:
        reasons.append(f"work order {case.open_order} is open")
    reasons += cure_reasons(standing, at=at, zone=zone, policy=policy)
    for side in Side:
        if side not in case.bindings:
            reasons.append(f"no binding is on record on ski {side.value}")
    for side, ids in case.doubled.items():
        reasons.append(f"several bindings are on record on ski {side.value}: {', '.join(ids)}")
    if case.mount is not None and case.also_on:
        mounts = (*case.also_on, case.mount)
        each = ", ".join(f"{m.pattern} for {mm_text(m.bsl_um)} mm of entry {m.entry}" for m in mounts)
        reasons.append(f"{len(mounts)} mounts are on it in the ledger: {each}; withdraw what is not on")
    if len({binding.pattern for binding in case.bindings.values()}) > 1:
        reasons.append("its two skis carry different bindings")
    if len({binding.brake_to_plan for binding in case.bindings.values()}) > 1:
        brakes = ", ".join(
            f"ski {side.value} {brake_text(on.brake_um, lead='')}" for side, on in case.bindings.items()
        )
        reasons.append(f"its two skis carry different brakes: {brakes}")
    for recall in recalls:
        reasons += _recall_reasons(recall, case.bindings)
    return tuple(reasons)


def _pass_reasons(standing: Standing, *, at: datetime, zone: str) -> list[str]:
    passed = standing.passed
    if not passed.entry:
        return ["no pass is on record"]
    if passed.at > utc_text(at):
        return [f"its pass is of {time_text(passed.at, zone)}, after the time of going out"]
    reasons = []
    for event, words in (
        (standing.returned, "it came back"),
        (standing.work, f"{standing.work_what or 'work'} was entered"),
        (standing.fault, "a fault was found"),
        (standing.unfinished, f"a look could not reach {pieces_text(standing.unreached)}"),
    ):
        if event.entry and not passed.is_later_than(event):
            reasons.append(f"{words} {time_text(event.at, zone)} and nobody has passed it since")
    return reasons


def cure_reasons(standing: Standing, *, at: datetime, zone: str, policy: Policy) -> list[str]:
    """Return the reasons, in words, why glue or filler has not cured at that time; [] if it has."""
    reasons = []
    for adhesive in standing.glued_with:
        hours = policy.cure_hours(adhesive)
        words = adhesive.replace("_", " ")
        cured = cured_after(standing.glued_at, hours)
        if hours is None:
            reasons.append(
                f"the cure time of its {words} is not set, so it counts as not cured"
                f" (mountbook policy set cure_{adhesive}_hours)"
            )
        elif cured is None:
            reasons.append(
                f"when its {words} was used is not known, so it counts as not cured: hold it, look at"
                f" its holes, glue anew (mountbook repair done {standing.tag} --glue {adhesive})"
            )
        elif cured > at:
            reasons.append(f"its {words} cures until {time_text(utc_text(cured), zone)}")
    return reasons


def cured_after(glued_at: str, hours: Decimal | None) -> datetime | None:
    """Return when glue of that cure time has cured; None where it is not known when it was used."""
    try:
        glued = datetime.fromisoformat(glued_at)
    except ValueError:  # another record of the ski told of glue, and of no time
        return None
    if hours is None or glued.tzinfo is None:
        return None
    return glued + timedelta(seconds=float(hours * 3600))


def cured_at(connection: sqlite3.Connection, tag: str) -> datetime | None:
    """Return the time when everything glued or filled in the pair's holes has cured; None where that is not
    known.
    """
    return cure_end(read_standing(connection, tag), read_policy(connection))


def cure_end(standing: Standing, policy: Policy) -> datetime | None:
    """Return as `cured_at` does, of facts that are read already."""
    cured = [cured_after(standing.glued_at, policy.cure_hours(adhesive)) for adhesive in standing.glued_with]
    known = [each for each in cured if each is not None]
    return max(known) if known and len(known) == len(cured) else None


def _recall_reasons(recall: Recall, bindings: Mapping[Side, Binding]) -> list[str]:
    reached = {side: recall.reaches(binding) for side, binding in bindings.items()}
    if Reach.IN_RANGE in reached.values():
        sides = ", ".join(side.value for side, reach in reached.items() if reach is Reach.IN_RANGE)
        return [f"recall {recall.recall} is open and reaches the binding of ski {sides}"]
    if Reach.UNKNOWN in reached.values():
        sides = ", ".join(side.value for side, reach in reached.items() if reach is Reach.UNKNOWN)
        return [f"recall {recall.recall} is open and may reach the binding of ski {sides}: take off and read"]
    return []


def read_case(connection: sqlite3.Connection, tag: str) -> Case:
    """Return all facts about one pair, from the state tables. Raises Refused where there is no such pair."""
    [case] = read_cases(connection, [read_standing(connection, tag)])
    return case


def read_cases(connection: sqlite3.Connection, standings: Sequence[Standing]) -> Iterator[Case]:
    """Yield all facts about each of these pairs, in their order; each table is read once for all of them."""
    tags = [standing.tag for standing in standings]
    facts = {
        tag: (Kind(kind), length_mm)
        for tag, kind, length_mm in connection.execute(
            f"SELECT tag, kind, length_mm FROM pair WHERE tag {AMONG}", among(tags)
        )
    }
    bindings = read_bindings(connection, *tags).values() if tags else ()
    on = grouped(bindings, lambda binding: (binding.on_pair, binding.on_ski))
    mounts = _read_mounts_on(connection, tags)
    names = dict.fromkeys(of[-1].pattern for of in mounts.values())
    patterns = read_patterns(connection, *names) if names else {}
    orders: dict[str, str] = {}
    for number, revision, *pairs in connection.execute(
        f"SELECT number, revision, tag, giver FROM work_order WHERE state = 'open' AND (tag {AMONG}"
        f" OR giver {AMONG}) ORDER BY rowid",
        (*among(tags), *among(tags)),
    ):
        for tag in filter(None, pairs):
            orders.setdefault(tag, f"{number} {revision}")
    for standing in standings:
        tag = standing.tag
        of = {side: tuple(on.get((tag, side), ())) for side in Side}
        of_pair = mounts.get(tag, [])
        mount = of_pair[-1] if of_pair else None
        kind, length_mm = facts[tag]
        yield Case(
            standing=standing,
            kind=kind,
            length_mm=length_mm,
            bindings={side: of[side][-1] for side in Side if of[side]},
            doubled={side: tuple(b.binding_id for b in of[side]) for side in Side if len(of[side]) > 1},
            mount=mount,
            also_on=tuple(of_pair[:-1]),
            pattern=patterns.get(mount.pattern) if mount else None,
            open_order=orders.get(tag),
        )


def _read_mounts_on(connection: sqlite3.Connection, tags: Iterable[str]) -> dict[str, list[Mount]]:
    """Return every mount of these pairs that was not removed, by pair, the newest last."""
    query = f"SELECT * FROM mount WHERE tag {AMONG} AND removed_on IS NULL ORDER BY mount_id"
    rows = grouped(rows_by_name(connection, query, among(tags)), lambda row: str(row["tag"]))
    return {
        tag: [
            Mount(
                **facts_from_row(MountFacts, row),
                slides=tuple(PieceSlide(**slide) for slide in json.loads(row["slides"])["slides"]),
                entry=row["entry"],
            )
            for row in of_pair
        ]
        for tag, of_pair in rows.items()
    }


def no_open_order(connection: sqlite3.Connection, tag: str) -> None:
    """Raise Refused while the bench has a sheet that counts on the pair."""
    if order := read_case(connection, tag).open_order:
        raise Refused(
            f"{tag} has the open work order {order}",
            cure=f'stop it first: mountbook order stop "{order}"; where the skis are not here, issue a plan'
            " without them: that takes the order back",
        )


def read_pattern(connection: sqlite3.Connection, name: str) -> Pattern | None:
    """Return the pattern of that name; None if the shop has not recorded it."""
    return read_patterns(connection, name).get(name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """The answer for one pair and that boot. ``fit`` is None where no boot was named.

    ``step``: what the shop does next about the reasons, "" where that is no matter of routine.
    ``only_set``: the one thing against it is that its binding is to be set for the boot. ``asked``: what is
    not stated, for the person at the door to look at. ``pieces``: the pieces of its pattern.
    """

    reasons: tuple[str, ...]
    fit: FitAnswer | None
    step: str = ""
    only_set: bool = False
    asked: tuple[str, ...] = ()
    pieces: tuple[str, ...] = field(default=(), compare=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnBoot:
    """The customer's own boot, as it was read at the counter."""

    bsl_um: int
    sole_type: str

    def as_boot(self, policy: Policy) -> Boot:
        """As a boot without a tag; a 75 mm sole counts by the shop's rule. BadInput for no sole."""
        minus_um = policy.um("duckbill_minus_mm") if sole_standard(self.sole_type) == "75 mm" else 0
        if not self.sole_type.strip():
            raise BadInput("the customer's own boot needs its sole type", cure='--sole-type, such as "75 mm"')
        with or_bad_input(
            f"{mm_text(self.bsl_um)} mm is no boot sole length",
            cure="the outside length of the sole in mm, as it is printed on the boot or measured",
        ):
            return Boot(
                tag=OWN_BOOT,
                model="",
                mondopoint_mm=None,
                bsl_um=self.bsl_um - minus_um,
                bsl_measured=f"measured {mm_text(self.bsl_um)} mm, duckbill minus {mm_text(minus_um)} mm"
                if minus_um
                else "read at the counter",
                sole_type=self.sole_type.strip(),
            )


class Door:
    """The check at the door at one moment: policy, recalls and boot are read once, pairs asked one by one.

    ``boot``: the tag of one of the shop's, or the customer's own. ``set_now``: somebody says that the
    binding of the pair has been set for this boot, boot in.
    """

    def __init__(
        self,
        connection: sqlite3.Connection,
        *,
        at: datetime,
        zone: str,
        boot: str | OwnBoot | None = None,
        set_now: bool = False,
    ) -> None:
        self._connection = connection
        self._at = at
        self._zone = zone
        self.policy = read_policy(connection)
        self._recalls = read_recalls(connection)
        self.gates = Gates(connection, self.policy, at=at, zone=zone)
        self._boot = boot.as_boot(self.policy) if isinstance(boot, OwnBoot) else None
        if isinstance(boot, str):
            self._boot = read_boot(connection, boot)
        self._set_now = set_now
        self._fits = read_fits(connection, self._boot.sole_type) if self._boot else ()

    def ask(self, tag: str) -> Answer:
        """Return every reason against this pair going out now, the boot's included."""
        return self._answer(read_case(self._connection, tag))

    def ask_each(self, standings: Sequence[Standing]) -> Iterator[Answer]:
        """Yield the answer for each of these pairs. A record that cannot be read is a reason against its
        pair, and costs no other.
        """
        try:
            cases = list(read_cases(self._connection, standings))
        except RECORD_FAULTS:
            cases = []
        for number, standing in enumerate(standings):
            try:
                case = cases[number] if cases else read_case(self._connection, standing.tag)
                yield self._answer(case)
            except RECORD_FAULTS as fault:
                reason = f"its record cannot be read ({type(fault).__name__}: {fault})"
                yield Answer(reasons=(reason,), fit=None)

    def _answer(self, case: Case) -> Answer:
        tag = case.standing.tag
        reasons = reasons_against(
            case, at=self._at, zone=self._zone, policy=self.policy, recalls=self._recalls
        )
        found = self.gates.ask(
            standing=case.standing,
            kind=case.kind,
            bindings=tuple(case.bindings.values()),
            pattern=case.pattern,
            boot=self._boot,
        )
        stops = [each for each in found if isinstance(each, Stop)]
        asked = tuple(dict.fromkeys(each for each in found if isinstance(each, str)))
        step = next_step(case.standing, open_order=case.open_order)
        if not reasons and stops:
            step = stops[0].step
        if not step and any(
            recall.reaches(b) is not Reach.NOT for recall in self._recalls for b in case.bindings.values()
        ):
            step = "what the recall asks for: mountbook recall list"
        reasons += tuple(stop.reason for stop in stops)
        pieces = tuple(piece.name.value for piece in case.pattern.pieces) if case.pattern else ()
        answer = Answer(reasons=reasons, fit=None, step=step, asked=asked, pieces=pieces)
        if self._boot is None:
            return answer
        reasons += tuple(
            reasons_against_boot(self._boot, kind=case.kind, pattern=case.pattern, policy=self.policy)
        )
        fit = boot_fits(
            boot=self._boot,
            mount=case.mount,
            pattern=case.pattern,
            setting=case.standing.setting,
            fits=self._fits,
            policy=self.policy,
        )
        first = self.gates.test_after_setting(case.kind)
        if self._set_now and first:
            told = (*reasons, *fit.reasons, _TEST_AFTER)
            return replace(answer, reasons=told, step=_SET_AND_TEST.format(tag))
        if fit.not_set and not self._set_now:
            only = not reasons and not first
            step = _SET_IT if only else _SET_AND_TEST.format(tag) if first and not reasons else step
            return replace(answer, reasons=(*reasons, fit.not_set), fit=fit, step=step, only_set=only)
        step = step or (_MOUNT_UNKNOWN if case.mount is None else "")
        return replace(answer, reasons=(*reasons, *fit.reasons), fit=fit, step=step)

    @property
    def needs_boot(self) -> bool:
        """True where no boot was named and the shop lets no pair go without."""
        return self._boot is None and not asked_for(self.policy, "out_without_boot")

    @property
    def boot_name(self) -> str:
        """The boot's tag, or words for the customer's own; "" without one."""
        if self._boot is None:
            return ""
        own = f" ({self._boot.sole_words}, {self._boot.sole_type})" if self._boot.tag == OWN_BOOT else ""
        return f"{self._boot.tag}{own}"

    @property
    def sole_um(self) -> int | None:
        """The sole length of the boot, µm; None without a boot or where it is not known."""
        return self._boot.bsl_um if self._boot else None

    def instead_of(self, tag: str, *, leave_out: Collection[str] = ()) -> tuple[str, ...]:
        """Return ready pairs of that kind and about that length that may go out, nearest in length first."""
        kind, length_mm = self._connection.execute(
            "SELECT kind, length_mm FROM pair WHERE tag = ?", (tag,)
        ).fetchone()
        sole = self._boot.sole_type if self._boot else None
        near = self._connection.execute(
            "SELECT tag, stands FROM pair JOIN standing USING (tag) WHERE place = 'ready' AND kind = ?1"
            " AND abs(length_mm - ?2) * 1000 <= ?3 AND (?4 IS NULL OR EXISTS (SELECT 1 FROM mount"
            " JOIN fit USING (pattern) WHERE mount.tag = pair.tag AND removed_on IS NULL AND sole_type = ?4))"
            " ORDER BY abs(length_mm - ?2), tag COLLATE BY_NUMBER",
            (kind, length_mm, self.policy.um("instead_length_mm"), sole),
        )
        likely = (
            other
            for other, stands in near
            if other != tag and other not in leave_out and self._may_stand_for(setting_from(stands))
        )
        found: list[str] = []
        while len(found) < _ENOUGH_INSTEAD and (some := list(islice(likely, _ENOUGH_INSTEAD))):
            read = read_standings(self._connection, where=f"tag {AMONG}", args=among(some))
            standings = sorted(read, key=lambda each: some.index(each.tag))
            answers = zip(standings, self.ask_each(standings), strict=True)
            found += [standing.tag for standing, answer in answers if not answer.reasons]
        return tuple(found[:_ENOUGH_INSTEAD])

    def _may_stand_for(self, setting: BindingSetting) -> bool:
        """Return False where the binding stands at another sole than the boot's: it is refused, whatever
        else there is.
        """
        return self._boot is None or self._set_now or setting.bsl_um == self._boot.bsl_um


_BY_PLACE: Final = {
    Place.IN_REPAIR: "end the repair first: mountbook repair done {tag} --did TEXT --by NAME",
    Place.OUT: "scan it back first: mountbook back {tag}",
    Place.MISSING: "if it turned up: mountbook move {tag} --to shop",
    Place.IN_TRANSIT: "if it has arrived: mountbook move {tag} --to shop",
}


def next_step(standing: Standing, *, open_order: str | None) -> str:
    """Return the nearest step back to the rack, "" where there is no routine step.

    A step is no promise: after it the door asks everything anew.
    """
    tag, passed = standing.tag, standing.passed
    if standing.place in (Place.HOLD, Place.QUARANTINE):
        return road_words(standing)
    if standing.place in _BY_PLACE:
        return _BY_PLACE[standing.place].format(tag=tag)
    if open_order:
        return f'its work comes first: mountbook order done "{open_order}" --by NAME'
    if standing.place is Place.FLAT:
        return "it needs a work order: mountbook plan, then mountbook order issue"
    lapsed = passed.entry and not standing.passes
    if standing.place is not Place.SECOND_CHECK and (standing.waits_for_a_look or lapsed):
        return f"somebody looks at it, then: mountbook recheck record {tag} --all not-moved --by NAME"
    if standing.place is Place.SECOND_CHECK or not passed.entry:
        return f"a second person looks at it, then: mountbook prep sign {tag} --all not-moved --by NAME"
    return ""
