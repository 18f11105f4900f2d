"""The ledger's revisions, run by Alembic when an older ledger is opened."""
