"""Draw the README's pictures from the demo: python -m sample_fleet.pictures DEMO_FOLDER

DEMO_FOLDER is what `mountbook demo` wrote. Pages are photographed by a Chromium on this machine.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from typing import Final
from urllib.parse import quote_plus

import pypdfium2
from PIL import Image, ImageChops

from fleet.base.errors import BadInput
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_fleet
from planner.bench.orders.book import read_orders
from planner.demo import moments
from planner.paper.tablet_page.page import plan_page
from planner.plan.plan_file import read_plan
from planner.plan.values import Rung

INTO: Final = Path(__file__).parent.parent / ".pictures"
WIDTH: Final = 900
"""Pixels; what a README shows without shrinking it."""
PAGES: Final = {
    "page_counter.png": ("counter", "K-003", "B-009"),
    "page_evening.png": ("evening/pair?scan=K-051",),
}
"""Picture -> the page of `mountbook serve` that it shows, and what is scanned there."""
COLOURS: Final = 24
"""Paper needs few colours, and few make a small file."""


def draw(demo: Path, into: Path = INTO) -> list[Path]:
    """Write the pictures of paper and of the served pages; the paths, in the README's order."""
    into.mkdir(exist_ok=True)
    orders = demo / "2_plan" / "work_orders_issued.pdf"
    pictures = {
        "work_order.png": page_of(orders, telling_page(orders)),
        "plan_on_the_tablet.png": tablet_screen(tablet_page(demo)),
        "recheck_list.png": page_of(demo / "4_counter" / "recheck.pdf", 0),
    }
    pages = PAGES | {"page_bench.png": (f"bench/order?name={quote_plus(open_order(demo))}",)}
    with served(demo) as address:
        pictures |= {name: screen_of(f"{address}{page}", *scans) for name, (page, *scans) in pages.items()}
    for name, picture in pictures.items():
        small = picture.quantize(COLOURS, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
        small.save(into / name, optimize=True)
    return [into / name for name in pictures]


def telling_page(pdf: Path) -> int:
    """The first of the single-page orders that drills, reuses and plugs most evenly."""
    texts = [page.get_textpage().get_text_range().lower() for page in pypdfium2.PdfDocument(pdf)]
    marks = [
        min(text.count(word) for word in ("drill", "reuse", "plug")) if "page 1 of 1" in text else 0
        for text in texts
    ]
    return marks.index(max(marks))


def open_order(demo: Path) -> str:
    """The first order that is still open and drills every hole new."""
    with Ledger.open(demo / "mountbook.db") as ledger:
        orders = read_orders(ledger.connection)
    return next(order.name for order in orders if order.planned.way.rung is Rung.ALL_NEW)


def page_of(pdf: Path, number: int) -> Image.Image:
    """One page as a picture of the README's width."""
    document = pypdfium2.PdfDocument(pdf)
    page = document[number]
    return page.render(scale=WIDTH / page.get_width()).to_pil().convert("RGB")


def tablet_page(demo: Path) -> str:
    """The demo's plan as the page for the tablet."""
    plan = read_plan(demo / "2_plan")
    with Ledger.open(demo / "mountbook.db") as ledger:
        fleet = read_fleet(ledger.connection)
    return plan_page(fleet, plan, printed_at=moments.PLAN)[0]


@contextmanager
def served(demo: Path) -> Iterator[str]:
    """Serve the demo's ledger, in the story's evening; the address."""
    with tempfile.TemporaryDirectory() as folder:
        environment = os.environ | {
            "MOUNTBOOK_NOW": moments.EVENING.isoformat(),
            "MOUNTBOOK_NOW_QUIET": "1",
            "XDG_CONFIG_HOME": folder,
        }
        command = ["-m", "planner.cli.main", "--ledger", str(demo / "mountbook.db"), "serve", "--port", "0"]
        with subprocess.Popen(
            [sys.executable, *command], env=environment, stdout=subprocess.PIPE, text=True
        ) as server:
            assert server.stdout is not None
            try:
                yield re.findall(r"https?://\S+", server.stdout.readline())[0]
            finally:
                server.terminate()


def tablet_screen(html: str) -> Image.Image:
    """What a tablet held upright shows first of a page that is a file."""
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "plan.html"
        page.write_text(html, encoding="utf-8")
        return screen_of(page.as_uri())


def screen_of(address: str, *scans: str) -> Image.Image:
    """What a tablet held upright shows first of the page at this address, after these scans."""
    from playwright.sync_api import sync_playwright

    browser = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if browser is None:
        raise BadInput(
            "there is no Chromium on this machine", cure="install one; the pictures stay as they are"
        )
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=browser, args=["--no-sandbox", "--disable-gpu"])
        page = opened.new_page(viewport={"width": WIDTH, "height": 1200})
        page.goto(address, timeout=300_000)
        for code in scans:
            page.keyboard.type(code)
            with page.expect_response("**/scan", timeout=300_000):
                page.keyboard.press("Enter")
            page.wait_for_function("!document.querySelector('#scan').value", timeout=300_000)
        page.wait_for_timeout(500)
        picture = Image.open(BytesIO(page.screenshot())).convert("RGB")
        opened.close()
    paper = Image.new("RGB", picture.size, picture.getpixel((0, picture.height - 1)))
    drawn = ImageChops.difference(picture, paper).getbbox() or (0, 0, *picture.size)
    return picture.crop((0, 0, picture.width, min(picture.height, drawn[3] + 20)))


if __name__ == "__main__":
    for made in draw(Path(sys.argv[1])):
        print(f"{made}: {made.stat().st_size / 1000:.0f} kB")
