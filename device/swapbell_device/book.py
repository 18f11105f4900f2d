"""The counter's book: time cut into tallies, each with its crossings and the seconds that were really watched.

A body that passed the line is counted only when it is well beyond it, so a crossing can be told a moment after its
tally's interval ended. Intervals therefore stay open for a settling time. A crossing told later still is dated to the
start of the oldest interval that is open: it moves a little, but is neither lost nor counted twice.

Time in which the counter cannot count for what it sees is not watched: from the look that says so until the looks
have been good for a while. Crossings are booked all the same, for what was counted then may be too few, but is there.
While a camera shows the same picture again and again, time waits: it is watched if another picture follows, and else
the camera hung from the first of them on.
"""

import math
from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import NamedTuple

from msgspec.structs import replace

from swapbell_device.look import Attention, Look, sight
from swapbell_models.tally import Clock, Crossing, Hindrance, Tally

# Our choice: four frames a second. A walking wasp moves about one body length in it, so that the tracker can still
# join both sides of the pause; in a longer one a body can come and go unseen.
GAP_S = 0.25
# Our choice: at a crawl of 5 mm/s half a wasp's length takes 1.5 s; a visitor that dawdles longer moves in time.
SETTLE_S = 2.0
# Our choice: an hour. Empty tallies tell of a pause up to that long; the times of its neighbours of a longer one.
PAUSE_TOLD_S = 3600.0
# Our choice: to the millisecond, far below the time between two frames.
DIGITS = 3


class _Stretch(NamedTuple):
    from_s: float
    to_s: float
    hindrance: Hindrance | None


@dataclass(slots=True)
class _Interval:
    start_s: float
    seconds: float
    watched_s: float = 0.0
    blind_s: dict[Hindrance, float] = field(default_factory=dict[Hindrance, float])
    crossings: list[Crossing] = field(default_factory=list[Crossing])
    looks: list[Look] = field(default_factory=list[Look])

    @property
    def end_s(self) -> float:
        return self.start_s + self.seconds

    def watch(self, from_s: float, to_s: float, hindrance: Hindrance | None) -> None:
        seconds = max(0.0, min(self.end_s, to_s) - max(self.start_s, from_s))
        if hindrance is None:
            self.watched_s += seconds
        elif seconds:
            self.blind_s[hindrance] = self.blind_s.get(hindrance, 0.0) + seconds

    def end_with(self, at_s: float) -> None:
        """Cut the interval short; one that holds crossings keeps a length, for a tally must have one."""
        shortest_s = 10.0**-DIGITS if self.crossings else 0.0
        self.seconds = max(shortest_s, round(at_s - self.start_s, DIGITS))

    def dated(self) -> tuple[Crossing, ...]:
        """Return the crossings in time order, counted from the start of the interval and inside it."""
        return tuple(sorted(map(self._date, self.crossings), key=lambda crossing: crossing.at_s))

    def _date(self, crossing: Crossing) -> Crossing:
        at_s = min(max(crossing.at_s - self.start_s, 0.0), self.seconds)
        return replace(crossing, at_s=round(at_s, DIGITS))


class Book:
    """Cuts the time of one start of the counter into tallies.

    Parameters
    ----------
    station, boot : str
        Who counts, and which start of its counter.
    started_at : datetime
        The moment from which `at_s` counts, aware UTC; a guess where `clock` is free.
    clock : Clock
        Whether the counter knows the time of day.
    seconds : float
        Length of a tally [s], greater than 0, at most 3600.
    """

    def __init__(self, station: str, boot: str, started_at: datetime, clock: Clock, seconds: float = 15.0) -> None:
        self._station = station
        self._boot = boot
        self._started_at = started_at
        self._clock = clock
        self._seconds = seconds
        self._open: list[_Interval] = []
        self._attention = Attention()
        self._doubted: list[_Stretch] = []
        self._last_s = -math.inf
        self._seq = 0

    def add(
        self,
        crossings: Iterable[Crossing],
        at_s: float,
        look: Look | None = None,
        *,
        covered: bool = False,
        lives: bool = True,
    ) -> Iterator[Tally]:
        """Enter one frame and what it brought; yield the tallies that it closed.

        Parameters
        ----------
        crossings : iterable of Crossing
            What it confirmed; their `at_s` counts from `started_at`, like the frame's.
        at_s : float
            The frame's capture time [s], at least 0; a frame that is not later than the one before watches nothing.
        look : Look, optional
            What a look at the frame found, if one was due.
        covered : bool
            Whether something larger than an insect kept the frame from being counted.
        lives : bool
            Whether the frame is another picture than the one before, so that the camera does not hang.
        """
        self._reach(at_s)
        self._watch(at_s, Hindrance.COVERED if covered else self._attention.hindrance)
        if lives:
            self._believe()
        for crossing in crossings:
            self._interval_at(crossing.at_s).crossings.append(crossing)
        if look is not None:
            self._attention.note(look)
            self._interval_at(look.at_s).looks.append(look)
        yield from self._settled(at_s)

    @property
    def clock(self) -> Clock:
        """Whether the counter knows the time of day."""
        return self._clock

    def set_clock(self, started_at: datetime) -> None:
        """Learn the time of day: the moment from which `at_s` counts, aware UTC. Tallies told before stay free."""
        self._started_at, self._clock = started_at, Clock.SYNCED

    def miss(self, at_s: float, *, asleep: bool = False) -> Iterator[Tally]:
        """Note that there is no picture up to `at_s` [s], and yield the tallies that this closed.

        The camera is blamed for it, unless it is meant to be asleep.
        """
        self._reach(at_s)
        self._doubted = [] if asleep else [_Stretch(self._sure_s, at_s, Hindrance.CAMERA)]
        self._believe()
        self._last_s = max(self._last_s, at_s)
        yield from self._settled(at_s)

    def close(self) -> Iterator[Tally]:
        """Yield what is still open; the last tally ends with the last frame."""
        if self._open:
            self._open[-1].end_with(self._last_s)
        while self._open:
            interval = self._open.pop(0)
            if interval.seconds > 0.0:
                yield self._tally(interval)

    def _settled(self, at_s: float) -> Iterator[Tally]:
        settled_s = min(at_s - SETTLE_S, self._sure_s)
        while self._open[0].end_s <= settled_s:
            yield self._tally(self._open.pop(0))

    def _reach(self, at_s: float) -> None:
        here = int(at_s // self._seconds)
        if not self._open or at_s - self._last_s > PAUSE_TOLD_S:
            self._append(here)
        for number in range(round(self._open[-1].start_s / self._seconds) + 1, here + 1):
            self._append(number)

    def _append(self, number: int) -> None:
        self._open.append(_Interval(number * self._seconds, self._seconds))

    def _watch(self, at_s: float, hindrance: Hindrance | None) -> None:
        if at_s - self._last_s <= GAP_S:
            self._doubted.append(_Stretch(self._last_s, at_s, hindrance))
        self._last_s = max(self._last_s, at_s)

    @property
    def _sure_s(self) -> float:
        """Up to when it is known what the camera showed."""
        return self._doubted[0].from_s if self._doubted else max(self._last_s, 0.0)

    def _believe(self) -> None:
        for stretch in self._doubted:
            for interval in self._open:
                interval.watch(*stretch)
        self._doubted = []

    def _interval_at(self, at_s: float) -> _Interval:
        later = bisect_right(self._open, at_s, key=lambda interval: interval.start_s)
        return self._open[max(0, later - 1)]

    def _tally(self, interval: _Interval) -> Tally:
        self._seq += 1
        return Tally(
            station=self._station,
            boot=self._boot,
            seq=self._seq,
            from_at=self._started_at + timedelta(seconds=interval.start_s),
            up_s=round(interval.start_s, DIGITS),
            clock=self._clock,
            seconds=interval.seconds,
            watched_s=round(interval.watched_s, DIGITS),
            crossings=interval.dated(),
            sight=sight(interval.looks, interval.blind_s),
        )
