"""What the ledger tells of one station beside its counts: what was noticed of it, and its last word of itself."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Row, select

from swapbell_host.books.schema import health, notices
from swapbell_host.books.store import Store
from swapbell_models.message import Health, decode
from swapbell_models.notice import NoticeKind

# Our choice: more marks than a person reads on one plot.
NOTICES_MAX = 200


@dataclass(frozen=True, slots=True)
class Noticed:
    """A notice of the past.

    Attributes
    ----------
    raised_at
        The moment of its evidence, aware UTC.
    acknowledged_at, acknowledged_by
        When somebody saw to it, and who; nothing while nobody did, or where nobody said who.
    ended_at
        When what it told of ended by itself; nothing if it did not.
    shelved_until
        Until when somebody put it off; nothing if nobody did.
    """

    id: int
    kind: NoticeKind
    raised_at: datetime
    text: str
    acknowledged_at: datetime | None
    acknowledged_by: str | None
    ended_at: datetime | None
    shelved_until: datetime | None = None


@dataclass(frozen=True, slots=True)
class Word:
    """What a station said last of itself.

    Attributes
    ----------
    since_at, heard_at
        Since when it has said the same state, and when it last did, aware UTC.
    """

    health: Health
    since_at: datetime
    heard_at: datetime


def noticed(store: Store, site: str, station: str, from_at: datetime, to_at: datetime) -> list[Noticed]:
    """Return what was noticed of a station between two moments (aware UTC), oldest first; the newest if many."""
    own = (notices.c.site == site, notices.c.station == station, notices.c.raised_at.between(from_at, to_at))
    newest = select(notices).where(*own).order_by(notices.c.raised_at.desc(), notices.c.id.desc()).limit(NOTICES_MAX)
    with store.reading() as connection:
        return [_noticed(row) for row in reversed(connection.execute(newest).all())]


def _noticed(row: Row[tuple[object, ...]]) -> Noticed:
    closed = row.acknowledged_at, row.acknowledged_by, row.ended_at
    return Noticed(row.id, NoticeKind(row.kind), row.raised_at, row.text, *closed, row.shelved_until)


def last_word(store: Store, site: str, station: str) -> Word | None:
    """Return what a station said last of itself; nothing if it never did."""
    own = select(health).where(health.c.site == site, health.c.station == station)
    with store.reading() as connection:
        row = connection.execute(own.order_by(health.c.id.desc()).limit(1)).first()
    return Word(decode(row.report, Health), row.began_at, row.last_at) if row else None
