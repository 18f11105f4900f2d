"""Dates one start of the counter: by the first moment from which the time of day is known, and by no other.

Times are counted on the board's own clock, which no setting of the time of day moves (`CLOCK_BOOTTIME`,
clock_gettime(2)). The difference of the two only changes when the time of day is set, so it is looked at again and
again; where it has changed, the counter begins anew, so that all the tallies of one start agree. See decision 22.
"""

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Protocol

from swapbell_device.cameras.live import boot_clock
from swapbell_device.clock import knows_the_time
from swapbell_device.eye import now, say
from swapbell_models.tally import Clock

# Our choice: until it knows the time, the board asks so often.
ASK_S = 10.0
# Our choice: for so long at most, tallies may be dated by a clock that has been set since.
COMPARE_S = 60.0
# Our choice: far below the five minutes of the rule; a time server sets a clock that is off by 0.128 s (RFC 5905,
# STEPT), and a counter that begins anew for each would lose more than it gains.
STEP = timedelta(seconds=1)
# Our choice: two clocks are read one after the other; where that took longer, they are read again later.
READ_S = 0.05


class Dated(Protocol):
    """Whatever dates by when the counter started."""

    def set_clock(self, started_at: datetime) -> None:
        """Learn when that was, aware UTC."""
        ...


class Timekeeper:
    """Knows when one start of the counter was.

    Parameters
    ----------
    ask : callable
        Returns when it was by the time of day as that is now, aware UTC; nothing as long as nobody knows.
    anew : callable
        Told that the time of day was set, so that the counter has to begin anew.

    Attributes
    ----------
    started_at
        When it was, aware UTC; nothing as long as nobody knows.
    """

    def __init__(self, ask: Callable[[], datetime | None], anew: Callable[[], None] = lambda: None) -> None:
        self._ask, self._anew, self._next_s = ask, anew, ASK_S
        self.started_at = ask()

    @property
    def clock(self) -> Clock:
        """Whether the time of day is known."""
        return Clock.FREE if self.started_at is None else Clock.SYNCED

    def look(self, at_s: float, *dated: Dated) -> None:
        """Look at the clock if it is time to at `at_s` [s]; tell all what is learned, and the counter of a step."""
        if at_s < self._next_s:
            return
        started_at = self._ask()
        self._next_s = at_s + (ASK_S if started_at is None else COMPARE_S)
        if started_at is None:
            return
        if self.started_at is None:
            self.started_at = started_at
            for each in dated:
                each.set_clock(started_at)
        elif abs(step := started_at - self.started_at) > STEP:
            say(f"the clock was set by {step.total_seconds():+.1f} s; the counter begins anew")
            self._anew()


def by_the_clock(origin_s: float, *, trusted: bool) -> datetime | None:
    """Return the time of day at a moment of the board's own clock [s], or nothing if it cannot be told now.

    Parameters
    ----------
    origin_s : float
        The moment [s].
    trusted : bool
        Whether the time of day is right though no time server sets it.
    """
    before_s, at, after_s = boot_clock(), now(), boot_clock()
    if not (trusted or knows_the_time()) or after_s - before_s > READ_S:
        return None
    return at - timedelta(seconds=after_s - origin_s)
