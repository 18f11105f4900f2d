"""The ledger's tables of what was counted by five minutes: sums of the tallies, made from them in the background."""

from sqlalchemy import BigInteger, Column, ForeignKey, Integer, Table

from swapbell_host.books.schema import METADATA, Moment

# What the tallies of one boot below `boots.uncounted` come to in the five minutes that begin at `from_at`: wasps that
# came in and went out, smaller and larger bodies that came in, how much time the tallies cover, how much was watched;
# and from when to when there are tallies, which a row that an older ledger summed does not know.
counts = Table(
    "counts",
    METADATA,
    Column("boot_id", Integer, ForeignKey("boots.id", name="counts_boot"), primary_key=True, autoincrement=False),
    Column("from_at", Moment, primary_key=True),
    Column("visits", Integer, nullable=False),
    Column("outs", Integer, nullable=False),
    Column("small", Integer, nullable=False),
    Column("large", Integer, nullable=False),
    Column("span_us", BigInteger, nullable=False),
    Column("watched_us", BigInteger, nullable=False),
    Column("first_at", Moment),
    Column("last_at", Moment),
    sqlite_with_rowid=False,
)

# The seqs of a boot below `boots.uncounted` that have not come, `first` to `last`, both included.
gaps = Table(
    "gaps",
    METADATA,
    Column("boot_id", Integer, ForeignKey("boots.id", name="gaps_boot"), primary_key=True, autoincrement=False),
    Column("first", Integer, primary_key=True, autoincrement=False),
    Column("last", Integer, nullable=False),
    sqlite_with_rowid=False,
)
