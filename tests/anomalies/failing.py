"""Ways to make things fail on purpose: the n-th statement, the n-th system call of SQLite."""

from __future__ import annotations

import ctypes
import errno
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from fleet.tables.connection import LedgerConnection

_CALLS = {
    "pwrite64": (ctypes.c_ssize_t, ctypes.c_int, ctypes.c_void_p, ctypes.c_size_t, ctypes.c_int64),
    "pwrite": (ctypes.c_ssize_t, ctypes.c_int, ctypes.c_void_p, ctypes.c_size_t, ctypes.c_long),
    "write": (ctypes.c_ssize_t, ctypes.c_int, ctypes.c_void_p, ctypes.c_size_t),
    "ftruncate": (ctypes.c_int, ctypes.c_int, ctypes.c_int64),
    "unlink": (ctypes.c_int, ctypes.c_char_p),
}
"""The calls by which SQLite changes files (its unix VFS), with their C types."""


class _Vfs(ctypes.Structure):
    """`sqlite3_vfs` of sqlite3.h, version 3, as far as it is needed here."""


_Vfs._fields_ = [
    ("version", ctypes.c_int),
    ("file_size", ctypes.c_int),
    ("path_size", ctypes.c_int),
    ("next", ctypes.c_void_p),
    ("name", ctypes.c_char_p),
    ("data", ctypes.c_void_p),
    ("methods", ctypes.c_void_p * 13),
    ("set_call", ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p, ctypes.c_char_p, ctypes.c_void_p)),
]


def sqlite_library() -> ctypes.CDLL | None:
    """The shared SQLite this Python runs on, or None where it is built in (Linux only)."""
    maps = Path("/proc/self/maps")
    if not maps.exists():
        return None
    for line in maps.read_text().splitlines():
        name = line.rsplit(" ", 1)[-1]
        if "libsqlite3" in name:
            return ctypes.CDLL(name)
    return None


@contextmanager
def failing_disk(nth: int, *, for_good: bool) -> Iterator[Callable[[], int]]:
    """The n-th changing system call of SQLite fails (no space), or all from it on. Yields the count."""
    library = sqlite_library()
    assert library is not None
    library.sqlite3_vfs_find.restype = ctypes.POINTER(_Vfs)
    vfs = library.sqlite3_vfs_find(None)
    libc = ctypes.CDLL(None, use_errno=True)
    count = 0
    kept = []

    def intercept(name: str, types: tuple[Any, ...]) -> Any:
        real = getattr(libc, name)
        real.restype, real.argtypes = types[0], types[1:]

        def call(*args: Any) -> int:
            nonlocal count
            count += 1
            if count == nth or (for_good and count > nth):
                ctypes.set_errno(errno.ENOSPC if name != "unlink" else errno.EIO)
                return -1
            return int(real(*args))

        return ctypes.CFUNCTYPE(*types, use_errno=True)(call)

    for name, types in _CALLS.items():
        function = intercept(name, types)
        kept.append(function)
        vfs.contents.set_call(vfs, name.encode(), ctypes.cast(function, ctypes.c_void_p))
    try:
        yield lambda: count
    finally:
        for name in _CALLS:
            vfs.contents.set_call(vfs, name.encode(), None)  # back to the real one


@contextmanager
def failing_statement(nth: int, *, for_good: bool) -> Iterator[Callable[[], int]]:
    """The n-th statement on a ledger's connection fails, or all from it on. Yields the count so far."""
    count = 0
    real = sqlite3.Connection.execute

    def execute(self: LedgerConnection, *args: Any) -> sqlite3.Cursor:
        nonlocal count
        count += 1
        if count == nth or (for_good and count > nth):
            raise sqlite3.OperationalError("disk I/O error")
        return real(self, *args)

    LedgerConnection.execute = execute  # type: ignore[method-assign]
    try:
        yield lambda: count
    finally:
        del LedgerConnection.execute  # type: ignore[misc]
