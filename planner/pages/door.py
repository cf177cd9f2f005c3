"""The door of the pages: which requests come in at all, and what every answer says to the browser."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

BODY_BYTES: Final = 64 * 1024
"""The most that a form holds; a page that takes files says its own limit."""

SAYS: Final[Mapping[str, str]] = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self';"
    " img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


class PagesDoor:
    """Lets in what a browser of this shop sends: the right host, and posts from our own pages only.

    ``hosts``: the names by which the machine is reached, with the port. ``uploads``: the largest body of an
    address that takes files, in bytes.
    """

    def __init__(self, app: ASGIApp, *, hosts: Collection[str], uploads: Mapping[str, int]) -> None:
        self._app = app
        self._hosts = frozenset(host.lower() for host in hosts)
        self._uploads = uploads

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, or refuse it in a sentence."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def said(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in SAYS.items():
                    headers.setdefault(name, value)
                headers.setdefault("cache-control", "no-store")
            await send(message)

        refused = self._refused(scope)
        if refused is not None:
            await _plain(said, *refused)
            return
        most = self._uploads.get(scope["path"], BODY_BYTES)
        body = await _body(receive, most) if scope["method"] == "POST" else b""
        if body is None:
            await _plain(said, 413, f"That is more than the {most // 1024} KiB that this page takes.")
            return
        await self._app(scope, _from(body), said)

    def _refused(self, scope: Scope) -> tuple[int, str] | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "").lower()
        if host not in self._hosts or len(headers.getlist("host")) != 1:
            return (
                421,
                "This machine is not called that here. Open the address which its screen shows.",
            )
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return 405, "The pages take no such request."
        if scope["method"] == "POST" and not _from_our_page(headers, f"{scope['scheme']}://{host}"):
            return 403, "This was not sent by a page of this shop. Nothing was entered."
        length = headers.get("content-length", "0")
        if not length.isascii() or not length.isdigit():
            return 400, "The length of the request is no number."
        if int(length) > self._uploads.get(scope["path"], BODY_BYTES):
            return 413, "That is more than this page takes. Nothing was entered."
        return None


def _from_our_page(headers: Headers, ours: str) -> bool:
    """Return whether a browser says that one of our own pages sent it; one that says nothing does not."""
    origin, site = headers.get("origin"), headers.get("sec-fetch-site")
    if site not in (None, "same-origin"):
        return False
    return origin.lower() == ours if origin is not None else site == "same-origin"


async def _body(receive: Receive, most: int) -> bytes | None:
    """Return the whole body; None where it is longer than it may be."""
    body = bytearray()
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            return bytes(body)
        body += message.get("body", b"")
        if len(body) > most:
            return None
        if not message.get("more_body", False):
            return bytes(body)


def _from(body: bytes) -> Receive:
    async def receive() -> Message:
        return {"type": "http.request", "body": body, "more_body": False}

    return receive


async def _plain(send: Send, status: int, sentence: str) -> None:
    text = f"{sentence}\n".encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", b"%d" % len(text))]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": text})
