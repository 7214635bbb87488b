"""What the page on the phone keeps: people, sessions, photos sent, notes, recipe versions, who did what."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from canopy.store.any_text import AnyText

revision = "0003"
down_revision = "0002"

_APPENDED_ONLY = ("audit", "seen_notes", "recipe_versions")
_REFUSED = "rows are only ever added here"

# name of the column: t text, w whole number, b truth value; an exclamation mark: never missing
_TABLES: dict[str, tuple[str | None, str]] = {
    "people": ("name", "role:t! secret:t! made_at:t! active:b! failures:w! locked_until:t"),
    "tokens": ("token_hash", "name:t! scopes:t! made_at:t! active:b!"),
    "web_secrets": ("name", "value:t!"),
    "audit": (None, "at:t! by:t! what:t! about:t! address:t!"),
    "snaps": (
        "key",
        "sha256:t! kind:t! by:t! sent_at:t! taken_by_file:t chosen:t! tray:t! state:t! reason:t! message:t!",
    ),
    "done_keys": ("key", "at:t! by:t! what:t!"),
    "seen_notes": (None, "recorded_at:t! by:t! tray:t! taken_at:t! note:t!"),
    "recipe_versions": (None, "recorded_at:t! by:t! crop:t! stage:t! recipe:t! note:t!"),
}
_INDEXES = (
    ("snaps_by_state", "snaps", ["state", "sent_at"]),
    ("snaps_by_content", "snaps", ["sha256"]),
    ("notes_of_tray", "seen_notes", ["tray"]),
    ("corrections_of_tray", "corrections", ["tray"]),
    ("harvests_of_tray", "harvests", ["tray", "harvested_on"]),
)
_KINDS = {"t": AnyText, "w": sa.Integer, "b": sa.Boolean}


def _columns(text: str) -> list[sa.Column[object]]:
    pairs = [word.split(":") for word in text.split()]
    return [sa.Column(name, _KINDS[kind[0]](), nullable=not kind.endswith("!")) for name, kind in pairs]


def upgrade() -> None:
    """Make the tables and indexes."""
    for table, (key, columns) in _TABLES.items():
        own = sa.Column(key, AnyText(), primary_key=True) if key else sa.Column("id", sa.Integer(), primary_key=True)
        op.create_table(table, own, *_columns(columns))
    op.create_table(
        "sessions",
        sa.Column("id_hash", AnyText(), primary_key=True),
        sa.Column("person", AnyText(), sa.ForeignKey("people.name"), nullable=False),
        *_columns("made_at:t! ends_at:t!"),
    )
    for name, table, columns_of in _INDEXES:
        op.create_index(name, table, columns_of)
    _refuse_changes()


def _refuse_changes() -> None:
    """Let the database itself refuse to change or delete what was written down."""
    for table in _APPENDED_ONLY:
        if op.get_bind().dialect.name == "postgresql":
            op.execute(
                f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE ON {table} "
                "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
            )
            continue
        for change in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{change.lower()} BEFORE {change} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{_REFUSED}'); END"
            )


def downgrade() -> None:
    """Drop them and what is in them."""
    for name, table, _ in _INDEXES:
        op.drop_index(name, table)
    for table in ("sessions", *reversed(_TABLES)):
        op.drop_table(table)
