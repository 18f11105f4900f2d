"""A made-up ledger for exports: two stations of the orchard and what their counters sent."""

from collections.abc import Iterable, Mapping
from datetime import timedelta
from typing import Any

from orchard import NOON_AT, SITE, tally

from swapbell_host.books.ledger import Ledger
from swapbell_host.books.planbook import Planbook
from swapbell_host.books.servicebook import Servicebook
from swapbell_host.books.store import ledger_url, open_or_make
from swapbell_host.intake import Arrival
from swapbell_host.jobs.entry import Draft
from swapbell_host.jobs.plan import Role, Site, Station, place
from swapbell_models.message import Subject, encode, topic
from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Crossing, Direction, Tally

MADE_AT = NOON_AT - timedelta(days=3)
HEARD_AT = NOON_AT + timedelta(days=2)
HERE = "42.8821 S 27.3272 E"


def body(at_s: float, direction: Direction = Direction.IN, size: SizeClass = SizeClass.WASP) -> Crossing:
    """Return one body that passes the line."""
    return Crossing(at_s=at_s, direction=direction, size=size, length_mm=13.5, confidence=0.875)


def at(seconds: float, seq: int, *crossings: Crossing, **other: Any) -> Tally:
    """Return a tally that begins so many seconds after noon."""
    usual = {"from_at": NOON_AT + timedelta(seconds=seconds), "up_s": max(seconds, 0.0), "crossings": crossings}
    return tally(seq, **(usual | other))


def plan(name: str, *stations: Station, **site: Any) -> None:
    """Write the orchard down, with `north` at its place unless other stations are given."""
    home = Site(**({"name": SITE, "zone": "Pacific/Auckland", "owner": "An Orchard, invented"} | site))
    with open_or_make(ledger_url(name)) as store:
        book = Planbook(store)
        book.add_site(home)
        for each in stations or (Station(SITE, "north", MADE_AT, place=place(HERE), bait="fish"),):
            book.add_station(each)


def control(name: str = "far") -> Station:
    """Return a control station near `north`."""
    return Station(SITE, name, MADE_AT, role=Role.CONTROL, place=place("42.8830 S 27.3280 E"))


def record(name: str, sent: Iterable[Tally] | Mapping[str, Iterable[Tally]]) -> None:
    """Let the ledger hear tallies, of `north` or by station."""
    by_station = sent if isinstance(sent, Mapping) else {"north": sent}
    arrivals = [
        Arrival(topic(SITE, station, Subject.TALLY), encode(each))
        for station, tallies in by_station.items()
        for each in tallies
    ]
    with Ledger(ledger_url(name), {}, HEARD_AT) as ledger:
        recorded = ledger.record(arrivals, HEARD_AT)
    assert recorded.rejected == 0


def log(name: str, **said: Any) -> None:
    """Log something of `north`."""
    with open_or_make(ledger_url(name)) as store:
        Servicebook(store).add(Draft(**({"site": SITE, "station": "north", "by": "Kim"} | said)), HEARD_AT)
