"""Modules named at the top of a file and loaded only when a command uses them: a command starts at once."""

import sys
from collections.abc import Sequence
from importlib.machinery import ModuleSpec, PathFinder
from importlib.util import LazyLoader
from types import ModuleType


class when_used:  # noqa: N801 - it reads as a statement
    """``with when_used():`` has the modules that are imported inside loaded at their first use.

    Import a module inside, not a name out of it: asking it for a name is a use.
    """

    def __enter__(self) -> None:
        sys.meta_path.insert(0, self)

    def __exit__(self, *_: object) -> None:
        sys.meta_path.remove(self)

    def find_spec(
        self, name: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """Return where Python finds the module, with a loader that waits; a package is loaded as ever."""
        spec = PathFinder.find_spec(name, path, target)
        if spec is not None and spec.loader is not None and spec.submodule_search_locations is None:
            spec.loader = LazyLoader(spec.loader)
        return spec


def load_all_named() -> None:
    """Load what was named and not used yet, before threads might do so at the same time."""
    for module in list(sys.modules.values()):
        vars(module)
