"""A random draw that anybody can repeat: units ordered by a hash of the seed and their name."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable


def draw(units: Iterable[str], *, seed: str, size: int) -> tuple[str, ...]:
    """Return ``size`` different units. Each set is equally likely over seeds; every machine draws the same.

    Order by SHA-256 of ``seed`` and unit; the order in which the units come in does not matter.
    """
    return tuple(sorted(set(units), key=lambda unit: (_rank(seed, unit), unit))[:size])


def _rank(seed: str, unit: str) -> bytes:
    return hashlib.sha256(f"{seed}\n{unit}".encode()).digest()


def draw_halves(
    returned: Iterable[str], rack: Iterable[str], *, seed: str, size: int
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return a draw, half from today's returns, half from the rack. One half fills up what the other
    lacks.
    """
    back, stands = set(returned), set(rack) - set(returned)
    want_back = min(len(back), max(size - size // 2, size - len(stands)))
    from_back = draw(back, seed=f"{seed}/back", size=want_back)
    return from_back, draw(stands, seed=f"{seed}/rack", size=size - len(from_back))
