"""Names of holes: ``K-031/A7``, the pair's tag, the ski, a number that is never used twice."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from fleet.holes import Side


def fresh_hole_ids(tag: str, side: Side, taken: Collection[str]) -> Iterator[str]:
    """Ids for new holes of one ski, in order, above the highest number that ski has ever used."""
    prefix = f"{tag}/{side.value}"
    numbers = [
        int(name.removeprefix(prefix))
        for name in taken
        if name.startswith(prefix) and name.removeprefix(prefix).isdigit()
    ]
    number = max(numbers, default=0)
    while True:
        number += 1
        yield f"{prefix}{number}"


def short_id(hole_id: str) -> str:
    """The part a person reads beside a picture of that pair: ``A7``."""
    return hole_id.rsplit("/", 1)[-1]
