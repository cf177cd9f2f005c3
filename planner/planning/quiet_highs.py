"""HiGHS without its banner, which would stand on stdout before the answer."""

from collections.abc import Mapping
from typing import Any, Final

ONE_ANSWER: Final[Mapping[str, Any]] = {"threads": 1, "parallel": "off", "random_seed": 0, "mip_rel_gap": 0.0}
"""One thread, one seed and no gap: the same program has the same answer, and it is the best."""


def quiet_highs(options: Mapping[str, Any]) -> Any:
    """A new solver with these options."""
    import highspy

    class Quiet(highspy.Highs):
        def enableCallbacks(self) -> None:  # noqa: N802 - HiGHS names it; it is what prints the banner
            self.setOptionValue("output_flag", False)
            super().enableCallbacks()  # type: ignore[no-untyped-call]

    made: Any = Quiet
    solver = made()
    solver.setOptionValue("output_flag", False)
    for name, setting in options.items():
        solver.setOptionValue(name, setting)
    return solver
