"""The queries that the host's page gives to whoever reads the ledger."""

import re
import sqlite3
from datetime import timedelta
from pathlib import Path

from orchard import NOON_AT, STATIONS, tally, topic_of, visits

from swapbell_host.books.ledger import Ledger
from swapbell_host.books.store import ledger_url
from swapbell_host.intake import Arrival
from swapbell_models.message import Subject, encode

PAGE = Path(__file__).parents[2] / "host" / "README.md"
BY_QUARTER, GAPS = re.findall(r"```sql\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)


def asked(folder: Path, query: str) -> list[tuple[object, ...]]:
    """Return a query's answer after two tallies, two minutes without, and a third."""
    name = str(folder / "ledger.sqlite")
    sent = [
        tally(1, crossings=visits(1.0, 2.0)),
        tally(2, watched_s=5.0),
        tally(3, crossings=visits(3.0), from_at=NOON_AT + timedelta(seconds=150)),
    ]
    with Ledger(ledger_url(name), STATIONS, NOON_AT) as ledger:
        ledger.record(
            [Arrival(topic_of(Subject.TALLY), encode(each)) for each in sent], NOON_AT + timedelta(minutes=9)
        )
    with sqlite3.connect(name) as connection:
        return connection.execute(query).fetchall()


def test_visits_come_with_the_seconds_that_were_watched(tmp_path: Path) -> None:
    assert asked(tmp_path, BY_QUARTER) == [("2026-03-14 12:00:00", "orchard", "north", 35.0, 3)]


def test_a_gap_is_listed_with_its_length(tmp_path: Path) -> None:
    assert asked(tmp_path, GAPS) == [("orchard", "north", "2026-03-14 12:00:30", 120.0)]
