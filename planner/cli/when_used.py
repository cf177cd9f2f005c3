"""Modules named at the top of a file and loaded only when a command uses them: a command starts at once."""

import builtins
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from importlib import import_module
from importlib.util import find_spec, module_from_spec
from types import ModuleType
from typing import Final

_NAMED: Final[list[ModuleType]] = []


@contextmanager
def when_used() -> Iterator[None]:
    """``with when_used():`` has the modules that are named inside loaded at their first use.

    Write ``from package import module``, never a name out of the module. What a package itself imports is
    loaded with it.
    """
    at_once = builtins.__import__

    def named(
        name: str,
        globals: Mapping[str, object] | None = None,  # noqa: A002 - as Python calls it
        locals: Mapping[str, object] | None = None,  # noqa: A002
        fromlist: Sequence[str] | None = None,
        level: int = 0,
    ) -> ModuleType:
        builtins.__import__ = at_once  # what these modules import is loaded with them
        package = import_module(name) if fromlist else at_once(name, globals, locals, fromlist, level)
        for module in fromlist or ():
            _wait(package, module)
        builtins.__import__ = named
        return package

    builtins.__import__ = named
    try:
        yield
    finally:
        builtins.__import__ = at_once


class _Waiting(ModuleType):
    """A module of the package that is loaded when it is asked for anything of its own."""

    def __getattr__(self, name: str) -> object:
        if name.startswith("__"):  # Python itself asks for these, and takes no fault for an answer
            raise AttributeError(name)
        self.load()
        return getattr(self, name)

    def load(self) -> None:
        """Load it. A module that fails to load waits on, so that its fault is raised again and never lost."""
        spec = self.__spec__
        assert spec is not None
        assert spec.loader is not None
        self.__class__ = ModuleType  # type: ignore[assignment]
        try:
            spec.loader.exec_module(self)
        except BaseException:
            self.__class__ = _Waiting
            raise


def _wait(package: ModuleType, name: str) -> None:
    """Put the module into its package, to be loaded when it is asked for anything."""
    full = f"{package.__name__}.{name}"
    spec = find_spec(full) if full not in sys.modules else None
    if spec is not None:
        sys.modules[full] = module = module_from_spec(spec)
        module.__class__ = _Waiting
        setattr(package, name, module)
        _NAMED.append(module)


def load_all_named() -> None:
    """Load what was named and not used yet, before threads might do so at the same time."""
    for module in _NAMED:
        if isinstance(module, _Waiting):
            module.load()
