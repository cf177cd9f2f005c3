"""Makes the corpus: every file with its expected outcome beside it. Run: python -m tests.imports.corpus.make

The expected outcomes are written by hand in the case lists, never taken from what the importer says.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from tests.imports.corpus.case import Case
from tests.imports.corpus.contradiction_cases import CASES as CONTRADICTIONS
from tests.imports.corpus.csv_cases import CASES as TEXT_TABLES
from tests.imports.corpus.doubt_cases import CASES as DOUBTS
from tests.imports.corpus.gate_cases import CASES as GATES
from tests.imports.corpus.shape_cases import CASES as SHAPES
from tests.imports.corpus.value_cases import CASES as VALUES

FILES = Path(__file__).with_name("files")
CASES: list[Case] = [*GATES, *SHAPES, *VALUES, *TEXT_TABLES, *CONTRADICTIONS, *DOUBTS]


def expected_path(name: str, folder: Path = FILES) -> Path:
    return folder / f"{name}.expected.json"


def make_all(folder: Path) -> int:
    """Write all cases into a folder; returns their number."""
    for case in CASES:
        case.make(folder / case.name)
        text = json.dumps(case.expected(), ensure_ascii=False, indent=1) + "\n"
        expected_path(case.name, folder).write_text(text, encoding="utf-8")
    return len(CASES)


if __name__ == "__main__":
    sys.stdout.write(f"{make_all(FILES)} files\n")
