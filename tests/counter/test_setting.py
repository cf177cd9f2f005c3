"""What a binding was last set for: remembered with who and when, and asked for at every out.

The pairs of the shop are mounted for 305 mm, with 10 mm of heel travel each way, and were set for 305 mm.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest

from fleet.audit.full import audit_file
from fleet.base.errors import Refused
from fleet.checks.findings import AuditSeverity
from fleet.facts.holes import Side
from fleet.facts.standing import BindingSetting, Place
from fleet.ledger.corrections import correct
from fleet.rules.counter import move, undo
from fleet.rules.holds import clear, end_repair, hold, quarantine
from fleet.rules.scanning import Counter, Mode
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, OLD, SANNE, WIM, Shop
from tests.counter.test_impossible import refused

SET_IT = "set it, boot in, and type the same with --set"


def setting(shop: Shop, tag: str = "P-1") -> BindingSetting:
    return shop.standing(tag).setting


def test_a_binding_set_at_the_counter_meets_another_boot_next_morning(command: Command) -> None:
    """Both boots lie within the travel; the work order of last autumn knows nothing of either."""
    out = command("out", "P-1", "--boot", "B-310", "--set")
    assert out.stdout == "P-1  out           boot B-310 fits; its binding was set for 310 mm\n"
    assert command("back", "P-1").returncode == 0
    assert command("recheck", "record", "P-1", "--all", "not-moved", "--by", IDA).returncode == 0
    no = command("out", "P-1", "--boot", "B-305", "--json")
    assert no.returncode == 1
    assert no.json == {
        "refused": "P-1 cannot go out: its binding is set for sole 310 mm, boot B-305 has 305 mm",
        "cure": SET_IT,
        "instead": [],
    }
    again = command("out", "P-1", "--boot", "B-310")
    assert again.stdout == "P-1  out           boot B-310 fits\n"


@pytest.mark.parametrize(
    ("bsl_mm", "goes"), [(304.9, False), (305, True), (305.1, False), (305.001, False), (300, False)]
)
def test_the_sole_is_the_one_it_stands_at_or_it_is_set_first(shop: Shop, bsl_mm: float, goes: bool) -> None:
    shop.boot("B-X", bsl_mm, "alpine A")
    if not goes:
        error = refused(
            shop,
            lambda: shop.out("P-1", boot="B-X"),
            f"its binding is set for sole 305 mm, boot B-X has {bsl_mm:g} mm",
        )
        assert error.cure == SET_IT
        [done] = shop.out("P-1", boot="B-X", set_now=True)
        assert done.words == f"boot B-X fits; its binding was set for {bsl_mm:g} mm"
        assert setting(shop).bsl_um == round(bsl_mm * 1000)
        return
    [done] = shop.out("P-1", boot="B-X")
    assert (done.place, done.words) == (Place.OUT, "boot B-X fits")


def test_another_boot_with_an_equal_sole_needs_no_setting(shop: Shop) -> None:
    shop.boot("B-306", 305, "alpine A")
    shop.out("P-1", boot="B-305")
    shop.back("P-1")
    shop.look("P-1")
    assert shop.out("P-1", boot="B-306")[0].words == "boot B-306 fits"
    assert setting(shop).bsl_um == 305_000


def test_setting_and_handing_out_are_two_entries_of_one_action(shop: Shop) -> None:
    before = shop.ledger.head.seq
    shop.out("P-1", boot="B-310", set_now=True)
    was_set, out = shop.ledger.entries(after=before)
    assert (was_set.what, was_set.body) == (
        "binding set",
        {"tag": "P-1", "bsl_um": 310_000, "boot": "B-310", "pieces": ["toe", "heel"]},
    )
    assert (out.what, out.body["sole_um"], out.body["set_entry"]) == ("pair out", 310_000, was_set.seq)
    assert (was_set.by, was_set.recorded_at_utc) == (out.by, out.recorded_at_utc) == (NELL, out.stated_at_utc)
    assert setting(shop) == BindingSetting(bsl_um=310_000, when=(was_set.seq, was_set.stated_at_utc), by=NELL)


def test_a_setting_that_may_not_go_out_is_not_entered_either(shop: Shop) -> None:
    refused(shop, lambda: shop.out("P-1", boot="B-335", set_now=True), "its travel does not reach that")
    refused(shop, lambda: shop.out("P-1", boot="B-TOUR", set_now=True), "not declared by both makers")
    refused(shop, lambda: shop.out("P-1", boot="B-NONE", set_now=True), "sole length of boot B-NONE is not")
    refused(shop, lambda: shop.out("P-1", set_now=True), "--set says that a binding was set for a boot")
    shop.back("P-1")
    error = refused(shop, lambda: shop.out("P-1", boot="B-310", set_now=True), "it came back")
    assert "recheck record" in error.cure


def test_a_boot_beyond_the_travel_is_not_sent_to_be_set(shop: Shop) -> None:
    error = refused(shop, lambda: shop.out("P-1", boot="B-335"), "its travel does not reach that")
    assert "--set" not in f"{error.sentence} {error.cure}"


def test_any_listed_person_says_that_it_is_set_and_nobody_else(shop: Shop) -> None:
    for by, words in (
        ("A Stranger", "is not on the staff list"),
        (OLD, "signature ran out on Sat 26 Dec 2026"),
    ):
        refused(shop, lambda by=by: shop.out("P-1", boot="B-310", set_now=True, by=by), words)
    shop.out("P-1", boot="B-310", set_now=True, by=NELL)  # counter staff
    shop.out("P-2", boot="B-305", by="A Stranger")  # nothing is said of the binding, as ever


# What makes it not known


def _nothing(shop: Shop) -> None:
    pass


def _no_boot(shop: Shop) -> None:
    shop.out("P-1")
    shop.back("P-1")


def _no_boot_and_undone(shop: Shop) -> None:
    """The scan was a slip; that nobody had set it for a boot meanwhile, no scan says."""
    shop.out("P-1")
    _undo(shop)


def _set_and_undone(shop: Shop) -> None:
    """Hands set a binding, and undoing a scan undoes no hand; but on which pair, if the tag was the slip?"""
    shop.out("P-1", boot="B-310", set_now=True)
    _undo(shop)


def _undo(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        undo(desk, "P-1")


def _back_that_was_never_out(shop: Shop) -> None:
    shop.back("P-1")


def _missing_and_found(shop: Shop) -> None:
    for to in ("missing", "shop"):
        with shop.desk(NELL) as desk:
            move(desk, "P-1", to=to, reason="not in the rack")


def _back_from_another_shop(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        move(desk, "P-1", to="in transit", reason="the hut needs it")
    shop.back("P-1")


def _repaired(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        hold(desk, "P-1", why="heel wobbles")
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did="heel screwed down anew")


def _swap(side: str) -> Callable[[Shop], None]:
    def act(shop: Shop) -> None:
        change = {"on_pair": ["P-1", None], "on_ski": [side, None]}
        shop.enter("binding changed", {"binding_id": f"P-1/{side}", "changes": change})
        back = {"on_pair": [None, "P-1"], "on_ski": [None, side]}
        shop.enter("binding changed", {"binding_id": f"P-1/{side}", "changes": back})

    return act


def _hole_measured(side: str) -> Callable[[Shop], None]:
    def act(shop: Shop) -> None:
        hole = {"hole_id": f"P-1/{side}1", "side": side, "x_um": 0, "y_um": 0, "diameter_um": None}
        hole |= {"depth_um": None, "state": "plugged", "knowledge": "measured bare"}
        shop.enter("holes recorded", {"tag": "P-1", "holes": [hole]})

    return act


def _seen_bare(shop: Shop) -> None:
    """Nothing new was found, but its binding was off."""
    area = {"side": "B", "from_um": -300_000, "to_um": 300_000, "how": "bare", "on": "2026-12-27"}
    shop.enter("area inspected", {"tag": "P-1"} | area)


UNKNOWN = {
    "out without a boot": _no_boot,
    "out without a boot, undone": _no_boot_and_undone,
    "set and undone": _set_and_undone,
    "came back and had never gone out": _back_that_was_never_out,
    "missing and found": _missing_and_found,
    "back from another shop": _back_from_another_shop,
    "repaired": _repaired,
    "the binding of ski A off and on": _swap("A"),
    "the binding of ski B off and on": _swap("B"),
    "a hole of ski A measured": _hole_measured("A"),
    "a hole of ski B measured": _hole_measured("B"),
}


@pytest.mark.parametrize("name", UNKNOWN)
def test_where_it_is_not_known_it_is_always_asked_for(shop: Shop, name: str) -> None:
    UNKNOWN[name](shop)
    if shop.place("P-1") is not Place.READY:
        shop.look("P-1", by=SANNE)
    assert setting(shop) == BindingSetting()
    words = "P-1 cannot go out: the sole its binding is set for is not known, boot B-305 has 305 mm"
    assert refused(shop, lambda: shop.out("P-1", boot="B-305"), words).cure == SET_IT
    shop.out("P-1", boot="B-305", set_now=True)
    assert setting(shop).bsl_um == 305_000


def test_a_survey_bare_leaves_the_other_ski_as_it_was_set(shop: Shop) -> None:
    _seen_bare(shop)
    assert setting(shop) == BindingSetting()
    assert [(each.side, each.sole_um) for each in setting(shop).pieces] == [(Side.A, 305_000)]
    words = (
        "P-1 cannot go out: its binding is set for sole: ski A 305 mm, ski B not known, boot B-305 has 305 mm"
    )
    assert refused(shop, lambda: shop.out("P-1", boot="B-305"), words).cure == SET_IT
    shop.out("P-1", boot="B-305", set_now=True)
    assert {(each.side, each.piece) for each in setting(shop).pieces} == {
        (side, piece) for side in Side for piece in ("toe", "heel")
    }
    assert setting(shop).bsl_um == 305_000


def test_a_pair_as_an_import_leaves_it_is_asked_for(shop: Shop) -> None:
    """The sheet says for which sole it was mounted, not where last season's counters left it."""
    shop.pair("P-9")
    shop.ready("P-9")
    refused(shop, lambda: shop.out("P-9", boot="B-305"), "the sole its binding is set for is not known")


def _went_out_with_its_boot(shop: Shop) -> None:
    shop.out("P-1", boot="B-305")
    shop.back("P-1")
    shop.look("P-1")


def _out_and_undone(shop: Shop) -> None:
    shop.out("P-1", boot="B-305")
    _undo(shop)


def _back_and_undone(shop: Shop) -> None:
    shop.out("P-1", boot="B-305")
    shop.back("P-1")
    _undo(shop)
    assert shop.place("P-1") is Place.OUT
    shop.back("P-1")
    shop.look("P-1")


def _held_and_cleared(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        hold(desk, "P-1", why="tag fell off")
    with shop.desk(JORY) as desk:
        clear(desk, "P-1")


def _locked_away_and_let_go(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        quarantine(desk, "P-1", why="a fall was reported")
    with shop.desk(WIM) as desk:
        clear(desk, "P-1", why="no fall, another pair")
    shop.look("P-1")


KNOWN = [_nothing, _went_out_with_its_boot, _out_and_undone, _back_and_undone]
KNOWN += [_held_and_cleared, _locked_away_and_let_go]


@pytest.mark.parametrize("happened", KNOWN)
def test_what_touches_no_binding_leaves_it_where_it_stands(
    shop: Shop, happened: Callable[[Shop], None]
) -> None:
    before = setting(shop)
    happened(shop)
    assert setting(shop) == before != BindingSetting()
    assert shop.out("P-1", boot="B-305")[0].words == "boot B-305 fits"


def test_a_boot_measured_anew_meets_a_binding_set_for_its_old_sole(shop: Shop) -> None:
    with shop.desk(IDA) as desk:
        correct(desk.tx, "B-305", {"bsl_mm": "305.5"}, by=IDA, why="a worn sole", today=shop.today)
    refused(shop, lambda: shop.out("P-1", boot="B-305"), "set for sole 305 mm, boot B-305 has 305.5 mm")


def test_an_undone_setting_says_that_it_is_not_known_now(command: Command) -> None:
    command("out", "P-1", "--boot", "B-310", "--set")
    said = command("undo", "P-1").stdout
    assert said == (
        "P-1  ready         undone: pair out; it is ready; the sole its binding is set for is not known now\n"
    )
    command("out", "P-2", "--boot", "B-305")
    assert command("undo", "P-2").stdout == "P-2  ready         undone: pair out; it is ready\n"


def test_what_is_offered_instead_may_go_with_the_same_words(shop: Shop) -> None:
    """P-2 is set for sole 310, P-3 and P-4 at 305: with --set each would do, without it one."""
    shop.set_binding("P-2", 310)
    shop.back("P-1")
    with pytest.raises(Refused) as plain:
        shop.out("P-1", boot="B-310")
    assert plain.value.instead == ("P-2",)
    with pytest.raises(Refused) as setting_it:
        shop.out("P-1", boot="B-310", set_now=True)
    assert setting_it.value.instead == ("P-2", "P-3")


# Old entries


def _old_out(shop: Shop, boot: str | None) -> None:
    """The body of `pair out` as it was in layout 2."""
    fit = "fits" if boot else "fit not checked"
    shop.enter("pair out", {"tag": "P-1", "boot": boot, "due": None, "fit": fit}, by=NELL)


@pytest.mark.parametrize("boot", ["B-305", "B-310", None])
def test_an_out_of_an_earlier_program_says_nothing_of_the_setting(shop: Shop, boot: str | None) -> None:
    """It told the counter to set the binding, and nobody said whether that was done."""
    _old_out(shop, boot)
    shop.back("P-1")
    shop.look("P-1")
    assert setting(shop) == BindingSetting()


# What people and programs read


def test_ski_says_what_it_stands_at_by_whom_and_since_when(command: Command) -> None:
    command("out", "P-1", "--boot", "B-310", "--set", "--by", SANNE)
    shown = command("ski", "P-1").stdout
    assert "  both set for sole 310 mm, by Sanne Oder Sun 27 Dec 2026 18:01  (entry " in shown
    told = command("ski", "P-1", "--json").json
    assert (told["stands_at_mm"], told["set_by"], told["set_at"]) == (
        310.0,
        SANNE,
        "2026-12-27T17:01:00.000Z",
    )
    assert [row["what"] for row in told["history"] if row["seq"] == told["set_entry"]] == ["binding set"]
    command("out", "P-2")
    assert "  set for sole: not known\n" in command("ski", "P-2").stdout
    told = command("ski", "P-2", "--json").json
    assert [told[key] for key in ("stands_at_mm", "set_by", "set_at", "set_entry")] == [None] * 4


def test_ski_as_of_a_day_says_what_was_known_then(shop: Shop) -> None:
    from fleet.ledger.history import pair_history

    shop.tick(minutes=24 * 60)
    shop.out("P-1", boot="B-310", set_now=True)
    assert pair_history(shop.ledger, "P-1").setting.bsl_um == 310_000
    assert pair_history(shop.ledger, "P-1", as_of=date(2026, 12, 27)).setting.bsl_um == 305_000


def test_a_case_shows_it_without_the_name(command: Command) -> None:
    command("out", "P-1", "--boot", "B-310", "--set", "--by", SANNE)
    command("case", "P-1", "--out", str(command.ledger.parent / "case"))
    told = json.loads((command.ledger.parent / "case" / "case.json").read_text(encoding="utf-8"))
    assert told["stands_at_mm"] == 310.0
    assert SANNE not in json.dumps(told)


def test_the_recheck_list_says_what_each_pair_stands_at(command: Command) -> None:
    command("out", "P-1", "--boot", "B-305")
    command("out", "P-2")
    command("back", "P-1", "P-2")
    shown = command("recheck", "list").stdout
    assert re.search(r"^P-1 +R-1 +routine; set for sole 305 mm +18:03$", shown, re.M)
    assert re.search(r"^P-2 +R-1 +routine; set for sole: not known +18:03$", shown, re.M)
    rows = command("recheck", "list", "--json").json["rows"]
    assert [(row["tag"], row["stands_at_mm"]) for row in rows] == [("P-1", 305.0), ("P-2", None)]


# At the scanner


@pytest.fixture
def counter(shop: Shop) -> Counter:
    return Counter(shop.ledger, by=NELL, mode=Mode.OUT)


@pytest.mark.parametrize("line", ["set P-1", "SET p-1", "P-1 --set", "--set P-1"])
def test_a_line_of_the_scanner_sets_and_hands_out(shop: Shop, counter: Counter, line: str) -> None:
    counter.handle("B-310", now=shop.tick())
    no = counter.handle("P-1", now=shop.tick())
    assert (no.refused, no.text) == (
        True,
        f"REFUSED  P-1 cannot go out: its binding is set for sole 305 mm, boot B-310 has 310 mm  ({SET_IT})",
    )
    counter.handle("B-310", now=shop.tick())
    yes = counter.handle(line, now=shop.tick())
    assert (yes.refused, yes.text) == (False, "P-1  OUT  boot B-310 fits; its binding was set for 310 mm")
    assert counter.handle("P-2", now=shop.tick()).text == "P-2  OUT  fit not checked"


@pytest.mark.parametrize("line", ["set P-1 B-310", "P-1 B-310 set", "P-1 B-310 --set"])
def test_the_same_with_the_boot_on_the_line(shop: Shop, counter: Counter, line: str) -> None:
    assert counter.handle(line, now=shop.tick()).text == (
        "P-1  OUT  boot B-310 fits; its binding was set for 310 mm"
    )


@pytest.mark.parametrize("line", ["set", "set P-1", "set B-310", "P-1 set"])
def test_a_setting_without_boot_or_pair_is_refused(shop: Shop, counter: Counter, line: str) -> None:
    before = shop.ledger.head
    assert counter.handle(line, now=shop.tick()).refused
    assert shop.ledger.head == before


def test_coming_back_the_word_is_the_renters(shop: Shop, counter: Counter) -> None:
    shop.out("P-1", boot="B-305")
    counter.handle("back", now=shop.tick())
    assert counter.handle("P-1 set too tight", now=shop.tick()).text == "P-1  BACK  to the recheck rack"
    no = counter.handle("set P-1", now=shop.tick())
    assert (no.refused, no.text) == (True, "REFUSED  a binding is set for going out  (type out first)")


# The other reading


def test_an_audit_asks_about_an_out_with_a_binding_set_for_another_sole(shop: Shop) -> None:
    """The door is not asked by whoever enters it past the counter; the audit tells the rule again."""
    body: dict[str, Any] = {"tag": "P-1", "boot": "B-310", "due": None, "fit": "fits"}
    entry = shop.enter("pair out", body | {"sole_um": 310_000, "set_entry": None}, by=NELL)
    shop.out("P-2", boot="B-305")
    _old = {"tag": "P-3", "boot": "B-310", "due": None, "fit": "fits"}
    shop.enter("pair out", _old, by=NELL)
    found = audit_file(shop.ledger.path, now=shop.now + timedelta(minutes=1)).findings
    asked = [finding for finding in found if finding.severity is AuditSeverity.QUESTION]
    assert [(finding.code, finding.entry) for finding in asked] == [("out with another sole", entry)]
    assert asked[0].sentence == (
        f"entry {entry} takes out P-1 with a sole of 310 mm, and 305 mm is what its binding was set for"
    )
    assert setting(shop) == BindingSetting()
