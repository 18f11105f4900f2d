"""The ledger's tables of what is told to whom: the outbox of the alerts, and the host's own sign of life."""

from sqlalchemy import Column, ForeignKey, Index, Integer, String, Table

from swapbell_host.books.schema import METADATA, Moment

# One message to one person: `made_at` when it began to be put together, `due_at` when it is tried next, `taken_at`
# when the person's address took it. What is not taken is kept and tried again.
tellings = Table(
    "tellings",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("person", String, nullable=False),
    Column("made_at", Moment, nullable=False),
    Column("due_at", Moment, nullable=False),
    Column("tries", Integer, nullable=False),
    Column("taken_at", Moment),
    Index("tellings_taken", "taken_at"),
)

# Which notices a message names, why each, and when it was put into it.
told = Table(
    "told",
    METADATA,
    Column(
        "telling_id", Integer, ForeignKey("tellings.id", name="told_telling"), primary_key=True, autoincrement=False
    ),
    Column("notice_id", Integer, ForeignKey("notices.id", name="told_notice"), primary_key=True, autoincrement=False),
    Column("why", String, nullable=False),
    Column("made_at", Moment, nullable=False),
    Index("told_of_notice", "notice_id"),
    Index("told_made", "made_at"),
)

# One row: when the host was last there, what keeps it from its whole work, if anything does, and when a person was
# last told that it is alive.
pulse = Table(
    "pulse",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("beat_at", Moment, nullable=False),
    Column("trouble", String),
    Column("alive_told_at", Moment),
)
