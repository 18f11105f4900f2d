"""An invented site of twelve stations in all states, in a ledger and on a board; nothing of it ever happened."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from math import exp, pi, sin
from random import Random

import msgspec
from sqlalchemy import insert

from swapbell_host import rules
from swapbell_host.board import Board, Seen
from swapbell_host.books.jobtables import sites, stations
from swapbell_host.books.ledger import Ledger
from swapbell_host.books.notebook import Notebook
from swapbell_host.books.planrows import next_edition, read_sites, site_row, station_row
from swapbell_host.books.servicebook import Servicebook
from swapbell_host.books.store import Store, ledger_url, open_existing
from swapbell_host.config import Config
from swapbell_host.intake import Arrival
from swapbell_host.jobs.entry import Act, Draft, Entry
from swapbell_host.jobs.plan import Role, Site, Station, located
from swapbell_models.message import Health, StationState, Subject, encode, topic
from swapbell_models.notice import NoticeKind, notice
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Clock, Crossing, Direction, Hindrance, Sight, Tally

SITE, ZONE = "hollow", "Pacific/Auckland"
CONTROL, BLIND, SILENT = "control", "foggy", "mute"
# So many days ago each act was logged; hours are parts of a day.
STORIES: dict[str, list[tuple[Act, float]]] = {
    "left-out": [(Act.LURED, 9.0), (Act.SWAPPED, 4.2)],
    "ready": [(Act.LURED, 2.0)],
    "due-out": [(Act.LURED, 6.0), (Act.SWAPPED, 2.7)],
    "bees": [(Act.LURED, 1.5)],
    "taken-in": [(Act.LURED, 8.0), (Act.SWAPPED, 4.0), (Act.WITHDRAWN, 1.1)],
    "verify": [
        (Act.LURED, 36.0),
        (Act.SWAPPED, 33.0),
        (Act.WITHDRAWN, 30.0),
        (Act.DISPOSED, 29.5),
        (Act.RELURED, 2.9),
    ],
    "dry": [(Act.LURED, 5.0)],
    "mute": [(Act.LURED, 1.0)],
    "foggy": [(Act.LURED, 1.0)],
    "touched": [(Act.LURED, 1.0)],
    "planned": [],
    "control": [(Act.LURED, 1.2)],
}
# Visits in five minutes at noon, now.
TRAFFIC = {"ready": 16.0, "touched": 6.0, "left-out": 1.0, "due-out": 3.0, "bees": 4.0, "control": 2.0, "verify": 0.3}


@dataclass(frozen=True, slots=True)
class Village:
    """What was made."""

    config: Config
    now: datetime
    board: Board


def settle(config: Config, now: datetime, days: float = 2.0, seconds: float = 60.0) -> Village:
    """Fill an empty ledger with the site's past and put the latest looks on a board."""
    with Ledger(ledger_url(config.ledger), {}, now - timedelta(days=60)):
        pass
    with open_existing(ledger_url(config.ledger), writing=True) as store:
        plan(store, ZONE, *_planned(now))
        _log(Servicebook(store), now)
        _notices(Notebook(store), now)
    with Ledger(ledger_url(config.ledger), {}, now) as ledger:
        random = Random(1)
        for name in STORIES:
            for batch in _batches(name, now, days, seconds, random):
                ledger.record(batch, now)
        return Village(config, now, look(config, ledger, now))


def plan(store: Store, zone: str, *planned: Station) -> None:
    """Write many stations down at once, and the sites that they are the first of."""
    with store.transaction() as connection:
        edition = next_edition(connection)
        fresh = {station.site for station in planned} - set(read_sites(connection))
        for name in sorted(fresh):
            connection.execute(insert(sites).values(site_row(Site(name, zone), edition)))
        connection.execute(insert(stations), [station_row(station, edition) for station in planned])


def look(config: Config, ledger: Ledger, now: datetime) -> Board:
    """Judge every station and return the board that shows it."""
    board = Board()
    for key, rule in config.rules(ledger.stations).items():
        history = ledger.history(*key, now)
        board.put(Seen(history, rules.verdict(history, now, rule), now - timedelta(seconds=12), rule))
    return board


def _planned(now: datetime) -> Iterator[Station]:
    for n, name in enumerate(STORIES):
        place = located(-41.3 - 0.001 * n, 173.2) if name != "planned" else None
        role = Role.CONTROL if name == CONTROL else Role.BAIT
        yield Station(SITE, name, now - timedelta(days=50), role, place, "fish")


def _log(book: Servicebook, now: datetime) -> None:
    def add(name: str, act: Act, days_ago: float, **more: object) -> Entry:
        mass_g = 80.0 if act in {Act.SWAPPED, Act.WITHDRAWN} else None
        at = now - timedelta(days=days_ago)
        return book.add(Draft(site=SITE, station=name, act=act, at=at, by="Kim", **({"mass_g": mass_g} | more)), now)  # type: ignore[arg-type]

    for name, acts in STORIES.items():
        entries = [add(name, act, days_ago) for act, days_ago in acts]
        if name == "verify":
            add(name, Act.SWAPPED, 33.1, corrects=entries[1].id, mass_g=82.5, note="read the scale wrong\nat first")


def _notices(book: Notebook, now: datetime) -> None:
    def tell(name: str, kind: NoticeKind, hours_ago: float, words: str) -> None:
        at = now - timedelta(hours=hours_ago)
        book.raise_notice(notice(SITE, name, kind, at, words), at)

    tell("left-out", NoticeKind.LEFT_OUT, 29.0, "toxic bait is out beyond its deadline. Take it out now.")
    tell(
        "bees", NoticeKind.VISITORS, 1.0, "large bodies came in 14 times within a day; look who comes before a swap."
    )
    tell("mute", NoticeKind.SILENT, 2.5, "no count comes. Look at its power, its camera and its link.")
    tell("verify", NoticeKind.COLLAPSED, 20.0, "visits fell by 97 % against the control. Quiet is not dead.")


def _batches(name: str, now: datetime, days: float, seconds: float, random: Random) -> Iterator[list[Arrival]]:
    """Yield what a station sent: a tally each `seconds`, with a gap, and its word of itself."""
    if name == "planned":
        return
    end_s = days * 86400.0 - (9000.0 if name == SILENT else 0.0)
    begin_at = now - timedelta(days=days)
    edges = [seconds * n for n in range(int(end_s / seconds) + 1)]
    told = [
        tally(name, seq, begin_at, low, high, now, random)
        for seq, (low, high) in enumerate(pairwise(edges), start=1)
        if not 0.30 < low / (days * 86400.0) < 0.34
    ]
    state = StationState.BLIND if name == BLIND else StationState.WATCHING
    word = Health(station=name, state=state, at=now, fps=29.7, temperature_c=41.0, battery_percent=64.0)
    for first in range(0, len(told), 2000):
        yield [Arrival(topic(SITE, name, Subject.TALLY), encode(each)) for each in told[first : first + 2000]]
    yield [Arrival(topic(SITE, name, Subject.HEALTH), encode(word))]


def tally(
    name: str, seq: int, begin_at: datetime, low_s: float, high_s: float, now: datetime, random: Random
) -> Tally:
    """Return one tally; visits come by chance around a mean that follows the hour and grows from day to day."""
    at, seconds = begin_at + timedelta(seconds=low_s), high_s - low_s
    times = _poisson(_mean(name, at, now) * seconds / 300.0, random)
    ways = Direction.IN, Direction.OUT
    moments = sorted(random.uniform(0.0, seconds) for _ in range(times))
    bodies = tuple(
        Crossing(at_s=at_s, direction=way, size=SizeClass.WASP, length_mm=13.0) for at_s in moments for way in ways
    )
    told = Tally(
        station=name, boot="b1", seq=seq, from_at=at, up_s=low_s, clock=Clock.SYNCED,
        seconds=seconds, watched_s=seconds, crossings=bodies,
    )  # fmt: skip
    return _hindered(name, told, now)


def _hindered(name: str, told: Tally, now: datetime) -> Tally:
    ago = now - told.from_at
    if name == BLIND and ago < timedelta(hours=3):
        sight = Sight(blind_s=told.seconds, hindrance=Hindrance.DETAIL)
        return msgspec.structs.replace(told, watched_s=0.0, crossings=(), sight=sight)
    if name == "touched" and timedelta(hours=4) < ago < timedelta(hours=6):
        kept = tuple(each for each in told.crossings if each.at_s < 0.6 * told.seconds)
        return msgspec.structs.replace(told, watched_s=0.6 * told.seconds, crossings=kept)
    return told


def _mean(name: str, at: datetime, now: datetime) -> float:
    days_ago = (now - at) / timedelta(days=1)
    day = max(0.0, sin(2.0 * pi * (0.25 - days_ago % 1.0)))
    burst = 6.0 if name == "touched" and days_ago * 1440.0 < 6.0 else 0.0
    return TRAFFIC.get(name, 1.5) * day * exp(-0.25 * days_ago) + burst


def _poisson(mean: float, random: Random) -> int:
    """Return a Poisson number, by Knuth's product of uniform numbers (from memory)."""
    limit, product, found = exp(-mean), random.random(), 0
    while product > limit:
        product *= random.random()
        found += 1
    return found
