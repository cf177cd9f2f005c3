"""A fault of one thing costs that thing: what can be made of the others is made, and the one is named.

A list of a hundred pairs must not stay unprinted for what stands in one of them. Nothing is hidden by it: the
one is handed back with its cause, and whoever asked says it and ends with exit code 1.
"""

import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, TypeVar

from fleet.base.errors import LedgerFault, MountbookError, Refused

_T = TypeVar("_T")
_R = TypeVar("_R")

_NOT_OF_ONE_THING: Final = (OSError, sqlite3.Error, LedgerFault, MemoryError)
"""A full disk or a broken ledger is no fault of the pair that was at hand."""
_TOGETHER: Final = 6
"""The most that are looked for of those that only fail together: each costs a few tries of the whole."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """A thing that could not be made (``work order``, ``K-031``), and the exception that says why."""

    what: str
    name: str
    error: Exception

    @property
    def reason(self) -> str:
        """The cause in a sentence; the program's own faults are called that."""
        return reason_of(self.error)

    def to_json(self) -> dict[str, str]:
        """``{"what": ..., "name": ..., "reason": ...}``."""
        return {"what": self.what, "name": self.name, "reason": self.reason}

    @property
    def instead(self) -> tuple[str, ...]:
        """The tags that the rules offer in its place."""
        return self.error.instead if isinstance(self.error, Refused) else ()

    def __str__(self) -> str:
        return f"{self.what} {self.name}: {self.reason}"


def reason_of(error: Exception) -> str:
    """An exception in a sentence, with its cure where it has one."""
    if not isinstance(error, MountbookError):
        return f"a fault of the program itself ({type(error).__name__}: {error})"
    return f"{error.sentence}; {error.cure}" if error.cure else error.sentence


def all_but_faulty(
    things: Sequence[_T],
    make: Callable[[Sequence[_T]], _R],
    *,
    what: str,
    name: Callable[[_T], str],
    most: int | None = None,
) -> tuple[_R | None, tuple[Fault, ...]]:
    """``make(things)``; where that fails, ``make`` of all but those at fault, and who they are.

    None is made where each of them fails. Costs nothing where all is well. Raises what `make` raises where
    more than ``most`` are at fault, or many only together.
    """
    try:
        return make(things), ()
    except _NOT_OF_ONE_THING:
        raise
    except Exception as error:
        if not things:
            raise
        fault = error
    found = _alone(things, make, fault, most)
    for _ in range(_TOGETHER):
        if most is not None and len(found) > most:
            raise fault
        rest = [n for n in range(len(things)) if n not in found]
        faults = tuple(Fault(what=what, name=name(things[n]), error=e) for n, e in sorted(found.items()))
        if not rest:
            return None, faults
        try:
            return make([things[n] for n in rest]), faults
        except _NOT_OF_ONE_THING:
            raise
        except Exception as error:
            one, inner = _first_too_many([things[n] for n in rest], make, error)
            found[rest[one]] = inner
    raise fault


def one_by_one(
    things: Sequence[_T], act: Callable[[_T], _R], *, what: str, name: Callable[[_T], str]
) -> tuple[list[_R], tuple[Fault, ...]]:
    """``act`` of each thing by itself: what came of those that went, and who was refused or failed, in order.

    Raises where the only one is refused, and where all are for one and the same reason: it is no fault of
    theirs.
    """
    done, faults = [], []
    for thing in things:
        try:
            done.append(act(thing))
        except _NOT_OF_ONE_THING:
            raise
        except Exception as error:
            faults.append(Fault(what=what, name=name(thing), error=error))
    if faults and not done and len({fault.reason for fault in faults}) == 1:
        raise faults[0].error
    return done, tuple(faults)


def all_or_raise(
    things: Sequence[_T], make: Callable[[Sequence[_T]], _R], *, what: str, name: Callable[[_T], str]
) -> tuple[_R, tuple[Fault, ...]]:
    """As `all_but_faulty`, but where each of them fails, the first one's fault is raised."""
    made, faults = all_but_faulty(things, make, what=what, name=name)
    if made is None:
        raise faults[0].error
    return made, faults


def _alone(
    things: Sequence[_T], make: Callable[[Sequence[_T]], _R], error: Exception, most: int | None
) -> dict[int, Exception]:
    """Return which fail alone, found by halves: those of a half that can be made are well."""
    found: dict[int, Exception] = {}
    failing = [(range(len(things)), error)]
    while failing and (most is None or len(found) <= most):
        some, fault = failing.pop()
        if len(some) == 1:
            found[some[0]] = fault
            continue
        middle = len(some) // 2
        for half in (some[middle:], some[:middle]):
            try:
                make([things[n] for n in half])
            except _NOT_OF_ONE_THING:
                raise
            except Exception as inner:
                failing.append((half, inner))
    return found


def _first_too_many(
    things: Sequence[_T], make: Callable[[Sequence[_T]], _R], error: Exception
) -> tuple[int, Exception]:
    """The first thing that cannot be made together with those before it; all of them together fail."""
    well, fails = 0, len(things)
    while fails - well > 1:
        middle = (well + fails) // 2
        try:
            make(things[:middle])
            well = middle
        except _NOT_OF_ONE_THING:
            raise
        except Exception as inner:
            fails, error = middle, inner
    return fails - 1, error


def own_fault(fault: Exception) -> MountbookError:
    """Return an unforeseen fault as a sentence for the bench, with the traceback kept in a file."""
    return MountbookError(
        reason_of(fault),
        cure=f"look whether your action is in the ledger before you repeat it; and {kept(fault)}",
    )


def kept(fault: Exception) -> str:
    """Keep the traceback in a file for whoever repairs the program; return where, or why it could not be
    kept.
    """
    import tempfile
    import traceback

    try:
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", errors="backslashreplace", prefix="mountbook_fault_", suffix=".txt",
            delete=False,
        ) as file:  # fmt: skip
            traceback.print_exception(fault, file=file)
    except OSError as full:
        return f"its trace could not be kept ({full.strerror or full}): free some space and do it again"
    return f"send {file.name} to whoever looks after mountbook"
