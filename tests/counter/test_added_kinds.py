"""A kind that the shop adds counts wherever a kind is read, like the one of ours that it is like."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from fleet.audit.full import audit_file
from fleet.base.errors import BadInput, Refused
from fleet.facts.kinds import Kind, KindRule, shop_kinds
from fleet.facts.policy import default_policy
from fleet.ledger.people import set_policy
from fleet.rules.sampling.rule import sample_kinds
from fleet.tables.snapshot import read_pairs
from tests.counter.command import Command
from tests.counter.shop import IDA, NELL, WIM, Shop

NORDIC = default_policy().with_values(kinds="nordic=touring, snow blade = alpine")


def test_the_rule_names_kinds_and_what_they_are_like() -> None:
    assert list(shop_kinds(default_policy())) == ["alpine", "touring", "telemark", "junior"]
    assert dict(shop_kinds(NORDIC)) == {
        **{str(kind): kind for kind in Kind},
        "nordic": Kind.TOURING,
        "snow blade": Kind.ALPINE,
    }


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("nordic", "'nordic' adds no kind"),
        ("nordic=flying", "'nordic=flying' adds no kind"),
        ("x1=touring", "'x1=touring' adds no kind"),
        ("=touring", "'=touring' adds no kind"),
        ("alpine=touring", "there is a kind alpine already"),
        ("nordic=touring, Nordic=alpine", "there is a kind nordic already"),
    ],
)
def test_what_adds_no_kind_is_refused(shop: Shop, value: str, words: str) -> None:
    with shop.desk(WIM) as desk, pytest.raises(BadInput, match=words):
        set_policy(desk, "kinds", value, origin="our rack of 2026")


def test_only_who_may_sets_it(shop: Shop) -> None:
    with shop.desk(IDA) as desk, pytest.raises(Refused, match="only a manager can set kinds"):
        set_policy(desk, "kinds", "nordic=touring", origin="our rack of 2026")


def nordic(shop: Shop) -> None:
    with shop.desk(WIM) as desk:
        set_policy(desk, "kinds", "nordic=touring", origin="our rack of 2026")
    shop.pair("N-1", kind="nordic")
    shop.set_binding("N-1", 305)
    shop.ready("N-1")


def test_a_gate_follows_the_kind_that_it_is_like(shop: Shop) -> None:
    nordic(shop)
    assert read_pairs(shop.ledger.connection)["N-1"].kind == "nordic"
    shop.policy("gate_release_test_alpine", "work")
    shop.out("N-1", boot="B-305")
    shop.back("N-1")
    shop.look("N-1")
    shop.policy("gate_release_test_touring", "work")
    with pytest.raises(Refused, match="no release test of ski A toe"):
        shop.out("N-1", boot="B-305")


def test_a_kind_that_the_rule_names_no_more_keeps_every_gate(shop: Shop) -> None:
    nordic(shop)
    shop.policy("kinds", "no")
    shop.policy("gate_release_test_telemark", "work")
    with pytest.raises(Refused, match="no release test of ski A toe"):
        shop.out("N-1", boot="B-305")


def test_the_audit_reads_its_gate_too(shop: Shop) -> None:
    nordic(shop)
    shop.policy("gate_release_test_touring", "work")
    body = {"tag": "N-1", "boot": "B-305", "due": None, "fit": "fits", "sole_um": 305_000, "set_entry": None}
    shop.enter("pair out", body, by=NELL)
    found = audit_file(shop.ledger.path, now=shop.now).findings
    [asked] = [f for f in found if f.code == "out without a release test"]
    assert "as gate_release_test_touring asks" in asked.sentence


def test_it_meets_the_others_only_by_the_rule() -> None:
    assert not KindRule(NORDIC).meet({Kind("nordic")}, {Kind.TOURING})
    assert KindRule(NORDIC).meet({Kind("nordic")}, {Kind("nordic")})
    rule = KindRule(NORDIC.with_values(kinds_may_meet="nordic+touring"))
    assert rule.meet({Kind("nordic")}, {Kind.TOURING})
    assert not rule.meet({Kind("nordic")}, {Kind.ALPINE})


def test_a_sample_of_a_kind_takes_those_that_are_like_it() -> None:
    assert sample_kinds(NORDIC) == ("alpine", "junior", "snow blade")
    assert sample_kinds(NORDIC.with_values(sample_kinds="nordic")) == ("nordic",)


def test_what_is_no_word_is_no_kind() -> None:
    for text in ("", "K-1", "Nordic", "nordic=touring", "x" * 31):
        with pytest.raises(ValueError, match="is not a valid Kind"):
            Kind(text)
    assert Kind("nordic") is Kind("nordic")
    assert list(Kind) == ["alpine", "touring", "telemark", "junior"]


SKIS = """tag,model,kind,length_cm,waist_mm
N-2,Invented nordic,Nordic,178,70
"""


def test_commands_and_imports_take_the_word_once_it_is_added(command: Command, tmp_path: Path) -> None:
    skis = tmp_path / "skis.csv"
    skis.write_text(SKIS, encoding="utf-8")
    typed = (
        ("import", str(skis), "--apply", "--by", IDA),
        ("correct", "P-4", "kind=nordic", "--why", "it is one", "--by", IDA),
        ("find", "--kind", "nordic"),
        ("kind", "Invented boot", "nordic", "--yes", "--by", IDA),
    )
    assert [command(*words).returncode for words in typed] == [1] * len(typed)
    said = ("--origin", "our rack of 2026", "--yes", "--by", WIM)
    assert command("policy", "set", "kinds", "nordic=touring", *said).returncode == 0
    for words in typed:
        done = command(*words)
        assert done.returncode == 0, (words, done.stdout)
    assert command("ski", "N-2", "--json").json["kind"] == "nordic"
    assert command("audit").returncode == 0


def test_an_export_says_the_kind_and_is_offered_in_the_workbook(command: Command, tmp_path: Path) -> None:
    said = ("--origin", "our rack of 2026", "--yes", "--by", WIM)
    command("policy", "set", "kinds", "nordic=touring", *said)
    command("correct", "P-4", "kind=nordic", "--why", "it is one", "--by", IDA)
    book, blank = tmp_path / "out.xlsx", tmp_path / "blank.xlsx"
    assert command("export", str(tmp_path / "out"), "--xlsx", str(book)).returncode == 0
    assert command("blank", str(blank)).returncode == 0
    for offering in (book, blank):
        offered = [
            validation.formula1
            for sheet in openpyxl.load_workbook(offering)
            for validation in sheet.data_validations.dataValidation
            if "telemark" in validation.formula1
        ]
        assert offered
        assert set(offered) == {'"alpine,touring,telemark,junior,nordic"'}
    back = command("import", str(book), "--json")
    assert (back.returncode, back.json["outcome"]) == (0, "import"), back.stdout
    assert {found["severity"] for found in back.json["findings"]} <= {"note"}
