"""Runs the migrations over the connection that `assistant.archive.database` hands in."""

from alembic import context

from assistant.archive.tables import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    transactional_ddl=True,
)
context.run_migrations()
