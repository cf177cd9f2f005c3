"""A name is a claim, but a right is checked: who may list people, set rules, declare fits, correct."""

from __future__ import annotations

import csv
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from fleet.audit.full import audit_file
from fleet.base.errors import BadInput, MountbookError, Refused
from fleet.base.files import csv_rows
from fleet.facts import policy
from fleet.facts.policy import check_plausible
from fleet.ledger.corrections import remark
from fleet.ledger.people import list_person, set_policy
from fleet.tables.snapshot import read_policy, read_staff
from imports.headers import Table
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, MORNING, NELL, OLD, SANNE, WIM, Shop
from tests.imports.books import T4H4, Rows, clean_sheets, table_rows, write_book

ADA, BO = "Ada Quell", "Bo Tern"
SOON, LATE, LATER = date(2026, 12, 28), date(2027, 5, 31), date(2028, 5, 31)


def people(path: Path, *listed: tuple[str, str, date]) -> Shop:
    """A new shop with these people on its list, whoever listed them."""
    shop = Shop.new(path)
    for name, role, until in listed:
        shop.enter("staff listed", {"name": name, "role": role, "valid_until": until.isoformat()})
    return shop


def lists(shop: Shop, by: str, name: str, role: str, until: date) -> None:
    with shop.desk(by) as desk:
        list_person(desk, name, role=role, until=until)


# who may list people

MANAGERS = ((WIM, "manager", LATE), (ADA, "manager", LATE), (IDA, "head technician", LATE))
ONE_MANAGER = ((WIM, "manager", LATE), (IDA, "head technician", LATE), (JORY, "technician", LATE))
RAN_OUT = date(2026, 12, 26)  # the shop's clock stands at 27 December
NO_MANAGER_IN_DATE = ((WIM, "manager", RAN_OUT), (IDA, "head technician", LATE), (JORY, "technician", LATE))
NOBODY_IN_DATE = ((WIM, "manager", RAN_OUT), (IDA, "head technician", RAN_OUT), (JORY, "technician", LATE))
ONE_MAN_SHOP = ((WIM, "manager", RAN_OUT),)

MAY: dict[str, tuple[tuple[tuple[str, str, date], ...], str, str, str, date]] = {
    "the manager lists a new person": (ONE_MANAGER, WIM, BO, "counter", LATE),
    "the manager makes a technician head technician": (ONE_MANAGER, WIM, JORY, "head technician", LATE),
    "the manager lists a second manager": (ONE_MANAGER, WIM, BO, "manager", LATER),
    "another manager prolongs a manager": (MANAGERS, ADA, WIM, "manager", LATER),
    "the head technician prolongs the only manager": (ONE_MANAGER, IDA, WIM, "manager", LATER),
    "a manager steps down": (ONE_MANAGER, WIM, WIM, "technician", LATE),
    "with no manager in date the head technician": (NO_MANAGER_IN_DATE, IDA, WIM, "manager", LATER),
    "a shop of one person goes on": (ONE_MAN_SHOP, WIM, WIM, "manager", LATER),
}
MAY_NOT: dict[str, tuple[tuple[tuple[str, str, date], ...], str, str, str, date, str]] = {
    "a stranger": (ONE_MANAGER, "Stranger", "Stranger", "manager", LATER, "cannot list people"),
    "a technician": (ONE_MANAGER, JORY, BO, "counter", LATE, "cannot list people"),
    "a technician raising himself": (ONE_MANAGER, JORY, JORY, "manager", LATE, "nobody lists herself"),
    "the head technician while a manager is in date": (ONE_MANAGER, IDA, BO, "counter", LATE, "cannot list"),
    "the head technician making herself manager": (
        NO_MANAGER_IN_DATE, IDA, IDA, "manager", LATE, "nobody lists herself or himself higher or for longer",
    ),
    "the same under another spelling": (
        NO_MANAGER_IN_DATE, IDA, f" {IDA.upper()} ", "manager", LATE, "nobody lists herself or himself",
    ),
    "a manager prolonging himself while another could": (
        MANAGERS, WIM, WIM, "manager", LATER, "nobody lists herself or himself",
    ),
    "the only manager, while a head technician could": (
        ONE_MANAGER, WIM, WIM, "manager", LATER, "nobody lists herself or himself",
    ),
    "the head technician lowering the only manager": (
        ONE_MANAGER, IDA, WIM, "counter", LATE, "cannot list people",
    ),
    "the head technician ending the only manager": (ONE_MANAGER, IDA, WIM, "manager", SOON, "cannot list"),
    "a technician, with nobody in date": (NOBODY_IN_DATE, JORY, BO, "manager", LATER, "two listed people"),
    "the manager that was, with nobody in date, alone": (
        NOBODY_IN_DATE, WIM, IDA, "head technician", LATER, "two listed people",
    ),
    "a manager who ran out, a head technician being there": (
        NO_MANAGER_IN_DATE, WIM, WIM, "manager", LATER, "nobody lists herself or himself",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", MAY)
def test_who_may_list_lists(tmp_path: Path, case: str) -> None:
    staff, by, name, role, until = MAY[case]
    shop = people(tmp_path / "shop.db", *staff)
    lists(shop, by, name, role, until)
    person = read_staff(shop.ledger.connection)[name]
    assert (person.role.value, person.valid_until) == (role, until)


@pytest.mark.parametrize("case", MAY_NOT)
def test_who_may_not_list_is_refused_and_told_who_does(tmp_path: Path, case: str) -> None:
    staff, by, name, role, until, words = MAY_NOT[case]
    shop = people(tmp_path / "shop.db", *staff)
    before = shop.dump()
    with pytest.raises(Refused, match=words) as refused:
        lists(shop, by, name, role, until)
    assert shop.dump() == before
    assert refused.value.cure


NOBODY_AND_TWO = (*NOBODY_IN_DATE, (SANNE, "technician", LATE))
SECOND: dict[str, tuple[tuple[tuple[str, str, date], ...], str, str, str, str, str]] = {
    "two who ran out": (NOBODY_IN_DATE, WIM, IDA, IDA, "head technician", ""),
    "two technicians in date, one of themselves": (NOBODY_AND_TWO, JORY, SANNE, JORY, "manager", ""),
    "two technicians in date, short of nothing but case": (
        NOBODY_AND_TWO, JORY, SANNE.upper(), BO, "manager", "",
    ),
    "one who ran out, while two are in date": (NOBODY_AND_TWO, JORY, WIM, WIM, "manager", "two listed"),
    "one person twice": (NOBODY_IN_DATE, WIM, WIM.lower(), IDA, "manager", "two listed people"),
    "a stranger as the second": (NOBODY_IN_DATE, WIM, "Stranger", IDA, "manager", "two listed people"),
    "for a technician": (NOBODY_IN_DATE, WIM, IDA, BO, "technician", "two listed people"),
    "while a head technician is in date": (NO_MANAGER_IN_DATE, WIM, JORY, WIM, "manager", "nobody lists her"),
}  # fmt: skip


@pytest.mark.parametrize("case", SECOND)
def test_with_nobody_in_date_two_listed_people_list_one(tmp_path: Path, case: str) -> None:
    staff, by, second, name, role, refused = SECOND[case]
    shop = people(tmp_path / "shop.db", *staff)
    with shop.desk(by) as desk:
        if refused:
            with pytest.raises(Refused, match=refused):
                list_person(desk, name, role=role, until=LATER, second=second)
        else:
            list_person(desk, name, role=role, until=LATER, second=second)


def test_a_listing_in_need_is_asked_about_by_every_audit_until_another_confirms_it(tmp_path: Path) -> None:
    shop = people(tmp_path / "shop.db", *NOBODY_AND_TWO)
    with shop.desk(JORY) as desk:
        list_person(desk, BO, role="manager", until=LATER, second=SANNE)
    entry = shop.ledger.head.seq

    def asked() -> list[str]:
        report = audit_file(shop.ledger.path, now=shop.now)
        return [finding.sentence for finding in report.findings if finding.code == "listed in need"]

    for by in ("Stranger", JORY, SANNE, BO):
        with shop.desk(by) as desk:
            remark(desk.tx, entry, why="that is right so")
        assert not audit_file(shop.ledger.path, now=shop.now).clean
    assert "by Jory Malkin and Sanne Oder, while no manager or head technician was in date" in asked()[0]
    with shop.desk(BO) as desk:
        list_person(desk, ADA, role="head technician", until=LATER)
    with shop.desk(ADA) as desk:
        remark(desk.tx, entry, why="that is right so")
    assert audit_file(shop.ledger.path, now=shop.now).clean


def test_the_audit_lists_each_right_given_by_whom_and_when(shop: Shop) -> None:
    lists(shop, WIM, BO, "technician", LATE)
    lists(shop, WIM, BO, "head technician", LATE)
    lists(shop, WIM, BO, "head technician", SOON)  # takes something away, and gives nothing
    report = audit_file(shop.ledger.path, now=shop.now)
    newest, until = shop.ledger.head.seq, f"until Mon 31 May 2027, by {WIM}, Sun 27 Dec 2026"
    assert report.rights[-2:] == (
        f"{BO}: technician {until} (entry {newest - 2})",
        f"{BO}: head technician {until} (entry {newest - 1})",
    )
    assert "Rights given:" in list(report.lines())
    assert report.to_json()["rights"] == list(report.rights)


@pytest.mark.parametrize(
    ("role", "until", "taken"),
    [
        ("manager", SOON, True),
        ("manager", MORNING.date(), True),  # its last day is today
        ("head technician", LATE, True),
        ("manager", RAN_OUT, False),
        ("technician", LATE, False),
        ("counter", LATE, False),
    ],
)
def test_the_first_person_may_be_listed_by_anybody_and_is_one_who_lists_the_others(
    tmp_path: Path, role: str, until: date, taken: bool
) -> None:
    shop = Shop.new(tmp_path / "shop.db")
    if taken:
        lists(shop, "login", ADA, role, until)
        with pytest.raises(Refused, match="cannot list people"):
            lists(shop, "login", BO, "counter", LATE)
        lists(shop, ADA, BO, "counter", LATE)
    else:
        with pytest.raises(Refused, match="first person listed is one who lists the others"):
            lists(shop, "login", ADA, role, until)


# who may set a rule


@pytest.mark.parametrize("by", [IDA, WIM, WIM.lower()])
def test_the_head_technician_and_the_manager_set_rules(shop: Shop, by: str) -> None:
    with shop.desk(by) as desk:
        set_policy(desk, "minutes_mount", "12", origin="timed at the bench")
    assert read_policy(shop.ledger.connection).number("minutes_mount") == 12


@pytest.mark.parametrize(
    ("staff", "by", "words"),
    [
        (ONE_MANAGER, WIM, ""),
        (ONE_MANAGER, IDA, "only a manager can set spacing_mm, a safety rule,"),
        (NO_MANAGER_IN_DATE, IDA, ""),
        (NO_MANAGER_IN_DATE, WIM, "is a manager; only a head technician"),
        (NO_MANAGER_IN_DATE, JORY, "only a head technician"),
        (NOBODY_IN_DATE, WIM, "no manager and no head technician is in date"),
    ],
)
def test_a_safety_rule_is_the_manager_s_and_with_none_in_date_the_head_technician_s(
    tmp_path: Path, staff: tuple[tuple[str, str, date], ...], by: str, words: str
) -> None:
    shop = people(tmp_path / "shop.db", *staff)
    with shop.desk(by) as desk:
        if words:
            with pytest.raises(Refused, match=words):
                set_policy(desk, "spacing_mm", "12", origin="our sawn skis")
        else:
            set_policy(desk, "spacing_mm", "12", origin="our sawn skis")


def test_a_setting_in_words_takes_its_words_only(shop: Shop) -> None:
    with shop.desk(WIM) as desk, pytest.raises(BadInput, match="tap_metal cannot be 'maybe'"):
        set_policy(desk, "tap_metal", "maybe", origin="x")


@pytest.mark.parametrize(
    ("by", "words"),
    [
        (NELL, "counter staff; only a head technician or a manager can set a rule"),
        (JORY, "only a head technician or a manager can set a rule"),
        (OLD, "only a head technician or a manager"),
        ("Gone Head", "ran out on Sat 26 Dec 2026"),
        ("Stranger", "not on the staff list and cannot set a rule"),
    ],
)
def test_nobody_else_sets_rules(shop: Shop, by: str, words: str) -> None:
    gone = {"name": "Gone Head", "role": "head technician", "valid_until": RAN_OUT.isoformat()}
    shop.enter("staff listed", gone)
    before = shop.dump()
    with shop.desk(by) as desk, pytest.raises(Refused, match=words):
        set_policy(desk, "minutes_mount", "12", origin="timed at the bench")
    assert shop.dump() == before


def test_while_nobody_is_listed_no_rule_is_set(tmp_path: Path) -> None:
    shop = Shop.new(tmp_path / "shop.db")
    with shop.desk(WIM) as desk, pytest.raises(Refused, match="not on the staff list") as refused:
        set_policy(desk, "spacing_mm", "12", origin="our sawn skis")
    assert "mountbook staff add" in refused.value.cure


RANGES = {  # our own ranges; both ends are allowed
    "spacing_mm": ("5", "30", "4.999", "30.001"),
    "drill_no_metal_mm": ("3", "5", "2.999", "36"),
    "depth_metal_mm": ("5", "12", "4.9", "90"),
    "cure_wood_glue_hours": ("0.5", "168", "0.499", "168.5"),
    "cure_stone_glue_hours": ("0.5", "168", "0.4", "720"),  # an adhesive the program does not know
    "undo_minutes": ("0", "60", "61", "600"),
    "mounts_max": ("1", "10", "0", "20"),
}


@pytest.mark.parametrize("name", RANGES)
def test_a_value_outside_the_plausible_range_is_refused_with_the_range_and_its_origin(
    shop: Shop, name: str
) -> None:
    low, high, *outside = RANGES[name]
    for value in (low, high):
        with shop.desk(WIM) as desk:
            set_policy(desk, name, value, origin="x")
    before = shop.dump()
    for value in outside:
        with shop.desk(WIM) as desk, pytest.raises(BadInput) as refused:
            set_policy(desk, name, value, origin="x")
        assert f"{low} to {high}" in refused.value.sentence
        assert "our own, to catch slips" in refused.value.cure
    assert shop.dump() == before


def test_what_is_not_set_may_stay_so(shop: Shop) -> None:
    """No value means not set, which closes; it is no slip."""
    with shop.desk(WIM) as desk:
        set_policy(desk, "cure_epoxy_hours", "", origin="another resin, sheet not here yet")
    assert read_policy(shop.ledger.connection).cure_hours("epoxy") is None


def test_every_number_has_a_range_that_holds_its_default_and_says_where_it_is_from() -> None:
    for row in csv_rows(Path(policy.__file__).with_name("policy_defaults.csv")):
        if row["unit"] in ("text", "adhesive", "day"):
            assert not row["range_origin"], row["name"]
            continue
        low, high = Decimal(row["low"]), Decimal(row["high"])
        assert row["range_origin"]
        assert low < high
        if row["value"]:
            assert low <= Decimal(row["value"]) <= high, row["name"]
        for value in (low, high):
            check_plausible(row["name"], row["unit"], str(value))
        with pytest.raises(BadInput, match=f"is outside {row['low']} to {row['high']}"):
            check_plausible(row["name"], row["unit"], str(high + 1))


def test_an_older_entry_outside_the_range_keeps_its_meaning(shop: Shop) -> None:
    body = {"name": "spacing_mm", "value": "2", "unit": "mm", "origin": "x", "since": "2024-01-01"}
    shop.enter("policy set", body)
    assert read_policy(shop.ledger.connection).number("spacing_mm") == 2


# what an import may bring along


def test_an_import_says_that_nobody_had_to_sign_the_first_list(command: Command, tmp_path: Path) -> None:
    notes: list[str] = []
    command._patch.setattr("planner.cli.session.note", notes.append)
    first = Command(tmp_path / "new.db", command._patch, command._capture)
    for name, staff, said in (("a", [["name", "role", "valid_until"]], 0), ("b", clean_sheets()["Staff"], 1)):
        book = write_book(tmp_path / f"{name}.xlsx", clean_sheets(Staff=staff))
        assert (
            first("import", str(book), "--apply", "--zone", "Europe/Vienna", "--by", "login").returncode == 0
        )
        assert sum("nobody had to sign it" in note for note in notes) == said


@pytest.fixture
def imported(command: Command, tmp_path: Path) -> Command:
    """A ledger begun by a first import with its staff list, as on the first day; by the login name."""
    book = write_book(tmp_path / "first.xlsx", clean_sheets())
    first = Command(tmp_path / "new.db", command._patch, command._capture)
    taken = first("import", str(book), "--apply", "--zone", "Europe/Vienna", "--by", "login")
    assert taken.returncode == 0
    return first


def _changed(sheet: str, key: str, value: object) -> dict[str, Rows]:
    head, *rest = [list(row) for row in clean_sheets()[sheet]]
    for row in rest:
        row[head.index(key)] = value
    return clean_sheets(**{sheet: [head, *rest]})


CARRIED = {
    "another sheet of a fit": _changed("Fits", "boot_sheet", "list 10"),
    "another pattern": clean_sheets(
        Patterns=table_rows(Table.PATTERN, *[{**row, "y_mm": row["y_mm"] + 1} for row in T4H4])
    ),
    "another waist": _changed("Skis", "waist_mm", 97),
    "a sole measured again": _changed("Boots", "bsl_mm", 318),
}


@pytest.mark.parametrize("with_staff", [False, True])
@pytest.mark.parametrize("name", CARRIED)
def test_while_nobody_is_listed_a_later_import_changes_nothing_of_what_is_recorded(
    command: Command, tmp_path: Path, name: str, with_staff: bool
) -> None:
    """Only the first staff list needs no signature, and not what comes in its company."""
    new = Command(tmp_path / "new.db", command._patch, command._capture)
    nobody: Rows = [["name", "role", "valid_until"]]
    apply = ("--apply", "--zone", "Europe/Vienna")
    first = write_book(tmp_path / "first.xlsx", clean_sheets(Staff=nobody))
    assert new("import", str(first), *apply, "--by", "login").returncode == 0
    book = write_book(tmp_path / "second.xlsx", CARRIED[name] | ({} if with_staff else {"Staff": nobody}))
    no = new("import", str(book), *apply, "--by", "login", "--json")
    assert no.returncode == 1
    assert no.json["refused"].startswith("nobody is listed who could take in what this file says anew (")
    assert no.json["cure"] == (
        "list the manager first, which nobody signs: mountbook staff add NAME --role manager --until DATE,"
        " or import a staff list alone; then type the same with --by NAME"
    )
    staff = write_book(tmp_path / "staff.xlsx", {"Staff": clean_sheets()["Staff"]})
    assert new("import", str(staff), *apply, "--by", "login").returncode == 0
    assert new("import", str(book), *apply, "--by", "login").returncode == 1
    assert new("import", str(book), *apply, "--by", "Mara Oberlin").returncode == 0


@pytest.mark.parametrize("name", CARRIED)
def test_an_import_that_changes_what_is_recorded_is_signed_as_a_correction_is(
    imported: Command, tmp_path: Path, name: str
) -> None:
    book = write_book(tmp_path / "second.xlsx", CARRIED[name])
    dry = imported("import", str(book), "--json")
    assert dry.json["outcome"] == "import"
    before = imported.ledger.read_bytes()
    refused = imported("import", str(book), "--apply", "--by", "login", "--json")
    assert refused.returncode == 1
    assert "'login' is not on the staff list and cannot take in" in refused.json["refused"]
    assert "Mara Oberlin" in refused.json["cure"]
    assert imported.ledger.read_bytes() == before
    assert imported("import", str(book), "--apply", "--by", "Mara Oberlin").returncode == 0


def test_an_export_that_says_another_serial_of_a_binding_is_signed_as_a_correction_is(
    imported: Command, tmp_path: Path
) -> None:
    """A recall is looked for by it."""
    folder = tmp_path / "out"
    assert imported("export", str(folder)).returncode == 0
    sheet = folder / "bindings.csv"
    with sheet.open(encoding="utf-8", newline="") as file:
        head, first, *rest = list(csv.reader(file))
    first[head.index("serial_toe")] = "4711"
    with sheet.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([head, first, *rest])
    before = imported.ledger.read_bytes()
    refused = imported("import", str(folder), "--apply", "--by", "login", "--json")
    assert refused.returncode == 1
    assert "(1 binding changed)" in refused.json["refused"]
    assert imported.ledger.read_bytes() == before
    assert imported("import", str(folder), "--apply", "--by", "Mara Oberlin").returncode == 0


def test_an_import_of_new_things_alone_needs_no_role(imported: Command, tmp_path: Path) -> None:
    sheets = clean_sheets()
    head, row = sheets["Boots"]
    more = [["B-999" if value == "B-210" else value for value in row]]
    book = write_book(tmp_path / "more.xlsx", clean_sheets(Boots=[head, row, *more]))
    assert imported("import", str(book), "--apply", "--by", "login").returncode == 0


def test_an_import_lists_people_only_by_one_who_may(imported: Command, tmp_path: Path) -> None:
    rows = clean_sheets()["Staff"]
    more = ["login", "manager", date(2027, 4, 30)]
    book = write_book(tmp_path / "more.xlsx", clean_sheets(Staff=[*rows, more]))
    refused = imported("import", str(book), "--apply", "--by", "login", "--json")
    assert "'login' cannot list people" in refused.json["refused"]
    assert imported("import", str(book), "--apply", "--by", "Mara Oberlin").returncode == 0


def test_a_first_import_whose_list_nobody_could_go_on_with_is_refused_and_begins_no_ledger(
    command: Command, tmp_path: Path
) -> None:
    rows = [["name", "role", "valid_until"], ["Jo Alm", "technician", date(2027, 4, 30)]]
    book = write_book(tmp_path / "first.xlsx", clean_sheets(Staff=rows))
    first = Command(tmp_path / "new.db", command._patch, command._capture)
    refused = first("import", str(book), "--apply", "--json")
    assert "a manager or a head technician" in refused.json["refused"]
    assert not (tmp_path / "new.db").exists()


# the first day as it is typed


def test_the_first_day_needs_a_name_only_from_the_second_person_on(command: Command, tmp_path: Path) -> None:
    book = write_book(tmp_path / "first.xlsx", clean_sheets(Staff=[["name", "role", "valid_until"]]))
    day = Command(tmp_path / "new.db", command._patch, command._capture)
    command._patch.setenv("MOUNTBOOK_BY", "login")
    assert day("import", str(book), "--apply", "--zone", "Europe/Vienna").returncode == 0
    assert day("policy", "set", "spacing_mm", "11", "--origin", "x").returncode == 1
    until = ("--until", "2027-05-31")
    assert day("staff", "add", ADA, "--role", "technician", *until).returncode == 1
    first = day("staff", "add", ADA, "--role", "manager", *until)
    assert first.returncode == 0
    assert "first on the list" in first.stdout
    refused = day("staff", "add", BO, "--role", "technician", *until, "--json")
    assert ADA in refused.json["cure"]
    assert day("staff", "add", BO, "--role", "head-technician", *until, "--by", ADA).returncode == 0
    assert day("staff", "add", BO, "--role", "manager", *until, "--by", BO).returncode == 1
    assert day("policy", "set", "minutes_mount", "11", "--origin", "x", "--by", BO, "--yes").returncode == 0
    assert day("audit").returncode == 0


# older rules that read the same list


def test_corrections_and_quarantine_still_say_who_may(shop: Shop) -> None:
    from fleet.ledger.corrections import withdraw

    with shop.desk(SANNE) as desk, pytest.raises(MountbookError, match="head technician or a manager"):
        withdraw(desk.tx, 3, by=SANNE, why="x", today=shop.today)
