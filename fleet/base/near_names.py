"""*Did you mean*: the known name that comes nearest to what somebody typed."""

from collections.abc import Iterable


def nearest(name: str, known: Iterable[str], *, likeness: float = 0.6) -> str | None:
    """The known name most like it, at least so much (0 to 1: the share of letters kept, in their order).

    Of several as near, the last in the order of the alphabet, so that the same typing gives the same answer.
    """
    from rapidfuzz import fuzz, process  # for a name nobody knows only: the door opens without it

    names = sorted(known, reverse=True)
    found = process.extractOne(name, names, scorer=fuzz.ratio, score_cutoff=100 * likeness)
    return found[0] if found else None
