"""Runs the migrations on the connection that the ledger hands over; there is no other way to run them."""

from alembic import context

from swapbell_host.books.schema import METADATA

context.configure(connection=context.config.attributes["connection"], target_metadata=METADATA)
with context.begin_transaction():
    context.run_migrations()
