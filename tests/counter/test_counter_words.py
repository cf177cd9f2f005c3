"""What the counter says where it refuses, and what it enters where it does not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import pytest

from fleet.base.errors import BadInput, MountbookError
from fleet.base.typed_text import note_in
from fleet.facts.fault_causes import cause_of
from fleet.facts.gates import QUALIFICATIONS, binding_standards
from fleet.facts.holes import Side, SkiFault
from fleet.facts.kinds import Kind
from fleet.facts.standing import Place, read_standing
from fleet.ledger.corrections import read_entry
from fleet.ledger.desk import Desk
from fleet.rules.boots import hold_boot, measure_again, sole_typed
from fleet.rules.counter import (
    keep_longer,
    move,
    newest_scan,
    own_boot_of,
    set_binding,
    take_back,
    take_out,
    undo,
)
from fleet.rules.gate_desk import (
    calibrated,
    qualify,
    record_release_test,
    state_kind,
    state_model,
    take_fit_back,
)
from fleet.rules.gates import LONG_RENTAL
from fleet.rules.holds import (
    clear,
    clear_hold,
    end_repair,
    hold,
    parse_fault,
    parse_side,
    parse_touched,
    ski_fault,
)
from fleet.rules.looks import causers
from fleet.rules.recall_desk import close_recall, open_recall
from tests.counter.shop import IDA, JORY, NELL, SANNE, WIM, Shop
from tests.counter.test_impossible import order_body
from tests.counter.test_recalls import recall
from tests.events.test_effects_of_work import issued, work

Act = Callable[[Desk], object]
DAY = date(2027, 5, 1)
A = Side.A


def after(first: Act, act: Act) -> Act:
    """One after the other."""

    def both(desk: Desk) -> object:
        first(desk)
        return act(desk)

    return both


def out(desk: Desk) -> object:
    return take_out(desk, ["P-1"], boot="B-305")


def release_test(desk: Desk, *, piece: str = "toe", result: str = "r") -> object:
    return record_release_test(desk, "P-1", side=Side.A, piece=piece, device="d", result=result)


def sold(desk: Desk) -> object:
    return move(replace(desk, by=WIM), "P-1", to="sold", reason="")


TOLD: dict[str, tuple[Act, str, str]] = {
    "one boot for two pairs": (
        lambda desk: take_out(desk, ["P-1", "P-2"], boot="B-305"),
        "one boot goes with one pair",
        "hand the pairs out one by one, each with its boot",
    ),
    "set for no boot": (
        lambda desk: take_out(desk, ["P-1"], set_now=True),
        "--set says that a binding was set for a boot",
        "name it: --boot TAG",
    ),
    "set while it is out": (
        after(out, lambda desk: set_binding(desk, "P-1", "B-310")),
        "P-1 is out",
        "take it back first: mountbook back",
    ),
    "set by nobody of the list": (
        lambda desk: take_out(replace(desk, by="Stranger"), ["P-1"], boot="B-310", set_now=True),
        "'Stranger' is not on the staff list and cannot say that a binding is set",
        f"sign with --by NAME, one of: {IDA}, {JORY}, {NELL}, {SANNE}, {WIM};"
        " list people with `mountbook staff add NAME --role technician --until DATE`",
    ),
    "a qualification that is none": (
        lambda desk: qualify(desk, IDA, what="cooking", until=date(2027, 5, 1)),
        "nobody is qualified for 'cooking' here",
        f"one of: {', '.join(QUALIFICATIONS)}",
    ),
    "a standard that is none": (
        lambda desk: state_model(desk, "Lark 4 binding", standard="ISO 1", origin="x"),
        "'ISO 1' is no standard of a binding that is known here",
        f"one of: {', '.join(binding_standards())}",
    ),
    "nobody's word for a standard": (
        lambda desk: state_model(desk, "Lark 4 binding", standard=binding_standards()[0], origin=" "),
        "whose sheet says so?",
        'add --origin "its maker\'s list of 2026"',
    ),
    "nothing said of a model": (
        lambda desk: state_model(desk, "Lark 4 binding", origin="x"),
        "what of that model?",
        "--standard TEXT, or --unsupported-since DATE",
    ),
    "a fault that is none": (
        lambda _: parse_fault("dent"),
        "'dent' is no fault of a ski",
        "one of wet-core, crack, delamination; else mountbook hold",
    ),
    "a piece that the pair has not": (
        lambda _: parse_touched(["A Plate"], pieces=("toe", "heel"), tag="P-1"),
        "P-1 has no Plate piece",
        "its pieces are toe and heel",
    ),
    "a range of serials without its first": (
        lambda desk: open_recall(replace(desk, by=IDA), recall(pattern="Lark 4", serial_to="TX-9")),
        "the range of serials has no first serial",
        "add --from, as the notice says it",
    ),
    "a ski that is none": (
        lambda _: parse_side("left"),
        "'left' is no ski of a pair",
        "A or B, as marked with the dot",
    ),
    "a pair given twice": (
        lambda desk: take_out(desk, ["P-1", "P-2", "P-1"]),
        "P-1 was given twice",
        "give each tag once",
    ),
    "no pair": (lambda desk: take_back(desk, []), "no pair was named", "scan or type its tag"),
    "due before it goes out": (
        lambda desk: take_out(desk, ["P-1"], boot="B-305", due=date(2026, 12, 26)),
        "due on Sat 26 Dec 2026 lies before it goes out",
        "check the date of --due",
    ),
    "kept until a day gone by": (
        after(out, lambda desk: keep_longer(desk, "P-1", until=date(2026, 12, 26))),
        "Sat 26 Dec 2026 has passed already",
        "give the day it is due now",
    ),
    "set for a boot that nobody measured": (
        lambda desk: set_binding(desk, "P-1", "B-NONE"),
        "the sole length of boot B-NONE is not known",
        "measure it: mountbook sole",
    ),
    "moved by hand to where nothing is moved": (
        lambda desk: move(desk, "P-1", to="ready", reason=""),
        "a pair is not moved to 'ready' by hand",
        "one of: missing, in transit, retired, sold, shop",
    ),
    "sold by the counter": (
        lambda desk: move(desk, "P-1", to="sold", reason=""),
        f"{NELL} is counter staff; only a manager can sell a ski",
        f"sign with --by NAME, one of: {WIM}",
    ),
    "a cause that is none": (
        lambda _: cause_of("Moved-Boot"),
        "'Moved-Boot' is no cause of a hold",
        "one of: moved-screw, spinning-screw, missing-screw, cracked-piece, crack, delamination, wet-core,"
        " hole-below-the-rule, accident, other",
    ),
    "back from where nothing comes back": (
        after(sold, lambda desk: take_back(desk, ["P-1"])),
        "P-1 is sold: it cannot come back",
        "only from: out, missing, in transit, flat (no binding on), ready, back and not passed, on hold,"
        " in repair, waiting for its second check, in quarantine; the rule: a return is a fact: it is taken"
        " even where the ledger did not know the pair was out",
    ),
    "kept longer where it is not out": (
        lambda desk: keep_longer(desk, "P-1", until=date(2026, 12, 30)),
        "P-1 is ready, not out",
        "check the tag",
    ),
    "back before it went out": (
        after(out, lambda desk: take_back(desk, ["P-1"])),
        "P-1 went out Sun 27 Dec 2026 08:21, which is not before Sun 27 Dec 2026 08:21",
        "a clock is wrong, here or where that was entered: set both by the network, then mountbook"
        " mend-clock",
    ),
    "a fault of a ski that is gone": (
        after(sold, lambda desk: ski_fault(desk, "P-1", Side.A, SkiFault.CRACK)),
        "P-1 is sold",
        "check the tag",
    ),
    "a tester without a name": (
        lambda desk: calibrated(desk, " ", on=DAY, until=DAY),
        "which tester?",
        'name it as the tests do: "bench 1"',
    ),
    "a calibration by the counter": (
        lambda desk: calibrated(desk, "bench 1", on=DAY, until=DAY),
        f"{NELL} is counter staff and cannot enter a calibration",
        "a technician signs",
    ),
    "nobody listed to qualify": (
        lambda desk: qualify(desk, "Stranger", what="passes", until=DAY),
        "'Stranger' is not on the staff list",
        "list the person first: mountbook staff add NAME",
    ),
    "a test of a piece that is none": (
        lambda desk: release_test(desk, piece="wing"),
        "'wing' is not a piece",
        "toe, heel or plate",
    ),
    "a test without its result": (
        lambda desk: release_test(desk, result=" "),
        "a test names its device and its result",
        'add --device "bench 1" --result "..."',
    ),
    "a model that is nearly one": (
        lambda desk: state_model(desk, "Lark 4 bindin", standard="ISO 1", origin="x"),
        "there is no binding model Lark 4 bindin",
        "did you mean Lark 4 binding?",
    ),
    "a model that is none": (
        lambda desk: state_model(desk, "Wagtail", standard="ISO 1", origin="x"),
        "there is no binding model Wagtail",
        "check it",
    ),
    "a model stated by a technician": (
        lambda desk: state_model(
            replace(desk, by=JORY), "Lark 4 binding", standard=binding_standards()[0], origin="its sheet"
        ),
        f"{JORY} is a technician; only a head technician or a manager can state facts of a binding model",
        f"sign with --by NAME, one of: {IDA}, {WIM}",
    ),
    "two ends of a range of serials in two forms": (
        lambda desk: open_recall(
            replace(desk, by=IDA), recall(pattern="Lark 4", serial_from="TX-1", serial_to="9")
        ),
        "TX-1 and 9 have not one form",
        "read both ends again in the notice",
    ),
    "a second signature of the desk's own name": (
        lambda desk: replace(desk, typed=False).second_signature(),
        f"a second person signs this: {NELL} is only the name of this desk",
        "type who it is with --by NAME",
    ),
    "nothing of one's own to undo": (newest_scan, f"{NELL} has no scan to undo", "name the pair"),
    "a calibration that ends before it is made": (
        lambda desk: calibrated(desk, "bench 1", on=DAY, until=date(2027, 4, 30)),
        "a calibration of Sat 1 May 2027 does not end on Fri 30 Apr 2027",
        "check --on and --until",
    ),
    "qualified by oneself": (
        lambda desk: qualify(replace(desk, by=IDA), "ida fennweg", what="pass", until=DAY),
        f"{IDA} cannot qualify herself or himself",
        "another head technician or manager signs",
    ),
    "qualified by a technician": (
        lambda desk: qualify(replace(desk, by=JORY), SANNE, what="pass", until=DAY),
        f"{JORY} is a technician; only a head technician or a manager can say who is qualified",
        f"sign with --by NAME, one of: {IDA}, {WIM}",
    ),
    "a test without its device": (
        lambda desk: record_release_test(desk, "P-1", side=A, piece="toe", device=" ", result="r"),
        "a test names its device and its result",
        'add --device "bench 1" --result "..."',
    ),
    "a test with an outcome that is none": (
        lambda desk: record_release_test(
            desk, "P-1", side=A, piece="toe", device="d", result="r", outcome="maybe"
        ),
        "'maybe' is no outcome",
        "passed or failed, as the tester says",
    ),
    "a test by the counter": (
        release_test,
        f"{NELL} is counter staff and cannot record a release test",
        "a technician signs",
    ),
    "a test of a pair that is none": (
        lambda desk: record_release_test(desk, "P-11", side=A, piece="toe", device="d", result="r"),
        "there is no pair P-11 in the ledger",
        "did you mean P-1?",
    ),
    "a model of boots that is nearly one": (
        lambda desk: state_kind(desk, "boot", "Invented boat", "touring"),
        "there is no boot of the model 'Invented boat' in the ledger",
        "did you mean Invented boot?",
    ),
    "a model of bindings that is none": (
        lambda desk: state_kind(desk, "binding", "Wagtail", "touring"),
        "there is no binding of the model 'Wagtail' in the ledger",
        "check the model",
    ),
    "a kind that is none": (
        lambda desk: state_kind(desk, "binding", "Other 4 binding", "hiking"),
        "'hiking' is no kind",
        f"one of: {', '.join(Kind)}; the rule kinds adds others (mountbook policy set kinds)",
    ),
    "a kind stated by a technician": (
        lambda desk: state_kind(replace(desk, by=JORY), "boot", "Invented boot", "touring"),
        f"{JORY} is a technician; only a head technician or a manager can state a kind",
        f"sign with --by NAME, one of: {IDA}, {WIM}",
    ),
    "a fit taken back without a word": (
        lambda desk: take_fit_back(replace(desk, by=IDA), "alpine A", "Lark 4", why=" "),
        "why the fit is taken back needs to be said in words",
        'add --why "what was seen or done"',
    ),
    "a fit taken back by a technician": (
        lambda desk: take_fit_back(replace(desk, by=JORY), "alpine A", "Lark 4", why="withdrawn"),
        f"{JORY} is a technician; only a head technician or a manager can take a fit back",
        f"sign with --by NAME, one of: {IDA}, {WIM}",
    ),
    "a boot that is nearly one": (
        lambda desk: measure_again(desk, "B-311", bsl_um=305_000, how="caliper"),
        "there is no boot B-311 in the ledger",
        "did you mean B-310?",
    ),
    "a boot that is none": (
        lambda desk: measure_again(desk, "Wagtail", bsl_um=305_000, how="caliper"),
        "there is no boot Wagtail in the ledger",
        "check the tag",
    ),
    "a sole measured by nobody knows what": (
        lambda desk: measure_again(desk, "B-305", bsl_um=305_000, how=" "),
        "how the sole was measured needs to be named",
        'add --how "caliper, both boots"',
    ),
    "a sole that is none": (
        lambda desk: measure_again(desk, "B-305", bsl_um=30_500, how="caliper"),
        "boot B-305: 30.5 mm is no boot sole length",
        "the outside length of the sole, in mm",
    ),
    "a sole measured by the counter": (
        lambda desk: measure_again(desk, "B-305", bsl_um=305_000, how="caliper"),
        f"{NELL} is counter staff and cannot measure a sole",
        "a technician signs",
    ),
    "a sole in words": (
        lambda _: sole_typed("three hundred"),
        "'three hundred' is not a number of millimetres",
        "write it like 303.5",
    ),
    "a customer's boot without its length": (
        lambda _: own_boot_of(None, "alpine A"),
        "the sole length was left out: '' is not a number of millimetres",
        "--own-boot 305, in mm",
    ),
    "a customer's boot of a length in words": (
        lambda _: own_boot_of("long", "alpine A"),
        "the sole length long: 'long' is not a number of millimetres",
        "--own-boot 305, in mm",
    ),
    "a boot that is out with another pair": (
        after(out, lambda desk: take_out(desk, ["P-2"], boot="B-305")),
        "boot B-305 is out with P-1",
        "scan that pair back first, or the boot: mountbook back B-305",
    ),
    "nothing to undo of a pair": (
        lambda desk: undo(desk, "P-1"),
        "P-1 has nothing to undo: its newest entry is neither an out nor a back",
        "enter what happened as it is",
    ),
    "two pairs, and one of them may not go": (
        after(lambda desk: hold(desk, "P-2", why="strap torn"), lambda desk: take_out(desk, ["P-1", "P-2"])),
        "P-2 cannot go out: it is on hold: strap torn",
        "nothing was handed out; a listed person lifts the hold: mountbook clear P-2 --by NAME",
    ),
    "set for a boot that its travel does not reach": (
        lambda desk: set_binding(desk, "P-1", "B-335"),
        "P-1 cannot be set for boot B-335: boot B-335 has a sole of 335 mm; mounted for 305 mm its travel"
        " does not reach that",
        "",
    ),
    "set by somebody who is not listed": (
        lambda desk: set_binding(replace(desk, by="Stranger"), "P-1", "B-310"),
        "'Stranger' is not on the staff list and cannot say that a binding is set",
        f"sign with --by NAME, one of: {IDA}, {JORY}, {NELL}, {SANNE}, {WIM};"
        " list people with `mountbook staff add NAME --role technician --until DATE`",
    ),
    "retired by the counter": (
        lambda desk: move(desk, "P-1", to="retired", reason="edge torn"),
        f"{NELL} is counter staff and cannot retire a ski",
        "a technician signs",
    ),
    "a boot sold by the counter": (
        lambda desk: move(desk, "B-305", to="sold", reason=""),
        f"{NELL} is counter staff; only a manager can sell a boot",
        f"sign with --by NAME, one of: {WIM}",
    ),
    "a boot retired by the counter": (
        lambda desk: move(desk, "B-305", to="retired", reason="sole worn"),
        f"{NELL} is counter staff and cannot retire a boot",
        "a technician signs",
    ),
    "a boot retired without a word": (
        lambda desk: move(replace(desk, by=SANNE), "B-305", to="retired", reason=" "),
        "why the boot is retired needs to be said in words",
        'add --why "what was seen or done"',
    ),
    "a boot cleared by the counter": (
        after(lambda desk: hold(desk, "B-305", why="buckle"), lambda desk: clear(desk, "B-305")),
        f"{NELL} is counter staff and cannot clear a hold",
        "a technician signs",
    ),
    "a boot cleared that is not held": (
        lambda desk: clear(replace(desk, by=SANNE), "B-305"),
        "B-305 is ready: it cannot be cleared",
        "only from: on hold; the rule: by the road of its cause: a listed person, a moved screw another than"
        " its finder and with the reason, a crack or what the bench stopped the head technician, never who"
        " caused it; no pass comes of it, and work done meanwhile needs another person",
    ),
    "a boot held that is sold": (
        after(
            lambda desk: move(replace(desk, by=WIM), "B-305", to="sold", reason=""),
            lambda desk: hold(desk, "B-305", why="buckle"),
        ),
        "B-305 is sold: it cannot be held",
        "only from: out, missing, in transit, flat (no binding on), ready, back and not passed, on hold,"
        " in repair, waiting for its second check, in quarantine; the rule: anybody may stop a ski; one"
        " that is out is held when it comes back",
    ),
    "a boot back that is sold": (
        after(
            lambda desk: move(replace(desk, by=WIM), "B-305", to="sold", reason=""),
            lambda desk: take_back(desk, ["B-305"]),
        ),
        "B-305 is sold: it cannot come back",
        "only from: out, missing, in transit, flat (no binding on), ready, back and not passed, on hold,"
        " in repair, waiting for its second check, in quarantine; the rule: a return is a fact: it is taken"
        " even where the ledger did not know the pair was out",
    ),
    "a boot moved that is sold": (
        after(
            lambda desk: move(replace(desk, by=WIM), "B-305", to="sold", reason=""),
            lambda desk: move(desk, "B-305", to="missing", reason=""),
        ),
        "B-305 is sold: it cannot be reported missing",
        "only from: out, in transit, flat (no binding on), ready, back and not passed, on hold,"
        " in repair, waiting for its second check, in quarantine; the rule: looked for and not found",
    ),
    "a recall closed without how": (
        lambda desk: close_recall(desk, "R-7", how=" "),
        "how the recall ended needs to be named",
        'add --how "all 12 pairs replaced"',
    ),
    "a recall closed by the counter": (
        lambda desk: close_recall(desk, "R-7", how="all read"),
        f"{NELL} is counter staff and cannot close a recall",
        "a technician signs",
    ),
    "no recall to close": (
        lambda desk: close_recall(replace(desk, by=IDA), "R-7", how="all read"),
        "there is no open recall R-7",
        "see `mountbook recall list`",
    ),
}


@pytest.mark.parametrize("name", TOLD)
def test_what_is_told(shop: Shop, name: str) -> None:
    act, sentence, cure = TOLD[name]
    with shop.desk(NELL) as desk, pytest.raises(MountbookError) as refused:
        act(desk)
    assert (refused.value.sentence, refused.value.cure) == (sentence, cure)


def test_a_rental_may_not_be_kept_longer_than_the_shops_rule(shop: Shop) -> None:
    shop.policy(LONG_RENTAL, "7")
    with shop.desk(NELL) as desk:
        take_out(desk, ["P-1"], boot="B-305", due=date(2026, 12, 30))
    with shop.desk(NELL) as desk, pytest.raises(MountbookError) as refused:
        keep_longer(desk, "P-1", until=date(2027, 1, 20))
    assert refused.value.sentence == (
        "P-1: 24 days is a long rental; it comes back for its recheck after 7 days at most"
    )
    assert refused.value.cure == "type 2027-01-03 or an earlier day; looked at then, it goes out again"


def test_why_a_pair_was_moved_stands_beside_the_entry(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        moved = move(desk, "P-1", to="missing", reason="not on the rack since Friday")
    noted = "SELECT text FROM notes WHERE seq = ?"
    (text,) = shop.ledger.connection.execute(noted, (moved.entry,)).fetchone()
    assert note_in(text) == "not on the rack since Friday"


def test_a_hold_that_no_screw_caused_ends_ready(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        hold(desk, "P-2", why="label unreadable")
    with shop.desk(SANNE) as desk:
        assert clear_hold(desk, "P-2").words == "cleared and ready"


def test_who_sets_is_asked_before_anything_else(shop: Shop) -> None:
    shop.policy("gate_qualification", "setting")
    with shop.desk(NELL) as desk, pytest.raises(MountbookError) as refused:
        set_binding(desk, "P-1", "B-310")
    assert refused.value.sentence == "Nell Abres is not qualified for settings on Sun 27 Dec 2026"
    assert refused.value.cure == 'mountbook staff qualify NAME --for "setting" --until DATE --by NAME'


@pytest.mark.parametrize("to", ["in transit", "retired", "sold"])
def test_a_pair_with_an_open_order_does_not_leave_by_van_nor_for_good(shop: Shop, to: str) -> None:
    shop.enter("order issued", order_body("P-1"))
    with shop.desk(WIM) as desk, pytest.raises(MountbookError) as refused:
        move(desk, "P-1", to=to, reason="to the hut")
    assert refused.value.sentence == "P-1 has the open work order WO-2612-0001 A"
    assert refused.value.cure == (
        'stop it first: mountbook order stop "WO-2612-0001 A"; where the skis are not here, issue a plan'
        " without them: that takes the order back"
    )
    with shop.desk(NELL) as desk:
        assert move(desk, "P-1", to="missing", reason="not found").place is Place.MISSING


def test_a_fault_of_a_ski_is_an_entry_with_what_was_seen(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        done = ski_fault(desk, "P-1", Side.B, parse_fault("wet-core"), why=" wet in the first hole ")
    assert read_entry(shop.ledger.connection, done.entry).body["side"] == "B"
    texts = shop.ledger.connection.execute("SELECT text FROM notes WHERE seq = ?", (done.entry,)).fetchall()
    assert texts == [("wet in the first hole",)]


def test_who_caused_a_stop_that_was_ended_caused_not_the_next_one(shop: Shop) -> None:
    for number, by in (("WO-1", JORY), ("WO-2", IDA)):
        shop.enter("order issued", issued(number=number))
        shop.enter("order done", work(number=number, stop="askew"), by=by)
        standing = read_standing(shop.ledger.connection, "P-1")
        assert causers(shop.ledger.connection, standing) == (by,)
        shop.enter("stop ended", {"tag": "P-1", "stop": standing.stop_entry})
    assert causers(shop.ledger.connection, standing) == ()


def test_boots_that_come_back_name_their_entry(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        take_out(desk, ["P-1"], boot="B-305")
        [done] = take_back(desk, ["B-305"])
    assert read_entry(shop.ledger.connection, done.entry).body["tag"] == "B-305"
    assert done.words == "back in its rack"


def test_a_boot_that_comes_back_unknown_to_the_ledger_or_held_says_so(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        [unknown] = take_back(desk, ["B-305"])
        hold_boot(desk, "B-305", why="buckle torn")
        [held] = take_back(desk, ["B-305"])
    assert unknown.words == "back in its rack (the ledger had it ready)"
    assert held.words == "HOLD: buckle torn (the ledger had it on hold)"


def test_a_pair_that_comes_back_while_it_waits_for_its_second_check_stays_there(shop: Shop) -> None:
    with shop.desk(JORY) as desk:
        hold(desk, "P-1", why="heel loose")
        end_repair(desk, "P-1", did="new screw")
    with shop.desk(NELL) as desk:
        [done] = take_back(desk, ["P-1"])
    assert done.words == (
        "stays waiting for its second check (it was never scanned out: the ledger had it waiting for its"
        " second check)"
    )


def test_a_sole_that_nobody_knew_and_one_measured_again_are_told_before_and_after(shop: Shop) -> None:
    with shop.desk(IDA) as desk:
        new = measure_again(desk, "B-NONE", bsl_um=304_500, how="caliper")
        worn = measure_again(desk, "B-305", bsl_um=302_500, how="caliper")
    assert next(new.said()) == "sole 304.5 mm, before: unknown"
    assert next(worn.said()) == "sole 302.5 mm, before: 305.0 mm"


@pytest.mark.parametrize("typed", ["303.5", " 303,5 ", "303.50"])
def test_a_sole_is_typed_with_a_point_or_a_comma(typed: str) -> None:
    assert sole_typed(typed) == 303_500


def test_the_wear_of_a_boot_stays_as_it_was_said_until_another_is(shop: Shop) -> None:
    worn = []
    for wear in ("", "worn", "", "worn", "half worn"):
        with shop.desk(IDA) as desk:
            after = measure_again(desk, "B-305", bsl_um=304_000, how="caliper", wear=wear).after
        worn.append(after.wear)
        changes = read_entry(shop.ledger.connection, shop.ledger.head.seq).body["changes"]
        assert ("wear" in changes) is (len(worn) in (2, 5)), "only a change is entered"
    assert worn == ["", "worn", "worn", "worn", "half worn"]


def test_a_cell_is_the_boots_of_the_same_model_season_and_shell(shop: Shop) -> None:
    """Sizes x.0 and x.5 usually share a shell (common practice, no source); no size said is a cell too."""
    boots = {"C-1": 260, "C-2": 265, "C-3": 255, "C-4": 270, "C-5": None, "C-6": None}
    for tag, size in boots.items():
        shop.boot(tag, 305, "alpine A")
        changes = {"model": ["Invented boot", "Cell boot"], "mondopoint_mm": [265, size]}
        if size == 265:
            del changes["mondopoint_mm"]
        shop.enter("boot changed", {"tag": tag, "changes": changes})
    shop.boot("C-7", 305, "alpine A")
    shop.enter("boot changed", {"tag": "C-7", "changes": {"season": ["", "2025"]}})
    cells = {}
    for tag in boots:
        with shop.desk(IDA) as desk:
            cells[tag] = measure_again(desk, tag, bsl_um=304_000, how="caliper").cell
    assert cells == {
        "C-1": ("C-2",), "C-2": ("C-1",), "C-3": (), "C-4": (), "C-5": ("C-6",), "C-6": ("C-5",),
    }  # fmt: skip


def test_a_scan_undone_names_the_entry_that_undid_it_and_whose_scan_it_was(shop: Shop) -> None:
    [scan] = shop.out("P-1", boot="B-305")
    with shop.desk(WIM) as desk:
        done = undo(desk, "P-1")
    undone = read_entry(shop.ledger.connection, done.entry)
    assert (undone.what, undone.by) == ("scan undone", WIM)
    said = {"entry": scan.entry, "what": "pair out", "of": NELL}
    assert {name: undone.body[name] for name in said} == said


def test_nobody_said_that_it_is_set_where_nobody_said_so(shop: Shop) -> None:
    with shop.desk(NELL) as desk, pytest.raises(MountbookError, match="its binding is set for sole 305 mm"):
        take_out(desk, ["P-1"], boot="B-310")


@pytest.mark.parametrize(("boot", "fit"), [("B-305", "fits"), (None, "fit not checked")])
def test_the_entry_says_whether_the_fit_was_checked(shop: Shop, boot: str | None, fit: str) -> None:
    shop.policy("out_without_boot", "yes")
    with shop.desk(NELL) as desk:
        (done,) = take_out(desk, ["P-1"], boot=boot)
    assert read_entry(shop.ledger.connection, done.entry).body["fit"] == fit


def test_a_pair_that_is_kept_longer_is_out_still(shop: Shop) -> None:
    shop.out("P-1", boot="B-305")
    with shop.desk(NELL) as desk:
        done = keep_longer(desk, "P-1", until=shop.today + timedelta(days=2))
    assert (done.tag, done.place) == ("P-1", Place.OUT)
    assert done.words.startswith("due ")


def test_a_pair_is_retired_with_a_reason(shop: Shop) -> None:
    with shop.desk(WIM) as desk, pytest.raises(BadInput) as refused:
        move(desk, "P-1", to="retired", reason=" ")
    assert refused.value.sentence == "why the pair is retired needs to be said in words"
    assert shop.place("P-1") is Place.READY


@pytest.mark.parametrize(("minutes", "stands"), [(9, False), (10, True)])
def test_a_scan_older_than_the_shop_s_minutes_stands(shop: Shop, minutes: int, stands: bool) -> None:
    """Ten minutes (`undo_minutes`); the desk that undoes it is a minute later than the clock before."""
    shop.out("P-1", boot="B-305")
    shop.tick(minutes=minutes)
    if not stands:
        with shop.desk(NELL) as desk:
            assert undo(desk, "P-1").words == "undone: pair out; it is ready"
        return
    with shop.desk(NELL) as desk, pytest.raises(MountbookError) as refused:
        undo(desk, "P-1")
    assert refused.value.sentence == "P-1: that scan is older than 10 minutes and stands"
    assert refused.value.cure == "enter what happened as it is"


def test_a_pair_that_came_back_already_is_not_counted_twice(shop: Shop) -> None:
    shop.out("P-1", boot="B-305")
    shop.back("P-1")
    with shop.desk(NELL) as desk, pytest.raises(MountbookError) as refused:
        take_back(desk, ["P-1"])
    assert refused.value.sentence == "P-1 came back already, Sun 27 Dec 2026 08:22"
    assert refused.value.cure == "nothing was counted twice"


def test_what_was_done_and_how_a_recall_ended_stand_in_their_entries(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        hold(desk, "P-1", why="brake bent")
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did="brake put straight")
    with shop.desk(IDA) as desk:
        open_recall(desk, recall(pattern="Lark 4"))
        close_recall(desk, "R-7", how="all of them read")
    said = {text for (text,) in shop.ledger.connection.execute("SELECT text FROM notes")}
    assert {"brake put straight", "all of them read"} <= said
