"""How Alembic reaches the database: over the connection that the store hands it, and no other."""

from alembic import context

from gradekit_api.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
