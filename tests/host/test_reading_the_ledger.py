"""The queries that the host's page gives to whoever reads the ledger."""

import re
from datetime import timedelta
from pathlib import Path

from orchard import NOON_AT, STATIONS, tally, topic_of, visits
from sqlalchemy import text

from swapbell_host.books.ledger import Ledger
from swapbell_host.books.store import ledger_url, open_existing
from swapbell_host.intake import Arrival
from swapbell_models.message import Subject, encode

PAGE = Path(__file__).parents[2] / "host" / "README.md"
BY_QUARTER, GAPS = re.findall(r"```sql\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)


def asked(name: str, query: str) -> list[tuple[object, ...]]:
    """Return a query's answer after two tallies, two minutes without, and a third."""
    sent = [
        tally(1, crossings=visits(1.0, 2.0)),
        tally(2, watched_s=5.0),
        tally(3, crossings=visits(3.0), from_at=NOON_AT + timedelta(seconds=150)),
    ]
    with Ledger(ledger_url(name), STATIONS, NOON_AT) as ledger:
        ledger.record(
            [Arrival(topic_of(Subject.TALLY), encode(each)) for each in sent], NOON_AT + timedelta(minutes=9)
        )
    with open_existing(ledger_url(name)) as store, store.reading() as connection:
        if connection.dialect.name == "postgresql":
            query = re.sub(r"datetime\((.*), 'unixepoch'\)", r"to_timestamp(\1) AT TIME ZONE 'UTC'", query)
            connection.execute(text("SET LOCAL datestyle = ISO"))
        return [tuple(row) for row in connection.execute(text(query))]


def test_visits_come_with_the_seconds_that_were_watched(ledger_name: str) -> None:
    ((quarter_utc, *counted),) = asked(ledger_name, BY_QUARTER)
    assert (str(quarter_utc), *counted) == ("2026-03-14 12:00:00", "orchard", "north", 35.0, 3)


def test_a_gap_is_listed_with_its_length(ledger_name: str) -> None:
    ((site, station, from_utc, gap_s),) = asked(ledger_name, GAPS)
    assert (site, station, str(from_utc), gap_s) == ("orchard", "north", "2026-03-14 12:00:30", 120.0)
