"""Whatever stands in a tag, a model, a rack or a remark: the evening's list and the labels are printed."""

from __future__ import annotations

from pathlib import Path

import pytest
import zxingcpp
from PIL import Image
from pymupdf import csGRAY, open as open_pdf

from planner.paper.shapes import Face, printable, shortened, width_mm, wrapped
from tests.imports.books import BOOT, WANTED
from tests.odd_data.front_door import BARE, FrontDoor

ODD_TEXTS = {
    "a pictograph": ("stürzte \U0001f3bf zweimal", "stürzte [U+1F3BF] zweimal"),
    "kanji and kana": ("Ridge 雪 と渡邉・齋藤", "Ridge 雪 と渡邉・齋藤"),
    "kana with its mark apart, and narrow": ("か\u3099 ｽｷｰ", "が ｽｷｰ"),
    "a sign that no face has between two that one has": ("雪\U0001f3bf雪", "雪[U+1F3BF]雪"),
    "letters of a script that no face has": ("Ridge \uc2a4\ud0a4", "Ridge [U+C2A4][U+D0A4]"),
    "a composed and a combining accent": ("e\u0301 and o\u0323\u0302", "é and ộ"),
    "from right to left": ("\u05d0\u05d1", "[U+05D0][U+05D1]"),
    "a turned direction": ("a\u202eb\u2066c", "a[U+202E]b[U+2066]c"),
    "a control character": ("a\x07b", "a[U+0007]b"),
    "a line break and a tab": ("first\nsecond\tthird", "first second third"),
    "a soft hyphen and no character": ("a\u00adb\uffff", "a[U+00AD]b[U+FFFF]"),
}


NAMES = [
    "Łukasz Źdźbłowski, Šárka Křížová, Čedomir Žnidaršič Đ",
    "Åse Ødegård, Jörg Weiß, Éloïse Lefèvre, Niccolò Piùmìn, Begoña Íñiguez Güell, Håkan Sjöö",
    "Ελένη Παπαδοπούλου-Ξ, ΐ ΰ Ώ",
    "Юрій Їжак, Анна Ёлкина, Ђорђе Љубић",
    "小林 さくら, タカハシ ケン, 髙橋・渡邉・山﨑・齋藤〜①",
]
"""Letters of the ten languages in which headers are read, of Greek and Cyrillic; the people are invented."""


@pytest.mark.parametrize("face", list(Face))
def test_names_print_as_themselves(face: Face) -> None:
    """In each face, without a code."""
    for name in NAMES:
        assert printable(name, face) == name


@pytest.mark.parametrize("text", ["雪雪雪", "a雪b", "雪" * 40, "Ｋ－１"])
def test_the_room_that_a_text_of_two_faces_takes_is_known(text: str) -> None:
    """A kanji is as wide as the type is large; ours is measured as it is drawn."""
    wide = sum(ord(char) > 0x2E80 for char in text) * 10 * 25.4 / 72
    ascii_only = "".join(char for char in text if char.isascii())
    assert width_mm(text, Face.SANS, 10) == pytest.approx(wide + width_mm(ascii_only, Face.SANS, 10))
    for line in wrapped(text, Face.BOLD, 10, 20):
        assert width_mm(line, Face.BOLD, 10) <= 20


@pytest.mark.parametrize("name", ODD_TEXTS)
def test_the_evenings_list_prints_whatever_the_renter_said(rented: FrontDoor, name: str) -> None:
    said, printed = ODD_TEXTS[name]
    assert rented("back", "K-001", "--said", said).code == 0
    assert rented("back", "K-002").code == 0
    assert rented("recheck", "print", "--out", "tonight.pdf").code == 0
    [page] = rented.pages("tonight.pdf")
    assert printed in page
    assert "K-001" in page
    assert "K-002" in page


FORGED = "heel loose\n  K-002  ready         passed\r\n\tK-003\u2028out"


def test_a_remark_of_several_lines_is_one_line_on_every_screen(rented: FrontDoor) -> None:
    """Else a renter's words could look like a row of the list, or a pass."""
    shown = "heel loose ⏎   K-002  ready         passed ⏎  K-003"
    rented("back", "K-001", "--said", FORGED)
    for typed in (["recheck", "list"], ["ski", "K-001"]):
        lines = rented(*typed).out.splitlines()
        assert sum(shown in line for line in lines) == 1, typed
        assert not [line for line in lines if line.split()[:1] == ["K-002"] and "ready" in line], typed
    rented("hold", "K-001", "--why", FORGED)
    assert shown in rented("out", "K-001").err
    assert len(rented("counter", "--mode", "out", given="K-001\n").out.splitlines()) == 1


LONG_TAGS = [
    "FLEET-2026-0417",  # one character more than the smallest code holds
    "lower-case-2026-0417",
    "ALPINE-HALL-TWO-SHELF-17-PAIR-2026-0000417",
    "Kéß-17",
    "K-\u05d0\u05d1",
    "\u96ea-\u96ea-0017",
]


@pytest.fixture(scope="module")
def long_tagged(tmp_path_factory: pytest.TempPathFactory) -> FrontDoor:
    made = FrontDoor(tmp_path_factory.mktemp("long"))
    made.begin(
        Skis=[BARE | {"tag": tag} for tag in [*LONG_TAGS, "K-1"]],
        Wanted=[WANTED | {"quantity": 20}],
        Boots=[BOOT | {"tag": f"BOOT-OF-THE-HALL-2026-{n:04}", "bsl_mm": 305} for n in range(9)],
    )
    assert made("plan", "--out", "p").code == 0
    assert made("order", "issue", "p").code == 0
    return made


def codes(file: Path, dpi: int = 300) -> list[str]:
    """Every code on every page, as a scanner reads it."""
    found = []
    for page in open_pdf(file):
        sheet = page.get_pixmap(dpi=dpi, colorspace=csGRAY)
        picture = Image.frombytes("L", (sheet.width, sheet.height), sheet.samples)
        found += [code.text for code in zxingcpp.read_barcodes(picture)]
    return found


SHEETS = {
    "p/work_orders_issued.pdf": ("order", "issue", "p"),
    "p/season_prep.pdf": ("plan", "--out", "p"),
    "labels.pdf": ("labels", *LONG_TAGS, "--one-a-pair", "--out", "labels.pdf"),
    "prep.pdf": ("prep", "print", *LONG_TAGS, "--out", "prep.pdf"),
    "maps.pdf": ("hole-map", *LONG_TAGS, "--out", "maps.pdf"),
    "templates.pdf": ("template", "--plan", "p", *LONG_TAGS, "--out", "templates.pdf"),
}


@pytest.mark.parametrize(
    "file", [pytest.param(f, marks=pytest.mark.long) if f == "templates.pdf" else f for f in SHEETS]
)
def test_a_long_or_odd_tag_stands_whole_on_every_sheet_and_its_code_reads(
    long_tagged: FrontDoor, file: str
) -> None:
    assert long_tagged(*SHEETS[file]).code == 0
    read = codes(long_tagged.folder / file)
    assert [tag for tag in LONG_TAGS if not any(tag == code or f"/{tag}/" in code for code in read)] == []
    shown = "".join(long_tagged.pages(file)).replace(" ", "")
    for tag in LONG_TAGS:
        assert printable(tag, Face.MONO_BOLD) in shown


def test_a_tag_that_no_label_holds_is_named_and_the_others_are_printed(door: FrontDoor) -> None:
    endless = "\U0001f3bf" * 40 + "7"
    door.begin(Skis=[BARE | {"tag": tag} for tag in ("K-1", endless, "K-3")])
    said = door("labels", "--out", "labels.pdf")
    assert said.code == 1
    assert f"NOT PRINTED: label {endless} A: " in said.err
    assert "use a larger label" in said.err
    printed = [code for code in codes(door.folder / "labels.pdf") if not code.startswith("HEAD ")]
    assert printed == ["K-1 A", "K-1 B", "K-3 A", "K-3 B"]
    plan = door("plan", "--out", "p")
    assert plan.code == 1
    [row] = door.plan_json()["not_drawn"][:1]
    assert (row["what"], row["name"]) == ("work order", endless)
    assert "too long to stand whole" in row["reason"]
    assert "NOT DRAWN" in plan.err
    assert "K-1" in " ".join(door.pages("p/work_orders.pdf"))


@pytest.mark.parametrize(
    "text", ["Quern Ridge 93 · 178 cm", "\U0001f3bf" * 300, "x" * 20_000, "a b " * 500, "W"]
)
@pytest.mark.parametrize("room", [0.5, 3.0, 11.0, 40.0])
def test_a_text_is_cut_where_its_room_ends_and_broken_without_losing_a_character(
    text: str, room: float
) -> None:
    shown = shortened(text, Face.SANS, 8, room)
    kept = shown.removesuffix("…")
    assert text.startswith(kept)
    if shown != text:
        assert width_mm(shown, Face.SANS, 8) <= room or shown == "…"
        longer = f"{text[: len(kept) + 2].rstrip()}…"
        assert width_mm(longer, Face.SANS, 8) > room, "two more would not have fitted"
    lines = wrapped(text, Face.SANS, 8, room)
    assert all(width_mm(line, Face.SANS, 8) <= room or len(line) == 1 for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_no_text_is_corrected_to_one_that_no_import_would_take(rented: FrontDoor) -> None:
    assert rented("correct", "K-001", f"rack={'y' * 500}", "--why", "x").code == 0
    assert "has 501 characters" in rented("correct", "K-001", f"rack={'y' * 501}", "--why", "x").err
