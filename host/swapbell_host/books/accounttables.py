"""The ledger's tables of who may sign in, and who has."""

from sqlalchemy import Column, ForeignKey, Index, LargeBinary, String, Table

from swapbell_host.books.schema import METADATA, Moment

# `password` is an Argon2id hash with its own salt and parameters.
accounts = Table(
    "accounts",
    METADATA,
    Column("name", String, primary_key=True),
    Column("access", String, nullable=False),
    Column("password", String, nullable=False),
    Column("changed_at", Moment, nullable=False),
)

# One row for each browser that is signed in; `digest` is the SHA-256 of the secret that only the browser holds.
sessions = Table(
    "sessions",
    METADATA,
    Column("digest", LargeBinary, primary_key=True),
    Column("account", String, ForeignKey("accounts.name", name="sessions_account"), nullable=False),
    Column("began_at", Moment, nullable=False),
    Column("until_at", Moment, nullable=False),
    Index("sessions_of_account", "account"),
)
