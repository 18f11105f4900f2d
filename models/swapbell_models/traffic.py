"""Visits and watched time in a stretch of time, the rate that they make.

No data is not zero: what was not watched is never counted as empty. A gap can hide visits but cannot invent them, so
a count stands for "at least so many" wherever `watched_s` is short of the stretch.

Nothing here depends on how the visits were cut into tallies: visits have their own moments, and the watched seconds
of a tally that straddles an edge are shared pro rata.
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from swapbell_models.chance import poisson_limits
from swapbell_models.tally import Tally

# The trade speaks of visits per 5 minutes: common practice, no source.
WINDOW_S = 300.0


@dataclass(frozen=True, slots=True)
class Window:
    """What is known of one half-open stretch of time, `from_at` included and `to_at` not.

    Attributes
    ----------
    from_at, to_at
        Aware UTC.
    counted
        Visits seen: at least so many happened.
    watched_s
        How much of the stretch was really watched [s].
    """

    from_at: datetime
    to_at: datetime
    counted: int
    watched_s: float

    @property
    def visits(self) -> int | None:
        """Visits seen, or nothing where nobody watched."""
        return self.counted if self.counted or self.watched_s > 0.0 else None

    @property
    def seconds(self) -> float:
        """Length of the stretch [s]."""
        return (self.to_at - self.from_at).total_seconds()


@dataclass(frozen=True, slots=True)
class Rate:
    """Visits per window of watched time, with exact limits.

    Attributes
    ----------
    per_window, low, high
        The estimate and its two-sided 95 % limits [visits per window].
    """

    per_window: float
    low: float
    high: float


def visits_at(tallies: Iterable[Tally], from_at: datetime, to_at: datetime) -> list[datetime]:
    """Return the moments of the visits in `from_at <= t < to_at`, in time order.

    A moment that rounding put on its tally's end, or past it, belongs to that tally: it is taken as just before.
    """
    moments = (
        min(moment, tally.to_at - timedelta.resolution)
        for tally in tallies
        if tally.crossings
        for moment in tally.visits_at()
    )
    return sorted(moment for moment in moments if from_at <= moment < to_at)


def watched_s(tallies: Iterable[Tally], from_at: datetime, to_at: datetime) -> float:
    """Return how much of `from_at <= t < to_at` was watched [s], 0 to its length.

    Tallies that overlap in time, as after a clock was set back, count once: the earlier one's word holds.
    """
    watched, told_to_at = 0.0, from_at
    for tally in sorted(tallies, key=lambda tally: tally.from_at):
        begin_at, end_at = max(tally.from_at, told_to_at), min(tally.to_at, to_at)
        if begin_at < end_at:
            watched += (end_at - begin_at).total_seconds() * min(1.0, tally.watched_s / tally.seconds)
            told_to_at = end_at
    return watched


def window(tallies: Sequence[Tally], from_at: datetime, to_at: datetime) -> Window:
    """Return what the tallies tell of `from_at <= t < to_at`."""
    return Window(from_at, to_at, len(visits_at(tallies, from_at, to_at)), watched_s(tallies, from_at, to_at))


def windows(tallies: Sequence[Tally], end_at: datetime, seconds: float, number: int) -> tuple[Window, ...]:
    """Return `number` consecutive windows of `seconds` [s] each, oldest first, the last one ending at `end_at`."""
    edges = [end_at - timedelta(seconds=seconds) * k for k in range(number, -1, -1)]
    return tuple(window(tallies, a, b) for a, b in pairwise(edges))


def joined(parts: Sequence[Window]) -> Window:
    """Return consecutive windows, at least one, as a single one."""
    counted, watched = sum(part.counted for part in parts), sum(part.watched_s for part in parts)
    return Window(parts[0].from_at, parts[-1].to_at, counted, watched)


def fullest(tallies: Sequence[Tally], within: Window, seconds: float) -> Window | None:
    """Return the window of `seconds` [s] with the most visits, wherever it begins; nothing without visits.

    Of equals the earliest. The window lies wholly inside `within`, which is at least as long.
    """
    moments, length = visits_at(tallies, within.from_at, within.to_at), timedelta(seconds=seconds)
    starts = [min(moment, within.to_at - length) for moment in moments]
    counts = [bisect_left(moments, start + length) - bisect_left(moments, start) for start in starts]
    if not counts:
        return None
    start = starts[counts.index(max(counts))]
    return window(tallies, start, start + length)


def reached_at(tallies: Sequence[Tally], within: Window, visits: int, seconds: float) -> datetime | None:
    """Return the first moment in `within` at which a window of `seconds` [s] had seen `visits`; nothing if none did.

    A window is half-open, so its first and last visit are less than `seconds` apart.
    """
    moments, length = visits_at(tallies, within.from_at, within.to_at), timedelta(seconds=seconds)
    pairs = zip(moments, moments[visits - 1 :], strict=False)
    return next((last for first, last in pairs if last - first < length), None)


def rate(seen: Window, seconds: float = WINDOW_S) -> Rate | None:
    """Return the visits per `seconds` [s] of watched time, with exact 95 % limits; nothing if nobody watched."""
    if seen.watched_s <= 0.0:
        return None
    share, (low, high) = seconds / seen.watched_s, poisson_limits(seen.counted)
    return Rate(seen.counted * share, low * share, high * share)
