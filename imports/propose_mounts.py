"""Mount and area rows of an export: a pair's history, added where it is not known, never rewritten.

An inspection opens an area; one that stands in the ledger stays as it is.
"""

from collections.abc import Callable, Mapping, Sequence

from fleet.events.mounts import MountRecorded, MountStated
from fleet.events.pairs import AreaInspected
from fleet.facts.columns import plain_facts
from fleet.facts.holes import MountFacts, Side, StatedMountFacts
from fleet.facts.pairs import AreaFacts, Pair
from fleet.facts.patterns import Pattern
from imports.difference import Draft, Fate, said_in, stated
from imports.propose_pairs import PairRows, is_that_mount
from imports.rows import Row, ready
from imports.stands import ask_if_moved, with_stands


def propose_mount_rows(
    draft: Draft, rows: Sequence[Row], pairs: Mapping[str, PairRows], patterns: Mapping[str, Pattern]
) -> None:
    """``mount recorded`` for a mount of a pair that comes with the same import; else compare."""
    for row in ready(rows):
        v = row.values
        tag = v["pair_tag"]
        old = draft.fleet.pairs.get(tag)
        if old is None and tag not in pairs:
            row.ask(
                "unknown_pair", f"there is no pair {tag}", "add its row, or correct the tag", key="pair_tag"
            )
            continue
        if v["pattern"] is None and v.get("binding_model"):
            _stated(draft, row, tag, old)
            continue
        if v["pattern"] is None or v["bsl_mm"] is None or v["offset_mm"] is None:
            row.ask(
                "mount_incomplete",
                "a mount with a pattern has a sole and a boot centre; without one it has its binding model",
                "enter what is missing",
                key="pattern",
            )
            continue
        if v["pattern"] not in patterns:
            row.ask("pattern_unknown", f"there is no pattern {v['pattern']!r}", "add it first", key="pattern")
            continue
        said = stated(MountFacts, said_in(MountFacts, v.get))
        mount = MountRecorded(tag=tag, **said | {"drilled": v.get("drilled") != 0})
        if mount.removed_on is None:
            mount = with_stands(row, mount, patterns[mount.pattern], v)
        if old is None:
            draft.entries.append(mount)
            draft.fate(row, Fate.NEW)
            continue
        if known := next((m for m in old.mounts if is_that_mount(m, mount)), None):
            ask_if_moved(row, known, mount, patterns[mount.pattern])
            draft.fate(row, Fate.UNCHANGED)
            continue
        row.ask(
            "mount_history",
            f"the ledger knows no such mount of {tag}; a spreadsheet cannot rewrite history",
            "enter work with `mountbook order done`, or restore the row",
            key="pattern",
        )


def _stated(draft: Draft, row: Row, tag: str, old: Pair | None) -> None:
    """A mount of which no pattern is known, as an export states it; it stands, or it comes with its pair."""
    said = stated(StatedMountFacts, said_in(StatedMountFacts, row.values.get))
    if old is None:
        draft.entries.append(MountStated(tag=tag, **said))
        draft.fate(row, Fate.NEW)
    elif any(plain_facts(StatedMountFacts, m) == said for m in old.stated):
        draft.fate(row, Fate.UNCHANGED)
    else:
        row.ask(
            "mount_history",
            f"the ledger knows no such mount of {tag}; a spreadsheet cannot rewrite history",
            "enter work with `mountbook order done`, or restore the row",
            key="binding_model",
        )


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
        old = draft.fleet.pairs.get(tag)
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
