"""A ledger of many stations with a whole season each, made in bulk, kept in `.cache` and used again; all invented.

Each station has one boot that reports every five minutes for ninety days, and every 15 s in the last hour; some
twenty thousand bodies pass it by day, more of them as the season goes on. Everything but the last hour is summed, by
the ledger's own sums. Rows go in by a few statements, and every station's season is that of one of the first twenty:
that is minutes where the host itself would take days.

    PYTHONPATH=tests python -m bench.season [STATIONS] [--ledger URL of an empty PostgreSQL database]
"""

import argparse
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

from host.village import plan
from sqlalchemy import Connection, func, insert, select, text, update

from swapbell_host.books import counting
from swapbell_host.books.counttables import counts
from swapbell_host.books.ledger import Ledger
from swapbell_host.books.logrows import put_entry
from swapbell_host.books.schema import boots, crossings, tallies, to_us
from swapbell_host.books.store import Store, ledger_url, open_existing
from swapbell_host.jobs.entry import Act, Entry
from swapbell_host.jobs.plan import Station, located

CACHE = Path(__file__).resolve().parents[2] / ".cache"
NOW = datetime(2026, 3, 14, 1, 0, tzinfo=UTC)
SITES, DAYS = 20, 90
ZONE = "Pacific/Auckland"
# So many are made; the others are like them.
SEASONS = 20
# Tallies each five minutes, then the last hour's each 15 s.
LONG, SHORT = DAYS * 288 - 12, 240
BEGAN_US = to_us(NOW - timedelta(days=DAYS))
LAST_HOUR_US = to_us(NOW - timedelta(hours=1))
# Daylight at the place, as five-minute steps of the day in UTC: 17:30 to 07:30.
DUSK, DAWN = 90, 210

BOOTS = f"""
INSERT INTO boots (site, station, boot, oldest, last, synced, started_at, uncounted)
SELECT site, name, 'b1', 0, 0, 1, {BEGAN_US}, 0 FROM stations"""
TALLIES = f"""
INSERT INTO tallies (boot_id, seq, from_at, up_s, clock, seconds, watched_s, received_at)
WITH RECURSIVE n(seq, five) AS
    (SELECT 1, CAST(300000000 AS BIGINT) UNION ALL SELECT seq + 1, five FROM n WHERE seq < {LONG})
SELECT boots.id, n.seq, {BEGAN_US} + (n.seq - 1) * five, (n.seq - 1) * 300.0, 'synced', 300.0,
       CASE WHEN (n.seq + boots.id) % 50 = 0 THEN 120.0 ELSE 300.0 END, {BEGAN_US} + n.seq * five
FROM boots CROSS JOIN n WHERE boots.id <= {SEASONS}"""
LAST_HOUR = f"""
INSERT INTO tallies (boot_id, seq, from_at, up_s, clock, seconds, watched_s, received_at)
WITH RECURSIVE n(seq, quarter) AS
    (SELECT 0, CAST(15000000 AS BIGINT) UNION ALL SELECT seq + 1, quarter FROM n WHERE seq < {SHORT - 1})
SELECT boots.id, {LONG + 1} + n.seq, {LAST_HOUR_US} + n.seq * quarter, {LONG * 300.0} + n.seq * 15.0, 'synced', 15.0,
       15.0, {LAST_HOUR_US} + (n.seq + 1) * quarter
FROM boots CROSS JOIN n"""
# Nobody passes at night; by day nought to four in five minutes, twice as many at the end as at the beginning.
CROSSINGS = f"""
INSERT INTO crossings (boot_id, seq, n, at_s, direction, size, length_mm)
WITH RECURSIVE n(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM n WHERE n < 5)
SELECT tallies.boot_id, tallies.seq, n.n, 40.0 * n.n + 7.0, CASE WHEN n.n % 2 = 0 THEN 'in' ELSE 'out' END,
       CASE WHEN (tallies.seq + n.n) % 37 = 0 THEN 'large' WHEN (tallies.seq + n.n) % 11 = 0 THEN 'small' ELSE 'wasp'
       END, 13.0
FROM tallies CROSS JOIN n
WHERE tallies.seq <= {LONG}
  AND ((tallies.seq - 1 + 12) % 288 < {DUSK} OR (tallies.seq - 1 + 12) % 288 >= {DAWN})
  AND n.n < (((tallies.seq * 7919 + tallies.boot_id * 104729) % 97) * (40 + tallies.seq / 288)) / 2150"""
PASSING_NOW = f"""
INSERT INTO crossings (boot_id, seq, n, at_s, direction, size, length_mm)
SELECT boot_id, seq, 0, 7.0, 'in', 'wasp', 13.0 FROM tallies
WHERE seq > {LONG} AND (boot_id % 7 = 0 OR (seq + boot_id) % 9 = 0)"""
BY_RECEIPT = "CREATE INDEX tallies_received ON tallies (received_at)"

# Where the server lets us, nobody looks up the tally of each crossing: it is there.
UNASKED = "SET LOCAL session_replication_role = replica"


def season(name: str, stations: int) -> None:
    """Make the ledger of this name, which is not there yet or empty."""
    with Ledger(ledger_url(name), {}, NOW):
        pass
    with open_existing(ledger_url(name), writing=True) as store:
        began = time.monotonic()
        _plan(store, stations)
        for what, do in _steps(stations):
            with store.transaction() as connection:
                do(connection)
            sys.stderr.write(f"{time.monotonic() - began:6.0f} s  {what}\n")


def _plan(store: Store, stations: int) -> None:
    made_at = NOW - timedelta(days=DAYS)
    where = [located(-41.0 - 0.0001 * n, 173.0) for n in range(stations)]
    plan(
        store, ZONE, *(Station(f"block-{n % SITES}", f"s{n}", made_at, place=place) for n, place in enumerate(where))
    )
    with store.transaction() as connection:
        for n in range(stations):
            at = NOW - timedelta(days=4.0 + n % 3)
            entry = Entry(
                site=f"block-{n % SITES}", station=f"s{n}", act=Act.LURED, at=at, by="Kim", id=n + 1, logged_at=at
            )
            put_entry(connection, entry)


def _steps(stations: int) -> Iterator[tuple[str, Callable[[Connection], object]]]:
    """Yield what is to be done: the last hour and the index by receipt at the end, in one go."""
    yield "boots", _saying("DROP INDEX tallies_received", BOOTS)
    yield "seasons", _saying(TALLIES, CROSSINGS)
    for boot_id in range(1, min(stations, SEASONS) + 1):
        yield f"sums of season {boot_id}", partial(_sum, boot_id=boot_id)
    for first in range(SEASONS, stations, SEASONS):
        yield f"others like them, from {first} of {stations}", partial(_repeat, first=first)
    yield "the last hour", _saying(LAST_HOUR, PASSING_NOW)
    yield "the index by receipt", _saying(BY_RECEIPT)


def _saying(*orders: str) -> Callable[[Connection], object]:
    return lambda connection: [connection.execute(text(order)) for order in orders]


def _sum(connection: Connection, boot_id: int) -> None:
    while counting.advance(connection, boot_id):
        pass


def _repeat(connection: Connection, first: int) -> None:
    """Give the boots behind that number what the first ones have."""
    if connection.dialect.name == "postgresql":
        connection.execute(text(UNASKED))
    last = connection.execute(select(func.max(boots.c.id))).scalar_one()
    for table in (tallies, crossings, counts):
        like = table.c.boot_id.between(1, min(SEASONS, last - first))
        rows = select(table.c.boot_id + first, *list(table.c)[1:]).where(like)
        connection.execute(insert(table).from_select(table.c.keys(), rows))
    like = boots.c.id.between(first + 1, first + SEASONS)
    connection.execute(update(boots).where(like).values(uncounted=LONG + 1))


def cached(stations: int) -> Path:
    """Return the SQLite ledger of so many stations; made now if it was not made before."""
    path = CACHE / f"season-{stations}.sqlite"
    if not path.exists():
        CACHE.mkdir(exist_ok=True)
        making = path.with_suffix(".making.sqlite")
        making.unlink(missing_ok=True)
        season(str(making), stations)
        making.rename(path)
    return path


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("stations", type=int, nargs="?", default=1000)
    asked.add_argument("--ledger", help="the URL of an empty PostgreSQL database, instead of a file in `.cache`")
    wish = asked.parse_args()
    if wish.ledger:
        season(wish.ledger, wish.stations)
    else:
        sys.stdout.write(f"{cached(wish.stations)}\n")
