"""Whoever obeys the printed words of an order ends at the plan: holes, pieces, boot, plugs, glue and waits.

The follower (`tests.paper.follower`) reads the PDF and nothing else, and imports nothing of the project.
A scale is read to a quarter of a millimetre (common practice, no source).
"""

from __future__ import annotations

import ast
import random
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from fleet.base.entries import utc_text
from fleet.facts.holes import HoleState, Side, hole_label
from fleet.facts.patterns import Pattern
from fleet.tables.snapshot import Fleet
from planner.bench.orders.book import hole_names
from planner.demo import moments
from planner.paper.work_order import work_order_pdf
from planner.paper.work_order_facts import work_order_sheet
from planner.plan.values import Plan, PlannedSet, Rung
from planner.planning.assign.plan import plan_fleet
from tests.bench.plan_fleets import real_fleet
from tests.paper.follower import CannotFollow, Done, Word, follow, read
from tests.paper.sample_sheets import LEDGERS, sample

READ_MM, PRINTED_MM = 0.251, 0.251
"""A half millimetre is printed where the value lies on that grid: at most a quarter beside it."""
ALIKE_MM = 1.251
"""One table serves both skis as long as old holes lie within the shop's 1 mm of each other."""


def pages_of(fleet: Fleet, planned: PlannedSet, paper: str = "A4") -> list[list[Word]]:
    sheet = work_order_sheet(
        fleet, planned, number="WO-2510-0001", revision="A", proposal=False, plan_hash="0" * 8,
        printed_at=moments.ISSUE,
    )  # fmt: skip
    return read(work_order_pdf([sheet], paper))


def stands_before(fleet: Fleet, planned: PlannedSet, pattern: Pattern) -> dict[tuple[str, str], float]:
    """Where each piece is when the order begins: as the ledger says, else at an end of its travel."""
    mount = fleet.pairs[planned.pair].current_mount
    recorded = {s.piece: s.slide_um for s in mount.slides} if mount else {}
    found = {}
    for side in Side:
        for at, piece in zip(planned.way.skis[side].pieces, pattern.pieces, strict=True):
            slid = recorded.get(at.piece, -piece.travel_back_um)
            found[side.value, at.piece] = (at.reference_um + slid) / 1000
    return found


def wrong(fleet: Fleet, planned: PlannedSet, done: Done) -> Iterator[str]:
    """Everything that is not as the plan wants it."""
    pair, pattern, way = fleet.pairs[planned.pair], fleet.patterns[planned.way.pattern], planned.way
    names = hole_names(pair, way)
    known = {hole.hole_id: hole for ski in pair.skis.values() for hole in ski.holes}
    marks = [pair.skis[side].mark_from_tail_um for side in Side]
    if done.boot != planned.boot:
        yield f"boot {done.boot}, not {planned.boot}"
    giver = planned.binding_from if planned.binding_from not in ("own", "stock") else ""
    if way.rung.rank > Rung.ADJUST.rank and done.takes_binding_off != giver:
        yield f"the binding is taken off {done.takes_binding_off!r}, not {giver!r}"
    for side in Side:
        ski, plan = done.skis[side.value], way.skis[side]
        want = {
            hole_label(names[side, h.piece, h.number]): (h.x_um / 1000, h.y_um / 1000)
            for h in plan.holes
            if h.do == "drill"
        }
        if ski.drilled.keys() != want.keys():
            yield f"{side} drilled {sorted(ski.drilled)}, wanted {sorted(want)}"
        for name in ski.drilled.keys() & want.keys():
            if max(abs(a - b) for a, b in zip(ski.drilled[name], want[name], strict=True)) > PRINTED_MM:
                yield f"{side} hole {name} at {ski.drilled[name]}, wanted at {want[name]}"
        reused = {
            hole_label(h.hole_id): (h.x_um / 1000, h.y_um / 1000) for h in plan.holes if h.hole_id is not None
        }
        if ski.kept.keys() != reused.keys():
            yield f"{side} reused {sorted(ski.kept)}, wanted {sorted(reused)}"
        for name in ski.kept.keys() & reused.keys():
            if max(abs(a - b) for a, b in zip(ski.kept[name], reused[name], strict=True)) > ALIKE_MM:
                yield f"{side} old hole {name} is said to be at {ski.kept[name]}, it is at {reused[name]}"
        if ski.plugged != {hole_label(name) for name in plan.plug}:
            yield f"{side} plugged {sorted(ski.plugged)}"
        if want and pair.construction is not None:
            size = next(h for h in plan.holes if h.do == "drill")
            if [float(n) for n in ski.bit.removesuffix(" mm")[2:].split(" × ")] != [
                (size.diameter_um or 0) / 1000,
                (size.depth_um or 0) / 1000,
            ]:
                yield f"{side} drilled with {ski.bit!r}"
        if way.rung.rank > Rung.ADJUST.rank and sorted(ski.turns) != sorted({*want, *reused}):
            yield f"{side} tightened {ski.turns}"
        for at in plan.pieces:
            if at.piece in pattern.travelling:
                stands, wanted = ski.pieces.get(at.piece), at.end_um / 1000
                if stands is None or abs(stands - wanted) > READ_MM:
                    yield f"{side} {at.piece} stands at {stands}, wanted at {wanted}"
        mark = pair.skis[side].mark_from_tail_um
        told = None if mark is None else round(mark / 500) / 2
        if way.rung.rank > Rung.ADJUST.rank and ski.mark_to_tail != told:
            yield f"{side} mark to tail {ski.mark_to_tail}, it is {told}"
        shift = 0 if None in marks or side is Side.A else ((marks[0] or 0) - (marks[1] or 0)) / 1000
        centre = way.offset_um / 1000 + shift
        if ski.centre is None or abs(ski.centre - centre) > READ_MM:
            yield f"{side} boot centre at {ski.centre}, wanted at {centre}"
    in_wood = any(
        hole.hole_id is None or known[hole.hole_id].state is not HoleState.INSERT
        for ski in way.skis.values()
        for hole in ski.holes
    )
    if done.glue != (in_wood and way.rung.rank > Rung.ADJUST.rank):
        yield f"glue: {done.glue}"
    hours = fleet.policy.cure_hours(fleet.policy.word("plug_adhesive"))
    wait = "it has cured" if hours is None else f"time filled + {hours} h"
    if done.wait != (wait if any(ski.plug for ski in way.skis.values()) else ""):
        yield f"wait: {done.wait!r}"
    if way.drilled:
        jig = "NO JIG" if way.jig is None else (way.jig.sole_um / 1000, way.jig.centre_um / 1000)
        if isinstance(jig, str) or isinstance(done.jig, str):
            if jig != done.jig:
                yield f"jig {done.jig}, wanted {jig}"
        elif max(abs(a - b) for a, b in zip(jig, done.jig, strict=True)) > 0.051:
            yield f"jig {done.jig}, wanted {jig}"


def followed(fleet: Fleet, plan: Plan, paper: str = "A4") -> dict[str, list[str]]:
    """By pair: whatever is not as the plan wants it after the order was followed."""
    found = {}
    for planned in plan.sets:
        if planned.way.rung is Rung.AS_IS:
            continue
        pattern = fleet.patterns[planned.way.pattern]
        try:
            done = follow(pages_of(fleet, planned, paper), stands_before(fleet, planned, pattern))
            faults = list(wrong(fleet, planned, done))
        except CannotFollow as open_question:
            faults = [f"cannot be followed: {open_question}"]
        if faults:
            found[planned.pair] = faults
    return found


def test_the_follower_imports_nothing_of_the_project() -> None:
    tree = ast.parse((Path(__file__).parent / "follower.py").read_text(encoding="utf-8"))
    tops = {
        name.split(".")[0]
        for node in ast.walk(tree)
        for name in (
            [alias.name for alias in node.names]
            if isinstance(node, ast.Import)
            else [node.module or ""]
            if isinstance(node, ast.ImportFrom)
            else []
        )
    }
    assert tops == {"__future__", "re", "collections", "dataclasses", "typing", "pymupdf"}


@pytest.mark.parametrize(
    ("ledger", "paper"),
    [
        pytest.param(ledger, paper, marks=() if (ledger, paper) == ("recorded", "A4") else pytest.mark.long)
        for ledger in LEDGERS
        for paper in ("A4", "Letter")
    ],
)
def test_every_order_of_the_sample_fleet_is_followed_to_the_plan(ledger: str, paper: str) -> None:
    assert followed(*sample(ledger), paper) == {}


OTHER_KINDS = ("touring pin", "three-pin", "plate or rail", "")
"""Kinds that the sample's patterns do not have; "": not stated."""


def random_fleet(seed: int) -> Fleet:
    """Pairs with a history; now and then a pattern of another kind, and a core that nobody knows."""
    rng = random.Random(seed)
    fleet = real_fleet(14, seed=seed)
    patterns = {
        name: replace(pattern, binding_kind=rng.choice(OTHER_KINDS)) if rng.random() < 0.4 else pattern
        for name, pattern in fleet.patterns.items()
    }
    pairs = {
        tag: replace(pair, construction=None) if rng.random() < 0.1 else pair
        for tag, pair in fleet.pairs.items()
    }
    return replace(fleet, patterns=patterns, pairs=pairs)


def _random_fleets(seeds: range) -> Counter[str]:
    kinds: Counter[str] = Counter()
    for seed in seeds:
        fleet = random_fleet(seed)
        plan = plan_fleet(fleet, made_at=utc_text(moments.PLAN), ready_by=None, minutes_limit=None)
        assert followed(fleet, plan) == {}, seed
        kinds.update(
            fleet.patterns[s.way.pattern].binding_kind for s in plan.sets if s.way.rung is not Rung.AS_IS
        )
    return kinds


def test_orders_of_random_fleets_are_followed_to_the_plan() -> None:
    assert sum(_random_fleets(range(5)).values()) > 10


@pytest.mark.long
def test_orders_of_two_hundred_random_fleets_are_followed_with_every_kind_of_binding() -> None:
    kinds = _random_fleets(range(100, 300))
    assert kinds.keys() >= {
        *("alpine two-piece", "alpine track", "plate or rail", "touring frame", "junior"),
        *("telemark heel bar", "telemark cable", "touring pin", "three-pin", ""),
    }
    assert sum(kinds.values()) > 400


VALUES = (
    *(r"\d+\.\d", r"toward (?:TIP|TAIL)", r"[\d.]+ (?:left|right)", "drill", "reuse", r"plug .+", r"\d{1,2}"),
    *(
        r"Ø .+",
        r"(?:toe|heel|plate): .+",
        r"Boot in: boot centre .+",
        r"WORK ORDER.*",
        r".*FIRST VISIT ENDS.*",
    ),
    *(r".*NOT BEFORE.*", r"Glue, then ALL.*", r"JIG set.+", r"NO JIG.+", r".*In turn, diagonally.*"),
)


@pytest.mark.parametrize("each_rung", [1, pytest.param(3, marks=pytest.mark.long)])
def test_a_value_that_is_left_out_changed_or_swapped_is_noticed(each_rung: int) -> None:
    """Each word that says where or what, in turn: taken off the sheet, its figure changed, TIP for TAIL, left
    for right, toe for heel, A for B. The follower cannot go on, or ends elsewhere."""
    fleet, plan = sample("recorded")
    by_rung: dict[Rung, list[PlannedSet]] = {}
    for planned in plan.sets:
        if planned.way.rung is not Rung.AS_IS:
            by_rung.setdefault(planned.way.rung, []).append(planned)
    chosen = [planned for sets in by_rung.values() for planned in sets[-each_rung:]]
    missed, tried = [], Counter()
    for planned in chosen:
        pages = pages_of(fleet, planned)
        stands = stands_before(fleet, planned, fleet.patterns[planned.way.pattern])
        for page, words in enumerate(pages):
            for at, word in enumerate(words):
                if not any(re.fullmatch(value, word.text) for value in VALUES) or not _told(words, word):
                    continue
                for how, text in _spoilt(word.text):
                    other = [replace(word, text=text)] if text else []
                    spoilt = [*words[:at], *other, *words[at + 1 :]]
                    tried[how] += 1
                    try:
                        done = follow([*pages[:page], spoilt, *pages[page + 1 :]], stands)
                        if not list(wrong(fleet, planned, done)):
                            missed.append((planned.pair, how, word.text))
                    except (CannotFollow, KeyError):
                        pass
    assert missed == []
    assert min(tried[how] for how in ("left out", "changed", "TIP for TAIL", "left for right")) > 15


def _told(words: list[Word], word: Word) -> bool:
    """Whether the word says what is done: in the table or among the steps, not in the picture or a margin."""
    head = next(w for w in words if w.text == "along the ski, from the mark, mm")
    in_table = word.x > head.x - 60
    steps = next(w for w in words if w.text.startswith("Steps: read, do"))
    if steps.y - 40 < word.y < steps.y and not in_table:
        return False  # the legend under the picture
    if not in_table:
        return word.y < head.y or (word.size > 7 and not word.text.replace(".", "").isdigit())
    rows = [w for w in words if head.y < w.y < steps.y and re.match(r"(drill|reuse|stays|plug .+)$", w.text)]
    if not head.y < word.y < steps.y or word.text.startswith("plug"):
        return True
    return not min(rows, key=lambda w: abs(w.y - word.y)).text.startswith("plug")


def _within_reading(text: str) -> bool:
    """Whether an old hole lies so near the centre line that one table serves both skis whatever its side."""
    beside = re.fullmatch(r"([\d.]+) (?:left|right)", text)
    return beside is not None and 2 * float(beside[1]) <= ALIKE_MM


def _spoilt(text: str) -> Iterator[tuple[str, str]]:
    """The word left out, and each way in which it may be printed wrongly."""
    yield "left out", ""
    if re.search(r"\d", text):
        digit = re.search(r"\d", text)
        assert digit
        yield "changed", text[: digit.start()] + str((int(digit[0]) + 4) % 10) + text[digit.end() :]
    for how, one, other in (
        ("TIP for TAIL", "TIP", "TAIL"),
        ("left for right", "left", "right"),
        ("toe for heel", "toe", "heel"),
    ):
        if (one in text or other in text) and not _within_reading(text):
            yield how, text.replace(one, "\0").replace(other, one).replace("\0", other)
    if "A " in text and ", B " in text:
        yield "A for B", text.replace("A ", "\0").replace("B ", "A ").replace("\0", "B ")
