"""One pass at a time: a lock that ends with its process, however it ends."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.exc import DBAPIError

from canopy.errors import StoreBusy, StoreError
from canopy.store.database import Store

LOCK_SUFFIX = ".lock"
# Any number: the kind of advisory lock; the second key is the schema, so that two stores in one database do not meet.
_KIND = 7243896


@contextmanager
def one_at_a_time(store: Store) -> Iterator[None]:
    """Hold the store's turn for the length of the block.

    A SQLite store is locked by `flock` on a file beside it, which is removed at the end; a file that a killed process
    left behind locks nothing. A store on a server is locked there, for as long as the connection lives.

    Raises
    ------
    StoreBusy
        Another process holds it.
    StoreError
        The lock cannot be made.
    """
    if store.file is None:
        with _server_lock(store):
            yield
        return
    path = store.file.with_name(store.file.name + LOCK_SUFFIX)
    lock = _taken(path)
    try:
        yield
    finally:
        path.unlink(missing_ok=True)  # while still locked: whoever waits on the old file sees that it has gone
        os.close(lock)


def _taken(path: Path) -> int:
    """The open and locked file of this path."""
    while True:
        try:
            lock = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as error:
            message = f"{path}: cannot be made ({error.strerror}); name a store in a folder that can be written"
            raise StoreError(message) from None
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = os.pread(lock, 20, 0).decode("ascii", "replace").strip() or "unknown"
            os.close(lock)
            raise StoreBusy(f"{path}: another pass is running (process {holder}); let it end") from None
        if _is_still_there(lock, path):
            os.truncate(lock, 0)
            os.pwrite(lock, f"{os.getpid()}\n".encode(), 0)
            return lock
        os.close(lock)


def _is_still_there(lock: int, path: Path) -> bool:
    """Whether the path still names the locked file: its last holder may have removed it in between."""
    try:
        return os.path.samestat(os.fstat(lock), path.stat())
    except FileNotFoundError:
        return False


@contextmanager
def _server_lock(store: Store) -> Iterator[None]:
    try:
        connection = store.engine.connect().execution_options(isolation_level="AUTOCOMMIT")
    except DBAPIError as error:
        raise StoreError(f"{store.name}: {error.orig}; check that the server can be reached") from None
    with connection:
        asked = f"SELECT pg_try_advisory_lock({_KIND}, hashtext(current_schema()))"
        if not connection.exec_driver_sql(asked).scalar():
            raise StoreBusy(f"{store.name}: another pass is running; let it end")
        yield
