"""Who is judged now: whoever spoke, soon; and everyone else in turn, because silence is news too."""

import math
from collections import deque
from collections.abc import Iterable
from datetime import datetime, timedelta

from swapbell_host.intake import Station

# Our choice: far below the two seconds in which a person should hear, and enough to judge a burst of tallies once.
SOON_S = 0.5
# Our choice: a second would do for a few stations and be all the work of a host with thousands; a silence is minutes.
ROUND_S = 20.0
# Our choice: who speaks as often as a counter usually does is judged often enough without a turn of its own.
LATELY_S = 0.75 * ROUND_S
# Our choice: what is told slowly is about days.
SLOW_ROUND = timedelta(hours=1)
# Our choice: five slow looks in a second are a tenth of all work, and none is waited for.
SLOW_MIN = timedelta(seconds=0.2)
# Our choice: by then every station was looked at once.
SLOW_FIRST = timedelta(minutes=1)


class Rota:
    """The order in which stations are judged.

    Parameters
    ----------
    stations : iterable of Station
        All of them.
    at_s : float
        Now, on a clock that only runs forward [s].
    """

    def __init__(self, stations: Iterable[Station], at_s: float) -> None:
        self._waiting: dict[Station, None] = {}
        self._turn = deque(stations)
        self._judged_at_s: dict[Station, float] = {}
        self._soon_at_s = at_s
        self._round_at_s = at_s

    def due(self, spoke: Iterable[Station], at_s: float) -> list[Station]:
        """Return who is to be judged at `at_s`, each once, given who spoke since the last call."""
        self._waiting |= dict.fromkeys(spoke)
        self._waiting |= dict.fromkeys(self._next(at_s))
        if at_s < self._soon_at_s:
            return []
        self._soon_at_s = at_s + SOON_S
        found, self._waiting = list(self._waiting), {}
        self._judged_at_s |= dict.fromkeys(found, at_s)
        return found

    def _next(self, at_s: float) -> list[Station]:
        share = min((at_s - self._round_at_s) / ROUND_S, 1.0)
        count = math.ceil(share * len(self._turn))
        self._round_at_s = at_s
        found = [self._turn[n] for n in range(count)]
        self._turn.rotate(-count)
        return [station for station in found if at_s - self._judged_at_s.get(station, -math.inf) >= LATELY_S]


class Rounds:
    """The order in which stations are looked at slowly: each once in an hour, one at a time, evenly spread.

    Parameters
    ----------
    stations : iterable of Station
        All of them.
    at : datetime
        Now, aware UTC: days count here, so a clock that is set moves the next turn.
    """

    def __init__(self, stations: Iterable[Station], at: datetime) -> None:
        self._turn = deque(stations)
        self._every = max(SLOW_ROUND / max(len(self._turn), 1), SLOW_MIN)
        self._last_at, self._due_at = at, at + min(SLOW_FIRST, self._every)

    def due(self, at: datetime) -> Station | None:
        """Return whose turn it is at `at` (aware UTC); nothing if nobody's."""
        if at < self._last_at:
            self._due_at = at + self._every
        self._last_at = at
        if at < self._due_at or not self._turn:
            return None
        self._due_at = at + self._every
        self._turn.rotate(-1)
        return self._turn[-1]
