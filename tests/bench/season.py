"""A ledger of many stations with a whole season each, made in bulk, kept in `.cache` and used again; all invented.

Each station has one boot that reports every five minutes for ninety days, and every 15 s in the last hour; some
twenty thousand bodies pass it by day, more of them as the season goes on. Everything but the last hour is summed, by
the ledger's own sums. Rows go in by a few statements: that is minutes where the host itself would take days.

    PYTHONPATH=tests python -m bench.season [STATIONS] [URL of an empty PostgreSQL database]
"""

import sys
import time
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from host.village import plan
from sqlalchemy import Connection, text

from swapbell_host.books import counting
from swapbell_host.books.ledger import Ledger
from swapbell_host.books.logrows import put_entry
from swapbell_host.books.schema import to_us
from swapbell_host.books.store import Store, ledger_url, open_existing
from swapbell_host.jobs.entry import Act, Entry
from swapbell_host.jobs.plan import Station, located

CACHE = Path(__file__).resolve().parents[2] / ".cache"
NOW = datetime(2026, 3, 14, 1, 0, tzinfo=UTC)
SITES, DAYS = 20, 90
ZONE = "Pacific/Auckland"
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
WITH RECURSIVE n(seq) AS (SELECT 1 UNION ALL SELECT seq + 1 FROM n WHERE seq < {LONG})
SELECT boots.id, n.seq, {BEGAN_US} + (n.seq - 1) * 300000000, (n.seq - 1) * 300.0, 'synced', 300.0,
       CASE WHEN (n.seq + boots.id) % 50 = 0 THEN 120.0 ELSE 300.0 END, {BEGAN_US} + n.seq * 300000000
FROM boots CROSS JOIN n WHERE boots.id BETWEEN :first AND :last"""
LAST_HOUR = f"""
INSERT INTO tallies (boot_id, seq, from_at, up_s, clock, seconds, watched_s, received_at)
WITH RECURSIVE n(seq) AS (SELECT 0 UNION ALL SELECT seq + 1 FROM n WHERE seq < {SHORT - 1})
SELECT boots.id, {LONG + 1} + n.seq, {LAST_HOUR_US} + n.seq * 15000000, {LONG * 300.0} + n.seq * 15.0, 'synced', 15.0,
       15.0, {LAST_HOUR_US} + (n.seq + 1) * 15000000
FROM boots CROSS JOIN n"""
# Nobody passes at night; by day nought to four in five minutes, twice as many at the end as at the beginning.
CROSSINGS = f"""
INSERT INTO crossings (boot_id, seq, n, at_s, direction, size, length_mm)
WITH RECURSIVE n(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM n WHERE n < 5)
SELECT tallies.boot_id, tallies.seq, n.n, 40.0 * n.n + 7.0, CASE WHEN n.n % 2 = 0 THEN 'in' ELSE 'out' END,
       CASE WHEN (tallies.seq + n.n) % 37 = 0 THEN 'large' WHEN (tallies.seq + n.n) % 11 = 0 THEN 'small' ELSE 'wasp'
       END, 13.0
FROM tallies CROSS JOIN n
WHERE tallies.boot_id BETWEEN :first AND :last AND tallies.seq <= {LONG}
  AND ((tallies.seq - 1 + 12) % 288 < {DUSK} OR (tallies.seq - 1 + 12) % 288 >= {DAWN})
  AND n.n < (((tallies.seq * 7919 + tallies.boot_id * 104729) % 97) * (40 + tallies.seq / 288)) / 2150"""
PASSING_NOW = f"""
INSERT INTO crossings (boot_id, seq, n, at_s, direction, size, length_mm)
SELECT boot_id, seq, 0, 7.0, 'in', 'wasp', 13.0 FROM tallies
WHERE seq > {LONG} AND (boot_id % 7 = 0 OR (seq + boot_id) % 9 = 0)"""
BY_RECEIPT = "CREATE INDEX tallies_received ON tallies (received_at)"
EACH = 20


def season(name: str, stations: int) -> None:
    """Make the ledger of this name, which is not there yet or empty."""
    with Ledger(ledger_url(name), {}, NOW):
        pass
    with open_existing(ledger_url(name), writing=True) as store:
        began = time.monotonic()
        _plan(store, stations)
        for words, first, last in _steps(stations):
            with store.transaction() as connection:
                connection.execute(text(words), {"first": first, "last": last} if ":first" in words else {})
                if words is CROSSINGS:
                    _sum(connection, range(first, last + 1))
            _say(f"{' '.join(words.split()[:3])}, stations to {last} of {stations}", began)


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


def _steps(stations: int) -> Iterator[tuple[str, int, int]]:
    """Yield what is to be done, for which boots: the index by receipt is made at the end, in one go."""
    yield "DROP INDEX tallies_received", 0, 0
    yield BOOTS, 0, stations
    for first in range(1, stations + 1, EACH):
        yield TALLIES, first, min(first + EACH - 1, stations)
        yield CROSSINGS, first, min(first + EACH - 1, stations)
    for words in (LAST_HOUR, PASSING_NOW, BY_RECEIPT):
        yield words, 0, stations


def _sum(connection: Connection, boot_ids: Iterable[int]) -> None:
    for boot_id in boot_ids:
        while counting.advance(connection, boot_id):
            pass


def _say(words: str, began: float) -> None:
    sys.stderr.write(f"{time.monotonic() - began:6.0f} s  {words}\n")


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
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    if len(sys.argv) > 2:
        season(sys.argv[2], number)
    else:
        sys.stdout.write(f"{cached(number)}\n")
