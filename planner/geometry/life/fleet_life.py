"""Life left of pairs of a fleet, for the patterns and soles that the fleet uses."""

from collections.abc import Iterator
from dataclasses import dataclass

from fleet.facts.holes import Side
from fleet.facts.kinds import Kind
from fleet.facts.pairs import Pair
from fleet.tables.snapshot import Fleet
from planner.geometry.life.compatibility import AgreementCache, CompatibilityGraph
from planner.geometry.life.positions import positions_of
from planner.geometry.life.sequence import LifeLeft, greedy_order, longest_life, longest_order
from planner.geometry.placement.frames import frame_of, ski_state
from planner.geometry.placement.rule import rule_for


@dataclass(frozen=True, slots=True, kw_only=True)
class PairLife:
    """The life left of one pair: holes on record (both skis), drilled mounts, policy limit, life by
    pattern.
    """

    tag: str
    holes: int
    drilled_mounts: int
    earlier_mounts_known: bool
    mounts_max: int
    by_pattern: tuple[LifeLeft, ...]
    why_none: str

    @property
    def best(self) -> LifeLeft | None:
        """The pattern with the longest life; among equals the first by name."""
        return max(self.by_pattern, key=lambda life: life.at_least, default=None)


class FleetLife:
    """Life left of the pairs of one fleet. Answers that many skis share are cached."""

    def __init__(self, fleet: Fleet) -> None:
        self._fleet = fleet
        self._caches: dict[tuple[str, str], AgreementCache] = {}
        self._used = _patterns_used(fleet)
        self._soles = _soles_used(fleet)
        self._places: dict[object, int] = {}

    def all_pairs(self) -> Iterator[PairLife]:
        """Yield the life left of every pair of the fleet, by tag."""
        for pair in self._fleet.pairs.values():
            yield self.of(pair)

    def places(self, pair: Pair, *, most: int) -> int:
        """Return how many further mounts the spacing leaves a pair, with the pattern that has room for most
        of them; counted no further than ``most``.
        """
        shift = frame_of(pair).shift_um
        skis = tuple((shift[side], ski_state(pair.skis[side])) for side in Side)
        key = (pair.kind, pair.construction, skis, most)
        if key not in self._places:
            self._places[key] = self._counted(pair, most)
        return self._places[key]

    def _counted(self, pair: Pair, most: int) -> int:
        found = 0
        for name in self._used.get(pair.kind, ()):
            if found < most and self._soles.get(name):
                graph = self._graph(pair, name)
                best, _ = longest_order(graph, greedy_order(graph), more_than=found, most=most)
                found = max(found, len(best))
        return found

    def of(self, pair: Pair) -> PairLife:
        """Return one pair's life left, pattern by pattern."""
        lives = [
            longest_life(self._graph(pair, name))
            for name in self._used.get(pair.kind, ())
            if self._soles.get(name)
        ]
        return PairLife(
            tag=pair.tag,
            holes=sum(len(pair.skis[s].holes) for s in Side),
            drilled_mounts=pair.drilled_mounts,
            earlier_mounts_known=pair.earlier_mounts is not None,
            mounts_max=self._fleet.policy.count("mounts_max"),
            by_pattern=tuple(lives),
            why_none=_why_none(pair, lives),
        )

    def _graph(self, pair: Pair, name: str) -> CompatibilityGraph:
        cache = self._cache(pair, name)
        return CompatibilityGraph(cache, positions_of(pair, cache.pattern, cache.rule, cache.bsls_um))

    def _cache(self, pair: Pair, name: str) -> AgreementCache:
        key = (name, pair.construction.value if pair.construction else "")
        if key not in self._caches:
            self._caches[key] = AgreementCache(
                self._fleet.patterns[name],
                rule_for(self._fleet.policy, pair.construction),
                self._soles[name],
            )
        return self._caches[key]


def _patterns_used(fleet: Fleet) -> dict[Kind, tuple[str, ...]]:
    """Return the patterns that pairs of each kind carry now or carried before."""
    used: dict[Kind, set[str]] = {pair.kind: set() for pair in fleet.pairs.values()}
    for pair in fleet.pairs.values():
        used[pair.kind].update([mount.pattern for mount in pair.mounts])
    for binding in fleet.bindings.values():
        if (carrying := fleet.pairs.get(binding.on_pair or "")) is not None:
            used[carrying.kind].add(binding.pattern)
    return {kind: tuple(sorted(names & fleet.patterns.keys())) for kind, names in used.items()}


def _soles_used(fleet: Fleet) -> dict[str, tuple[int, ...]]:
    """Return the sole lengths (µm) of boots that fit each pattern, as both makers declare."""
    declared = {(fit.pattern, fit.sole_type) for fit in fleet.fits}
    boots = {(boot.sole_type, boot.bsl_um) for boot in fleet.boots.values()}
    return {
        name: tuple(
            sorted(
                {
                    bsl
                    for sole, bsl in boots
                    if bsl is not None and (name, sole) in declared and pattern.takes_bsl(bsl)
                }
            )
        )
        for name, pattern in fleet.patterns.items()
    }


def _why_none(pair: Pair, lives: list[LifeLeft]) -> str:
    if any(life.at_least for life in lives):
        return ""
    if not lives:
        return "no pattern of this kind is in use with soles that fit"
    if any(not pair.skis[s].zone_known for s in Side):
        return "the mounting zone is not known"
    if any(not pair.skis[s].inspected for s in Side):
        return "not inspected: survey it bare first"
    return "no room is left between the old holes"
