"""The door's own gates: rules of the shop, each off until the shop dates it; and sole standards."""

import re
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import Final

from fleet.base.errors import BadInput
from fleet.base.files import csv_rows
from fleet.facts.kinds import Kind
from fleet.facts.policy import Policy

_FILE: Final = Path(__file__).with_name("sole_standards.csv")
SEASON, WORK, SETTING = "season", "work", "setting"
RELEASE_TEST, PASS = "release test", "pass"
QUALIFICATIONS: Final = (RELEASE_TEST, PASS, SETTING)
"""The matters that a person may be qualified for."""
_RELEASE: Final = {f"gate_release_test_{kind.value}": (SEASON, WORK, SETTING) for kind in Kind}
_WORDS: Final = _RELEASE | {
    "gate_qualification": QUALIFICATIONS,
    "gate_sole_standard": ("yes",),
    "gate_unsupported_model": ("yes",),
    "out_without_boot": ("yes",),
}
"""The words that a rule of the door takes, one or several with commas between; blank or no: it is off."""
LONG_RENTAL: Final = "gate_long_rental_days"
PASS_FROM, PASS_DAYS = "pass_from_day", "pass_days"


def is_gate(name: str) -> bool:
    """Return whether a policy is a gate of the door: it may stop pairs that went out before."""
    return name.startswith("gate_") or name in (PASS_FROM, PASS_DAYS)


def asked_for(policy: Policy, name: str) -> tuple[str, ...]:
    """Return what the rule asks for; () while it is off. BadInput for a word that is not its own."""
    return _words(name, policy.word(name))


def _words(name: str, value: str) -> tuple[str, ...]:
    words = tuple(" ".join(word.split()).lower() for word in value.split(",") if word.strip())
    if words in ((), ("no",)):
        return ()
    if wrong := [word for word in words if word not in _WORDS[name]]:
        raise BadInput(
            f"{name} does not know {wrong[0]!r}",
            cure=f"one of, or several with commas: {', '.join(_WORDS[name])}; no ends it",
        )
    return words


def check_gate(name: str, value: str) -> None:
    """Refuse a value that the rule cannot be read from; other policies are no matter of this."""
    if name in _WORDS:
        _words(name, value)


def gates_off(policy: Policy) -> tuple[str, ...]:
    """The gates of the door that the shop has not set."""
    return tuple(
        setting.name
        for setting in policy
        if is_gate(setting.name)
        and not (asked_for(policy, setting.name) if setting.name in _WORDS else setting.value)
    )


# Sole standards

_SOLES: Final = (
    (re.compile(r"\b23223\b|improved walking", re.IGNORECASE), "ISO 23223"),
    (re.compile(r"\b9523\b|^touring$", re.IGNORECASE), "ISO 9523"),
    (re.compile(r"\b5355\W*(?:type\W*)?a\b|^alpine (?:type )?a$", re.IGNORECASE), "ISO 5355 A"),
    (re.compile(r"\b5355\W*(?:type\W*)?c\b|^alpine (?:type )?c$", re.IGNORECASE), "ISO 5355 C"),
    (re.compile(r"\b75 ?mm\b|duckbill", re.IGNORECASE), "75 mm"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SoleAnswer:
    """``refused``: why no standard foresees it. ``asked``: what is not stated. Both empty: foreseen."""

    refused: str = ""
    asked: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BindingModel:
    """The facts that the shop has stated of a binding model; "" and None: not stated."""

    model: str
    standard: str = ""
    unsupported_since: date | None = None
    origin: str = ""


def binding_standards() -> tuple[str, ...]:
    """The standards that a binding can declare, as a person types them."""
    return tuple(dict.fromkeys(binding for binding, _ in _table()))


def sole_standard(sole_type: str) -> str:
    """The standard that the shop's word for a sole names; "" where it names none, or several."""
    found = {standard for pattern, standard in _SOLES if pattern.search(sole_type.strip())}
    return found.pop() if len(found) == 1 else ""


def sole_answer(standard: str, sole_type: str) -> SoleAnswer:
    """Return whether a standard foresees that sole in a binding of that declared standard.

    Only what is stated on both sides and foreseen by none is refused.
    """
    sole = sole_standard(sole_type)
    if not standard:
        return SoleAnswer(asked="the standard of its binding is not stated")
    if not sole:
        return SoleAnswer(asked=f"no standard is stated by the sole type {sole_type or 'left blank'}")
    decision, words = _table().get((standard, sole), ("refuse", "no standard foresees it"))
    if decision == "refuse":
        return SoleAnswer(refused=f"a sole of {sole} does not go into a binding of {standard}: {words}")
    return SoleAnswer(asked=f"{words}?" if decision == "ask" else "")


@cache
def _table() -> dict[tuple[str, str], tuple[str, str]]:
    return {(row["binding"], row["sole"]): (row["decision"], row["words"]) for row in csv_rows(_FILE)}
