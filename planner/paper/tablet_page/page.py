"""The whole page: banner, figures, filters, lists, orders. One string, the same plan the same bytes."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Callable, Sequence
from datetime import datetime
from hashlib import sha256

from markupsafe import Markup

from fleet.base.program import program
from fleet.base.units import mm_text
from fleet.tables.snapshot import Fleet
from planner.paper.cautions import CLAIM, DEFER, NO_SETTING, SPACING
from planner.paper.moments import moment_text, spoken_day
from planner.paper.svg_writer import font_faces
from planner.paper.tablet_page.order_article import missing_article, order_article
from planner.paper.tablet_page.templates import HERE, filled
from planner.paper.work_order_facts import work_order_sheet
from planner.plan.fault_isolation import Fault, all_but_faulty
from planner.plan.plan_file import plan_hash
from planner.plan.proof_words import left_open, result_of
from planner.plan.values import Plan, PlannedSet, Rung


def plan_page(
    fleet: Fleet,
    plan: Plan,
    *,
    printed_at: datetime,
    progress: Callable[[str], None] | None = None,
) -> tuple[str, tuple[Fault, ...]]:
    """The page of a proposal, and whose order could not be drawn: the page says so in its place.

    Raises Refused where the fleet does not know what the plan names.
    """
    said = plan_hash(plan)
    touched = [planned for planned in plan.sets if planned.way.rung is not Rung.AS_IS]
    if progress is not None:
        progress(f"drawing {len(touched)} orders for the page")

    def article(planned: Sequence[PlannedSet]) -> Markup:
        sheet = work_order_sheet(
            fleet, planned[0], number=None, revision=None, proposal=True, plan_hash=said,
            printed_at=printed_at, needed_by=plan.ready_by,
        )  # fmt: skip
        return order_article(sheet)

    articles, faults = [], tuple[Fault, ...]()
    for planned in touched:
        drawn, failed = all_but_faulty([planned], article, what="order on the page", name=lambda s: s.pair)
        articles.append(drawn or missing_article(failed[0]))
        faults += failed
    style = font_faces() + (HERE / "page.css").read_text(encoding="utf-8")
    script = (HERE / "page.js").read_text(encoding="utf-8")
    policy = (
        "default-src 'none'; base-uri 'none'; form-action 'none'; font-src data:; "
        f"style-src '{_digest(style)}'; script-src '{_digest(script)}'"
    )
    page = filled(
        "page.html",
        policy=policy,
        style=style,
        script=script,
        shop=fleet.shop,
        figures=_figures(fleet, plan, said, printed_at),
        plan=plan,
        sets=[_set(fleet, planned) for planned in plan.sets],
        kinds=sorted({fleet.pair(s.pair).kind.value for s in plan.sets}),
        ways=[rung.value for rung in Rung if any(s.way.rung is rung for s in plan.sets)],
        wishes=sorted({s.wish for s in plan.sets}),
        articles=articles,
        cautions=(DEFER, NO_SETTING, SPACING, CLAIM),
    )
    return page, faults


def _digest(content: str) -> str:
    return "sha256-" + b64encode(sha256(content.encode("utf-8")).digest()).decode("ascii")


def _figures(fleet: Fleet, plan: Plan, said: str, printed_at: datetime) -> list[tuple[str, str]]:
    t = plan.totals
    return [
        ("sets served", f"{t.served} of {t.wanted}"),
        ("result", result_of(plan)),
        *(("not proved", line) for line in left_open(plan)),
        ("holes to drill", str(t.drilled)),
        ("bench time", f"{t.minutes // 60} h {t.minutes % 60:02d} min"),
        ("ready by", spoken_day(plan.ready_by) if plan.ready_by else "no date given"),
        ("ledger", f"{plan.ledger_entry}:{plan.ledger_head[:8]}"),
        ("plan", said[:8]),
        ("written", f"{moment_text(printed_at, fleet.zone)}, {program()}"),
    ]


def _set(fleet: Fleet, planned: PlannedSet) -> dict[str, object]:
    pair, way = fleet.pair(planned.pair), planned.way
    brake = "" if planned.brake_um is None else f", brake {mm_text(planned.brake_um)}"
    words = (pair.tag, pair.rack, pair.model, planned.boot, planned.wish, way.pattern)
    return {
        "pair": pair,
        "boot": fleet.boot(planned.boot),
        "way": way,
        "wish": planned.wish,
        "touched": way.rung is not Rung.AS_IS,
        "goes_on": f"{fleet.pattern(way.pattern).binding_model}{brake}",
        "words": " ".join(words).casefold(),
    }
