"""HiGHS without its banner, which would stand on stdout before the answer."""

from __future__ import annotations

from typing import Any, Final

_OPTIONS: Final = {"output_flag": False, "threads": 1, "random_seed": 0, "mip_rel_gap": 0.0}
"""One thread and one seed: the same program has the same answer."""


def quiet_highs() -> Any:
    """A new solver."""
    import highspy

    class Quiet(highspy.Highs):
        def enableCallbacks(self) -> None:  # noqa: N802 - HiGHS names it; it is what prints the banner
            self.setOptionValue("output_flag", False)
            super().enableCallbacks()  # type: ignore[no-untyped-call]

    made: Any = Quiet
    solver = made()
    for name, setting in _OPTIONS.items():
        solver.setOptionValue(name, setting)
    return solver
