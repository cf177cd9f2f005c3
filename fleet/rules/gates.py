"""The door's own gates, each a rule that the shop has set: tests, qualifications, soles, models, long hires.

What the ledger does not state is asked and shown; refused is what a rule asks for and is not there, and
what is stated and contradicts it.
"""

import sqlite3
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from fleet.base.days import day_text, midnight, shop_day
from fleet.base.entries import name_key, utc_text
from fleet.base.typed_text import said
from fleet.base.units import counted
from fleet.events.settings import QualificationStated
from fleet.facts.boots import Boot
from fleet.facts.gates import (
    LONG_RENTAL,
    PASS,
    PASS_DAYS,
    PASS_FROM,
    RELEASE_TEST,
    SEASON,
    SETTING,
    WORK,
    asked_for,
    sole_answer,
)
from fleet.facts.holes import Side
from fleet.facts.kinds import Kind, shop_kinds
from fleet.facts.pairs import Binding
from fleet.facts.patterns import Pattern
from fleet.facts.policy import Policy
from fleet.facts.standing import Moment, Place, Standing, pieces_text
from fleet.rules.sampling.rule import seasons_of
from fleet.tables.snapshot import read_models, read_policy

_TESTED: Final = ("toe", "heel")


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """One reason of a gate, and the next step about it."""

    reason: str
    step: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Test:
    """A release test of one piece. ``void``: why it does not count, or empty."""

    moment: Moment
    void: str
    asked: str


class Gates:
    """The gates as they stand at a moment. A gate that is off asks the ledger nothing."""

    def __init__(self, connection: sqlite3.Connection, policy: Policy, *, at: datetime, zone: str) -> None:
        self._connection = connection
        self._at_utc = utc_text(at)
        self._day = shop_day(self._at_utc, zone)
        self._zone = zone
        self._release = {kind: asked_for(policy, f"gate_release_test_{kind.value}") for kind in Kind}
        self._oldest = oldest_pass(policy, self._day)
        self._like = shop_kinds(policy)
        self._qualified = asked_for(policy, "gate_qualification")
        self._soles = bool(asked_for(policy, "gate_sole_standard"))
        self._support = bool(asked_for(policy, "gate_unsupported_model"))
        self._models = read_models(connection) if self._soles or self._support else {}
        self._season_after = self._last_season(policy) if any(self._release.values()) else None

    def _last_season(self, policy: Policy) -> date | None:
        """Return the last operating day of the season before the one that today is in."""
        days = [
            date.fromisoformat(row[0]) for row in self._connection.execute("SELECT day FROM operating_day")
        ]
        seasons = seasons_of(
            [*(each for each in days if each < self._day), self._day], policy.count("season_gap_days")
        )
        return seasons[-2][-1] if len(seasons) > 1 else None

    def ask(
        self,
        *,
        standing: Standing,
        kind: Kind,
        bindings: Collection[Binding],
        pattern: Pattern | None,
        boot: Boot | None,
    ) -> tuple[Stop | str, ...]:
        """Return every stop of the pair, and what is not stated, for the person at the door to look at."""
        return (
            *self._of_models(standing.tag, bindings, pattern),
            *self._of_sole(standing.tag, pattern, boot),
            *self._of_pass(standing),
            *self._of_tests(standing, self._release_of(kind), pattern),
        )

    def _release_of(self, kind: Kind) -> tuple[str, ...]:
        """Return the words of the kind's gate; of a kind that the shop names no more, those of every gate."""
        like = self._like.get(kind)
        if like is not None:
            return self._release[like]
        return tuple(dict.fromkeys(word for words in self._release.values() for word in words))

    def test_after_setting(self, kind: Kind) -> bool:
        """Return whether a pair of that kind is tested after its binding was set, before it goes out."""
        return SETTING in self._release_of(kind)

    def who_sets(self, name: str) -> Stop | None:
        """Return why that person may not say today that a binding is set; None where she or he may."""
        if SETTING not in self._qualified or self._is_qualified(name, SETTING, self._day):
            return None
        return Stop(
            reason=f"{name} is not qualified for settings on {day_text(self._day)}", step=_qualify(SETTING)
        )

    def _of_models(
        self, tag: str, bindings: Collection[Binding], pattern: Pattern | None
    ) -> Iterator[Stop | str]:
        if not self._support:
            return
        names = {binding.model for binding in bindings} | ({pattern.binding_model} if pattern else set())
        for name in sorted(names):
            model = self._models.get(name)
            since = model.unsupported_since if model is not None else None
            if since is not None and since <= self._day:
                yield Stop(
                    reason=f"its binding model {name} lost its maker's support on {day_text(since)}",
                    step=f"it needs another binding: mountbook move {tag} --to retired, or mountbook plan",
                )

    def _of_sole(self, tag: str, pattern: Pattern | None, boot: Boot | None) -> Iterator[Stop | str]:
        if not self._soles or boot is None or pattern is None:
            return
        model = self._models.get(pattern.binding_model)
        answer = sole_answer(model.standard if model is not None else "", boot.sole_type)
        if answer.refused:
            yield Stop(reason=answer.refused, step=f"another boot: mountbook out {tag} --boot TAG")
        elif answer.asked:
            yield answer.asked

    def _of_pass(self, standing: Standing) -> Iterator[Stop | str]:
        if standing.passes and (aged := aged_words(standing, self._oldest, zone=self._zone)):
            yield Stop(reason=f"its pass does not count any more: {aged}", step=_look(standing))
        if PASS not in self._qualified or not standing.passed.entry:
            return
        day = shop_day(standing.passed.at, self._zone)
        if not self._is_qualified(standing.pass_by, PASS, day):
            yield Stop(
                reason=f"its pass is by {standing.pass_by}, not qualified for passes on {day_text(day)}",
                step=f"{_look(standing, 'somebody qualified looks')}; or {_qualify(PASS)}",
            )

    def _of_tests(
        self, standing: Standing, since: tuple[str, ...], pattern: Pattern | None
    ) -> Iterator[Stop | str]:
        if not since:
            return
        pieces = [p.name.value for p in pattern.pieces if p.name.value in _TESTED] if pattern else []
        missing: list[tuple[str, str]] = []
        for side in Side:
            for piece in pieces or _TESTED:
                test = self._newest_test(standing.tag, side, piece)
                if test is None or not self._is_after(test.moment, standing, since):
                    missing.append((side.value, piece))
                elif test.void:
                    yield Stop(
                        reason=f"the release test of ski {side} {piece} {test.void}", step=_test(standing)
                    )
                elif test.asked:
                    yield test.asked
        if missing:
            words = " and ".join(_SINCE[each] for each in since)
            yield Stop(reason=f"no release test of {pieces_text(missing)} {words}", step=_test(standing))

    def _is_after(self, test: Moment, standing: Standing, since: tuple[str, ...]) -> bool:
        if WORK in since and standing.work.entry and not test.is_later_than(standing.work):
            return False
        if SETTING in since and standing.setting.when.entry and not test.is_later_than(standing.setting.when):
            return False
        last = self._season_after
        return SEASON not in since or last is None or shop_day(test.at, self._zone) > last

    def _newest_test(self, tag: str, side: Side, piece: str) -> _Test | None:
        """Return the newest; one that a wrong clock dated later than now hides none that failed since."""
        row = self._connection.execute(
            "SELECT entry, device, outcome, at, by FROM release_test WHERE tag = ? AND side = ? AND piece = ?"
            " AND at <= ? ORDER BY at DESC, entry DESC LIMIT 1",
            (tag, side.value, piece, self._at_utc),
        ).fetchone()
        if row is None:
            return None
        entry, device, outcome, at, by = said(self._connection, list(row))
        day = shop_day(at, self._zone)
        void = "did not pass" if outcome == "failed" else ""
        asked = "" if outcome else "the outcome of its release test is not stated"
        known = list(
            self._connection.execute(
                "SELECT calibrated_on, until FROM tester WHERE device = ? ORDER BY until", (device.strip(),)
            )
        )
        if not known:
            asked = asked or f"the calibration of {device} is not stated"
        elif not any(on <= day.isoformat() <= until for on, until in known):
            void = void or f"was made with {device}, not in its calibration on {day_text(day)}"
        if RELEASE_TEST in self._qualified and not self._is_qualified(by, RELEASE_TEST, day):
            void = void or f"is by {by}, not qualified for release tests on {day_text(day)}"
        return _Test(moment=Moment(entry, at), void=void, asked=asked)

    def _is_qualified(self, name: str, what: str, day: date) -> bool:
        """Return whether what was said of it by that day still held on that day."""
        ends = [
            until
            for who, until, since in self._connection.execute(
                "SELECT name, until, since FROM qualification WHERE what = ? ORDER BY entry", (what,)
            )
            if name_key(who) == name_key(name) and shop_day(since, self._zone) <= day
        ]
        return bool(ends) and day.isoformat() <= ends[-1]


_SINCE: Final = {
    SEASON: "for this season",
    WORK: "since the newest work",
    SETTING: "since its binding was set",
}


def _test(standing: Standing) -> str:
    return (
        f"test it: mountbook release-test {standing.tag} --ski A --piece toe --device TEXT"
        " --result TEXT --outcome passed --by NAME"
    )


def _look(standing: Standing, who: str = "somebody looks at it, then") -> str:
    return f"{who}: mountbook recheck record {standing.tag} --all not-moved --by NAME"


def _qualify(what: str) -> str:
    return f'mountbook staff qualify NAME --for "{what}" --until DATE --by NAME'


# A pass ages


@dataclass(frozen=True, slots=True, kw_only=True)
class OldestPass:
    """The first day of which a pass still counts, and the rule that says so, in words."""

    day: date
    words: str

    def start_utc(self, zone: str) -> str:
        """The first moment of that day by the shop's calendar, as UTC text."""
        return utc_text(midnight(self.day, zone))


def oldest_pass(policy: Policy, day: date) -> OldestPass | None:
    """Return the oldest pass that counts on a day, by the shop's dated rules; None while both are off.

    The day that dates a season, and the last of the days in the rack, count themselves.
    """
    found = []
    start, days = policy.optional_day(PASS_FROM), policy.optional_number(PASS_DAYS)
    if start is not None and start <= day:
        found.append(OldestPass(day=start, words=f"the season began on {day_text(start)}"))
    if days is not None:
        words = f"a pass counts for {counted(int(days), 'day')} in the rack"
        found.append(OldestPass(day=day - timedelta(days=int(days)), words=words))
    return max(found, key=lambda each: each.day, default=None)


def aged_words(standing: Standing, oldest: OldestPass | None, *, zone: str) -> str:
    """Return why the pair's newest pass is too old; "" where it is not."""
    if oldest is None or shop_day(standing.passed.at, zone) >= oldest.day:
        return ""
    return f"passed on {day_text(shop_day(standing.passed.at, zone))}, and {oldest.words}"


# Long rentals


def long_rental(policy: Policy, *, out: date, due: date | None) -> Stop | str | None:
    """Return why a pair may not stay out for so long; None where it may, or the rule is off.

    A string where nobody said when it is due back: that is asked.
    """
    every = policy.optional_number(LONG_RENTAL)
    if every is None:
        return None
    if due is None:
        return f"when is it due back? by the shop's rule after {counted(int(every), 'day')} at most"
    days = (due - out).days
    if days < policy.count("long_rental_days") or days <= every:
        return None
    latest = out + timedelta(days=int(every))
    return Stop(
        reason=f"{counted(days, 'day')} is a long rental; it comes back for its recheck after"
        f" {counted(int(every), 'day')} at most",
        step=f"type {latest.isoformat()} or an earlier day; looked at then, it goes out again",
    )


# What others list


def qualifications_ending(connection: sqlite3.Connection, *, today: date) -> tuple[QualificationStated, ...]:
    """Return the qualifications that end within the shop's days of warning, and those that ended."""
    limit = today + timedelta(days=read_policy(connection).count("qualification_warn_days"))
    return tuple(each for each in qualifications(connection) if each.until <= limit)


def qualifications(connection: sqlite3.Connection) -> tuple[QualificationStated, ...]:
    """Return the newest statement of each qualification of each person, the first to end first."""
    rows = connection.execute(
        "SELECT name, what, until, max(entry) FROM qualification GROUP BY name, what ORDER BY 3, 1, 2"
    )  # SQLite takes the other columns from the row of the newest entry
    return tuple(
        QualificationStated(name=name, what=what, until=date.fromisoformat(until))
        for name, what, until, _ in rows
    )


def out_without_boot(connection: sqlite3.Connection) -> tuple[str, ...]:
    """Return the pairs that are out with no boot on record, neither the shop's nor the customer's own."""
    return tuple(
        row[0]
        for row in connection.execute(
            "SELECT tag FROM standing WHERE place = ? AND out_boot IS NULL AND out_own = ''"
            " ORDER BY tag COLLATE BY_NUMBER",
            (Place.OUT.value,),
        )
    )


def long_out(connection: sqlite3.Connection, *, today: date, zone: str) -> tuple[str, ...]:
    """Return the pairs out for longer than the rule of long rentals lets them; () while it is off."""
    every = read_policy(connection).optional_number(LONG_RENTAL)
    if every is None:
        return ()
    return tuple(
        tag
        for tag, at in connection.execute(
            "SELECT tag, out_at FROM standing WHERE place = ? ORDER BY tag COLLATE BY_NUMBER",
            (Place.OUT.value,),
        )
        if (today - shop_day(at, zone)).days > every
    )
