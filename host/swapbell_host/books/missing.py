"""When the tallies that did not come were counted: by what came before them."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from sqlalchemy import Connection, select

from swapbell_host.books.bootrows import station_holes
from swapbell_host.books.schema import boots, tallies
from swapbell_host.books.sequence import Hole
from swapbell_host.books.store import Store
from swapbell_host.intake import Station
from swapbell_host.judging.evidence import Missing
from swapbell_models.tally import Clock

# Our choice: a quarter of an hour at the usual tally; of smaller holes nobody asks when they were.
LEAST = 60
# Our choice: the largest of a station that loses much; each takes a look into the ledger.
MANY = 20


def missing(store: Store, station: Station, since: datetime) -> list[Missing]:
    """Return the larger holes of a station that began since a moment (aware UTC), in time order."""
    with store.reading() as connection:
        large = [hole for hole in station_holes(connection, *station) if _size(hole) >= LEAST]
        newest = sorted(large, key=_size, reverse=True)[:MANY]
        found = [each for hole in newest for each in _placed(connection, station, hole)]
    return sorted((each for each in found if each.from_at >= since), key=lambda each: each.from_at)


def _size(hole: Hole) -> int:
    return hole.last - hole.first + 1


def _placed(connection: Connection, station: Station, hole: Hole) -> Iterator[Missing]:
    """Yield a hole where it lies in time, if that is known: after the tally before it, or where its boot began."""
    own = (boots.c.site == station[0], boots.c.station == station[1], boots.c.boot == hole.boot)
    before = (
        select(tallies.c.from_at, tallies.c.up_s, tallies.c.clock, boots.c.started_at)
        .join_from(boots, tallies, (tallies.c.boot_id == boots.c.id) & (tallies.c.seq < hole.first), isouter=True)
        .where(*own)
        .order_by(tallies.c.seq.desc())
        .limit(1)
    )
    row = connection.execute(before).first()
    if row is None:
        return
    at = row.from_at
    if row.clock != Clock.SYNCED.value:
        at = row.started_at and row.started_at + timedelta(seconds=row.up_s or 0.0)
    if at is not None:
        yield Missing(at, _size(hole), hole.lost)
