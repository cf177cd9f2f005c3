"""Draw the README's pictures from the demo: python -m sample_fleet.pictures DEMO_FOLDER

DEMO_FOLDER is what `mountbook demo` wrote. The tablet's page is photographed by a Chromium on this machine.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Final

import pypdfium2
from PIL import Image

from fleet.base.errors import BadInput
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_fleet
from planner.demo import moments
from planner.paper.tablet_page.page import plan_page
from planner.plan.plan_file import read_plan

INTO: Final = Path(__file__).parent.parent / ".pictures"
WIDTH: Final = 900
"""Pixels; what a README shows without shrinking it."""
COLOURS: Final = 24
"""Paper needs few colours, and few make a small file."""


def draw(demo: Path, into: Path = INTO) -> list[Path]:
    """Write the three pictures; the paths, in the README's order."""
    into.mkdir(exist_ok=True)
    orders = demo / "2_plan" / "work_orders_issued.pdf"
    pictures = {
        "work_order.png": page_of(orders, telling_page(orders)),
        "plan_on_the_tablet.png": screen_of(tablet_page(demo)),
        "recheck_list.png": page_of(demo / "4_counter" / "recheck.pdf", 0),
    }
    for name, picture in pictures.items():
        small = picture.quantize(COLOURS, dither=Image.Dither.NONE)
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


def screen_of(html: str) -> Image.Image:
    """What a tablet held upright shows of the page first."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if browser is None:
        raise BadInput(
            "there is no Chromium on this machine", cure="install one; the pictures stay as they are"
        )
    with tempfile.TemporaryDirectory() as folder:
        page, shot = Path(folder) / "plan.html", Path(folder) / "shot.png"
        page.write_text(html, encoding="utf-8")
        command = [
            browser, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
            f"--user-data-dir={folder}/profile", f"--window-size={WIDTH},1200",
            f"--screenshot={shot}", page.as_uri(),
        ]  # fmt: skip
        subprocess.run(command, check=True, capture_output=True, timeout=300)
        return Image.open(shot).convert("RGB")


if __name__ == "__main__":
    for made in draw(Path(sys.argv[1])):
        print(f"{made}: {made.stat().st_size / 1000:.0f} kB")
