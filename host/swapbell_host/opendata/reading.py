"""The ledger read piece by piece, so that a season takes no more memory than an hour."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil

from sqlalchemy import func, select

from swapbell_host.books import tallybook
from swapbell_host.books.schema import tallies
from swapbell_host.books.store import Store
from swapbell_host.opendata.choosing import Boot, Chosen
from swapbell_host.opendata.tables import REPAIRED, SYNCED, UNKNOWN
from swapbell_host.recent import placed
from swapbell_models.tally import Clock, Tally
from swapbell_models.traffic import Span

# Our choice: some megabytes, and a tenth of a second, at a time.
PIECE_TALLIES = 2000


@dataclass(frozen=True, slots=True)
class Told:
    """One tally, and when it was.

    Attributes
    ----------
    from_at
        When it begins, aware UTC; nothing if nobody can say.
    clock
        How that is known: one of `tables`' words.
    """

    tally: Tally
    from_at: datetime | None
    clock: str

    @property
    def span(self) -> Span | None:
        """From when to when, aware UTC; it lasts a microsecond at least, and is nothing if nobody can say when."""
        if self.from_at is None:
            return None
        return self.from_at, self.from_at + max(timedelta(seconds=self.tally.seconds), timedelta.resolution)

    def at(self, at_s: float) -> datetime | None:
        """Return the moment, aware UTC, so many seconds after its begin."""
        return self.from_at + timedelta(seconds=at_s) if self.from_at else None


def pieces(store: Store, chosen: list[Chosen]) -> int:
    """Return how many pieces there are to read."""
    return sum(_pieces(store, each, boot) for each in chosen for boot in each.boots)


def told(store: Store, each: Chosen, *, timeless: bool) -> Iterator[list[Told]]:
    """Yield a station's tallies piece by piece, by boot and seq.

    Parameters
    ----------
    timeless : bool
        Whether those come, too, whose time nobody knows; they do only where the span has no limit.
    """
    for boot in each.boots:
        if boot.began_at or (timeless and each.span.is_all):
            yield from _of_boot(store, each, boot)


def _of_boot(store: Store, each: Chosen, boot: Boot) -> Iterator[list[Told]]:
    seq, last = tallies.c.seq, -1
    while True:
        waiting = select(seq).where(each.known(boot), seq > last).order_by(seq).limit(PIECE_TALLIES)
        with store.reading() as connection:
            seqs = connection.execute(waiting).scalars().all()
            found = tallybook.get(connection, [(boot.id, one) for one in seqs])
        if not seqs:
            return
        last = seqs[-1]
        yield [_told(found[boot.id, one], boot) for one in seqs]


def _told(tally: Tally, boot: Boot) -> Told:
    if tally.clock is Clock.SYNCED:
        return Told(tally, tally.from_at, SYNCED)
    if boot.began_at is None:
        return Told(tally, None, UNKNOWN)
    return Told(tally, placed(tally, boot.began_at).from_at, REPAIRED)


def _pieces(store: Store, each: Chosen, boot: Boot) -> int:
    with store.reading() as connection:
        counted = select(func.count()).select_from(tallies).where(each.known(boot))
        return ceil(connection.execute(counted).scalar_one() / PIECE_TALLIES)


def reach(store: Store, each: Chosen) -> tuple[datetime, datetime] | None:
    """Return from when to when, aware UTC, a station has tallies within its span; nothing if it has none."""
    ends = [found for boot in each.boots if boot.began_at for found in _ends(store, boot, boot.began_at)]
    if not ends:
        return None
    begin_at = max(filter(None, (min(ends), each.span.begin_at)))
    end_at = min(filter(None, (max(ends), each.span.end_at)))
    return (begin_at, end_at) if begin_at < end_at else None


def _ends(store: Store, boot: Boot, began_at: datetime) -> Iterator[datetime]:
    """Yield moments between which all tallies of a boot lie."""
    begin, length = tallies.c.from_at, func.max(tallies.c.seconds)
    synced = select(func.min(begin), func.max(begin), length).where(
        tallies.c.boot_id == boot.id, tallies.c.clock == Clock.SYNCED.value
    )
    free = select(func.min(tallies.c.up_s), func.max(tallies.c.up_s), length).where(
        tallies.c.boot_id == boot.id, tallies.c.clock == Clock.FREE.value
    )
    with store.reading() as connection:
        first_at, last_at, last_s = connection.execute(synced).one()
        first_s, final_s, free_s = connection.execute(free).one()
    yield from (first_at, last_at + timedelta(seconds=last_s))
    if first_s is not None:
        yield from (began_at + timedelta(seconds=first_s), began_at + timedelta(seconds=final_s + free_s))
