"""500 work orders as one PDF: processor seconds, memory, bytes; beside as many pages of plain text, same run.

Run: python -m tests.bench.paper_work_orders [COUNT]. The promise: 500 in under 15 s and 200 MiB.
"""

from __future__ import annotations

import resource
import sys
import time
from dataclasses import replace
from io import BytesIO

from planner.paper.shapes import Drawing
from planner.paper.sheet_frame import pdf_of
from planner.paper.work_order import work_order_pdf
from planner.paper.work_order_facts import WorkOrderSheet, work_order_sheet
from tests.bench.rows import row
from tests.paper.invented_shop import PRINTED_AT, crowded, part_reused


def sheets(count: int) -> list[WorkOrderSheet]:
    """Alternating plain and crowded orders, each with its own tag and number."""
    made = [
        work_order_sheet(
            *case(), number="WO", revision="A", proposal=False, plan_hash="9f3ca1e7", printed_at=PRINTED_AT
        )
        for case in (part_reused, crowded)
    ]
    return [
        replace(
            made[n % 2], number=f"WO-2611-{n:04d}", pair=replace(made[n % 2].pair, tag=f"K{n % 9}-{n:04d}")
        )
        for n in range(count)
    ]


def plain_pages(count: int) -> bytes:
    """The reference: the same writer, 60 lines of text a page."""
    pages = []
    for n in range(count):
        d = Drawing()
        for line in range(60):
            d.words(12, 15 + line * 4.4, f"page {n}, line {line}: nothing but text", size=9)
        pages.append(d.page(210, 297))
    return pdf_of(pages, title="plain")


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    orders = sheets(count)
    start = time.process_time()
    reference = plain_pages(count)
    middle = time.process_time()
    data = work_order_pdf(orders)
    end = time.process_time()
    again = work_order_pdf(orders)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    from pypdf import PdfReader

    sys.stdout.write(
        f"{count} work orders: {end - middle:.1f} s, {len(data) / 2**20:.1f} MiB,"
        f" {len(PdfReader(BytesIO(data)).pages)} pages, same bytes again: {data == again}\n"
        f"{count} plain pages: {middle - start:.1f} s, {len(reference) / 2**20:.1f} MiB;"
        f" ratio {(end - middle) / (middle - start):.1f}\n"
        f"peak memory of the process: {peak:.0f} MiB\n"
    )
    row(
        f"{count} work orders as one PDF",
        f"{end - middle:.1f} s, {len(data) / 2**20:.1f} MiB, peak {peak:.0f} MiB",
        f"as many pages of text {middle - start:.1f} s",
        f"{(end - middle) / (middle - start):.1f} x",
    )


if __name__ == "__main__":
    main()
