"""The files that the pages fetch from this machine: one style, one script, the typeface of the paper.

Each address holds a part of the file's hash, so that a browser keeps it until another program serves it. A
request names one of these addresses or gets nothing: no part of it becomes a path on the disk.
"""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path
from types import MappingProxyType
from typing import Final

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from planner.paper.shapes import Face
from planner.paper.typeface import FILES, FONT_FOLDER

_HERE: Final = Path(__file__).with_name("static")
_PATHS: Final = {
    "pages.css": _HERE / "pages.css",
    "pages.js": _HERE / "pages.js",
    "icon.svg": _HERE / "icon.svg",
    **{file: FONT_FOLDER / file for file in FILES.values()},
}
_KINDS: Final = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".ttf": "font/ttf",
}


def _address(name: str, content: bytes) -> str:
    return f"/static/{sha256(content).hexdigest()[:12]}/{name}"


_CONTENTS: Final = {name: path.read_bytes() for name, path in _PATHS.items()}
ADDRESS_OF: Final = MappingProxyType({name: _address(name, content) for name, content in _CONTENTS.items()})
"""File -> the address at which it is served."""
_BY_ADDRESS: Final = {ADDRESS_OF[name]: name for name in _CONTENTS}


def _faces() -> str:
    words = {
        Face.SANS: ("Noto Sans", 400),
        Face.BOLD: ("Noto Sans", 700),
        Face.MONO: ("Noto Sans Mono", 400),
        Face.MONO_BOLD: ("Noto Sans Mono", 700),
    }
    return "".join(
        f'@font-face{{font-family:"{family}";font-weight:{weight};font-display:swap;'
        f'src:url("{ADDRESS_OF[FILES[face]]}") format("truetype")}}'
        for face, (family, weight) in words.items()
    )


async def _file(request: Request) -> Response:
    name = _BY_ADDRESS.get(request.url.path)
    if name is None:
        return PlainTextResponse("There is no such file.\n", status_code=404)
    content = _CONTENTS[name]
    if name == "pages.css":
        content = _faces().encode() + content
    return Response(
        content,
        media_type=_KINDS[Path(name).suffix],
        headers={"cache-control": "public, max-age=31536000, immutable"},
    )


ROUTES: Final = (Route("/static/{rest:path}", _file),)
