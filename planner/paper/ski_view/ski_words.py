"""The answer of `mountbook ski`: a pair and its history as lines and as JSON, its zone in plain characters.

The zone has holes and stretches nobody has looked at, tip to the right. One column is a slice along the ski,
one row a strip across; the right edge of the ski, looking at the tip, is the lower row. ASCII on purpose: it
reads the same in every terminal.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from types import MappingProxyType
from typing import Any, Final

from fleet.base.days import day_text, stored_day_text, time_text
from fleet.base.shown_text import one_line
from fleet.base.units import across_text, counted, in_mm, length_text, mm_text, toward
from fleet.events.event import TAP, Tap
from fleet.facts.holes import Hole, HoleState, MountDays, Side, StatedMount
from fleet.facts.notes import Note
from fleet.facts.pairs import EARLIER_UNKNOWN, Pair, Ski, brake_text, not_known
from fleet.ledger.history import BootHistory, NotedEntry, PairHistory
from planner.paper.cautions import FIRST

ROWS: Final = 7
HOLE_HEAD: Final = ("hole", "along", "across", "drill", "state", "how it is known", "entry")
SIGNS: Final = {
    HoleState.OPEN: "o",
    HoleState.SCREWED: "s",
    HoleState.PLUGGED: "#",
    HoleState.INSERT: "i",
    HoleState.STRIPPED: "x",
}
_MARGIN_UM: Final = 20_000
_LEAST_HALF_WIDTH_UM: Final = 30_000


def extent_um(ski: Ski) -> tuple[int, int]:
    """Return the two ends of the map (µm from the mark): the zone where known, and every hole in any case."""
    xs = [h.x_um for h in ski.holes]
    low = min([0, *xs]) - _MARGIN_UM
    high = max([0, *xs]) + _MARGIN_UM
    if ski.zone_back_um is not None:
        low = min(low, -ski.zone_back_um)
    if ski.zone_front_um is not None:
        high = max(high, ski.zone_front_um)
    return low, high


def half_width_um(ski: Ski) -> int:
    """Return the reach of the map across the ski on each side, µm."""
    across = max([_LEAST_HALF_WIDTH_UM, *(abs(h.y_um) for h in ski.holes)])
    return max(across, ski.zone_half_width_um or 0)


def zone_map(ski: Ski, *, columns: int = 76) -> list[str]:
    """Return the map's lines, the scale under it. Several holes in one cell show as *, so that none hides
    another.
    """
    low, high = extent_um(ski)
    half = half_width_um(ski)
    columns = max(20, columns)

    def column(x_um: int) -> int:
        return min(columns - 1, (x_um - low) * columns // (high - low))

    def row(y_um: int) -> int:
        return min(ROWS - 1, max(0, (y_um + half) * ROWS // (2 * half)))

    slices = [low + (high - low) * (2 * c + 1) // (2 * columns) for c in range(columns)]
    seen = ["." if any(a.from_um <= x <= a.to_um for a in ski.inspected) else "?" for x in slices]
    cells = [list(seen) for _ in range(ROWS)]
    for line in cells:
        line[column(0)] = "|"
    taken: dict[tuple[int, int], Hole] = {}
    for hole in ski.holes:
        place = row(hole.y_um), column(hole.x_um)
        cells[place[0]][place[1]] = "*" if place in taken else SIGNS[hole.state]
        taken[place] = hole
    lines = ["".join(line) for line in cells]
    left, right = f"{length_text(-low)} mm toward TAIL", f"{length_text(high)} mm toward TIP"
    lines.append(left + right.rjust(max(1, columns - len(left))))
    return lines


def map_key(lines: list[str]) -> str:
    """Return the meaning of the signs on this map, and of no others."""
    drawn = set("".join(lines[:ROWS]))
    words = {sign: state.value for state, sign in SIGNS.items()}
    words |= {"*": "several", ".": "inspected", "?": "not inspected", "|": "mark"}
    return "  ".join(f"{sign} {word}" for sign, word in words.items() if sign in drawn)


CAUTION = f"A record, not an inspection: what the ledger does not know may still be in the ski. {FIRST}"
LATER = "entered after that day, about a time before its end"
Slides = Mapping[str, int | None]
NO_SLIDES: Final[Slides] = MappingProxyType({})
_ALONG = ("x_um", "offset_um", "from_um", "to_um", "reference_um", "slide_um")


def pair_lines(
    history: PairHistory, slid_um: Slides = NO_SLIDES, *, maps: bool = True, notes: bool = True
) -> Iterator[str]:
    """Yield the pair as it stood, ski by ski, then every entry about it, oldest first.

    ``maps``: with a map in characters of each ski, where no picture stands beside the words; ``notes``: with
    its notes, where they stand nowhere else.
    """
    pair = history.pair
    yield f"{pair.tag}  {pair.model} · {pair_facts(pair)}"
    yield standing_words(history)
    if notes:
        yield from note_lines(history.notes)
    for side in Side:
        yield ""
        yield from ski_lines(side, pair.skis[side], history.zone)
        if maps:
            yield from _map_lines(pair.skis[side])
    yield ""
    yield "mounts"
    yield from mount_lines(pair)
    yield "bindings"
    yield from binding_lines(history, slid_um)
    yield from _history_lines(history.entries, history.zone)
    if history.later:
        yield from _history_lines(history.later, history.zone, LATER)
    yield ""
    yield CAUTION


def pair_facts(pair: Pair) -> str:
    """Return kind, length, waist, construction and rack in a line."""
    facts = (
        pair.kind.value,
        f"{pair.length_mm / 10:g} cm",
        f"waist {mm_text(pair.waist_um)} mm" if pair.waist_um is not None else "waist unknown",
        pair.construction.value if pair.construction else "construction unknown",
        f"rack {pair.rack}" if pair.rack else "",
    )
    return " · ".join(filter(None, facts))


def standing_words(history: PairHistory) -> str:
    """Return as of when the pair is shown, where it was then, and what had stopped it."""
    when = f"as the shop knew it at the end of {day_text(history.as_of)}" if history.as_of else "as it is now"
    stop = f": {one_line(history.stop_why)}  (entry {history.stop_entry})" if history.stop_why else ""
    return f"{when}, entry {history.head}: {history.pair.place.words}{stop}"


def note_lines(notes: Iterable[Note]) -> Iterator[str]:
    """Yield every note that stands, and what it asks."""
    for note in notes:
        asks = f"  asks: {note.proposes}? (mountbook note {note.name})" if note.is_question else ""
        yield f"note on {note.name}: {one_line(note.words)}  (entry {note.entry}){asks}"


def note_json(note: Note) -> dict[str, Any]:
    """Return a note as a JSON object; ``text`` null where it was blanked."""
    return {
        "on": note.name,
        "text": note.text,
        "entry": note.entry,
        "asks": note.proposes if note.is_question else None,
    }


def boot_lines(history: BootHistory, *, notes: bool = True) -> Iterator[str]:
    """Yield the boot as it stood, then every entry about it, oldest first. ``notes`` as in `pair_lines`."""
    boot = history.boot
    size = "size not known" if boot.mondopoint_mm is None else f"Mondopoint {boot.mondopoint_mm / 10:g}"
    measured = (
        f"measured {stored_day_text(boot.sole_measured_on)}" if boot.sole_measured_on else "day not stated"
    )
    kinds = " and ".join(sorted(boot.kinds)) or "kind not stated"
    yield f"{boot.tag}  {boot.model or 'model not stated'} · {kinds}"
    when = f"as the shop knew it at the end of {day_text(history.as_of)}" if history.as_of else "as it is now"
    yield f"{when}, entry {history.head}: {boot.place.value}" + (
        f": {one_line(boot.hold_why)}  (entry {boot.hold_entry})" if boot.hold_entry else ""
    )
    yield f"{size} · sole {boot.sole_words} ({boot.bsl_measured or 'how is not stated'}, {measured})"
    facts = {"sole type": boot.sole_type, "season": boot.season, "wear": boot.wear}
    yield " · ".join(f"{name} {value or 'not stated'}" for name, value in facts.items())
    if notes:
        yield from note_lines(history.notes)
    yield from _history_lines(history.entries, history.zone)
    yield ""
    yield CAUTION


def boot_json(history: BootHistory) -> dict[str, Any]:
    """Return the boot as one JSON object."""
    boot = history.boot
    return {
        "tag": boot.tag,
        "model": boot.model,
        "kinds": sorted(boot.kinds),
        "place": boot.place.value,
        "held": {"why": boot.hold_why, "entry": boot.hold_entry} if boot.hold_entry else None,
        "as_of": history.as_of.isoformat() if history.as_of else None,
        "head": str(history.head),
        "mondopoint": None if boot.mondopoint_mm is None else boot.mondopoint_mm / 10,
        **in_mm({"bsl_um": boot.bsl_um}),
        "bsl_measured": boot.bsl_measured,
        "sole_measured_on": boot.sole_measured_on or None,
        "sole_type": boot.sole_type,
        "season": boot.season or None,
        "wear": boot.wear or None,
        "notes": [note_json(note) for note in history.notes],
        "history": [_entry_json(noted) for noted in history.entries],
    }


def mount_lines(pair: Pair) -> Iterator[str]:
    """Yield every mount on record, with what the sheets of others stated."""
    if pair.earlier_mounts is None:
        yield f"  {EARLIER_UNKNOWN}; at least {counted(pair.drilled_mounts, 'mount')} drilled, by the record"
    elif pair.earlier_mounts:
        yield f"  {pair.earlier_mounts} before this ledger"
    for stated in pair.stated:
        yield f"  {_stated_text(stated)}  (entry {stated.entry})"
    for mount in pair.mounts:
        drilled = "drilled" if mount.drilled else "no hole drilled"
        yield (
            f"  {mount.pattern} for a sole of {length_text(mount.bsl_um)} mm, boot centre"
            f" {toward(mount.offset_um)}, {_on_from(mount)}, {drilled}"
            f"  (entry {mount.entry})"
        )
    if not pair.mounts and not pair.stated:
        yield "  none on record"


def binding_lines(history: PairHistory, slid_um: Slides = NO_SLIDES) -> Iterator[str]:
    """Yield the bindings that are on, and the sole length that they were last set for."""
    for binding in history.bindings:
        serials = f"serial toe {binding.serial_toe or 'unknown'}, heel {binding.serial_heel or 'unknown'}"
        what = f"{binding.model}, {brake_text(binding.brake_um)}"
        yield f"  ski {binding.on_ski}: {what}, {serials}  ({binding.binding_id})"
    if said := not_known(history.pair, history.bindings) if history.bindings else "":
        yield f"  whether the brake fits, nobody knows: {said}"
    if not history.bindings:
        yield "  none on"
    elif history.setting.bsl_um is None:
        yield f"  {history.setting.set_for}"
    else:
        was_set = history.setting.when
        yield (
            f"  both {history.setting.set_for}, by {one_line(history.setting.by)}"
            f" {time_text(was_set.at, history.zone)}  (entry {was_set.entry})"
        )
    for one in history.setting.pieces:
        slid = slid_um.get(one.piece)
        yield (
            f"    ski {one.side} {one.piece or 'each piece'}: {mm_text(one.sole_um)} mm,"
            f" slid {'not known' if slid is None else toward(slid)}; {one.how}  (entry {one.when.entry})"
        )


def _on_from(mount: MountDays) -> str:
    until = f"until {stored_day_text(mount.removed_on)}" if mount.removed_on else "still on"
    return f"from {stored_day_text(mount.mounted_on) or 'an unknown day'}, {until}"


def _stated_text(mount: StatedMount) -> str:
    """Return a mount as a sheet stated it, with the facts that it leaves open."""
    sole = "sole not stated" if mount.bsl_um is None else f"for a sole of {length_text(mount.bsl_um)} mm"
    centre = "boot centre not stated" if mount.offset_um is None else f"boot centre {toward(mount.offset_um)}"
    return (
        f"as said: {one_line(mount.binding_model) or 'binding not stated'}, {sole}, {centre},"
        f" {_on_from(mount)}; its holes are not known from it"
    )


def pair_json(history: PairHistory, slid_um: Slides = NO_SLIDES) -> dict[str, Any]:
    """Return the pair as one JSON object; lengths in millimetres, signed, from each ski's own mark."""
    pair = history.pair
    return {
        "tag": pair.tag,
        "model": pair.model,
        "kind": pair.kind.value,
        "length_cm": pair.length_mm / 10,
        "place": pair.place.value,
        "stopped": history.stop_why or None,
        "notes": [note_json(note) for note in history.notes],
        "as_of": history.as_of.isoformat() if history.as_of else None,
        "head": str(history.head),
        "skis": {side.value: _ski_json(pair.skis[side]) for side in Side},
        "earlier_mounts": pair.earlier_mounts,
        "stated_mounts": [
            in_mm(
                {
                    "binding_model": mount.binding_model,
                    "bsl_um": mount.bsl_um,
                    "offset_um": mount.offset_um,
                    "mounted_on": mount.mounted_on or None,
                    "removed_on": mount.removed_on,
                    "entry": mount.entry,
                }
            )
            for mount in pair.stated
        ],
        "mounts": [
            in_mm(
                {
                    "pattern": mount.pattern,
                    "bsl_um": mount.bsl_um,
                    "offset_um": mount.offset_um,
                    "mounted_on": mount.mounted_on,
                    "removed_on": mount.removed_on,
                    "drilled": mount.drilled,
                    "entry": mount.entry,
                }
            )
            for mount in pair.mounts
        ],
        "bindings": [
            {
                "binding_id": binding.binding_id,
                "model": binding.model,
                "ski": binding.on_ski,
                **in_mm({"brake_um": binding.brake_um}),
                "serial_toe": binding.serial_toe,
                "serial_heel": binding.serial_heel,
            }
            for binding in history.bindings
        ],
        **in_mm({"stands_at_um": history.setting.bsl_um}),
        "set_by": history.setting.by or None,
        "set_at": history.setting.when.at or None,
        "set_entry": history.setting.when.entry or None,
        "stands": [
            in_mm(
                {
                    "ski": one.side.value,
                    "piece": one.piece or None,
                    "sole_um": one.sole_um,
                    "slide_um": slid_um.get(one.piece),
                    "set_by": one.by,
                    "set_at": one.when.at,
                    "how": one.how,
                    "entry": one.when.entry,
                }
            )
            for one in history.setting.pieces
        ],
        "history": [_entry_json(noted) for noted in history.entries],
        "entered_later": [_entry_json(noted) for noted in history.later],
    }


def mark_words(ski: Ski) -> str:
    """Return where the ski's mark lies, measured from its tail."""
    if ski.mark_from_tail_um is None:
        return "mark to tail not measured"
    return f"mark {length_text(ski.mark_from_tail_um)} mm from the tail"


def no_holes_words(ski: Ski) -> str:
    """Return what stands where a ski has no hole on record."""
    return "no holes on record" if ski.inspected else "no holes on record, and nobody has looked"


def ski_lines(side: Side, ski: Ski, shop_zone: str) -> Iterator[str]:
    """Yield what is on record of one ski: mark, zone, what was inspected, and a row for each hole."""
    zone = (
        f"mounting zone {length_text(ski.zone_back_um)} mm toward TAIL"
        f" to {length_text(ski.zone_front_um)} mm toward TIP,"
        f" {length_text(ski.zone_half_width_um)} mm each side"
        if ski.zone_back_um is not None
        and ski.zone_front_um is not None
        and ski.zone_half_width_um is not None
        else "mounting zone unknown: no new holes"
    )
    yield f"ski {side.value}  {mark_words(ski)}; {zone}"
    if ski.closed_entry:
        yield (
            f"  closed {time_text(ski.closed_at, shop_zone)}: {one_line(ski.closed_why)};"
            f" only a survey bare since then opens it  (entry {ski.closed_entry})"
        )
    for area in ski.inspected:
        yield (
            f"  inspected {area.how} from {toward(area.from_um)} to {toward(area.to_um)},"
            f" {stored_day_text(area.on)}, {area.by}  (entry {area.entry})"
        )
    if not ski.inspected:
        yield "  not inspected"
    if not ski.holes:
        yield "  no holes on record"
        return
    rows = [HOLE_HEAD, *(_hole_row(hole) for hole in ski.holes)]
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    for row in rows:
        yield "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()


def _map_lines(ski: Ski) -> Iterator[str]:
    """Yield a small map in plain characters; empty where nothing on record can be shown."""
    if not (ski.holes or ski.inspected or ski.zone_known):
        return
    yield ""
    drawn = zone_map(ski)
    yield from (f"  {line}" for line in drawn)
    yield f"  {map_key(drawn)}"


def _hole_row(hole: Hole) -> tuple[str, ...]:
    """Return its cells; a drill's size to a tenth (3.6), as drills are sold."""
    wide, deep = ("?" if um is None else length_text(um) for um in (hole.diameter_um, hole.depth_um))
    return (
        hole.hole_id.rsplit("/", 1)[-1],
        toward(hole.x_um),
        across_text(hole.y_um, unit=" mm"),
        f"{wide} x {deep} mm",
        hole.state.value,
        hole.knowledge.value,
        str(hole.entry),
    )


def _history_lines(entries: Iterable[NotedEntry], zone: str, title: str = "history") -> Iterator[str]:
    yield ""
    yield title
    for noted in entries:
        yield from _entry_lines(noted, zone)


def _entry_lines(noted: NotedEntry, zone: str) -> Iterator[str]:
    entry, facts = noted.entry, "; ".join(one_line(fact) for fact in facts_of(noted.body))
    yield (
        f"  {entry.seq:>6}  {time_text(entry.stated_at_utc, zone)}  {one_line(entry.by)}  {entry.what}"
        f"{f': {facts}' if facts else ''}"
    )
    if entry.entered_later:
        yield f"          entered later: written {time_text(entry.recorded_at_utc, zone)}"
    if noted.note is not None:
        yield f"          “{one_line(noted.note)}”"
    elif noted.blanked_by is not None:
        yield f"          (text blanked by entry {noted.blanked_by})"


_DAY: Final = re.compile(r"\d{4}-\d\d-\d\d")
_HASH: Final = re.compile(r"[0-9a-f]{64}")
_OF_A_HASH: Final = 8
"""A hash is known by its first signs, as on every sheet."""
_OF_PIECES: Final = frozenset({"touched", "moved", "unreached"})
"""Facts that are pieces, each with its ski: few enough to be named."""


def facts_of(body: Mapping[str, Any]) -> Iterator[str]:
    """Yield every fact of an entry in words; of what holds facts of its own, how many it holds."""
    for name, value in body.items():
        if name == "tag" or value in (None, "", [], {}):
            continue
        if name == TAP:
            yield Tap.read(value).words
        elif name == "changes" and isinstance(value, dict):
            for column, (old, new) in value.items():
                yield f"{named(column)} {valued(column, old)} → {valued(column, new)}"
        elif name in _OF_PIECES and isinstance(value, list):
            yield f"{named(name)} {', '.join(' '.join(piece) for piece in value)}"
        elif isinstance(value, list):
            yield f"{len(value)} {named(name)}, see --json"
        elif isinstance(value, dict):
            yield f"{named(name)}: {len(value)}, see --json"
        else:
            yield f"{named(name)} {valued(name, value)}"


_NAMED: Final = {"side": "ski", "knowledge": "how it is known"}


def named(name: str) -> str:
    """Return the name of a column in words, without its unit."""
    short = (
        _NAMED.get(name, name)
        .removesuffix("_um")
        .removesuffix("_mm")
        .replace("bsl_measured", "how the sole is known:")
    )
    short = short.replace("bsl", "sole length")
    return short.replace("_", " ").replace(".", " ")


def valued(name: str, value: object, *, blank: str = "unknown") -> str:
    """Return a value in words, never with a bare sign; ``blank`` where there is none."""
    if value is None or value == "":
        return blank
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int) and name.endswith("_um"):
        if name == "y_um":
            return across_text(value, unit=" mm")
        if name in _ALONG:
            return toward(value, zero="0.0 mm" if name == "slide_um" else "on the mark")
        return f"{length_text(value)} mm"
    if isinstance(value, int) and name == "length_mm":
        return f"{mm_text(value * 100)} cm"
    if isinstance(value, int) and name.endswith("_mm"):
        return f"{value} mm"
    text = str(value)
    if _DAY.fullmatch(text):  # never a serial such as 20260104, which Python reads as a day
        return stored_day_text(text)
    return text[:_OF_A_HASH] if _HASH.fullmatch(text) else text


def _ski_json(ski: Ski) -> Any:
    return in_mm(
        {
            "mark_from_tail_um": ski.mark_from_tail_um,
            "zone_back_um": ski.zone_back_um,
            "zone_front_um": ski.zone_front_um,
            "zone_half_width_um": ski.zone_half_width_um,
            "closed": {"at": ski.closed_at, "why": ski.closed_why, "entry": ski.closed_entry}
            if ski.closed_entry
            else None,
            "inspected": [
                {
                    "from_um": area.from_um,
                    "to_um": area.to_um,
                    "how": area.how,
                    "on": area.on,
                    "by": area.by,
                    "entry": area.entry,
                }
                for area in ski.inspected
            ],
            "holes": [
                {
                    "hole_id": hole.hole_id,
                    "x_um": hole.x_um,
                    "y_um": hole.y_um,
                    "diameter_um": hole.diameter_um,
                    "depth_um": hole.depth_um,
                    "state": hole.state.value,
                    "knowledge": hole.knowledge.value,
                    "entry": hole.entry,
                }
                for hole in ski.holes
            ],
        }
    )


def _entry_json(noted: NotedEntry) -> dict[str, Any]:
    entry = noted.entry
    return {
        "seq": entry.seq,
        "at": entry.stated_at_utc,
        "written_at": entry.recorded_at_utc,
        "by": entry.by,
        "what": entry.what,
        "body": noted.body,
        "note": noted.note,
        "blanked_by": noted.blanked_by,
        "hash": entry.hash,
    }
