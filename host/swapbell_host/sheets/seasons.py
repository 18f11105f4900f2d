"""What a season report is made of, read from the open books of a site."""

from dataclasses import replace
from datetime import datetime

from swapbell_host.books.countbook import Countbook
from swapbell_host.books.servicebook import Servicebook
from swapbell_host.books.store import Store
from swapbell_host.compare import Comparison
from swapbell_host.jobs.entry import standing
from swapbell_host.jobs.plan import Site, Station
from swapbell_host.jobs.stages import stages
from swapbell_host.sheets.answering import answered
from swapbell_host.sheets.season import STEP, Course, Season, Verified, days
from swapbell_host.sheets.told import told

Span = tuple[datetime, datetime]


def season(store: Store, service: Servicebook, site: Site, span: Span, now: datetime) -> Season:
    """Return the season of a site from one moment to another, as known at `now` (all aware UTC)."""
    mine = [each for key, each in service.stations(now).items() if key[0] == site.name]
    counts = Countbook(store)
    courses = tuple(_course(counts, service, each, site, span, now) for each in mine)
    comparison = Comparison(service, counts, site.name, now, until=span[1])
    swaps = [swap for swap in comparison.swaps() if span[0] <= swap.from_at < span[1]]
    verified = tuple(Verified(swap.from_at, *comparison.of(swap)) for swap in swaps)
    return Season(site, *span, now, courses, verified, tuple(answered(told(store, site.name, *span))))


def begin(service: Servicebook, site: Site, now: datetime) -> datetime:
    """Return when the first thing was logged at a site, or its first station added, aware UTC; now if neither."""
    mine = [each for key, each in service.stations(now).items() if key[0] == site.name]
    entries = [entry.at for each in mine for entry in standing(service.entries(*each.key, now))]
    return min(entries or [each.made_at for each in mine] or [now])


def _course(
    counts: Countbook, service: Servicebook, station: Station, site: Site, span: Span, now: datetime
) -> Course:
    logged = service.entries(*station.key, now)
    stand = standing(logged)
    place = service.place(*station.key, now)
    phases = [
        replace(each, from_at=max(each.from_at, span[0]), to_at=min(each.to_at, span[1]))
        for each in stages(station, site.terms, logged, now)
        if each.from_at < span[1] and each.to_at > span[0]
    ]
    found = days(counts.span(*station.key, *span, STEP, place), phases, place, span, site.clock)
    within = tuple(entry for entry in stand if span[0] <= entry.at < span[1])
    corrected = sum(entry.corrects is not None for entry in logged)
    return Course(station, place, tuple(phases), tuple(found), within, corrected)
