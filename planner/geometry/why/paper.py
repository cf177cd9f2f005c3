"""Facts that block before any geometry: declared fits, sole lengths, the place of the pair."""

from fleet.base.units import mm_text
from fleet.facts.boots import Boot
from fleet.facts.kinds import KindRule
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Pattern
from fleet.tables.snapshot import Fleet
from planner.geometry.why.geometry import Blocking


def declared_patterns(fleet: Fleet, boot: Boot) -> list[Pattern]:
    """Return the patterns that both makers declare for the boot's sole, by name. No row means no."""
    names = sorted({fit.pattern for fit in fleet.fits if fit.sole_type == boot.sole_type})
    return [fleet.patterns[name] for name in names if name in fleet.patterns]


def on_paper(fleet: Fleet, pair: Pair, boot: Boot, pattern: Pattern) -> list[Blocking]:
    """Return each fact that blocks by itself, whatever the holes are."""
    found = []
    if not pair.plannable:
        found.append(Blocking(what=f"pair {pair.tag} is {fleet.where(pair.tag)}: nothing is planned for it"))
    if not boot.plannable:
        why = boot.barred or f"a note on it asks: {boot.asks}?"
        found.append(Blocking(what=f"boot {boot.tag} is in no plan: {why}"))
    kinds = KindRule(fleet.policy).against(pair=(pair.kind,), boot=boot.kinds, binding=pattern.kinds)
    if kinds:
        found.append(Blocking(what=kinds))
    if boot.bsl_um is None:
        found.append(Blocking(what=f"the sole length of boot {boot.tag} is not known"))
    elif (short := pattern.too_short) is not None:
        found.append(
            Blocking(
                what=f"the {short.name} piece of {pattern.name} travels"
                f" {mm_text(short.travel_back_um + short.travel_forward_um)} mm in all;"
                f" the shop's rule leaves {mm_text(short.reserve_um)} mm at each end"
            )
        )
    elif not pattern.takes_bsl(boot.bsl_um):
        least = "" if pattern.bsl_min_um is None else f" from {mm_text(pattern.bsl_min_um)}"
        most = "" if pattern.bsl_max_um is None else f" to {mm_text(pattern.bsl_max_um)}"
        found.append(
            Blocking(
                what=f"pattern {pattern.name} takes soles{least}{most} mm,"
                f" boot {boot.tag} has {mm_text(boot.bsl_um)} mm"
            )
        )
    if not any(f.sole_type == boot.sole_type and f.pattern == pattern.name for f in fleet.fits):
        found.append(
            Blocking(
                what=f"sole {boot.sole_type} in pattern {pattern.name} is not declared by both makers"
                " (no row means no)"
            )
        )
    return found
