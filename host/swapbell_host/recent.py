"""The last hour of one station in memory, each tally where it belongs in time.

A counter without a clock reports `free`: its `from_at` is a guess and only `up_s` can be trusted. As soon as one
tally of the same boot is synced, the boot's own start is known (`from_at - up_s`) and every free one of it finds its
place. Until then free tallies are held apart: they happened, but nobody can say when. So are tallies dated later than
the host's clock, until their time has come or the clock is set right: nobody can say which clock is wrong. The ledger
keeps them all as they came.
"""

from bisect import insort
from collections import deque
from datetime import datetime, timedelta
from operator import attrgetter

import msgspec

from swapbell_models.tally import Clock, Tally

# Our choice: the rule looks at minutes; an hour leaves room for gaps between its windows.
KEPT = timedelta(hours=1)
# Our choice: four hours at a tally each 15 s, so that a zone or two of difference find their place.
AHEAD_KEPT_TALLIES = 1000

_from_at = attrgetter("from_at")


class Recent:
    """The tallies of one station that are not older than an hour, in time order."""

    __slots__ = ("_ahead", "_starts", "_tallies", "_unplaced")

    def __init__(self) -> None:
        self._ahead: deque[Tally] = deque(maxlen=AHEAD_KEPT_TALLIES)
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

    def since(self, begin_at: datetime, latest_at: datetime) -> tuple[Tally, ...]:
        """Return what ends after `begin_at` and always the latest, in time order; forget what is older.

        What ends later than `latest_at` is not there yet.
        """
        self._part(latest_at)
        kept = self._tallies
        stale = 0
        while stale < len(kept) - 1 and kept[stale].to_at <= begin_at:
            stale += 1
        del kept[:stale]
        return tuple(kept)

    def ahead_at(self) -> datetime | None:
        """Return when the last that came of those dated ahead ends, aware UTC; nothing if `since` found none."""
        return self._ahead[-1].to_at if self._ahead else None

    def _part(self, latest_at: datetime) -> None:
        """Set apart what ends later than `latest_at`, and bring back what no longer does."""
        kept, come = self._tallies, [tally for tally in self._ahead if tally.to_at <= latest_at]
        ahead = len(kept)
        while ahead and kept[ahead - 1].to_at > latest_at:
            ahead -= 1
        self._ahead.extend(kept[ahead:])
        del kept[ahead:]
        for tally in come:
            self._ahead.remove(tally)
            self._insert(tally)

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
