"""The batch rule: skis drilled in one go are alike, once enough of them have been measured.

Three of a batch measured and agreeing: the rest become *batch assumed* with their allowance, until seen
bare. Both figures are policies (``batch_least``, ``batch_agree_mm``).
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fleet.base.units import length_text
from fleet.events.pairs import HolesRecorded, NewHole
from fleet.facts.holes import Hole, Knowledge, Side, fresh_hole_ids
from fleet.facts.pairs import Pair
from fleet.facts.policy import Policy

_MEASURED = (Knowledge.MEASURED_HERE, Knowledge.MEASURED_BARE)

BatchKey = tuple[str, int, tuple[tuple[str, int, int], ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """Pairs of one model and length that have the same mounts on record.

    ``agree``: whether the measured ones do; ``why_not`` says what is missing where the rule does not hold.
    """

    key: BatchKey
    tags: tuple[str, ...]
    measured: tuple[str, ...]
    why_not: str
    entries: tuple[HolesRecorded, ...]


def batches(pairs: Mapping[str, Pair], policy: Policy) -> list[Batch]:
    """Return every batch of two or more pairs, with the entries that the rule would make. Pure."""
    groups: dict[BatchKey, list[Pair]] = defaultdict(list)
    for pair in pairs.values():
        if pair.mounts:
            mounts = tuple((m.pattern, m.bsl_um, m.offset_um) for m in pair.mounts)
            groups[pair.model, pair.length_mm, mounts].append(pair)
    return [_judge(key, members, policy) for key, members in sorted(groups.items()) if len(members) > 1]


def _judge(key: BatchKey, members: Sequence[Pair], policy: Policy) -> Batch:
    least, agree_um = policy.count("batch_least"), policy.um("batch_agree_mm")
    measured = [p for p in members if _is_measured(p)]
    unknown = [p for p in members if not any(p.skis[s].holes for s in Side)]
    why_not = ""
    if len(measured) < least:
        why_not = f"{len(measured)} of the batch measured on both skis, {least} are needed"
    elif not unknown:
        why_not = "every pair of the batch has holes on record already"
    else:
        worst = _worst_difference_um(measured)
        if worst is None:
            why_not = "the measured pairs do not have the same number of holes"
        elif worst > agree_um:
            why_not = f"the measured pairs differ by up to {length_text(worst)} mm"
    entries = () if why_not else tuple(_assume(pair, measured[0]) for pair in unknown)
    return Batch(
        key=key,
        tags=tuple(p.tag for p in members),
        measured=tuple(p.tag for p in measured),
        why_not=why_not,
        entries=entries,
    )


def _is_measured(pair: Pair) -> bool:
    return all(pair.skis[s].holes and all(h.knowledge in _MEASURED for h in pair.skis[s].holes) for s in Side)


def _worst_difference_um(measured: Sequence[Pair]) -> int | None:
    """Return the largest coordinate difference (µm) of corresponding holes; None where their numbers
    differ.
    """
    worst = 0
    first = measured[0]
    for other in measured[1:]:
        for side in Side:
            ours, theirs = first.skis[side].holes, list(other.skis[side].holes)
            if len(ours) != len(theirs):
                return None
            for hole in ours:
                nearest = min(theirs, key=lambda h: (_apart_um(hole, h), h.hole_id))
                theirs.remove(nearest)
                worst = max(worst, _apart_um(hole, nearest))
    return worst


def _apart_um(a: Hole, b: Hole) -> int:
    return max(abs(a.x_um - b.x_um), abs(a.y_um - b.y_um))


def _assume(pair: Pair, pattern_pair: Pair) -> HolesRecorded:
    """Return holes as on a measured pair of the batch. They open no area: nobody has seen this ski bare."""
    holes: list[NewHole] = []
    for side in Side:
        ski = pair.skis[side]
        ids = fresh_hole_ids(pair.tag, side, [h.hole_id for h in ski.holes], above=ski.holes_numbered_to)
        holes += [
            NewHole(
                hole_id=next(ids),
                side=side,
                x_um=h.x_um,
                y_um=h.y_um,
                diameter_um=h.diameter_um,
                depth_um=None,
                state=h.state,
                knowledge=Knowledge.BATCH_ASSUMED,
            )
            for h in pattern_pair.skis[side].holes
        ]
    return HolesRecorded(tag=pair.tag, holes=tuple(holes))
