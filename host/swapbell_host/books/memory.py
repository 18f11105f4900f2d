"""What of the ledger is kept in memory for judging: the last hour of each station, its latest word, its notices."""

from collections.abc import Mapping
from datetime import datetime, timedelta

from swapbell_host.books import tallybook
from swapbell_host.books.healthbook import Healthbook
from swapbell_host.books.notebook import Notebook
from swapbell_host.books.store import Store
from swapbell_host.intake import Station
from swapbell_host.recent import KEPT, Recent
from swapbell_host.rules import History
from swapbell_models.phase import Phase
from swapbell_models.readiness import AHEAD_MAX_S

AHEAD_MAX = timedelta(seconds=AHEAD_MAX_S)


class Memory:
    """The recent past of the stations of one configuration.

    Parameters
    ----------
    store : Store
        The ledger's database.
    phases : mapping of Station to Phase
        The stations, and where each stands in its job.
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
        self.recent = {station: Recent() for station in phases}
        self.notebook = Notebook(store)
        with store.reading() as connection:
            self.healths = Healthbook(connection)
            # A tally is received after it ended, or at most a little before by clocks that differ.
            for station, tally in tallybook.recent(connection, now - self._kept - AHEAD_MAX):
                if station in self.recent:
                    self.recent[station].add(tally)

    def history(self, site: str, station: str, now: datetime) -> History:
        """Return what is known of a station of the configuration at `now` (aware UTC), for judging it."""
        recent = self.recent[site, station]
        return History(
            site=site,
            station=station,
            phase=self._phases[site, station],
            tallies=recent.since(now - self._kept, now + AHEAD_MAX),
            ahead_at=recent.ahead_at(),
            health=self.healths.latest(site, station),
            notices=self.notebook.past(site, station, now),
        )
