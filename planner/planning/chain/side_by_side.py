"""The shops' problems side by side in processes: each shop stays with one of them, whose solver is warm.

What a shop answers follows from its job and the question alone, so that anything else that carries values to
a function and back could stand here.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import ExitStack
from multiprocessing import get_context
from os import cpu_count
from typing import Any, TypeVar

from planner.planning.chain.prices import Ask, ShopAnswer, ShopDesk, ShopFrame, ShopJob

_T = TypeVar("_T")
_desks: dict[int, ShopDesk] = {}
"""The shops of this process."""


class SideBySide(ExitStack):
    """So many processes, or none: then everything is done here, one shop after the other."""

    def __init__(self, processes: int | None = None) -> None:
        """``processes``: None for one on each processor."""
        super().__init__()
        count = (cpu_count() or 1) if processes is None else processes
        context = get_context("spawn")
        self._pools = [ProcessPoolExecutor(1, mp_context=context) for _ in range(count if count > 1 else 0)]
        for pool in self._pools:  # nothing is started before the first question
            self.callback(pool.shutdown, cancel_futures=True)

    def each(self, function: Callable[..., _T], *arguments: Sequence[Any]) -> list[_T]:
        """``function`` for each shop, with its place among ``arguments``; in the order of the shops."""
        if not self._pools:
            return [function(*row) for row in zip(*arguments, strict=True)]
        rows = list(zip(*arguments, strict=True))
        asked: list[Future[_T]] = [
            self._pools[number % len(self._pools)].submit(function, *row) for number, row in enumerate(rows)
        ]
        return [each.result() for each in asked]

    def open(self, jobs: Sequence[ShopJob]) -> list[ShopFrame]:
        """Each shop's problem is made; what the chain must know of it."""
        return self.each(_open, range(len(jobs)), jobs)

    def ask(self, shops: int, ask: Ask) -> list[ShopAnswer]:
        """The answer of each shop."""
        return self.each(_answer, range(shops), [ask] * shops)


def _open(number: int, job: ShopJob) -> ShopFrame:
    _desks[number] = ShopDesk(job)
    return _desks[number].program.frame()


def _answer(number: int, ask: Ask) -> ShopAnswer:
    return _desks[number].answer(ask)
