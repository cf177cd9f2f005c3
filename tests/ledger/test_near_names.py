"""*Did you mean*: the nearest known name, or none; the expected names are what a reader would say."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from fleet.base.errors import nearest

ROOT = Path(__file__).parents[2]
TAGS = ("B-210", "K-030", "K-031", "K-130")


@pytest.mark.parametrize(
    ("typed", "known", "likeness", "found"),
    [
        ("K-0311", TAGS, 0.6, "K-031"),
        ("k-031", TAGS, 0.6, "K-031"),
        ("K31", TAGS, 0.6, "K-031"),
        ("K-0X0", TAGS, 0.6, "K-030"),
        ("zzz", TAGS, 0.6, None),
        ("K-031", (), 0.6, None),
        ("", TAGS, 0.6, None),
        ("ab", ("abcd",), 0.66, "abcd"),  # 2 letters kept of 2 and of 4: 4 / 6 alike
        ("ab", ("abcd",), 0.67, None),
        ("K-03", TAGS, 0.6, "K-031"),  # K-030 is as near
        ("K-03", tuple(reversed(TAGS)), 0.6, "K-031"),
    ],
)
def test_the_nearest_known_name(typed: str, known: tuple[str, ...], likeness: float, found: str) -> None:
    assert nearest(typed, known, likeness=likeness) == found


def test_there_is_one_place_that_knows_what_is_near() -> None:
    wanted = {"difflib", "rapidfuzz"}
    using = {
        str(path.relative_to(ROOT))
        for package in ("fleet", "imports", "planner")
        for path in (ROOT / package).rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and node.module in wanted
    }
    assert using == {"fleet/base/errors.py"}
