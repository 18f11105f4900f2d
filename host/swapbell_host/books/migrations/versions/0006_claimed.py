"""From when to when a boot claims a stretch, so that two counters under one name are told from a restart."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the columns; what is summed already goes without them: a season of it would take minutes."""
    op.add_column("counts", sa.Column("first_at", sa.BigInteger))
    op.add_column("counts", sa.Column("last_at", sa.BigInteger))
