"""Work that makes much and throws nothing away: Python need not look for what could be freed meanwhile."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def nothing_collected() -> Iterator[None]:
    """While a file is read or applied, or a plan made: to look for what does not stay takes a fifth of it."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
