"""For all tests: the command tree is built once a process."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import pytest
import typer.main
import typer.testing


@pytest.fixture(scope="session", autouse=True)
def one_command_tree() -> Iterator[None]:
    """A process of the user's builds it once; here hundreds of calls would each build the same again."""
    once = cache(typer.main.get_command)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(typer.main, "get_command", once)
        patch.setattr(typer.testing, "_get_command", once, raising=False)  # its own name for it
        yield
