"""The deadline of a search. The clock is given, so that a test can turn it."""

import time
from collections.abc import Callable
from math import inf


class OutOfTime(Exception):
    """A step was cut short; what was found before it stands."""


class Deadline:
    """A moment by a clock that only runs forward; over once, over for good."""

    def __init__(self, seconds: float = inf, clock: Callable[[], float] = time.monotonic) -> None:
        """``seconds`` from now by the clock (which counts seconds); infinite: never over."""
        self._clock = clock
        self._end = inf if seconds == inf else clock() + seconds
        self._passed = False

    @property
    def set(self) -> bool:
        """Return whether there is a limit at all."""
        return self._end < inf

    def left(self) -> float:
        """Seconds left, never less than nought."""
        if self._passed:
            return 0.0
        return inf if self._end == inf else max(0.0, self._end - self._clock())

    def over(self) -> bool:
        """Return whether it has passed."""
        if not self._passed and self._end < inf and self._clock() >= self._end:
            self._passed = True
        return self._passed


NEVER = Deadline()
OVER = Deadline(-inf)
