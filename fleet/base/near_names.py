"""*Did you mean*: the known name that comes nearest to what somebody typed."""

from collections.abc import Iterable


def nearest(name: str, known: Iterable[str], *, likeness: float = 0.6) -> str | None:
    """The known name most like it, at least so much (0 to 1: the share of letters kept, in their order).

    Of several as near, the last in the order of the alphabet, so that the same typing gives the same answer.
    """
    found = near(name, sorted(known, reverse=True), likeness=likeness, most=1)
    return found[0][0] if found else None


def did_you_mean(name: str, known: Iterable[str], otherwise: str) -> str:
    """The cure for a name that nobody knows: the nearest known one, else what to do otherwise."""
    found = nearest(name, known)
    return f"did you mean {found}?" if found else otherwise


def near(name: str, known: Iterable[str], *, likeness: float, most: int) -> list[tuple[str, float]]:
    """The known names at least so much like it with their likeness, the nearest first, ``most`` at most."""
    from rapidfuzz import fuzz, process  # for a name nobody knows only: the door opens without it

    found = process.extract(name, list(known), scorer=fuzz.ratio, score_cutoff=100 * likeness, limit=most)
    return [(other, score / 100) for other, score, _ in found]


def likeness_of(one: str, other: str) -> float:
    """Return the likeness of two names, 0 to 1."""
    from rapidfuzz import fuzz

    return fuzz.ratio(one, other) / 100
