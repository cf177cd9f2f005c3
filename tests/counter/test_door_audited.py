"""The door's gates told again by the audit: each entered past the door, as a hole in it might have done."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest

from fleet.audit.full import audit_file
from fleet.checks.findings import RULE_CODES
from tests.counter.shop import IDA, JORY, NELL, Shop

ALPINE = "gate_release_test_alpine"


def out(shop: Shop, tag: str = "P-1", **more: object) -> None:
    """The body as it is written today."""
    body = {"boot": "B-305", "due": None, "fit": "fits", "sole_um": 305_000, "set_entry": None}
    shop.enter("pair out", {"tag": tag} | body | more, by=NELL)


def without_boot(shop: Shop) -> None:
    shop.policy("out_without_boot", "no")
    old = {"tag": "P-2", "boot": None, "due": None, "fit": "fit not checked"}
    shop.enter("pair out", old, by=NELL)  # layout 2, which had no such rule
    out(shop, boot=None, sole_um=None)


def own_without_type(shop: Shop) -> None:
    out(shop, "P-2", boot=None, own_boot="75 mm")
    out(shop, boot=None, own_boot=" ")


def held_boot(shop: Shop) -> None:
    shop.enter("boot held", {"tag": "B-305"}, by=NELL)
    out(shop)


def missing_boot(shop: Shop) -> None:
    shop.enter("boot moved", {"tag": "B-305", "to": "missing"}, by=NELL)
    out(shop)


def boot_of_another_kind(shop: Shop) -> None:
    shop.enter("model kind stated", {"thing": "boot", "model": "Invented boot", "kind": "touring"}, by=IDA)
    out(shop)


def binding_of_another_kind(shop: Shop) -> None:
    model = {"thing": "binding", "model": "Lark 4 binding", "kind": "telemark"}
    shop.enter("model kind stated", model, by=IDA)
    out(shop)


def release_tests(shop: Shop, tag: str, *, but: str = "", outcome: str = "passed") -> None:
    for side, piece in (("A", "toe"), ("A", "heel"), ("B", "toe"), ("B", "heel")):
        if f"{side} {piece}" != but:
            said = {"tag": tag, "side": side, "piece": piece, "device": "bench 1", "result": "as its sheet"}
            shop.enter("release test recorded", said | {"outcome": outcome}, by=JORY)


def untested(shop: Shop) -> None:
    shop.policy(ALPINE, "work")
    release_tests(shop, "P-2")
    release_tests(shop, "P-1", but="B heel")
    out(shop, "P-2", boot="B-310", sole_um=305_000)
    out(shop)


def failed(shop: Shop) -> None:
    shop.policy(ALPINE, "season")
    release_tests(shop, "P-1", outcome="failed")
    out(shop)


def worked_on_since(shop: Shop) -> None:
    shop.policy(ALPINE, "work")
    release_tests(shop, "P-1")
    shop.enter("binding changed", {"binding_id": "P-1/A", "changes": {"season": ["2025", "2026"]}})
    shop.set_binding("P-1", 305)
    shop.look("P-1", by=IDA)
    out(shop)


def set_since(shop: Shop) -> None:
    shop.policy(ALPINE, "setting")
    release_tests(shop, "P-1")
    shop.set_binding("P-1", 305)
    out(shop)


PAST_THE_DOOR: dict[str, tuple[Callable[[Shop], None], str, str]] = {
    "no boot": (without_boot, "out without a boot", "P-1 without a boot, and out_without_boot is no"),
    "own boot of no type": (
        own_without_type,
        "own boot without a sole type",
        "P-1 with a customer's own boot whose sole type nobody said",
    ),
    "held boot": (held_boot, "out with a stopped boot", "P-1 with boot B-305, which was on hold"),
    "missing boot": (missing_boot, "out with a stopped boot", "P-1 with boot B-305, which was missing"),
    "boot of another kind": (
        boot_of_another_kind,
        "out with another kind",
        "P-1 with boot B-305: their kinds differ and may not meet: alpine, touring",
    ),
    "binding of another kind": (
        binding_of_another_kind,
        "out with another kind",
        "P-1 with boot B-305: their kinds differ and may not meet: alpine, telemark",
    ),
    "one piece untested": (
        untested,
        "out without a release test",
        f"P-1 and no release test of ski B heel counts, as {ALPINE} asks",
    ),
    "failed": (failed, "out without a release test", "ski A heel, ski A toe, ski B heel, ski B toe counts"),
    "worked on since": (worked_on_since, "out without a release test", "no release test of ski A heel, "),
    "set since": (set_since, "out without a release test", "no release test of ski A heel, "),
}


def rules_asked(shop: Shop) -> list[tuple[str, str, int | None]]:
    found = audit_file(shop.ledger.path, now=shop.now + timedelta(minutes=1)).findings
    return [(f.code, f.sentence, f.entry) for f in found if f.code in RULE_CODES]


@pytest.mark.parametrize("name", PAST_THE_DOOR)
def test_what_went_past_a_gate_is_asked_and_names_its_entry(shop: Shop, name: str) -> None:
    enter, code, words = PAST_THE_DOOR[name]
    enter(shop)
    [(found, sentence, entry)] = rules_asked(shop)
    assert (found, entry) == (code, shop.ledger.head.seq)
    assert words in sentence


def test_what_the_rules_let_out_is_no_question(shop: Shop) -> None:
    shop.policy("kinds_may_meet", "touring+alpine")
    shop.policy(ALPINE, "season, work, setting")
    release_tests(shop, "P-1")
    boot_of_another_kind(shop)
    shop.policy("out_without_boot", "yes")
    out(shop, "T-1", boot=None, sole_um=None)  # telemark: its gate is off
    assert rules_asked(shop) == []


def test_a_setting_of_the_same_going_out_is_not_asked_about(shop: Shop) -> None:
    """The door lets it go, set for its boot there and then."""
    shop.policy(ALPINE, "setting")
    release_tests(shop, "P-1")
    shop.set_binding("P-1", 310)
    out(shop, boot="B-310", sole_um=310_000, set_entry=shop.ledger.head.seq)
    assert rules_asked(shop) == []
