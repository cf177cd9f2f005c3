"""The tests of a room, collected once; then one forked process a mutant runs those that reach it.

    python -m tests.mutation.warm TESTS ... < NAMES

Names of mutants come in, one a line; out goes a line of JSON for each, as it becomes known. Before the first
mutant the tests run twice in processes of their own: once to learn which test reaches which function and
how long it takes, and once with every mutated function failing, which has to be seen. Tests that killed
before run first, then the quick ones. A fork begins where collection ended, so no fixture is shared between
two mutants.
"""

from __future__ import annotations

import json
import os
import resource
import signal
import sys
import traceback
from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import Final, NamedTuple

import pytest
from mutmut.mutation import trampoline

_CPU_S, _WALL_S, _TIMES = 10, 60, 8
_KILLED, _SURVIVED, _ENDLESS = "killed", "survived", "never ended"
_STOPPED: Final = {-signal.SIGXCPU: _ENDLESS, -signal.SIGALRM: _ENDLESS}


class Reached(NamedTuple):
    """One test in the run before: the functions it reached, its seconds, whether it passed."""

    test: str
    functions: list[str]
    seconds: float
    passed: bool


class Warm:
    """A pytest plugin in place of pytest's own loop over the tests."""

    def __init__(self, names: list[str], say: Callable[[dict[str, object]], None]) -> None:
        self._names = names
        self._say = say
        self._seconds = 0.0

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self._seconds += report.duration

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        reached = list(self._reached(session))
        if failed := [each.test for each in reached if not each.passed]:
            self._say({"stop": f"without any fault these fail: {', '.join(failed)}"})
            return True
        seconds = {each.test: each.seconds for each in reached}
        if self._tried(session, session.items, "fail", 60 + sum(seconds.values()))[0] != _KILLED:
            self._say(
                {"stop": "no test failed where every mutated function fails: the copy is not what is tested"}
            )
            return True
        killers: list[str] = []
        for name in self._names:
            function = name.partition("__mutmut_")[0]
            tests = {each.test for each in reached if function in each.functions}
            first = {test: place for place, test in enumerate(killers)}
            items = sorted(
                (item for item in session.items if item.nodeid in tests),
                key=lambda item: (first.get(item.nodeid, len(first)), seconds[item.nodeid]),
            )
            became, by = _SURVIVED, ""
            if items:
                became, by = self._tried(session, items, name, sum(seconds[test] for test in tests))
            if by:
                killers = [by, *(test for test in killers if test != by)]
            self._say({"name": name, "became": became, "by": by})
        return True

    def _reached(self, session: pytest.Session) -> Iterator[Reached]:
        """Every test once without a fault, each with the mutated functions it calls in this process."""

        def run(answer: Callable[[object], None]) -> None:
            hits: set[str] = set()
            trampoline.record_trampoline_hit = lambda name, caller=None: hits.add(name)
            trampoline.set_mutant_under_test("stats")
            for item, following in zip(session.items, [*session.items[1:], None], strict=True):
                hits.clear()
                self._seconds, failed = 0.0, session.testsfailed
                item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
                passed = session.testsfailed == failed
                answer(Reached(item.nodeid, sorted(hits), self._seconds, passed))

        answers, _ = _forked(run, cpu_s=36_000, wall_s=36_000)
        yield from (Reached(*answer) for answer in answers)

    def _tried(
        self, session: pytest.Session, items: list[pytest.Item], name: str, seconds: float
    ) -> tuple[str, str]:
        """What became of the mutant, and the test that killed it."""

        def run(answer: Callable[[object], None]) -> None:
            trampoline.set_mutant_under_test(name)
            for item, following in zip(items, [*items[1:], None], strict=True):
                answer(item.nodeid)
                item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
                if session.testsfailed:
                    os._exit(1)

        answers, code = _forked(run, cpu_s=_CPU_S + _TIMES * seconds, wall_s=_WALL_S + 3 * _TIMES * seconds)
        if code == 0:
            return _SURVIVED, ""
        return _STOPPED.get(code, _KILLED), str(answers[-1]) if answers else ""


def _forked(
    run: Callable[[Callable[[object], None]], None], *, cpu_s: float, wall_s: float
) -> tuple[list, int]:
    """What the function answered in a process of its own, and how that ended: 0 well, below 0 by a signal.

    Time is counted in seconds of the processor, so that a busy machine stops no mutant; the clock on the wall
    is for what waits without end.
    """
    sys.stdout.flush()
    sys.stderr.flush()
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read)
        os.setsid()
        resource.setrlimit(resource.RLIMIT_CPU, (int(cpu_s), int(cpu_s) + 1))
        signal.alarm(int(wall_s))
        code = 3
        try:
            run(lambda answer: os.write(write, json.dumps(answer).encode() + b"\n") and None)
            code = 0
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(code)
    os.close(write)
    with os.fdopen(read, encoding="utf-8") as lines:
        answers = [json.loads(line) for line in lines]
    _, status = os.waitpid(child, 0)
    with suppress(ProcessLookupError):
        os.killpg(child, signal.SIGKILL)  # what it started and left behind
    return answers, os.waitstatus_to_exitcode(status)


def main() -> int:
    """Answers on the standard output; what pytest prints goes into a file beside the tests."""
    names = sys.stdin.read().split()
    out = os.fdopen(os.dup(1), "w", encoding="utf-8", buffering=1)
    log = os.open("warm.log", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(log, 1)
    os.dup2(log, 2)
    plugin = Warm(names, lambda answer: print(json.dumps(answer), file=out))
    options = ["-q", "-p", "no:xdist", "-p", "no:cacheprovider", "--tb=native"]
    return int(pytest.main([*options, *sys.argv[1:]], plugins=[plugin]))


if __name__ == "__main__":
    sys.exit(main())
