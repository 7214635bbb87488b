"""Bringing the tables of a store to the version that this program knows, or saying why that cannot be."""

from __future__ import annotations

from importlib.resources import as_file, files

from sqlalchemy import Connection, inspect, select, table
from sqlalchemy import column as named

from canopy.errors import StoreError
from canopy.store.schema import VERSION

_VERSION_TABLE = table("alembic_version", named("version_num"))
# Any number: the key under which several programs that open one database take turns to make its tables.
_TURN = 7243895


def check_version(connection: Connection, *, name: str) -> None:
    """Raise unless the tables are as this version of the program has them.

    Raises
    ------
    StoreError
        There are none, or they are older or newer.
    """
    version = version_of(connection, name=name)
    if version is None:
        raise StoreError(f"{name}: holds no store; check the name, or run `canopy nightly FOLDER` to make one")
    if version < VERSION:
        raise StoreError(
            f"{name}: was made by an older canopy; run `canopy nightly FOLDER` once to bring it up to date"
        )


def bring_up_to_date(connection: Connection, *, name: str) -> None:
    """Make the tables, or take the steps that are missing, inside the connection's transaction.

    Raises
    ------
    StoreError
        The database holds other tables, or a store of a newer version.
    """
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_TURN})")
    if version_of(connection, name=name) != VERSION:
        go_to(connection, "head")


def go_to(connection: Connection, version: str) -> None:
    """Take the steps up to `head`, or up or down to a version; `base` drops everything."""
    # Here, since a store that is up to date need not load it.
    from alembic import command
    from alembic.config import Config

    up = version == "head" or (version != "base" and version > (_stored_version(connection) or ""))
    with as_file(files("canopy.store") / "migrations") as scripts:
        config = Config()
        config.set_main_option("script_location", str(scripts).replace("%", "%%"))
        config.attributes["connection"] = connection
        (command.upgrade if up else command.downgrade)(config, version)


def version_of(connection: Connection, *, name: str) -> str | None:
    """Version of the tables; None in an empty database.

    Raises
    ------
    StoreError
        The database holds other tables, or a store of a newer version.
    """
    version = _stored_version(connection)
    if version is None and set(inspect(connection).get_table_names()) - {_VERSION_TABLE.name}:
        raise StoreError(f"{name}: holds tables of something else; name another file or database")
    if version is not None and version > VERSION:
        message = f"{name}: was made by a newer canopy (tables {version}, known here {VERSION}); upgrade canopy"
        raise StoreError(message)
    return version


def _stored_version(connection: Connection) -> str | None:
    # Asked for first: a table that is not there would end the transaction.
    if not inspect(connection).has_table(_VERSION_TABLE.name):
        return None
    return connection.execute(select(_VERSION_TABLE.c.version_num)).scalar()
