"""`mountbook serve` as a process: one a ledger, commands beside it, a clean stop, a kill at any moment."""

from __future__ import annotations

import secrets
import signal
import socket
from pathlib import Path

import httpx
import pytest

from fleet.ledger.ledger import Ledger
from planner.pages.desks import desks_file
from tests.counter.shop import Shop
from tests.pages.served import ServeCommand


@pytest.fixture
def place(shop: Shop, tmp_path: Path) -> tuple[Path, Path, Shop]:
    shop.ledger.connection.close()
    return shop.ledger.path, tmp_path / "home", shop


def hold(client: httpx.Client, tag: str, tap: str = "") -> httpx.Response:
    return send(client, tap, line=f"hold {tag} wobbles")


def send(client: httpx.Client, tap: str = "", **fields: str) -> httpx.Response:
    said = {"tap": tap or secrets.token_urlsafe(12), **fields}
    origin = str(client.base_url).rstrip("/")
    return client.post("/counter/scan", data=said, headers={"origin": origin})


def test_one_server_a_ledger_with_commands_beside_it_and_a_clean_stop(
    place: tuple[Path, Path, Shop],
) -> None:
    ledger, home, shop = place
    serve = ServeCommand(ledger, home, now=shop.now)
    try:
        with httpx.Client(base_url=serve.address()) as client:
            assert client.get("/counter").status_code == 200
            assert "HOLD" in hold(client, "P-1").text
            second = serve.beside("serve", "--port", "0")
            assert second.returncode == 1
            assert "the pages of shop.db are served already" in second.stderr
            typed = serve.beside("hold", "P-2", "--why", "typed beside", "--by", "Nell Abres")
            assert typed.returncode == 0, typed.stderr
            assert "typed beside" in send(client, scan="P-2").text, "the page sees what the command entered"
    finally:
        code, out, err = serve.end()
    assert (code, err) == (0, "")
    assert "stopped; every action in the ledger is whole" in out
    again = ServeCommand(ledger, home, now=shop.now)
    assert again.address()
    assert again.end()[0] == 0


def test_a_tap_of_a_killed_server_is_in_the_ledger_or_is_not_and_never_twice(
    place: tuple[Path, Path, Shop],
) -> None:
    """Killed without a word after each answer: what was answered is there; sent again, it is not doubled."""
    ledger, home, shop = place
    taps = [secrets.token_urlsafe(12) for _ in range(2)]
    for tag, tap in zip(("P-1", "P-2"), taps, strict=True):
        serve = ServeCommand(ledger, home, now=shop.now)
        with httpx.Client(base_url=serve.address()) as client:
            client.get("/counter")
            for before in taps[: taps.index(tap)]:
                assert "entered before" in hold(client, "P-1", before).text
            assert "HOLD" in hold(client, tag, tap).text
        serve.end(signal.SIGKILL)
    with Ledger.open(ledger) as opened:
        held = [entry.body["tag"] for entry in opened.entries() if entry.what == "pair held"]
    assert held == ["P-1", "P-2"]


def test_desks_and_pins_stand_with_the_user_s_settings_for_nobody_else_to_read(
    place: tuple[Path, Path, Shop],
) -> None:
    ledger, home, shop = place
    serve = ServeCommand(ledger, home, now=shop.now)
    with httpx.Client(base_url=serve.address()) as client:
        client.get("/counter")
    serve.end()
    kept = desks_file(home / "mountbook", ledger)
    assert kept.stat().st_mode & 0o077 == 0
    assert {path.name for path in ledger.parent.iterdir()} <= {"shop.db", "shop.db.serving", "home"}


def test_files_that_were_brought_are_gone_after_a_stop_and_at_the_start_after_a_kill(
    place: tuple[Path, Path, Shop], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Those of another ledger's server stay."""
    ledger, home, shop = place
    folder = tmp_path / "temporary"
    (folder / "mountbook-brought-of_another").mkdir(parents=True)
    monkeypatch.setenv("TMPDIR", str(folder))

    def bring(serve: ServeCommand) -> None:
        address = serve.address().rstrip("/")
        with httpx.Client(base_url=address) as client:
            client.get("/inventory")
            files = {"file": ("skis.csv", b"tag,length_cm")}
            client.post("/inventory/bring", files=files, headers={"origin": address})
        assert len(list(folder.iterdir())) == 2

    killed = ServeCommand(ledger, home, now=shop.now)
    bring(killed)
    killed.end(signal.SIGKILL)
    assert len(list(folder.iterdir())) == 2
    serve = ServeCommand(ledger, home, now=shop.now)
    bring(serve)
    serve.end()
    assert [each.name for each in folder.iterdir()] == ["mountbook-brought-of_another"]


def test_a_taken_port_and_half_a_certificate_are_said_in_a_sentence(place: tuple[Path, Path, Shop]) -> None:
    ledger, home, shop = place
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        for options, words in (
            (("--port", port), f"port {port} cannot be used"),
            (("--cert", "x.pem"), "a certificate and its key go together"),
            (("--cert", "x.pem", "--key", "x.pem"), "x.pem"),
        ):
            code, out, err = ServeCommand(ledger, home, now=shop.now, options=options).ended()
            assert code == 1
            assert words in err
            assert "Traceback" not in err
            assert out == ""


def test_with_lan_the_machine_shows_a_code_and_its_addresses(place: tuple[Path, Path, Shop]) -> None:
    ledger, home, shop = place
    serve = ServeCommand(ledger, home, now=shop.now, options=("--lan",))
    serve.address()
    code, out, _ = serve.end()
    assert code == 0
    assert "without --cert and --key anybody in this network can read what is sent" in out
    assert "the code for the next tablet, once: " in out
