"""The host's durable record: what was counted, what was refused, what was said. A receipt promises what stands here.

One host writes to one ledger; it keeps the last hour and the seqs of running boots in memory so that a message costs
little more than its insert. `swapbell-host ack` may close notices in between; nothing else writes.
"""

from collections.abc import Generator, Iterable, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from typing import NamedTuple, Self

from sqlalchemy import Connection, insert, select, update
from sqlalchemy.engine import URL

from swapbell_host import refusals, store, tallybook
from swapbell_host.healthbook import Healthbook
from swapbell_host.intake import FUTURE_MAX, Arrival, BootName, Intake, Read, Rejection, Station, Told
from swapbell_host.notebook import Notebook
from swapbell_host.recent import KEPT, Recent
from swapbell_host.rules import History
from swapbell_host.schema import boots
from swapbell_host.sequence import Hole, Sequence, holes
from swapbell_host.tallybook import Key
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


@dataclass(slots=True)
class Boot:
    """One start of a station's counter, by its number in the ledger."""

    id: int
    sequence: Sequence


@dataclass(slots=True)
class Entry:
    """A batch on its way into the ledger: the boots that it touches, what is new, what contradicts the ledger."""

    boots: dict[BootName, Boot] = field(default_factory=dict[BootName, Boot])
    fresh: list[Read] = field(default_factory=list[Read])
    clashes: list[Rejection] = field(default_factory=list[Rejection])


class Ledger:
    """The ledger at a URL, for the stations of one configuration.

    After a `Breakdown` it must be opened again: its memory may be ahead of what was written.

    Parameters
    ----------
    url : URL
        By `store.ledger_url`.
    stations : mapping of (site, station) to Phase
        The stations that are known; what others send is rejected.
    now : datetime
        Aware UTC; the hour before it is read into memory.

    Raises
    ------
    Mistake, Breakdown
        If it cannot be opened; see `store.open_for_writing`.
    """

    def __init__(self, url: URL, stations: Mapping[Station, Phase], now: datetime) -> None:
        self._url = url
        self._engine = store.open_for_writing(url)
        self._phases = dict(stations)
        self._intake = Intake(stations)
        self._boots: dict[BootName, Boot] = {}
        self._recent = {station: Recent() for station in stations}
        self.notebook = Notebook(self._transaction)
        with self._transaction() as connection:
            self._healths = Healthbook(connection)
            self._recall(connection, now)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._engine.dispose()

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
        found = self._intake.sort(batch, received_at)
        entry = Entry()
        with self._transaction() as connection:
            self._sift(connection, found.tallies, entry)
            tallybook.put(connection, [(entry.boots[read.boot].id, read.tally) for read in entry.fresh], received_at)
            self._refuse(connection, [*found.rejections, *entry.clashes], received_at, entry)
            for told in found.healths:
                self._hear(connection, told, received_at, entry)
        for read in entry.fresh:
            self._recent[read.station].add(read.tally)
        heard = {read.station for read in found.tallies} | {told.station for told in found.healths}
        return Recorded(_receipts(entry.boots), frozenset(heard), len(found.rejections) + len(entry.clashes))

    def history(self, site: str, station: str, now: datetime) -> History:
        """Return what is known of a station of the configuration at `now` (aware UTC), for judging it."""
        return History(
            site=site,
            station=station,
            phase=self._phases[site, station],
            tallies=self._recent[site, station].since(now - KEPT),
            health=self._healths.latest(site, station),
            notices=self.notebook.past(site, station, now),
        )

    def holes(self, site: str, station: str) -> list[Hole]:
        """Return the tallies of a station that are missing, boot by boot."""
        with self._transaction() as connection:
            return station_holes(connection, site, station)

    @contextmanager
    def _transaction(self) -> Generator[Connection]:
        with store.spoken(self._url), self._engine.begin() as connection:
            yield connection

    def _recall(self, connection: Connection, now: datetime) -> None:
        # A tally is received after it ended, or at most a little before by clocks that differ.
        recent = tallybook.received_since(connection, now - KEPT - FUTURE_MAX)
        named = connection.execute(select(boots.c.id, boots.c.site)).all()
        sites = {row.id: row.site for row in named}
        for key, tally in (tallybook.latest(connection) | recent).items():
            if memory := self._recent.get((sites[key.boot_id], tally.station)):
                memory.add(tally)

    def _sift(self, connection: Connection, reads: list[Read], entry: Entry) -> None:
        for name in {read.boot: None for read in reads}:
            self._touch(connection, name, entry)
        stored = tallybook.get(connection, _repeated(reads, entry.boots))
        for read in reads:
            boot = entry.boots[read.boot]
            first = stored.setdefault(Key(boot.id, read.tally.seq), read.tally)
            if first is read.tally:
                boot.sequence.add(read.tally.seq)
                entry.fresh.append(read)
            elif first != read.tally:
                entry.clashes.append(_clash(read))

    def _touch(self, connection: Connection, name: BootName, entry: Entry) -> Boot:
        boot = self._boots.get(name)
        if boot is None:
            boot = self._boots[name] = self._load(connection, name)
        entry.boots[name] = boot
        return boot

    def _load(self, connection: Connection, name: BootName) -> Boot:
        site, station, boot_name = name
        same = (boots.c.site == site, boots.c.station == station, boots.c.boot == boot_name)
        row = connection.execute(select(boots.c.id, boots.c.oldest).where(*same)).first()
        if row is None:
            new = insert(boots).values(site=site, station=station, boot=boot_name)
            return Boot(connection.execute(new.returning(boots.c.id)).scalar_one(), Sequence())
        if started_at := tallybook.started_at(connection, row.id):
            self._recent[site, station].place(boot_name, started_at)
        kept = refusals.claimed(connection, site, station, boot_name)
        return Boot(row.id, Sequence([*tallybook.seqs(connection, row.id), *kept], row.oldest))

    def _refuse(self, connection: Connection, rejections: list[Rejection], at: datetime, entry: Entry) -> None:
        refusals.put(connection, rejections, at)
        for rejection in rejections:
            if rejection.station and rejection.claim:
                boot = self._touch(connection, (*rejection.station, rejection.claim.boot), entry)
                boot.sequence.add(rejection.claim.seq)

    def _hear(self, connection: Connection, told: Told, at: datetime, entry: Entry) -> None:
        self._healths.hear(connection, told, at)
        for held in told.health.oldest:
            boot = self._touch(connection, (*told.station, held.boot), entry)
            if held.seq > boot.sequence.oldest:
                connection.execute(update(boots).where(boots.c.id == boot.id).values(oldest=held.seq))
                boot.sequence.forget_below(held.seq)


def station_holes(connection: Connection, site: str, station: str) -> list[Hole]:
    """Return the tallies of a station that are missing, boot by boot."""
    of_station = select(boots).where(boots.c.site == site, boots.c.station == station).order_by(boots.c.id)
    found: list[Hole] = []
    for row in connection.execute(of_station).all():
        kept = refusals.claimed(connection, site, station, row.boot)
        found += holes(row.boot, sorted({*tallybook.seqs(connection, row.id), *kept}), row.oldest)
    return found


def _repeated(reads: list[Read], touched: Mapping[BootName, Boot]) -> list[Key]:
    named = ((touched[read.boot], read.tally.seq) for read in reads)
    return [Key(boot.id, seq) for boot, seq in named if seq in boot.sequence]


def _receipts(touched: Mapping[BootName, Boot]) -> tuple[ReceiptTo, ...]:
    return tuple(
        ReceiptTo(site, station, Receipt(boot=name, through=boot.sequence.through))
        for (site, station, name), boot in touched.items()
    )


def _clash(read: Read) -> Rejection:
    tally = read.tally
    reason = f"tally {tally.seq} of boot {tally.boot} is known with other content: two stations may share one name"
    return Rejection(read.arrival, reason, read.station)
