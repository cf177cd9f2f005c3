"""After a long silence a listed person says once that the clock is right; and a test clock is said aloud."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from fleet.events.settings import ImportAnswered
from fleet.ledger.ledger import Ledger
from planner.cli import session
from planner.cli.main import app
from planner.exchange.intake import answer_key
from tests.counter.shop import IDA, NELL, OLD, Shop

Typed = Callable[..., Result]


@pytest.fixture
def typed(path: Path, monkeypatch: pytest.MonkeyPatch) -> Typed:
    def run(now: str, *words: str, front: tuple[str, ...] = ()) -> Result:
        monkeypatch.setenv("MOUNTBOOK_NOW", now)
        return CliRunner().invoke(app, ["--ledger", str(path), *front, *words])

    return run


STOP = ("quarantine", "P-1", "--why", "fall reported", "--by", NELL)
SIXTY, SIXTY_ONE = "2027-02-25T08:00:00+01:00", "2027-02-26T20:00:00+01:00"


def whats(path: Path) -> list[str]:
    with Ledger.open(path) as ledger:
        return [entry.what for entry in ledger.entries()][-2:]


def test_within_the_shops_days_nobody_is_asked(typed: Typed, path: Path) -> None:
    assert typed(SIXTY, *STOP).exit_code == 0
    assert whats(path)[-1] == "pair quarantined"


def test_after_more_days_a_script_says_so_once(typed: Typed, path: Path) -> None:
    refused = typed(SIXTY_ONE, *STOP)
    assert refused.exit_code == 1
    assert "61 days" in str(refused.exception)
    done = typed(SIXTY_ONE, *STOP, front=("--yes-today",))
    assert done.exit_code == 0
    assert whats(path) == ["day confirmed", "pair quarantined"]
    assert typed(SIXTY_ONE, "quarantine", "P-2", "--why", "the same fall", "--by", IDA).exit_code == 0
    assert "day confirmed" not in whats(path)


def test_at_a_terminal_it_is_asked(typed: Typed, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    monkeypatch.setattr(session, "may_ask", lambda: True)
    monkeypatch.setattr(session, "asked", lambda question: asked.append(question) or "n")
    assert typed(SIXTY_ONE, *STOP).exit_code == 1
    monkeypatch.setattr(session, "asked", lambda question: asked.append(question) or "y")
    assert typed(SIXTY_ONE, *STOP).exit_code == 0
    assert "Fri 26 Feb 2027" in asked[0]
    assert whats(path) == ["day confirmed", "pair quarantined"]


def test_only_a_listed_person_says_it_though_the_list_ran_out_over_the_summer(
    typed: Typed, path: Path
) -> None:
    autumn = "2027-11-02T08:00:00+01:00"
    stranger = typed(autumn, *STOP[:-1], "X", front=("--yes-today",))
    assert (stranger.exit_code, "not on the staff list" in str(stranger.exception)) == (1, True)
    assert typed(autumn, *STOP[:-1], OLD, front=("--yes-today",)).exit_code == 0


def test_an_answer_that_is_taken_back_asks_as_every_entry_does(typed: Typed, shop: Shop, path: Path) -> None:
    wood = "word/ski/construction/wood"
    with shop.desk(IDA) as desk:
        desk.tx.enter(ImportAnswered(key=answer_key(wood), question=wood, answer="wood"))
    back = ("import", "take-back", wood, "--by", IDA)
    assert "61 days" in str(typed(SIXTY_ONE, *back).exception)
    assert typed(SIXTY_ONE, *back, front=("--yes-today",)).exit_code == 0
    assert whats(path) == ["day confirmed", "import answer taken back"]


def test_the_shop_sets_the_days(typed: Typed, shop: Shop, path: Path) -> None:
    shop.policy("quiet_days", "90")
    assert typed(SIXTY_ONE, *STOP).exit_code == 0


def test_reading_is_never_asked(typed: Typed) -> None:
    assert typed("2027-11-02T08:00:00+01:00", "today").exit_code == 0


def test_a_test_clock_is_said_aloud_unless_it_is_silenced(
    typed: Typed, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "MOUNTBOOK_NOW" not in typed(SIXTY, "today").stderr
    monkeypatch.delenv("MOUNTBOOK_NOW_QUIET")
    said = typed(SIXTY, "today")
    assert "the clock of MOUNTBOOK_NOW is in force: 2027-02-25T08:00:00+01:00" in said.stderr
    assert "MOUNTBOOK_NOW" not in said.stdout
