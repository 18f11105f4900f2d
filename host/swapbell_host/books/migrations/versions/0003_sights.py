"""How well a counter saw, and how sure it is of a crossing."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table and the column."""
    op.add_column("crossings", sa.Column("confidence", sa.Double))
    op.create_table(
        "sights",
        sa.Column("boot_id", sa.Integer, autoincrement=False),
        sa.Column("seq", sa.Integer, autoincrement=False),
        sa.Column("light", sa.Double),
        sa.Column("detail", sa.Double),
        sa.Column("noise", sa.Double),
        sa.Column("shake_mm", sa.Double),
        sa.Column("moving", sa.Double),
        sa.Column("dropped", sa.Integer),
        sa.Column("blind_s", sa.Double),
        sa.Column("hindrance", sa.String),
        sa.PrimaryKeyConstraint("boot_id", "seq"),
        sa.ForeignKeyConstraint(["boot_id", "seq"], ["tallies.boot_id", "tallies.seq"], name="sights_tally"),
        sqlite_with_rowid=False,
    )
