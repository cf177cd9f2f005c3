"""The files that the pages fetch from this machine: one style, one script, the typeface of the paper.

Each address holds a part of the file's hash, so that a browser keeps it until another program serves it. A
request names one of these addresses or gets nothing: no part of it becomes a path on the disk.
"""

from hashlib import sha256
from pathlib import Path
from types import MappingProxyType
from typing import Final

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from planner.paper.shapes import FILES, FONT_FOLDER
from planner.paper.svg_writer import font_faces

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


_CONTENTS: Final = {name: path.read_bytes() for name, path in _PATHS.items()}
ADDRESS_OF: Final = MappingProxyType(
    {name: f"/static/{sha256(content).hexdigest()[:12]}/{name}" for name, content in _CONTENTS.items()}
)
"""File -> the address at which it is served."""
_BY_ADDRESS: Final = {ADDRESS_OF[name]: name for name in _CONTENTS}


async def _file(request: Request) -> Response:
    name = _BY_ADDRESS.get(request.url.path)
    if name is None:
        return PlainTextResponse("There is no such file.\n", status_code=404)
    content = _CONTENTS[name]
    if name == "pages.css":
        content = font_faces(ADDRESS_OF.__getitem__).encode() + content
    return Response(
        content,
        media_type=_KINDS[Path(name).suffix],
        headers={"cache-control": "public, max-age=31536000, immutable"},
    )


ROUTES: Final = (Route("/static/{rest:path}", _file),)
