"""What is asked for across the counter: each sheet from the open books, in the form that is wanted."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from swapbell_host.books.servicebook import Servicebook
from swapbell_host.books.store import Store
from swapbell_host.intake import Station as Key
from swapbell_host.jobs.plan import Site, Station
from swapbell_host.sheets import mixing, stated
from swapbell_host.sheets.form import Form, Issued, Paper, issued
from swapbell_models.calendar.place import Place
from swapbell_models.fault import Mistake

# Our choice: two years hold any season with the one before it.
REPORT_MAX = timedelta(days=731)


def mixing_sheet(
    service: Servicebook,
    stations: Sequence[Key],
    given: Mapping[str, str],
    now: datetime,
    form: Form = Form.PDF,
    paper: Paper = Paper.A4,
) -> Issued:
    """Return the mixing sheet for the toxic bait of some stations, mixed once.

    Parameters
    ----------
    service : Servicebook
        The open log.
    stations : sequence of (site, station)
        In the order of the round; named twice, they count once.
    given : mapping
        What is stated for this sheet, by the names in `stated.STATED`; the rest is taken from the sites' details.
    now : datetime
        Aware UTC.
    form, paper
        As what.

    Raises
    ------
    Mistake
        If a station is unknown or a control, if something is not stated, or if the authority does not allow it.
    """
    known = [station_of(service, key, now) for key in dict.fromkeys(stations)]
    sites = [site_of(service, name, now) for name in dict.fromkeys(each.site for each in known)]
    try:
        made = _mixing(service, known, sites, given, now)
    except ValueError as error:
        raise Mistake(f"mixing sheet: {error}") from error
    from swapbell_host.sheets import mixingdata

    def pages() -> bytes:
        from swapbell_host.sheets import mixingpage

        return mixingpage.pdf(made, paper)

    return issued(
        f"mixing-{made.asked.on}-{'-'.join(site.name for site in sites[:3])}",
        form,
        {
            Form.PDF: pages,
            Form.CSV: lambda: mixingdata.csv(made),
            Form.JSON: lambda: mixingdata.json(made),
        },
    )


def _mixing(
    service: Servicebook, known: Sequence[Station], sites: Sequence[Site], given: Mapping[str, str], now: datetime
) -> mixing.MixingSheet:
    told = stated.together(sites, given)
    zone = sites[0].clock if sites else Site("none").clock
    asked = stated.asked(told, len(known), now.astimezone(zone).date())
    carried = [
        mixing.Carried(each, service.job(*each.key, now), _where(service.place(*each.key, now))) for each in known
    ]
    return mixing.sheet(carried, told, asked, now, zone)


def application_record(
    store: Store,
    service: Servicebook,
    stations: Sequence[Key],
    now: datetime,
    form: Form = Form.PDF,
    paper: Paper = Paper.A4,
) -> Issued:
    """Return the record of every application at some stations of one site, the oldest first.

    Parameters
    ----------
    store, service
        The open ledger and its log.
    stations : sequence of (site, station)
        Those that never had toxic bait are left out.
    now : datetime
        Aware UTC.
    form, paper
        As what.

    Raises
    ------
    Mistake
        If a station is unknown, if they are of several sites, or if none of them ever had toxic bait.
    """
    from swapbell_host.sheets import gathering, recorddata

    known = [station_of(service, key, now) for key in dict.fromkeys(stations)]
    names = {each.site for each in known}
    if len(names) != 1:
        raise Mistake(f"record: it is of one site, not of {len(names)}; make one for each")
    site = site_of(service, names.pop(), now)
    records = gathering.records(store, service, site, known, now)
    if not records:
        raise Mistake("record: no toxic bait was ever logged there, so there is nothing to hand over")

    def pages() -> bytes:
        from swapbell_host.sheets import recordpage

        spots = gathering.spots(service, site, {each.application.swap.station for each in records}, now)
        return recordpage.pdf(records, site, spots, now, paper)

    name = f"record-{site.name}-{now.astimezone(site.clock):%Y-%m-%d}"
    return issued(
        name,
        form,
        {
            Form.PDF: pages,
            Form.CSV: lambda: recorddata.csv(records, site),
            Form.JSON: lambda: recorddata.json(records, site, now),
        },
    )


def season_report(
    store: Store,
    service: Servicebook,
    site_name: str,
    now: datetime,
    span: tuple[datetime | None, datetime | None] = (None, None),
    form: Form = Form.PDF,
    paper: Paper = Paper.A4,
) -> Issued:
    """Return the report of a site's season.

    Parameters
    ----------
    store, service
        The open ledger and its log.
    site_name : str
        Which site.
    now : datetime
        Aware UTC.
    span : tuple of datetime or None
        From when to when, aware UTC; from the first thing that was logged, until now.
    form, paper
        As what.

    Raises
    ------
    Mistake
        If the site is unknown or the time is none, or longer than two years.
    """
    from swapbell_host.sheets import gathering, seasondata, seasons

    site = site_of(service, site_name, now)
    from_at, to_at = span[0] or seasons.begin(service, site, now), min(span[1] or now, now)
    if not timedelta() < to_at - from_at <= REPORT_MAX:
        raise Mistake(
            f"report: it needs a beginning before its end, at most {REPORT_MAX.days} days before, and not ahead"
        )
    made = seasons.season(store, service, site, (from_at, to_at), now)

    def pages() -> bytes:
        from swapbell_host.sheets import seasonpage

        swapped = {name for each in made.verified for one in each.each for _, name in one.stations}
        return seasonpage.pdf(made, gathering.spots(service, site, swapped, now), paper)

    return issued(
        f"season-{site.name}-{to_at.astimezone(site.clock):%Y-%m-%d}",
        form,
        {Form.PDF: pages, Form.CSV: lambda: seasondata.csv(made), Form.JSON: lambda: seasondata.json(made)},
    )


def _where(place: Place | None) -> str | None:
    return None if place is None else in_words(place)


def in_words(place: Place) -> str:
    """Return a place as the plan reads it; five decimals are about a metre."""
    north, east = "N" if place.latitude_deg >= 0.0 else "S", "E" if place.longitude_deg >= 0.0 else "W"
    return f"{abs(place.latitude_deg):.5f} {north} {abs(place.longitude_deg):.5f} {east}"


def station_of(service: Servicebook, key: Key, now: datetime) -> Station:
    """Return a station by its site and name.

    Raises
    ------
    Mistake
        If the ledger knows none of that name.
    """
    known = service.stations(now)
    if key not in known:
        raise Mistake(f"station {'/'.join(key)}: the ledger knows none of that name; `station list` shows them")
    return known[key]


def site_of(service: Servicebook, name: str, now: datetime) -> Site:
    """Return a site by its name.

    Raises
    ------
    Mistake
        If the ledger knows none of that name.
    """
    known = service.sites(now)
    if name not in known:
        raise Mistake(f"site {name}: the ledger knows none of that name; `site list` shows them")
    return known[name]
