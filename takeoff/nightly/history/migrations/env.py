"""Runs the steps on the connection that `takeoff.nightly.history.database` hands over."""

from alembic import context

from takeoff.nightly.history.schema import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
