"""A site's season: what each station counted day by day, how well it was watched, what was done and said."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import groupby
from zoneinfo import ZoneInfo

from swapbell_host.count import Count, known
from swapbell_host.jobs.entry import Entry
from swapbell_host.jobs.plan import Site, Station
from swapbell_host.jobs.stages import Stage
from swapbell_host.sheets.answering import Answered
from swapbell_host.verifying.finding import Finding
from swapbell_models.calendar.daylight import daylight
from swapbell_models.calendar.place import Place
from swapbell_models.phase import Phase

# The stretches that are added up: every zone's midnight falls between two of them.
STEP = timedelta(minutes=15)
S_PER_H = 3600.0
DAY = timedelta(days=1)
# While a station stands so, nobody expects a count.
IDLE = frozenset({Phase.PLANNED, Phase.CLOSED, Phase.ABANDONED})


@dataclass(frozen=True, slots=True)
class Day:
    """One day of one station, by the clock of the place.

    Attributes
    ----------
    phase
        Where its job stood at noon; nothing before it was planned and after the report ends.
    counted, small, large
        Bodies of these sizes that came in: at least so many; the first are visits.
    lit, watched_s
        Visits in time that was watched, and how long was really watched [s]: in the foraging hours alone, where they
        are known.
    foraging_s
        How long wasps may forage; nothing where nobody has said where the station hangs [s].
    twofold_s
        How long two counters reported under the station's name: nothing of it is in the numbers [s].
    """

    on: date
    phase: Phase | None
    counted: int
    small: int
    large: int
    lit: int
    watched_s: float
    foraging_s: float | None
    twofold_s: float = 0.0

    @property
    def visits(self) -> int | None:
        """Visits; nothing where nobody watched: no data is not zero."""
        return known(self.counted, self.watched_s)

    @property
    def share(self) -> float | None:
        """Share of the foraging hours that was watched [1]; nothing where these are not known."""
        return min(1.0, self.watched_s / self.foraging_s) if self.foraging_s else None

    @property
    def per_h(self) -> float | None:
        """Visits per watched foraging hour [1/h]; nothing where nobody watched."""
        return self.lit / self.watched_s * S_PER_H if self.watched_s > 0.0 else None

    @property
    def is_gap(self) -> bool:
        """Whether somebody expected counts and there are none."""
        return self.visits is None and self.phase is not None and self.phase not in IDLE


@dataclass(frozen=True, slots=True)
class Course:
    """The season of one station.

    Attributes
    ----------
    stages
        Its phases, in time order.
    entries
        What stands in its log.
    corrected
        How many entries were corrected or struck out.
    """

    station: Station
    place: Place | None
    stages: tuple[Stage, ...]
    days: tuple[Day, ...]
    entries: tuple[Entry, ...]
    corrected: int

    @property
    def visits(self) -> int | None:
        """All visits; nothing where nobody ever watched."""
        seen = [day.visits for day in self.days if day.visits is not None]
        return sum(seen) if seen else None

    @property
    def watched_s(self) -> float:
        """How long was watched [s]."""
        return sum(day.watched_s for day in self.days)

    @property
    def share(self) -> float | None:
        """Share of the foraging hours of those days on which counts were expected that was watched [1]."""
        due = [day for day in self.days if day.phase is not None and day.phase not in IDLE and day.foraging_s]
        whole_s = sum(day.foraging_s or 0.0 for day in due)
        return min(1.0, sum(day.watched_s for day in due) / whole_s) if whole_s else None

    def gaps(self) -> Iterator[tuple[date, date]]:
        """Yield the first and the last day of each run of days that nobody watched."""
        yield from self._runs(lambda day: day.is_gap)

    def twofold(self) -> Iterator[tuple[date, date]]:
        """Yield the same of the days on which two counters reported under the station's name."""
        yield from self._runs(lambda day: day.twofold_s > 0.0)

    def _runs(self, holds: Callable[[Day], bool]) -> Iterator[tuple[date, date]]:
        for does_hold, run in groupby(self.days, key=holds):
            found = list(run)
            if does_hold:
                yield found[0].on, found[-1].on


@dataclass(frozen=True, slots=True)
class Verified:
    """What became of the traffic after one swap of the site: of all its stations together, and of each."""

    swapped_at: datetime
    together: Finding | None
    each: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Season:
    """All that a season report says.

    Attributes
    ----------
    from_at, to_at
        What it is about, aware UTC.
    at
        When it is made, aware UTC.
    """

    site: Site
    from_at: datetime
    to_at: datetime
    at: datetime
    courses: tuple[Course, ...]
    verified: tuple[Verified, ...]
    answered: tuple[Answered, ...]


def days(
    counts: Iterable[Count],
    stages: Sequence[Stage],
    place: Place | None,
    span: tuple[datetime, datetime],
    zone: ZoneInfo,
) -> Iterator[Day]:
    """Yield every day of a stretch by the clock of the place, counted or not.

    Parameters
    ----------
    counts : iterable
        In stretches of `STEP`; by day alone where the place is known.
    stages : sequence of Stage
        The station's phases.
    place : Place or None
        Where it hangs.
    span : tuple of datetime
        From when to when, aware UTC.
    zone : ZoneInfo
        The clock of the place.
    """
    by_day = dict[date, list[Count]]()
    for each in counts:
        by_day.setdefault(each.from_at.astimezone(zone).date(), []).append(each)
    on, last = (at.astimezone(zone).date() for at in (span[0], span[1] - timedelta.resolution))
    while on <= last:
        yield _day(on, by_day.get(on, ()), _phase(stages, datetime.combine(on, time(12), zone)), place)
        on += DAY


def _day(on: date, counts: Sequence[Count], phase: Phase | None, place: Place | None) -> Day:
    hours = daylight(place, on).foraging if place else None
    return Day(
        on,
        phase,
        sum(each.visits for each in counts),
        sum(each.small for each in counts),
        sum(each.large for each in counts),
        sum(each.visits for each in counts if each.watched_s),
        sum(each.watched_s for each in counts),
        _long_s(place, hours),
        sum(each.twofold_s for each in counts),
    )


def _long_s(place: Place | None, hours: tuple[datetime, datetime] | None) -> float | None:
    """Return how long wasps may forage on a day [s]: no time at all where the sun does not rise."""
    if place is None:
        return None
    return (hours[1] - hours[0]).total_seconds() if hours else 0.0


def _phase(stages: Sequence[Stage], at: datetime) -> Phase | None:
    return next((each.phase for each in stages if each.from_at <= at < each.to_at), None)
