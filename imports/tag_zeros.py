"""A pair named with other zeros than its own row has: ``001`` and ``1`` are asked about once."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Collection, Iterable
from typing import Final

from imports.answers import RIGHT
from imports.headers import Table
from imports.rows import Row

_ZEROS: Final = re.compile(r"(?<!\d)0+(?=\d)")
_NAMES_A_PAIR: Final = (Table.HOLE, Table.SIDE, Table.MOUNT, Table.AREA)


def match_zeros(rows: Iterable[Row], known: Collection[str]) -> None:
    """Take a pair's name in a list of holes as the tag that differs in zeros alone, where that was answered.

    ``known``: the tags of the sheets and of the ledger. Where two of them differ so, nothing is said.
    """
    alike: dict[str, list[str]] = defaultdict(list)
    for tag in known:
        alike[_ZEROS.sub("", tag)].append(tag)
    for row in rows:
        said = row.values.get("pair_tag")
        if row.table not in _NAMES_A_PAIR or said is None or said in known:
            continue
        found = alike.get(_ZEROS.sub("", str(said)), [])
        if len(found) != 1:
            continue
        if row.answered("zeros_differ", "pair_tag") == RIGHT:
            row.values["pair_tag"] = found[0]
        row.ask(
            "zeros_differ",
            f"there is no pair {said!r}, but there is {found[0]!r}: are they one?",
            "write the tag as the pair's own row has it",
            key="pair_tag",
        )
