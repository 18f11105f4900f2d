"""What a record is made of, read from the open books of a site."""

from collections.abc import Collection, Sequence
from datetime import datetime, timedelta

from swapbell_host.books.countbook import Countbook
from swapbell_host.books.servicebook import Servicebook
from swapbell_host.books.store import Store
from swapbell_host.jobs.entry import Act, Entry, standing
from swapbell_host.jobs.plan import Role, Site, Station
from swapbell_host.sheets.answers import Known
from swapbell_host.sheets.application import Application, applications, corrections
from swapbell_host.sheets.evidence import HOUR, STEP, evidence
from swapbell_host.sheets.groundplan import Spot
from swapbell_host.sheets.record import Record, record
from swapbell_host.sheets.told import Told, told
from swapbell_models.calendar.place import Place

# Our choice: no notice of a lure that hung longer than half a year speaks for its swap.
NOTICED = timedelta(days=182)


def records(
    store: Store, service: Servicebook, site: Site, stations: Sequence[Station], now: datetime
) -> list[Record]:
    """Return the records of some stations of a site as known at `now` (aware UTC), the oldest first."""
    every = {key: applications(service.entries(*key, now)) for key in service.stations(now) if key[0] == site.name}
    made = [(each, station) for station in stations for each in every[station.key]]
    if not made:
        return []
    notices = told(store, site.name, min(each.out_at for each, _ in made) - NOTICED, now)
    found = [
        _record(store, service, each, station, site, notices, _together(each, every.values()), now)
        for each, station in made
    ]
    return sorted(found, key=lambda each: (each.application.out_at, each.application.swap.id))


def _together(each: Application, every: Collection[tuple[Application, ...]]) -> int:
    return sum(any(other.is_out(each.out_at) for other in of_one) for of_one in every)


def _record(
    store: Store,
    service: Servicebook,
    made: Application,
    station: Station,
    site: Site,
    notices: Sequence[Told],
    together: int,
    now: datetime,
) -> Record:
    entries = service.entries(*station.key, now)
    counts = Countbook(store).span(*station.key, made.out_at - HOUR - STEP, made.out_at)
    known = Known(
        site,
        station,
        _hung(station, entries, made.out_at),
        together,
        evidence(made.swap, entries, notices, counts).words(site.clock),
        now,
    )
    return record(made, known, list(corrections(made, entries, site.clock)))


def _hung(station: Station, entries: Sequence[Entry], at: datetime) -> Place | None:
    """Return where a station hung at a moment; nothing if nobody had said."""
    moved = [each.place for each in standing(entries) if each.act is Act.MOVED and each.at <= at]
    return moved[-1] if moved else station.place


def spots(service: Servicebook, site: Site, meant: Collection[str], now: datetime) -> list[Spot]:
    """Return the stations of a site as far as somebody has said where they are, those that are meant among them."""
    mine = [each for key, each in service.stations(now).items() if key[0] == site.name]
    placed = [(each, service.place(*each.key, now)) for each in mine]
    return [Spot(each.name, place, each.name in meant, each.role is Role.CONTROL) for each, place in placed if place]
