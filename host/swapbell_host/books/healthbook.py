"""What stations said of themselves: one row for as long as a station says the same, and its latest word in memory."""

from datetime import datetime
from typing import NamedTuple

from sqlalchemy import Connection, func, insert, select, update

from swapbell_host.books.schema import health
from swapbell_host.intake import Station, Told
from swapbell_models.message import Health, decode, encode


class Word(NamedTuple):
    """A station's latest word, the row that holds it, and when it was heard."""

    row_id: int
    health: Health
    at: datetime


class Healthbook:
    """The health of every station that ever spoke.

    Parameters
    ----------
    connection : Connection
        Where the latest words are read from.
    """

    def __init__(self, connection: Connection) -> None:
        newest = select(func.max(health.c.id)).group_by(health.c.site, health.c.station)
        rows = connection.execute(select(health).where(health.c.id.in_(newest))).all()
        self._words = {(row.site, row.station): Word(row.id, decode(row.report, Health), row.last_at) for row in rows}

    def latest(self, site: str, station: str) -> Health | None:
        """Return what the station said last; nothing if it never spoke."""
        word = self._words.get((site, station))
        return word.health if word else None

    def heard_at(self, station: Station) -> datetime | None:
        """Return when the station last said something of itself, aware UTC."""
        word = self._words.get(station)
        return word.at if word else None

    def hear(self, connection: Connection, told: Told, at: datetime) -> None:
        """Write down what a station says; a retained word that is known already is no news."""
        before = self._words.get(told.station)
        if before is not None and told.retained and before.health == told.health:
            return
        same = before is not None and before.health.state is told.health.state
        row_id = _renew(connection, before.row_id, told, at) if before and same else _begin(connection, told, at)
        self._words[told.station] = Word(row_id, told.health, at)


def _renew(connection: Connection, row_id: int, told: Told, at: datetime) -> int:
    connection.execute(update(health).where(health.c.id == row_id).values(last_at=at, report=encode(told.health)))
    return row_id


def _begin(connection: Connection, told: Told, at: datetime) -> int:
    row = {
        "site": told.site,
        "station": told.health.station,
        "state": told.health.state.value,
        "began_at": at,
        "last_at": at,
        "report": encode(told.health),
    }
    return int(connection.execute(insert(health).values(row).returning(health.c.id)).scalar_one())
