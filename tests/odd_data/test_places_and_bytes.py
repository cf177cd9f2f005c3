"""Files where none can be, tags that look like paths, bytes that are no text: a sentence, nothing outside."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import pytest

from fleet.base.errors import BadInput
from planner.paper.issued_sheets import sheets_file
from tests.few import first
from tests.imports.books import BOOT, WANTED
from tests.odd_data.front_door import BARE, FrontDoor

WRITES: dict[str, tuple[str, ...]] = {
    "plan": ("plan", "--out"),
    "labels": ("labels", "--out"),
    "recheck": ("recheck", "print", "--out"),
    "prep": ("prep", "shop", "--out"),
    "hole map": ("hole-map", "K-001", "--out"),
    "case": ("case", "K-001", "--out"),
    "export": ("export",),
    "bench": ("bench", "plan", "--from", "2026-11-26", "--to", "2026-12-04", "--out"),
    "blank": ("blank",),
    "printer": ("printer", "sheet", "--out"),
    "backup": ("backup",),
}
PATHS = {
    "a device": "/dev/null",
    "a ledger": "mountbook.db",
    "below a file": "mountbook.db/inside",
    "no such place": "/proc/nobody/may/write/here",
    "a name that is too long": "x" * 300,
}


@pytest.mark.parametrize(
    ("name", "place"),
    first(
        len(WRITES),
        [(name, [*PATHS][(at + step) % len(PATHS)]) for step in range(5) for at, name in enumerate(WRITES)],
    ),
)
def test_a_place_that_cannot_be_written_is_a_sentence_and_stays_as_it_is(
    rented: FrontDoor, name: str, place: str
) -> None:
    before = sorted(path.name for path in rented.folder.iterdir())
    device = Path("/dev/null").stat()
    said = rented(*WRITES[name], PATHS[place])
    assert said.code == 1
    assert said.err.count("\n") <= 3
    assert sorted(path.name for path in rented.folder.iterdir()) == before
    assert Path("/dev/null").stat().st_rdev == device.st_rdev, "a device is no file to be replaced"
    assert rented("audit").code == 0, "the ledger is no file to be replaced either"


OTHERS = {
    "a letter": b"Dear Wim",
    "somebody's PDF": b"%PDF-1.4 our price list",
    "a workbook": b"PK\x03\x04 own",
}


@pytest.mark.parametrize("name", ["labels", "recheck", "prep", "hole map", "printer"])
@pytest.mark.parametrize("other", OTHERS)
def test_a_file_that_is_no_sheet_of_ours_is_never_written_over(
    rented: FrontDoor, name: str, other: str
) -> None:
    """A sheet of ours is, as every evening: also the empty file that another program made ready."""
    own = rented.folder / "own.pdf"
    own.write_bytes(OTHERS[other])
    said = rented(*WRITES[name], "own.pdf")
    assert (said.code, own.read_bytes()) == (1, OTHERS[other])
    assert "own.pdf is there already and was not made by mountbook" in said.err
    own.write_bytes(b"")
    for _ in range(2):
        assert rented(*WRITES[name], "own.pdf").code == 0
    assert own.read_bytes().startswith(b"%PDF")


def test_where_a_workbook_stands_in_the_way_the_drawing_beside_it_is_not_made_either(
    rented: FrontDoor,
) -> None:
    own = rented.folder / "rates.xlsx"
    own.write_bytes(b"PK\x03\x04 own")
    said = rented("loosens", "--svg", "curve.svg", "--xlsx", "rates.xlsx")
    assert (said.code, own.read_bytes()) == (1, b"PK\x03\x04 own")
    assert not (rented.folder / "curve.svg").exists()


def test_a_blank_workbook_is_never_written_over_one_that_may_be_filled_in(door: FrontDoor) -> None:
    assert door("blank", "own.xlsx").code == 0
    before = (door.folder / "own.xlsx").read_bytes()
    assert "is there already" in door("blank", "own.xlsx").err
    assert (door.folder / "own.xlsx").read_bytes() == before


@pytest.mark.parametrize("typed", ["export csv --xlsx", "loosens --xlsx", "import skis.csv --apply --marked"])
def test_no_workbook_is_written_over_one_that_the_shop_keeps(rented: FrontDoor, typed: str) -> None:
    """Its inventory, or an export in which somebody wrote: their bytes do not tell which. Nothing is done."""
    (rented.folder / "skis.csv").write_text("tag,model,kind,length_cm\nQ-1,Model 1,,170\n", encoding="utf-8")
    own = rented.folder / "own.xlsx"
    assert rented("export", "--xlsx", "own.xlsx").code == 0
    before = own.read_bytes()
    said = rented(*typed.split(), "own.xlsx")
    assert (said.code, own.read_bytes()) == (1, before), said.all
    assert not (rented.folder / "csv").exists()
    assert rented("ski", "Q-1").code == 1
    assert "own.xlsx is there already, and may be filled in" in said.err
    assert "give it a new name" in said.err


@pytest.mark.parametrize(
    "name", [*WRITES, "order issue", "workbook", pytest.param("demo", marks=pytest.mark.long), "own fault"]
)
def test_a_full_temporary_folder_or_disk_is_a_sentence(
    rented: FrontDoor, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What needs room there says that there is none; what needs none is done."""
    more = {
        "order issue": ("order", "issue", "p"),
        "workbook": ("export", "--xlsx"),
        "demo": ("demo", "--out"),
    }
    rented("plan", "--out", "p")

    def full(*_: Any, **__: Any) -> Any:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    for maker in ("mkstemp", "mkdtemp", "NamedTemporaryFile", "TemporaryFile"):
        monkeypatch.setattr(tempfile, maker, full)
    monkeypatch.setattr(Path, "write_bytes", full)
    monkeypatch.setattr("planner.paper.plan_folder.sync_file", full)
    if name == "own fault":
        monkeypatch.setattr("planner.cli.session.open_ledger", lambda: 1 // 0)
        said = rented("order", "list", may_fault=True)
        assert "its trace could not be kept (No space left on device)" in said.err
        return
    typed = (more | WRITES)[name]
    said = rented(*typed, *(() if name == "order issue" else ("new_place",)))
    assert said.code == 0 or "No space left on device" in said.err
    assert [path.name for path in rented.folder.iterdir() if path.name.startswith(".")] == []


@pytest.fixture
def only_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that refuses to take away even what is not there: EROFS of unlink(2)."""

    def refuse(*_: Any, **__: Any) -> Any:
        raise OSError(errno.EROFS, os.strerror(errno.EROFS), ".0123.mountbook-unfinished")

    for name in ("write_bytes", "unlink"):
        monkeypatch.setattr(Path, name, refuse)


@pytest.mark.parametrize("name", ["labels", "blank", "recheck"])
def test_a_disk_that_may_only_be_read_is_a_sentence_about_the_place_that_was_asked_for(
    rented: FrontDoor, name: str, only_read: None
) -> None:
    said = rented(*WRITES[name], "new_place")
    assert said.code == 1
    assert said.err.startswith("mountbook: cannot write new_place: Read-only file system\n")


def test_issued_sheets_are_not_begun_on_a_disk_that_may_only_be_read(tmp_path: Path, only_read: None) -> None:
    with pytest.raises(BadInput, match=f"cannot write into {tmp_path}: Read-only file system"):
        sheets_file(tmp_path, b"%PDF")


@pytest.mark.parametrize("kind", ["file", "folder"])
def test_what_a_killed_command_left_is_named_by_audit_and_cleaned_by_the_next_that_writes_there(
    rented: FrontDoor, kind: str
) -> None:
    """An hour old: what is younger may be another command at work."""
    killed = {
        "file": "from planner.exchange.export.whole_file import whole_file\n"
        "with whole_file(Path('t.pdf')) as beside: beside.write_bytes(b'x'); os._exit(9)",
        "folder": "import planner.paper.plan_folder as place\n"
        "place.sync_file = lambda *_: os._exit(9)\n"
        "place.put_folder(Path('new'), {'plan.json': b'x'}, others=(), last='plan.json')",
    }
    for _ in range(2):
        run = [sys.executable, "-c", f"import os; from pathlib import Path; {killed[kind]}"]
        assert subprocess.run(run, cwd=rented.folder, check=False, env=HERE).returncode == 9
    young, old = sorted(path for path in rented.folder.iterdir() if path.name.startswith("."))
    os.utime(old, (time.time() - 3601,) * 2)
    assert not rented.folder.joinpath("t.pdf").exists()
    named = rented("audit").out
    assert f"{old.name} was left by a command that was killed" in " ".join(named.split())
    assert young.name not in named
    assert rented("recheck", "print", "--out", "tonight.pdf").code == 0
    assert [path for path in rented.folder.iterdir() if path.name.startswith(".")] == [young]


HERE = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
PATH_TAGS = ["../x", "a/b", "/etc/x", "CON", "-rf", "--json", "../..7", "K:1", "c d"]


def test_a_tag_that_looks_like_a_path_or_an_option_is_a_tag_and_nothing_is_written_outside(
    tmp_path: Path,
) -> None:
    (tmp_path / "shop").mkdir()
    door = FrontDoor(tmp_path / "shop")
    door.begin(Skis=[BARE | {"tag": tag} for tag in PATH_TAGS], Wanted=[WANTED | {"quantity": 20}],
               Boots=[BOOT | {"tag": f"B-{n}", "bsl_mm": 305} for n in range(9)])  # fmt: skip
    assert door("plan", "--out", "p", "--html").code == 0
    assert door("order", "issue", "p").code == 0
    for typed in (["labels"], ["export", "csv"], ["export", "--xlsx", "all.xlsx"], ["recheck", "print"]):
        assert door(*typed).code == 0
    for tag in PATH_TAGS:
        for typed in (["case"], ["ski"], ["hole-map"], ["prep", "print"], ["life"], ["hold", "--why", "x"]):
            said = door(*typed, "--", tag)
            assert said.code == 0, (typed, tag, said.all)
    assert [path.name for path in tmp_path.iterdir()] == ["shop"]
    cases = {path.name for path in door.folder.iterdir() if path.name.startswith("case-")}
    assert len(cases) == len(PATH_TAGS), "each in a folder of its own"
    assert not Path("/etc/x").exists()


BROKEN = "bad \udcff\udcfe byte"
"""What Python makes of bytes on the command line that are no UTF-8."""


@pytest.mark.parametrize(
    "typed",
    [
        ("hold", BROKEN, "--why", "x"),
        ("hold", "K-001", "--why", BROKEN),
        ("hold", "K-001", "--why", "x", "--by", BROKEN),
        ("back", "K-001", "--said", BROKEN),
        ("out", BROKEN),
        ("out", "K-003", "--boot", BROKEN),
        ("case", BROKEN),
        ("ski", BROKEN),
        ("why", "K-001", BROKEN),
        ("staff", "add", BROKEN, "--role", "technician", "--until", "2027-01-01"),
        ("policy", "set", "spacing_mm", "11", "--origin", BROKEN),
        ("recall", "open", "R", "--pattern", "T4/H4", "--source", BROKEN),
        ("correct", "K-001", f"rack={BROKEN}", "--why", "x"),
        ("labels", BROKEN),
        ("order", "done", BROKEN),
    ],
    ids=" ".join,
)
@pytest.mark.parametrize("json", [False, True])
def test_a_byte_that_is_no_text_is_refused_in_a_sentence_and_nothing_is_entered(
    rented: FrontDoor, typed: tuple[str, ...], json: bool
) -> None:
    before = (rented.folder / "mountbook.db").read_bytes()
    said = rented(*typed, *(["--json"] if json else []))
    assert said.code == 1
    assert said.json["refused"] if json else said.err.startswith("mountbook: ")
    assert (rented.folder / "mountbook.db").read_bytes() == before


def test_a_scanners_byte_that_is_no_text_is_shown_and_stops_neither_the_line_nor_the_next(
    rented: FrontDoor,
) -> None:
    said = rented("counter", given=b"K-\xff1\nK-001 fell \xfe twice\n\xff\xfe\nK-002\r\nquit\n")
    assert said.code == 0
    assert said.out.splitlines()[0].startswith("REFUSED  there is no pair K-\N{REPLACEMENT CHARACTER}1")
    assert "K-002  BACK" in said.out
    listed = rented("recheck", "list").out
    assert "renter: “fell \N{REPLACEMENT CHARACTER} twice”" in listed
    assert rented("recheck", "record", "--file", "-", "--all", "not-moved", given=b"K-\xff\n").code == 1
    assert rented("stocktake", "-", given=b"K-001\n\xff\n").code == 1


FILES_READ = {
    "tags.txt": ("stocktake",),
    "look.txt": ("recheck", "record", "--all", "not-moved", "--file"),
    "patterns.csv": ("pattern", "check"),
    "survey.csv": ("survey", "K-001", "--from"),
    "rentals.csv": ("wanted", "--from"),
    "inventory.csv": ("import",),
    "plan.json": ("order", "issue"),
}


@pytest.mark.parametrize("name", FILES_READ)
@pytest.mark.parametrize(
    "content", [b"\xff\xfe\xff", b"", b"\x00" * 100, b"[" * 100_000, b"a,b\n" + b"9" * 140_000, b'"\n\r"\r']
)
def test_a_file_of_odd_bytes_is_refused_in_a_sentence(rented: FrontDoor, name: str, content: bytes) -> None:
    (rented.folder / name).write_bytes(content)
    assert rented(*FILES_READ[name], name).code == 1


def test_no_sheet_of_an_earlier_plan_stays_beside_a_new_one_and_nobodys_own_file_goes(
    rented: FrontDoor,
) -> None:
    place = rented.folder / "p"
    place.mkdir()
    for name in ("work_orders.pdf", "plan.json", "work_orders_issued.pdf", "notes.txt"):
        (place / name).write_text("earlier", encoding="utf-8")
    assert rented("plan", "--out", "p").code == 0
    assert rented.plan_json()["sets"], "each as it is: nothing to draw an order for"
    left = {path.name for path in place.iterdir()}
    assert left == {"plan.json", "plan.xlsx", "season_prep.pdf", "work_orders_issued.pdf", "notes.txt"}
    assert (place / "notes.txt").read_text(encoding="utf-8") == "earlier"
