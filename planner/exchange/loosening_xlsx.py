"""The loosening figures as a workbook: rates and curve. Text is written as text, so nothing can run."""

from collections.abc import Sequence

from fleet.rules.loosening.record import Rate
from fleet.rules.loosening.survival import SurvivalStep
from imports.new_workbook import looks, new_workbook


def loosening_xlsx(rates: Sequence[Rate], steps: Sequence[SurvivalStep], *, group: str) -> bytes:
    """The workbook's bytes: sheets ``rates`` and ``curve``, the latter with a chart."""
    with new_workbook() as (book, out):
        formats = looks(book, percent={"num_format": "0.00%"})
        bold, percent = formats["bold"], formats["percent"]
        sheet = book.add_worksheet("rates")
        sheet.write_row(0, 0, [group, "moved", "looks", "rate", "low (5 %)", "high (95 %)", "verdict"], bold)
        for row, rate in enumerate(rates, start=1):
            sheet.write_row(row, 0, [rate.group, rate.moved, rate.looks])
            sheet.write_row(row, 3, [rate.shrunk, rate.low, rate.high], percent)
            sheet.write_string(row, 6, rate.verdict.value)
        sheet.freeze_panes(1, 0)
        sheet.set_column(0, 0, 28)
        sheet.set_column(6, 6, 22)
        drawn = book.add_worksheet("curve")
        drawn.write_row(0, 0, ["days out", "at risk", "moved", "not moved yet", "standard error"], bold)
        for row, step in enumerate(steps, start=1):
            drawn.write_row(row, 0, [step.day, step.at_risk, step.moved])
            drawn.write_row(row, 3, [step.still, step.error], percent)
        drawn.freeze_panes(1, 0)
        if steps:
            chart = book.add_chart({"type": "scatter", "subtype": "straight"})
            chart.add_series(
                {
                    "name": "not moved yet",
                    "categories": ["curve", 1, 0, len(steps), 0],
                    "values": ["curve", 1, 3, len(steps), 3],
                }
            )
            drawn.insert_chart("G2", chart)
    return out.getvalue()
