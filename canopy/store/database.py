"""Opening the store: SQLite by a file's name, PostgreSQL by a URL; tables made or brought up to date on the way."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError
from sqlalchemy.pool import NullPool

from canopy.errors import StoreError
from canopy.store.migrate import bring_up_to_date, check_version

_WRITES = "canopy_writes"
_SQLITE = "sqlite:///"


@dataclass(frozen=True)
class Store:
    """An open store.

    Attributes
    ----------
    engine : sqlalchemy.Engine
    name : str
        For messages: the file, or the URL without its password.
    file : pathlib.Path or None
        Of a SQLite store.
    """

    engine: Engine
    name: str
    file: Path | None = None

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection that sees one state of the store, whatever is written meanwhile.

        Raises
        ------
        StoreError
            The database refuses; nothing was changed.
        """
        with self._told(), self.engine.connect() as connection, connection.begin():
            if connection.dialect.name == "postgresql":
                connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A connection whose changes are kept all together when the block ends well, and otherwise not at all.

        Raises
        ------
        StoreError
            The database refuses; nothing was changed.
        """
        with self._told(), self.engine.connect() as connection:
            marked = connection.execution_options(**{_WRITES: True})
            with marked.begin():
                yield marked

    def keep_log(self) -> None:
        """Let readers of a SQLite store go on while another writes, from now on: the file itself keeps this."""
        if self.file is not None:
            with self._told(), self.engine.connect() as connection:
                raw = connection.connection.dbapi_connection
                assert raw is not None
                raw.execute("PRAGMA journal_mode = WAL").close()

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except DBAPIError as error:
            raise StoreError(_refusal(self.name, error)) from None


@contextmanager
def opened(where: str, *, busy_timeout_s: float, make: bool = False) -> Iterator[Store]:
    """The store at a place, its tables up to date; closed at the end of the block.

    Parameters
    ----------
    where : str
        A file, or a URL of `postgresql://` or `sqlite:///`.
    busy_timeout_s : float
        Seconds to wait for another writer.
    make : bool
        Make the file and the tables when there are none, and bring older tables up to date. Otherwise both must be as
        this version has them.

    Raises
    ------
    StoreError
        It is not there, is no store, was made by a newer version, or cannot be reached.
    """
    engine, name = _engine(where, busy_timeout_s=busy_timeout_s, make=make)
    store = Store(engine, name, sqlite_file(where))
    try:
        if make:
            with store.writing() as connection:
                bring_up_to_date(connection, name=name)
            store.keep_log()
        else:
            with store.reading() as connection:
                check_version(connection, name=name)
        yield store
    finally:
        engine.dispose()


def sqlite_file(where: str) -> Path | None:
    """The file of a SQLite store; None for a store on a server."""
    if "://" not in where:
        return Path(where)
    return Path(where.removeprefix(_SQLITE)) if where.startswith(_SQLITE) else None


def _engine(where: str, *, busy_timeout_s: float, make: bool) -> tuple[Engine, str]:
    file = sqlite_file(where)
    if file is not None:
        if not make and not file.is_file():
            raise StoreError(f"{file}: no such store; check the path, or run `canopy nightly FOLDER` to make one")
        return _sqlite(file, busy_timeout_s=busy_timeout_s), str(file)
    try:
        url = make_url(where)
        name = url.render_as_string(hide_password=True)
        if url.get_backend_name() not in {"postgresql", "postgres"}:
            raise StoreError(f"{name}: not a kind of store; give a file or postgresql://name@host/database")
        url = url.set(drivername="postgresql+psycopg")
        timeout_ms = round(1000 * busy_timeout_s)
        engine = create_engine(url, pool_pre_ping=True)
    except (ArgumentError, NoSuchModuleError):
        raise StoreError("store: not a URL of a database; give a file or postgresql://name@host/database") from None
    except ModuleNotFoundError as error:
        message = f"{name}: needs the package {error.name}; install canopy with its extra `postgres`"
        raise StoreError(message) from None
    event.listen(engine, "connect", lambda raw, _: _prepare_postgres(raw, timeout_ms))
    return engine, name


def _prepare_postgres(raw: Any, timeout_ms: int) -> None:
    raw.execute(f"SET lock_timeout = {timeout_ms}")
    raw.commit()


def _sqlite(file: Path, *, busy_timeout_s: float) -> Engine:
    # Connections are not kept: an open one would hold the write-ahead log beside the file after the work is done.
    engine = create_engine(f"{_SQLITE}{file}", poolclass=NullPool, connect_args={"timeout": busy_timeout_s})
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(raw: Any, _: object) -> None:
    raw.isolation_level = None  # transactions begin where `_begin_sqlite` says, not where the driver guesses
    for pragma in ("synchronous = FULL", "foreign_keys = ON"):
        raw.execute(f"PRAGMA {pragma}").close()


def _begin_sqlite(connection: Connection) -> None:
    # A writer takes its turn at the start: one that begins as a reader cannot wait for another writer's end.
    writes = connection.get_execution_options().get(_WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


_MENDS = (
    ("database is locked", "another program is writing to it; try again, or raise busy_timeout_s under [store]"),
    ("lock timeout", "another program is writing to it; try again, or raise busy_timeout_s under [store]"),
    ("disk is full", "make room on its disk and run again; nothing half-written was kept"),
    ("no space left", "make room on its disk and run again; nothing half-written was kept"),
    ("disk i/o error", "make room on its disk, or check the disk; nothing half-written was kept"),
    ("readonly", "its file or folder cannot be written; change its rights, or name another store with --store"),
    ("unable to open", "its folder is absent or cannot be written; name another store with --store"),
    ("not a database", "the file is no store; name another one with --store"),
    ("malformed", "the file is damaged; put back a backup made by `canopy backup`"),
    ("password", "give the password in the environment (PGPASSWORD) or a password file"),
    ("connection", "check that the server runs and can be reached, and run again"),
)


def _refusal(name: str, error: DBAPIError) -> str:
    """One line: what the database said and how to mend it."""
    said = " ".join(str(error.orig).split())
    mend = next((mend for sign, mend in _MENDS if sign in said.lower()), "report the message; nothing was changed")
    return f"{name}: {said}; {mend}"
