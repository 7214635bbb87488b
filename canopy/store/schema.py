"""The tables of the store; `migrations` holds the steps that lead to them."""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Double,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    Table,
    UniqueConstraint,
)
from sqlalchemy.types import TypeEngine

from canopy.measure.columns import CELL_COLUMNS, TRAY_COLUMNS
from canopy.measure.columns import Column as Promised
from canopy.store.any_text import AnyText

VERSION = "0003"
"""The migration that makes these tables."""

METADATA = MetaData()

LABELS = ("photo", "tray", "taken_at")
"""Columns that stand in every promised table and are kept once a reading."""

CRITERIA: dict[str, str] = {
    "cell": "string", "criterion": "string", "value": "float64", "unit": "string", "desirability": "float64",
    "weight": "float64", "value_low": "float64", "value_high": "float64", "desirability_low": "float64",
    "desirability_high": "float64", "withheld": "boolean",
}  # fmt: skip
"""Columns of the criteria table and their pandas types, as readings have them."""

_KINDS: dict[str, type[TypeEngine[Any]]] = {
    "string": AnyText, "float64": Double, "int64": Integer, "Int64": Integer, "boolean": Boolean,
}  # fmt: skip


def _promised(columns: tuple[Promised, ...], *, without: tuple[str, ...] = ()) -> list[Column[object]]:
    kept = [column for column in columns if column.name not in without]
    return [Column(column.name, _KINDS[column.dtype](), nullable=column.dtype != "int64") for column in kept]


PHOTOS = Table(
    "photos",
    METADATA,
    Column("sha256", AnyText(), primary_key=True),
    Column("path", AnyText(), nullable=False),  # below the folder, as when it was worked through
    Column("size", BigInteger(), nullable=False),
    Column("mtime_ns", BigInteger(), nullable=False),
    Column("state", AnyText(), nullable=False),  # read, partly, set_aside
    Column("reason", AnyText()),  # a code of canopy.reasons
    Column("message", AnyText()),
    Column("tried_with", AnyText(), nullable=False),  # checksum of all that the outcome rests on but the photo
)

FILES = Table(
    "files",
    METADATA,
    Column("folder", AnyText(), primary_key=True),
    Column("name", AnyText(), primary_key=True),
    Column("size", BigInteger(), nullable=False),
    Column("mtime_ns", BigInteger(), nullable=False),
    Column("sha256", AnyText(), ForeignKey("photos.sha256")),  # missing: not read yet, or not readable
    Column("tried_with", AnyText()),
    Column("reason", AnyText()),
    Column("message", AnyText()),
    Index("files_by_content", "sha256"),
)

FOLDERS = Table(
    "folders",
    METADATA,
    Column("folder", AnyText(), primary_key=True),
    Column("listing", AnyText(), nullable=False),  # checksum of names, sizes and times when all of it was done
    Column("waits_on", AnyText(), nullable=False),  # what the files set aside were tried with; empty: none is
)

READINGS = Table(
    "readings",
    METADATA,
    Column("id", Integer(), primary_key=True),
    Column("photo_sha256", AnyText(), ForeignKey("photos.sha256"), nullable=False),
    Column("made_with", AnyText(), nullable=False),  # checksum of settings, version and the tray's record
    Column("fingerprint", AnyText(), nullable=False),
    Column("version", AnyText(), nullable=False),
    Column("recorded_at", AnyText(), nullable=False),
    *_promised(TRAY_COLUMNS),
    UniqueConstraint("photo_sha256", "tray", "made_with", name="one_reading"),
    Index("readings_of_tray", "tray", "taken_at"),
)


def _part(name: str, *columns: Column[object]) -> Table:
    """A table of rows that belong to a reading, kept in their order."""
    reading = Column("reading_id", Integer(), ForeignKey("readings.id"), primary_key=True)
    return Table(name, METADATA, reading, Column("position", Integer(), primary_key=True), *columns)


CELLS = _part("cells", *_promised(CELL_COLUMNS, without=LABELS))

CRITERIA_ROWS = _part("criteria", *(Column(name, _KINDS[dtype]()) for name, dtype in CRITERIA.items()))

REMARKS = _part(
    "remarks",
    Column("code", AnyText(), nullable=False),
    Column("text", AnyText(), nullable=False),
    Column("cell", AnyText(), nullable=False),
)

CORRECTIONS = Table(
    "corrections",
    METADATA,
    Column("id", Integer(), primary_key=True),
    Column("recorded_at", AnyText(), nullable=False),
    Column("by", AnyText(), nullable=False),
    Column("photo_sha256", AnyText(), nullable=False),
    Column("tray", AnyText(), nullable=False),
    Column("cell", AnyText(), nullable=False),
    Column("column", AnyText(), nullable=False),
    Column("value", AnyText()),
    Column("note", AnyText(), nullable=False),
    Index("corrections_of_tray", "tray"),
)

HARVESTS = Table(
    "harvests",
    METADATA,
    Column("id", Integer(), primary_key=True),
    Column("recorded_at", AnyText(), nullable=False),
    Column("by", AnyText(), nullable=False),
    Column("tray", AnyText(), nullable=False),
    Column("cell", AnyText(), nullable=False),
    Column("harvested_on", AnyText(), nullable=False),
    Column("heads", Integer()),
    Column("weight_g", Double()),
    Column("note", AnyText(), nullable=False),
    Index("harvests_of_tray", "tray", "harvested_on"),
)

ASIDES = Table(
    "asides",
    METADATA,
    Column("id", Integer(), primary_key=True),
    Column("noted_at", AnyText(), nullable=False),
    Column("photo", AnyText(), nullable=False),
    Column("tray", AnyText(), nullable=False),
    Column("reason", AnyText(), nullable=False),
    Column("message", AnyText(), nullable=False),
)

MESSAGES = Table(
    "messages",
    METADATA,
    Column("id", Integer(), primary_key=True),
    Column("made_at", AnyText(), nullable=False),
    Column("up_to_reading", Integer(), nullable=False),  # numbers of the last reading and the last photo set aside
    Column("up_to_aside", Integer(), nullable=False),  # that it takes account of
    Column("title", AnyText(), nullable=False),  # empty: there was nothing to tell
    Column("body", AnyText(), nullable=False),
)

DELIVERIES = Table(
    "deliveries",
    METADATA,
    Column("id", Integer(), primary_key=True),
    Column("message_id", Integer(), ForeignKey("messages.id"), nullable=False),
    Column("address", AnyText(), nullable=False),  # checksum: the address itself may hold a password
    Column("state", AnyText(), nullable=False),  # waiting, sending, sent, given_up, unsure
    Column("tries", Integer(), nullable=False),
    Column("tried_at", AnyText()),
    UniqueConstraint("message_id", "address", name="one_delivery"),
)

CLEARED = Table(
    "cleared",
    METADATA,
    Column("sha256", AnyText(), primary_key=True),  # of a photo whose last file was deleted when it was due
    Column("path", AnyText(), nullable=False),
    Column("cleared_at", AnyText(), nullable=False),
)

PEOPLE = Table(
    "people",
    METADATA,
    Column("name", AnyText(), primary_key=True),
    Column("role", AnyText(), nullable=False),  # crew, qa, admin
    Column("secret", AnyText(), nullable=False),  # Argon2 hash of the PIN or password
    Column("made_at", AnyText(), nullable=False),
    Column("active", Boolean(), nullable=False),
    Column("failures", Integer(), nullable=False),  # sign-ins that failed since the last good one
    Column("locked_until", AnyText()),
)

SESSIONS = Table(
    "sessions",
    METADATA,
    Column("id_hash", AnyText(), primary_key=True),  # SHA-256 of what the cookie says
    Column("person", AnyText(), ForeignKey("people.name"), nullable=False),
    Column("made_at", AnyText(), nullable=False),
    Column("ends_at", AnyText(), nullable=False),
)

TOKENS = Table(
    "tokens",
    METADATA,
    Column("token_hash", AnyText(), primary_key=True),  # SHA-256 of the token
    Column("name", AnyText(), nullable=False),
    Column("scopes", AnyText(), nullable=False),  # parted by spaces
    Column("made_at", AnyText(), nullable=False),
    Column("active", Boolean(), nullable=False),
)

WEB_SECRETS = Table(
    "web_secrets",
    METADATA,
    Column("name", AnyText(), primary_key=True),
    Column("value", AnyText(), nullable=False),
)

AUDIT = Table(
    "audit",
    METADATA,
    Column("id", Integer(), primary_key=True),
    Column("at", AnyText(), nullable=False),
    Column("by", AnyText(), nullable=False),
    Column("what", AnyText(), nullable=False),
    Column("about", AnyText(), nullable=False),
    Column("address", AnyText(), nullable=False),
)

SNAPS = Table(
    "snaps",
    METADATA,
    Column("key", AnyText(), primary_key=True),  # given by the phone, so that sending twice counts once
    Column("sha256", AnyText(), nullable=False),
    Column("kind", AnyText(), nullable=False),
    Column("by", AnyText(), nullable=False),
    Column("sent_at", AnyText(), nullable=False),
    Column("taken_by_file", AnyText()),  # the file's own date, the last resort for the time of the photo
    Column("chosen", AnyText(), nullable=False),  # tray named by the person; empty: by the label in the photo
    Column("tray", AnyText(), nullable=False),
    Column("state", AnyText(), nullable=False),  # waiting, read, which_tray, set_aside
    Column("reason", AnyText(), nullable=False),
    Column("message", AnyText(), nullable=False),
    Index("snaps_by_state", "state", "sent_at"),
    Index("snaps_by_content", "sha256"),
)

DONE_KEYS = Table(
    "done_keys",
    METADATA,
    Column("key", AnyText(), primary_key=True),  # given by the phone with what it sends
    Column("at", AnyText(), nullable=False),
    Column("by", AnyText(), nullable=False),
    Column("what", AnyText(), nullable=False),
)

SEEN_NOTES = Table(
    "seen_notes",
    METADATA,
    Column("id", Integer(), primary_key=True),
    Column("recorded_at", AnyText(), nullable=False),
    Column("by", AnyText(), nullable=False),
    Column("tray", AnyText(), nullable=False),
    Column("taken_at", AnyText(), nullable=False),  # of the newest photo that was seen; empty: of unknown time
    Column("note", AnyText(), nullable=False),
    Index("notes_of_tray", "tray"),
)

RECIPE_VERSIONS = Table(
    "recipe_versions",
    METADATA,
    Column("id", Integer(), primary_key=True),
    Column("recorded_at", AnyText(), nullable=False),
    Column("by", AnyText(), nullable=False),
    Column("crop", AnyText(), nullable=False),
    Column("stage", AnyText(), nullable=False),
    Column("recipe", AnyText(), nullable=False),  # JSON, all of it
    Column("note", AnyText(), nullable=False),
)

APPENDED_ONLY = ("corrections", "harvests", "audit", "seen_notes", "recipe_versions")
"""Tables whose rows the database itself refuses to change or delete."""
