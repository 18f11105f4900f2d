"""The last hour of one station in memory, each tally where it belongs in time.

A counter without a clock reports `free`: its `from_at` is a guess and only `up_s` can be trusted. As soon as one
tally of the same boot is synced, the boot's own start is known (`from_at - up_s`) and every free one of it finds its
place. Until then free tallies are held apart: they happened, but nobody can say when. The ledger keeps them as they
came.
"""

from bisect import insort
from collections.abc import Iterable
from datetime import datetime, timedelta
from operator import attrgetter

import msgspec

from swapbell_models.tally import Clock, Tally

# Our choice: the rule looks at minutes; an hour leaves room for gaps between its windows.
KEPT = timedelta(hours=1)

_from_at = attrgetter("from_at")


class Recent:
    """The tallies of one station that are not older than an hour, in time order.

    Attributes
    ----------
    heard_at : datetime or None
        When anything of the station last came in, aware UTC.
    """

    __slots__ = ("_starts", "_tallies", "_unplaced", "heard_at")

    def __init__(self) -> None:
        self.heard_at: datetime | None = None
        self._tallies: list[Tally] = []
        self._starts: dict[str, datetime] = {}
        self._unplaced: dict[str, list[Tally]] = {}

    def add(self, tally: Tally) -> None:
        """Put a tally where it belongs, and those that it places."""
        if tally.clock is Clock.FREE:
            self._add_free(tally)
            return
        if tally.boot not in self._starts:
            self.place(tally.boot, tally.from_at - timedelta(seconds=tally.up_s))
        self._insert(tally)

    def place(self, boot: str, started_at: datetime) -> None:
        """Note when a boot started, and place what waited for it."""
        self._starts[boot] = started_at
        for tally in self._unplaced.pop(boot, []):
            self._insert(placed(tally, started_at))

    def since(self, begin_at: datetime) -> tuple[Tally, ...]:
        """Return the tallies that end after `begin_at` and always the latest, in time order; forget the others."""
        kept = self._tallies
        stale = 0
        while stale < len(kept) - 1 and kept[stale].to_at <= begin_at:
            stale += 1
        del kept[:stale]
        return tuple(kept)

    def unplaced(self) -> Iterable[str]:
        """Return the boots of which only free tallies have come."""
        return tuple(self._unplaced)

    def _add_free(self, tally: Tally) -> None:
        if started_at := self._starts.get(tally.boot):
            self._insert(placed(tally, started_at))
        else:
            self._unplaced.setdefault(tally.boot, []).append(tally)

    def _insert(self, tally: Tally) -> None:
        if self._tallies and tally.from_at < self._tallies[-1].from_at:
            insort(self._tallies, tally, key=_from_at)
        else:
            self._tallies.append(tally)


def placed(tally: Tally, started_at: datetime) -> Tally:
    """Return a free tally at its true time.

    Parameters
    ----------
    tally : Tally
        With a free clock.
    started_at : datetime
        When its boot started, aware UTC.
    """
    return msgspec.structs.replace(tally, from_at=started_at + timedelta(seconds=tally.up_s), clock=Clock.SYNCED)
