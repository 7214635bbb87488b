"""What is told of a farm: photos set aside, messages and their deliveries; and which photos were deleted when due."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from canopy.store.any_text import AnyText

revision = "0002"
down_revision = "0001"

# name of the column: t text, w whole number; an exclamation mark: never missing
_TABLES = {
    "asides": "noted_at:t! photo:t! tray:t! reason:t! message:t!",
    "messages": "made_at:t! up_to_reading:w! up_to_aside:w! title:t! body:t!",
}
_KINDS = {"t": AnyText, "w": sa.Integer}


def _columns(text: str) -> list[sa.Column[object]]:
    pairs = [word.split(":") for word in text.split()]
    return [sa.Column(name, _KINDS[kind[0]](), nullable=not kind.endswith("!")) for name, kind in pairs]


def upgrade() -> None:
    """Make the tables."""
    for table, columns in _TABLES.items():
        op.create_table(table, sa.Column("id", sa.Integer(), primary_key=True), *_columns(columns))
    op.create_table(
        "deliveries",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("message_id", sa.Integer(), sa.ForeignKey("messages.id"), nullable=False),
        *_columns("address:t! state:t! tries:w! tried_at:t"),
        sa.UniqueConstraint("message_id", "address", name="one_delivery"),
    )
    op.create_table("cleared", sa.Column("sha256", AnyText(), primary_key=True), *_columns("path:t! cleared_at:t!"))


def downgrade() -> None:
    """Drop them and what is in them."""
    for table in ("cleared", "deliveries", "messages", "asides"):
        op.drop_table(table)
