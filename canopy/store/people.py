"""Who may use the page: people with their roles, their sessions, tokens of programs, and who did what."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from sqlalchemy import Connection, delete, insert, select, update

from canopy.store.schema import AUDIT, PEOPLE, SESSIONS, TOKENS, WEB_SECRETS

ROLES = ("crew", "qa", "admin")
"""Roles, each with all rights of those before it."""

SCOPES = ("read", "harvest")
"""What a token may allow: to read tables, to record what was cut."""


@dataclass(frozen=True)
class Person:
    """A person who may sign in.

    Attributes
    ----------
    name : str
    role : str
        One of `ROLES`.
    secret : str
        Argon2 hash of the PIN or password.
    made_at : str
        ISO 8601, UTC.
    active : bool
    failures : int
        Sign-ins that failed since the last good one.
    locked_until : str or None
        ISO 8601, UTC.
    """

    name: str
    role: str
    secret: str
    made_at: str
    active: bool = True
    failures: int = 0
    locked_until: str | None = None


@dataclass(frozen=True)
class Token:
    """What a program shows instead of signing in; the token itself is not kept.

    Attributes
    ----------
    token_hash : str
        SHA-256.
    name : str
        Whose it is.
    scopes : str
        Some of `SCOPES`, parted by spaces.
    made_at : str
    active : bool
    """

    token_hash: str
    name: str
    scopes: str
    made_at: str
    active: bool = True


@dataclass(frozen=True)
class Deed:
    """A line of the audit log.

    Attributes
    ----------
    at, by : str
        When (ISO 8601, UTC) and who.
    what : str
        In one word or two, such as `sign-in`.
    about : str
        What it was done to.
    address : str
        Where from.
    """

    at: str
    by: str
    what: str
    about: str = ""
    address: str = ""


def put_person(connection: Connection, person: Person) -> None:
    """Add a person, or give one of this name new rights; sessions of an earlier one end."""
    values = asdict(person)
    changed = connection.execute(update(PEOPLE).where(PEOPLE.c.name == person.name).values(values))
    if changed.rowcount == 0:
        connection.execute(insert(PEOPLE).values(values))
    connection.execute(delete(SESSIONS).where(SESSIONS.c.person == person.name))


def person_of(connection: Connection, name: str) -> Person | None:
    """The person of a name."""
    row = connection.execute(select(PEOPLE).where(PEOPLE.c.name == name)).first()
    return Person(**row._mapping) if row is not None else None


def people(connection: Connection) -> list[Person]:
    """Everybody, by name."""
    return [Person(**row._mapping) for row in connection.execute(select(PEOPLE).order_by(PEOPLE.c.name))]


def anybody(connection: Connection) -> bool:
    """Whether there is somebody who may sign in."""
    return connection.execute(select(PEOPLE.c.name).where(PEOPLE.c.active).limit(1)).first() is not None


def note_failure(connection: Connection, name: str, *, failures: int, locked_until: str | None) -> None:
    """Note how many sign-ins have failed, and until when no more are looked at."""
    values = {"failures": failures, "locked_until": locked_until}
    connection.execute(update(PEOPLE).where(PEOPLE.c.name == name).values(values))


def begin_session(connection: Connection, id_hash: str, person: str, *, made_at: str, ends_at: str) -> None:
    """Begin a session; those that are over are cleared away."""
    connection.execute(delete(SESSIONS).where(SESSIONS.c.ends_at < made_at))
    connection.execute(insert(SESSIONS).values(id_hash=id_hash, person=person, made_at=made_at, ends_at=ends_at))


def person_of_session(connection: Connection, id_hash: str, *, now: str) -> Person | None:
    """Who holds a session that is not over."""
    joined = SESSIONS.join(PEOPLE, SESSIONS.c.person == PEOPLE.c.name)
    wanted = select(*PEOPLE.c).select_from(joined)
    row = connection.execute(
        wanted.where(SESSIONS.c.id_hash == id_hash, SESSIONS.c.ends_at >= now, PEOPLE.c.active)
    ).first()
    return Person(**row._mapping) if row is not None else None


def end_session(connection: Connection, id_hash: str) -> None:
    """End a session."""
    connection.execute(delete(SESSIONS).where(SESSIONS.c.id_hash == id_hash))


def put_token(connection: Connection, token: Token) -> None:
    """Add a token; earlier ones of the same name are no longer good."""
    connection.execute(update(TOKENS).where(TOKENS.c.name == token.name).values(active=False))
    connection.execute(insert(TOKENS).values(asdict(token)))


def token_of(connection: Connection, token_hash: str) -> Token | None:
    """A token that is still good."""
    row = connection.execute(select(TOKENS).where(TOKENS.c.token_hash == token_hash, TOKENS.c.active)).first()
    return Token(**row._mapping) if row is not None else None


def secret(connection: Connection, name: str) -> str | None:
    """A secret of the page's own, such as the key that signs cookies."""
    return connection.execute(select(WEB_SECRETS.c.value).where(WEB_SECRETS.c.name == name)).scalar()


def put_secret(connection: Connection, name: str, value: str) -> None:
    """Keep a secret of the page's own."""
    connection.execute(insert(WEB_SECRETS).values(name=name, value=value))


def note(connection: Connection, deed: Deed) -> None:
    """Add a line to the audit log."""
    connection.execute(insert(AUDIT).values(asdict(deed)))


def deeds(connection: Connection, *, most: int) -> list[Deed]:
    """The newest lines of the audit log, newest first."""
    wanted = select(*(AUDIT.c[name] for name in Deed.__dataclass_fields__)).order_by(AUDIT.c.id.desc()).limit(most)
    return [Deed(**row._mapping) for row in connection.execute(wanted)]
