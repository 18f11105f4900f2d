"""Tellings as they stand in the ledger: what is to be told to whom, and what was. This is the alerts' outbox."""

from collections.abc import Iterable
from datetime import datetime

from sqlalchemy import Connection, and_, delete, insert, or_, select, update

from swapbell_host.alerting.outbox import Told, Waiting, Why
from swapbell_host.alerting.trouble import Pulse
from swapbell_host.books.notebook import IS_OPEN
from swapbell_host.books.schema import notices
from swapbell_host.books.store import Book
from swapbell_host.books.tellingtables import pulse, tellings, told
from swapbell_models.notice import NoticeKind

_WAITS = tellings.c.taken_at.is_(None)


class Tellingbook(Book):
    """The tellings of one ledger."""

    def told(self, since: datetime) -> list[Told]:
        """Return what was told, or waits to be, of each open notice and of any since then, oldest first."""
        words = (
            select(told, tellings.c.person, tellings.c.taken_at, notices.c.site, notices.c.station, notices.c.kind)
            .join(tellings, tellings.c.id == told.c.telling_id)
            .join(notices, notices.c.id == told.c.notice_id)
            .where(or_(IS_OPEN, told.c.made_at > since))
            .order_by(told.c.made_at, told.c.telling_id, told.c.notice_id)
        )
        with self._store.reading() as connection:
            rows = connection.execute(words).all()
        return [
            Told(
                row.telling_id,
                row.person,
                row.notice_id,
                (row.site, row.station, NoticeKind(row.kind)),
                Why(row.why),
                row.made_at,
                row.taken_at,
            )
            for row in rows
        ]

    def waiting(self) -> list[Waiting]:
        """Return the tellings that no address has taken yet, oldest first."""
        words = select(told).join(tellings, tellings.c.id == told.c.telling_id).where(_WAITS)
        with self._store.reading() as connection:
            rows = connection.execute(select(tellings).where(_WAITS).order_by(tellings.c.id)).all()
            whys: dict[int, dict[int, Why]] = {row.id: {} for row in rows}
            for word in connection.execute(words.order_by(told.c.made_at, told.c.notice_id)):
                whys[word.telling_id][word.notice_id] = Why(word.why)
        return [Waiting(row.id, row.person, row.made_at, row.due_at, row.tries, whys[row.id]) for row in rows]

    def unreached(self) -> list[Waiting]:
        """Return the tellings that somebody's address did not take when it was tried, oldest first."""
        return [each for each in self.waiting() if each.tries]

    def put(self, person: str, whys: dict[int, Why], at: datetime, due_at: datetime) -> None:
        """Begin a telling that is due then, or add to the one that waits for the person, which is due no later.

        One that was not taken keeps its time: its address is not pestered.
        """
        mine = and_(_WAITS, tellings.c.person == person)
        hurried = update(tellings).where(mine, tellings.c.tries == 0, tellings.c.due_at > due_at)
        with self._store.transaction() as connection:
            connection.execute(hurried.values(due_at=due_at))
            waits = connection.execute(select(tellings.c.id).where(mine)).scalar()
            telling_id = waits or _begun(connection, person, at, due_at)
            rows = [
                {"telling_id": telling_id, "notice_id": each, "why": why.value, "made_at": at}
                for each, why in whys.items()
            ]
            connection.execute(insert(told), rows)

    def leave_out(self, telling_id: int, notice_ids: Iterable[int]) -> None:
        """Take notices out of a telling that waits, and the telling away if none is left."""
        mine = told.c.telling_id == telling_id
        with self._store.transaction() as connection:
            connection.execute(delete(told).where(mine, told.c.notice_id.in_(list(notice_ids))))
            if connection.execute(select(told.c.notice_id).where(mine)).first() is None:
                connection.execute(delete(tellings).where(tellings.c.id == telling_id))

    def taken(self, telling_id: int, at: datetime) -> None:
        """Note that the person's address took a telling, and with it that its notices were told."""
        named = select(told.c.notice_id).where(told.c.telling_id == telling_id)
        again = update(notices).where(notices.c.id.in_(named))
        with self._store.transaction() as connection:
            connection.execute(update(tellings).where(tellings.c.id == telling_id).values(taken_at=at))
            connection.execute(again.values(told_at=at, times_told=notices.c.times_told + 1))

    def failed(self, telling_id: int, due_at: datetime) -> None:
        """Note that it did not, and when to try again."""
        tried = update(tellings).where(tellings.c.id == telling_id)
        with self._store.transaction() as connection:
            connection.execute(tried.values(tries=tellings.c.tries + 1, due_at=due_at))

    def beat(self, at: datetime, trouble: str | None) -> None:
        """Note that the host is there, and what keeps it from its whole work, if anything does."""
        row = {"beat_at": at, "trouble": trouble}
        with self._store.transaction() as connection:
            if connection.execute(update(pulse).values(row)).rowcount == 0:
                connection.execute(insert(pulse).values(id=1, **row))

    def alive_told_at(self) -> datetime | None:
        """Return when it was last said that the host is alive; nothing if never."""
        with self._store.reading() as connection:
            return connection.execute(select(pulse.c.alive_told_at)).scalar()

    def told_alive(self, at: datetime) -> None:
        """Note that it was said."""
        with self._store.transaction() as connection:
            connection.execute(update(pulse).values(alive_told_at=at))

    def pulse(self) -> Pulse | None:
        """Return the host's last sign of life; nothing if it never gave one."""
        with self._store.reading() as connection:
            row = connection.execute(select(pulse.c.beat_at, pulse.c.trouble)).first()
        return Pulse(row.beat_at, row.trouble) if row else None


def _begun(connection: Connection, person: str, at: datetime, due_at: datetime) -> int:
    row = {"person": person, "made_at": at, "due_at": due_at, "tries": 0}
    return int(connection.execute(insert(tellings).values(row).returning(tellings.c.id)).scalar_one())
