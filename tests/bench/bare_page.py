"""The reference for the pages: one bare route, one row and one commit, as synchronous as the ledger's."""

from __future__ import annotations

import contextlib
import sqlite3
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from fleet.tables.connection import connect


def serve(path: str) -> None:
    """Serve ``POST /scan`` until killed. Says its address first."""
    file = Path(path)
    file.touch()
    thread = ThreadPoolExecutor(max_workers=1)
    rows: list[sqlite3.Connection] = []

    def opened() -> None:
        rows.append(connect(file))
        rows[0].execute("CREATE TABLE scan (tap TEXT PRIMARY KEY, line TEXT NOT NULL) STRICT")

    def enter(tap: str, line: str) -> None:
        rows[0].execute("BEGIN IMMEDIATE")
        rows[0].execute("INSERT INTO scan VALUES (?, ?)", (tap, line))
        rows[0].execute("COMMIT")

    async def scan(request: Request) -> Response:
        form = await request.form()
        await run_in_threadpool(thread.submit(enter, str(form["tap"]), str(form["line"])).result)
        return PlainTextResponse("entered")

    thread.submit(opened).result()
    app = Starlette(routes=[Route("/scan", scan, methods=["POST"])])
    config = uvicorn.Config(app, log_config=None, access_log=False, lifespan="off", ws="none", port=0)
    server = uvicorn.Server(config)
    socket = config.bind_socket()
    sys.stdout.write(f"http://127.0.0.1:{socket.getsockname()[1]}\n")
    sys.stdout.flush()
    with contextlib.suppress(KeyboardInterrupt):
        server.run(sockets=[socket])
