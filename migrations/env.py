"""Runs migrations on the connection that `app.store.migrating` hands over.

The transaction is that connection's too: all migrations together, or none.
"""

from __future__ import annotations

from alembic import context

from app.store.tables import Base

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    transaction_per_migration=False,
    transactional_ddl=True,
    render_as_batch=True,
    compare_type=True,
    compare_server_default=True,
)
with context.begin_transaction():
    context.run_migrations()
