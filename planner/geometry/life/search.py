"""A complete search for a longer order of mounts, with cached failures and a limit of steps."""

from collections.abc import Sequence

from planner.geometry.life.compatibility import Combination, CompatibilityGraph
from planner.geometry.life.packing import bits, most_agreeing


class OutOfSteps(Exception):
    """Raised when the search used all its steps without an answer."""


def searched_order(
    graph: CompatibilityGraph, known: Sequence[Combination], bound: int, *, steps: int
) -> tuple[list[Combination], int]:
    """Return the longest order and its bound; they are equal unless ``steps`` ran out. ``known``: the best so
    far.
    """
    best = list(known)
    search = _Search(graph, steps)
    try:
        # From above: a bound that cannot be reached is what is usually wrong, and soonest refuted.
        while bound > len(best):
            found = search.order_of(bound)
            if found is None:
                bound -= 1
            else:
                best = found
    except OutOfSteps:
        pass
    return best, bound


class _Search:
    """The search. Mounts are taken by rising position of the scarcest piece, so that no set comes twice."""

    def __init__(self, graph: CompatibilityGraph, steps: int) -> None:
        self._agrees = graph.agrees
        self._steps = steps
        self._failed: set[tuple[int, int]] = set()
        self._sizes: dict[int, int] = {}
        self._all = graph.useful
        self._pieces = [sum(1 << v for v in piece) & self._all for piece in graph.by_piece]
        self._lead = min(range(len(self._pieces)), key=lambda k: self._pieces[k].bit_count())
        self._partners: dict[int, list[tuple[int, Combination]]] = {}
        self._beside: dict[int, int] = {}
        for mount in graph.mounts:
            lead = mount[self._lead]
            mask = sum(1 << v for v in mount)
            self._partners.setdefault(lead, []).append((mask, mount))
            for v in mount:
                self._beside[v] = self._beside.get(v, 0) | mask

    def order_of(self, length: int) -> list[Combination] | None:
        """Return an order of that length, None if there is none. Raises OutOfSteps."""
        return self._order(self._all, length)

    def _order(self, free: int, length: int) -> list[Combination] | None:
        if length == 0:
            return []
        free = self._with_partners(free)
        if (free, length) in self._failed:
            return None
        self._step()
        if all(self._size(free & piece) >= length for piece in self._pieces):
            found = self._led(free, length)
            if found is not None:
                return found
        self._failed.add((free, length))
        return None

    def _led(self, free: int, length: int) -> list[Combination] | None:
        lead = self._pieces[self._lead]
        for v in bits(free & lead):
            # Those below v had their turn as the lowest; too few left: nor can those above.
            if self._size(free & lead) < length:
                return None
            beside = free & self._agrees[v]
            seen: set[int] = set()
            for mask, mount in self._partners[v]:
                if mask & ~free:
                    continue
                left = beside
                for w in mount:
                    left &= self._agrees[w] if w != v else left
                if left in seen:
                    continue
                seen.add(left)
                rest = self._order(left, length - 1)
                if rest is not None:
                    return [mount, *rest]
            free &= ~(1 << v)
        return None

    def _with_partners(self, free: int) -> int:
        """Return only positions that some mount of free positions may use (necessary, not sufficient)."""
        for _ in range(2):
            kept = 0
            for v in bits(free):
                others = self._beside[v] & free
                if all(others & piece for piece in self._pieces):
                    kept |= 1 << v
            if kept == free:
                break
            free = kept
        return free

    def _size(self, free: int) -> int:
        """Return the size of the largest set of agreeing positions."""
        return most_agreeing(self._agrees, free, self._sizes, self._step)

    def _step(self) -> None:
        self._steps -= 1
        if self._steps < 0:
            raise OutOfSteps
