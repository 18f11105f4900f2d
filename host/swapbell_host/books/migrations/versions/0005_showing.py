"""What is shown and told: counts by five minutes, tellings and their quiet hours, accounts."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

# A boot started so long before its first tally with a set clock as that tally says.
STARTS = (
    "UPDATE boots SET synced = (SELECT min(seq) FROM tallies WHERE boot_id = boots.id AND clock = 'synced')",
    "UPDATE boots SET started_at = (SELECT from_at - CAST(round(up_s * 1000000) AS BIGINT) "
    "FROM tallies WHERE boot_id = boots.id AND seq = boots.synced)",
)


def upgrade() -> None:
    """Make the tables."""
    _counts()
    _tellings()
    _accounts()


def _counts() -> None:
    """Note when each boot started, and make the tables of what is counted by five minutes; a host fills them."""
    op.add_column("boots", sa.Column("synced", sa.Integer))
    op.add_column("boots", sa.Column("started_at", sa.BigInteger))
    op.add_column("boots", sa.Column("uncounted", sa.Integer, nullable=False, server_default="0"))
    for order in STARTS:
        op.execute(order)
    op.create_table(
        "counts",
        sa.Column("boot_id", sa.Integer, sa.ForeignKey("boots.id", name="counts_boot"), autoincrement=False),
        sa.Column("from_at", sa.BigInteger),
        sa.Column("visits", sa.Integer, nullable=False),
        sa.Column("outs", sa.Integer, nullable=False),
        sa.Column("small", sa.Integer, nullable=False),
        sa.Column("large", sa.Integer, nullable=False),
        sa.Column("span_us", sa.BigInteger, nullable=False),
        sa.Column("watched_us", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("boot_id", "from_at"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "gaps",
        sa.Column("boot_id", sa.Integer, sa.ForeignKey("boots.id", name="gaps_boot"), autoincrement=False),
        sa.Column("first", sa.Integer, autoincrement=False),
        sa.Column("last", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("boot_id", "first"),
        sqlite_with_rowid=False,
    )


def _tellings() -> None:
    """Make the tables of what is told, and note who shelved a notice and when a contact wants to hear nothing."""
    op.add_column("contacts", sa.Column("quiet", sa.String))
    op.add_column("notices", sa.Column("shelved_until", sa.BigInteger))
    op.add_column("notices", sa.Column("shelved_by", sa.String))
    op.create_index("notices_closed", "notices", ["ended_at", "acknowledged_at"])
    op.create_table(
        "tellings",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("person", sa.String, nullable=False),
        sa.Column("made_at", sa.BigInteger, nullable=False),
        sa.Column("due_at", sa.BigInteger, nullable=False),
        sa.Column("tries", sa.Integer, nullable=False),
        sa.Column("taken_at", sa.BigInteger),
    )
    op.create_index("tellings_taken", "tellings", ["taken_at"])
    op.create_table(
        "told",
        sa.Column("telling_id", sa.Integer, sa.ForeignKey("tellings.id", name="told_telling"), autoincrement=False),
        sa.Column("notice_id", sa.Integer, sa.ForeignKey("notices.id", name="told_notice"), autoincrement=False),
        sa.Column("why", sa.String, nullable=False),
        sa.Column("made_at", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("telling_id", "notice_id"),
    )
    op.create_index("told_of_notice", "told", ["notice_id"])
    op.create_index("told_made", "told", ["made_at"])
    op.create_table(
        "pulse",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("beat_at", sa.BigInteger, nullable=False),
        sa.Column("trouble", sa.String),
        sa.Column("alive_told_at", sa.BigInteger),
    )


def _accounts() -> None:
    """Make the tables of who may sign in."""
    op.create_table(
        "accounts",
        sa.Column("name", sa.String, primary_key=True),
        sa.Column("access", sa.String, nullable=False),
        sa.Column("password", sa.String, nullable=False),
        sa.Column("changed_at", sa.BigInteger, nullable=False),
    )
    op.create_table(
        "sessions",
        sa.Column("digest", sa.LargeBinary, primary_key=True),
        sa.Column("account", sa.String, sa.ForeignKey("accounts.name", name="sessions_account"), nullable=False),
        sa.Column("began_at", sa.BigInteger, nullable=False),
        sa.Column("until_at", sa.BigInteger, nullable=False),
    )
    op.create_index("sessions_of_account", "sessions", ["account"])
