"""The proof that a plan is best: multipliers of the limits, level by level, in whole numbers over one scale.

Weak duality: add the limits up, each times its multiplier. Where the sum charges every possible way no more
than it costs, nothing costs less than the same sum of the limits' right-hand sides.
`planner.planning.judge.bound` does the adding.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from fleet.facts.brakes import BrakeWidth

Sort = tuple[str, BrakeWidth]
"""A sort of binding: pattern and brake in micrometres, None without a brake."""

GROUPS = (
    "pairs", "links", "link_caps", "boots", "wishes", "brakes", "supply", "stock", "bench", "parts",
    "earlier",
)  # fmt: skip
"""Groups of limits in order; ``bench`` is the one limit on minutes, ``parts`` the one on money, ``earlier``
the values already proved."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelProof:
    """One level: the plan's value, and the multiplier of each limit, times ``scale``, by group.

    ``bound``: what the multipliers prove over every possible way: no plan that is no worse at the levels
    before has less. The value itself where it is proved best, None where nothing is proved.
    """

    name: str
    value: int
    scale: int
    multipliers: Mapping[str, tuple[int, ...]]
    bound: int | None = None

    def to_body(self) -> dict[str, Any]:
        """Multipliers as text: ``0x12 -3`` is twelve zeros and a minus three."""
        return {
            "name": self.name,
            "value": self.value,
            "bound": self.bound,
            "scale": self.scale,
            "multipliers": {group: _short(self.multipliers[group]) for group in GROUPS},
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """The owners of the limits (tags; links as numbers of a pair class and a boot class), and the proofs.

    A class is of things no limit tells apart. A link stands for a boot class and all pair classes with the
    same wishes as the one named.
    """

    pairs: tuple[tuple[str, ...], ...]
    boots: tuple[tuple[str, ...], ...]
    links: tuple[tuple[int, int], ...]
    brake_sets: tuple[tuple[Sort, ...], ...]
    levels: tuple[LevelProof, ...]

    def to_body(self) -> dict[str, Any]:
        """The key ``certificate`` of a plan."""
        return {
            "pairs": [" ".join(map(_quoted, tags)) for tags in self.pairs],
            "boots": [" ".join(map(_quoted, tags)) for tags in self.boots],
            "links": " ".join(f"{pair}/{boot}" for pair, boot in self.links),
            "brake_sets": [
                [{"pattern": pattern, "brake_um": brake} for pattern, brake in sorts]
                for sorts in self.brake_sets
            ],
            "levels": [level.to_body() for level in self.levels],
        }


def gap_percent(value: int, bound: int | None) -> float:
    """Return how much of the larger of the two lies between them, rounded up to a tenth; 100 without a
    bound.
    """
    if bound is None:
        return 100.0
    most = max(abs(value), abs(bound))
    return 0.0 if most == 0 else -(-1000 * (value - bound) // most) / 10


def certificate_from_body(data: Mapping[str, Any]) -> Certificate:
    """The inverse of `Certificate.to_body`. Raises KeyError, TypeError or ValueError on nonsense."""
    return Certificate(
        pairs=tuple(_tags(text) for text in data["pairs"]),
        boots=tuple(_tags(text) for text in data["boots"]),
        links=tuple(_link(text) for text in data["links"].split()),
        brake_sets=tuple(
            tuple((str(s["pattern"]), s["brake_um"]) for s in row) for row in data["brake_sets"]
        ),
        levels=tuple(
            LevelProof(
                name=str(row["name"]),
                value=int(row["value"]),
                bound=None if (bound := row.get("bound", row["value"])) is None else int(bound),
                scale=int(row["scale"]),
                multipliers={group: _long(row["multipliers"].get(group, "")) for group in GROUPS},
            )
            for row in data["levels"]
        ),
    )


def _short(values: Sequence[int]) -> str:
    runs = ((value, len(list(same))) for value, same in groupby(values))
    return " ".join(f"{value}x{times}" if times > 1 else str(value) for value, times in runs)


def _long(text: str) -> tuple[int, ...]:
    found: list[int] = []
    for run in text.split():
        value, _, times = run.partition("x")
        found += [int(value)] * (int(times) if times else 1)
    return tuple(found)


def _link(text: str) -> tuple[int, int]:
    pair, boot = text.split("/")
    return int(pair), int(boot)


def _quoted(tag: str) -> str:
    return tag.replace("%", "%25").replace(" ", "%20")


def _tags(text: str) -> tuple[str, ...]:
    return tuple(tag.replace("%20", " ").replace("%25", "%") for tag in text.split(" "))
