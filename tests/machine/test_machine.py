"""Every command in random order: door, audit and the model never disagree, and no improper pair goes out."""

from __future__ import annotations

import pytest

from tests.machine.driver import machine, table

QUICK, LONG = 150, 100_000


def test_door_audit_and_model_agree_after_each_of_some_hundred_commands() -> None:
    with machine(2612) as run:
        while run.steps < QUICK:
            run.step()
    assert run.outs >= 5


@pytest.mark.long
def test_door_audit_and_model_agree_after_each_of_a_hundred_thousand_commands(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with machine(2612) as run:
        while run.steps < LONG:
            run.step()
    with capsys.disabled():
        print("\n".join(table(run)))
    assert run.outs >= 5_000
    few = {name for name in run.names if min(run.taken[name], run.refused[name]) < 200}
    assert not few
