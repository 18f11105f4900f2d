"""Sites, stations and contacts: added to the ledger, changed, and read from it."""

from collections.abc import Iterable, Mapping
from datetime import datetime

from sqlalchemy import Connection, delete, insert, select, update

from swapbell_host.books.jobtables import contacts, sites, stations
from swapbell_host.books.logrows import entries_of, logged
from swapbell_host.books.planrows import (
    NAMED_MAX,
    next_edition,
    one,
    read_sites,
    read_station,
    read_stations,
    site_row,
    station_row,
)
from swapbell_host.books.store import Book
from swapbell_host.intake import Station as Key
from swapbell_host.jobs.entry import replay
from swapbell_host.jobs.plan import Contact, Site, Station, shown
from swapbell_host.jobs.quiet import quiet
from swapbell_models.calendar.course import course
from swapbell_models.fault import Mistake
from swapbell_models.job import Terms
from swapbell_models.phase import Phase

# Our choice: nobody walks a site wider than this; a station farther off has a wrong sign or a wrong digit.
SITE_MAX_M = 50_000.0


class Planbook(Book):
    """The sites, stations and contacts of one ledger; each call reads or writes it at once."""

    def sites(self) -> dict[str, Site]:
        """Return every site by its name, in the order of the names."""
        with self._store.reading() as connection:
            return read_sites(connection)

    def stations(self) -> dict[Key, Station]:
        """Return every station by (site, name), in their order."""
        with self._store.reading() as connection:
            return read_stations(connection)

    def contacts(self) -> dict[str, Contact]:
        """Return every contact by name, in the order of the names."""
        with self._store.reading() as connection:
            rows = connection.execute(select(contacts).order_by(contacts.c.name)).all()
        return {row.name: Contact(row.name, row.address, row.second, row.quiet and quiet(row.quiet)) for row in rows}

    def site(self, name: str) -> Site:
        """Return one site.

        Raises
        ------
        Mistake
            If there is none of that name.
        """
        return one(self.sites(), name, "site")

    def station(self, site: str, name: str) -> Station:
        """Return one station.

        Raises
        ------
        Mistake
            If there is none of that name.
        """
        with self._store.reading() as connection:
            return read_station(connection, site, name)

    def add_site(self, site: Site) -> None:
        """Write a new site down.

        Raises
        ------
        Mistake
            If there is one of that name.
        """
        with self._store.transaction() as connection:
            row = site_row(site, next_edition(connection))
            if site.name in read_sites(connection):
                raise Mistake(f"site {site.name}: it is there already; change it instead")
            connection.execute(insert(sites).values(row))

    def change_site(self, site: Site) -> None:
        """Write down what a known site is now."""
        with self._store.transaction() as connection:
            row = site_row(site, next_edition(connection))
            for station in read_stations(connection).values():
                if station.site == site.name:
                    _still_legal(connection, station, site.terms)
            if connection.execute(update(sites).where(sites.c.name == site.name).values(row)).rowcount != 1:
                raise Mistake(f"site {site.name}: there is none; add it first")

    def add_station(self, station: Station) -> None:
        """Write a new station down.

        Raises
        ------
        Mistake
            If there is one of that name, if its site or contact is unknown, or if it lies far from all others.
        """
        with self._store.transaction() as connection:
            edition = next_edition(connection)
            known = read_stations(connection)
            if station.key in known:
                raise Mistake(f"station {station}: it is there already; change it instead")
            _check(connection, station, known)
            connection.execute(insert(stations).values(station_row(station, edition)))

    def change_station(self, station: Station) -> None:
        """Write down what a known station is now.

        Raises
        ------
        Mistake
            As `add_station`, and if what was logged could not have happened so: no control ever had toxic bait.
        """
        with self._store.transaction() as connection:
            edition = next_edition(connection)
            _check(connection, station, read_stations(connection))
            _still_legal(connection, station, read_sites(connection)[station.site].terms)
            same = (stations.c.site == station.site, stations.c.name == station.name)
            if connection.execute(update(stations).where(*same).values(station_row(station, edition))).rowcount != 1:
                raise Mistake(f"station {station}: there is none; add it first")

    def put_contact(self, contact: Contact) -> None:
        """Write a contact down, in place of one of the same name.

        Raises
        ------
        Mistake
            If its second contact is unknown, or another one's name differs by capital letters only.
        """
        hours = str(contact.quiet) if contact.quiet else None
        row = {"name": contact.name, "address": contact.address, "second": contact.second, "quiet": hours}
        with self._store.transaction() as connection:
            _known_contact(connection, contact.second)
            _own_name(connection, contact.name)
            if connection.execute(update(contacts).where(contacts.c.name == contact.name).values(row)).rowcount == 0:
                connection.execute(insert(contacts).values(row))

    def drop_contact(self, name: str) -> None:
        """Forget a contact.

        Raises
        ------
        Mistake
            If there is none of that name, or somebody or some station still relies on it.
        """
        with self._store.transaction() as connection:
            _known_contact(connection, name)
            seconded = select(contacts.c.name).where(contacts.c.second == name)
            users = [*connection.execute(seconded.order_by(contacts.c.name)).scalars()]
            users += [str(each) for each in read_stations(connection).values() if each.contact == name]
            if users:
                more = f" and {len(users) - NAMED_MAX} more" if len(users) > NAMED_MAX else ""
                raise Mistake(
                    f"contact {shown(name)}: relied on by {', '.join(users[:NAMED_MAX])}{more}; change those first"
                )
            connection.execute(delete(contacts).where(contacts.c.name == name))


def adopt(connection: Connection, stated: Mapping[Key, Phase], now: datetime) -> None:
    """Write down the stations that a configuration names and the ledger does not know, and where it says they stand.

    Once something is logged of a station, its log alone says where it stands.
    """
    known = read_stations(connection)
    fresh = [key for key in stated if key not in known]
    restated = [key for key in stated if key in known and _restates(known[key], stated[key])]
    told = logged(connection) if restated else set[Key]()
    restated = [key for key in restated if key not in told]
    if not fresh and not restated:
        return
    edition = next_edition(connection)
    for name in sorted({site for site, _ in fresh} - set(read_sites(connection))):
        connection.execute(insert(sites).values(site_row(Site(name), edition)))
    for site, name in fresh:
        station = Station(site, name, now, first_phase=stated[site, name])
        connection.execute(insert(stations).values(station_row(station, edition)))
    for site, name in restated:
        same = (stations.c.site == site, stations.c.name == name)
        values = {"first_phase": stated[site, name].value, "edition": edition}
        connection.execute(update(stations).where(*same).values(values))


def _restates(known: Station, stated: Phase) -> bool:
    """Tell whether a configuration says something new of a station; of one that was planned here, the log says it."""
    return known.first_phase not in {stated, Phase.PLANNED}


def _check(connection: Connection, station: Station, known: Mapping[Key, Station]) -> None:
    if station.site not in read_sites(connection):
        raise Mistake(f"station {station}: there is no site {station.site}; add it first")
    _known_contact(connection, station.contact)
    _near(station, [each for key, each in known.items() if key != station.key])


def _still_legal(connection: Connection, station: Station, terms: Terms) -> None:
    """Refuse a change with which something that was logged could not have happened."""
    try:
        replay(station, terms, entries_of(connection, station.key))
    except ValueError as error:
        raise Mistake(f"station {station}: its log forbids this change: {error}") from error


def _near(station: Station, others: Iterable[Station]) -> None:
    """Refuse a place that lies far from every other of the site."""
    here = station.place
    ways = [course(here, each.place) for each in others if here and each.place and each.site == station.site]
    nearest_m = min((way.distance_m for way in ways), default=0.0)
    if nearest_m > SITE_MAX_M:
        raise Mistake(
            f"station {station}: its position lies {nearest_m / 1000.0:.0f} km from the next station of its site, "
            f"more than {SITE_MAX_M / 1000.0:g} km; check its sign and its digits"
        )


def _own_name(connection: Connection, name: str) -> None:
    """Refuse a name that a person would take for another one's."""
    for other in connection.execute(select(contacts.c.name)).scalars():
        if other != name and other.casefold() == name.casefold():
            raise Mistake(f"contact {shown(name)}: there is {shown(other)}; use that name, or one that differs more")


def _known_contact(connection: Connection, name: str | None) -> None:
    if name is not None:
        names = connection.execute(select(contacts.c.name).order_by(contacts.c.name)).scalars().all()
        one(dict.fromkeys(names, name), name, "contact")
