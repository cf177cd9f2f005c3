"""Who may sign what, on the last day of a signature and on the day after, and what each person is told.

The staff list is the shop's: a manager, a head technician, two technicians and a person of the counter until
31 May 2027, and one technician until 26 December 2026.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Collection
from datetime import date
from pathlib import Path

import pytest

from fleet.base.errors import AnotherSigns, Refused
from fleet.facts.staff import Role, Staff
from fleet.ledger.desk import (
    any_listed,
    decider,
    deciders,
    head,
    head_technician,
    manager,
    not_one_of,
    signer,
)
from fleet.tables.snapshot import read_staff
from tests.counter.shop import IDA, JORY, NELL, OLD, SANNE, WIM, Shop

LAST, AFTER = date(2027, 5, 31), date(2027, 6, 1)
OLD_LAST, OLD_AFTER = date(2026, 12, 26), date(2026, 12, 27)
MAY = "sell a ski"
NOT_LISTED = f"'Stranger' is not on the staff list and cannot {MAY}"
ALL_WHO_CHECK = f"{IDA}, {JORY}, {SANNE}, {WIM}"  # not Old Timer, whose signature ran out
ADD = "list people with `mountbook staff add NAME --role technician --until DATE`"
A_TECHNICIAN_SIGNS = (f"{NELL} is counter staff and cannot {MAY}", "a technician signs")

Ask = Callable[..., Staff]


def ask(
    question: Ask, connection: sqlite3.Connection, name: str, days: Collection[date]
) -> Staff | tuple[str, str]:
    """The person who may, or the sentence and the cure."""
    try:
        return question(connection, name, days=days, what=MAY)
    except Refused as refused:
        return refused.sentence, refused.cure


def relist(shop: Shop, name: str, role: Role) -> None:
    shop.enter("staff listed", {"name": name, "role": role.value, "valid_until": LAST.isoformat()})


CHECKERS = (IDA, JORY, SANNE, WIM)
HEADS_ONLY = f"only a head technician or a manager can {MAY}"
TO_A_HEAD = f"sign with --by NAME, one of: {IDA}, {WIM}"
TO_IDA, TO_WIM = (f"sign with --by NAME, one of: {name}" for name in (IDA, WIM))
# the question; who may; those who may not, each with the sentence and the cure
WHO: dict[str, tuple[Ask, tuple[str, ...], dict[str, tuple[str, str]]]] = {
    "signer": (
        signer,
        CHECKERS,
        {
            NELL: A_TECHNICIAN_SIGNS,
            "Stranger": (NOT_LISTED, f"sign with --by NAME, one of: {ALL_WHO_CHECK}; {ADD}"),
        },
    ),
    "any listed": (
        any_listed,
        (*CHECKERS, NELL),
        {
            "Stranger": (
                NOT_LISTED,
                f"sign with --by NAME, one of: {IDA}, {JORY}, {NELL}, {SANNE}, {WIM}; {ADD}",
            )
        },
    ),
    "manager": (
        manager,
        (WIM,),
        {
            IDA: (f"{IDA} is a head technician; only a manager can {MAY}", TO_WIM),
            JORY: (f"{JORY} is a technician; only a manager can {MAY}", TO_WIM),
            NELL: (f"{NELL} is counter staff; only a manager can {MAY}", TO_WIM),
            "Stranger": (NOT_LISTED, TO_WIM),
        },
    ),
    "head technician": (
        head_technician,
        (IDA,),
        {
            WIM: (f"{WIM} is a manager; only a head technician can {MAY}", TO_IDA),
            SANNE: (f"{SANNE} is a technician; only a head technician can {MAY}", TO_IDA),
            NELL: (f"{NELL} is counter staff; only a head technician can {MAY}", TO_IDA),
            "Stranger": (NOT_LISTED, TO_IDA),
        },
    ),
}
WHO["head"] = (
    head,
    (IDA, WIM),
    {
        SANNE: (f"{SANNE} is a technician; {HEADS_ONLY}", TO_A_HEAD),
        NELL: (f"{NELL} is counter staff; {HEADS_ONLY}", TO_A_HEAD),
        "Stranger": (NOT_LISTED, TO_A_HEAD),
    },
)


@pytest.mark.parametrize("name", WHO)
def test_who_signs_and_what_the_others_are_told(shop: Shop, name: str) -> None:
    question, may, may_not = WHO[name]
    for person in may:
        found = ask(question, shop.ledger.connection, person, (LAST,))
        assert isinstance(found, Staff)
        assert found.name == person
    for person, told in may_not.items():
        assert ask(question, shop.ledger.connection, person, (LAST,)) == told
        with pytest.raises(AnotherSigns) as refused:
            question(shop.ledger.connection, person, days=(LAST,), what=MAY)
        assert sorted(refused.value.names) == sorted(may), "a page offers those who may"


@pytest.mark.parametrize("name", WHO)
def test_a_signature_counts_on_its_last_day_and_not_on_the_day_after(shop: Shop, name: str) -> None:
    """It must count on the day when it happened and on the day when it is entered, whichever is later."""
    question, may, _ = WHO[name]
    person = may[-1]
    over = (
        f"{person}'s signature ran out on Mon 31 May 2027 and cannot {MAY}",
        "another listed person signs, or the manager lists a new date",
    )
    asked = {
        days: ask(question, shop.ledger.connection, person, days)
        for days in ((LAST,), (LAST, LAST), (AFTER,), (LAST, AFTER), (AFTER, LAST))
    }
    assert isinstance(asked.pop((LAST,)), Staff)
    assert isinstance(asked.pop((LAST, LAST)), Staff)
    assert set(asked.values()) == {over}


def test_one_whose_signature_ran_out_is_told_the_day(shop: Shop) -> None:
    connection = shop.ledger.connection
    assert isinstance(ask(signer, connection, OLD, (OLD_LAST,)), Staff)
    assert ask(signer, connection, OLD, (OLD_AFTER,)) == (
        f"{OLD}'s signature ran out on Sat 26 Dec 2026 and cannot {MAY}",
        "another listed person signs, or the manager lists a new date",
    )


def test_a_name_counts_however_it_is_typed(shop: Shop) -> None:
    found = ask(signer, shop.ledger.connection, f" {JORY.upper()}", (LAST,))
    assert isinstance(found, Staff)
    assert found.name == JORY


@pytest.mark.parametrize(
    ("question", "role"),
    [(manager, "manager"), (head_technician, "head-technician"), (head, "manager")],
)
def test_where_nobody_has_the_role_it_says_how_to_list_one(shop: Shop, question: Ask, role: str) -> None:
    for name in (IDA, WIM):
        relist(shop, name, Role.COUNTER)
    cure = f"list one with `mountbook staff add NAME --role {role} --until DATE`"
    for person in (JORY, "Stranger"):
        told = ask(question, shop.ledger.connection, person, (LAST,))
        assert not isinstance(told, Staff)
        assert told[1] == cure


def test_on_an_empty_list_there_is_nobody_yet(tmp_path: Path) -> None:
    shop = Shop.new(tmp_path / "shop.db")
    nobody = (NOT_LISTED, f"sign with --by NAME, one of: nobody yet; {ADD}")
    for question in (signer, any_listed):
        assert ask(question, shop.ledger.connection, "Stranger", (LAST,)) == nobody


def test_a_role_on_the_list_is_the_person_s_own(shop: Shop) -> None:
    """Nell made technician signs; Jory made counter staff does not any more."""
    relist(shop, NELL, Role.TECHNICIAN)
    relist(shop, JORY, Role.COUNTER)
    assert isinstance(ask(signer, shop.ledger.connection, NELL, (LAST,)), Staff)
    assert not isinstance(ask(signer, shop.ledger.connection, JORY, (LAST,)), Staff)


SECOND = "a second person of the staff list looks at it"
ALONE = {
    "worker": (f"{IDA} did the work on P-1 and cannot pass it too", SECOND),
    "clearer": (f"{IDA} cleared the hold of P-1 and cannot pass it too", SECOND),
    "finder": (
        f"{IDA} found the moved screw of P-1 and cannot clear it too",
        "mountbook repair done P-1 --did TEXT --by NAME, or another person of the staff list clears it and"
        " says why",
    ),
    "causer": (
        f"{IDA} caused what stopped P-1: another head technician ends that",
        "where no other is listed in date, the manager does",
    ),
}


@pytest.mark.parametrize("name", ALONE)
def test_two_signatures_of_one_person_are_one(name: str) -> None:
    sentence, cure = ALONE[name]
    for others in ((), (JORY,), (JORY, SANNE)):
        not_one_of(name, IDA, others, tag="P-1")
    for others in ((IDA,), (JORY, IDA), (IDA.lower(),), (f"  {IDA} ",)):
        with pytest.raises(Refused) as refused:
            not_one_of(name, IDA, others, tag="P-1")
        assert (refused.value.sentence, refused.value.cure) == (sentence, cure)


def test_whose_signature_would_count_is_said_beside_the_words(shop: Shop) -> None:
    """The pages offer these names, so they are those of the cure."""
    with pytest.raises(AnotherSigns) as refused:
        signer(shop.ledger.connection, NELL, days=(LAST,), what=MAY)
    assert sorted(refused.value.names) == [IDA, JORY, SANNE, WIM]


@pytest.mark.parametrize(
    ("gone", "names"), [((), [WIM]), ((WIM,), [IDA]), ((WIM, IDA), [])], ids=["manager", "head", "nobody"]
)
def test_who_decides_for_the_shop(shop: Shop, gone: tuple[str, ...], names: list[str]) -> None:
    """The manager; with none in date the head technician; with neither, two people list one first."""
    for name in gone:
        relist(shop, name, Role.COUNTER)
    staff = read_staff(shop.ledger.connection)
    assert deciders(staff, days=(LAST,)) == names
    assert deciders(staff, days=(AFTER,)) == deciders(staff, days=(LAST, AFTER)) == []
    for name in names:
        assert decider(staff, name, days=(LAST,), what=MAY).name == name
    days = (AFTER,) if names else (LAST,)
    with pytest.raises(Refused) as refused:
        decider(staff, WIM, days=days, what=MAY)
    assert refused.value.sentence == f"no manager and no head technician is in date, so nobody can {MAY}"
    assert refused.value.cure == (
        "two listed people list one: mountbook staff add NAME --role manager --until DATE --by NAME"
        " --second NAME"
    )
