"""plan.html: alone in the world, harmless, readable by machine and by a browser."""

from __future__ import annotations

import json
import re
from base64 import b64encode
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from hashlib import sha256
from html import unescape
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pymupdf
import pytest

from planner.paper.cautions import CLAIM, DEFER_ON_A_PAGE, NO_SETTING
from planner.paper.tablet_page.page import plan_page
from planner.plan.values import Rung
from tests.chromium import chromium
from tests.few import first
from tests.paper.invented_shop import PRINTED_AT, whole_plan

__all__ = ["chromium"]
Opener = Callable[..., Any]


@cache
def page() -> str:
    fleet, plan = whole_plan()
    return plan_page(fleet, plan, printed_at=PRINTED_AT)[0]


class Seen(HTMLParser):
    """Every start tag with its attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


def tags(name: str, html: str | None = None) -> list[dict[str, str | None]]:
    seen = Seen()
    seen.feed(html or page())
    return [attributes for tag, attributes in seen.tags if tag == name]


def test_the_same_plan_gives_the_same_bytes() -> None:
    fleet, plan = whole_plan()
    assert plan_page(fleet, plan, printed_at=PRINTED_AT)[0] == page()


def test_the_page_says_proposal_and_its_cautions() -> None:
    assert "<strong>PROPOSAL</strong> not issued: nothing may be drilled from this page" in page()
    assert "No release setting is given" in page()


def test_nothing_is_fetched_and_the_policy_forbids_it() -> None:
    [meta] = [m for m in tags("meta") if m.get("http-equiv")]
    policy = meta["content"] or ""
    assert policy.startswith("default-src 'none'")
    assert "http:" not in policy
    for tag in ("link", "img", "iframe", "object", "embed"):
        assert tags(tag) == []
    assert [s for s in tags("script") if "src" in s] == []
    assert set(re.findall(r"https?://[^\s\"'<]+", page())) == {"http://www.w3.org/2000/svg"}
    assert all((a["href"] or "").startswith("#") for a in tags("a"))


@pytest.mark.parametrize(("what", "rule"), [("style", "style-src"), ("script", "script-src")])
def test_the_policy_names_exactly_what_the_page_carries(what: str, rule: str) -> None:
    inside = re.search(rf"<{what}>(.*?)</{what}>", page(), flags=re.DOTALL)
    assert inside is not None
    digest = b64encode(sha256(inside[1].encode()).digest()).decode()
    assert f"{rule} 'sha256-{digest}'" in page()
    assert not any("style" in attributes for attributes in Seen_all())


def Seen_all() -> list[dict[str, str | None]]:  # noqa: N802
    seen = Seen()
    seen.feed(page())
    return [attributes for _, attributes in seen.tags]


def test_every_table_is_a_real_one() -> None:
    assert len(tags("table")) == page().count("<caption>")
    assert all(th.get("scope") in ("col", "row") for th in tags("th"))


def test_every_touched_set_has_its_order_with_a_drawing_that_is_told_in_words() -> None:
    _, plan = whole_plan()
    touched = [s for s in plan.sets if s.way.rung is not Rung.AS_IS]
    assert [a["data-tag"] for a in tags("article")] == [s.pair for s in touched]
    drawings = tags("svg")
    assert len(drawings) >= len(touched)
    assert all(d["role"] == "img" and "holes to drill" in (d["aria-label"] or "") for d in drawings)


def test_every_link_leads_somewhere_and_no_id_is_there_twice() -> None:
    ids = [a["id"] for a in Seen_all() if a.get("id")]
    assert len(ids) == len(set(ids))
    assert {(a["href"] or "")[1:] for a in tags("a")} <= set(ids)


def test_every_field_has_a_label_and_news_is_read_aloud() -> None:
    assert re.findall(r"<(?:input|select)", page()) == re.findall(r"<label>[^<]+(<(?:input|select))", page())
    assert [o["aria-live"] for o in tags("output")] == ["polite"]


def test_text_from_data_stays_text() -> None:
    fleet, plan = whole_plan()
    bad = replace(plan.unplanned_pairs[0], reason='<script>alert(1)</script>\u202eevil & "quoted"')
    html = plan_page(fleet, replace(plan, unplanned_pairs=(bad,)), printed_at=PRINTED_AT)[0]
    assert "<script>alert" not in html
    assert (
        "&lt;script&gt;alert(1)&lt;/script&gt;\N{REPLACEMENT CHARACTER}evil &amp; &#34;quoted&#34;"
        in html.replace("<wbr>", "")  # where a very long word may go on in the next line
    )
    assert len(tags("script", html)) == 1


@pytest.fixture
def sheet(chromium: Any, tmp_path: Path) -> Iterator[Opener]:
    """Opens a page from a file of its own, in a window of that size; the policy that it says must hold."""
    opened = []

    def open_it(html: str, width: int = 1000, height: int = 1000) -> Any:
        file = tmp_path / "plan.html"
        file.write_text(html, encoding="utf-8")
        window = chromium.new_context(viewport={"width": width, "height": height})
        window.set_default_timeout(120_000)  # a busy machine is slow, not wrong
        one = window.new_page()
        said: list[str] = []
        one.on("console", lambda word: said.append(word.text))
        one.goto(file.as_uri())
        opened.append((window, said))
        return one

    yield open_it
    for window, said in opened:
        window.close()
        assert not any("Content Security Policy" in word for word in said)


def test_a_browser_runs_the_filters_under_the_policy(sheet: Opener) -> None:
    """The script takes `hidden` off the filters and counts the sets: both show in the browser's tree."""
    _, plan = whole_plan()
    html = sheet(page()).content()
    [form] = [f for f in tags("form", html) if f.get("class") == "filters"]
    assert "hidden" not in form
    assert f"{len(plan.sets)} sets</output>" in html


@pytest.mark.parametrize(("device", "width"), [("tablet", 1024), ("phone", 390)])
def test_a_browser_paints_the_page_at_this_width(
    sheet: Opener, tmp_path: Path, device: str, width: int
) -> None:
    """The phone's layout begins below 46 rem."""
    from PIL import Image

    picture = tmp_path / f"{device}.png"
    sheet(page(), width, 900).screenshot(path=picture)
    with Image.open(picture) as image:
        assert image.size == (width, 900)
        amber = sum(
            count
            for count, (red, green, blue) in image.convert("RGB").crop((0, 0, width, 60)).getcolors(10**6)
            or []
            if red > 230 and 150 < green < 220 and blue < 130
        )
        assert amber > width * 10  # the banner stands across the top


MEASURE = """<script>
const wide = [document.documentElement, ...document.querySelectorAll(".scroll, article, .bench > *, table")]
  .filter(e => e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0)
  .map(e => e.tagName + " " + e.className + " " + e.scrollWidth + " > " + e.clientWidth);
const aside = e => e && getComputedStyle(e).position === "absolute";
const out = [...document.querySelectorAll("th, td, dd, li, svg")].filter(e => !aside(e.closest("thead")))
  .filter(e => (b => b.width && (b.right > innerWidth + 1 || b.left < -1))(e.getBoundingClientRect()))
  .map(e => e.tagName + " " + e.textContent.slice(0, 30));
// Where the heads of a table are out of sight, each cell says its own.
const named = e => getComputedStyle(e, "::before").content !== "none";
const mute = [...document.querySelectorAll("table")].filter(t => aside(t.querySelector("thead")))
  .flatMap(t => [...t.querySelectorAll("td")].filter(e => !named(e)).map(e => "no head " + e.textContent));
document.title = "measured " + JSON.stringify(wide.concat(out, mute));
</script></body>"""


def hidden_at(sheet: Opener, html: str, width: int) -> list[str]:
    """What a browser of that width does not show without scrolling sideways. The page's policy forbids our
    script, so it is measured without the policy."""
    bare = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", html)
    measured = sheet(bare.replace("</body>", MEASURE), width).title()
    found = re.fullmatch(r"measured (.*)", measured, flags=re.DOTALL)
    assert found is not None
    return list(json.loads(found[1]))


def long_words() -> str:
    """The plan with names as long as shops have them."""
    fleet, plan = whole_plan()
    tag, boot = plan.sets[1].pair, plan.sets[1].boot
    long = replace(
        fleet.pairs[tag], rack="Cellar, wall 12, upper row", model="An invented ski of the new season"
    )
    fleet = replace(
        fleet,
        pairs=fleet.pairs | {tag: long, "K-123456789" * 4: replace(long, tag="K-123456789" * 4)},
        boots={**fleet.boots, boot: replace(fleet.boots[boot], model="Invented touring boot, wide last")},
    )
    sets = (replace(plan.sets[1], pair="K-123456789" * 4, wish="W-03 north hall"), *plan.sets[1:])
    return plan_page(fleet, replace(plan, sets=sets), printed_at=PRINTED_AT)[0]


@pytest.mark.parametrize("width", first(2, [768, 1280, 810, 1024]))
@pytest.mark.parametrize(
    "which", [page, pytest.param(long_words, marks=pytest.mark.long)], ids=["usual", "long names"]
)
def test_no_column_is_hidden_on_a_tablet(sheet: Opener, which: Callable[[], str], width: int) -> None:
    assert hidden_at(sheet, which(), width) == []


_PRINTED: dict[str, bytes] = {}


def printed(sheet: Opener, html: str) -> pymupdf.Document:
    """The page on paper; one that several tests read is printed once."""
    if html not in _PRINTED:
        _PRINTED[html] = sheet(html).pdf(prefer_css_page_size=True, print_background=True)
    return pymupdf.open(stream=_PRINTED[html])


def plain(text: str) -> str:
    return " ".join(text.split())


def test_every_printed_page_says_proposal_its_cautions_its_ledger_and_its_number(sheet: Opener) -> None:
    pages = list(printed(sheet, page()))
    for number, one in enumerate(pages, start=1):
        text = plain(one.get_text())
        assert "PROPOSAL, not issued: nothing may be drilled from this" in text
        for caution in (DEFER_ON_A_PAGE, NO_SETTING, CLAIM):
            assert caution in text, number
        assert "1284:ab12cd34" in text
        assert f"page {number} of {len(pages)}" in text


@pytest.mark.parametrize("which", [page, long_words], ids=["usual", "long names"])
def test_nothing_of_the_page_is_lost_in_print(sheet: Opener, which: Callable[[], str]) -> None:
    """Every word of every cell is on paper, inside the page, and no two words lie on each other."""
    html = which()
    document = printed(sheet, html)
    everything = "".join("".join(one.get_text().split()) for one in document)
    body = re.sub(r"(?s)<(style|script|nav|form|button|svg)\b.*?</\1>|^.*<body>", "", html)
    body = re.sub(r'<a href="#sets"[^>]*>.*?</a>|<p class="hint">.*?</p>', "", body)
    for said in re.findall(r">([^<]+)<", body):
        words = "".join(unescape(said).split())
        assert words in everything, words
    for one in document:
        for x0, _, x1, _, word, *_ in one.get_text("words"):
            assert x0 >= 20, word
            assert x1 <= one.rect.width - 20, word


def test_every_printed_page_of_an_order_says_its_pair(sheet: Opener) -> None:
    _, plan = whole_plan()
    touched = [s.pair for s in plan.sets if s.way.rung is not Rung.AS_IS]
    pages = [plain(one.get_text()) for one in printed(sheet, page())]
    at = [next(n for n, text in enumerate(pages) if f"{tag} part reused" in text) for tag in touched]
    last = next(n for n, text in enumerate(pages) if "Not served" in text)
    for tag, start, end in zip(touched, at, [*at[1:], last], strict=True):
        for text in pages[start:end]:
            assert f"{tag} · " in text[:200]


def test_a_filtered_list_says_so_in_print(sheet: Opener) -> None:
    """The script chooses a way; the paper must not pass for the whole plan."""
    choose = """<script>
    const way = document.querySelector('[data-filter=way]');
    way.value = way.options[1].value; way.dispatchEvent(new Event("input", {bubbles: true}));
    </script></body>"""
    bare = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page())
    text = plain("".join(one.get_text() for one in printed(sheet, bare.replace("</body>", choose))))
    assert re.search(r"Only \d+ of 23 sets are printed here: the list was filtered", text)
    whole = plain("".join(one.get_text() for one in printed(sheet, page())))
    assert "the list was filtered" not in whole


@pytest.mark.long
def test_the_lists_and_orders_print(sheet: Opener) -> None:
    pages = [one.get_text() for one in printed(sheet, page())]
    assert "PROPOSAL" in pages[0]
    _, plan = whole_plan()
    everything = "\n".join(pages)
    assert all(s.pair in everything for s in plan.sets)
    assert "Print this order" not in everything
