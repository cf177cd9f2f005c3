"""Ctrl-C at any moment: one sentence and exit code 130. Imports only ``sys``, to be there first."""

import sys

STOPPED = 130
"""The exit code of a command that was interrupted: 128 and the number of the signal, as shells count."""

_WORDS = "stopped before the end; every action in the ledger is whole"
_CURE = "run it again; `mountbook audit` says whether the ledger is sound"


def say_stopped() -> None:
    """Print the sentence on stderr, and with ``--json`` the one object on stdout."""
    if "--json" in sys.argv:
        import json

        sys.stdout.write(json.dumps({"refused": _WORDS, "cure": _CURE, "instead": []}, indent=2) + "\n")
    sys.stderr.write(f"mountbook: {_WORDS}\n  {_CURE}\n")


class no_traceback:  # noqa: N801 (reads as a statement; contextlib would cost an import before it can catch)
    """``with no_traceback():`` turns Ctrl-C inside into the sentence and exit code 130."""

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is not None and issubclass(kind, KeyboardInterrupt):
            say_stopped()
            sys.exit(STOPPED)
