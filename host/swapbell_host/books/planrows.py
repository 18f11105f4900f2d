"""Sites and stations as rows of the ledger, and back."""

from collections.abc import Callable, Mapping
from datetime import timedelta
from typing import TypeVar

from sqlalchemy import Connection, Row, func, select

from swapbell_host.books.jobtables import sites, stations
from swapbell_host.books.logrows import details_column, place_columns, row_details, row_place
from swapbell_host.intake import Station as Key
from swapbell_host.jobs.plan import Role, Site, Station, shown
from swapbell_models.fault import Mistake
from swapbell_models.job import Terms
from swapbell_models.phase import Phase

DAY = timedelta(days=1)
# Our choice: as many names as fit a line or two.
NAMED_MAX = 12

_Wanted = TypeVar("_Wanted")
_Kind = TypeVar("_Kind")


def read_sites(connection: Connection) -> dict[str, Site]:
    """Return every site by its name."""
    return {row.name: _site(row) for row in connection.execute(select(sites).order_by(sites.c.name))}


def read_stations(connection: Connection) -> dict[Key, Station]:
    """Return every station by (site, name)."""
    rows = connection.execute(select(stations).order_by(stations.c.site, stations.c.name))
    return {(row.site, row.name): _station(row) for row in rows}


def read_station(connection: Connection, site: str, name: str) -> Station:
    """Return one station, or refuse its name."""
    row = connection.execute(select(stations).where(stations.c.site == site, stations.c.name == name)).first()
    if row is None:
        return one(read_stations(connection), (site, name), "station", "/".join)
    return _station(row)


def one(known: Mapping[_Wanted, _Kind], wanted: _Wanted, what: str, names: Callable[[_Wanted], str] = str) -> _Kind:
    """Return the one that is wanted, or say what there is."""
    if wanted not in known:
        there = ", ".join(names(each) for each in list(known)[:NAMED_MAX]) or "none"
        more = f" and {len(known) - NAMED_MAX} more" if len(known) > NAMED_MAX else ""
        raise Mistake(f"{what} {shown(names(wanted))}: there is none of that name; there are: {there}{more}")
    return known[wanted]


def edition(connection: Connection) -> int:
    """Return how many times sites and stations were changed."""
    highest = [connection.execute(select(func.max(table.c.edition))).scalar() or 0 for table in (sites, stations)]
    return max(highest)


def next_edition(connection: Connection) -> int:
    """Return the number of the change that begins."""
    return edition(connection) + 1


def site_row(site: Site, edition: int) -> dict[str, object]:
    """Return a site as columns, as the change of a number makes it."""
    return {
        "name": site.name,
        "zone": site.zone,
        "owner": site.owner,
        "lure_days": site.terms.lure / DAY,
        "toxic_days": site.terms.toxic / DAY,
        "idle_days": site.terms.idle / DAY,
        "watch_days": site.terms.watch / DAY,
        "details": details_column(site.details),
        "edition": edition,
    }


def station_row(station: Station, edition: int) -> dict[str, object]:
    """Return a station as columns, as the change of a number makes it."""
    return {
        "site": station.site,
        "name": station.name,
        "made_at": station.made_at,
        "role": station.role.value,
        **place_columns(station.place),
        "bait": station.bait,
        "camera": station.camera,
        "contact": station.contact,
        "first_phase": station.first_phase.value,
        "enrolled_at": station.enrolled_at,
        "edition": edition,
    }


def _site(row: Row[tuple[object, ...]]) -> Site:
    terms = Terms(row.lure_days * DAY, row.toxic_days * DAY, row.idle_days * DAY, row.watch_days * DAY)
    return Site(row.name, row.zone, row.owner, terms, row_details(row))


def _station(row: Row[tuple[object, ...]]) -> Station:
    return Station(
        site=row.site,
        name=row.name,
        made_at=row.made_at,
        role=Role(row.role),
        place=row_place(row),
        bait=row.bait,
        camera=row.camera,
        contact=row.contact,
        first_phase=Phase(row.first_phase),
        enrolled_at=row.enrolled_at,
    )
