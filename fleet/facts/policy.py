"""Shop policy: dated settings, each with its unit and origin. No shop rule hides in code.

The defaults stand in ``policy_defaults.csv``; the ledger overrides them by ``policy set`` entries.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, InvalidOperation
from functools import cache
from pathlib import Path

from fleet.base.days import typed_day
from fleet.base.errors import BadInput, nearest, or_bad_input
from fleet.base.files import csv_rows
from fleet.base.units import mm_to_um, typed_number
from fleet.base.values import Value
from fleet.facts.columns import TypedText
from fleet.facts.holes import Knowledge

_DEFAULTS_FILE = Path(__file__).with_name("policy_defaults.csv")
_WORD_UNITS = frozenset({"adhesive", "text"})
_MEASURED_UNITS = frozenset({"mm", "hours", "minutes", "points", "money", "%", "percent"})
"""The units that have fractions; of all others a whole number is counted."""


class Setting(Value, frozen=True, kw_only=True):
    """One policy. ``value`` is the text as written; empty means *not set*."""

    name: str
    value: str
    unit: str
    origin: TypedText
    since: str = "default"

    @property
    def said(self) -> str:
        """The value with its unit; a word has none."""
        return f"{self.value or 'not set'}{'' if self.unit == 'text' or not self.value else f' {self.unit}'}"


@dataclass(frozen=True, slots=True)
class Policy:
    """All settings in force. A missing or unset number is an error at the reader, never a guess."""

    settings: Mapping[str, Setting]

    def __iter__(self) -> Iterator[Setting]:
        return iter(self.settings.values())

    def setting(self, name: str) -> Setting:
        """The setting, or BadInput naming the nearest known one."""
        found = self.settings.get(name)
        if found is None:
            near = nearest(name, self.settings)
            raise BadInput(
                f"there is no policy called {name!r}",
                cure=f"did you mean {near!r}?" if near else "see `mountbook policy`",
            )
        return found

    def number(self, name: str) -> Decimal:
        """The value as an exact decimal in its own unit. Raises BadInput where it is not set."""
        setting = self.setting(name)
        if not setting.value:
            raise BadInput(
                f"the policy {name} is not set",
                cure=f'mountbook policy set {name} VALUE --origin "where the figure comes from"',
            )
        return Decimal(setting.value)

    def optional_number(self, name: str) -> Decimal | None:
        """As `number`, but None where the setting is unknown or not set (an unset cure time)."""
        found = self.settings.get(name)
        return Decimal(found.value) if found is not None and found.value else None

    def um(self, name: str) -> int:
        """A length policy in whole micrometres."""
        return mm_to_um(self.number(name))

    def optional_um(self, name: str) -> int | None:
        """A length policy in whole micrometres; None where it is not set."""
        return None if self.optional_number(name) is None else self.um(name)

    def count(self, name: str) -> int:
        """A policy that counts things."""
        return int(self.number(name))

    def hundredths(self, name: str) -> int:
        """A price in whole hundredths of the shop's money. Raises BadInput where it is not set."""
        return hundredths(self.number(name))

    def optional_day(self, name: str) -> date | None:
        """A policy that is a day; None where it is not set."""
        value = self.word(name)
        return _day(value) if value else None

    def word(self, name: str) -> str:
        """A policy that is a word, such as the adhesive in use."""
        return self.setting(name).value

    def allowance_um(self, knowledge: Knowledge) -> int:
        """Return what is added to the spacing of a hole known this way, micrometres."""
        return self.um(knowledge.policy_name)

    @property
    def adhesives(self) -> tuple[str, ...]:
        """The adhesives that the shop has a cure time for, set or not, in the order of the policy."""
        begin, end = "cure_", "_hours"
        named = (name for name in self.settings if name.startswith(begin) and name.endswith(end))
        return tuple(name.removeprefix(begin).removesuffix(end) for name in named)

    def cure_hours(self, adhesive: str) -> Decimal | None:
        """Hours until the adhesive has cured, or None: unset counts as *not cured yet*."""
        return self.optional_number(f"cure_{adhesive}_hours")

    def with_values(self, **values: str) -> Policy:
        """A copy with other values (a what-if, or a test); units and origins stay."""
        changed = dict(self.settings)
        for name, value in values.items():
            old = self.setting(name)
            typed_value(old.unit, value)
            changed[name] = Setting(name=name, value=value, unit=old.unit, origin=old.origin, since=old.since)
        return Policy(changed)


def hundredths(money: Decimal) -> int:
    """An amount in whole hundredths. Raises BadInput for a finer one: no shop pays it."""
    exact = money * 100
    if exact != int(exact):
        raise BadInput(f"{money} is finer than a hundredth", cure="write it like 12 or 0.45")
    return int(exact)


def checked_value(unit: str, value: str) -> None:
    """Raise BadInput unless the text is a number from 0 (or a word, or empty) that fits the unit."""
    if unit in _WORD_UNITS or value == "":
        return
    if unit == "day":
        _day(value)
        return
    with or_bad_input(
        f"{value!r} is not a number of {unit}", cure="write it like 10 or 0.5", of=InvalidOperation
    ):
        number = Decimal(value)
    if not number.is_finite() or number < 0:
        raise BadInput(f"{value!r} is not a number of {unit} from 0 up", cure="write it like 10 or 0.5")
    if unit == "mm":
        mm_to_um(number)
    if unit == "money":
        hundredths(number)


def _day(value: str) -> date:
    with or_bad_input(f"{value!r} is not a day", cure="write it like 2026-12-01"):
        return typed_day(date.fromisoformat(value).isoformat())


def typed_value(unit: str, value: str) -> None:
    """As `checked_value`, for what a person types now: plain digits, so that no number runs away."""
    if unit not in (*_WORD_UNITS, "day") and value != "":
        try:
            typed_number(value)
        except ValueError as fault:
            raise BadInput(f"{fault} of {unit}", cure="write it like 10 or 0.5") from None
    with or_bad_input(cure="write it like 10 or 0.5"):
        checked_value(unit, value)


def is_cure(name: str) -> bool:
    """Return whether a setting is the cure time of an adhesive, which may be one the program does not
    know.
    """
    return name.startswith("cure_") and name.endswith("_hours")


def is_safety(name: str) -> bool:
    """Return whether the setting guards a ski or a person, so that the manager signs it."""
    return is_cure(name) or bool(_row_of(name).get("safety"))


def check_plausible(name: str, unit: str, value: str) -> None:
    """Refuse a figure outside its range, a word that is none of its words, and a blank where the program has
    a figure of its own. Entries made earlier keep their meaning.
    """
    row = _row_of(name)
    if (words := row.get("words")) and value not in words.split("; "):
        raise BadInput(f"{name} cannot be {value!r}", cure=f"one of: {words.replace(';', ',')}")
    if not row.get("range_origin"):
        return
    if not value:
        if row["value"]:
            raise BadInput(f"{name} needs a number", cure=f"the program's own is {row['value']} {unit}")
        return
    if not Decimal(row["low"]) <= Decimal(value) <= Decimal(row["high"]):
        raise BadInput(
            f"{name} {value} {unit} is outside {row['low']} to {row['high']} {unit}",
            cure=f"check the figure and its unit; the range is {row['range_origin']}",
        )
    if unit not in _MEASURED_UNITS and Decimal(value) % 1:
        raise BadInput(f"{name} {value} {unit}: these are counted", cure="write a whole number, like 10")


@cache
def default_policy() -> Policy:
    """The defaults that ship with the program, each with its standing."""
    return Policy(
        {
            name: Setting(**{key: row[key] for key in ("name", "value", "unit", "origin")})
            for name, row in _rows().items()
        }
    )


def _row_of(name: str) -> Mapping[str, str]:
    """Return the program's row of a setting: that of any glue for a new one; nothing for another name."""
    return _rows().get(name) or (_rows()["cure_wood_glue_hours"] if is_cure(name) else {})


@cache
def _rows() -> Mapping[str, Mapping[str, str]]:
    return {row["name"]: row for row in csv_rows(_DEFAULTS_FILE)}
