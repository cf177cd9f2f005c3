"""The bench: open orders by their next visit, and one order step by step, with what is read judged there."""

import asyncio
import sqlite3
from collections.abc import Awaitable, Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final, cast
from urllib.parse import urlencode

from fleet.base.entries import Head
from fleet.base.errors import RECORD_FAULTS, BadInput, MountbookError, Refused, or_bad_input
from fleet.base.units import typed_count
from fleet.facts.holes import Side, SkiFault, hole_label
from fleet.facts.pairs import Pair
from fleet.facts.tags import called_now, known_tag, tag_order
from fleet.ledger.desk import Desk, part_of_tap
from fleet.tables.connection import read_shop
from fleet.tables.snapshot import read_fleet, read_policy
from planner.bench.orders.book import WorkOrder, find_order
from planner.bench.orders.branches import Branch, branch_of, branch_rows
from planner.bench.orders.close import (
    bindings_for,
    closed_lines,
    done,
    left_to_plug,
    plugged,
    plugged_lines,
    stop,
)
from planner.bench.orders.typed import (
    ask_drilled,
    parse_extra,
    parse_faults,
    parse_inserts,
    parse_screw,
    read_measured,
)
from planner.bench.today import NextVisit, Step, next_visits
from planner.pages.people import checked_pin
from planner.pages.web import (
    Fields,
    Hand,
    Request,
    Response,
    Route,
    hand_of,
    in_page_words,
    served_of,
    show,
)
from planner.paper.sheet_frame import paper_named
from planner.paper.svg_writer import svg_of
from planner.paper.work_order import work_order_pages
from planner.paper.work_order_facts import WorkOrderSheet, issued_order_sheet

_TITLES: Final = {
    Step.WORK: "Drill or mount",
    Step.PLUG: "Plug first: a first visit",
    Step.CURE: "The filler still cures",
    Step.SET: "Only set the binding",
    Step.WAIT: "Wait for their pair",
    Step.UNREAD: "Cannot be read: see the audit",
}
_DRAWN_ORDERS: Final = 20
_STOP: Final = "mountbook order stop"
_UNPLANNED: Final = tuple(f"{side} unplanned {number}" for side in Side for number in (1, 2, 3))
"""The fields for holes that nobody planned: so many on each ski."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _OpenWork:
    """An order as it is worked on: its sheet, by name the holes that it drills and those of all its screws,
    and what may be typed. ``to_plug``: the old holes of each ski still to be plugged, and its sheet's name.
    """

    order: WorkOrder
    sheet: WorkOrderSheet
    head: Head
    drilled: tuple[str, ...]
    screws: tuple[str, ...]
    to_plug: dict[Side, dict[str, str]]
    bindings: tuple[str, ...]
    visit: NextVisit
    glues: tuple[str, ...]
    people: tuple[str, ...]


async def _page(request: Request) -> Response:
    now = served_of(request).now()

    def look(connection: sqlite3.Connection) -> tuple[NextVisit, ...]:
        policy, zone = read_policy(connection), read_shop(connection).zone
        return tuple(next_visits(connection, policy=policy, now=now, zone=zone))

    visits = await served_of(request).read(look)
    groups = [(step, title, [v for v in visits if v.step is step]) for step, title in _TITLES.items()]
    return show(request, "bench.html", groups=[group for group in groups if group[2]], set_step=Step.SET)


async def _work(request: Request, name: str) -> _OpenWork:
    now = served_of(request).now()

    def look(connection: sqlite3.Connection) -> _OpenWork:
        order = _scanned(connection, name)
        policy, zone = read_policy(connection), read_shop(connection).zone
        visits = next_visits(connection, policy=policy, now=now, zone=zone, number=order.number)
        visit = next(each for each in visits if each.order == order.name)
        pair = called_now(connection, order.planned.pair)
        fleet = read_fleet(connection, pairs=(pair,), boots=(order.planned.boot,))
        return _OpenWork(
            order=order,
            sheet=issued_order_sheet(fleet, order, printed_at=now),
            head=fleet.head,
            drilled=tuple(_named(order, "drill")),
            screws=tuple(_named(order)),
            to_plug=_to_plug(fleet.pair(pair), order),
            bindings=bindings_for(connection, order),
            visit=visit,
            glues=policy.adhesives,
            people=tuple(fleet.staff),
        )

    return await served_of(request).read(look)


def _to_plug(pair: Pair, order: WorkOrder) -> dict[Side, dict[str, str]]:
    left = left_to_plug(pair, order.planned)
    found = {
        side: [hole.hole_id for hole in ski.holes if hole.hole_id in left] for side, ski in pair.skis.items()
    }
    return {
        side: {each: hole_label(each) for each in sorted(ids, key=tag_order)} for side, ids in found.items()
    }


def _scanned(connection: sqlite3.Connection, text: str) -> WorkOrder:
    """Return the order of that number, or the open one of the pair whose tag was scanned."""
    try:
        return find_order(connection, text)
    except BadInput:
        tag = known_tag(connection, text)
        row = connection.execute(
            "SELECT number || ' ' || revision FROM work_order WHERE tag = ? AND state = 'open'", (tag,)
        ).fetchone()
        if row is None:
            raise
        return find_order(connection, row[0])


def _named(order: WorkOrder, do: str = "") -> list[str]:
    """Return the holes of a sort, or all, as the sheet names them: ``A17``."""
    screws = [screw for screw, hole in order.planned.way.screws.items() if do in ("", hole.do)]
    return sorted((f"{screw[0]}{order.labels[screw]}" for screw in screws), key=tag_order)


async def _order(request: Request) -> Response:
    """Show an order. An address from a branch has what its stop form begins with."""
    asked = request.query_params
    begun = {key: asked[key] for key in asked if key.startswith(("stop", "fault", "spins"))}
    return await _shown(request, await _work(request, asked.get("name", "")), begun)


async def _check(request: Request, fields: Fields) -> Response:
    """Judge what was read so far. Nothing is entered."""
    return await _shown(request, await _work(request, fields.get("name", "")), fields)


async def _shown(
    request: Request, work: _OpenWork, fields: Mapping[str, str], *, refused: MountbookError | None = None
) -> Response:
    """Return the order's page with what was typed so far, and why it was refused."""
    pages = await _drawn(request, work)
    sheets = [urlencode({"name": work.order.name, "page": number}) for number in range(len(pages))]
    return show(
        request,
        "order.html",
        refused=refused,
        work=work,
        sides=list(Side),
        fields=fields,
        judged={_field(number, side): differs for number, side, differs in _read(work.sheet, fields)},
        pictures=[f"/bench/sheet.svg?{sheet}" for sheet in sheets],
        unplanned=_UNPLANNED,
        slipped=any(fields.get(f"{axis}{hole}") for hole in _UNPLANNED for axis in "xy"),
        inserts=any(fields.get(f"insert{hole}") for hole in work.screws),
        branches=[(name, rows[0].happened) for name, rows in branch_rows().items()],
        faults=list(SkiFault),
        plugs=work.visit.step is Step.PLUG,
    )


async def _drawn(request: Request, work: _OpenWork) -> list[str]:
    """Return the pages of the order's sheet as SVG, and keep them: the browser asks for each right away."""

    def draw() -> list[str]:
        pages = work_order_pages(work.sheet, paper_named("A4"))
        return [
            svg_of(page, label=f"Work order {work.order.name}, page {number}")
            for number, page in enumerate(pages, start=1)
        ]

    kept = _kept_drawings(request)
    kept.pop(work.order.name, None)
    kept[work.order.name] = (work.head, drawn := await asyncio.to_thread(draw))
    while len(kept) > _DRAWN_ORDERS:
        del kept[next(iter(kept))]
    return drawn


def _kept_drawings(request: Request) -> dict[str, tuple[Head, list[str]]]:
    """Return the newest drawings by the name of their order, each with the head that it shows."""
    return cast(dict[str, tuple[Head, list[str]]], request.app.state.drawn_orders)


def _read(sheet: WorkOrderSheet, fields: Mapping[str, str]) -> Iterator[tuple[int, Side, str]]:
    """Yield for each value that was typed its step, its ski and how it differs from the one expected; ""
    where it does not.
    """
    for number, step in enumerate(sheet.steps):
        for side in Side:
            if typed := fields.get(_field(number, side), "").strip():
                yield number, side, step.against(side, typed)


def _field(number: int, side: Side) -> str:
    """Return the name under which the order's page asks for a value."""
    return f"read{number}{side}"


async def _plugged(request: Request, fields: Fields) -> Response:

    def act(desk: Desk, work: _OpenWork) -> list[str]:
        spins = [parse_screw(text, work.order.labels) for text in fields.get("spins", "").split()]
        first = plugged(desk, work.order.name, spins=spins, filler=fields.get("filler", ""))
        return list(plugged_lines(first, desk.zone))

    return await _ended(request, fields, act)


async def _done(request: Request, fields: Fields) -> Response:
    """End the order. A value that was read and differs from its sheet stops it here."""
    seen_by = fields.get("seen_by", "")

    def act(desk: Desk, work: _OpenWork) -> list[str]:
        ended = done(
            desk,
            work.order.name,
            measured=read_measured(None, _typed_places(fields, work.drilled), work.order.labels),
            bindings=[name for side in Side if (name := fields.get(f"binding{side}"))],
            extra=parse_extra(_typed_places(fields, _UNPLANNED)),
            jig=fields.get("jig", ""),
            glue=fields.get("glue") or None,
            measured_again=bool(fields.get("measured_again")),
            seen_by=seen_by,
            inserts=parse_inserts(
                [f"{hole}={wide}" for hole in work.screws if (wide := _number(fields, f"insert{hole}"))],
                work.order.labels,
            ),
        )
        return list(closed_lines(ended))

    async def may(work: _OpenWork) -> None:
        for number, side, differs in _read(work.sheet, fields):
            if differs:
                raise Refused(
                    f"step {number + 1}, ski {side}: {differs}",
                    cure="read it again; if it stays so, stop the order and say why",
                )
        if seen_by:
            await checked_pin(request, seen_by, fields.get("seen_pin", ""))

    return await _ended(request, fields, act, may=may)


async def _ended(
    request: Request,
    fields: Fields,
    act: Callable[[Desk, _OpenWork], list[str]],
    *,
    may: Callable[[_OpenWork], Awaitable[None]] | None = None,
) -> Response:
    """Do the action; where it is refused the page comes again with all that was typed."""
    served, hand = served_of(request), hand_of(request, fields)
    if await served.entered(hand):
        return show(request, "bench_done.html", lines=(), left=(), again=True, ended=fields.get("name", ""))
    work = await _work(request, fields.get("name", ""))
    try:
        if may is not None:
            await may(work)
        acted = await served.act(hand, lambda desk: act(desk, work))
    except (Refused, BadInput) as fault:
        return await _shown(request, work, fields, refused=fault)
    ended = work.order.name
    return show(request, "bench_done.html", lines=acted.came, left=(), again=acted.again, ended=ended)


def _typed_places(fields: Mapping[str, str], holes: Iterable[str]) -> list[str]:
    """Return the holes whose places were measured: ``A17=101.5,-18.0``; one that nobody planned has the name
    of its ski.
    """
    found = []
    for hole in holes:
        x, y = (_number(fields, f"{axis}{hole}") for axis in "xy")
        name = hole.partition(" ")[0]
        if bool(x) != bool(y):
            raise BadInput(f"of hole {name} one length was typed", cure="type both, or none")
        if x:
            found.append(f"{name}={x},{y}")
    return found


def _number(fields: Mapping[str, str], name: str) -> str:
    return fields.get(name, "").strip().replace(",", ".")


async def _stop(request: Request, fields: Fields) -> Response:

    def act(desk: Desk, work: _OpenWork) -> list[str]:
        order = work.order
        named = [each for each in work.drilled if fields.get(f"made{each}")]
        said, drilled = ask_drilled(
            {side.value: fields.get(f"drilled{side}", "") for side in Side}, named, (), None, lambda _: ""
        )
        faults = [f"{side} {fields[key]}" for side in Side if fields.get(key := f"fault{side}")]
        ended = stop(
            desk,
            order.name,
            why=fields.get("why", ""),
            drilled=said,
            made=[parse_screw(text, order.labels) for text in drilled],
            plugged=[key.removeprefix("plugged ") for key in fields if key.startswith("plugged ")],
            binding_off=bool(fields.get("binding_off")),
            about_skis=not fields.get("not_the_skis"),
            spins=[parse_screw(text, order.labels) for text in fields.get("spins", "").split()],
            extra=parse_extra(_typed_places(fields, _UNPLANNED)),
            faults=parse_faults(faults),
            filler=fields.get("filler", ""),
        )
        return list(closed_lines(ended))

    return await _ended(request, fields, act)


async def _ticked(request: Request, fields: Fields) -> Response:
    """End every ticked order that only sets a binding, each by itself: one that is refused costs no other."""
    names = [key.removeprefix("tick ") for key in fields if key.startswith("tick ")]
    if not names:
        raise BadInput("no order was ticked", cure="tick those that are done")
    hand, lines, left = hand_of(request, fields), [], []
    for name in names:
        one = Hand(by=hand.by, desk=hand.desk, tap=part_of_tap(hand.tap, name), signed=hand.signed)
        try:
            lines += await _one_set(request, one, name)
        except (Refused, BadInput) as fault:
            left.append((name, in_page_words(request, fault)))
    return show(
        request,
        "bench_done.html",
        status=409 if left else 200,
        lines=lines,
        left=left,
        again=False,
        ended="",
    )


async def _one_set(request: Request, hand: Hand, name: str) -> list[str]:
    acted = await served_of(request).act(hand, lambda desk: list(closed_lines(done(desk, name, measured={}))))
    return acted.came if acted.came is not None else [f"{name}: entered before"]


async def _branch(request: Request) -> Response:
    asked = {key: request.query_params.get(key, "") for key in ("name", "branch", "hole", "ski")}

    def look(connection: sqlite3.Connection) -> Branch:
        order = find_order(connection, asked["name"])
        policy = read_policy(connection)
        return branch_of(order, asked["branch"], hole=asked["hole"], ski=asked["ski"], policy=policy)

    branch = await served_of(request).read(look)
    stops = any(_STOP in step.type for step in branch.steps)
    begun = {"name": branch.order, "stop": branch.name}
    if branch.name in {fault.value.replace(" ", "-") for fault in SkiFault}:
        begun[f"fault{(asked['ski'] or asked['hole'][:1]).upper()}"] = branch.name
    if asked["hole"] and any("--spins" in step.type for step in branch.steps):
        begun["spins"] = asked["hole"]
    to_stop = f"/bench/order?{urlencode(begun)}#stop" if stops else ""
    return show(request, "branch.html", branch=branch, to_stop=to_stop)


async def _sheet(request: Request) -> Response:
    name, wanted = request.query_params.get("name", ""), request.query_params.get("page", "0")
    head, pages = _kept_drawings(request).get(name, (None, []))
    if head is None or head != await served_of(request).look(lambda ledger: ledger.head):
        pages = await _drawn(request, await _work(request, name))
    with or_bad_input(f"the order has {len(pages)} pages", cure="open the order again", of=RECORD_FAULTS):
        return Response(pages[typed_count(wanted)], media_type="image/svg+xml")


ROUTES: Final = (
    Route("/bench", _page),
    Route("/bench/order", _order),
    Route("/bench/check", _check, methods=["POST"]),
    Route("/bench/plugged", _plugged, methods=["POST"]),
    Route("/bench/done", _done, methods=["POST"]),
    Route("/bench/stop", _stop, methods=["POST"]),
    Route("/bench/ticked", _ticked, methods=["POST"]),
    Route("/bench/branch", _branch),
    Route("/bench/sheet.svg", _sheet),
)
