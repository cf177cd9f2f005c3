"""Both skis of a pair drawn lying, tip to the right: zone, areas, marks, every hole, and legal offsets.

Along and across are drawn at one scale, so that distances look as they are; it is still not a template. The
legal offsets of one pattern and sole are merged into what a band can show.
"""

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Final

from fleet.base.days import day_text
from fleet.base.errors import BadInput, Refused
from fleet.base.program import program
from fleet.base.units import along_text, length_text, mm_text, toward
from fleet.facts.boots import Boot
from fleet.facts.holes import Knowledge, Side
from fleet.facts.pairs import Pair, Ski
from fleet.ledger.history import PairHistory
from fleet.ledger.ledger import Ledger
from fleet.rules.boots import sole_typed
from fleet.tables.snapshot import Fleet, read_fleet
from planner.geometry.placement.legal import legal_offsets
from planner.paper import cautions
from planner.paper.shapes import (
    GARNET,
    GARNET_PALE,
    ICE,
    INK,
    PINE,
    RULE,
    SMALL,
    SOFT,
    WHITE,
    Anchor,
    Drawing,
    Face,
    Page,
    shortened,
)
from planner.paper.sheet_frame import moment_text, tag_words
from planner.paper.ski_picture import old_hole_sign, state_legend
from planner.paper.ski_view.ski_words import extent_um, half_width_um, mark_words, no_holes_words
from planner.paper.svg_writer import write_picture


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


_WIDTH: Final = 297.0
_LEFT: Final = 24.0
_ROOM: Final = 258.0
_TAG_ROOM: Final = 130.0
_BAND_HALF: Final = 100.0
_NEVER_MEASURE: Final = "Never measure from this picture."


def ski_picture(pair: Pair, band: Band | None, *, shop: str, head: str, seen_at: str) -> Page:
    """One page in millimetres, as wide as A4 lying."""
    d = Drawing()
    tag_words(d, _LEFT, 17, pair.tag, size=30, room=_TAG_ROOM, face=Face.BOLD)
    facts = [pair.model, f"{mm_text(pair.length_mm * 100)} cm", pair.kind.value, pair.place.words]
    said = shortened(" · ".join(facts), Face.SANS, 11, _WIDTH - 15 - _LEFT - _TAG_ROOM)
    d.words(_WIDTH - 15, 12, said, size=11, anchor=Anchor.END)
    seen = f"{shop} · ledger {head} · {seen_at} · {program()}"
    d.words(_WIDTH - 15, 17.5, seen, size=9, fill=SOFT, anchor=Anchor.END)
    d.line(_LEFT, 21, _WIDTH - 15, 21, stroke=INK, width=0.6)
    low = min(extent_um(pair.skis[s])[0] for s in Side)
    high = max(extent_um(pair.skis[s])[1] for s in Side)
    scale = _ROOM / ((high - low) / 1000)
    y = 27.0
    for side in Side:
        y = _ski(d, pair.skis[side], low, scale, y)
    y = _key(d, y)
    if band is not None:
        y = _band(d, band, y + 4)
    notes = (
        f"{_NEVER_MEASURE} A record, not an inspection: what nobody has looked at may still be in the ski.",
        f"{cautions.DEFER} {cautions.CLAIM}",
    )
    for line in notes:
        y += 4
        d.words(_LEFT, y, line, size=7.5, fill=SOFT)
    return d.page(_WIDTH, y + 8)


def _ski(d: Drawing, ski: Ski, low_um: int, scale: float, top: float) -> float:
    """Draw one ski from ``top`` down; return the y where the next thing may begin (mm)."""
    mine, ends = extent_um(ski)
    half = half_width_um(ski) / 1000 * scale
    axis = top + 6 + half

    def at(x_um: int) -> float:
        return _LEFT + (x_um - low_um) / 1000 * scale

    d.words(_LEFT - 12, axis + 3, ski.side.value, size=26, face=Face.BOLD)
    d.words(at(mine), top + 3, "TAIL", size=9, face=Face.BOLD)
    d.words(at(mine) + 12, top + 3, f"ski {ski.side.value} · {mark_words(ski)} · {_known(ski)}", size=9)
    d.words(at(ends), top + 3, "TIP", size=9, face=Face.BOLD, anchor=Anchor.END)
    # Not inspected is the ground; what somebody saw lies on it in the ski's own tint.
    d.box(at(mine), axis - half, at(ends) - at(mine), 2 * half, fill=WHITE, stroke=RULE, width=0.2)
    _hatch(d, at(mine), axis - half, at(ends), axis + half)
    for area in ski.inspected:
        a, b = max(area.from_um, mine), min(area.to_um, ends)
        if a < b:
            d.box(at(a), axis - half, at(b) - at(a), 2 * half, fill=ICE)
    d.box(at(mine), axis - half, at(ends) - at(mine), 2 * half, stroke=INK, width=0.3)
    if ski.zone_back_um is not None and ski.zone_front_um is not None and ski.zone_half_width_um is not None:
        zone = ski.zone_half_width_um / 1000 * scale
        x = at(-ski.zone_back_um)
        d.box(x, axis - zone, at(ski.zone_front_um) - x, 2 * zone, stroke=SOFT, width=0.3, dash=(2.0, 1.2))
    d.line(at(mine), axis, at(ends), axis, stroke=SOFT, width=0.2, dash=(4, 1.2, 0.8, 1.2))
    d.line(at(0), axis - half - 2, at(0), axis + half + 2, stroke=INK, width=0.6)
    for hole in ski.holes:
        x, y = at(hole.x_um), axis + hole.y_um / 1000 * scale
        old_hole_sign(d, x, y, hole.state, knowledge=hole.knowledge, r=1.5)
        doubt = "?" if hole.knowledge is Knowledge.SUSPECTED else ""
        d.words(x + 2.0, y - 1.4, hole.label + doubt, size=SMALL, fill=SOFT)
    y = axis + half + 4.5
    for x_um in range(-(-mine // 50_000) * 50_000, ends + 1, 50_000):
        d.line(at(x_um), axis + half, at(x_um), axis + half + 1.2, stroke=INK, width=0.2)
        text = "mark" if x_um == 0 else str(abs(x_um) // 1000)
        d.words(at(x_um), y, text, size=7, fill=INK if x_um == 0 else SOFT, anchor=Anchor.MIDDLE)
    return y + 5


def _known(ski: Ski) -> str:
    if not ski.holes:
        return no_holes_words(ski)
    counts = Counter(hole.knowledge.value for hole in ski.holes)
    return ", ".join(
        f"{n} {word}" for word, n in sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    )


def _hatch(d: Drawing, x1: float, y1: float, x2: float, y2: float) -> None:
    """Slanted strokes: nobody has looked here."""
    height = y2 - y1
    x = x1 - height
    while x < x2:
        start, end = max(x, x1), min(x + height, x2)
        if start < end:
            d.line(start, y2 - (start - x), end, y2 - (end - x), stroke=RULE, width=0.2)
        x += 4.0


def _key(d: Drawing, y: float) -> float:
    x = state_legend(d, _LEFT + 2, y, r=1.5) - 2
    d.disc(x + 2, y, 1.5, fill=WHITE, stroke=INK, width=0.3, dash=(0.5, 0.4))
    d.words(x + 5, y + 1, "place not measured (?: suspected)", size=8)
    x += 58
    d.box(x, y - 1.8, 6, 3.6, stroke=SOFT, width=0.3, dash=(2.0, 1.2))
    d.words(x + 8, y + 1, "mounting zone", size=8)
    x += 33
    d.box(x, y - 1.8, 6, 3.6, stroke=RULE, width=0.2)
    _hatch(d, x, y - 1.8, x + 6, y + 1.8)
    d.words(x + 8, y + 1, "not inspected", size=8)
    return y + 4


def _band(d: Drawing, band: Band, top: float) -> float:
    """Draw the boot centre's legal places, enlarged: heavy where nothing is drilled, open where it is."""
    d.words(
        _LEFT,
        top + 4,
        f"Boot centre from the mark, mm: {band.pattern}, sole {length_text(band.bsl_um)}",
        size=12,
        face=Face.BOLD,
    )
    middle, axis = _LEFT + _ROOM / 2, top + 14
    scale = _BAND_HALF / (band.limit_um / 1000 or 1)
    ends = middle - _BAND_HALF, middle + _BAND_HALF
    d.box(ends[0], axis - 3, 2 * _BAND_HALF, 6, fill=WHITE, stroke=RULE, width=0.25)
    for stretch in band.stretches:
        _stretch(d, stretch, middle, axis, scale, band.limit_um)
    for step in (-band.limit_um, -band.preferred_um, 0, band.preferred_um, band.limit_um):
        x = middle + step / 1000 * scale
        d.line(x, axis - 4.5, x, axis + 4.5, stroke=INK, width=0.5 if step == 0 else 0.2)
        text = "mark" if step == 0 else along_text(step)
        d.words(x, axis - 5.5, text, size=8, anchor=Anchor.MIDDLE)
    y = axis + 9
    if not band.stretches:
        d.words(
            _LEFT,
            y,
            "No legal offset by what the ledger knows. What blocks it, at the desk's terminal: mountbook why",
            size=11,
            face=Face.BOLD,
        )
        return y + 3
    for stretch in band.stretches:
        what = (
            "no hole to drill"
            if stretch.drilled == 0
            else f"at least {stretch.drilled} holes to drill, both skis"
        )
        d.words(_LEFT, y, f"{stretch_words(stretch)}: {what}", size=10)
        y += 5
    return y


def _stretch(d: Drawing, stretch: Stretch, middle: float, axis: float, scale: float, limit_um: int) -> None:
    low, high = max(stretch.low_um, -limit_um), min(stretch.high_um, limit_um)
    x, w = middle + low / 1000 * scale, max(0.8, (high - low) / 1000 * scale)
    if stretch.drilled == 0:
        d.box(x, axis - 3, w, 6, fill=PINE)
    else:
        d.box(x, axis - 1.6, w, 3.2, fill=GARNET_PALE, stroke=GARNET, width=0.5)


def draw_pair(
    ledger: Ledger,
    history: PairHistory,
    file: Path | None,
    *,
    boot: str | None,
    pattern: str | None,
    bsl_mm: str | None,
    now: datetime,
) -> None:
    """Draw the pair as ``history`` has it. Nothing is written where the question makes no sense.

    Raises BadInput without a file, and for legal offsets of a day gone by: the policy and the boots are
    those of now. Refused for an unknown boot or pattern.
    """
    asked = any(given is not None for given in (boot, pattern, bsl_mm))
    if file is None:
        raise BadInput(
            "legal offsets are drawn on a picture", cure="add --picture FILE.svg, or use `mountbook where`"
        )
    if asked and history.as_of is not None:
        raise BadInput("legal offsets are those of now", cure="leave out --as-of, or the boot and pattern")
    page = pair_picture(ledger, history, boot=boot, pattern=pattern, bsl_mm=bsl_mm, now=now)
    write_picture(file, page, label=f"Mounting zones of pair {history.pair.tag}")


def pair_picture(
    ledger: Ledger,
    history: PairHistory,
    *,
    now: datetime,
    boot: str | None = None,
    pattern: str | None = None,
    bsl_mm: str | None = None,
) -> Page:
    """Return the pair as ``history`` has it, with the legal offsets of today; Refused for an unknown boot."""
    fleet = read_fleet(ledger.connection, pairs=(history.pair.tag,), boots=None if boot else ())
    band = None
    if history.as_of is None:
        band = band_for(fleet, history.pair.tag, boot=boot, pattern=pattern, bsl_mm=bsl_mm)
    seen_at = moment_text(now, history.zone)
    if history.as_of is not None:
        seen_at = f"as known at the end of {day_text(history.as_of)}, drawn {seen_at}"
    return ski_picture(history.pair, band, shop=fleet.shop, head=str(history.head), seen_at=seen_at)
