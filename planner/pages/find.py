"""Ready pairs by length, kind and boot, and the way from a tag to the page of its pair or boot."""

import sqlite3
from typing import Final
from urllib.parse import urlencode

from fleet.base.errors import BadInput
from fleet.base.units import counted
from fleet.facts.kinds import shop_kinds
from fleet.facts.tags import known_tag
from fleet.rules.find import FoundPairs, Now, find_pairs, kind_named, length_typed
from fleet.rules.notes import thing_meant
from fleet.tables.snapshot import read_policy
from planner.pages.web import RedirectResponse, Request, Response, Route, served_of, show, zone_of

_GROUPS: Final = {
    Now.GOES: "Goes now",
    Now.SET_FIRST: "Set the binding first, boot in",
    Now.NOT_NOW: "Not now",
}
_MOST: Final = 300
"""So many pairs are asked about for one page: nobody reads more, and the counter does not wait for it."""


async def _page(request: Request) -> Response:
    asked = {name: request.query_params.get(name, "").strip() for name in ("length", "kind", "boot")}
    served = served_of(request)

    def look(connection: sqlite3.Connection) -> tuple[FoundPairs, tuple[str, ...]]:
        policy = read_policy(connection)
        kinds = tuple(shop_kinds(policy))
        if not any(asked.values()):
            return FoundPairs(pairs=(), of=0), kinds
        found = find_pairs(
            connection,
            at=served.now(),
            zone=zone_of(connection),
            boot=known_tag(connection, asked["boot"]) if asked["boot"] else None,
            length_mm=length_typed(asked["length"] or None),
            kind=kind_named(asked["kind"] or None, policy),
            most=_MOST,
        )
        return found, kinds

    found, kinds = await served.read(look)
    groups = [(title, [pair for pair in found.pairs if pair.now is now]) for now, title in _GROUPS.items()]
    return show(
        request,
        "find.html",
        asked=asked,
        kinds=kinds,
        groups=groups,
        behind=_GROUPS[Now.NOT_NOW] if any(pairs for _, pairs in groups[:-1]) else "",
        any=any(asked.values()),
        looked_at=len(found.pairs),
        of=counted(found.of, "pair") if found.of > len(found.pairs) else "",
    )


async def _thing(request: Request) -> Response:
    """Lead on to the pair, the boot or the pair of the ski or binding that was meant."""
    said = request.query_params.get("tag", "").strip()

    def look(connection: sqlite3.Connection) -> str:
        meant = thing_meant(connection, said)
        if "boot" in meant:
            return f"/find/boot?{urlencode({'tag': meant['boot']})}"
        tag = meant.get("tag")
        if tag is None:
            (tag,) = connection.execute(
                "SELECT on_pair FROM binding WHERE binding_id = ?", (meant["binding_id"],)
            ).fetchone()
        if tag is None:
            raise BadInput(
                f"the binding {said} is on no pair", cure="it is in stock: type a pair, a ski or a boot"
            )
        return f"/find/pair?{urlencode({'tag': tag})}"

    return RedirectResponse(await served_of(request).read(look), status_code=303)


ROUTES: Final = (Route("/find", _page), Route("/find/thing", _thing))
