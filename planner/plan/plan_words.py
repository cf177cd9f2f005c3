"""Words for a plan: what is proved of it, what it leaves open, the room for further mounts, what to know.

Room is places on the ski, not what its core bears. To know: notes, and what nobody stated or measured.
And the cost of the last sets, as values and in words, with the sets left unserved as asked.
"""

import shlex
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from math import ceil
from typing import Any, Final

from fleet.base.units import along_text, counted, first_of, length_text, toward
from fleet.facts.binding_kinds import BindingKinds
from fleet.facts.holes import Side
from fleet.facts.notes import in_short, on_boot, on_pair
from fleet.facts.pairs import Pair, Ski, to_measure
from fleet.facts.patterns import Follows, Pattern
from fleet.tables.snapshot import Fleet
from planner.plan.objective import ROOM, WORTH, Level, LevelProof, Totals, counted_in, gap_percent, levels_of
from planner.plan.part_prices import mount_worths
from planner.plan.values import Jig, Plan, PlannedPiece, PlannedSet, Room, Rung, Way


def result_of(plan: Plan) -> str:
    """The standing in a few words: ``best found, at most 3.4 % from the best``.

    The solver's proof and the certificate's are two things: only the second can be checked.
    """
    if plan.status == "proved best" or not plan.gap_percent:
        return plan.status
    if plan.certificate is None:
        return f"{plan.status}, nothing is proved of it"
    said = f"{plan.status}, at most {plan.gap_percent:g} % from the best"
    if all(level.by_solver for level in plan.certificate.levels):
        return f"{said} (the solver found none better; its proof is short)"
    return said


PROVED = (
    "no plan within the shop's rules and limits serves more sets, priority 1 before 2; of those that serve "
    "as many none {}drills fewer holes; of those again none takes less bench time, then lies nearer the "
    "marks, then has more room around holes"
)


def what_is_proved(plan: Plan) -> Iterator[str]:
    """Yield what "proved best" says, in a sentence; nothing for another plan."""
    if plan.status == "proved best" and plan.totals.wanted:
        counted = counted_in(plan.totals)
        worth = "drills mounts of less worth; of those with as little none " if WORTH in counted else ""
        yield PROVED.format(worth) + (", then leaves more further mounts" if ROOM in counted else "")


def left_open(plan: Plan) -> Iterator[str]:
    """A line for each level not proved: what was found, and the bound that no plan can better.

    Each bound is about plans that are no worse at the levels before it. Nothing for a plan proved best.
    """
    if plan.status == "proved best" or plan.certificate is None:
        return
    levels = levels_of(plan.totals.served_by_priority, counted_in(plan.totals))
    for level, proof in zip(levels, plan.certificate.levels, strict=False):
        if proof.bound != proof.value:
            yield _line(level, proof, plan.totals)


def _line(level: Level, proof: LevelProof, totals: Totals) -> str:
    total = level.total_in(totals)
    found = f"{level.words}: {level.figure(total)}, not proved"
    if proof.bound is None or (level.priority is None and proof.bound < 0):  # nothing costs less than nothing
        return f"{found}; no bound was found"
    possible = proof.value - proof.bound
    most = level.figure(total + possible if level.more else total - possible)
    than = "no more than" if level.more else "no less than"
    return f"{found}; the best is {than} {most} ({gap_percent(proof.value, proof.bound):g} %)"


_NAMED = 6
_SET_BY = "policy mount_worth_1 to mount_worth_3"


def room_text(room: Room, *, earlier_known: bool) -> str:
    """Places by the spacing and mounts by the shop's rule; each is named, because the smaller one counts."""
    rule = f"by the shop's rule: {'' if earlier_known else 'at most '}{room.rule}"
    if not room.rule:
        return rule
    return f"places by the spacing: {room.kept}{'' if room.kept < room.rule else ' or more'}; {rule}"


def mounts_left(room: Room, *, earlier_known: bool) -> str:
    """The further mounts once the work is done, in a few words for a sheet."""
    most = "" if earlier_known or not room.kept else "at most "
    return f"then {most}{room.kept or 'no'} further mount{'s' if room.kept > 1 else ''}"


def room_lines(fleet: Fleet, plan: Plan) -> Iterator[str]:
    """Yield what the plan takes of the room for further mounts, and which pairs worked on keep none."""
    if (worth := plan.totals.mount_worth) is not None:
        yield f"worth of the mounts drilled: {counted(worth, 'point')}; it came before the holes ({_SET_BY})"
    elif mount_worths(fleet.policy) is not None:
        yield f"the worth of mounts was not counted, holes came first: too many pairs, or no time ({_SET_BY})"
    if plan.totals.room_lost is None:
        if any(s.way.rung.rank > Rung.ADJUST.rank for s in plan.sets):
            yield "the room for further mounts was not counted: too many ways were equal, or time was short"
        return
    rooms = [(s.pair, s.way.room) for s in plan.sets if s.way.room is not None]
    if not rooms:
        return
    ended = [pair for pair, room in rooms if not room.kept]
    yield (
        f"room for further mounts: the work takes {plan.totals.room_lost}; of {counted(len(rooms), 'pair')}"
        f" worked on {len(rooms) - len(ended)} keep room for one or more"
        + (f", {len(ended)} for none: {first_of(ended, _NAMED)}" if ended else "")
    )
    if unknown := [pair for pair, _ in rooms if fleet.pair(pair).earlier_mounts is None]:
        yield f"at the most so, because earlier mounts are not known of {first_of(unknown, _NAMED)}"


FIT_NOT_KNOWN: Final = "sets kept though nobody knows whether the brake fits: measure first"


def notes_of(fleet: Fleet, planned: PlannedSet) -> str:
    """The notes on pair, skis, bindings and boot in one line, cut short; "" for none."""
    ids = [b.binding_id for b in fleet.bindings_on(planned.pair).values()]
    notes = (*on_pair(fleet.notes, planned.pair, binding_ids=ids), *on_boot(fleet.notes, planned.boot))
    return in_short(notes, tag=planned.pair)


def kinds_of(fleet: Fleet, planned: PlannedSet) -> str:
    """Return of which things nobody stated a kind, so that the fits table decided alone; "" for none."""
    missing = ", ".join(f"{thing} model {model}" for thing, model in _not_stated(fleet, planned))
    return f"kind not stated of {missing}: the fits table alone decided" if missing else ""


def fit_of(fleet: Fleet, planned: PlannedSet) -> str:
    """Return what to measure before anybody knows whether the brake fits, by name; "" where it is known. Only
    a binding that stays on may be of an unknown brake.
    """
    if planned.brake_um is None:
        return ""
    on = fleet.bindings_on(planned.pair).values() if planned.binding_from == "own" else ()
    return to_measure(fleet.pair(planned.pair), on, fleet.policy)


def fits_not_known(fleet: Fleet, plan: Plan) -> tuple[str, ...]:
    """Return the same of every set of a plan that has one."""
    return tuple(said for planned in plan.sets if (said := fit_of(fleet, planned)))


def _not_stated(fleet: Fleet, planned: PlannedSet) -> Iterator[tuple[str, str]]:
    """Yield what has no kind: (boot or binding, its model)."""
    boot, pattern = fleet.boot(planned.boot), fleet.pattern(planned.way.pattern)
    if not boot.kinds:
        yield "boot", boot.model
    if not pattern.kinds:
        yield "binding", pattern.binding_model


def kinds_to_state(fleet: Fleet, plan: Plan) -> tuple[str, ...]:
    """The question, once a model: the command that states the kind of each model that the plan uses."""
    found = sorted({each for planned in plan.sets for each in _not_stated(fleet, planned)})
    option = {"boot": "", "binding": " --bindings"}
    return tuple(
        f"mountbook kind {shlex.quote(model)} KIND{option[thing]} --by NAME"
        for thing, model in found
        if model
    )


_BAR: Final = 30
_CUT: Final = "the limit of time (--seconds) was over before more lines were worked out"

KNOWN: Final = {
    "proved best": "the certificate, added up by the judge over every way there is, proves that no plan of "
    "so many sets has fewer holes, and none with as few holes fewer minutes",
    "solver: none better": "the solver found none better; the certificate proves it but for the gap",
    "best found": "another plan may be better, by the gap at most",
}
"""The ways in which a point's figures are known, and what each says."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontierPoint:
    """The least that so many ``sets`` of a plan take. ``mounts``: pairs that are drilled for them.

    ``wants``: how many sets of each want are served. ``least_holes``, ``least_minutes``: what the judge's
    sums of the certificate prove: no plan of as many sets has fewer holes; none of those with no more holes
    takes fewer minutes. ``by_solver``: the solver proved both figures best, which rests on its arithmetic.
    ``cut``: the limit of time was over before the next point.
    """

    unserved: int
    sets: int = 0
    holes: int = 0
    minutes: int = 0
    mounts: int = 0
    wants: Mapping[str, int] = field(default_factory=dict)
    least_holes: int = 0
    least_minutes: int = 0
    by_solver: bool = True
    cut: bool = False

    @property
    def gap(self) -> tuple[int, str] | None:
        """Return what another plan could be better by at most, and its unit: of the first not proved."""
        gaps = ((self.holes - self.least_holes, "hole"), (self.minutes - self.least_minutes, "minute"))
        return next((gap for gap in gaps if gap[0]), None)

    @property
    def gap_text(self) -> str:
        """The gap as a count of its unit; ``none`` where all is proved."""
        return "none" if self.gap is None else counted(*self.gap)

    @property
    def known(self) -> str:
        """One of `KNOWN`."""
        proved, by_solver, found = KNOWN
        return proved if self.gap is None else by_solver if self.by_solver else found

    def to_json(self) -> dict[str, Any]:
        """The point for programs."""
        gap = self.gap and {"at_most": self.gap[0], "unit": self.gap[1]}
        return asdict(self) | {"proved": self.gap is None, "known": self.known, "gap": gap}


def left_unserved(fleet: Fleet, plan: Plan) -> Mapping[str, int]:
    """The sets of each want that a plan leaves out, as asked or because no plan serves them."""
    left = {w.wish: w.quantity for w in plan.wants or ()}
    if not left.keys() <= {w.wish for w in fleet.wishes}:  # a plan for many seasons has wants of its own
        return {}
    return {w.wish: n for w in fleet.wishes if plan.wants and (n := w.quantity - left.get(w.wish, 0))}


def bar_of(point: FrontierPoint, points: Sequence[FrontierPoint]) -> str:
    """A bar as long as the holes of a point are many beside those of the others."""
    most = max(each.holes for each in points) or 1
    return "#" * ceil(_BAR * point.holes / most)


def known_how(points: Sequence[FrontierPoint]) -> Iterator[str]:
    """A sentence for each way in which figures of these points are known, and whether points are lacking."""
    told = {each.known for each in points}
    yield from (f'"{known}": {says}' for known, says in KNOWN.items() if known in told)
    if not points or points[-1].cut:
        yield _CUT


def frontier_lines(points: Sequence[FrontierPoint]) -> Iterator[str]:
    """The points as lines for the screen: figures, and a bar of the holes; then how they are known."""
    yield "what the last sets cost: for so many sets the fewest holes, then the fewest minutes"
    yield "sets  unserved  holes  minutes  drilled mounts  known how            gap"
    for p in points:
        figures = f"{p.sets:>4}  {p.unserved:>8}  {p.holes:>5}  {p.minutes:>7}  {p.mounts:>14}  {p.known:<19}"
        yield f"{figures}  {p.gap_text:<10}  {bar_of(p, points)}".rstrip()
    yield from known_how(points)


_MEASURED_AT: Final = {
    Follows.TOE: "toe end of the sole",
    Follows.HEEL: "heel end of the sole",
    Follows.CENTRE: "middle of the sole",
    Follows.MARK: "pin line",
}
NO_JIG: Final = "NO JIG"
NOT_KNOWN: Final = "not known"


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceWords:
    """One piece that travels. ``lead`` says where it goes, ``detail`` how that is measured.

    ``begins``: what the ruler reads before, ``not known`` where the ledger does not say; ``expects``: what it
    reads then, each on ski A and on ski B.
    """

    piece: str
    lead: str
    detail: str
    measured_at: str
    begins: tuple[str, str]
    expects: tuple[str, str]


def piece_words(
    pair: Pair,
    pattern: Pattern,
    planned: PlannedSet,
    kinds: BindingKinds,
    sides: tuple[Side, ...] = tuple(Side),
) -> tuple[PieceWords, ...]:
    """Each piece with travel, in the pattern's order; what does not travel stands where its holes are.

    ``sides``: both skis, or the one that the words are about.
    """
    return tuple(
        _words(pair, pattern, planned, name, kinds.words(pattern.binding_kind, name), sides)
        for name in pattern.travelling
    )


def _words(
    pair: Pair,
    pattern: Pattern,
    planned: PlannedSet,
    name: str,
    brought: str,
    sides: tuple[Side, ...],
) -> PieceWords:
    """``brought``: how a binding of this kind has that piece brought to the boot."""
    stands = [at for side in sides for at in planned.way.skis[side].pieces if at.piece == name]
    a, b = stands[0], stands[-1]
    follows = next(piece.follows for piece in pattern.pieces if piece.name.value == name)
    end = _end_of_travel(pattern, name, (a, b))
    tail = _tail_words([pair.skis[side] for side in (sides[0], sides[-1])], a, b)
    if a.move_um is not None and b.move_um is not None:
        lead = f"{name}: {_move_words(a.move_um, b.move_um)}"
        place = place_words(a.end_um, b.end_um)
        detail = f"{brought}{end}Measure then, boot in: {_MEASURED_AT[follows]} {place}{tail}."
    else:
        lead = f"{name}: must stand {place_words(a.end_um, b.end_um)}"
        why = _why_measured(planned)
        detail = f"{brought}{end}{why}: measure at the {_MEASURED_AT[follows]}, boot in{tail}."
    return PieceWords(
        piece=name,
        lead=lead,
        detail=detail,
        measured_at=_MEASURED_AT[follows],
        begins=(_begins(a), _begins(b)),
        expects=(along_text(a.end_um), along_text(b.end_um)),
    )


def _begins(at: PlannedPiece) -> str:
    return NOT_KNOWN if at.move_um is None else along_text(at.end_um - at.move_um)


def _end_of_travel(pattern: Pattern, name: str, stands: tuple[PlannedPiece, ...]) -> str:
    """``END OF TRAVEL. `` where the piece may be slid no further one way, on one of these skis."""
    piece = next(piece for piece in pattern.pieces if piece.name.value == name)
    ends = (-piece.back_um, piece.forward_um)
    return "END OF TRAVEL. " if any(at.slide_um in ends for at in stands) else ""


def _why_measured(planned: PlannedSet) -> str:
    return "Not known where it stands" if planned.way.rung is Rung.ADJUST else "Screwed on anew"


def ski_words(pattern: Pattern, planned: PlannedSet, at: PlannedPiece) -> tuple[str, str, str]:
    """(how far one piece of one ski is moved, where it must stand then, measured at what), a line each."""
    if at.piece not in pattern.travelling:
        moved = "stands where its screws are"
    elif at.move_um is None:
        moved = f"{_why_measured(planned).lower()}: measure"
    else:
        moved = _move_words(at.move_um, at.move_um)
    follows = next(piece.follows for piece in pattern.pieces if piece.name.value == at.piece)
    return moved, place_words(at.end_um, at.end_um), _MEASURED_AT[follows]


def place_words(a_um: int, b_um: int) -> str:
    """``5.5 mm toward TAIL of the mark``, ``on the mark``; of both skis where they differ."""
    words = two_ways(a_um, b_um)
    return words if words.endswith("on the mark") else f"{words} of the mark"


def two_ways(a_um: int, b_um: int, *, zero: str = "on the mark") -> str:
    """Return what ski A and ski B take: one length where they print alike, else each with its letter."""
    a, b = (toward(value_um, zero=zero) for value_um in (a_um, b_um))
    if a == b:
        return a
    if zero not in (a, b) and (a_um > 0) == (b_um > 0):
        return f"A {length_text(abs(a_um))}, B {b}"
    return f"A {a}, B {b}"


def _move_words(a_um: int, b_um: int) -> str:
    words = two_ways(a_um, b_um, zero="stays")
    return f"{words} where it stands" if words == "stays" else f"{words} from where it stands"


def _tail_words(skis: Sequence[Ski], a: PlannedPiece, b: PlannedPiece) -> str:
    """From the tail, where both marks were measured."""
    marks = [ski.mark_from_tail_um for ski in skis]
    said = [length_text(mark + at.end_um) for mark, at in zip(marks, (a, b), strict=True) if mark is not None]
    if len(said) < len(marks):
        return ""
    at = said[0] if said[0] == said[1] else f"A {said[0]}, B {said[1]}"
    return f" ({at} from the tail)"


def jig_words(jig: Jig) -> str:
    """Return how the jig is set, and where its centre lies: both numbers, whatever they are."""
    return f"set to {length_text(jig.sole_um)} mm, its centre {place_words(jig.centre_um, jig.centre_um)}"


def jig_text(way: Way) -> str | None:
    """The jig of a way, or how it is drilled without one; None where nothing is drilled."""
    if not way.drilled:
        return None
    return f"{NO_JIG}: by template or by hand" if way.jig is None else jig_words(way.jig)
