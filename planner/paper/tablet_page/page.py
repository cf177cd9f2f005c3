"""The whole page: banner, figures, filters, lists, orders. One string, the same plan the same bytes."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime
from hashlib import sha256
from pathlib import Path

from fleet.base.program import program
from fleet.base.units import mm_text, toward
from fleet.tables.snapshot import Fleet
from planner.paper.cautions import CLAIM, DEFER, NO_SETTING, SPACING
from planner.paper.moments import moment_text, spoken_day
from planner.paper.svg_writer import font_faces
from planner.paper.tablet_page.html import Row, element, table, text
from planner.paper.tablet_page.order_article import article_id, missing_article, order_article
from planner.paper.work_order_facts import work_order_sheet
from planner.plan.fault_isolation import Fault, all_but_faulty
from planner.plan.plan_file import plan_hash
from planner.plan.proof_words import left_open, result_of
from planner.plan.values import Plan, PlannedSet, Rung

_HERE = Path(__file__).parent


def plan_page_html(
    fleet: Fleet,
    plan: Plan,
    *,
    printed_at: datetime,
    progress: Callable[[str], None] | None = None,
) -> str:
    """The page of a proposal, as `plan_page`."""
    return plan_page(fleet, plan, printed_at=printed_at, progress=progress)[0]


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

    def article(planned: Sequence[PlannedSet]) -> str:
        sheet = work_order_sheet(
            fleet, planned[0], number=None, revision=None, proposal=True, plan_hash=said,
            printed_at=printed_at, needed_by=plan.ready_by,
        )  # fmt: skip
        return order_article(sheet)

    articles, faults = "", tuple[Fault, ...]()
    for planned in touched:
        drawn, failed = all_but_faulty([planned], article, what="order on the page", name=lambda s: s.pair)
        articles += drawn or missing_article(failed[0])
        faults += failed
    style = font_faces() + (_HERE / "page.css").read_text(encoding="utf-8")
    script = (_HERE / "page.js").read_text(encoding="utf-8")
    body = "".join(
        (
            element("a", "Skip to the sets", href="#sets", class_="skip"),
            _banner(),
            element(
                "header",
                element("h1", text(f"Plan of {fleet.shop}")),
                _summary(fleet, plan, said, printed_at),
                class_="top",
            ),
            _links(plan, bool(touched)),
            element(
                "main",
                _sets(fleet, plan),
                element(
                    "section",
                    element("h2", "Orders", id_="orders"),
                    element("p", "Choose a pair in the list, or scroll.", class_="hint"),
                    articles,
                    aria_labelledby="orders",
                    class_="orders",
                )
                if touched
                else "",
                _unserved(plan),
                _unplanned(plan),
            ),
            element("footer", *(element("p", text(line)) for line in (DEFER, NO_SETTING, SPACING, CLAIM))),
        )
    )
    policy = (
        "default-src 'none'; base-uri 'none'; form-action 'none'; font-src data:; "
        f"style-src '{_digest(style)}'; script-src '{_digest(script)}'"
    )
    html = (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{text(policy).replace("&#x27;", chr(39))}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{text(f'Plan of {fleet.shop}, a proposal')}</title>\n"
        f"<style>{style}</style>\n</head>\n<body>\n{body}\n<script>{script}</script>\n</body>\n</html>\n"
    )
    return html, faults


def _digest(content: str) -> str:
    return "sha256-" + b64encode(sha256(content.encode("utf-8")).digest()).decode("ascii")


def _banner() -> str:
    return element(
        "p",
        element("strong", "PROPOSAL"),
        " not issued: nothing may be drilled from this page",
        class_="banner",
        role="note",
    )


def _summary(fleet: Fleet, plan: Plan, said: str, printed_at: datetime) -> str:
    t = plan.totals
    facts = (
        ("sets served", f"{t.served} of {t.wanted}"),
        ("result", result_of(plan)),
        *(("not proved", line) for line in left_open(plan)),
        ("holes to drill", str(t.drilled)),
        ("bench time", f"{t.minutes // 60} h {t.minutes % 60:02d} min"),
        ("ready by", spoken_day(plan.ready_by) if plan.ready_by else "no date given"),
        ("ledger", f"{plan.ledger_entry}:{plan.ledger_head[:8]}"),
        ("plan", said[:8]),
        ("written", f"{moment_text(printed_at, fleet.zone)}, {program()}"),
    )
    return element(
        "dl",
        *(element("div", element("dt", text(name)), element("dd", text(value))) for name, value in facts),
        class_="figures",
    )


def _links(plan: Plan, orders: bool) -> str:
    links = [("#sets", f"Sets ({len(plan.sets)})")]
    links += [("#orders", "Orders")] if orders else []
    links += [
        ("#unserved", f"Not served ({sum(u.missing for u in plan.unserved)})"),
        ("#unplanned", f"Pairs not used ({len(plan.unplanned_pairs)})"),
    ]
    return element(
        "nav",
        element("ul", *(element("li", element("a", text(name), href=where)) for where, name in links)),
        element("button", "Print the lists", type="button", data_print="lists"),
        aria_label="Parts of this page",
    )


def _choice(name: str, label: str, values: Iterable[str]) -> str:
    options = element("option", "all", value="") + "".join(
        element("option", text(value), value=value) for value in values
    )
    return element("label", text(label), element("select", options, data_filter=name))


def _filters(fleet: Fleet, plan: Plan) -> str:
    kinds = sorted({fleet.pair(s.pair).kind.value for s in plan.sets})
    ways = [rung.value for rung in Rung if any(s.way.rung is rung for s in plan.sets)]
    return element(
        "form",
        element(
            "label",
            "Find",
            element("input", type="search", data_filter="words", placeholder="tag, boot, rack"),
        ),
        _choice("kind", "Kind", kinds),
        _choice("way", "Way", ways),
        _choice("wish", "Wish", sorted({s.wish for s in plan.sets})),
        element("button", "Show all", type="reset"),
        element("output", f"{len(plan.sets)} sets", id_="count", aria_live="polite"),
        role="search",
        aria_label="Filter the sets",
        class_="filters",
        hidden=True,
    )


def _sets(fleet: Fleet, plan: Plan) -> str:
    heads = (
        "pair",
        "rack",
        "boot",
        "sole, mm",
        "way",
        "goes on",
        "boot centre",
        "new holes",
        "minutes",
        "wish",
    )
    rows = ((_set_row(fleet, planned), _data(fleet, planned)) for planned in plan.sets)
    return element(
        "section",
        element("h2", "Sets", id_="sets"),
        _filters(fleet, plan),
        table("Which boot on which pair", heads, rows, id_="set-list"),
        aria_labelledby="sets",
    )


def _set_row(fleet: Fleet, planned: PlannedSet) -> list[str]:
    pair, way = fleet.pair(planned.pair), planned.way
    tag = text(pair.tag)
    if way.rung is not Rung.AS_IS:
        tag = element("a", tag, href=f"#{article_id(pair.tag)}")
    brake = "" if planned.brake_um is None else f", brake {mm_text(planned.brake_um)}"
    return [
        tag,
        text(pair.rack),
        text(planned.boot),
        text(fleet.boot(planned.boot).sole_words),
        text(way.rung.value),
        text(f"{fleet.pattern(way.pattern).binding_model}{brake}"),
        text(toward(way.offset_um)),
        text(way.drilled),
        text(way.minutes),
        text(planned.wish),
    ]


def _data(fleet: Fleet, planned: PlannedSet) -> dict[str, str | bool | None]:
    pair = fleet.pair(planned.pair)
    words = (pair.tag, pair.rack, pair.model, planned.boot, planned.wish, planned.way.pattern)
    return {
        "data_tag": pair.tag,
        "data_kind": pair.kind.value,
        "data_way": planned.way.rung.value,
        "data_wish": planned.wish,
        "data_words": " ".join(words).casefold(),
    }


def _unserved(plan: Plan) -> str:
    rows: Iterator[Row] = (
        ([text(u.wish), text(u.missing), text(u.reason), text(u.remedy)], {}) for u in plan.unserved
    )
    return element(
        "section",
        element("h2", "Not served", id_="unserved"),
        table("Wishes that are short of sets", ("wish", "missing", "why", "what would help"), rows),
        aria_labelledby="unserved",
    )


def _unplanned(plan: Plan) -> str:
    rows: Iterator[Row] = (([text(u.pair), text(u.reason)], {}) for u in plan.unplanned_pairs)
    return element(
        "section",
        element("h2", "Pairs not used", id_="unplanned"),
        table("Pairs that no set uses", ("pair", "why"), rows),
        aria_labelledby="unplanned",
    )
