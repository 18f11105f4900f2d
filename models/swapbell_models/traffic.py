"""Visits and watched time in a stretch of time, the rate that they make.

No data is not zero: what was not watched is never counted as empty. A gap can hide visits but cannot invent them, so
a count stands for "at least so many" wherever `watched_s` is short of the stretch.

Nothing here depends on how the visits were cut into tallies: visits have their own moments, and the watched seconds
of a tally that straddles an edge are shared pro rata.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from operator import attrgetter

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


@dataclass(frozen=True, slots=True)
class Spell:
    """A stretch of time that one tally tells of, and the share of it that was watched, 0 to 1."""

    from_at: datetime
    to_at: datetime
    share: float


_from_at, _to_at = attrgetter("from_at"), attrgetter("to_at")


@dataclass(frozen=True, slots=True)
class Record:
    """What some tallies tell, read once and asked often.

    Attributes
    ----------
    moments
        When the visits were, aware UTC, in time order.
    spells
        What was told of, in time order, without overlap.
    """

    moments: Sequence[datetime]
    spells: Sequence[Spell]

    def window(self, from_at: datetime, to_at: datetime) -> Window:
        """Return what is known of `from_at <= t < to_at`."""
        counted = bisect_left(self.moments, to_at) - bisect_left(self.moments, from_at)
        within = self.spells[
            bisect_right(self.spells, from_at, key=_to_at) : bisect_left(self.spells, to_at, key=_from_at)
        ]
        watched = ((min(s.to_at, to_at) - max(s.from_at, from_at)).total_seconds() * s.share for s in within)
        return Window(from_at, to_at, counted, sum(watched))

    def windows(self, end_at: datetime, seconds: float, number: int) -> tuple[Window, ...]:
        """Return `number` consecutive windows of `seconds` [s] each, oldest first, the last ending at `end_at`."""
        edges = [end_at - timedelta(seconds=seconds) * k for k in range(number, -1, -1)]
        return tuple(self.window(from_at, to_at) for from_at, to_at in pairwise(edges))

    def fullest(self, within: Window, seconds: float) -> Window | None:
        """Return the window of `seconds` [s] with the most visits, wherever it begins; nothing without visits.

        Of equals the earliest. The window lies wholly inside `within`, which is at least as long.
        """
        length = timedelta(seconds=seconds)
        starts = [min(moment, within.to_at - length) for moment in self._visits(within)]
        counts = [bisect_left(self.moments, start + length) - bisect_left(self.moments, start) for start in starts]
        if not counts:
            return None
        start = starts[counts.index(max(counts))]
        return self.window(start, start + length)

    def reached_at(self, within: Window, visits: int, seconds: float) -> datetime | None:
        """Return when, in `within`, a window of `seconds` [s] first had seen `visits`; nothing if none did.

        A window is half-open, so its first and last visit are less than `seconds` apart.
        """
        moments, length = self._visits(within), timedelta(seconds=seconds)
        pairs = zip(moments, moments[visits - 1 :], strict=False)
        return next((last for first, last in pairs if last - first < length), None)

    def _visits(self, within: Window) -> Sequence[datetime]:
        return self.moments[bisect_left(self.moments, within.from_at) : bisect_left(self.moments, within.to_at)]


def read(tallies: Iterable[Tally]) -> Record:
    """Return what the tallies tell.

    A visit whose moment rounding put on its tally's end, or past it, belongs to that tally: it is taken as just
    before. Where tallies overlap in time, as after a clock was set back, the earlier one's word on watching holds.
    """
    moments, spells = list[datetime](), list[Spell]()
    for tally in sorted(tallies, key=_from_at):
        to_at = tally.to_at
        from_at = max(tally.from_at, spells[-1].to_at) if spells else tally.from_at
        if from_at < to_at:
            spells.append(Spell(from_at, to_at, min(1.0, tally.watched_s / tally.seconds)))
        moments += (min(moment, to_at - timedelta.resolution) for moment in tally.visits_at())
    return Record(sorted(moments), spells)


def joined(parts: Sequence[Window]) -> Window:
    """Return consecutive windows, at least one, as a single one."""
    counted, watched = sum(part.counted for part in parts), sum(part.watched_s for part in parts)
    return Window(parts[0].from_at, parts[-1].to_at, counted, watched)


def rate(seen: Window, seconds: float = WINDOW_S) -> Rate | None:
    """Return the visits per `seconds` [s] of watched time, with exact 95 % limits; nothing if nobody watched."""
    if seen.watched_s <= 0.0:
        return None
    share, (low, high) = seconds / seen.watched_s, poisson_limits(seen.counted)
    return Rate(seen.counted * share, low * share, high * share)
