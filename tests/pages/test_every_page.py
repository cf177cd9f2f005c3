"""Every page is a whole page: one heading, a title, a label for each field, links that lead somewhere; and
what is refused there says the next step in the page's own words.
"""

from __future__ import annotations

import re
from html.parser import HTMLParser
from urllib.parse import urljoin

import pytest

from fleet.rules.holds import hold
from planner.bench.today import DoneAt
from planner.pages.table import NAVIGATION, page_routes
from tests.counter.shop import IDA, JORY, NELL, WIM, Shop
from tests.pages.browser import PagesBrowser, words_of

BESIDE = ("/evening/sample", "/bench/testers", "/staff", "/desk", "/sign", "/pin", "/let-in", "/nowhere")
OF_THINGS = (
    "/find?boot=B-305",
    "/today/passes?by=Ida+Fennweg",
    "/find/pair?tag=P-1",
    "/find/boot?tag=B-305",
    "/evening/pair?scan=P-1",
    "/bench/order?name=WO-1",
    "/plan/board?plan=none",
    "/inventory/file?id=none",
)
PAGES = (*(page.address for page in NAVIGATION), *BESIDE, *OF_THINGS)
NO_LABEL = ("hidden", "submit", "button")


class Page(HTMLParser):
    """The parts of a page that these tests ask about."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.headings, self.ids, self.links = 0, list[str](), list[str]()
        self.labels_for, self.unlabelled, self.inline = set[str](), list[tuple[str, str]](), list[str]()
        self.title, self._in_label, self._in_title = "", False, False
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        self.headings += tag == "h1"
        self._in_title |= tag == "title"
        self._in_label |= tag == "label"
        self.ids += [said["id"]] if "id" in said else []
        self.inline += [name for name in said if name == "style" or name.startswith("on")]
        if tag == "style" or (tag == "script" and not said.get("src")):
            self.inline.append(tag)
        if tag == "label" and "for" in said:
            self.labels_for.add(said["for"])
        if tag == "a" or (tag == "link" and "href" in said) or (tag == "img"):
            self.links.append(said.get("href") or said.get("src", ""))
        if tag in ("input", "select", "textarea") and said.get("type") not in NO_LABEL and not self._in_label:
            self.unlabelled.append((tag, said.get("id", "")))

    def handle_endtag(self, tag: str) -> None:
        self._in_label &= tag != "label"
        self._in_title &= tag != "title"

    def handle_data(self, data: str) -> None:
        self.title += data if self._in_title else ""


@pytest.fixture
def busy(shop: Shop) -> PagesBrowser:
    """A browser on a shop with a pair on hold, one back and one out."""
    shop.policy("out_without_boot", "yes")
    with shop.desk(JORY) as desk:
        hold(desk, "P-2", why="heel of ski B turned")
    shop.out("P-1", "P-3")
    shop.back("P-3")
    return PagesBrowser.on(shop)


@pytest.mark.parametrize("person", ["", IDA])
@pytest.mark.parametrize("address", PAGES)
def test_a_page_is_whole_and_each_of_its_links_answers(busy: PagesBrowser, address: str, person: str) -> None:
    busy.get("/today")
    if person:
        busy.sign_in(person)
    answer = busy.ask("GET", address)
    assert answer.status_code in (200, 400, 404, 409), address
    page = Page(answer.text)
    assert page.headings == 1
    assert page.title.split(" · ")[0].strip()
    assert page.inline == []
    assert [field for field in page.unlabelled if field[1] not in page.labels_for] == []
    assert len(page.ids) == len(set(page.ids))
    for link in page.links:
        if link.startswith("#"):
            assert link[1:] in page.ids
            continue
        led = busy.ask("GET", urljoin(str(answer.url), link))
        assert led.status_code in (200, 400, 409), link
        if led.status_code != 200:
            assert "REFUSED" in words_of(led.text), link


def test_every_page_of_the_table_is_looked_at() -> None:
    looks = {route.path for route in page_routes() if "GET" in (route.methods or ())}
    led_to = {"/find/thing", "/find/picture.svg", "/bench/branch", "/bench/sheet.svg"}
    led_to |= {"/evening/hold-tag", "/plan/why", "/plan/file"}
    assert {page.address for page in NAVIGATION} <= looks
    assert looks - led_to - {address.partition("?")[0] for address in PAGES} == set()


def test_what_waits_today_leads_to_where_it_is_done(busy: PagesBrowser) -> None:
    """The pair that is back has its own page, and a button to the evening's; no command stands there."""
    html = busy.get("/today")
    [part] = [each for each in html.split("<section") if "back, to be looked at" in each]
    assert 'href="/find/thing?tag=P-3"' in part
    assert 'href="/evening"' in part
    assert "mountbook" not in part
    assert {f"/{at}" for at in DoneAt if at} <= {route.path for route in page_routes()}


def test_a_refused_signature_says_on_a_page_who_signs_in_and_comes_back(busy: PagesBrowser) -> None:
    """No option of a command is named; a click leads to signing in, and from there to the pair again."""
    busy.get("/evening")
    html = busy.post("/evening/look", tag="P-3", wanted="pass")
    assert busy.status == 409
    words = words_of(html)
    assert "nobody is signed in at this desk" in words
    assert "--by" not in words
    assert "one of these signs in" in words
    assert re.search(r'href="/sign\?then=[^"]+">Sign in<', html)
    busy.sign_in(NELL)
    words = words_of(busy.post("/evening/look", tag="P-3", wanted="pass"))
    assert "counter staff" in words, "a person who is signed in reads why this one may not"


@pytest.mark.parametrize(
    ("then", "leads"),
    [
        ("/evening/pair?scan=P-3", "/evening/pair?scan=P-3"),
        ("/bench/check", "/bench"),
        ("//elsewhere.example/", "/today"),
        ("https://elsewhere.example/counter", "/today"),
        ("/\\elsewhere.example", "/today"),
        ("/sign", "/today"),
        ("", "/today"),
    ],
)
def test_signing_in_leads_back_to_a_page_of_ours_and_nowhere_else(
    busy: PagesBrowser, then: str, leads: str
) -> None:
    busy.sign_in(IDA)
    busy.shop.tick()
    answer = busy.ask(
        "POST",
        "/sign/in",
        data={"name": IDA, "pin": "482913", "then": then},
        headers={"origin": "http://127.0.0.1:8010"},
    )
    assert answer.url.host == "127.0.0.1"
    assert answer.url.raw_path.decode() == leads


def test_the_first_signature_of_a_fresh_shop_by_what_the_pages_say(busy: PagesBrowser) -> None:
    """From signing in to the first PIN of the one who decides, then another's, then the look is signed."""
    html = busy.get("/sign")
    assert "Nobody who decides has a PIN yet" in words_of(html)
    assert '<a class="button main" href="/pin">' in html
    form = busy.get("/pin")
    assert re.findall(r"<option>([^<]+)</option>", form) == [WIM], "the manager alone decides"
    refused = busy.post("/pin/set", name=JORY, pin="739152", again="739152")
    assert busy.status == 409
    assert 'href="/pin"' in refused
    said = busy.post("/pin/set", name=WIM, pin="739152", again="739152")
    assert f"The PIN of {WIM} is set" in words_of(said)
    refused = busy.post("/sign/in", name=JORY, pin="482913")
    assert "has no PIN yet" in words_of(refused)
    assert 'href="/pin"' in refused
    form = busy.get("/pin").partition("A badge for the scanner")[0]
    assert re.findall(r"<option>([^<]+)</option>", form).count(JORY) == 1, "not beside as a manager"
    busy.post("/pin/set", name=JORY, pin="482913", again="482913", by=WIM, pin_by="739152")
    words = words_of(busy.post("/sign/in", name=JORY, pin="482913", then="/evening/pair?scan=P-3"))
    assert f"looking: {JORY}" in words
