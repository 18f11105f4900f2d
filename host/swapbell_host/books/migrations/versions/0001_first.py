"""The first ledger."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "boots",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("site", sa.String, nullable=False),
        sa.Column("station", sa.String, nullable=False),
        sa.Column("boot", sa.String, nullable=False),
        sa.Column("oldest", sa.Integer, nullable=False),
        sa.UniqueConstraint("site", "station", "boot", name="boots_name"),
    )
    op.create_table(
        "tallies",
        sa.Column("boot_id", sa.Integer, sa.ForeignKey("boots.id", name="tallies_boot"), autoincrement=False),
        sa.Column("seq", sa.Integer, autoincrement=False),
        sa.Column("from_at", sa.BigInteger, nullable=False),
        sa.Column("up_s", sa.Double, nullable=False),
        sa.Column("clock", sa.String, nullable=False),
        sa.Column("seconds", sa.Double, nullable=False),
        sa.Column("watched_s", sa.Double, nullable=False),
        sa.Column("received_at", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("boot_id", "seq"),
        sqlite_with_rowid=False,
    )
    op.create_index("tallies_received", "tallies", ["received_at"])
    op.create_table(
        "crossings",
        sa.Column("boot_id", sa.Integer, autoincrement=False),
        sa.Column("seq", sa.Integer, autoincrement=False),
        sa.Column("n", sa.Integer, autoincrement=False),
        sa.Column("at_s", sa.Double, nullable=False),
        sa.Column("direction", sa.String, nullable=False),
        sa.Column("size", sa.String, nullable=False),
        sa.Column("length_mm", sa.Double, nullable=False),
        sa.PrimaryKeyConstraint("boot_id", "seq", "n"),
        sa.ForeignKeyConstraint(["boot_id", "seq"], ["tallies.boot_id", "tallies.seq"], name="crossings_tally"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "rejected",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("received_at", sa.BigInteger, nullable=False),
        sa.Column("topic", sa.String, nullable=False),
        sa.Column("payload", sa.LargeBinary, nullable=False),
        sa.Column("payload_bytes", sa.Integer, nullable=False),
        sa.Column("reason", sa.String, nullable=False),
        sa.Column("digest", sa.LargeBinary, nullable=False),
        sa.Column("site", sa.String),
        sa.Column("station", sa.String),
        sa.Column("boot", sa.String),
        sa.Column("seq", sa.Integer),
        sa.UniqueConstraint("digest", name="rejected_digest"),
    )
    op.create_index("rejected_station", "rejected", ["site", "station", "boot"])
    op.create_table(
        "health",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("site", sa.String, nullable=False),
        sa.Column("station", sa.String, nullable=False),
        sa.Column("state", sa.String, nullable=False),
        sa.Column("began_at", sa.BigInteger, nullable=False),
        sa.Column("last_at", sa.BigInteger, nullable=False),
        sa.Column("report", sa.LargeBinary, nullable=False),
    )
    op.create_index("health_station", "health", ["site", "station", "id"])
    op.create_table(
        "notices",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("site", sa.String, nullable=False),
        sa.Column("station", sa.String, nullable=False),
        sa.Column("kind", sa.String, nullable=False),
        sa.Column("urgency", sa.String, nullable=False),
        sa.Column("raised_at", sa.BigInteger, nullable=False),
        sa.Column("text", sa.String, nullable=False),
        sa.Column("times_told", sa.Integer, nullable=False),
        sa.Column("told_at", sa.BigInteger),
        sa.Column("acknowledged_at", sa.BigInteger),
        sa.Column("acknowledged_by", sa.String),
        sa.UniqueConstraint("site", "station", "kind", "raised_at", name="notices_name"),
    )
