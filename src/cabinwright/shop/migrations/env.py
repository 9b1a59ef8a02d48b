"""Run by Alembic with the connection that ``migrate`` opened; there is no other way in."""

from alembic import context

from cabinwright.shop.rows import Row

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Row.metadata,
    transactional_ddl=True,
)
context.run_migrations()
