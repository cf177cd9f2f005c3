"""A name may be typed short where only one person is meant; a desk's own name is never a second signature.

The staff of the shop: Ida Fennweg, Jory Malkin, Sanne Oder, Wim Tarrow, Nell Abres; Old Timer, out of date.
"""

from __future__ import annotations

import pytest

from fleet.base.errors import Refused
from fleet.facts.staff import full_name
from fleet.tables.snapshot import read_staff
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, SANNE, WIM, Shop

MEANT = {
    "Ida": IDA,
    " ida ": IDA,
    "FENNWEG": IDA,
    "Ida Fennweg": IDA,
    "\uff37\uff49\uff4d": WIM,  # wide letters
    "Jory": JORY,
    "Jo": "Jo",  # whole words only
    "Fennweg Ida": "Fennweg Ida",
    "Stranger": "Stranger",
    "": "",
}


@pytest.mark.parametrize("typed", MEANT)
def test_a_short_name_means_the_one_person_who_has_it(shop: Shop, typed: str) -> None:
    assert full_name(read_staff(shop.ledger.connection), typed) == MEANT[typed]


def test_where_several_have_it_the_choices_are_told_and_none_who_ran_out(shop: Shop) -> None:
    for name, until in (("Ida Holt", "2027-05-31"), ("Ida Old", "2026-12-26"), ("Holt", "2027-05-31")):
        shop.enter("staff listed", {"name": name, "role": "technician", "valid_until": until})
    staff = read_staff(shop.ledger.connection)
    with pytest.raises(Refused) as refused:
        full_name(staff, "ida", today=shop.today)
    assert refused.value.sentence == "'ida' is short for several people of the staff list"
    assert refused.value.cure == f"write the name in full, one of: {IDA}, Ida Holt"
    assert full_name(staff, "Holt") == "Holt", "a whole name is nobody else's short one"


def test_a_short_name_signs_on_the_command_line_and_the_whole_one_is_kept(command: Command) -> None:
    assert command("hold", "P-1", "--why", "screw spins", "--by", "Jory").returncode == 0
    assert command("clear", "P-1", "--why", "it sits again", "--by", "Jory").returncode == 1
    assert command("clear", "P-1", "--why", "it sits again", "--by", "Malkin").returncode == 1
    assert command("clear", "P-1", "--why", "it sits again", "--by", "sanne").returncode == 0
    assert command("recheck", "record", "P-1", "--all", "not-moved", "--by", "Sanne").returncode == 1
    story = command("ski", "P-1").stdout
    assert SANNE in story
    assert command("correct", "P-1", "rack=R-9", "--why", "moved over", "--by", "Ida").returncode == 0
    assert command("staff", "add", "Ida", "--role", "counter", "--until", "2027-05-31").returncode == 0
    assert command("audit").returncode == 0


def test_the_name_of_a_desk_is_a_first_signature_and_never_a_second(command: Command) -> None:
    command._patch.setenv("MOUNTBOOK_BY", SANNE)
    assert command("recheck", "record", "P-2", "--all", "not-moved").returncode == 0
    assert command("hold", "P-1", "--why", "screw spins", "--by", JORY).returncode == 0
    cleared = ("clear", "P-1", "--why", "it sits again")
    refused = command(*cleared)
    assert refused.returncode == 1
    assert command(*cleared, "--by", SANNE).returncode == 0
    assert command("repair", "begin", "P-1", "--by", JORY).returncode == 1
    assert command("hold", "P-3", "--why", "brake bent", "--by", JORY).returncode == 0
    assert command("repair", "done", "P-3", "--did", "brake straightened", "--by", JORY).returncode == 0
    passed = ("recheck", "record", "P-3", "--all", "not-moved")
    assert command(*passed).returncode == 1
    assert command(*passed, "--by", SANNE).returncode == 0


def test_the_name_of_a_desk_is_written_whole(command: Command) -> None:
    """A login name that is somebody's first name is nobody's signature."""
    command._patch.setenv("MOUNTBOOK_BY", "sanne")
    assert command("recheck", "record", "P-2", "--all", "not-moved").returncode == 1
