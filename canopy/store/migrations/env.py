"""Run by Alembic: takes the open connection and its transaction, so that a step is made whole or not at all."""

from __future__ import annotations

from alembic import context

from canopy.store.schema import METADATA

context.configure(connection=context.config.attributes["connection"], target_metadata=METADATA, transactional_ddl=True)
with context.begin_transaction():
    context.run_migrations()
