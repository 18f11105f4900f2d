"""Notices that end by themselves, and the highest seq that a spool ever took in."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the columns."""
    op.add_column("notices", sa.Column("ended_at", sa.BigInteger))
    op.add_column("boots", sa.Column("last", sa.Integer, nullable=False, server_default="0"))
