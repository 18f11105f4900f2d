"""The ledger's tables: what was received, when, and what was said about it.

One schema for SQLite and PostgreSQL. Rows of `tallies`, `crossings`, `sights` and `rejected` are never changed.
Moments are whole microseconds since 1970-01-01 UTC: exact, small, and ordered the same way in both databases.
"""

from datetime import UTC, datetime, timedelta

from sqlalchemy import (
    BigInteger,
    Column,
    Dialect,
    Double,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    TypeDecorator,
    UniqueConstraint,
)

# Those in migrations/versions, oldest first: a ledger of an older one is upgraded, of any other refused.
REVISIONS = ("0001", "0002", "0003", "0004", "0005", "0006")

_EPOCH_AT = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)


def to_us(moment: datetime) -> int:
    """Return a moment as whole microseconds since 1970-01-01 UTC [us]."""
    return (moment - _EPOCH_AT) // _MICROSECOND


def from_us(moment_us: int) -> datetime:
    """Return the moment, aware UTC, of so many microseconds since 1970-01-01 UTC [us]."""
    return _EPOCH_AT + timedelta(microseconds=moment_us)


class Moment(TypeDecorator[datetime]):
    """An aware datetime, stored as microseconds since 1970-01-01 UTC."""

    impl = BigInteger
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> int | None:  # noqa: ARG002 - SQLAlchemy's
        """Write a moment."""
        return None if value is None else to_us(value)

    def process_result_value(self, value: int | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002 - SQLAlchemy's
        """Read a moment."""
        return None if value is None else from_us(value)


METADATA = MetaData()

# Which start of which station's counter; `oldest` is the first seq that its spool still held when it last said so:
# what is missing below will never come. `last` is the highest seq that the spool ever took in, by the word of the
# station; 0 if it never said so. `synced` is its first tally with a set clock, which tells when it `started_at`. Its
# tallies below the seq `uncounted` are summed in `counts`.
boots = Table(
    "boots",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("site", String, nullable=False),
    Column("station", String, nullable=False),
    Column("boot", String, nullable=False),
    Column("oldest", Integer, nullable=False, default=0),
    Column("last", Integer, nullable=False, default=0, server_default="0"),
    Column("synced", Integer),
    Column("started_at", Moment),
    Column("uncounted", Integer, nullable=False, default=0, server_default="0"),
    UniqueConstraint("site", "station", "boot", name="boots_name"),
)

tallies = Table(
    "tallies",
    METADATA,
    Column("boot_id", Integer, ForeignKey("boots.id", name="tallies_boot"), primary_key=True, autoincrement=False),
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("from_at", Moment, nullable=False),
    Column("up_s", Double, nullable=False),
    Column("clock", String, nullable=False),
    Column("seconds", Double, nullable=False),
    Column("watched_s", Double, nullable=False),
    Column("received_at", Moment, nullable=False),
    Index("tallies_received", "received_at"),
    sqlite_with_rowid=False,
)

# `n` is the crossing's place in its tally, from 0; `at_s` counts from the tally's `from_at`.
crossings = Table(
    "crossings",
    METADATA,
    Column("boot_id", Integer, primary_key=True, autoincrement=False),
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("n", Integer, primary_key=True, autoincrement=False),
    Column("at_s", Double, nullable=False),
    Column("direction", String, nullable=False),
    Column("size", String, nullable=False),
    Column("length_mm", Double, nullable=False),
    Column("confidence", Double),
    ForeignKeyConstraint(["boot_id", "seq"], ["tallies.boot_id", "tallies.seq"], name="crossings_tally"),
    sqlite_with_rowid=False,
)

# How well a counter saw during a tally, where it told; its columns are the fields of `tally.Sight`.
sights = Table(
    "sights",
    METADATA,
    Column("boot_id", Integer, primary_key=True, autoincrement=False),
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("light", Double),
    Column("detail", Double),
    Column("noise", Double),
    Column("shake_mm", Double),
    Column("moving", Double),
    Column("dropped", Integer),
    Column("blind_s", Double),
    Column("hindrance", String),
    ForeignKeyConstraint(["boot_id", "seq"], ["tallies.boot_id", "tallies.seq"], name="sights_tally"),
    sqlite_with_rowid=False,
)

# What could not be read or believed. `boot` and `seq` are filled where the payload was kept whole, so that a receipt
# may cover it; `digest` makes the same payload sent again one row.
rejected = Table(
    "rejected",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("received_at", Moment, nullable=False),
    Column("topic", String, nullable=False),
    Column("payload", LargeBinary, nullable=False),
    Column("payload_bytes", Integer, nullable=False),
    Column("reason", String, nullable=False),
    Column("digest", LargeBinary, nullable=False),
    Column("site", String),
    Column("station", String),
    Column("boot", String),
    Column("seq", Integer),
    UniqueConstraint("digest", name="rejected_digest"),
    Index("rejected_station", "site", "station", "boot"),
)

# One row for as long as a station says the same state: its first and its latest word.
health = Table(
    "health",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("site", String, nullable=False),
    Column("station", String, nullable=False),
    Column("state", String, nullable=False),
    Column("began_at", Moment, nullable=False),
    Column("last_at", Moment, nullable=False),
    Column("report", LargeBinary, nullable=False),
    Index("health_station", "site", "station", "id"),
)

# `ended_at` is set where nobody acknowledged a notice but what it told of has ended; nobody is told of one before
# `shelved_until`.
notices = Table(
    "notices",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("site", String, nullable=False),
    Column("station", String, nullable=False),
    Column("kind", String, nullable=False),
    Column("urgency", String, nullable=False),
    Column("raised_at", Moment, nullable=False),
    Column("text", String, nullable=False),
    Column("times_told", Integer, nullable=False, default=0),
    Column("told_at", Moment),
    Column("acknowledged_at", Moment),
    Column("acknowledged_by", String),
    Column("ended_at", Moment),
    Column("shelved_until", Moment),
    Column("shelved_by", String),
    UniqueConstraint("site", "station", "kind", "raised_at", name="notices_name"),
    Index("notices_closed", "ended_at", "acknowledged_at"),
)
