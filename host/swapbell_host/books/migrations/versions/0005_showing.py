"""What is shown and told: counts by five minutes, tellings and their quiet hours, accounts."""

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables."""
    _counts()
    _tellings()
    _accounts()


def _counts() -> None:
    """Make the table of counts."""


def _tellings() -> None:
    """Make the tables of what is told, and when a contact wants to hear nothing."""


def _accounts() -> None:
    """Make the tables of who may sign in."""
