"""The first tables of the store, written out so that this step stays what it was when columns are added later."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from canopy.store.any_text import AnyText

revision = "0001"
down_revision = None

_APPENDED_ONLY = ("corrections", "harvests")
_REFUSED = "rows are only ever added here"

# name of the column: t text, n number, w whole number, b truth value; an exclamation mark: never missing
_TRAY = (
    "photo:t tray:t taken_at:t quality:t quality_reason:t located_by:t mm_per_px:n tilt_deg:n cells:w! planted:w! "
    "emergence:n cover:n mean_area_mm2:n cv_area:n cu:n du_lq:n gini:n moran_i:n moran_p:n edge_effect:n evenness:n "
    "pattern:t ready:w ready_on:t decision:t robust_cv:n edge_p:n geary_c:n"
)
_CELL = (
    "row:w! col:w! cell:t state:t das:w area_mm2:n area_low_mm2:n area_high_mm2:n cover:n weight_g:n weight_low_g:n "
    "weight_high_g:n exg:n ngrdi:n gli:n dgci:n hue_deg:n yellow_fraction:n brown_fraction:n readiness:n "
    "readiness_low:n readiness_high:n decision:t limiting:t reason:t x_mm:n y_mm:n diameter_mm:n compactness:n "
    "solidity:n contact:n texture:n height_mm:n area_seen_mm2:n area_rel_sd:n l_star:n a_star:n b_star:n"
)
_CRITERIA = (
    "cell:t criterion:t value:n unit:t desirability:n weight:n value_low:n value_high:n desirability_low:n "
    "desirability_high:n withheld:b"
)
_KINDS = {"t": AnyText, "n": sa.Double, "w": sa.Integer, "b": sa.Boolean, "l": sa.BigInteger}


def _columns(text: str) -> list[sa.Column[object]]:
    pairs = [word.split(":") for word in text.split()]
    return [sa.Column(name, _KINDS[kind[0]](), nullable=not kind.endswith("!")) for name, kind in pairs]


def _part(name: str, columns: str) -> None:
    reading = sa.Column("reading_id", sa.Integer(), sa.ForeignKey("readings.id"), primary_key=True)
    op.create_table(name, reading, sa.Column("position", sa.Integer(), primary_key=True), *_columns(columns))


def upgrade() -> None:
    """Make all tables."""
    sha256: sa.Column[str] = sa.Column("sha256", AnyText(), primary_key=True)
    op.create_table(
        "photos", sha256, *_columns("path:t! size:l! mtime_ns:l! state:t! reason:t message:t tried_with:t!")
    )
    op.create_table(
        "files",
        sa.Column("folder", AnyText(), primary_key=True),
        sa.Column("name", AnyText(), primary_key=True),
        *_columns("size:l! mtime_ns:l!"),
        sa.Column("sha256", AnyText(), sa.ForeignKey("photos.sha256")),
        *_columns("tried_with:t reason:t message:t"),
    )
    op.create_index("files_by_content", "files", ["sha256"])
    op.create_table("folders", sa.Column("folder", AnyText(), primary_key=True), *_columns("listing:t! waits_on:t!"))
    op.create_table(
        "readings",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("photo_sha256", AnyText(), sa.ForeignKey("photos.sha256"), nullable=False),
        *_columns("made_with:t! fingerprint:t! version:t! recorded_at:t!"),
        *_columns(_TRAY),
        sa.UniqueConstraint("photo_sha256", "tray", "made_with", name="one_reading"),
    )
    op.create_index("readings_of_tray", "readings", ["tray", "taken_at"])
    _part("cells", _CELL)
    _part("criteria", _CRITERIA)
    _part("remarks", "code:t! text:t! cell:t!")
    number = ("id", sa.Integer())
    op.create_table(
        "corrections",
        sa.Column(*number, primary_key=True),
        *_columns("recorded_at:t! by:t! photo_sha256:t! tray:t! cell:t! column:t! value:t note:t!"),
    )
    op.create_table(
        "harvests",
        sa.Column(*number, primary_key=True),
        *_columns("recorded_at:t! by:t! tray:t! cell:t! harvested_on:t! heads:w weight_g:n note:t!"),
    )
    _refuse_changes()


def _refuse_changes() -> None:
    """Let the database itself refuse to change or delete what people recorded."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            f"CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{_REFUSED}'; END $$"
        )
        for table in _APPENDED_ONLY:
            op.execute(
                f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE ON {table} "
                "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
            )
        return
    for table in _APPENDED_ONLY:
        for change in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{change.lower()} BEFORE {change} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{_REFUSED}'); END"
            )


def downgrade() -> None:
    """Drop all tables and with them all readings."""
    for table in ("harvests", "corrections", "remarks", "criteria", "cells", "readings", "folders", "files", "photos"):
        op.drop_table(table)
    if op.get_bind().dialect.name == "postgresql":
        op.execute("DROP FUNCTION refuse_change()")
