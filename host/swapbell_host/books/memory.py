"""What of the ledger is kept in memory for judging: each station's last hour, latest word, notices and job."""

from collections.abc import Mapping
from datetime import datetime, timedelta

from swapbell_host.books import tallybook
from swapbell_host.books.healthbook import Healthbook
from swapbell_host.books.notebook import Notebook
from swapbell_host.books.servicebook import Servicebook
from swapbell_host.books.store import Store
from swapbell_host.intake import Station
from swapbell_host.jobs.plan import Role
from swapbell_host.jobs.sightings import sighting
from swapbell_host.judging.history import History
from swapbell_host.recent import KEPT, Recent
from swapbell_models.job import Job
from swapbell_models.phase import Phase
from swapbell_models.readiness import AHEAD_MAX_S

AHEAD_MAX = timedelta(seconds=AHEAD_MAX_S)


class Memory:
    """The recent past of the stations of one ledger, and of those that a configuration names beside them.

    Parameters
    ----------
    store : Store
        The ledger's database.
    phases : mapping of Station to Phase
        The stations that a configuration names, and where it says that each stands: what holds until the ledger
        knows them.
    now : datetime
        Aware UTC; the hour before it is read, or more if `kept` is longer.
    kept : timedelta
        How much of the past the rule looks at.
    """

    def __init__(
        self,
        store: Store,
        phases: Mapping[Station, Phase],
        now: datetime,
        kept: timedelta = KEPT,
    ) -> None:
        self._phases, self._kept = dict(phases), max(kept, KEPT)
        self.notebook, self.log = Notebook(store), Servicebook(store)
        self.recent: dict[Station, Recent] = {}
        self._edition: int | None = None
        self.admit(now)
        with store.reading() as connection:
            self.healths = Healthbook(connection)
            # A tally is received after it ended, or at most a little before by clocks that differ.
            for station, tally in tallybook.recent(connection, now - self._kept - AHEAD_MAX):
                if station in self.recent:
                    self.recent[station].add(tally)

    def admit(self, now: datetime) -> bool:
        """Take in the stations that were added since; tell whether there are any."""
        edition = self.log.edition(now)
        if edition == self._edition:
            return False
        self._edition = edition
        fresh = [key for key in (*self._phases, *self.log.stations(now)) if key not in self.recent]
        self.recent |= {key: Recent() for key in fresh}
        return bool(fresh)

    def history(self, site: str, station: str, now: datetime) -> History:
        """Return what is known of a station at `now` (aware UTC), for judging it."""
        recent, job = self.recent[site, station], self._job(site, station, now)
        return History(
            site=site,
            station=station,
            phase=job.phase,
            job=job,
            role=plan.role if (plan := self.log.stations(now).get((site, station))) else Role.BAIT,
            place=self.log.place(site, station, now) if plan else None,
            tallies=recent.since(now - self._kept, now + AHEAD_MAX),
            ahead_at=recent.ahead_at(),
            health=self.healths.latest(site, station),
            notices=self.notebook.past(site, station, now),
            sighting=sighting(self.log.entries(site, station, now)),
        )

    def _job(self, site: str, station: str, now: datetime) -> Job:
        if (site, station) in self.log.stations(now):
            return self.log.job(site, station, now)
        return Job(now, self._phases[site, station])
