"""What became of a site's traffic after a swap, read from the open books."""

from collections.abc import Generator, Sequence
from datetime import datetime, timedelta
from typing import TypeAlias, TypeVar

from swapbell_host.books.countbook import Countbook
from swapbell_host.books.servicebook import Servicebook
from swapbell_host.config import Config
from swapbell_host.intake import Station as Key
from swapbell_host.jobs import lures
from swapbell_host.jobs.entry import Entry, standing
from swapbell_host.jobs.lures import Swap
from swapbell_host.jobs.plan import Role
from swapbell_host.verifying.finding import Finding
from swapbell_host.verifying.lit import STEP, Watched
from swapbell_host.verifying.verify import BEFORE_MAX, verify

# Our choice: whoever verifies longer than the terms of the site say still sees a fortnight of it.
LATER = timedelta(days=14)

# Our choice: of so many stations each five minutes are read within a second or two; of more, the hours.
FINE_MAX_STATIONS = 12
HOUR = timedelta(hours=1)

T = TypeVar("T")
# Work that is done piece by piece, so that whoever asks can do something more pressing in between.
Pieces: TypeAlias = Generator[None, None, T]
# What became of the traffic after a swap: of all its stations together, and of each.
Found: TypeAlias = tuple[Finding | None, tuple[Finding, ...]]


class Comparison:
    """The swaps of one site, and what became of its traffic.

    Parameters
    ----------
    service, counts
        The open books.
    site : str
        One that the ledger knows.
    now : datetime
        Aware UTC.
    until : datetime, optional
        How far one looks, aware UTC; to `now` if nothing is said.
    config : Config, optional
        Where the site lies, if the ledger does not know.
    """

    def __init__(
        self,
        service: Servicebook,
        counts: Countbook,
        site: str,
        now: datetime,
        *,
        until: datetime | None = None,
        config: Config | None = None,
    ) -> None:
        self._service, self._counts, self._now, self._until = service, counts, now, until or now
        self._site = service.sites(now)[site]
        self._place = next((each.place for each in config.sites if each.name == site), None) if config else None
        self._roles = {key: each.role for key, each in service.stations(now).items() if key[0] == site}

    def swaps(self) -> list[Swap]:
        """Return the swaps of the site, in time order."""
        return lures.swaps({key: self._entries(key) for key in self._roles})

    def last_swap(self, key: Key) -> Swap | None:
        """Return the last swap of a station, as of it alone; nothing if it never was."""
        swaps = lures.swaps({key: self._entries(key)})
        return swaps[-1] if swaps else None

    def of(self, swap: Swap) -> Found:
        """Return what became of the traffic after a swap: of all its stations together, and of each."""
        return _whole(self.pieces(swap))

    def pieces(self, swap: Swap) -> Pieces[Found]:
        """Return the same, in pieces of some hundredths of a second: one for each station."""
        controls = [key for key, role in self._roles.items() if role is Role.CONTROL and key not in swap.stations]
        step = STEP if len(swap.stations) + len(controls) <= FINE_MAX_STATIONS else HOUR
        watched = list[Watched]()
        for key in (*swap.stations, *controls):
            watched.append(self._watched(key, swap, step))
            yield
        number = len(swap.stations)
        return verify(swap, watched[:number], watched[number:], self._until)

    def _watched(self, key: Key, swap: Swap, step: timedelta) -> Watched:
        to_at = max(swap.stations.values()) + self._site.terms.watch + LATER
        counts = self._counts.span(*key, swap.from_at - BEFORE_MAX - step, min(self._until, to_at), step)
        place = self._service.place(*key, self._now) or self._place
        return Watched(key, place, self._entries(key), counts, self._site.terms.lure, step)

    def _entries(self, key: Key) -> Sequence[Entry]:
        return standing(self._service.entries(*key, self._now))


def _whole(pieces: Pieces[T]) -> T:
    """Do all of some work at once."""
    while True:
        try:
            next(pieces)
        except StopIteration as end:
            found: T = end.value
            return found
