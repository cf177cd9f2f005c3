"""A plan for a fleet that differs in thought: other policies, bindings or boots bought, pairs left out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from fleet.base.errors import BadInput
from fleet.base.units import mm_to_um, typed_count
from fleet.facts.boots import Boot
from fleet.facts.pairs import Binding
from fleet.facts.standing import Place
from fleet.tables.snapshot import Fleet

_MOST = 10_000
"""More of anything than a shop buys; each is made up as a thing of its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bought:
    """So many of a pattern's bindings (for a pair each) with a brake, None without."""

    pattern: str
    brake_um: int | None
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Supposed:
    """The differences. ``boots_like``: tag of a boot, and how many more just like it."""

    values: Mapping[str, str] = field(default_factory=dict)
    bindings: Sequence[Bought] = ()
    boots_like: Mapping[str, int] = field(default_factory=dict)
    left_out: Sequence[str] = ()


def supposed_fleet(fleet: Fleet, what: Supposed) -> Fleet:
    """The fleet as if. Raises BadInput or Refused for a name that is not there, or if nothing differs."""
    if not (what.values or what.bindings or what.boots_like or what.left_out):
        raise BadInput(
            "nothing is supposed", cure="say --spacing, --window, --bindings, --boots or --leave-out"
        )
    loose: list[Binding] = []
    for number, bought in enumerate(what.bindings):
        model = fleet.pattern(bought.pattern).binding_model
        loose += [
            Binding(
                binding_id=f"supposed {number}-{n:05}",
                model=model,
                pattern=bought.pattern,
                brake_um=bought.brake_um,
            )
            for n in range(2 * bought.count)
        ]
    boots: list[Boot] = [
        replace(fleet.boot(tag), tag=f"{tag} new {n + 1}")
        for tag, count in what.boots_like.items()
        for n in range(count)
    ]
    out = {tag: replace(fleet.pair(tag), place=Place.HOLD) for tag in what.left_out}
    return replace(
        fleet,
        policy=fleet.policy.with_values(**what.values),
        pairs=dict(fleet.pairs) | out,
        boots=dict(sorted((dict(fleet.boots) | {b.tag: b for b in boots}).items())),
        bindings=dict(fleet.bindings) | {b.binding_id: b for b in loose},
    )


def bought_from(text: str) -> Bought:
    """``6 x T4/H4 100`` or ``6 x T4/H4`` (no brake). Raises BadInput."""
    count, _, rest = text.partition(" x ")
    name, _, brake = rest.strip().rpartition(" ")
    try:
        width = mm_to_um(brake) if name else None
    except (ValueError, BadInput):
        name, width = rest.strip(), None
    if not name:
        name = rest.strip()
    return Bought(pattern=name, brake_um=width, count=_count(count, text))


def boots_from(text: str) -> tuple[str, int]:
    """``4 x B-210``: that many more boots just like it. Raises BadInput."""
    count, _, tag = text.partition(" x ")
    return tag.strip(), _count(count, text)


def _count(count: str, text: str) -> int:
    try:
        found = typed_count(count)
    except ValueError:
        found = 0
    if " x " not in text or not 0 < found <= _MOST:
        raise BadInput(f"{text!r} does not say how many of what", cure='write it like "6 x T4/H4 100"')
    return found
