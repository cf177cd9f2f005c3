"""The answer to a request: a template filled in, or an error as one sentence with its cure."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from starlette.requests import Request
from starlette.responses import HTMLResponse

from fleet.base.errors import BadInput, LedgerFault, MountbookError, Refused
from fleet.ledger.taps import new_tap
from planner.pages.asked import desks_of
from planner.pages.static import ADDRESS_OF
from planner.pages.table import NAVIGATION
from planner.paper.cautions import DEFER, NO_SETTING
from planner.paper.tablet_page.templates import environment

TEMPLATES: Final = Path(__file__).with_name("templates")
_STATUS: Final = ((Refused, 409), (BadInput, 400), (LedgerFault, 503))


def show(request: Request, template: str, *, status: int = 200, **values: object) -> HTMLResponse:
    """Return the page: the template with these values, in the frame that every page has.

    ``new_tap()`` in a template makes the id of the action that a form sends.
    """
    desk = getattr(request.state, "desk", None)
    person = desks_of(request).signed_in(desk) if desk is not None else ""
    html = (
        environment(TEMPLATES)
        .get_template(template)
        .render(
            {
                "shop": request.app.state.shop,
                "here": request.url.path,
                "navigation": NAVIGATION,
                "desk": desk.name if desk is not None else "",
                "person": person,
                "new_tap": new_tap,
                "static": ADDRESS_OF,
                "cautions": (DEFER, NO_SETTING),
            }
            | values
        )
    )
    return HTMLResponse(html, status_code=status)


def show_error(request: Request, fault: MountbookError) -> HTMLResponse:
    """Return the error as a page: one sentence, its cure, and what would go instead."""
    status = next((number for kind, number in _STATUS if isinstance(fault, kind)), 500)
    instead = fault.instead if isinstance(fault, Refused) else ()
    return show(
        request, "error.html", status=status, sentence=fault.sentence, cure=fault.cure, instead=instead
    )
