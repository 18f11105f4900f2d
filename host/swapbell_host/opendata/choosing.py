"""Which stations and what time somebody wants, found in the ledger with what each row is to say of them."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, Connection, and_, func, or_, select

from swapbell_host.books.logrows import entries_of
from swapbell_host.books.planrows import one, read_sites, read_stations
from swapbell_host.books.schema import boots, tallies
from swapbell_host.books.store import Store
from swapbell_host.jobs.moment import moment
from swapbell_host.jobs.plan import Site, Station
from swapbell_host.opendata.timeline import Timeline
from swapbell_models.fault import Mistake
from swapbell_models.tally import Clock

# A tally lasts an hour at most (`tally.Tally.seconds`).
LONGEST = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Choice:
    """What somebody asks for.

    Attributes
    ----------
    site, station
        By name; all if nothing is said.
    begin, end
        From when on and until when, such as 2026-03-14 17:30, by each site's clock unless it says its offset; all
        that there is if nothing is said.
    """

    site: str | None = None
    station: str | None = None
    begin: str | None = None
    end: str | None = None


@dataclass(frozen=True, slots=True)
class Span:
    """From a moment on and until another, aware UTC; nothing where there is no such limit."""

    begin_at: datetime | None = None
    end_at: datetime | None = None

    def holds(self, at: datetime) -> bool:
        """Tell whether a moment lies in it; its end does not."""
        return (self.begin_at is None or self.begin_at <= at) and (self.end_at is None or at < self.end_at)

    @property
    def is_all(self) -> bool:
        """Whether it has no limit at all."""
        return self.begin_at is None and self.end_at is None


@dataclass(frozen=True, slots=True)
class Boot:
    """One start of a station's counter.

    Attributes
    ----------
    id, name
        Its number in the ledger, and its own name.
    began_at
        When it started, aware UTC; nothing if it never knew the time of day.
    """

    id: int
    name: str
    began_at: datetime | None


@dataclass(frozen=True, slots=True)
class Chosen:
    """One station that was asked for.

    Attributes
    ----------
    boots
        In the order in which they started, those that never knew the time of day last.
    """

    plan: Station
    site: Site
    timeline: Timeline
    span: Span
    boots: tuple[Boot, ...]

    @property
    def zone(self) -> ZoneInfo:
        """The site's time zone."""
        return self.site.clock

    def known(self, boot: Boot) -> ColumnElement[bool]:
        """Return a condition on `tallies`: those of a boot that may reach into the span."""
        free, synced_at = tallies.c.clock == Clock.FREE.value, tallies.c.from_at
        conditions = [tallies.c.boot_id == boot.id]
        if self.span.begin_at is not None:
            conditions.append(or_(free, synced_at > self.span.begin_at - LONGEST))
        if self.span.end_at is not None:
            conditions.append(or_(free, synced_at < self.span.end_at))
        return and_(*conditions)


def choose(store: Store, choice: Choice) -> list[Chosen]:
    """Return the stations that were asked for, in the order of their names.

    Raises
    ------
    Mistake
        If there is no such site or station, or if a time cannot be read.
    """
    with store.reading() as connection:
        sites, stations = read_sites(connection), read_stations(connection)
        plans = _wanted(sites, list(stations.values()), choice)
        logs = {plan.key: entries_of(connection, plan.key) for plan in plans}
        starts = {plan.key: _boots(connection, plan) for plan in plans}
    return [
        Chosen(
            plan,
            home := sites[plan.site],
            Timeline(plan, home.terms, logs[plan.key]),
            _span(choice, home.clock),
            starts[plan.key],
        )
        for plan in plans
    ]


def unplaced(store: Store, chosen: list[Chosen]) -> int:
    """Return how many tallies there are whose time nobody knows."""
    adrift = [boot.id for each in chosen for boot in each.boots if boot.began_at is None]
    with store.reading() as connection:
        counted = select(func.count()).select_from(tallies).where(tallies.c.boot_id.in_(adrift))
        return int(connection.execute(counted).scalar_one())


def _wanted(sites: dict[str, Site], stations: list[Station], choice: Choice) -> list[Station]:
    if choice.site is not None:
        one(sites, choice.site, "site")
    found = [plan for plan in stations if choice.site in {None, plan.site} and choice.station in {None, plan.name}]
    if not found and choice.station is not None:
        one({plan.name: plan for plan in stations if choice.site in {None, plan.site}}, choice.station, "station")
    if not found:
        raise Mistake("no stations yet: there is nothing to export; add one with `swapbell-host station add`")
    return found


def _span(choice: Choice, zone: ZoneInfo) -> Span:
    try:
        begin_at = moment(choice.begin, zone) if choice.begin else None
        end_at = moment(choice.end, zone) if choice.end else None
    except ValueError as error:
        raise Mistake(str(error)) from error
    if begin_at and end_at and end_at <= begin_at:
        raise Mistake(f"the time asked for ends at {choice.end}, not after it begins at {choice.begin}; swap them")
    return Span(begin_at, end_at)


def _boots(connection: Connection, plan: Station) -> tuple[Boot, ...]:
    own = select(boots.c.id, boots.c.boot, boots.c.started_at)
    rows = connection.execute(own.where(boots.c.site == plan.site, boots.c.station == plan.name)).all()
    found = [Boot(row.id, row.boot, row.started_at) for row in rows]
    placed = sorted((boot for boot in found if boot.began_at), key=lambda boot: (boot.began_at, boot.id))
    return (*placed, *(boot for boot in found if boot.began_at is None))
