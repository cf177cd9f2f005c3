"""Proposed entries for pairs: the pair itself, its skis, inspections, its mount and mounted bindings.

A sheet says where a binding's pieces stand on the rack, measured from the mark, boot out. A blank cell is
*not known*. From the places of toe and heel follows the sole length for which the binding stands; where one
of the pieces that travel is not said, nobody knows that length, and nothing is made of it.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any, Final

import msgspec

from fleet.base.days import shop_day, stored_day_text
from fleet.base.units import counted, mm_text, mm_to_um
from fleet.events.event import LEFT_OUT, Change, Changes
from fleet.events.mounts import BindingChanged, BindingRecorded, MountRecorded, MountStated, Slide
from fleet.events.pairs import AreaInspected, PairChanged, PairRecorded
from fleet.facts.columns import columns_of, plain_facts
from fleet.facts.holes import Mount, Side, StatedMountFacts
from fleet.facts.kinds import KIND_NOT_KNOWN
from fleet.facts.pairs import Binding, Brake, BrakeWidth, Pair, PairFacts, Ski, SkiFacts
from fleet.facts.patterns import Follows, Pattern
from fleet.tables.snapshot import Fleet
from imports.difference import Draft, Fate, FieldChange, changed, differing, said_in, stated
from imports.hole_witness import Places, boot_centre_um
from imports.propose_lists import um
from imports.resolve import Resolved, resolve_binding
from imports.rows import Row, ready, sides_of


class PairRows:
    """The rows that speak about one pair: one for both skis or one each, and side rows of an export."""

    def __init__(self, tag: str) -> None:
        self.tag = tag
        self.rows: list[Row] = []
        self.sides: dict[Side, Row] = {}

    def first(self, key: str) -> Any:
        """The pair's value of a key: the first row that says one without a doubt."""
        return next((said for r in self.rows if (said := r.sure(key)) is not None), None)

    def on_side(self, side: Side, key: str) -> Any:
        """A ski's own value of a key, else the pair's."""
        own = self.sides.get(side)
        if own is not None and own.sure(key) is not None:
            return own.sure(key)
        for row in self.rows:
            if row.values.get("ski") in (None, "both", side.value) and row.sure(key) is not None:
                return row.sure(key)
        return None

    def say_not_taken(self, key: str) -> None:
        """Keep a value out of what the rows show as taken."""
        for row in self.all_rows:
            row.not_taken.add(key)

    @property
    def row(self) -> Row:
        """The row that remarks about the pair belong to."""
        return self.rows[0]

    @property
    def all_rows(self) -> list[Row]:
        """Every row that speaks about the pair."""
        return [*self.rows, *self.sides.values()]


def gather_pairs(draft: Draft, skis: Sequence[Row], sides: Sequence[Row]) -> dict[str, PairRows]:
    """Usable rows by tag."""
    found: dict[str, PairRows] = {}
    blocked = {row.values.get("tag") for row in skis if row.blocks}
    for row in skis:
        tag = str(row.values.get("tag"))
        if row.usable and not row.repeat and tag not in blocked:
            found.setdefault(tag, PairRows(tag)).rows.append(row)
    for row in ready(sides):
        tag = str(row.values.get("pair_tag"))
        if tag in found or tag in draft.fleet.pairs:
            found.setdefault(tag, PairRows(tag)).sides[Side(row.values["ski"])] = row
    return found


def ask_about_unknown(draft: Draft, rows: Iterable[Row], pairs: Mapping[str, PairRows]) -> None:
    """Ask about rows whose pair neither the file nor the ledger has."""
    for row in ready(rows):
        tag = row.values["pair_tag"]
        if tag not in pairs and tag not in draft.fleet.pairs:
            row.ask(
                "unknown_pair",
                f"there is no pair {tag}",
                "add its ski row, or correct the tag",
                key="pair_tag",
            )


def propose_pair(draft: Draft, pair: PairRows) -> None:
    """``pair recorded`` or ``pair changed``."""
    old = draft.fleet.pairs.get(pair.tag)
    if old is None:
        _record(draft, pair)
    else:
        was = draft.base.pairs.get(pair.tag)
        _change(draft, pair, old, was)


def _record(draft: Draft, pair: PairRows) -> None:
    said = said_in(Pair, pair.first)
    if said["kind"] is None:
        said["kind"] = KIND_NOT_KNOWN
    recorded = stated(PairFacts, said)
    skis = {side.value: _ski_said(pair, side) for side in Side}
    draft.add(PairRecorded.read(recorded | {"skis": skis}), *pair.all_rows, fate=Fate.NEW)
    later: Changes = {
        name: (None, value) for name, value in said.items() if name not in recorded and value is not None
    }
    if later:
        draft.add(PairChanged(tag=pair.tag, changes=later))


def _ski_said(pair: PairRows, side: Side) -> dict[str, Any]:
    return said_in(SkiFacts, lambda key: pair.on_side(side, key))


def _change(draft: Draft, pair: PairRows, old: Pair, was: Pair | None) -> None:
    changes: Changes = {}
    if pair.rows:
        changes = changed(
            draft, pair.row, Pair, said_in(Pair, pair.first), what=f"pair {pair.tag}", old=old, was=was
        )
    for side in Side:
        row = pair.sides.get(side) or next(
            (r for r in pair.rows if r.values.get("ski") in (None, "both", side.value)), None
        )
        if row is None:
            continue
        side_changes = changed(
            draft,
            row,
            SkiFacts,
            _ski_said(pair, side),
            what=f"pair {pair.tag} ski {side.value}",
            old=old.skis[side],
            was=was and was.skis[side],
        )
        changes |= {f"{side.value}.{column}": change for column, change in side_changes.items()}
    whole = bool(changes) and all(row.usable for row in pair.all_rows)
    draft.add(PairChanged(tag=pair.tag, changes=changes) if whole else None, *pair.all_rows)


def propose_inspection(
    draft: Draft,
    pair: PairRows,
    holes: Mapping[Side, int],
    pattern: Pattern | None,
    closes: Callable[[str, Side], bool],
) -> None:
    """``area inspected`` for each ski that was seen bare or came new, over its mounting zone.

    ``closes``: whether a hole row that does not come in keeps that ski closed.

    ``holes``: how many holes are known on each ski. An inspection that lists fewer holes than the binding
    on the ski needs would hide the others for ever: asked, and nothing opens.
    """
    old = draft.fleet.pairs.get(pair.tag)
    for side in Side:
        how = pair.on_side(side, "inspected")
        if how not in ("bare", "new") or closes(pair.tag, side):
            continue
        if any("earlier_mounts" in row.doubted for row in pair.rows):
            continue  # nobody knows yet how many holes there should be
        back, front = um(pair.on_side(side, "zone_back_mm")), um(pair.on_side(side, "zone_front_mm"))
        half, on = pair.on_side(side, "zone_half_width_mm"), pair.on_side(side, "inspected_on")
        if back is None or front is None or half is None or on is None:
            continue
        if old is not None and any(
            (a.how, a.on, a.from_um, a.to_um) == (how, on, -back, front) for a in old.skis[side].inspected
        ):
            continue
        if old is not None and _stays_closed(old.skis[side], how, on, draft.fleet):
            pair.row.note(
                "stays_closed",
                f"ski {side.value} was closed ({old.skis[side].closed_why}):"
                f" seen {how} on {stored_day_text(on)}, it stays so",
                "survey it bare, and enter the day of that survey",
                key="inspected",
            )
            continue
        if not _holes_agree(pair, side, how, holes[side], pattern):
            return
        area = AreaInspected(tag=pair.tag, side=side, from_um=-back, to_um=front, how=how, on=on)
        draft.add(area, *pair.rows, fate=Fate.CHANGED if old is not None else Fate.NEW)


def _stays_closed(ski: Ski, how: str, on: str, fleet: Fleet) -> bool:
    """Return whether an inspection in a sheet leaves a closed ski closed. A day says nothing about the
    hour, so the
    day of the closing itself does not open it either."""
    if not ski.closed_entry:
        return False
    return how != "bare" or on <= shop_day(ski.closed_at, fleet.zone).isoformat()


def _holes_agree(pair: PairRows, side: Side, how: str, known: int, pattern: Pattern | None) -> bool:
    row = pair.row
    mounted = pair.first("binding_model") is not None
    earlier = pair.first("earlier_mounts") or 0
    if not mounted and not earlier:
        return True
    if known == 0:
        what = "a binding is on it" if mounted else f"it had {counted(earlier, 'earlier mount')}"
        row.ask(
            "inspected_without_holes",
            f"inspected {how!r}, and {what}, but no hole is listed on ski {side.value}",
            "list its holes, or write no in inspected",
            key="inspected",
        )
        return False
    if mounted and pattern is not None and known < pattern.hole_count:
        row.ask(
            "inspected_with_too_few_holes",
            f"inspected {how!r}, but only {known} holes are listed on ski {side.value}; "
            f"the binding on it has {pattern.hole_count}",
            "list all holes, or write no in inspected",
            key="inspected",
        )
        return False
    return True


def propose_mount(
    draft: Draft,
    pair: PairRows,
    resolved: Resolved,
    patterns: Mapping[str, Pattern],
    own: Mapping[Side, Places],
) -> None:
    """The current mount of a ski row: known where pattern, sole and boot centre are, else kept as stated.

    ``own``: the places of the screwed holes of each ski, which say the boot centre where the row does not.
    """
    row = pair.row
    bsl, offset, on = pair.first("bsl_mm"), pair.first("mark_offset_mm"), pair.first("mount_date")
    old = draft.fleet.pairs.get(pair.tag)
    if resolved.pattern and bsl is not None and offset is None:
        offset = _centre_of_holes(row, patterns[resolved.pattern], mm_to_um(bsl), own, old)
    if not resolved.pattern or bsl is None or offset is None:
        _propose_stated(draft, pair, resolved, old)
        return
    mount = MountRecorded(
        tag=pair.tag,
        pattern=resolved.pattern,
        bsl_um=mm_to_um(bsl),
        offset_um=mm_to_um(offset),
        mounted_on=on or "",
        removed_on=None,
        drilled=True,
        completes=True if old is not None and old.present_stated is not None else LEFT_OUT,
    )
    pattern = patterns[resolved.pattern]
    mount = with_stands(row, mount, pattern, {key: pair.first(key) for key in STAND_KEYS.values()})
    if old is not None:
        if known := next((m for m in old.mounts if is_that_mount(m, mount)), None):
            ask_if_moved(row, known, mount, pattern)
            return
        if old.current_mount is not None:
            row.ask(
                "mount_differs",
                f"the ledger has another mount on {pair.tag}: {old.current_mount.pattern} for "
                f"{old.current_mount.bsl_um / 1000:g} mm; a spreadsheet cannot rewrite it",
                "enter work with `mountbook order done`, or correct the row",
                key="binding_model",
            )
            return
    draft.add(mount, *pair.rows, fate=Fate.CHANGED if old is not None else Fate.NEW)


def _centre_of_holes(
    row: Row, pattern: Pattern, bsl_um: int, own: Mapping[Side, Places], old: Pair | None
) -> Decimal | None:
    """The boot centre from the mark as its own holes show it, said aloud, mm; None where they do not."""
    if old is not None and old.current_mount is not None:
        return None
    centre_um = boot_centre_um(pattern, bsl_um, own)
    if centre_um is None:
        return None
    row.note(
        "centre_from_holes",
        f"the boot centre is {mm_text(centre_um)} mm from the mark: the screwed holes of both skis make"
        f" {pattern.name} for {mm_text(bsl_um)} mm there, and nowhere else",
        key="binding_model",
    )
    return Decimal(centre_um) / 1000


def is_that_mount(known: Mount, said: MountRecorded) -> bool:
    """Return whether the ledger's mount is the one that a file speaks of."""
    return all(
        getattr(known, name) == getattr(said, name)
        for name in ("pattern", "bsl_um", "offset_um", "mounted_on")
    )


_ROW_KEYS: Final = {"offset_mm": "mark_offset_mm", "mounted_on": "mount_date"}
"""Keys of a row of mounts that a pair's own row says otherwise."""


def _propose_stated(draft: Draft, pair: PairRows, resolved: Resolved, old: Pair | None) -> None:
    """``mount stated`` with all that the row says. The ledger's own mounts stand above it, off or on."""
    row = pair.row
    said = said_in(StatedMountFacts, lambda key: pair.first(_ROW_KEYS.get(key, key)))
    said["binding_model"] = resolved.model
    lacking = [
        what
        for what, there in (
            ("its pattern", resolved.pattern),
            ("the sole length", said["bsl_um"] is not None),
            ("the boot centre", said["offset_um"] is not None),
        )
        if not there
    ]
    if old is None:
        row.note(
            "mount_incomplete",
            f"{' and '.join(lacking)} of the present mount: not known; it is kept as said, and no hole and"
            " no position is made of it",
            "enter what is missing, if it is known",
            key="binding_model",
        )
        draft.add(MountStated(tag=pair.tag, **stated(StatedMountFacts, said)))
        return
    if old.present_stated is None and (old.mounts or old.stated):
        return
    now = dict.fromkeys(said) | (_as_stated(old) or {})
    changes = differing(
        draft,
        row,
        what=f"stated mount of {pair.tag}",
        said=said,
        now=now,
        base=_as_stated(draft.base.pairs.get(pair.tag)),
        key_of={c.name: _ROW_KEYS.get(c.key, c.key) for c in columns_of(StatedMountFacts)},
    )
    if not changes:
        return
    new = now | {column: new for column, (_, new) in changes.items()}
    draft.add(MountStated(tag=pair.tag, **stated(StatedMountFacts, new)), *pair.rows)


def _as_stated(pair: Pair | None) -> dict[str, Any] | None:
    """Return what is stated of the mount that is on, None for what is not; None where nothing is."""
    if pair is None or pair.present_stated is None:
        return None
    facts = plain_facts(StatedMountFacts, pair.present_stated)
    return {name: None if fact == "" else fact for name, fact in facts.items()}


def propose_mounted_bindings(
    draft: Draft, pair: PairRows, resolved: Resolved, *, reserved: frozenset[str]
) -> None:
    """The two bindings of a mounted pair, with ids made of its tag; ``reserved``: ids that others have."""
    width = pair.first("brake_mm")
    said_brake = width if isinstance(width, Brake) else um(width)
    brake = Brake.UNKNOWN if said_brake is None else None if said_brake is Brake.TOLD else said_brake
    on = draft.fleet.bindings_on(pair.tag)
    was = draft.base.bindings_on(pair.tag)

    def same(b: Binding) -> bool:
        silent = said_brake in (None, Brake.TOLD)  # a blank says nothing of a binding that is known
        return b.model == resolved.model and (silent or b.brake_um == brake)

    if was and all(same(b) for b in was.values()):
        return  # the file says what it was made from; what the ledger did since stands
    if on:
        others = [b for b in on.values() if not same(b)]
        if others and not _measured(draft, pair, others, resolved.model, brake):
            pair.row.ask(
                "binding_differs",
                f"the ledger has another binding on {pair.tag}: {next(iter(on.values())).model}",
                "enter work with `mountbook order done`, or correct the row",
                key="binding_model",
            )
        return
    if pair.tag in draft.fleet.pairs and any(
        f"{pair.tag} {side.value}" in draft.fleet.bindings for side in Side
    ):
        return  # it was on this pair once, and the ledger knows where it went
    for side in Side:
        binding_id = f"{pair.tag} {side.value}"
        number = 2
        while binding_id in reserved:
            binding_id, number = f"{pair.tag} {side.value} ({number})", number + 1
        recorded = BindingRecorded(
            binding_id=binding_id,
            model=resolved.model,
            pattern=resolved.pattern,
            brake_um=brake,
            on_pair=pair.tag,
            on_ski=side,
        )
        draft.add(recorded, *pair.rows, fate=Fate.NEW)


def _measured(draft: Draft, pair: PairRows, others: Sequence[Binding], model: str, brake: BrakeWidth) -> bool:
    """Enter the brake of bindings of which it was not known, or told and not seen; whether that is all."""
    if any(b.model != model or b.brake_um not in (None, Brake.UNKNOWN) for b in others):
        return False
    for binding in others:
        change: Change = (binding.brake_um, brake)
        event = BindingChanged(binding_id=binding.binding_id, changes={"brake_um": change})
        draft.add(event, *pair.rows)
        what = f"binding {binding.binding_id}"
        draft.changes.append(FieldChange(what=what, field="brake_um", old=binding.brake_um, new=brake))
    return True


def count_holes(draft: Draft, holes: Sequence[Row]) -> dict[str, dict[Side, int]]:
    """Holes known per pair and ski: the ledger's and those of usable rows."""
    counts: dict[str, dict[Side, int]] = defaultdict(lambda: dict.fromkeys(Side, 0))
    for row in holes:
        if row.usable and not row.repeat:
            for side in sides_of(row):
                counts[row.values["pair_tag"]][side] += 1
    for tag, pair in draft.fleet.pairs.items():
        for side in Side:
            counts[tag][side] = max(counts[tag][side], len(pair.skis[side].holes))
    return counts


def resolve_mounted(pair: PairRows, patterns: Mapping[str, Pattern]) -> Resolved | None:
    """The binding on a pair made sure of, None where there is none or it is in doubt."""
    for row in pair.rows:
        if row.values.get("binding_model") is not None:
            return resolve_binding(row, "binding_model", patterns, pair.first("bsl_mm"))
    return None


STAND_KEYS: Final = {"toe": "toe_stands_mm", "heel": "heel_stands_mm"}
_SCREWED_BESIDE_UM: Final = 1_000
"""A piece without travel may stand so far beside where its mount puts it: hands screwed it down."""
_LEAST_SOLE_UM, _MOST_SOLE_UM = 150_000, 450_000


def with_stands(row: Row, mount: MountRecorded, pattern: Pattern, values: Mapping[str, Any]) -> MountRecorded:
    """Return the mount with where its pieces stand, or as it is where the row does not say it or is asked
    about it.
    """
    said = {piece: mm_to_um(values[key]) for piece, key in STAND_KEYS.items() if values.get(key) is not None}
    lacks = [piece for piece in pattern.travelling if piece not in said]
    if not said:
        return mount
    if lacks:
        row.note(
            "stands_not_known",
            f"the {' and the '.join(lacks)} piece of {pattern.name} travels too and its place is not said:"
            " nobody knows for which sole the binding stands",
            "measure every piece that travels",
            key=STAND_KEYS[next(iter(said))],
        )
        return mount
    ends, slides = {}, []
    for piece in pattern.pieces:
        listed_um = piece.follows.reference_um(mount.offset_um, mount.bsl_um)
        slide_um = said.get(piece.name.value, listed_um) - listed_um
        if not piece.travels and abs(slide_um) <= _SCREWED_BESIDE_UM:
            listed_um, slide_um = listed_um + slide_um, 0
        if not -piece.travel_back_um <= slide_um <= piece.travel_forward_um:
            row.ask(
                "stands_out_of_travel",
                f"the {piece.name} piece is said to stand {mm_text(slide_um)} mm from where a mount for"
                f" {mm_text(mount.bsl_um)} mm puts it; it travels {mm_text(piece.travel_back_um)} mm back and"
                f" {mm_text(piece.travel_forward_um)} mm forward",
                "measure it again from the mark, + to the tip; or correct the mounted sole or boot centre",
                key=STAND_KEYS.get(piece.name.value),
            )
            return mount
        ends[piece.follows] = listed_um + slide_um
        slides.append(Slide(piece=piece.name.value, reference_um=listed_um, slide_um=slide_um))
    sole_um = ends.get(Follows.TOE, 0) - ends.get(Follows.HEEL, 0)
    if not {Follows.TOE, Follows.HEEL} <= ends.keys() or not _LEAST_SOLE_UM <= sole_um <= _MOST_SOLE_UM:
        row.note(
            "stands_not_known",
            f"no sole length follows from where the pieces of {pattern.name} stand",
            "nothing: it is asked for when the pair goes out",
            key=STAND_KEYS[next(iter(said))],
        )
        return mount
    return msgspec.structs.replace(mount, stands=tuple(slides), set_for_um=sole_um)


def ask_if_moved(row: Row, known: Mount, said: MountRecorded, pattern: Pattern) -> None:
    """Ask where a row says another place than the ledger: a spreadsheet sets no binding."""
    if not said.stands:
        return
    for at in said.stands:
        stands_um = known.stands_um(at.piece, pattern.travelling)
        if at.piece in pattern.travelling and stands_um != at.reference_um + at.slide_um:
            now = "not known" if stands_um is None else f"{mm_text(stands_um)} mm"
            row.ask(
                "stands_differ",
                f"the {at.piece} piece stands at {mm_text(at.reference_um + at.slide_um)} mm by the row,"
                f" in the ledger: {now}",
                "a binding is set with the boot in: mountbook out PAIR --boot TAG --set",
                key=STAND_KEYS.get(at.piece),
            )
