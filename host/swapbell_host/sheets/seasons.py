"""What a season report is made of, read from the open books of a site."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta

from swapbell_host.books.countbook import Countbook
from swapbell_host.books.servicebook import Servicebook
from swapbell_host.books.store import Store
from swapbell_host.intake import Station as Key
from swapbell_host.jobs import lures
from swapbell_host.jobs.entry import standing
from swapbell_host.jobs.plan import Role, Site, Station
from swapbell_host.jobs.stages import stages
from swapbell_host.sheets.answering import answered
from swapbell_host.sheets.season import STEP, Course, Season, Verified, days
from swapbell_host.sheets.told import told
from swapbell_host.verifying import lit
from swapbell_host.verifying.lit import Watched
from swapbell_host.verifying.verify import BEFORE_MAX, verify

Span = tuple[datetime, datetime]


def season(store: Store, service: Servicebook, site: Site, span: Span, now: datetime) -> Season:
    """Return the season of a site from one moment to another, as known at `now` (all aware UTC)."""
    mine = [each for key, each in service.stations(now).items() if key[0] == site.name]
    courses = tuple(_course(store, service, each, site, span, now) for each in mine)
    swaps = lures.swaps({course.station.key: course.entries for course in courses})
    verified = tuple(
        _verified(store, service, site, swap, {course.station.key: course for course in courses}, span, now)
        for swap in swaps
        if span[0] <= swap.from_at < span[1]
    )
    return Season(site, *span, now, courses, verified, tuple(answered(told(store, site.name, *span))))


def begin(service: Servicebook, site: Site, now: datetime) -> datetime:
    """Return when the first thing was logged at a site, or its first station added, aware UTC; now if neither."""
    mine = [each for key, each in service.stations(now).items() if key[0] == site.name]
    entries = [entry.at for each in mine for entry in standing(service.entries(*each.key, now))]
    return min(entries or [each.made_at for each in mine] or [now])


def _course(store: Store, service: Servicebook, station: Station, site: Site, span: Span, now: datetime) -> Course:
    logged = service.entries(*station.key, now)
    stand = standing(logged)
    place = service.place(*station.key, now)
    phases = [
        replace(each, from_at=max(each.from_at, span[0]), to_at=min(each.to_at, span[1]))
        for each in stages(station, site.terms, logged, now)
        if each.from_at < span[1] and each.to_at > span[0]
    ]
    counts = Countbook(store).span(*station.key, *span, STEP)
    found = days(counts, phases, place, span, site.clock)
    within = tuple(entry for entry in stand if span[0] <= entry.at < span[1])
    corrected = sum(entry.corrects is not None for entry in logged)
    return Course(station, place, tuple(phases), tuple(found), within, corrected)


def _verified(
    store: Store,
    service: Servicebook,
    site: Site,
    swap: lures.Swap,
    courses: Mapping[Key, Course],
    span: Span,
    now: datetime,
) -> Verified:
    """Return what became of the traffic after a swap, as far as the report reaches."""
    watched = {
        key: _watched(store, service, site, course, swap, span, now)
        for key, course in courses.items()
        if key in swap.stations or course.station.role is Role.CONTROL
    }
    swapped = [watched[key] for key in swap.stations]
    controls = [each for key, each in watched.items() if key not in swap.stations]
    return Verified(swap.from_at, *verify(swap, swapped, controls, span[1]))


def _watched(
    store: Store, service: Servicebook, site: Site, course: Course, swap: lures.Swap, span: Span, now: datetime
) -> Watched:
    from_at = min(swap.stations.values()) - BEFORE_MAX - timedelta(days=1)
    to_at = min(span[1], max(swap.stations.values()) + site.terms.watch + site.terms.lure)
    counts = Countbook(store).span(*course.station.key, from_at, to_at, lit.STEP)
    stand = standing(service.entries(*course.station.key, now))
    return Watched(course.station.key, course.place, stand, counts, site.terms.lure)
