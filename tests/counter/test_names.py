"""One person is one person, however the name is typed: at the bench, on the list, in the audit."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from datetime import timedelta

import pytest

from fleet.audit.full import audit_file
from fleet.base.entries import checked_name, name_key
from fleet.base.errors import Refused
from fleet.checks.findings import AuditFinding, AuditSeverity
from fleet.ledger.corrections import remark
from fleet.ledger.people import list_person
from fleet.rules.counter import newest_scan
from fleet.rules.holds import begin_repair, end_repair, hold
from fleet.tables.snapshot import read_staff
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, SANNE, WIM, Shop

COMPOSED = "Ren\u00e9e Alm\u00e5s"
SPELLINGS = {
    "composed": COMPOSED,
    "decomposed": unicodedata.normalize("NFD", COMPOSED),
    "small letters": COMPOSED.lower(),
    "capitals, decomposed": unicodedata.normalize("NFD", COMPOSED.upper()),
    "no-break space": COMPOSED.replace(" ", "\u00a0"),
    "spaces around and within": f"  {COMPOSED.replace(' ', '   ')} ",
    "narrow no-break space, decomposed": unicodedata.normalize("NFD", COMPOSED).replace(" ", "\u202f"),
    "soft hyphen within": COMPOSED.replace("lm", "l\u00adm"),
    "zero-width space within": COMPOSED.replace("lm", "l\u200bm"),
}
HYPHENS = "-\u2010\u2011\u2012\u2013\u2014\u2212\ufe63\uff0d"


def listed(shop: Shop, spelling: str) -> None:
    with shop.desk(WIM) as desk:
        list_person(desk, spelling, role="technician", until=shop.today + timedelta(days=90))


def repaired(shop: Shop, tag: str, by: str) -> None:
    with shop.desk(NELL) as desk:
        hold(desk, tag, why="heel loose")
    with shop.desk(by) as desk:
        begin_repair(desk, tag)
    with shop.desk(by) as desk:
        end_repair(desk, tag, did="heel screwed down anew")


@pytest.mark.parametrize("on_the_list", ["composed", "decomposed", "small letters"])
@pytest.mark.parametrize("at_the_look", SPELLINGS)
def test_nobody_passes_her_own_repair_under_another_spelling(
    shop: Shop, on_the_list: str, at_the_look: str
) -> None:
    listed(shop, SPELLINGS[on_the_list])
    repaired(shop, "P-1", COMPOSED)
    with pytest.raises(Refused, match="did the work on P-1 and cannot pass it too"):
        shop.look("P-1", by=SPELLINGS[at_the_look])


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_a_listed_person_signs_in_every_spelling_and_one_spelling_is_kept(shop: Shop, spelling: str) -> None:
    listed(shop, COMPOSED)
    shop.look("P-1", by=SPELLINGS[spelling])
    (entry,) = shop.ledger.entries(after=shop.ledger.head.seq - 1)
    assert entry.by == COMPOSED
    assert audit_file(shop.ledger.path, now=shop.now).clean


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_listing_a_person_again_in_another_spelling_changes_that_person(shop: Shop, spelling: str) -> None:
    listed(shop, COMPOSED)
    before = len(read_staff(shop.ledger.connection))
    with shop.desk(WIM) as desk:
        list_person(desk, SPELLINGS[spelling], role="counter", until=shop.today)
    staff = read_staff(shop.ledger.connection)
    assert len(staff) == before
    with pytest.raises(Refused, match="is counter staff and cannot sign a look"):
        shop.look("P-1", by=COMPOSED)


@pytest.mark.parametrize("hyphen", HYPHENS[1:])
def test_a_name_with_another_hyphen_is_the_same_person(shop: Shop, hyphen: str) -> None:
    with shop.desk(WIM) as desk:
        list_person(desk, JORY.replace(" ", "-"), role="technician", until=shop.today)
    repaired(shop, "P-1", JORY.replace(" ", "-"))
    with pytest.raises(Refused, match="did the work on P-1 and cannot pass it too"):
        shop.look("P-1", by=JORY.replace(" ", hyphen))


def test_two_people_stay_two(shop: Shop) -> None:
    assert name_key("Renee Almas") != name_key(COMPOSED)
    assert name_key("Jo Ann") != name_key("Joann")
    assert name_key("Jo Ann") != name_key("Jo-Ann")
    assert name_key("Jo-Ann") != name_key("Joann")


@pytest.mark.parametrize("unseen", ["\u00ad", "\u200b", "\u200c", "\u200d", "\u2060", "\ufeff"])
def test_a_sign_without_width_falls_out_of_a_name_and_alone_is_none(unseen: str) -> None:
    assert checked_name(f"{unseen}Ida{unseen} Vos{unseen}") == "Ida Vos"
    assert name_key(f"{unseen}Ida{unseen} Vos{unseen}") == name_key("Ida Vos")
    with pytest.raises(ValueError, match="needs a name"):
        checked_name(f" {unseen} ")


@pytest.mark.parametrize("turning", ["\u200e", "\u200f", "\u061c", "\u202a", "\u202e", "\u2066", "\u2069"])
def test_a_sign_that_turns_the_direction_is_refused_and_in_an_older_entry_makes_nobody_another(
    turning: str,
) -> None:
    with pytest.raises(ValueError, match="cannot be printed"):
        checked_name(f"Ida{turning} Vos")
    assert name_key(f"Ida{turning} Vos") == name_key("Ida Vos")


@pytest.mark.parametrize("seen", ["\u0301", "\u0308", "'", "\u2019", "."])
def test_a_sign_that_is_seen_stays_and_makes_another_name(seen: str) -> None:
    assert checked_name(f"Ida{seen} Vos") == unicodedata.normalize("NFC", f"Ida{seen} Vos")
    assert name_key(f"Ida{seen} Vos") != name_key("Ida Vos")


@pytest.mark.parametrize(
    ("one", "other"),
    [("\U0001d408da", "Ida"), ("\uff29\uff44\uff41", "ida"), ("\u01f0o", "J\u030co"), ("\u00df", "SS")],
)
def test_a_letter_in_another_form_or_case_is_the_same_letter(one: str, other: str) -> None:
    assert name_key(one) == name_key(other)


def test_an_older_entry_in_another_spelling_is_the_same_worker_and_the_same_signer(shop: Shop) -> None:
    """As older programs wrote them: the list decomposed, the entry composed."""
    odd = SPELLINGS["decomposed"]
    shop.enter("staff listed", {"name": odd, "role": "technician", "valid_until": "2027-05-31"})
    repaired(shop, "P-1", COMPOSED)
    assert audit_file(shop.ledger.path, now=shop.now).clean
    with pytest.raises(Refused, match="did the work on P-1"):
        shop.look("P-1", by=odd)
    shop.enter("pair looked at", _pass_body("P-1"), by=odd)  # past the door
    found = _asked(shop)
    assert [f.code for f in found] == ["passed by the repairer"]


def test_a_scan_is_undone_by_the_same_person_in_another_spelling(shop: Shop) -> None:
    shop.out("P-1", by=COMPOSED)
    with shop.desk(SPELLINGS["capitals, decomposed"]) as desk:
        assert newest_scan(desk) == "P-1"


def _pass_body(tag: str) -> dict[str, object]:
    return {
        "tag": tag, "kind": "second check", "found": {"A": {}, "B": {}}, "moved": [], "outcome": "pass",
        "cause": "", "pattern": "Lark 4", "mount_entry": 0, "list": None, "list_of_another_day": False,
    }  # fmt: skip


def _asked(shop: Shop) -> list[AuditFinding]:
    report = audit_file(shop.ledger.path, now=shop.now)
    return [finding for finding in report.findings if finding.severity is AuditSeverity.QUESTION]


def _answered(shop: Shop, entry: int, by: str) -> None:
    with shop.desk(by) as desk:
        remark(desk.tx, entry, why="it was a busy evening")


DOUBTFUL: dict[str, tuple[Callable[[Shop], object], str]] = {
    "passed her own repair": (
        lambda s: (repaired(s, "P-1", JORY), s.enter("pair looked at", _pass_body("P-1"), by=JORY)),
        JORY,
    ),
    "signed without being listed": (
        lambda s: s.enter("pair looked at", _pass_body("P-1"), by="Stranger"),
        "Stranger",
    ),
    "ended a quarantine without being the manager": (
        lambda s: (
            s.enter("pair quarantined", {"tag": "P-2"}),
            s.enter("quarantine cleared", {"tag": "P-2"}, by=JORY),
        ),
        JORY,
    ),
}


@pytest.mark.parametrize("name", DOUBTFUL)
def test_whose_signature_is_in_doubt_does_not_answer_for_it_and_another_listed_person_does(
    shop: Shop, name: str
) -> None:
    enter, who = DOUBTFUL[name]
    enter(shop)
    (finding,) = _asked(shop)
    assert finding.entry is not None
    for by in (who, who.upper(), f"{who}\u00a0", "Somebody Else", NELL):  # herself, not listed, no signer
        _answered(shop, finding.entry, by)
        (still,) = _asked(shop)
        assert "another person of the staff list" in still.cure
    _answered(shop, finding.entry, SANNE)
    assert _asked(shop) == []


def test_a_slip_that_is_no_signature_is_still_explained_by_whoever_made_it(shop: Shop) -> None:
    shop.enter("pair back", {"tag": "P-1", "said": False}, by=NELL)
    (finding,) = _asked(shop)
    assert finding.entry is not None
    _answered(shop, finding.entry, NELL)
    assert _asked(shop) == []


def test_at_the_command_line_the_audit_says_who_must_answer(command: Command, shop: Shop) -> None:
    """From the repair to the audit as it is typed, the name once composed and once decomposed."""
    odd = SPELLINGS["decomposed"]
    assert command(
        "staff", "add", odd, "--role", "technician", "--until", "2027-05-31", "--by", WIM
    ).returncode == 0  # fmt: skip
    assert command("hold", "P-1", "--why", "heel loose").returncode == 0
    assert command("repair", "begin", "P-1", "--by", COMPOSED).returncode == 0
    assert command("repair", "done", "P-1", "--did", "screwed down", "--by", COMPOSED).returncode == 0
    refusal = command("recheck", "record", "P-1", "--all", "not-moved", "--by", odd, "--json")
    assert "did the work on P-1" in refusal.json["refused"]
    assert command("clear", "P-1", "--by", odd).returncode == 1
    assert command("recheck", "record", "P-1", "--all", "not-moved", "--by", IDA.upper()).returncode == 0
    assert command("audit").returncode == 0
    told = command("ski", "P-1").stdout
    assert IDA in told
    assert IDA.upper() not in told
