"""An inventory on a page: brought, asked once for what one answer settles, taken in as the command does."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

import pytest

from tests.counter.shop import IDA
from tests.pages.browser import ORIGIN, PagesBrowser, words_of


@pytest.fixture(autouse=True)
def folder_of_the_server(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Files that are brought lie in the test's own folder."""
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))


SKIS = """tag,model,kind,length_cm,waist_mm,construction
N-1,Invented one,alpine,170,80,wood/ti
N-2,Invented one,alpine,176,80,wood/ti
N-3,Invented two,alpine,180,95,no metal
"""


def brought(browser: PagesBrowser, name: str = "skis.csv", content: str = SKIS) -> str:
    """Bring a file; the token under which it waits, "" where it was refused."""
    answer = browser.ask(
        "POST", "/inventory/bring", files={"file": (name, content.encode())}, headers={"origin": ORIGIN}
    )
    found = re.search(r"id=([\w-]+)", str(answer.url))
    return found.group(1) if found else ""


def answers(page: str) -> dict[str, str]:
    """The ids of the questions on a page, by the name of their field."""
    return {
        name: unescape(value) for name, value in re.findall(r'name="(question\d+)" value="([^"]*)"', page)
    }


def test_the_page_of_a_file_names_its_own_fields_and_counts_in_a_table(browser: PagesBrowser) -> None:
    """A missing column is answered above; no option of a command is named, and no row of counts breaks."""
    browser.sign_in(IDA)
    content = "tag,model,length_cm,waist_mm\nN-1,Invented one,170,80\nN-2,Invented one,176,8.1\n"
    page = browser.get(f"/inventory/file?id={brought(browser, content=content)}")
    words = words_of(page)
    assert "no column for kind" in words
    assert "answer it above, or put it right in the file and bring it again" in unescape(words)
    for typed in ("HEADER", "all rows", "VALUE", "“column”"):
        assert typed not in unescape(words)
    assert re.search(r">Questions <span", page)
    assert "Questions (" not in words, "so many questions, and not another number of them"
    [head, *rows] = [
        [cell.strip() for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row)]
        for row in re.findall(r"<tr>(.*?)</tr>", page, re.S)
    ]
    assert head == ["table", "rows", "good", "note", "question", "bad"]
    assert [row[:2] for row in rows] == [["Skis", "2"], ["all", "2"]]


def test_one_question_for_one_word_and_the_file_is_taken_in_as_one_action(browser: PagesBrowser) -> None:
    browser.sign_in(IDA)
    token = brought(browser)
    head = browser.shop.ledger.head.seq
    page = browser.get(f"/inventory/file?id={token}")
    words = words_of(page)
    assert words.count("'wood/ti'") >= 1 or "wood/ti" in words
    [field] = [name for name, identity in answers(page).items() if "wood%2Fti" in identity]
    number = field.removeprefix("question")
    said = browser.post("/inventory/answer", id=token, **answers(page), **{f"typed{number}": "metel"})
    assert browser.status == 400
    assert "metal" in words_of(said)
    assert "word/ski" not in words_of(said), "an id is for programs"
    assert "'metel' is not the construction" in unescape(words_of(said))
    said = browser.post("/inventory/answer", id=token, **answers(page), **{f"typed{number}": "metal"})
    assert "Answered so far: 1" in words_of(said)
    assert "word/ski" not in words_of(said), "what was answered is said as it was asked"
    assert unescape(words_of(said)).count("'wood/ti' stands in") == 1
    assert browser.shop.ledger.head.seq == head, "nothing is in the ledger before"
    done = words_of(browser.post("/inventory/apply", id=token, tap="0123456789abcdef"))
    assert "TAKEN IN" in done
    entries = list(browser.shop.ledger.entries(after=head))
    assert {entry.body["tap"]["id"] for entry in entries} == {"0123456789abcdef"}
    assert {entry.by for entry in entries} == {IDA}
    rows = browser.shop.ledger.connection.execute("SELECT tag, construction FROM pair WHERE tag LIKE 'N-%'")
    found = dict(rows)
    assert found == {"N-1": "metal", "N-2": "metal", "N-3": "no metal"}
    kept = unescape(words_of(browser.get("/inventory")))
    assert "'wood/ti' as construction of a ski: metal , Sun 27 Dec 2026, Ida" in kept, "it is asked no more"


def test_of_a_file_that_cannot_be_read_no_page_says_that_nothing_is_open(browser: PagesBrowser) -> None:
    """Read at a glance it would mean that all is well."""
    browser.sign_in(IDA)
    words = words_of(browser.get(f"/inventory/file?id={brought(browser, 'own.xlsx', 'no workbook')}"))
    assert "Refused" in words
    assert "Nothing is open" not in words


def test_a_desk_with_the_name_of_a_person_takes_nothing_in_unsigned(browser: PagesBrowser) -> None:
    """So named before the person was listed: a page refuses that name today."""
    [desk] = browser.desks.all()
    browser.desks.rename(desk, IDA)
    token = brought(browser)
    head = browser.shop.ledger.head.seq
    assert "nobody has signed in" in words_of(browser.post("/inventory/apply", id=token))
    assert browser.shop.ledger.head.seq == head


@pytest.mark.parametrize(
    ("name", "words"),
    [("photo.png", "is no spreadsheet"), ("../../../etc/passwd", "is no spreadsheet"), ("", "")],
)
def test_what_is_no_spreadsheet_is_refused_in_a_sentence(
    browser: PagesBrowser, name: str, words: str
) -> None:
    answer = browser.ask(
        "POST", "/inventory/bring", files={"file": (name, b"\x89PNG")}, headers={"origin": ORIGIN}
    )
    assert answer.status_code == 400
    assert words in words_of(answer.text)


def test_a_name_with_a_path_stays_in_the_folder_of_the_server(browser: PagesBrowser, tmp_path: Path) -> None:
    token = brought(browser, "..\\..\\outside/../own skis.csv")
    assert token
    kept = browser.app.state.waiting[token].paths[0]
    assert kept.name == "own skis.csv"
    assert kept.resolve().parent.parent == tmp_path.resolve(), "in a folder of its own"
    assert "does not wait here" in words_of(browser.get("/inventory/file?id=../etc"))


def test_the_page_of_a_file_names_no_option_of_a_command_and_says_why_nothing_is_taken_in(
    browser: PagesBrowser,
) -> None:
    """Its own fields and buttons are the way on; a second file that says the same has none."""
    browser.sign_in(IDA)
    html = browser.get(f"/inventory/file?id={brought(browser)}")
    words = unescape(words_of(html))
    assert "2 x unknown_word" in words
    assert "'wood/ti' is not" in words
    for option in ("--", "“ask”", "“apply”", "“marked”", "“leave out”"):
        assert option not in words
    sound = SKIS.replace("wood/ti", "metal")
    browser.post("/inventory/apply", id=brought(browser, content=sound), tap="0123456789abcdef")
    again = words_of(browser.get(f"/inventory/file?id={brought(browser, content=sound)}"))
    assert "Nothing to do: the ledger says all this already." in again
    nothing = words_of(browser.get(f"/inventory/file?id={brought(browser, content='one,two')}"))
    assert "Refused: nothing in it can be used. Nothing was written." in nothing


def test_a_folder_is_made_for_a_file_that_is_brought_and_for_no_look(
    browser: PagesBrowser, tmp_path: Path
) -> None:
    browser.get("/inventory")
    browser.get("/inventory/file?id=none")
    assert list(tmp_path.glob("mountbook-*")) == []
    brought(browser)
    assert len(list(tmp_path.glob("mountbook-*"))) == 1


def test_a_file_that_is_no_workbook_inside_costs_itself(browser: PagesBrowser) -> None:
    token = brought(browser, "broken.xlsx", "not a workbook")
    page = browser.get(f"/inventory/file?id={token}")
    assert browser.status in (200, 400)
    assert "Traceback" not in page


def test_a_file_taken_in_twice_by_one_tap_is_said_to_be_in_the_ledger(browser: PagesBrowser) -> None:
    """The answer was lost on its way: nobody is told to bring the file again."""
    browser.sign_in(IDA)
    token = brought(browser)
    browser.post("/inventory/apply", id=token, tap="0123456789abcdef")
    head = browser.shop.ledger.head.seq
    again = words_of(browser.post("/inventory/apply", id=token, tap="0123456789abcdef"))
    assert (browser.status, browser.shop.ledger.head.seq) == (200, head)
    assert "before" in again
    assert "bring it again" not in again


def test_what_stayed_open_is_answered_from_the_list_without_the_file(
    browser: PagesBrowser, tmp_path: Path
) -> None:
    """The file that was brought is gone from the server's folder; its copy is beside the ledger."""
    browser.sign_in(IDA)
    browser.post("/inventory/apply", id=brought(browser), tap="0123456789abcdef")
    assert "Answer what is open of skis.csv" in words_of(browser.get("/inventory"))
    [path] = tmp_path.glob("mountbook-brought-*/skis.csv")
    path.unlink()
    page = browser.post("/inventory/open", file="skis.csv")
    token = next(iter(browser.app.state.waiting))
    [field] = [name for name, identity in answers(page).items() if "wood%2Fti" in identity]
    typed = {f"typed{field.removeprefix('question')}": "metal"}
    browser.post("/inventory/answer", id=token, **answers(page), **typed)
    browser.post("/inventory/apply", id=token, tap="fedcba9876543210")
    rows = browser.shop.ledger.connection.execute("SELECT tag, construction FROM pair WHERE tag LIKE 'N-%'")
    assert dict(rows) == {"N-1": "metal", "N-2": "metal", "N-3": "no metal"}
    said = words_of(browser.get("/inventory"))
    assert "Answer what is open" not in said
    assert "nothing is open" in said


def test_a_file_of_which_nothing_is_open_is_not_taken_up_again(browser: PagesBrowser) -> None:
    assert "nothing is open" in words_of(browser.post("/inventory/open", file="../../etc/passwd"))
