"""Ready pairs by length, kind and boot; a pair's page with its picture, a boot's, and their history."""

from __future__ import annotations

from datetime import date
from typing import Final
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from fleet.base.days import typed_day
from fleet.base.errors import BadInput
from fleet.facts.shop_kinds import shop_kinds
from fleet.facts.tags import known_tag
from fleet.ledger.history import BootHistory, PairHistory, boot_history, pair_history
from fleet.ledger.ledger import Ledger
from fleet.rules.boots import boot_meant
from fleet.rules.clearance import read_pattern
from fleet.rules.find import FoundPair, Now, find_pairs, kind_named, length_typed
from fleet.rules.fitting import slides_now
from fleet.rules.notes import thing_meant
from fleet.tables.snapshot import read_policy
from planner.pages.asked import served_of
from planner.pages.shown import show
from planner.paper.ski_view.drawn import pair_picture
from planner.paper.ski_view.ski_words import boot_lines, pair_lines
from planner.paper.svg_writer import svg_of

_GROUPS: Final = {
    Now.GOES: "Goes now",
    Now.SET_FIRST: "Set the binding first, boot in",
    Now.NOT_NOW: "Not now",
}


async def _page(request: Request) -> Response:
    asked = {name: request.query_params.get(name, "").strip() for name in ("length", "kind", "boot")}
    served = served_of(request)

    def look(ledger: Ledger) -> tuple[tuple[FoundPair, ...], tuple[str, ...]]:
        with ledger.reading() as connection:
            policy = read_policy(connection)
            kinds = tuple(shop_kinds(policy))
            if not any(asked.values()):
                return (), kinds
            found = find_pairs(
                connection,
                at=served.now(),
                zone=ledger.zone,
                boot=known_tag(connection, asked["boot"]) if asked["boot"] else None,
                length_mm=length_typed(asked["length"] or None),
                kind=kind_named(asked["kind"] or None, policy),
            )
            return found, kinds

    found, kinds = await served.look(look)
    groups = [(title, [pair for pair in found if pair.now is now]) for now, title in _GROUPS.items()]
    return show(request, "find.html", asked=asked, kinds=kinds, groups=groups, any=any(asked.values()))


async def _thing(request: Request) -> Response:
    """Lead on to the pair, the boot or the pair of the ski or binding that was meant."""
    said = request.query_params.get("tag", "").strip()

    def look(ledger: Ledger) -> str:
        with ledger.reading() as connection:
            meant = thing_meant(connection, said)
            if "boot" in meant:
                return f"/find/boot?{urlencode({'tag': meant['boot']})}"
            tag = meant.get("tag")
            if tag is None:
                row = connection.execute(
                    "SELECT on_pair FROM binding WHERE binding_id = ?", (meant["binding_id"],)
                ).fetchone()
                tag = row[0]
            if tag is None:
                raise BadInput(
                    f"the binding {said} is on no pair", cure="it is in stock: type a pair, a ski or a boot"
                )
            return f"/find/pair?{urlencode({'tag': tag})}"

    return RedirectResponse(await served_of(request).look(look), status_code=303)


def _as_of(request: Request) -> date | None:
    said = request.query_params.get("as_of", "").strip()
    return typed_day(said, "the day") if said else None


async def _pair(request: Request) -> Response:
    as_of = _as_of(request)

    def look(ledger: Ledger) -> tuple[PairHistory, list[str]]:
        tag = known_tag(ledger.connection, request.query_params.get("tag", ""))
        history = pair_history(ledger, tag, as_of=as_of)
        mount = history.pair.current_mount
        pattern = read_pattern(ledger.connection, mount.pattern) if mount else None
        slid_um = slides_now(mount, pattern) if mount and pattern else {}
        return history, list(pair_lines(history, slid_um, maps=False))

    history, lines = await served_of(request).look(look)
    asked = {"tag": history.pair.tag} | ({"as_of": as_of.isoformat()} if as_of else {})
    return show(
        request,
        "thing.html",
        what="Pair",
        tag=history.pair.tag,
        as_of=as_of,
        address="/find/pair",
        picture=f"/find/picture.svg?{urlencode(asked)}",
        first=lines[0],
        blocks=_blocks(lines[1:]),
    )


async def _boot(request: Request) -> Response:
    as_of = _as_of(request)

    def look(ledger: Ledger) -> BootHistory:
        said = request.query_params.get("tag", "")
        return boot_history(ledger, boot_meant(ledger.connection, f"boot:{said}") or said, as_of=as_of)

    history = await served_of(request).look(look)
    lines = list(boot_lines(history))
    return show(
        request,
        "thing.html",
        what="Boot",
        tag=history.boot.tag,
        as_of=as_of,
        address="/find/boot",
        picture="",
        first=lines[0],
        blocks=_blocks(lines[1:]),
    )


async def _picture(request: Request) -> Response:
    as_of, served = _as_of(request), served_of(request)

    def look(ledger: Ledger) -> str:
        history = pair_history(ledger, request.query_params.get("tag", ""), as_of=as_of)
        return svg_of(pair_picture(ledger, history, now=served.now()), label=f"Pair {history.pair.tag}")

    return Response(await served.look(look), media_type="image/svg+xml")


def _blocks(lines: list[str]) -> list[list[str]]:
    """Return the lines in the blocks that blank lines part."""
    blocks: list[list[str]] = [[]]
    for line in lines:
        if line:
            blocks[-1].append(line)
        elif blocks[-1]:
            blocks.append([])
    return blocks


ROUTES: Final = (
    Route("/find", _page),
    Route("/find/thing", _thing),
    Route("/find/pair", _pair),
    Route("/find/boot", _boot),
    Route("/find/picture.svg", _picture),
)
