"""Visits and watched time in a stretch of time, the rate that they make.

No data is not zero: what was not watched is never counted as empty. A gap can hide visits but cannot invent them, so
a count stands for "at least so many" wherever `watched_s` is short of the stretch. Night is not watched either,
whatever the counter says: no wasp flies, so that none was seen proves nothing.

Nothing here depends on how the visits were cut into tallies: visits have their own moments, and the watched seconds
of a tally that straddles an edge are shared pro rata.
"""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise
from operator import attrgetter

from swapbell_models.chance import poisson_limits
from swapbell_models.quantity import aware, positive
from swapbell_models.tally import Hindrance, Tally

# From when to when, aware UTC.
Span = tuple[datetime, datetime]

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
    dark_s, blind_s
        How much of the rest was night, and how much of it, by day, the counter could not count for what it saw [s].
    hindrance
        What kept it from counting for longest; nothing if nothing is known to have.
    """

    from_at: datetime
    to_at: datetime
    counted: int
    watched_s: float
    dark_s: float = 0.0
    blind_s: float = 0.0
    hindrance: Hindrance | None = None

    @property
    def visits(self) -> int | None:
        """Visits seen, or nothing where nobody watched."""
        return self.counted if self.counted or self.watched_s > 0.0 else None

    @property
    def seconds(self) -> float:
        """Length of the stretch [s]."""
        return (self.to_at - self.from_at).total_seconds()

    @property
    def missed_s(self) -> float:
        """How much of the stretch nobody watched although it was day and nothing hindered the counter [s]."""
        return max(0.0, self.seconds - self.watched_s - self.dark_s - self.blind_s)


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
    """A stretch of time that one tally tells of.

    Attributes
    ----------
    from_at, to_at
        Aware UTC.
    share, blind
        Shares of it in which the counter watched, and in which it could not count for what it saw; 0 to 1.
    hindrance
        What kept it from counting.
    """

    from_at: datetime
    to_at: datetime
    share: float
    blind: float = 0.0
    hindrance: Hindrance | None = None

    def overlap_s(self, from_at: datetime, to_at: datetime) -> float:
        """Return how much of it lies in a stretch that it meets [s]."""
        return (min(self.to_at, to_at) - max(self.from_at, from_at)).total_seconds()


_from_at, _to_at = attrgetter("from_at"), attrgetter("to_at")


@dataclass(frozen=True, slots=True)
class Record:
    """What some tallies tell, read once and asked often.

    Attributes
    ----------
    moments
        When the visits were, aware UTC, in time order.
    spells
        What was told of by day, in time order, without overlap.
    nights
        When it was night, in time order, without overlap: spells that nobody could watch.
    """

    moments: Sequence[datetime]
    spells: Sequence[Spell]
    nights: Sequence[Spell] = ()

    def window(self, from_at: datetime, to_at: datetime) -> Window:
        """Return what is known of `from_at <= t < to_at`."""
        counted = bisect_left(self.moments, to_at) - bisect_left(self.moments, from_at)
        told = [(spell, spell.overlap_s(from_at, to_at)) for spell in _within(self.spells, from_at, to_at)]
        dark_s = sum(night.overlap_s(from_at, to_at) for night in _within(self.nights, from_at, to_at))
        blind_s: defaultdict[Hindrance | None, float] = defaultdict(float)
        for spell, seconds in told:
            if spell.blind:
                blind_s[spell.hindrance] += spell.blind * seconds
        worst = max(blind_s, key=blind_s.__getitem__, default=None)
        watched_s = sum(spell.share * seconds for spell, seconds in told)
        return Window(from_at, to_at, counted, watched_s, dark_s, sum(blind_s.values()), worst)

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


def read(tallies: Iterable[Tally], nights: Iterable[Span] = ()) -> Record:
    """Return what the tallies tell.

    A visit whose moment rounding put on its tally's end, or past it, belongs to that tally: it is taken as just
    before. Where tallies overlap in time, as after a clock was set back, the earlier one's word on watching holds.

    Parameters
    ----------
    tallies : iterable of Tally
        In any order.
    nights : iterable of (datetime, datetime)
        When it was night, aware UTC, in time order, without overlap. Visits count there too, watching does not.

    Raises
    ------
    ValueError
        If a moment of a night is naive.
    """
    moments, spells = list[datetime](), list[Spell]()
    dark = [Spell(aware("nights", from_at), aware("nights", to_at), share=0.0) for from_at, to_at in nights]
    for tally in sorted(tallies, key=_from_at):
        to_at = tally.to_at
        from_at = max(tally.from_at, spells[-1].to_at) if spells else tally.from_at
        if from_at < to_at:
            spells.append(_spell(tally, from_at, to_at))
        if tally.crossings:
            moments += (min(moment, to_at - timedelta.resolution) for moment in tally.visits_at())
    by_day = [part for spell in spells for part in _by_day(spell, dark)] if dark else spells
    return Record(sorted(moments), by_day, dark)


def _spell(tally: Tally, from_at: datetime, to_at: datetime) -> Spell:
    """Return what a tally says of its time between two moments."""
    watched = min(1.0, tally.watched_s / tally.seconds)
    if not tally.sight:
        return Spell(from_at, to_at, watched)
    blind = min(1.0 - watched, (tally.sight.blind_s or 0.0) / tally.seconds)
    return Spell(from_at, to_at, watched, blind, tally.sight.hindrance)


def _by_day(spell: Spell, nights: Sequence[Spell]) -> Iterator[Spell]:
    """Yield the parts of a spell that lie outside of the nights."""
    from_at = spell.from_at
    for night in _within(nights, spell.from_at, spell.to_at):
        if from_at < night.from_at:
            yield replace(spell, from_at=from_at, to_at=night.from_at)
        from_at = night.to_at
    if from_at < spell.to_at:
        yield replace(spell, from_at=from_at)


def _within(spells: Sequence[Spell], from_at: datetime, to_at: datetime) -> Sequence[Spell]:
    """Return those that share some time with a stretch."""
    return spells[bisect_right(spells, from_at, key=_to_at) : bisect_left(spells, to_at, key=_from_at)]


def joined(parts: Sequence[Window]) -> Window:
    """Return consecutive windows, at least one, as a single one."""
    return Window(
        parts[0].from_at,
        parts[-1].to_at,
        sum(part.counted for part in parts),
        sum(part.watched_s for part in parts),
        sum(part.dark_s for part in parts),
        sum(part.blind_s for part in parts),
        max(parts, key=lambda part: part.blind_s).hindrance,
    )


def rate(seen: Window, seconds: float = WINDOW_S) -> Rate | None:
    """Return the visits per `seconds` of watched time, with exact limits; nothing if nobody watched.

    Parameters
    ----------
    seen : Window
        What is known of a stretch of time.
    seconds : float
        Length of the window that the rate is said for [s], above 0.

    Raises
    ------
    ValueError
        If the length is out of its range.

    Notes
    -----
    Garwood's 95 % limits, see `chance.poisson_limits`: for visits that come independently.
    """
    positive("seconds", seconds, "s")
    if seen.watched_s <= 0.0:
        return None
    share, (low, high) = seconds / seen.watched_s, poisson_limits(seen.counted)
    return Rate(seen.counted * share, low * share, high * share)
