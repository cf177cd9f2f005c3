"""The corpus: every habit and defect of a file, by the file's name.

What must come of a file is written by hand beside what is odd in it, never taken from what the importer
says. The files are made while the tests run (`corpus_file` in tests/imports/conftest.py); none is kept.
"""

from __future__ import annotations

from typing import Final

from tests.imports.corpus.case import Case
from tests.imports.corpus.contradiction_cases import CASES as CONTRADICTIONS
from tests.imports.corpus.csv_cases import CASES as TEXT_TABLES
from tests.imports.corpus.doubt_cases import CASES as DOUBTS
from tests.imports.corpus.gate_cases import CASES as GATES
from tests.imports.corpus.shape_cases import CASES as SHAPES
from tests.imports.corpus.value_cases import CASES as VALUES

ALL: Final[list[Case]] = [*GATES, *SHAPES, *VALUES, *TEXT_TABLES, *CONTRADICTIONS, *DOUBTS]
CASES: Final[dict[str, Case]] = {case.name: case for case in sorted(ALL, key=lambda case: case.name)}
