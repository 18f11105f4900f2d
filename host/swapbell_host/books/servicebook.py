"""The service log as rows of the ledger: added to, read, and kept in memory for whoever asks often."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import datetime, timedelta

from sqlalchemy import Connection

from swapbell_host.books.jobtables import service
from swapbell_host.books.logrows import entries_of, entries_where, entry_of, next_id, put_entry
from swapbell_host.books.planrows import edition, read_sites, read_station, read_stations
from swapbell_host.books.store import Book, Store
from swapbell_host.intake import Station as Key
from swapbell_host.jobs.entry import Draft, Entry, admit, place_of, replay
from swapbell_host.jobs.plan import Site, Station
from swapbell_models.calendar.place import Place
from swapbell_models.fault import Mistake
from swapbell_models.job import Job

# Our choice: what another program logs is noticed within a second.
STALE = timedelta(seconds=1)


class Servicebook(Book):
    """The plan and the log of one ledger, in memory: a look costs nothing unless something was written.

    Not for several threads at once: give each its own.
    """

    def __init__(self, store: Store) -> None:
        super().__init__(store)
        self._entries: defaultdict[Key, list[Entry]] = defaultdict(list)
        self._sites: dict[str, Site] = {}
        self._stations: dict[Key, Station] = {}
        self._jobs: dict[Key, Job] = {}
        self._edition, self._last_id = -1, 0
        self._read_at: datetime | None = None

    def add(self, draft: Draft, now: datetime) -> Entry:
        """Log something, or correct an entry.

        Parameters
        ----------
        draft : Draft
            What happened.
        now : datetime
            Aware UTC.

        Raises
        ------
        Mistake
            If it is not legal then, or would make a later entry illegal: the message says what is. If there is no
            such station, or the entry to be corrected is not its or was corrected before.
        """
        with self._store.transaction() as connection:
            station = read_station(connection, draft.site, draft.station)
            known = entries_of(connection, station.key)
            entry = entry_of(draft, next_id(connection), now)
            try:
                admit(station, read_sites(connection)[draft.site].terms, known, entry)
            except ValueError as error:
                raise Mistake(f"{station}: {error}") from error
            put_entry(connection, entry)
        self._read_at = None
        return entry

    def renew(self, now: datetime) -> None:
        """Read what was written since the last look, unless that was less than `STALE` ago."""
        if self._read_at is not None and timedelta() <= now - self._read_at < STALE:
            return
        with self._store.reading() as connection:
            self._renew_plan(connection)
            self._renew_log(connection)
        self._read_at = now

    def edition(self, now: datetime) -> int:
        """Return how many times sites and stations were changed, as of `now` (aware UTC)."""
        self.renew(now)
        return self._edition

    def sites(self, now: datetime) -> Mapping[str, Site]:
        """Return every site by its name, as of `now` (aware UTC)."""
        self.renew(now)
        return self._sites

    def stations(self, now: datetime) -> Mapping[Key, Station]:
        """Return every station by (site, name), as of `now` (aware UTC)."""
        self.renew(now)
        return self._stations

    def entries(self, site: str, station: str, now: datetime) -> tuple[Entry, ...]:
        """Return all that was ever logged of a station, also what was corrected, in the order of the numbers."""
        self.renew(now)
        return tuple(self._entries.get((site, station), ()))

    def job(self, site: str, station: str, now: datetime) -> Job:
        """Return where a station's job stands at `now` (aware UTC), what it expects next and by when.

        Raises
        ------
        KeyError
            If the ledger knows no such station.
        """
        self.renew(now)
        key = site, station
        if key not in self._jobs:
            terms = self._sites[site].terms
            self._jobs[key] = replay(self._stations[key], terms, self._entries.get(key, ()))
        job = self._jobs[key]
        return job.at(max(now, job.logged_at))

    def place(self, site: str, station: str, now: datetime) -> Place | None:
        """Return where a station hangs; nothing if nobody has said."""
        self.renew(now)
        return place_of(self._stations[site, station], self._entries.get((site, station), ()))

    def _renew_plan(self, connection: Connection) -> None:
        latest = edition(connection)
        if latest != self._edition:
            self._sites, self._stations = read_sites(connection), read_stations(connection)
            self._jobs.clear()
            self._edition = latest

    def _renew_log(self, connection: Connection) -> None:
        """Read the new rows alone: those read before never change."""
        for entry in entries_where(connection, service.c.id > self._last_id):
            self._entries[entry.site, entry.station].append(entry)
            self._jobs.pop((entry.site, entry.station), None)
            self._last_id = entry.id
