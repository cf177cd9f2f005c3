"""The legal offsets of one pattern and sole on a pair, merged into what a band can show."""

from dataclasses import dataclass
from itertools import pairwise

from fleet.base.errors import BadInput, Refused
from fleet.base.units import length_text, toward
from fleet.facts.boots import Boot
from fleet.rules.soles import sole_typed
from fleet.tables.snapshot import Fleet
from planner.geometry.placement.legal import legal_offsets


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A closed range of offsets, micrometres; ``drilled``: fewest holes to drill in it, both skis."""

    low_um: int
    high_um: int
    drilled: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """The facts of the band. ``stretches`` are sorted; where two overlap, the one that drills less is
    kept.
    """

    pattern: str
    bsl_um: int
    limit_um: int
    preferred_um: int
    stretches: tuple[Stretch, ...]


def band_for(
    fleet: Fleet, tag: str, *, boot: str | None, pattern: str | None, bsl_mm: str | None
) -> Band | None:
    """Return the band of a boot, or of a pattern and a sole; without either, of the present mount.

    None where nothing was asked and nothing is mounted. Raises BadInput or Refused for what cannot be.
    """
    pair = fleet.pair(tag)
    pin_um: int | None = None
    if boot is not None:
        if bsl_mm is not None:
            raise BadInput("a boot brings its own sole length", cure="give --boot, or --pattern and --bsl")
        wearer = fleet.boot(boot)
        name, bsl_um = _of_boot(fleet, wearer, tag, pattern)
        pin_um = wearer.pin_um
    elif pattern is not None or bsl_mm is not None:
        if pattern is None or bsl_mm is None:
            raise BadInput("a band needs a pattern and a sole", cure="give --pattern and --bsl, or --boot")
        name, bsl_um = pattern, sole_typed(bsl_mm)
    else:
        mount = pair.current_mount
        if mount is None or mount.pattern not in fleet.patterns:
            return None
        name, bsl_um = mount.pattern, mount.bsl_um
    found = legal_offsets(
        pair=pair, pattern=fleet.pattern(name), bsl_um=bsl_um, policy=fleet.policy, pin_um=pin_um
    )
    return Band(
        pattern=name,
        bsl_um=bsl_um,
        limit_um=fleet.policy.um("offset_limit_mm"),
        preferred_um=fleet.policy.um("offset_preferred_mm"),
        stretches=_merged(
            [Stretch(low_um=f.low_um, high_um=f.high_um, drilled=f.drilled_both) for f in found]
        ),
    )


def stretch_words(stretch: Stretch) -> str:
    """Return the range for people, never wider than the truth: ends go inward to half a millimetre."""
    low, high = -(-stretch.low_um // 500) * 500, stretch.high_um // 500 * 500
    if low > high:
        return f"only between half millimetres, near {length_text((stretch.low_um + stretch.high_um) // 2)}"
    if low == high:
        return toward(low)
    return f"{toward(low)} to {toward(high)}"


def _of_boot(fleet: Fleet, boot: Boot, tag: str, pattern: str | None) -> tuple[str, int]:
    if boot.bsl_um is None:
        raise Refused(f"boot {boot.tag} has no sole length", cure="read it off the boot and enter it")
    fits = [f.pattern for f in fleet.fits if f.sole_type == boot.sole_type and f.pattern in fleet.patterns]
    if pattern is not None:
        fleet.pattern(pattern)
        fits = [name for name in fits if name == pattern]
    on = {b.pattern for b in fleet.bindings_on(tag).values()}
    fits.sort(key=lambda name: (name not in on, name))
    fits = [name for name in fits if fleet.patterns[name].takes_bsl(boot.bsl_um)]
    if not fits:
        raise Refused(
            f"no pattern is declared for the sole of boot {boot.tag} ({boot.sole_type})",
            cure="see `mountbook why`, or name --pattern and --bsl",
        )
    return fits[0], boot.bsl_um


def _merged(stretches: list[Stretch]) -> tuple[Stretch, ...]:
    """Disjoint stretches: at every offset the smallest number of holes to drill counts."""
    if not stretches:
        return ()
    cuts = sorted({s.low_um for s in stretches} | {s.high_um + 1 for s in stretches})
    merged: list[Stretch] = []
    for low, after in pairwise(cuts):
        here = [s.drilled for s in stretches if s.low_um <= low and s.high_um >= after - 1]
        if not here:
            continue
        if merged and merged[-1].high_um == low - 1 and merged[-1].drilled == min(here):
            merged[-1] = Stretch(low_um=merged[-1].low_um, high_um=after - 1, drilled=min(here))
        else:
            merged.append(Stretch(low_um=low, high_um=after - 1, drilled=min(here)))
    return tuple(merged)
