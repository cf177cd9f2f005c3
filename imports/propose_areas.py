"""Area rows of an export: an inspection opens an area; one that stands in the ledger stays as it is."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from fleet.events.pairs import AreaInspected
from fleet.facts.columns import plain_facts
from fleet.facts.holes import Side
from fleet.facts.skis import AreaFacts
from imports.difference import Draft, Fate, said_in, stated
from imports.propose_pairs import PairRows
from imports.rows import Row, ready


def propose_areas(
    draft: Draft, rows: Sequence[Row], pairs: Mapping[str, PairRows], closes: Callable[[str, Side], bool]
) -> None:
    """``area inspected`` for rows of pairs that come with the same import; a known pair's are compared.

    An area row for a pair that the ledger knows, and that it does not have, is asked: inspections are
    entered on the ski's own row, where its holes are checked against them. ``closes``: whether a hole row
    that does not come in keeps that ski closed.
    """
    for row in ready(rows):
        v = row.values
        tag, side = v["pair_tag"], Side(v["ski"])
        old = draft.fleet.pairs.get(tag) if draft.fleet else None
        area = stated(AreaFacts, said_in(AreaFacts, v.get))
        if area["from_um"] > area["to_um"]:
            row.ask("window_backwards", "the area runs backwards", "swap its ends", key="from_mm")
            continue
        if old is None and tag not in pairs:
            row.ask(
                "unknown_pair", f"there is no pair {tag}", "add its row, or correct the tag", key="pair_tag"
            )
            continue
        if old is not None:
            if any(plain_facts(AreaFacts, a) == area for a in old.skis[side].inspected):
                draft.fate(row, Fate.UNCHANGED)
            else:
                row.ask(
                    "area_unknown",
                    f"the ledger knows no such inspection of {tag} ski {side.value}",
                    "enter the inspection on the ski's own row, or survey the ski",
                    key="from_mm",
                )
            continue
        if closes(tag, side):
            continue
        draft.entries.append(AreaInspected(tag=tag, side=side, **area))
        draft.fate(row, Fate.NEW)
