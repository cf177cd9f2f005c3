from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

from tests.imports.corpus.cases import CASES


@pytest.fixture(scope="session")
def corpus_file(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """A file of the corpus by its name, made when it is first asked for; no test changes it."""
    folder = tmp_path_factory.mktemp("corpus")

    @cache
    def made(name: str) -> Path:
        CASES[name].make(folder / name)
        return folder / name

    return made
