"""Notices as they stand in the ledger: raised, told, shelved, acknowledged or ended."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Row, and_, insert, or_, select, update

from swapbell_host.alerting.outbox import OpenNotice
from swapbell_host.books.schema import notices
from swapbell_host.books.store import Book, Store
from swapbell_host.judging.history import PastNotice
from swapbell_host.rules import REMEMBERED
from swapbell_models.notice import Notice, NoticeKind, Urgency

# Our choice: an acknowledgement from another program is noticed within a second.
STALE = timedelta(seconds=1)
IS_OPEN = and_(notices.c.acknowledged_at.is_(None), notices.c.ended_at.is_(None))


@dataclass(frozen=True, slots=True)
class EndedNotice:
    """A notice that nobody acknowledged, of something that is over since `ended_at`, aware UTC."""

    id: int
    notice: Notice
    ended_at: datetime


class Notebook(Book):
    """The notices of one ledger."""

    def __init__(self, store: Store) -> None:
        super().__init__(store)
        self._past: dict[tuple[str, str], tuple[PastNotice, ...]] = {}
        self._read_at: datetime | None = None

    def raise_notice(self, notice: Notice, at: datetime) -> OpenNotice | None:  # noqa: ARG002 - the evidence's moment is the notice's
        """Write the notice down; nothing if one of the same name is already there."""
        same = (
            notices.c.site == notice.site,
            notices.c.station == notice.station,
            notices.c.kind == notice.kind.value,
            notices.c.raised_at == notice.raised_at,
        )
        with self._store.transaction() as connection:
            if connection.execute(select(notices.c.id).where(*same)).first():
                return None
            new = insert(notices).values(_row(notice)).returning(notices.c.id)
            number = connection.execute(new).scalar_one()
        self._read_at = None
        return OpenNotice(number, notice, None, 0)

    def open_notices(self) -> list[OpenNotice]:
        """Return every open notice of every station, oldest first."""
        with self._store.reading() as connection:
            rows = connection.execute(
                select(notices).where(IS_OPEN).order_by(notices.c.raised_at, notices.c.id)
            ).all()
        return [_entry(row) for row in rows]

    def ended_notices(self, since: datetime) -> list[EndedNotice]:
        """Return the notices that ended by themselves since then (aware UTC), oldest first."""
        late = select(notices).where(notices.c.ended_at > since).order_by(notices.c.ended_at, notices.c.id)
        with self._store.reading() as connection:
            rows = connection.execute(late).all()
        return [EndedNotice(row.id, _notice(row), row.ended_at) for row in rows]

    def spells(self, since: datetime) -> list[OpenNotice]:
        """Return the notices that ended by themselves since then (aware UTC), as they stood, oldest first."""
        late = select(notices).where(notices.c.ended_at > since).order_by(notices.c.raised_at, notices.c.id)
        with self._store.reading() as connection:
            return [_entry(row) for row in connection.execute(late)]

    def acknowledge(self, notice_id: int, at: datetime, by: str | None = None) -> bool:
        """Close the notice; False if there is no open one of that number."""
        return self._set(notice_id, acknowledged_at=at, acknowledged_by=by)

    def end(self, notice_id: int, at: datetime) -> bool:
        """Note that what the notice told of is over; False if there is no open one of that number."""
        return self._set(notice_id, ended_at=at)

    def shelve(self, notice_id: int, until: datetime, by: str | None = None) -> bool:
        """Let nobody be told of the notice until then (aware UTC); False if there is no open one of that number."""
        return self._set(notice_id, shelved_until=until, shelved_by=by)

    def _set(self, notice_id: int, **how: object) -> bool:
        with self._store.transaction() as connection:
            change = update(notices).where(notices.c.id == notice_id, IS_OPEN)
            done = connection.execute(change.values(how)).rowcount
        self._read_at = None
        return done == 1

    def past(self, site: str, station: str, now: datetime) -> tuple[PastNotice, ...]:
        """Return a station's open notices and those acknowledged lately (`rules.REMEMBERED`), oldest first."""
        if self._read_at is None or not timedelta() <= now - self._read_at < STALE:
            self._past = self._read_past(now)
            self._read_at = now
        return self._past.get((site, station), ())

    def _read_past(self, now: datetime) -> dict[tuple[str, str], tuple[PastNotice, ...]]:
        young = or_(IS_OPEN, notices.c.acknowledged_at > now - REMEMBERED)
        found: defaultdict[tuple[str, str], list[PastNotice]] = defaultdict(list)
        with self._store.reading() as connection:
            for row in connection.execute(select(notices).where(young).order_by(notices.c.raised_at)):
                past = PastNotice(NoticeKind(row.kind), row.raised_at, row.acknowledged_at, row.id)
                found[row.site, row.station].append(past)
        return {station: tuple(past) for station, past in found.items()}


def _entry(row: Row[tuple[object, ...]]) -> OpenNotice:
    return OpenNotice(row.id, _notice(row), row.told_at, row.times_told, row.shelved_until)


def _row(notice: Notice) -> dict[str, object]:
    return {
        "site": notice.site,
        "station": notice.station,
        "kind": notice.kind.value,
        "urgency": notice.urgency.value,
        "raised_at": notice.raised_at,
        "text": notice.text,
    }


def _notice(row: Row[tuple[object, ...]]) -> Notice:
    return Notice(row.site, row.station, NoticeKind(row.kind), Urgency(row.urgency), row.raised_at, row.text)
