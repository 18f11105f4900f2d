"""The host's durable record: what was counted, what was refused, what was said. A receipt promises what stands here.

One host writes to one ledger; it keeps the last hour and the seqs of running boots in memory so that a message costs
little more than its insert. Other commands and the page may close notices, change the plan and add to the service
log in between; nothing else writes.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import NamedTuple, Self

from sqlalchemy import Connection
from sqlalchemy.engine import URL

from swapbell_host.alerting.people import People
from swapbell_host.books import bootrows, planbook, refusals, tallybook
from swapbell_host.books.bootrows import Boot
from swapbell_host.books.memory import Memory
from swapbell_host.books.planbook import Planbook
from swapbell_host.books.reckoning import Reckoning
from swapbell_host.books.sequence import Hole
from swapbell_host.books.servicebook import Servicebook
from swapbell_host.books.sifting import Entry, sift
from swapbell_host.books.store import BUSY_MS, Store, open_or_make
from swapbell_host.books.tellingbook import Tellingbook
from swapbell_host.config import AlertsSection
from swapbell_host.intake import Arrival, BootName, Intake, Rejection, Station, Told
from swapbell_host.judging.history import History
from swapbell_host.recent import KEPT
from swapbell_models.message import Receipt
from swapbell_models.phase import Phase


class ReceiptTo(NamedTuple):
    """A receipt and whose it is."""

    site: str
    station: str
    receipt: Receipt


@dataclass(frozen=True, slots=True)
class Recorded:
    """What a batch came to: the receipts that are due, the stations that spoke, how many messages were rejected."""

    receipts: tuple[ReceiptTo, ...]
    stations: frozenset[Station]
    rejected: int


class Ledger:
    """The ledger at a URL, for the stations that it knows and those that a configuration names.

    After a `Breakdown` it must be opened again: its memory may be ahead of what was written.

    Parameters
    ----------
    url : URL
        By `store.ledger_url`.
    stations : mapping of (site, station) to Phase
        The stations that a configuration names, and where it says that each stands. The ledger gets to know them;
        what stations send that it does not know is rejected.
    now : datetime
        Aware UTC; the hour before it is read into memory.

    Raises
    ------
    Mistake, Breakdown
        If it cannot be opened; see `store.open_or_make`.
    """

    def __init__(
        self,
        url: URL,
        stations: Mapping[Station, Phase],
        now: datetime,
        *,
        kept: timedelta = KEPT,
        busy_ms: int = BUSY_MS,
    ) -> None:
        self._store = open_or_make(url, busy_ms)
        with self._store.transaction() as connection:
            planbook.adopt(connection, stations, now)
            self._reckoning = Reckoning(connection)
        self._boots: dict[BootName, Boot] = {}
        self._memory = Memory(self._store, stations, now, kept)
        self._intake = Intake(self._memory.recent)
        self.notebook, self.tellings = self._memory.notebook, Tellingbook(self._store)
        self._plan = Planbook(self._store)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._store.__exit__()

    @property
    def stations(self) -> tuple[Station, ...]:
        """Return all stations that are known."""
        return tuple(self._memory.recent)

    @property
    def store(self) -> Store:
        """Return the database, for whoever reads more of it in the host's own thread."""
        return self._store

    @property
    def log(self) -> Servicebook:
        """Return the service log and the plan, as the host keeps them in memory."""
        return self._memory.log

    def people(self, section: AlertsSection, now: datetime) -> People:
        """Return who is told of which station, as of `now` (aware UTC)."""
        log = self._memory.log
        return People(section, self._plan.contacts(), log.stations(now), log.sites(now))

    def admit(self, now: datetime) -> bool:
        """Get to know the stations that were added since, as of `now` (aware UTC); tell whether there are any."""
        fresh = self._memory.admit(now)
        if fresh:
            self._intake = Intake(self._memory.recent)
        return fresh

    def record(self, batch: Iterable[Arrival], received_at: datetime) -> Recorded:
        """Write a batch down: all of it, durably, or nothing.

        Parameters
        ----------
        batch : iterable of Arrival
            In the order in which it came; duplicates are harmless.
        received_at : datetime
            Now, aware UTC.

        Raises
        ------
        Breakdown
            If it cannot be written; then nothing of the batch is.
        """
        found = self._intake.sort(batch)
        with self._store.transaction() as connection:
            entry = sift(connection, found.tallies, partial(self._find, connection))
            tallybook.put(connection, [(boot.id, read.tally) for boot, read in entry.fresh], received_at)
            self._reckoning.take(connection, entry.odd)
            self._refuse(connection, [*found.rejections, *entry.clashes], received_at, entry)
            for told in found.healths:
                self._hear(connection, told, received_at, entry)
            self._reckoning.turn(connection, self._boots, entry.boots)
        for _, read in entry.fresh:
            self._memory.recent[read.station].add(read.tally)
        heard = {read.station for read in found.tallies} | {told.station for told in found.healths}
        return Recorded(_receipts(entry.boots), frozenset(heard), len(found.rejections) + len(entry.clashes))

    def history(self, site: str, station: str, now: datetime) -> History:
        """Return what is known of a station at `now` (aware UTC), for judging it."""
        return self._memory.history(site, station, now)

    def holes(self, site: str, station: str) -> list[Hole]:
        """Return the tallies of a station that are missing, boot by boot."""
        with self._store.reading() as connection:
            return bootrows.station_holes(connection, site, station)

    def _find(self, connection: Connection, name: BootName) -> Boot:
        boot = self._boots.get(name)
        if boot is None:
            boot = self._boots[name] = self._load(connection, name)
        return boot

    def _touch(self, connection: Connection, name: BootName, entry: Entry) -> Boot:
        boot = entry.boots[name] = self._find(connection, name)
        return boot

    def _load(self, connection: Connection, name: BootName) -> Boot:
        boot = bootrows.find(connection, name)
        if boot is None:
            self._reckoning.begin(connection, name)
            return bootrows.begin(connection, name)
        if boot.started_at:
            self._memory.recent[name[:2]].place(name[2], boot.started_at)
        return boot

    def _refuse(self, connection: Connection, rejections: list[Rejection], at: datetime, entry: Entry) -> None:
        refusals.put(connection, rejections, at)
        for rejection in rejections:
            if rejection.station and rejection.claim:
                boot = self._touch(connection, (*rejection.station, rejection.claim.boot), entry)
                boot.claim(rejection.claim.seq)

    def _hear(self, connection: Connection, told: Told, at: datetime, entry: Entry) -> None:
        self._memory.healths.hear(connection, told, at)
        for held in told.health.oldest:
            boot = self._touch(connection, (*told.station, held.boot), entry)
            bootrows.note_held(connection, boot, held.seq, held.last or 0)


def _receipts(touched: Mapping[BootName, Boot]) -> tuple[ReceiptTo, ...]:
    return tuple(
        ReceiptTo(site, station, Receipt(boot=name, through=boot.came.through))
        for (site, station, name), boot in touched.items()
    )
