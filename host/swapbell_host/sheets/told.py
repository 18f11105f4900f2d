"""What people were told of a site's stations, read from the ledger's notices: all of it, also what is long over."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select

from swapbell_host.books.schema import notices
from swapbell_host.books.store import Store


@dataclass(frozen=True, slots=True)
class Told:
    """One notice and what became of it.

    Attributes
    ----------
    id
        Its number in the ledger.
    kind
        As it is shown: touched, ready, ...
    raised_at
        The moment of its evidence, aware UTC.
    times_told
        How often it left the host.
    acknowledged_at, acknowledged_by, ended_at
        When somebody saw to it, and who; when what it told of ended by itself. Nothing where it did not come to that.
    """

    id: int
    station: str
    kind: str
    raised_at: datetime
    text: str
    times_told: int
    acknowledged_at: datetime | None
    acknowledged_by: str | None
    ended_at: datetime | None


def told(store: Store, site: str, from_at: datetime, to_at: datetime) -> list[Told]:
    """Return the notices of a site that were raised from one moment up to another (aware UTC), oldest first."""
    within = (notices.c.site == site, notices.c.raised_at >= from_at, notices.c.raised_at < to_at)
    with store.reading() as connection:
        rows = connection.execute(select(notices).where(*within).order_by(notices.c.raised_at, notices.c.id)).all()
    return [
        Told(
            row.id,
            row.station,
            row.kind,
            row.raised_at,
            row.text,
            row.times_told,
            row.acknowledged_at,
            row.acknowledged_by,
            row.ended_at,
        )
        for row in rows
    ]
