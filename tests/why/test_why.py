"""`mountbook why`: the smallest blocking facts, what lies beyond policy, and changes that really unblock."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from random import Random

import pytest
from hypothesis import assume, given, settings, strategies as st
from typer.testing import CliRunner

from fleet.base.entries import Head
from fleet.facts.boots import Boot
from fleet.facts.holes import Knowledge, Mount, Side
from fleet.facts.kinds import Kind
from fleet.facts.patterns import Fit
from fleet.facts.standing import Place
from fleet.tables.snapshot import Fleet
from planner.cli.main import app
from planner.geometry.placement.frames import stance_for
from planner.geometry.placement.legal import LegalOffsets, legal_offsets
from planner.geometry.placement.rule import rule_for
from planner.geometry.why.answer import where_lines, why
from planner.geometry.why.facts import Fact, FactKind
from planner.geometry.why.geometry import blocked_by, smallest_blocking
from tests.placement import conftest as make
from tests.placement.test_against_plain_rule import small_world


def shop(*pairs, bsl_mm=310, policy=None, patterns=None, fits=("T4/H4",)):
    patterns = patterns or [make.t4h4()]
    return Fleet(
        shop="shop",
        zone="Etc/UTC",
        head=Head(1, "0" * 64),
        policy=policy or make.p10(),
        staff={},
        pairs={pair.tag: pair for pair in pairs},
        boots={
            "B-1": Boot(
                tag="B-1",
                model="boot",
                mondopoint_mm=270,
                bsl_um=None if bsl_mm is None else make.um(bsl_mm),
                bsl_measured="printed",
                sole_type="ISO 5355 A",
            )
        },
        bindings={},
        patterns={pattern.name: pattern for pattern in patterns},
        fits=tuple(
            Fit(sole_type="ISO 5355 A", pattern=name, binding_sheet="s", boot_sheet="s") for name in fits
        ),
        wishes=(),
    )


def drilled_pair(**changes):
    pair = make.twin_pair(make.mount_holes_mm(make.t4h4(), 305))
    return replace(pair, **changes)


def ask(fleet, pattern=None):
    return why(fleet, pair_tag="P-1", boot_tag="B-1", pattern_name=pattern)


def test_310_on_a_305_mount_is_the_worked_no():
    """At 2.5 mm the toe finds its old holes and the heel lies 5.0 mm from old ones; first legal: 12.5 mm."""
    answer = ask(shop(drilled_pair()))
    assert not answer.possible
    assert answer.to_json()["legal_offsets_mm"] == []
    assert answer.to_json()["beyond_policy"] == [[-12.5, -12.5], [12.5, 12.5]]
    assert {(fact.needs_um, fact.has_um) for fact in answer.blocking} == {(10_000, 5_000)}
    assert answer.blocking[0].what == (
        "ski A: toe hole 1 would lie 5.0 mm from the open hole a1 (measured here)"
        " (boot centre 2.5 mm toward TIP); the shop's rule asks for 10.0 mm"
    )
    assert answer.nearest_change == ("a manager allows 2.5 mm more from the mark (offset_limit_mm 12.5)")


def test_the_nearest_change_is_true():
    """A window as wide as the answer says makes it possible, half a millimetre less does not."""
    for limit, possible in (("12.5", True), ("12", False)):
        assert ask(shop(drilled_pair(), policy=make.p10(offset_limit_mm=limit))).possible is possible


def test_a_yes_lists_the_exact_ranges_and_the_ways():
    answer = ask(shop(drilled_pair(), bsl_mm=317))
    assert answer.possible
    assert answer.to_json()["legal_offsets_mm"] == [[-6.5, -5.5], [5.5, 6.5]]
    assert [(w["way"], abs(w["offset_mm"])) for w in answer.to_json()["ways"]] == [("part reused", 6.0)]
    assert answer.blocking == ()


def test_a_mount_that_serves_the_boot_as_it_is_needs_no_known_holes():
    mount = Mount(pattern="T4/H4", bsl_um=310_000, offset_um=1_500, mounted_on="2024-11-02")
    bare = make.pair(make.ski(Side.A, inspected_mm=[]), make.ski(Side.B, inspected_mm=[]), mounts=[mount])
    answer = ask(shop(bare))
    assert answer.legal == ((1_500, 1_500),)
    assert answer.ways[0].rung.value == "as it is"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"fits": ()}, "no pattern is declared by both makers for sole ISO 5355 A"),
        ({"bsl_mm": None}, "the sole length of boot B-1 is not known"),
    ],
)
def test_paper_blocks_before_geometry(change, said):
    answer = ask(shop(drilled_pair(), **change))
    assert not answer.possible
    assert [fact.what for fact in answer.blocking] == [said]


def test_a_pair_on_hold_blocks_by_itself():
    answer = ask(shop(drilled_pair(place=Place.HOLD), bsl_mm=305))
    assert not answer.possible
    assert answer.legal == ()
    assert answer.blocking[0].what == "pair P-1 is on hold: nothing is planned for it"


def test_an_undeclared_pattern_is_a_no_even_where_the_holes_would_fit():
    answer = ask(shop(drilled_pair(), bsl_mm=305, fits=()), pattern="T4/H4")
    assert answer.legal == ()
    assert "not declared by both makers" in answer.blocking[0].what


def test_a_ski_never_inspected_asks_for_a_survey():
    pair = make.pair(make.ski(Side.A), make.ski(Side.B, inspected_mm=[]))
    answer = ask(shop(pair))
    assert [fact.what for fact in answer.blocking] == [
        "ski B was not looked at bare where new holes would go: from 400.0 mm toward TAIL to"
        " 400.0 mm toward TIP of its mark"
    ]
    assert answer.nearest_change == "take binding and plate off, look at ski B bare, and enter the survey"


def test_the_one_hole_to_measure_again_is_named():
    """A batch-assumed hole asks for 1.5 mm more than a measured one; measured, the place is free."""
    pair = make.pair(
        make.ski(Side.A, make.holes([(130, 18)], knowledge=Knowledge.BATCH_ASSUMED, name="x")),
        make.ski(Side.B),
    )
    policy = make.p10(allowance_batch_assumed_mm="1.5", offset_limit_mm="1")
    toe = make.Pattern(name="toe", binding_model="toe", pieces=(make.t4h4().pieces[0],))
    pattern = replace(
        toe, pieces=(replace(toe.pieces[0], holes=toe.pieces[0].holes[:2]),)
    )  # at u = 0 the toe hole stands at 140, 10 mm from the old one
    answer = ask(shop(pair, bsl_mm=300, policy=policy, patterns=[pattern], fits=("toe",)), pattern="toe")
    assert answer.nearest_change == "measure hole x1 (ski A) again, place and diameter"
    assert answer.blocking[0].needs_um == 11_500
    assert answer.blocking[0].has_um == 11_000


def test_a_full_pair_and_a_pair_that_would_do_instead():
    full = drilled_pair(earlier_mounts=2)
    fresh = replace(make.pair(make.ski(Side.A), make.ski(Side.B)), tag="P-2", length_mm=1_740)
    far = replace(fresh, tag="P-3", length_mm=1_760)
    other = replace(fresh, tag="P-4", kind=Kind.JUNIOR)
    answer = ask(shop(full, fresh, far, other, bsl_mm=335))
    assert answer.blocking[0].what == (
        "the pair has had 2 mounts; the shop's rule allows 2, so only old holes may be used"
    )
    assert [a.pair for a in answer.alternatives] == ["P-2"]
    assert answer.changes == ("a manager allows one mount more (mounts_max 3); the pair has had 2",)


def test_changes_that_help_only_together_are_named_together():
    """The pair is full, and where it might be drilled nobody has looked."""
    unseen = make.pair(make.ski(Side.A), make.ski(Side.B, inspected_mm=[]), earlier_mounts=2)
    assert ask(shop(unseen)).nearest_change == (
        "survey both skis bare, and let a manager allow one mount more (mounts_max 3)"
    )


@settings(max_examples=120, deadline=None, derandomize=True)
@given(st.integers(0, 2**48))
def test_the_facts_block_exactly_when_nothing_is_legal(seed):
    """In small worlds of one piece: facts are found if and only if the sweep finds no legal offset."""
    world = small_world(seed)
    pattern = replace(world["pattern"], pieces=world["pattern"].pieces[:1])
    if len(pattern.pieces[0].holes) > 1:
        pattern = replace(pattern, pieces=(replace(pattern.pieces[0], holes=pattern.pieces[0].holes[:1]),))
    assume(pattern.too_short is None)  # that answer stands before any geometry: `on_paper`
    pair, policy = world["pair"], world["policy"]
    legal = legal_offsets(pair=pair, pattern=pattern, bsl_um=world["bsl_um"], policy=policy)
    stance = stance_for(pattern, world["bsl_um"], None)
    found = blocked_by(pair, pattern, stance, rule_for(policy, pair.construction))
    assert bool(found) == (not legal)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.integers(0, 2**48))
def test_no_smaller_set_of_facts_blocks_every_place(seed):
    """Against trying every smaller set."""
    chance = Random(seed)
    facts = [Fact(FactKind.HOLE, chance.choice(list(Side)), n) for n in range(chance.randint(1, 7))]
    places = [
        frozenset(chance.sample(facts, chance.randint(1, min(3, len(facts)))))
        for _ in range(chance.randint(1, 9))
    ]
    found = smallest_blocking(places)
    assert all(place & set(found) for place in places)
    for size in range(len(found)):
        for fewer in combinations(facts, size):
            assert not all(place & set(fewer) for place in places)
    assert smallest_blocking([*places, frozenset()]) is None


FILES = {
    "skis.csv": "tag,model,kind,length_cm,waist_mm,construction,mark_from_tail_mm,zone_back_mm,zone_front_mm,"
    "zone_half_width_mm,inspected,inspected_on\n"
    "K-1,Plank,alpine,170,90,no metal,800,300,300,45,bare,2026-11-02\n",
    "boots.csv": "tag,model,mondopoint,bsl_mm,bsl_measured,sole_type\n"
    "B-310,Shell,27.5,310,printed,ISO 5355 A\n"
    "B-317,Shell,28.5,317,printed,ISO 5355 A\n",
    "fits.csv": "sole_type,pattern,binding_sheet,boot_sheet\nISO 5355 A,T4/H4,sheet 1,sheet 2\n",
    "patterns.csv": "pattern,binding_model,piece,follows,x_mm,y_mm,diameter_mm,travel_back_mm,"
    "travel_forward_mm\n"
    + "".join(f"T4/H4,Teaching,toe,toe,{x},{y},,0,0\n" for x, y in make.TOE_HOLES)
    + "".join(f"T4/H4,Teaching,heel,heel,{x},{y},,0,0\n" for x, y in make.HEEL_HOLES),
    "holes.csv": "pair_tag,ski,x_mm,y_mm,diameter_mm,depth_mm,state,knowledge\n"
    + "".join(
        f"K-1,{side},{x:g},{y:g},3.6,9,open,measured here\n"
        for side in "AB"
        for x, y in make.mount_holes_mm(make.t4h4(), 305)
    ),
}


def run(ledger: Path, *words: str):
    return CliRunner().invoke(app, ["--ledger", str(ledger), *words])


def test_the_command_answers_as_its_format_promises(tmp_path):
    """From spreadsheets to the answer, with the teaching policy set in the ledger."""
    for name, text in FILES.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    ledger = tmp_path / "ledger.db"
    done = run(ledger, "import", *(str(tmp_path / name) for name in FILES), "--apply", "--by", "Ida")
    assert done.exit_code == 0, done.output
    listed = ("staff", "add", "Ida", "--role", "head-technician", "--until", "2099-12-31")
    assert run(ledger, *listed).exit_code == 0
    for name in ("bench_error_mm", "edge_mm"):
        words = ("policy", "set", name, "0", "--origin", "teaching", "--by", "Ida", "--yes")
        assert run(ledger, *words).exit_code == 0
    before = ledger.read_bytes()
    no = run(ledger, "why", "K-1", "B-310", "--json")
    answer = json.loads(no.stdout)
    assert no.exit_code == 1
    promised = ["possible", "blocking", "legal_offsets_mm", "beyond_policy", "nearest_change"]
    assert [key for key in answer if key in promised] == promised
    assert (answer["possible"], answer["legal_offsets_mm"]) == (False, [])
    assert answer["beyond_policy"] == [[-12.5, -12.5], [12.5, 12.5]]
    assert {(b["needs_mm"], b["has_mm"]) for b in answer["blocking"]} == {(10.0, 5.0)}
    yes = run(ledger, "why", "K-1", "B-317", "--pattern", "T4/H4", "--json")
    assert yes.exit_code == 0
    assert json.loads(yes.stdout)["legal_offsets_mm"] == [[-6.5, -5.5], [5.5, 6.5]]
    assert ledger.read_bytes() == before
    where = run(ledger, "where", "K-1", "T4/H4", "317")
    assert "part reused: boot centre 6.0 mm toward TAIL, 8 holes to drill, 8 to plug" in where.stdout
    assert "(ski A: 4 reused, 4 drilled; ski B: 4 reused, 4 drilled)" in where.stdout
    unknown = run(ledger, "where", "K-1", "T4/H4", "three")
    assert unknown.exit_code == 1


def test_a_place_is_told_once_though_other_holes_may_be_claimed_there() -> None:
    """Where a piece travels, ranges of other claims overlap; for who reads the counts they are one."""
    none = dict.fromkeys(Side, ((None,) * 4, (None,) * 4))
    place = LegalOffsets(low_um=-5_000, high_um=5_000, claims=none)
    told = [line for line in where_lines((place, replace(place)), ()) if "ski A" in line]
    assert told == [
        "  boot centre from 5.0 mm toward TAIL to 5.0 mm toward TIP"
        "  (ski A: 0 reused, 8 drilled; ski B: 0 reused, 8 drilled)"
    ]
