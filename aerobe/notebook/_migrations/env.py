"""Runs migrations inside the transaction that the store has begun."""

from __future__ import annotations

from alembic import context

context.configure(connection=context.config.attributes["connection"], transactional_ddl=True, transaction_per_migration=False)
with context.begin_transaction():
    context.run_migrations()
