"""A mounted sole that may be a shell size, and what bears witness that it is a sole: holes, and other boots.

265 mm is a small boot's sole or a middling boot's shell. The pattern is invented; the limits are those of
`imports/sole.py` and `imports/hole_witness.py` (common practice and our own defaults, no source).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from fleet.facts.boots import Boot
from fleet.facts.holes import HoleState, Side
from fleet.facts.patterns import Follows, Pattern
from fleet.tables.snapshot import Fleet
from imports.cells import Cell
from imports.difference import no_fleet
from imports.findings import Severity
from imports.headers import Table
from imports.hole_witness import check_mounted_soles
from imports.rows import Row
from tests.imports.test_hole_doubts import PATTERN, Place, drilled, rows as hole_rows
from tests.paper.invented_shop import make_pair, old_mount

AT = (132.5, -132.5)
"""Where toe and heel of a sole of 265 mm stand with its middle on the mark [derived: half of it each way]."""
HOLES = drilled("A", at=AT)
ASKED = (
    "question",
    "bsl_is_shell_size",
    "bsl_mm",
    "{} may be a shell size and not a sole length; no shell size stands beside it",
)
NOTED = (
    "note",
    "bsl_may_be_shell",
    "bsl_mm",
    "{} may be a shell size; taken as a sole: boots of that sole length are here",
)


def mounted(bsl: Any = 265, *, offset: Any = 0, model: str = "Teach 4") -> Row:
    bsl, offset = (None if each is None else Decimal(str(each)) for each in (bsl, offset))
    values = {"tag": "K-031", "binding_model": model, "bsl_mm": bsl, "mark_offset_mm": offset}
    cells = {"bsl_mm": (6, Cell(str(bsl)))}
    return Row(table=Table.SKI, sheet="Skis", number=2, file="own.xlsx", values=values, cells=cells)


def boot_row(bsl: int | None, size: float | None) -> Row:
    values = {"tag": "B-1", "bsl_mm": bsl and Decimal(bsl), "mondopoint": size and Decimal(str(size))}
    return Row(table=Table.BOOT, sheet="Boots", number=2, file="own.xlsx", values=values, cells={})


def boot(bsl_um: int | None, size_mm: int | None) -> Boot:
    return Boot(
        tag="B-9", model="Larch", mondopoint_mm=size_mm, bsl_um=bsl_um, bsl_measured="", sole_type="alpine A"
    )


def of_shop(*boots: Boot, holes: bool = False) -> Fleet:
    """A ledger with these boots, and the pair whose skis have half of the holes each."""
    made = old_mount(PATTERN, "h", 265, 0, state=HoleState.SCREWED)
    pair = make_pair("K-031", {Side.A: made[:4], Side.B: made[4:]})
    return replace(
        no_fleet(), boots={each.tag: each for each in boots}, pairs={"K-031": pair} if holes else {}
    )


def said(
    ski: Row,
    *,
    boots: Iterable[Row] = (),
    places: Sequence[Place] = (),
    patterns: Sequence[Pattern] = (PATTERN,),
    fleet: Fleet | None = None,
    **hole: Any,
) -> list[tuple[str, str, str | None, str]]:
    known = {pattern.name: pattern for pattern in patterns}
    check_mounted_soles([ski], boots, hole_rows(places, **hole), known, fleet or no_fleet())
    return [(f.severity.value, f.code, f.key, f.message) for f in ski.findings]


def words(expected: tuple[str, str, str, str], bsl: Any = 265) -> list[tuple[str, str, str, str]]:
    severity, code, key, message = expected
    return [(severity, code, key, message.format(bsl))]


@pytest.mark.parametrize(
    ("bsl", "asked"), [(265, True), (275, True), (280, False), (274, False), (270.5, False), (None, False)]
)
def test_a_multiple_of_5_mm_up_to_275_may_be_a_shell(bsl: float | None, asked: bool) -> None:
    assert said(mounted(bsl)) == (words(ASKED, bsl) if asked else [])


@pytest.mark.parametrize(
    ("along_mm", "across_mm", "agree"),
    [
        (0, 0, True),
        (2, 0, True),
        (-2, 0, True),
        (0, 2, True),
        (0, -2, True),
        (2.001, 0, False),
        (-2.001, 0, False),
        (0, 2.001, False),
        (0, -2.001, False),
    ],
)
def test_holes_within_2_mm_of_where_the_pattern_puts_them_for_that_sole_settle_it(
    along_mm: float, across_mm: float, agree: bool
) -> None:
    places = [(x + along_mm, y + across_mm) for x, y in HOLES]
    assert said(mounted(), places=places) == ([] if agree else words(ASKED))


@pytest.mark.parametrize("missing", range(8))
def test_every_hole_of_the_pattern_has_to_be_there(missing: int) -> None:
    assert said(mounted(), places=[*HOLES[:missing], *HOLES[missing + 1 :]]) == words(ASKED)


CENTRE = replace(PATTERN, pieces=tuple(replace(p, follows=Follows.CENTRE) for p in PATTERN.pieces))
OTHER = replace(PATTERN, name="Other", binding_model="Other 2")


@pytest.mark.parametrize(
    ("case", "agree"),
    [
        ({"ski": mounted(model="T4/H4")}, True),
        ({"ski": mounted(model="Other 2")}, False),
        ({"patterns": (OTHER, PATTERN)}, True),
        ({"patterns": (OTHER,)}, False),
        ({"patterns": ()}, False),
        ({"ski": mounted(offset=5), "places": [(x + 5, y) for x, y in HOLES]}, True),
        ({"ski": mounted(offset=5)}, False),
        ({"ski": mounted(offset=None)}, False),
        ({"tag": "K-032"}, False),
        ({"left_out": True}, False),
        ({"strange": [("implausible", "x_mm")]}, False),
        ({"places": (), "fleet": of_shop(holes=True)}, True),
        ({"places": HOLES[:7], "fleet": of_shop(holes=True)}, True),
        ({"places": HOLES[:7], "fleet": of_shop()}, False),
    ],
)
def test_which_holes_and_which_pattern_bear_witness(case: dict[str, Any], agree: bool) -> None:
    """The pair's own binding and boot centre; what is in doubt is no witness; the ledger's holes count."""
    found = said(**{"ski": mounted(), "places": HOLES} | case)
    assert found == ([] if agree else words(ASKED))


def test_a_pattern_that_lies_the_same_for_every_sole_bears_no_witness() -> None:
    made = [(h.x_um / 1000, h.y_um / 1000) for piece in CENTRE.pieces for h in piece.holes]
    assert said(mounted(), places=made, patterns=(CENTRE,)) == words(ASKED)
    assert said(mounted(), places=HOLES, patterns=(CENTRE, replace(PATTERN, name="T4"))) == []


@pytest.mark.parametrize(
    ("boots", "fleet", "noted"),
    [
        ([boot_row(265, 22.5)], of_shop(), True),
        ([boot_row(266, 22.5)], of_shop(), False),
        ([boot_row(265, None)], of_shop(), False),
        ([boot_row(None, 22.5)], of_shop(), False),
        # of the ledger's own boots a sole is believed that is 15 mm longer than its shell
        ([], of_shop(boot(265_000, 250)), True),
        ([], of_shop(boot(265_000, 251)), False),
        ([], of_shop(boot(264_999, 225)), False),
        ([], of_shop(boot(265_000, None)), False),
        ([], of_shop(boot(None, 225)), False),
    ],
)
def test_boots_of_that_sole_length_make_it_likely(boots: list[Row], fleet: Fleet, noted: bool) -> None:
    ski = mounted()
    assert said(ski, boots=boots, fleet=fleet) == words(NOTED if noted else ASKED)
    if noted:
        [finding] = ski.findings
        assert (finding.severity, finding.column, finding.taken) == (Severity.NOTE, "F", Decimal(265))


def test_a_boot_that_is_in_question_itself_makes_no_sole_likely() -> None:
    doubted = boot_row(265, 22.5)
    doubted.remark(Severity.QUESTION, "implausible", "how strange", "look again", key="tag")
    assert said(mounted(), boots=[doubted]) == words(ASKED)


def test_each_sole_of_the_column_is_judged_by_itself() -> None:
    skis = [mounted(bsl) for bsl in (None, 290, 265, 270, 265)]
    boots = [boot_row(270, 22.5)]
    check_mounted_soles(skis, boots, hole_rows(HOLES), {PATTERN.name: PATTERN}, no_fleet())
    assert [[f.code for f in ski.findings] for ski in skis] == [[], [], [], ["bsl_may_be_shell"], []]
