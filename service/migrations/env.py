"""Runs migrations on the connection that `service.migrating` hands over."""

from alembic import context

from service.schema import metadata

connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=metadata,
    render_as_batch=connection.dialect.name == "sqlite",
    transaction_per_migration=True,
)
with context.begin_transaction():
    context.run_migrations()
