"""The door's own gates, each at its limit: off it stops nothing, set it refuses with the next step.

P-1 is alpine and T-1 telemark, both passed by Ida on 27 December 2026. What each rule asks for is the
shop's own (`fleet/facts/policy_defaults.csv` says where from); soles: `fleet/facts/sole_standards.csv`.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from fleet.base.days import day_text
from fleet.base.errors import BadInput, Refused
from fleet.facts.gates import check_gate, gates_off, is_gate, sole_answer, sole_standard
from fleet.facts.holes import Side
from fleet.facts.kinds import Kind
from fleet.facts.patterns import Pattern
from fleet.facts.policy import default_policy
from fleet.facts.standing import Place
from fleet.rules.clearance import Door, OwnBoot
from fleet.rules.counter import keep_longer, set_binding
from fleet.rules.gate_desk import calibrated, may_go_now, qualify, record_release_test, state_model
from fleet.rules.gates import Gates, long_out, out_without_boot, qualifications_ending
from fleet.rules.recheck import recheck_list
from fleet.tables.snapshot import read_policy
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, SANNE, WIM, ZONE, Shop, lark
from tests.counter.test_impossible import refused

TODAY = date(2026, 12, 27)
DAY = timedelta(days=1)
ALPINE = "gate_release_test_alpine"


def make_tests(
    shop: Shop,
    tag: str = "P-1",
    *,
    by: str = JORY,
    at: datetime | None = None,
    outcome: str = "passed",
    pieces: tuple[str, ...] = ("A toe", "A heel", "B toe", "B heel"),
) -> None:
    """A person tested those pieces with bench 1."""
    with shop.desk(by, at=at) as desk:
        for each in pieces:
            side, piece = each.split()
            record_release_test(
                desk,
                tag,
                side=Side(side),
                piece=piece,
                device="bench 1",
                result="as sheet 4",
                outcome=outcome,
            )


def calibrate(shop: Shop, on: date, until: date) -> None:
    with shop.desk(IDA) as desk:
        calibrated(desk, "bench 1", on=on, until=until)


def qualified(shop: Shop, name: str, what: str, until: date, *, at: datetime | None = None) -> None:
    with shop.desk(WIM if name != WIM else IDA, at=at) as desk:
        qualify(desk, name, what=what, until=until)


def model(shop: Shop, *, standard: str = "", unsupported: date | None = None) -> None:
    with shop.desk(IDA) as desk:
        state_model(
            desk,
            "Lark 4 binding",
            standard=standard,
            unsupported_since=unsupported,
            origin="maker's list 2026",
        )


def goes(shop: Shop, tag: str = "P-1", boot: str | OwnBoot | None = "B-305") -> None:
    [done] = shop.out(tag, boot=boot)
    assert done.place is Place.OUT


def test_every_gate_is_off_until_the_shop_sets_it(shop: Shop) -> None:
    names = [setting.name for setting in default_policy() if is_gate(setting.name)]
    assert list(gates_off(default_policy())) == names
    assert len(names) == 10
    goes(shop)


@pytest.mark.parametrize(("word", "off"), [("no", True), ("work", False)])
def test_a_gate_that_says_no_is_off(shop: Shop, word: str, off: bool) -> None:
    shop.policy(ALPINE, word)
    assert (ALPINE in gates_off(read_policy(shop.ledger.connection))) is off


# Release tests


def test_a_pair_is_tested_by_ski_and_piece_where_the_rule_asks(shop: Shop) -> None:
    shop.policy(ALPINE, "work")
    error = refused(
        shop,
        lambda: shop.out("P-1", boot="B-305"),
        "no release test of ski A toe, ski A heel, ski B toe, ski B heel since the newest work",
    )
    assert error.cure == (
        "test it: mountbook release-test P-1 --ski A --piece toe --device TEXT --result TEXT --outcome passed"
        " --by NAME"
    )
    make_tests(shop, pieces=("A toe", "A heel", "B toe"))
    refused(
        shop, lambda: shop.out("P-1", boot="B-305"), "no release test of ski B heel since the newest work"
    )
    make_tests(shop, pieces=("B heel",))
    goes(shop)
    shop.out("T-1", boot="B-310", set_now=True)  # telemark: its rule is off


@pytest.mark.parametrize(
    ("pattern", "pieces"),
    [
        (lark(), "ski A toe, ski A heel, ski B toe, ski B heel"),
        (replace(lark(), pieces=lark().pieces[:1]), "ski A toe, ski B toe"),
        (replace(lark(), pieces=lark().pieces[1:]), "ski A heel, ski B heel"),
        (None, "ski A toe, ski A heel, ski B toe, ski B heel"),
    ],
    ids=["two pieces", "toe alone", "heel alone", "no pattern on record"],
)
def test_the_test_is_asked_for_of_each_piece_of_the_pattern(
    shop: Shop, pattern: Pattern | None, pieces: str
) -> None:
    shop.policy(ALPINE, "work")
    connection = shop.ledger.connection
    gates = Gates(connection, read_policy(connection), at=shop.now, zone=ZONE)
    asked = {"standing": shop.standing("P-1"), "kind": Kind.ALPINE, "bindings": (), "boot": None}
    [stop] = gates.ask(**asked, pattern=pattern)
    assert stop.reason == f"no release test of {pieces} since the newest work"


def test_a_gate_that_is_off_asks_the_ledger_nothing(shop: Shop) -> None:
    """The door of a shop that set none is as quick as it was."""
    connection, asked = shop.ledger.connection, []
    policy, standing = read_policy(connection), shop.standing("P-1")
    connection.set_trace_callback(asked.append)
    gates = Gates(connection, policy, at=shop.now, zone=ZONE)
    told = gates.ask(standing=standing, kind=Kind.ALPINE, bindings=(), pattern=lark(), boot=None)
    connection.set_trace_callback(None)
    assert (told, asked) == ((), [])


def test_the_rule_is_by_kind(shop: Shop) -> None:
    shop.policy("gate_release_test_telemark", "work")
    goes(shop)
    refused(shop, lambda: shop.out("T-1", boot="B-310", set_now=True), "no release test of ski A toe")


def test_work_after_the_test_asks_for_another(shop: Shop) -> None:
    make_tests(shop)
    shop.policy(ALPINE, "work")
    for old, new in ((2025, 2026), (2026, 2025)):
        changes = {"season": [str(old), str(new)]}
        shop.enter("binding changed", {"binding_id": "P-1/A", "changes": changes})
    shop.set_binding("P-1", 305)
    shop.look("P-1", by=SANNE)
    refused(shop, lambda: shop.out("P-1", boot="B-305"), "since the newest work")
    make_tests(shop)
    goes(shop)


def test_of_two_reasons_for_a_test_both_are_said(shop: Shop) -> None:
    shop.policy(ALPINE, "season, work")
    error = refused(shop, lambda: shop.out("P-1", boot="B-305"), "no release test of ")
    assert "for this season and since the newest work" in error.sentence


def test_a_setting_within_the_travel_is_no_work_unless_the_rule_says_so(shop: Shop) -> None:
    make_tests(shop)
    shop.policy(ALPINE, "season, work")
    shop.out("P-1", boot="B-310", set_now=True)
    shop.back("P-1")
    shop.look("P-1")
    shop.policy(ALPINE, "setting")
    refused(shop, lambda: shop.out("P-1", boot="B-310"), "since its binding was set")
    make_tests(shop)
    goes(shop, boot="B-310")


def test_a_setting_that_must_be_tested_does_not_go_out_in_one_breath(shop: Shop) -> None:
    """Set, boot in; tested; then out. Without the rule the counter sets and hands out at once."""
    make_tests(shop)
    shop.policy(ALPINE, "setting")
    shop.out("T-1", boot="B-310", set_now=True)  # telemark: its rule is off
    shop.back("B-310")
    words = "the shop's rule asks for a release test after its binding was set"
    for set_now in (True, False):
        error = refused(
            shop, lambda now=set_now: shop.out("P-1", boot="B-310", set_now=now),
            words if set_now else "its binding is set for sole 305 mm",
        )  # fmt: skip
        assert error.cure.endswith(
            "mountbook set-binding P-1 --boot TAG --by NAME, then mountbook release-test P-1"
        )
    with pytest.raises(Refused, match="its travel does not reach that"), shop.desk(NELL) as desk:
        set_binding(desk, "P-1", "B-335")
    with shop.desk(NELL) as desk:
        done = set_binding(desk, "P-1", "B-310")
    assert (done.place, done.words) == (Place.READY, "its binding was set for 310 mm")
    refused(shop, lambda: shop.out("P-1", boot="B-310"), "since its binding was set")
    make_tests(shop)
    goes(shop, boot="B-310")


@pytest.mark.parametrize(
    ("by", "boot", "words"),
    [
        ("A Stranger", "B-310", "not on the staff list"),
        (NELL, "B-335", "its travel does not reach that"),
        (NELL, "B-tour", "not declared by both makers"),
    ],
)
def test_a_binding_is_set_by_a_listed_person_for_a_boot_that_it_takes(
    shop: Shop, by: str, boot: str, words: str
) -> None:
    shop.boot("B-tour", 305, "touring")

    def act() -> None:
        with shop.desk(by) as desk:
            set_binding(desk, "P-1", boot)

    refused(shop, act, words)


@pytest.mark.parametrize(("days_before", "goes_out"), [(61, False), (60, True)])
def test_the_season_s_test_is_later_than_the_last_day_of_the_season_before(
    shop: Shop, days_before: int, goes_out: bool
) -> None:
    """A gap of more than season_gap_days (60) between operating days begins a season."""
    make_tests(shop)
    last = shop.now + timedelta(days=1)
    shop.enter("pair out", {"tag": "P-2", "boot": None, "due": None, "fit": "fits"})
    shop.now = last
    shop.enter("pair back", {"tag": "P-2", "said": False})  # the last operating day
    shop.now = last + timedelta(days=days_before)
    shop.policy(ALPINE, "season")
    if goes_out:
        goes(shop)
        return
    refused(shop, lambda: shop.out("P-1", boot="B-305"), "for this season")
    make_tests(shop)
    goes(shop)


def test_a_test_made_on_the_last_of_three_days_is_of_that_season(shop: Shop) -> None:
    for _ in range(3):
        shop.enter("pair out", {"tag": "P-2", "boot": None, "due": None, "fit": "fits"})
        shop.enter("pair back", {"tag": "P-2", "said": False})
        make_tests(shop)
        shop.now += DAY
    shop.now += 70 * DAY
    shop.policy(ALPINE, "season")
    refused(shop, lambda: shop.out("P-1", boot="B-305"), "for this season")


def test_a_failed_test_is_none_and_an_outcome_not_stated_is_asked(shop: Shop) -> None:
    shop.policy(ALPINE, "work")
    calibrate(shop, TODAY, TODAY)
    make_tests(shop, outcome="failed")
    refused(shop, lambda: shop.out("P-1", boot="B-305"), "the release test of ski A toe did not pass")
    make_tests(shop, outcome="")
    [done] = shop.out("P-1", boot="B-305")
    assert done.words == "boot B-305 fits; ASK: the outcome of its release test is not stated"


CALIBRATIONS = {
    "that day alone": (TODAY, TODAY, True),
    "until the day before": (TODAY - 365 * DAY, TODAY - DAY, False),
    "until the day": (TODAY - 365 * DAY, TODAY, True),
    "from the day after": (TODAY + DAY, TODAY + 365 * DAY, False),
}


@pytest.mark.parametrize("name", CALIBRATIONS)
def test_a_test_counts_within_its_device_s_calibration(shop: Shop, name: str) -> None:
    on, until, counts = CALIBRATIONS[name]
    shop.policy(ALPINE, "work")
    calibrate(shop, on, until)
    make_tests(shop)
    if counts:
        [done] = shop.out("P-1", boot="B-305")
        assert done.words == "boot B-305 fits"
        return
    words = "the release test of ski A toe was made with bench 1, not in its calibration on Sun 27 Dec 2026"
    assert "release-test P-1" in refused(shop, lambda: shop.out("P-1", boot="B-305"), words).cure


def test_a_calibration_not_stated_is_asked(shop: Shop) -> None:
    shop.policy(ALPINE, "work")
    make_tests(shop)
    [done] = shop.out("P-1", boot="B-305")
    assert done.words == "boot B-305 fits; ASK: the calibration of bench 1 is not stated"


# Qualifications


@pytest.mark.parametrize(("until", "counts"), [(TODAY - DAY, False), (TODAY, True), (TODAY + DAY, True)])
def test_a_tester_is_qualified_on_the_day_of_the_test(shop: Shop, until: date, counts: bool) -> None:
    shop.policy(ALPINE, "work")
    shop.policy("gate_qualification", "release test")
    calibrate(shop, TODAY, TODAY)
    qualified(shop, JORY, "release test", until)
    make_tests(shop)
    if counts:
        goes(shop)
        return
    words = (
        "the release test of ski A toe is by Jory Malkin, not qualified for release tests on Sun 27 Dec 2026"
    )
    refused(shop, lambda: shop.out("P-1", boot="B-305"), words)


def test_nobody_is_qualified_before_somebody_said_so(shop: Shop) -> None:
    shop.policy(ALPINE, "work")
    shop.policy("gate_qualification", "release test")
    make_tests(shop)
    shop.now += DAY
    qualified(shop, JORY, "release test", TODAY + 300 * DAY)
    refused(shop, lambda: shop.out("P-1", boot="B-305"), "is by Jory Malkin, not qualified for release tests")
    make_tests(shop)
    goes(shop)


@pytest.mark.parametrize(("until", "counts"), [(TODAY - DAY, False), (TODAY, True)])
def test_a_pass_is_by_somebody_qualified_where_the_rule_asks(shop: Shop, until: date, counts: bool) -> None:
    shop.policy("gate_qualification", "pass")
    qualified(shop, SANNE, "pass", until)
    refused(
        shop, lambda: shop.out("P-1", boot="B-305"), "its pass is by Ida Fennweg, not qualified for passes on"
    )
    shop.look("P-1", by=SANNE)
    if counts:
        goes(shop)
    else:
        error = refused(
            shop, lambda: shop.out("P-1", boot="B-305"), "its pass is by Sanne Oder, not qualified"
        )
        assert error.cure == (
            "somebody qualified looks: mountbook recheck record P-1 --all not-moved --by NAME; or mountbook"
            ' staff qualify NAME --for "pass" --until DATE --by NAME'
        )


def test_a_setting_is_by_somebody_qualified_only_where_the_rule_asks(shop: Shop) -> None:
    shop.policy("gate_qualification", "setting")
    error = refused(
        shop,
        lambda: shop.out("P-1", boot="B-310", set_now=True),
        "Nell Abres is not qualified for settings on Sun 27 Dec 2026",
    )
    assert error.cure == 'mountbook staff qualify NAME --for "setting" --until DATE --by NAME'
    goes(shop)  # nothing is set: anybody hands it out
    qualified(shop, NELL, "setting", TODAY)
    shop.out("P-2", boot="B-310", set_now=True)


def test_who_may_say_who_is_qualified(shop: Shop) -> None:
    for by, name, words in (
        (JORY, SANNE, "only a head technician or a manager can say who is qualified"),
        (IDA, IDA, "cannot qualify herself or himself"),
        (IDA, "A Stranger", "is not on the staff list"),
    ):
        with pytest.raises(Refused, match=words), shop.desk(by) as desk:
            qualify(desk, name, what="pass", until=TODAY)
    with pytest.raises(BadInput, match="nobody is qualified for 'skiing'"), shop.desk(IDA) as desk:
        qualify(desk, JORY, what="skiing", until=TODAY)


@pytest.mark.parametrize(("ends_in", "told"), [(31, False), (30, True), (0, True), (-1, True)])
def test_the_end_of_a_qualification_is_told_thirty_days_before(shop: Shop, ends_in: int, told: bool) -> None:
    qualified(shop, JORY, "pass", TODAY + 400 * DAY)
    qualified(shop, JORY, "pass", TODAY + ends_in * DAY)  # the newest is in force
    found = qualifications_ending(shop.ledger.connection, today=TODAY)
    assert [(each.name, each.what) for each in found] == ([(JORY, "pass")] if told else [])


# Soles and standards

TABLE = Path(__file__).parents[2] / "fleet" / "facts" / "sole_standards.csv"


def test_the_table_of_soles_row_by_row() -> None:
    with TABLE.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 20
    for row in rows:
        answer = sole_answer(row["binding"], row["sole"])
        assert bool(answer.refused) is (row["decision"] == "refuse"), row
        assert bool(answer.asked) is (row["decision"] == "ask"), row
        assert row["source"]


def test_what_no_row_foresees_is_refused_and_what_is_not_stated_is_asked() -> None:
    assert sole_answer("ISO 9462", "75 mm").refused == (
        "a sole of 75 mm does not go into a binding of ISO 9462: no standard foresees it"
    )
    assert sole_answer("", "ISO 9523").asked == "the standard of its binding is not stated"
    assert sole_answer("ISO 9462", "").asked == "no standard is stated by the sole type left blank"
    assert sole_answer("ISO 9462", "house sole").asked == "no standard is stated by the sole type house sole"


@pytest.mark.parametrize(
    ("said", "standard"),
    [
        ("ISO 5355 A", "ISO 5355 A"),
        ("ISO 5355 C", "ISO 5355 C"),
        ("iso 5355", ""),  # A or C, it does not say
        ("ISO 9523", "ISO 9523"),
        ("touring", "ISO 9523"),
        ("touring frame", ""),
        ("ISO 23223", "ISO 23223"),
        ("75 mm", "75 mm"),
        ("175 mm", ""),
        ("ISO 5355 A / ISO 9523", ""),  # two: it does not say which
        ("alpine A", "ISO 5355 A"),
    ],
)
def test_the_standard_in_the_shop_s_own_word(said: str, standard: str) -> None:
    assert sole_standard(said) == standard


def test_a_sole_that_no_standard_foresees_stays_in(shop: Shop) -> None:
    fit = {"sole_type": "touring", "pattern": "Lark 4", "binding_sheet": "L-1", "boot_sheet": "S-1"}
    shop.enter("fit declared", fit)
    shop.policy("gate_sole_standard", "yes")
    [done] = shop.out("P-1", boot="B-TOUR")
    assert done.words == "boot B-TOUR fits; ASK: the standard of its binding is not stated"
    model(shop, standard="ISO 9462")
    shop.back("P-1")
    words = "a sole of ISO 9523 does not go into a binding of ISO 9462: the systems are not mixed"
    error = refused(shop, lambda: shop.out("P-2", boot="B-TOUR"), words)
    assert error.cure == "another boot: mountbook out P-2 --boot TAG"
    goes(shop, "P-2")
    model(shop, standard="ISO 9462 and ISO 13992")
    goes(shop, "P-3", boot="B-TOUR")


def test_only_pairs_that_some_declared_sole_may_go_into_count_as_going(shop: Shop) -> None:
    """ISO 9462 foresees alpine soles and no touring ones, ISO 13992 touring soles and no alpine ones."""

    def going() -> frozenset[str]:
        with shop.desk(IDA) as desk:
            return may_go_now(desk)

    every = going()
    assert "P-1" in every
    model(shop, standard="ISO 13992")
    assert going() == every, "nobody asks for the standard"
    shop.policy("gate_sole_standard", "yes")
    assert "P-1" not in going()
    fit = {"sole_type": "touring", "pattern": "Lark 4", "binding_sheet": "L-1", "boot_sheet": "S-1"}
    shop.enter("fit declared", fit)
    assert going() == every, "one of its soles is foreseen"
    model(shop, standard="ISO 9462")
    assert going() == every, "another one is"
    for sole in ("alpine A", "touring"):
        shop.enter("fit taken back", {"sole_type": sole, "pattern": "Lark 4"})
    assert going() == every, "no declared sole is none that a standard refuses"


def test_a_fit_that_no_standard_foresees_is_not_imported(command: Command, tmp_path: Path) -> None:
    fits = tmp_path / "fits.csv"
    rows = (
        "sole_type,pattern,binding_sheet,boot_sheet",
        "ISO 9523,Lark 4,L-1,S-1",
        "alpine C,Lark 4,L-1,S-2",
    )
    fits.write_text("\n".join(rows) + "\n", encoding="utf-8")

    def found() -> dict[int, str]:
        answer = command("import", str(fits), "--json").json
        return {each["row"]: each["code"] for each in answer["findings"] if "sole" in each["code"]}

    assert found() == {}  # the rule is off
    command("policy", "set", "gate_sole_standard", "yes", "--origin", "x", "--yes", "--by", WIM)
    assert found() == {2: "sole_not_stated", 3: "sole_not_stated"}
    stated = ("--standard", "ISO 9462", "--origin", "its maker's list")
    command("pattern", "model", "Lark 4 binding", *stated, "--yes", "--by", IDA)
    assert found() == {2: "sole_not_foreseen"}


# Models that their maker supports no longer


@pytest.mark.parametrize(("since", "stops"), [(TODAY - DAY, True), (TODAY, True), (TODAY + DAY, False)])
def test_a_model_without_its_maker_s_support_stays_in(shop: Shop, since: date, stops: bool) -> None:
    model(shop, unsupported=since)
    shop.policy("gate_unsupported_model", "yes")
    if not stops:
        goes(shop)
        return
    words = f"its binding model Lark 4 binding lost its maker's support on {day_text(since)}"
    assert refused(shop, lambda: shop.out("P-1", boot="B-305"), words).cure == (
        "it needs another binding: mountbook move P-1 --to retired, or mountbook plan"
    )


def test_a_model_of_which_nothing_is_stated_goes_out_and_a_pair_without_a_mount_is_asked_as_ever(
    shop: Shop,
) -> None:
    shop.policy("gate_unsupported_model", "yes")
    shop.pair("P-9", mounted=False)
    without = Door(shop.ledger.connection, at=shop.now, zone=ZONE).ask("P-9").reasons
    assert any("no binding is on record" in reason for reason in without)
    goes(shop)


def test_support_given_again_opens_the_door(shop: Shop) -> None:
    model(shop, unsupported=TODAY)
    shop.policy("gate_unsupported_model", "yes")
    said = {"model": "Lark 4 binding", "unsupported_since": None, "origin": "maker's letter"}
    shop.enter("binding model stated", said, by=IDA)
    goes(shop)


def test_a_head_technician_states_facts_of_a_model_that_is_there(shop: Shop) -> None:
    with pytest.raises(Refused, match="there is no binding model Lark 4 bindin"), shop.desk(IDA) as desk:
        state_model(desk, "Lark 4 bindin", standard="ISO 9462", origin="x")
    with pytest.raises(Refused, match="only a head technician"), shop.desk(JORY) as desk:
        state_model(desk, "Lark 4 binding", standard="ISO 9462", origin="x")
    for facts, words in (
        ({"standard": "ISO 1"}, "is no standard of a binding"),
        ({}, r"what of that model\?"),
    ):
        with pytest.raises(BadInput, match=words), shop.desk(IDA) as desk:
            state_model(desk, "Lark 4 binding", origin="x", **facts)


# Long rentals


@pytest.mark.parametrize(
    ("days", "every", "goes_out"),
    [
        (14, "10", True),
        (15, "10", False),
        (15, "15", True),
        (16, "15", False),
        (14, "5", True),
        (15, "", True),
    ],
)
def test_a_rental_of_fifteen_days_has_its_own_rule(shop: Shop, days: int, every: str, goes_out: bool) -> None:
    """Under 15 days is the scope of ISO 13993 (published); how often a long one comes back is the shop's."""
    if every:
        shop.policy("gate_long_rental_days", every)
    due = TODAY + days * DAY
    if goes_out:
        shop.out("P-1", boot="B-305", due=due)
        return
    error = refused(
        shop,
        lambda: shop.out("P-1", boot="B-305", due=due),
        f"{days} days is a long rental; it comes back for its recheck after {every} days at most",
    )
    assert error.cure.startswith(f"type {(TODAY + int(every) * DAY).isoformat()} or an earlier day")


def test_a_rental_kept_longer_is_counted_from_the_day_it_went_out(shop: Shop) -> None:
    shop.policy("gate_long_rental_days", "10")
    shop.out("P-1", boot="B-305", due=TODAY + 5 * DAY)
    shop.now += 4 * DAY
    with shop.desk(NELL) as desk:
        keep_longer(desk, "P-1", until=TODAY + 14 * DAY)
    with pytest.raises(Refused, match="P-1: 15 days is a long rental"), shop.desk(NELL) as desk:
        keep_longer(desk, "P-1", until=TODAY + 15 * DAY)
    connection = shop.ledger.connection
    assert long_out(connection, today=TODAY + 10 * DAY, zone=ZONE) == ()
    assert long_out(connection, today=TODAY + 11 * DAY, zone=ZONE) == ("P-1",)
    for day, remarks in ((10, ()), (11, ("a long rental, past its recheck",))):
        [away] = recheck_list(connection, today=TODAY + day * DAY).out
        assert (away.tag, away.remarks) == ("P-1", remarks)


def test_a_rental_after_midnight_is_counted_from_the_shop_s_own_day(shop: Shop) -> None:
    """23:30 UTC is half past midnight of the next day in Vienna."""
    shop.policy("gate_long_rental_days", "10")
    shop.now = datetime(2026, 12, 27, 23, 30, tzinfo=UTC)
    shop.out("P-1", boot="B-305", due=date(2026, 12, 28) + 14 * DAY)
    refused(shop, lambda: shop.out("P-2", boot="B-310", due=date(2026, 12, 28) + 15 * DAY), "a long rental")


def test_where_no_day_is_stated_it_is_asked(shop: Shop) -> None:
    shop.policy("gate_long_rental_days", "10")
    [done] = shop.out("P-1", boot="B-305")
    assert done.words == (
        "boot B-305 fits; ASK: when is it due back? by the shop's rule after 10 days at most"
    )


# No pair without its boot


def test_a_pair_waits_for_its_boot(command: Command) -> None:
    command("policy", "set", "out_without_boot", "no", "--origin", "the shop", "--yes", "--by", WIM)
    no = command("out", "P-1", "--json")
    assert (no.returncode, no.json["refused"]) == (1, "P-1 waits for its boot")
    assert no.json["cure"] == (
        "mountbook out P-1 --boot TAG, or for the customer's own boot: mountbook out P-1 --own-boot MM"
        " --sole-type TYPE"
    )
    assert command("out", "P-1", "--boot", "B-305").returncode == 0


def test_the_door_s_own_default_lets_nothing_out_without_a_boot() -> None:
    assert default_policy().word("out_without_boot") == "no"


def test_the_customer_s_own_boot_by_length_and_type(command: Command) -> None:
    own = command("out", "P-1", "--own-boot", "305", "--sole-type", "alpine A")
    assert own.stdout == "P-1  out           boot of the customer (305 mm, alpine A) fits\n"
    for typed, words in (
        (
            ("--own-boot", "310", "--sole-type", "alpine A"),
            "its binding is set for sole 305 mm, boot of the customer",
        ),
        (("--own-boot", "335", "--sole-type", "alpine A"), "its travel does not reach that"),
        (("--own-boot", "305", "--sole-type", "touring"), "not declared by both makers"),
        (("--own-boot", "305"), "the customer's own boot needs its sole type"),
        (("--sole-type", "alpine A"), "the sole length was left out"),
        (("--own-boot", "30.5", "--sole-type", "alpine A"), "30.5 mm is no boot sole length"),
        (("--own-boot", "305", "--sole-type", "alpine A", "--boot", "B-305"), "one boot goes with one pair"),
    ):
        no = command("out", "P-2", *typed, "--json")
        assert (no.returncode, words in no.json["refused"]) == (1, True), no.stdout
    assert command("out", "P-2", "--own-boot", "310", "--sole-type", "alpine A", "--set").returncode == 0


def test_how_a_customer_s_own_boot_was_known_is_said() -> None:
    """What was read is not called measured; a sole without a type is asked for with an example."""
    policy = default_policy()
    duckbill = OwnBoot(bsl_um=315_000, sole_type="75 mm").as_boot(policy)
    assert (duckbill.bsl_um, duckbill.bsl_measured) == (
        305_000,
        "measured 315 mm, duckbill minus 10 mm",  # common practice, no source
    )
    read = OwnBoot(bsl_um=305_000, sole_type=" alpine A ").as_boot(policy)
    assert (read.bsl_um, read.bsl_measured, read.sole_type) == (305_000, "read at the counter", "alpine A")
    with pytest.raises(BadInput) as refused:
        OwnBoot(bsl_um=30_500, sole_type="alpine A").as_boot(policy)
    assert (refused.value.sentence, refused.value.cure) == (
        "30.5 mm is no boot sole length",
        "the outside length of the sole in mm, as it is printed on the boot or measured",
    )
    for nothing in ("", " "):
        with pytest.raises(BadInput) as refused:
            OwnBoot(bsl_um=305_000, sole_type=nothing).as_boot(policy)
        assert refused.value.sentence == "the customer's own boot needs its sole type"
        assert refused.value.cure == '--sole-type, such as "75 mm"'


def test_a_75_mm_sole_of_a_customer_counts_as_the_shop_s_rule_says(shop: Shop) -> None:
    """Ten less than it measures: common practice, no source."""
    fit = {"sole_type": "75 mm", "pattern": "Lark 4", "binding_sheet": "L-1", "boot_sheet": "S-1"}
    shop.enter("fit declared", fit)
    [done] = shop.out("P-1", boot=OwnBoot(bsl_um=315_000, sole_type="75 mm"))
    assert done.words == "boot of the customer (315 mm, counts as 305, 75 mm) fits"


def test_what_is_out_without_a_boot_is_listed(shop: Shop) -> None:
    shop.out("P-1")
    shop.out("P-2", boot="B-305")
    shop.out("P-3", boot=OwnBoot(bsl_um=305_000, sole_type="alpine A"))
    assert out_without_boot(shop.ledger.connection) == ("P-1",)
    out = recheck_list(shop.ledger.connection, today=TODAY).out
    assert {each.tag: each.remarks for each in out} == {
        "P-1": ("no boot named: the sole it is set for is not known",),
        "P-2": (),
        "P-3": (),
    }
    assert shop.standing("P-1").setting.bsl_um is None
    assert shop.standing("P-3").setting.bsl_um == 305_000


def test_two_brakes_on_a_pair_are_refused(shop: Shop) -> None:
    shop.enter("binding changed", {"binding_id": "P-1/B", "changes": {"brake_um": [95_000, 105_000]}})
    shop.set_binding("P-1", 305)
    shop.look("P-1", by=SANNE)
    words = "its two skis carry different brakes: ski A 95 mm, ski B 105 mm"
    refused(shop, lambda: shop.out("P-1", boot="B-305"), words)


# Switching one on


def test_a_gate_says_what_it_stops_before_it_is_set(command: Command) -> None:
    asked = ("policy", "set", ALPINE, "work", "--origin", "our rule of 2026", "--by", WIM)
    no = command(*asked, "--json")
    assert no.returncode == 1
    assert no.json["refused"] == (
        f"{ALPINE} not set -> work was not taken:"
        " it stops 4 of 5 pairs that may go out now: P-1, P-2, P-3, P-4"
    )
    assert command("out", "P-1", "--boot", "B-305").returncode == 0
    yes = command(*asked, "--yes", "--json")
    assert (yes.returncode, yes.json["stops_now"]) == (0, ["P-2", "P-3", "P-4"])
    assert command("out", "P-2", "--boot", "B-310", "--set").returncode == 1
    off = command("policy", "set", ALPINE, "no", "--origin", "our rule of 2026", "--yes", "--by", WIM)
    assert off.returncode == 0


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        (ALPINE, "season, work, setting"),
        ("gate_qualification", "release test, pass, setting"),
        ("gate_sole_standard", "yes"),
        ("gate_unsupported_model", "yes"),
        ("out_without_boot", "yes"),
    ],
)
def test_a_gate_takes_its_own_words_only(rule: str, words: str) -> None:
    check_gate(rule, words.upper().replace(", ", " ,  "))
    for off in ("", "no", " NO "):
        check_gate(rule, off)
    for wrong in ("always", f"no, {words}", f"{words}, always"):
        with pytest.raises(BadInput) as refused:
            check_gate(rule, wrong)
        strange = "no" if wrong.startswith("no") else "always"
        assert refused.value.sentence == f"{rule} does not know {strange!r}"
        assert refused.value.cure == f"one of, or several with commas: {words}; no ends it"


def test_a_word_that_is_none_of_the_gate_s_is_refused_as_typed(command: Command) -> None:
    no = command("policy", "set", ALPINE, "always", "--origin", "x", "--by", IDA, "--json")
    assert no.json["refused"] == f"{ALPINE} does not know 'always'"


def test_the_commands_that_state_what_gates_are_read_from(command: Command) -> None:
    said = command("staff", "qualify", JORY, "--for", "release-test", "--until", "2027-05-31", "--by", IDA)
    assert said.stdout == "Jory Malkin: qualified for release test until Mon 31 May 2027\n"
    dated = ("--on", "2026-09-01", "--until", "2027-08-31")
    assert command("calibration", "bench 1", *dated, "--by", IDA).stdout == (
        "bench 1: calibrated Tue 1 Sep 2026, counts until Tue 31 Aug 2027\n"
    )
    stated = ("--standard", "ISO 9462", "--unsupported-since", "2027-06-01", "--origin", "its maker's list")
    assert command("pattern", "model", "Lark 4 binding", *stated, "--yes", "--by", IDA).stdout == (
        "changes no pair, no way and no open work order\n"
        "Lark 4 binding: ISO 9462, not supported since Tue 1 Jun 2027\n"
    )
    test = ("--ski", "A", "--piece", "toe", "--device", "bench 1", "--result", "in order")
    assert command("release-test", "P-1", *test, "--outcome", "passed", "--by", JORY).returncode == 0
    assert command("release-test", "P-1", *test, "--outcome", "maybe", "--by", JORY).returncode == 1


def test_the_day_counts_by_the_shop_s_calendar(shop: Shop) -> None:
    """Half past midnight in Vienna is still the day before in UTC."""
    model(shop, unsupported=TODAY + DAY)
    shop.policy("gate_unsupported_model", "yes")
    shop.now = datetime(2026, 12, 27, 23, 30, tzinfo=UTC)
    refused(shop, lambda: shop.out("P-1", boot="B-305"), "lost its maker's support on Mon 28 Dec 2026")
