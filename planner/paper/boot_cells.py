"""Boots by cell (same make, model, age, sole and shell), with the ones drawn for a look before the season.

One of each new cell and a share of the old boots, drawn at random but repeatably; a boot that fails opens
its whole cell. Source: fedsport.com, overview of preseason practice for rental shops (published excerpt).
That x.0 and x.5 share a shell is common practice, no source.
"""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil

from fleet.facts.boots import Boot
from fleet.facts.policy import Policy


@dataclass(frozen=True, slots=True, kw_only=True)
class BootCell:
    """One cell. ``shell_cm`` is the whole centimetre of Mondopoint, None where no size is recorded.

    ``new``: of the newest season recorded, or of no recorded season (nobody can say it was seen before).
    ``drawn``: the tags to look at.
    """

    model: str
    season: str
    sole_type: str
    shell_cm: int | None
    tags: tuple[str, ...]
    new: bool
    drawn: tuple[str, ...]


def boot_cells(boots: Mapping[str, Boot], policy: Policy, *, seed: str) -> tuple[BootCell, ...]:
    """All cells in order of model and shell, with the draw. The same boots and seed give the same draw."""
    cells: dict[tuple[str, str, str, int | None], list[str]] = defaultdict(list)
    for boot in boots.values():
        shell = boot.mondopoint_mm // 10 if boot.mondopoint_mm is not None else None
        cells[boot.model, boot.season, boot.sole_type, shell].append(boot.tag)
    newest = max((boot.season for boot in boots.values()), default="")
    draw = random.Random(f"boot cells {seed}")
    old = sorted(tag for key, tags in cells.items() if key[1] not in ("", newest) for tag in tags)
    share = ceil(len(old) * policy.number("prep_old_boots_percent") / 100)
    drawn = set(draw.sample(old, min(share, len(old))))
    per_cell = policy.count("prep_new_boots_per_cell")
    found = []
    for key in sorted(cells, key=lambda k: (k[0], k[1], k[2], k[3] or 0)):
        model, season, sole_type, shell = key
        tags = sorted(cells[key])
        new = season in ("", newest)
        if new:
            picked = sorted(draw.sample(tags, min(per_cell, len(tags))))
        else:
            picked = [tag for tag in tags if tag in drawn]
        found.append(
            BootCell(
                model=model, season=season, sole_type=sole_type, shell_cm=shell, tags=tuple(tags), new=new,
                drawn=tuple(picked),
            )
        )  # fmt: skip
    return tuple(found)
