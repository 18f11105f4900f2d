"""How soon the page answers where there are a thousand stations: Today, and one station's day, week and season.

The ledger is written straight into its tables: a thousand stations with their logs, every fifth with an open notice,
and for twenty of them a season of five-minute sums and an hour of tallies that are not summed yet. Whatever is looked
up of one station goes by its own keys, so that those of the other stations would only add depth to the trees.
"""

import gc
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median

import pytest
from host.page_client import Client, client
from host.village import plan
from pytest_benchmark.fixture import BenchmarkFixture
from sqlalchemy import Connection, insert

from swapbell_host import rules
from swapbell_host.board import Seen
from swapbell_host.books.counttables import counts
from swapbell_host.books.logrows import put_entry
from swapbell_host.books.schema import boots, crossings, notices, tallies
from swapbell_host.books.store import ledger_url, open_existing
from swapbell_host.jobs.entry import Act, Entry
from swapbell_host.jobs.plan import Station, located
from swapbell_host.judging.history import History
from swapbell_models.notice import NoticeKind
from swapbell_models.phase import Phase
from swapbell_models.readiness import Rule
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Tally

NOW = datetime(2026, 3, 14, 1, 0, tzinfo=UTC)
SITES, STATIONS, SEASONED = 20, 1000, 20
SEASON = timedelta(days=180)
# What the page promises [ms].
TODAY_MS, SEASON_MS = 200.0, 500.0
ROUNDS = 9
KINDS = (NoticeKind.SILENT, NoticeKind.READY, NoticeKind.SUPPLY)


def names() -> Iterator[tuple[int, str, str]]:
    """Yield each station's number, site and name."""
    for number in range(STATIONS):
        yield number, f"block-{number % SITES}", f"s{number}"


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Client]:
    made = client(tmp_path_factory.mktemp("thousand"))
    made.now = NOW
    gc.set_threshold(50_000)  # as `swapbell-host run` does
    write(Path(made.config.ledger))
    for number, site, name in names():
        made.board.put(look(site, name, busy=number % 7 == 0))
    yield made
    made.back.close()
    gc.set_threshold(700)


def write(ledger: Path) -> None:
    with open_existing(ledger_url(str(ledger)), writing=True) as store:
        plan(store, "Pacific/Auckland", *(planned(*each) for each in names()))
        with store.transaction() as connection:
            for number, site, name in names():
                log(connection, number, site, name)
            connection.execute(insert(notices), [noticed(*each) for each in names() if each[0] % 5 == 0])
            for number, site, name in names():
                if number < SEASONED:
                    season(connection, number, site, name)


def planned(number: int, site: str, name: str) -> Station:
    return Station(site, name, NOW - SEASON, place=located(-41.0 - 0.001 * number, 173.0))


def log(connection: Connection, number: int, site: str, name: str) -> None:
    acts = [(Act.LURED, 5.0 + number % 3), (Act.SWAPPED, 0.5 + number % 4)][: 1 + number % 2]
    for nth, (act, days_ago) in enumerate(acts):
        at = NOW - timedelta(days=days_ago)
        put_entry(
            connection,
            Entry(site=site, station=name, act=act, at=at, by="Kim", id=2 * number + nth + 1, logged_at=at),
        )


def noticed(number: int, site: str, name: str) -> dict[str, object]:
    kind = KINDS[number % len(KINDS)]
    at = NOW - timedelta(minutes=number)
    text = f"{site}/{name}: words of the usual length, with what was seen, since when, and what to look for."
    return {"site": site, "station": name, "kind": kind.value, "urgency": "look", "raised_at": at, "text": text}


def season(connection: Connection, number: int, site: str, name: str) -> None:
    """Write a season of sums, and an hour of tallies that are not summed yet."""
    boot = connection.execute(
        insert(boots).values(site=site, station=name, boot="b1", uncounted=1).returning(boots.c.id)
    ).scalar_one()
    steps, step = SEASON // timedelta(minutes=5) - 12, timedelta(minutes=5)
    whole_us = 300_000_000
    rows = [
        {
            "boot_id": boot, "from_at": NOW - SEASON + n * step, "visits": n * number % 13, "outs": n % 12,
            "small": 0, "large": 0, "span_us": whole_us, "watched_us": whole_us if n % 50 else whole_us // 2,
        }
        for n in range(steps)
        if n % 288 > 20
    ]  # fmt: skip
    connection.execute(insert(counts), rows)
    begin_at = NOW - timedelta(hours=1)
    fresh = [
        {
            "boot_id": boot, "seq": seq, "from_at": begin_at + timedelta(seconds=15 * (seq - 1)), "up_s": 15.0 * seq,
            "clock": "synced", "seconds": 15.0, "watched_s": 15.0, "received_at": NOW,
        }
        for seq in range(1, 241)
    ]  # fmt: skip
    connection.execute(insert(tallies), fresh)
    bodies = [
        {"boot_id": boot, "seq": seq, "n": 0, "at_s": 7.0, "direction": "in", "size": "wasp", "length_mm": 13.0}
        for seq in range(1, 241)
    ]
    connection.execute(insert(crossings), bodies)


def look(site: str, name: str, *, busy: bool) -> Seen:
    visit = Crossing(at_s=7.0, direction=Direction.IN, size=SizeClass.WASP, length_mm=13.0)
    told = tuple(
        Tally(
            station=name, boot="b1", seq=seq, from_at=NOW - timedelta(seconds=15 * (61 - seq)), up_s=15.0 * seq,
            clock=Clock.SYNCED, seconds=15.0, watched_s=15.0, crossings=(visit,) if busy or seq % 9 == 0 else (),
        )
        for seq in range(1, 61)
    )  # fmt: skip
    history = History(site, name, Phase.LURING, told)
    return Seen(history, rules.verdict(history, NOW, Rule()), NOW)


def timed(work: Callable[[], int]) -> tuple[float, float, int]:
    """Return the median wall and processor time of some rounds [ms], and how much came."""
    walls, works, size = list[float](), list[float](), work()
    for _ in range(ROUNDS):
        wall, busy = time.perf_counter(), time.process_time()
        size = work()
        walls.append(1000.0 * (time.perf_counter() - wall))
        works.append(1000.0 * (time.process_time() - busy))
    return median(walls), median(works), size


@pytest.mark.parametrize(
    ("where", "most_ms"),
    [
        ("/", TODAY_MS),
        ("/?site=block-1", TODAY_MS),
        ("/station/block-1/s1", SEASON_MS),
        ("/station/block-1/s1?span=week", SEASON_MS),
        ("/station/block-1/s1?span=season", SEASON_MS),
        ("/station/block-1/s1/counts.json?from=2025-09-15T00:00Z&to=2026-03-14T00:00Z", SEASON_MS),
    ],
)
def test_the_page_answers_in_time(page: Client, where: str, most_ms: float, benchmark: BenchmarkFixture) -> None:
    assert told(page, where, benchmark) < most_ms


def test_today_answers_in_time_when_all_stations_fall_silent(page: Client, benchmark: BenchmarkFixture) -> None:
    before = page.board.all()
    for (site, name), seen in before.items():
        gone = History(site, name, Phase.LURING)
        page.board.put(Seen(gone, rules.verdict(gone, NOW, seen.rule), NOW))
    assert told(page, "/", benchmark) < TODAY_MS
    for seen in before.values():
        page.board.put(seen)


def told(page: Client, where: str, benchmark: BenchmarkFixture) -> float:
    """Return how long the processor is at work for an answer [ms], and tell the rest."""

    def ask() -> int:
        page.now += timedelta(seconds=2)  # what another program wrote meanwhile would be seen
        reply = page.get(where)
        assert reply.status == 200
        return len(reply.content)

    ask()
    wall_ms, work_ms, size = timed(ask)
    benchmark.extra_info.update(wall_ms=wall_ms, work_ms=work_ms, size=size)
    sys.stdout.write(f"\n{where}: {wall_ms:.0f} ms, of them {work_ms:.0f} ms at work, {size / 1000.0:.0f} kB\n")
    benchmark.pedantic(ask)
    return work_ms
