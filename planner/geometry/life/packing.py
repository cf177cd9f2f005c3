"""The most positions that all agree: an exact search over bit sets, with cached answers."""

from collections.abc import Callable, Sequence


def most_agreeing(
    agrees: Sequence[int], free: int, known: dict[int, int], step: Callable[[], None] = lambda: None
) -> int:
    """Return the size of a largest set of agreeing nodes within ``free``.

    ``agrees[v]`` has a bit for every node that agrees with v. Agreement of positions along a line depends
    on nearby positions only, so after a choice the remaining sets repeat: ``known`` holds what they came to.
    ``step`` is called for each set that is not known yet.
    """
    if not free:
        return 0
    if free not in known:
        step()
        # the lowest set bit: positions ascend along the ski; free & (free - 1) is the set without it
        v = (free & -free).bit_length() - 1
        rest = free & (free - 1)
        size = 1 + most_agreeing(agrees, rest & agrees[v], known, step)
        # A node that disagrees with nothing left is always taken; else the other branch is looked at.
        if rest & ~agrees[v]:
            size = max(size, most_agreeing(agrees, rest, known, step))
        known[free] = size
    return known[free]


def bits(mask: int) -> list[int]:
    """Return the node numbers of a bit set, ascending."""
    found = []
    while mask:
        low = mask & -mask
        found.append(low.bit_length() - 1)
        mask ^= low
    return found
