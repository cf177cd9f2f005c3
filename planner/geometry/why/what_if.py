"""Supposed policies: the positions that pairs gain or lose by another spacing, window or mount convention.

A position is a pattern and a sole length that the pair could take somewhere within the window. Asked are
the positions that some wish and a declared fit could call for; without wishes, all declared ones.
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import groupby
from typing import Any

from fleet.base.errors import BadInput
from fleet.base.units import um_to_mm
from fleet.facts.kinds import Kind
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Pattern
from fleet.tables.snapshot import Fleet
from planner.geometry.placement.frames import Stance, stance_for
from planner.geometry.placement.intervals import Interval
from planner.geometry.placement.legal import LegalFinder, offsets_only


class Convention(StrEnum):
    """The mount convention: the place of the boot that belongs on the mark."""

    AS_THE_PATTERN_SAYS = "as the pattern says"
    MID_SOLE = "mid-sole"
    PIN_LINE = "pin line"


def convention_named(text: str | None) -> Convention:
    """Return the convention named ``mid-sole`` or ``pin-line``; None keeps each pattern's own. Raises
    BadInput.
    """
    if text is None:
        return Convention.AS_THE_PATTERN_SAYS
    known = {"mid-sole": Convention.MID_SOLE, "pin-line": Convention.PIN_LINE}
    if text not in known:
        raise BadInput(f"{text!r} is no mount convention", cure="say mid-sole or pin-line")
    return known[text]


@dataclass(frozen=True, slots=True, order=True)
class AskedPosition:
    """A position that a pair is asked for. ``pin_um`` -1: a boot without a pin line; ``supposed_pin_um``: the
    pin line that it is then supposed to have.
    """

    pair: str
    pattern: str
    bsl_um: int
    pin_um: int = -1
    supposed_pin_um: int = -1


_Legal = dict[AskedPosition, tuple[Interval, ...]]
"""The legal offsets of the boot centre, of every position that has any."""


def _json(change: tuple[AskedPosition, tuple[Interval, ...]]) -> dict[str, Any]:
    """Return a position with its offsets as a JSON object, lengths in millimetres."""
    position, legal = change
    return {
        "pair": position.pair,
        "pattern": position.pattern,
        "bsl_mm": um_to_mm(position.bsl_um),
        "legal_offsets_mm": [[um_to_mm(low), um_to_mm(high)] for low, high in legal],
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """The comparison of two policies. ``before`` and ``after`` count the possible positions.

    ``gained`` and ``lost``: positions with the boot centre's offsets that they have or had.
    """

    changed: dict[str, str]
    asked: int
    before: int
    after: int
    gained: _Legal
    lost: _Legal

    def to_json(self) -> dict[str, Any]:
        """Return the JSON object of `mountbook whatif --json`."""
        return {
            "changed": self.changed,
            "asked": self.asked,
            "before": self.before,
            "after": self.after,
            "gained": list(map(_json, self.gained.items())),
            "lost": list(map(_json, self.lost.items())),
        }


def what_if(
    fleet: Fleet,
    *,
    values: dict[str, str],
    convention: Convention = Convention.AS_THE_PATTERN_SAYS,
    only_pair: str | None = None,
    kind: Kind | None = None,
    pin_um: int | None = None,
) -> WhatIf:
    """Compare the policy in force with one that has these values. BadInput if nothing would change.

    ``kind``: these pairs only. ``pin_um``: toe end of the sole to the pin line, where a boot has none on
    record; only the pin-line convention asks for it.
    """
    if not values and convention is Convention.AS_THE_PATTERN_SAYS:
        raise BadInput("nothing to compare", cure="say --spacing, --window or --convention")
    other = replace(fleet, policy=fleet.policy.with_values(**values))
    pairs = [fleet.pair(only_pair)] if only_pair is not None else list(fleet.pairs.values())
    pairs = [pair for pair in pairs if pair.plannable and kind in (None, pair.kind)]
    asked = _asked(fleet, pairs, -1 if pin_um is None else pin_um)
    if convention is Convention.PIN_LINE and all(max(p.pin_um, p.supposed_pin_um) < 0 for p in asked):
        raise BadInput(
            "no boot of these has a pin line on record",
            cure="say how far it lies from the toe end of the sole: --pin MM",
        )
    before = _legal(fleet, asked, Convention.AS_THE_PATTERN_SAYS)
    after = _legal(other, asked, convention)
    return WhatIf(
        changed=values
        | ({} if convention is Convention.AS_THE_PATTERN_SAYS else {"convention": convention.value}),
        asked=len(asked),
        before=len(before),
        after=len(after),
        gained=_without(after, before),
        lost=_without(before, after),
    )


def _asked(fleet: Fleet, pairs: list[Pair], supposed_pin_um: int) -> set[AskedPosition]:
    fits: dict[str, set[str]] = {}
    for fit in fleet.fits:
        if fit.pattern in fleet.patterns:
            fits.setdefault(fit.sole_type, set()).add(fit.pattern)
    found = set()
    for boot in fleet.boots.values():
        if boot.bsl_um is None:
            continue
        wishes = [
            w
            for w in fleet.wishes
            if boot.mondopoint_mm is not None
            and w.mondopoint_min_mm <= boot.mondopoint_mm <= w.mondopoint_max_mm
        ]
        for pair in pairs:
            if fleet.wishes and not any(
                w.kind is pair.kind and w.length_min_mm <= pair.length_mm <= w.length_max_mm for w in wishes
            ):
                continue
            pin_um = -1 if boot.pin_um is None else boot.pin_um
            found |= {
                AskedPosition(pair.tag, name, boot.bsl_um, pin_um, supposed_pin_um)
                for name in fits.get(boot.sole_type, ())
            }
    return found


def _legal(fleet: Fleet, asked: set[AskedPosition], convention: Convention) -> _Legal:
    """Return the positions with a legal offset, in an order in which one sweep serves many."""
    found: _Legal = {}
    for (tag, name), positions in groupby(
        sorted(asked), key=lambda position: (position.pair, position.pattern)
    ):
        pattern = fleet.patterns[name]
        finder = LegalFinder(pair=fleet.pairs[tag], pattern=pattern, policy=fleet.policy)
        for position in positions:
            stance = _stance(pattern, position, convention)
            legal = offsets_only(finder.offsets(position.bsl_um, stance=stance))
            if legal:
                found[position] = tuple((a + stance.centre_um, b + stance.centre_um) for a, b in legal)
    return found


def _stance(pattern: Pattern, position: AskedPosition, convention: Convention) -> Stance:
    pin_um = None if position.pin_um < 0 else position.pin_um
    if convention is Convention.AS_THE_PATTERN_SAYS:
        return stance_for(pattern, position.bsl_um, pin_um)
    if pin_um is None and position.supposed_pin_um >= 0:
        pin_um = position.supposed_pin_um
    return Stance(bsl_um=position.bsl_um, pin_um=pin_um if convention is Convention.PIN_LINE else None)


def _without(one: _Legal, other: _Legal) -> _Legal:
    """The positions that only one of both has."""
    return {position: legal for position, legal in one.items() if position not in other}
