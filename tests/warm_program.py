"""A copy of the program in a process of its own: started once, then forked for each command typed.

A command's words come in as a line of JSON, its exit code and what it printed go out as one. What a command
imported is imported for all later ones: a fresh process would read the whole program again for each. Nothing
waits for the disk: a test may lose a file to a power cut.
"""

from __future__ import annotations

import importlib
import json
import os
import subprocess
import sys
import tempfile
import traceback
from contextlib import suppress
from pathlib import Path


class WarmProgram:
    """The program that stands in that folder; it ends with this object."""

    def __init__(self, folder: Path) -> None:
        self._served = subprocess.Popen(
            [sys.executable, str(Path(__file__))],
            cwd=folder,
            env=os.environ | {"PYTHONPATH": str(folder)},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def run(self, *words: str, env: dict[str, str]) -> tuple[int, str]:
        """Return the exit code and what was printed; ``env`` is added to the environment."""
        assert self._served.stdin
        assert self._served.stdout
        print(json.dumps({"words": words, "env": env}), file=self._served.stdin, flush=True)
        answer = json.loads(self._served.stdout.readline())
        return answer["code"], answer["said"]

    def close(self) -> None:
        """End the process; its last line has been answered."""
        self._served.communicate()


def _command(words: list[str], env: dict[str, str], said: int, imported: Path) -> None:
    sys.stdin = Path(os.devnull).open(encoding="utf-8")  # noqa: SIM115 - it ends with the process
    os.dup2(said, 1)
    os.dup2(said, 2)
    os.environ.update(env)
    sys.argv = ["mountbook", *words]
    code = 1
    os.fsync = lambda handle: None
    with suppress(Exception):  # what it refuses to start for, it says itself
        connection = importlib.import_module("fleet.tables.connection")
        connection._PRAGMAS = tuple(each.replace("EXTRA", "OFF") for each in connection._PRAGMAS)
    try:
        importlib.import_module("planner.cli.main").main()
        code = 0
    except SystemExit as end:
        code = int(end.code or 0)
    except BaseException:
        traceback.print_exc()
    sys.stdout.flush()
    sys.stderr.flush()
    imported.write_text("\n".join(name for name in sys.modules if name != "__main__"), encoding="utf-8")
    os._exit(code)


def _serve() -> None:
    with tempfile.TemporaryDirectory() as folder:
        said, imported = Path(folder) / "said", Path(folder) / "imported"
        for line in sys.stdin:
            with said.open("wb") as file:
                if not (pid := os.fork()):
                    _command(**json.loads(line), said=file.fileno(), imported=imported)
            code = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
            for name in () if code else imported.read_text(encoding="utf-8").splitlines():
                with suppress(ImportError):
                    importlib.import_module(name)
            sys.stdout.write(json.dumps({"code": code, "said": said.read_text(encoding="utf-8")}) + "\n")
            sys.stdout.flush()


if __name__ == "__main__":
    _serve()
