"""The record of a finished order as facts of an entry: new holes, changed holes, mount, bindings, glue.

Pure: a pair, what was planned, what was measured; out come the parts of ``order done``.

Measured holes are checked against their rigid piece: no piece of a binding bends. Each hole is held against
the median of the others of its piece, each by how far it lies from where the sheet put it. So a piece that
stands elsewhere as a whole is in order, and one hole off the others stands out by all of what it is off. A
hole not measured counts where the sheet put it: that is where it is entered.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import isqrt
from statistics import median

import msgspec

from fleet.base.errors import BadInput, Refused
from fleet.base.units import length_text
from fleet.events.event import Changes
from fleet.events.mounts import MovedBinding, NewMount, Slide
from fleet.events.pairs import ChangedHole, NewHole
from fleet.facts.holes import Hole, HoleState, Knowledge, Side, fresh_hole_ids, short_id
from fleet.facts.pairs import Binding, Pair
from fleet.facts.policy import Policy
from fleet.rules.below_rule import nearer_text, over_text
from planner.plan.values import PlannedHole, PlannedSet, PlannedSki, Rung, screws_in_wood

Screw = tuple[Side, str, int]
"""A screw of the order: ski, piece, number in the pattern."""

NO_GLUE = ("none", "no_glue")
"""The word by which a bench says that it used no glue. That is an answer; saying nothing is none."""

SLIP_UM = 20_000
"""A measured position farther than this from the planned one is taken for a slip of the pen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """The measured place of a hole, µm from that ski's own mark; its size where that was measured too."""

    x_um: int
    y_um: int
    diameter_um: int | None = None
    depth_um: int | None = None


class Drilled(StrEnum):
    """A person's answer about the holes drilled on one ski of a stopped order. Silence is none of these."""

    NOTHING = "nothing"
    HOLES = "holes"
    AS_PLANNED = "as planned"
    NOT_KNOWN = "not known"


def takes_off(planned: PlannedSet) -> bool:
    """Return True if the order takes a binding off and drives screws (not so for an adjustment)."""
    return planned.way.rung.rank > Rung.ADJUST.rank


def new_holes(
    pair: Pair,
    planned: PlannedSet,
    *,
    measured: Mapping[Screw, Measured],
    only: Sequence[Screw] | None = None,
    state: HoleState = HoleState.SCREWED,
    measured_again: bool = False,
    names: Mapping[Screw, str] | None = None,
) -> list[NewHole]:
    """Return the holes drilled: as planned, or where they were measured, which ranks higher.

    ``names``: the ids that the sheet gave them; None: the next ones of each ski. ``only`` limits them to the
    screws made so far (a stopped order). BadInput for a screw that the order does not drill, or a position
    too far away to be that screw's, unless ``measured_again``.
    """
    drilled = {screw: hole for screw, hole in planned.way.screws.items() if hole.do == "drill"}
    for screw in (*measured, *(only or ())):
        if screw not in drilled:
            known = ", ".join(_said(each, names) for each in drilled) or "nothing"
            raise BadInput(f"the order does not drill {_said(screw, names)}", cure=f"it drills {known}")
    rows = []
    for side in Side:
        ids = _fresh_ids(pair, side)
        for screw, hole in drilled.items():
            if screw[0] is side and (only is None or screw in only):
                seen = measured.get(screw)
                if seen is not None and not measured_again:
                    _check_slip(_said(screw, names), hole, seen)
                name = next(ids) if names is None else names[screw]
                rows.append(_new_hole(name, screw, hole, seen, state))
    return rows


def _fresh_ids(pair: Pair, side: Side, planned: Sequence[NewHole] = ()) -> Iterator[str]:
    """Return the next ids of a ski's holes, after those on record and the ``planned`` ones."""
    ski = pair.skis[side]
    taken = [hole.hole_id for hole in (*ski.holes, *planned)]
    return fresh_hole_ids(pair.tag, side, taken, above=ski.holes_numbered_to)


def stopped_screws(
    planned: PlannedSet, drilled: Mapping[Side, Drilled], named: Sequence[Screw]
) -> tuple[dict[Side, Drilled], list[Screw]]:
    """Return for each ski what was drilled, and every drilled screw, from the answers and the ``named``
    screws.

    BadInput where nobody says it of a ski, or where the two contradict each other.
    """
    said = dict(drilled)
    screws = list(dict.fromkeys(named))
    for side in Side:
        mine = [screw for screw in screws if screw[0] is side]
        if side not in said and mine:
            said[side] = Drilled.HOLES
        if side not in said:
            raise BadInput(
                f"what was drilled on ski {side} is not said, and silence is not taken for nothing",
                cure=f"--ski-{side.lower()} nothing, as-planned or not-known;"
                f' or name its holes, like --drilled "{side}17"',
            )
        if said[side] is Drilled.HOLES and not mine:
            raise BadInput(f"no hole of ski {side} is named", cure=f'name each, like --drilled "{side}17"')
        if said[side] is Drilled.NOTHING and mine:
            raise BadInput(
                f"ski {side} is said to be undrilled, and {', '.join(map(screw_name, mine))} is named",
                cure="say the one or the other",
            )
        if said[side] is Drilled.AS_PLANNED:
            mine = [
                screw for screw, hole in planned.way.screws.items() if screw[0] is side and hole.do == "drill"
            ]
            screws += [screw for screw in mine if screw not in screws]
            said[side] = Drilled.HOLES if any(s[0] is side for s in screws) else Drilled.NOTHING
    return said, screws


def _said(screw: Screw, names: Mapping[Screw, str] | None) -> str:
    """The hole as the sheet names it, or the screw where an older sheet does not."""
    return short_id(names[screw]) if names is not None and screw in names else screw_name(screw)


def _check_slip(name: str, hole: PlannedHole, seen: Measured) -> None:
    if max(abs(seen.x_um - hole.x_um), abs(seen.y_um - hole.y_um)) > SLIP_UM:
        raise BadInput(
            f"{name} was planned at ({length_text(hole.x_um)}, {length_text(hole.y_um)}) mm"
            f" and is said to be at ({length_text(seen.x_um)}, {length_text(seen.y_um)}) mm",
            cure="measure from that ski's own mark, + to the tip and + to the right; if it is there all the"
            " same, type it again with --measured-again",
        )


def _new_hole(
    hole_id: str, screw: Screw, hole: PlannedHole, seen: Measured | None, state: HoleState
) -> NewHole:
    return NewHole(
        hole_id=hole_id,
        side=screw[0],
        x_um=seen.x_um if seen else hole.x_um,
        y_um=seen.y_um if seen else hole.y_um,
        diameter_um=seen.diameter_um if seen and seen.diameter_um else hole.diameter_um,
        depth_um=seen.depth_um if seen and seen.depth_um else hole.depth_um,
        state=state,
        knowledge=Knowledge.MEASURED_HERE if seen else Knowledge.DRILLED_HERE,
    )


def changed_holes(
    pair: Pair, planned: PlannedSet, inserts: Mapping[str, int] | None = None
) -> tuple[ChangedHole, ...]:
    """Return old holes after the work: reused ones screwed, plugged ones plugged, the old mount's others
    open; ``inserts``: those that hold an insert now, with their diameter.
    """
    if not takes_off(planned):
        return ()
    return tuple(
        changed
        for side in Side
        for hole in pair.skis[side].holes
        for changed in _change(
            hole, _state_after(hole, planned.way.skis[side]), (inserts or {}).get(hole.hole_id)
        )
    )


def with_inserts(
    holes: Sequence[NewHole],
    planned: PlannedSet,
    inserts: Mapping[Screw, int],
    names: Mapping[Screw, str],
) -> tuple[list[NewHole], dict[str, int]]:
    """Return the new holes, those of an insert so marked, and the diameters of inserts in old ones, by id.

    BadInput for a hole that holds an insert already, or whose diameter is a drill for wood screws.
    """
    new = {hole.hole_id: hole for hole in holes}
    old = {}
    for screw, diameter_um in inserts.items():
        hole, name = planned.way.screws[screw], names[screw]
        if hole.diameter_um is not None and diameter_um <= hole.diameter_um:
            raise BadInput(
                f"{length_text(diameter_um)} mm is no wider than {short_id(name)} is: no insert goes in",
                cure="the diameter that was drilled for the insert, as its maker's sheet says",
            )
        if name in new:
            new[name] = msgspec.structs.replace(new[name], state=HoleState.INSERT, diameter_um=diameter_um)
        else:
            old[name] = diameter_um
    return list(new.values()), old


def emptied_holes(
    pair: Pair, *, plugged: Sequence[str] = (), stripped: Sequence[str] = ()
) -> tuple[ChangedHole, ...]:
    """Return holes of a pair whose binding came off: open, or plugged or stripped where that is said."""
    known = {hole.hole_id for side in Side for hole in pair.skis[side].holes}
    for hole_id in (*plugged, *stripped):
        if hole_id not in known:
            raise BadInput(
                f"{pair.tag} has no hole {hole_id}", cure=f"its holes are {', '.join(sorted(known))}"
            )
    return tuple(
        changed
        for side in Side
        for hole in pair.skis[side].holes
        for changed in _change(
            hole,
            HoleState.STRIPPED
            if hole.hole_id in stripped
            else HoleState.PLUGGED
            if hole.hole_id in plugged
            else _after_take_off(hole.state),
        )
    )


def stripped_holes(planned: PlannedSet, screws: Sequence[Screw]) -> list[str]:
    """Return ids of reused holes in which those screws spin. Raises BadInput for a screw in a new hole."""
    found = []
    for screw in screws:
        hole_id = planned.way.screws[screw].hole_id
        if hole_id is None:
            raise BadInput(
                f"{screw_name(screw)} goes into a new hole", cure="a new hole is named with --drilled"
            )
        found.append(hole_id)
    return found


def extra_holes(
    pair: Pair, planned: Sequence[NewHole], extra: Mapping[Side, Sequence[Measured]]
) -> list[NewHole]:
    """Return holes that nobody planned (a drill that slipped), numbered after the ``planned`` ones."""
    return [
        NewHole(
            hole_id=hole_id,
            side=side,
            x_um=place.x_um,
            y_um=place.y_um,
            diameter_um=place.diameter_um,
            depth_um=place.depth_um,
            state=HoleState.OPEN,
            knowledge=Knowledge.MEASURED_HERE,
        )
        for side, places in extra.items()
        for place, hole_id in zip(places, _fresh_ids(pair, side, planned), strict=False)
    ]


def _state_after(hole: Hole, ski: PlannedSki) -> HoleState:
    if any(each.hole_id == hole.hole_id for each in ski.holes if each.do == "reuse"):
        return hole.state if hole.state is HoleState.INSERT else HoleState.SCREWED
    if hole.hole_id in ski.plug:
        return HoleState.PLUGGED
    return _after_take_off(hole.state)


def _after_take_off(state: HoleState) -> HoleState:
    return HoleState.OPEN if state is HoleState.SCREWED else state


def _change(hole: Hole, state: HoleState, insert_um: int | None = None) -> Iterator[ChangedHole]:
    if insert_um is not None:
        state = HoleState.INSERT
    if state is not hole.state:
        changes: Changes = {"state": (hole.state.value, state.value)}
        if insert_um is not None:
            changes["diameter_um"] = (hole.diameter_um, insert_um)
        yield ChangedHole(hole_id=hole.hole_id, changes=changes)


def new_mount(planned: PlannedSet, *, day: str) -> NewMount:
    """Return the new mount, with the place of each piece on ski A."""
    way = planned.way
    return NewMount(
        tag=planned.pair,
        pattern=way.pattern,
        bsl_um=way.bsl_um,
        offset_um=way.offset_um,
        mounted_on=day,
        removed_on=None,
        drilled=way.drilled > 0,
        slides=tuple(
            Slide(piece=piece.piece, reference_um=piece.reference_um, slide_um=piece.slide_um)
            for piece in way.skis[Side.A].pieces
        ),
    )


def binding_changes(
    planned: PlannedSet, *, bindings: Mapping[str, Binding], named: Sequence[str] = ()
) -> tuple[MovedBinding, ...]:
    """Return the changes of bindings: the old one off to the stock, the new one on; the giver's move straight
    over.

    ``named`` are the two binding ids that were really used, ski A first; else the stock's first two that
    lie together. Refused where the binding the order counts on is not there.
    """
    if planned.binding_from == "own":
        return ()
    on = zip(Side, _new_pair(planned, bindings, named), strict=True)
    return (
        *off_to_stock(planned.pair, bindings),
        *(_moved(binding, planned.pair, side) for side, binding in on),
    )


def loose_bindings(planned: PlannedSet, bindings: Mapping[str, Binding]) -> list[Binding]:
    """Return the bindings in stock that the order may take, by id; none where its pair keeps its own."""
    if planned.binding_from == "own":
        return []
    return [b for _, b in sorted(bindings.items()) if b.may_be_mounted and fits_order(planned, b)]


def fits_order(planned: PlannedSet, binding: Binding) -> bool:
    """Return whether the binding is of the pattern and brake that the order mounts."""
    return binding.pattern == planned.way.pattern and binding.brake_to_plan == planned.brake_um


def off_to_stock(tag: str, bindings: Mapping[str, Binding]) -> tuple[MovedBinding, ...]:
    """Return the changes that take the pair's bindings off."""
    return tuple(_moved(binding, None, None) for binding in bindings.values() if binding.on_pair == tag)


def _new_pair(
    planned: PlannedSet, bindings: Mapping[str, Binding], named: Sequence[str]
) -> tuple[Binding, Binding]:
    if named:
        return _named_pair(planned, named, bindings)
    from_giver = sorted(
        (b for b in bindings.values() if b.on_pair == planned.binding_from and fits_order(planned, b)),
        key=lambda b: str(b.on_ski),
    )
    if len(from_giver) == 2:
        return from_giver[0], from_giver[1]
    loose = loose_bindings(planned, bindings)
    if len(loose) < 2:
        raise Refused(
            f"the binding for {planned.pair} ({planned.way.pattern}) is not in stock",
            cure="take it off the pair that gives it, or plan again",
        )
    return loose[0], loose[1]


def _named_pair(
    planned: PlannedSet, named: Sequence[str], bindings: Mapping[str, Binding]
) -> tuple[Binding, Binding]:
    if len(named) != 2 or named[0] == named[1]:
        raise BadInput("a pair of skis carries two bindings", cure="name two ids, ski A first")
    found = []
    for name in named:
        binding = bindings.get(name)
        if binding is None or binding.on_pair is not None or not fits_order(planned, binding):
            raise Refused(f"{name} is not in stock as this order's binding", cure="check the id")
        if binding.asks:
            cure = f"answer it: mountbook note '{name}'"
            raise Refused(f"a note on {name} asks: {binding.asks}?", cure=cure)
        found.append(binding)
    return found[0], found[1]


def _moved(binding: Binding, pair: str | None, side: Side | None) -> MovedBinding:
    changes: Changes = {}
    if binding.on_pair != pair:
        changes["on_pair"] = (binding.on_pair, pair)
    if binding.on_ski != side:
        was = binding.on_ski
        changes["on_ski"] = (was.value if was else None, side.value if side else None)
    return MovedBinding(binding_id=binding.binding_id, changes=changes)


def adhesives(
    pair: Pair, planned: PlannedSet, policy: Policy, *, glue: str | None, about_inserts: bool = False
) -> list[str]:
    """Return the glue that the bench says it used, and that of inserts where some were set.

    ``glue`` None or blank: nobody said. Refused where a screw goes into wood and nobody said; BadInput for a
    glue that the shop does not know, and for one that no screw of this order takes.
    """
    used = {said_adhesive(policy, "insert_adhesive", "inserts are glued in with")} if about_inserts else set()
    driven = screws_in_wood(pair, planned)
    said = "_".join((glue or "").lower().replace("-", " ").replace("_", " ").split())
    known = sorted(policy.adhesives)
    if driven and not said:
        raise Refused(
            f"{driven} screws go into wood, and nobody said which glue was used",
            cure=f"say it as it stands on the sheet: --glue NAME ({', '.join(known)}), or --glue none",
        )
    if said and said not in NO_GLUE and not driven:
        raise BadInput(
            f"the order drives no screw into wood, and glue is named: {glue!r}",
            cure="leave --glue out; a screw set again is entered with `mountbook repair done`",
        )
    if said not in ("", *NO_GLUE):
        if said not in known:
            raise BadInput(
                f"{said!r} is no glue of this shop",
                cure=f"it is one of {', '.join(known)}, or none; a new one needs its cure first:"
                f' mountbook policy set cure_{said}_hours HOURS --origin "its data sheet"',
            )
        used.add(said)
    return sorted(used)


def said_adhesive(policy: Policy, name: str, use: str) -> str:
    """Return what the shop has said that it uses. Raises Refused where nobody has: its cure could not be
    told.
    """
    if not (said := policy.word(name)):
        raise Refused(
            f"nobody has said what {use}", cure=f'mountbook policy set {name} NAME --origin "its data sheet"'
        )
    return said


def outside_the_rule(pair: Pair, made: Sequence[NewHole], policy: Policy) -> list[str]:
    """Return in words the new holes nearer to an old one than the bare spacing; reused ones are not new."""
    spacing = policy.um("spacing_mm")
    return [
        f"new hole {new.hole_id} {short}"
        for new in made
        for hole in pair.skis[new.side].holes
        if (short := nearer_text(hole.x_um - new.x_um, hole.y_um - new.y_um, spacing, hole.hole_id))
    ]


def screw_name(screw: Screw) -> str:
    """Return a screw as it is typed: ``A toe 1``."""
    return f"{screw[0].value} {screw[1]} {screw[2]}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Astray:
    """A hole that cannot be where it is said to be, and the reason, in words that begin with *is*.

    ``place`` is side, x and y as they would be entered; ``number`` the one on the sheet.
    """

    place: tuple[Side, int, int]
    piece: str
    number: str
    words: str

    @property
    def on_sheet(self) -> str:
        """The hole as the sheet calls it."""
        return f"hole {self.number} of ski {self.place[0]} ({self.piece})"


def holes_astray(
    planned: PlannedSet,
    measured: Mapping[Screw, Measured],
    *,
    allowed_um: int,
    labels: Mapping[Screw, str],
    drilled: Collection[Screw] | None = None,
) -> list[Astray]:
    """Every hole farther than ``allowed_um`` from where the others of its piece put it, and every one
    farther from its planned place than a slip of the pen is.

    ``drilled`` None: the whole order was drilled; else only these.
    """
    found = []
    for side in Side:
        holes = [
            hole
            for screw, hole in planned.way.screws.items()
            if screw[0] is side and (drilled is None or screw in drilled)
        ]
        for piece in dict.fromkeys(hole.piece for hole in holes):
            mine = [hole for hole in holes if hole.piece == piece]
            off = [_off(hole, measured.get((side, piece, hole.number))) for hole in mine]
            for at, (hole, by) in enumerate(zip(mine, off, strict=True)):
                words = _words(by, off[:at] + off[at + 1 :], allowed_um)
                if words:
                    place = (side, hole.x_um + by[0], hole.y_um + by[1])
                    number = labels[side, piece, hole.number]
                    found.append(Astray(place=place, piece=piece, number=number, words=words))
    return found


def _off(hole: PlannedHole, seen: Measured | None) -> tuple[int, int]:
    return (0, 0) if seen is None else (seen.x_um - hole.x_um, seen.y_um - hole.y_um)


def _words(by: tuple[int, int], others: list[tuple[int, int]], allowed_um: int) -> str:
    if others:
        square = sum((mine - median(other[at] for other in others)) ** 2 for at, mine in enumerate(by))
        if square > allowed_um**2:
            return (
                f"is {over_text(isqrt(int(square)), allowed_um)} from where the other holes of its piece put"
                f" it; a piece is rigid, and bench and reading allow {length_text(allowed_um)} mm"
            )
    if max(map(abs, by)) > SLIP_UM:
        return f"is {length_text(isqrt(by[0] ** 2 + by[1] ** 2))} mm from where the order put it"
    return ""
