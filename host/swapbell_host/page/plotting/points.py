"""Counts by five minutes, thinned to what a plot can show without losing a peak. What nobody watched stays a gap.

A five minutes' count enters as it is, as it does for the rule. What was watched only in part is beside that estimated
from the watched part, and where less than half of five minutes was watched nothing is estimated at all.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby
from math import ceil

from swapbell_host.count import STRETCH, Count, floor, runs
from swapbell_models.readiness import UNWATCHED_SHARE_MAX
from swapbell_models.traffic import WINDOW_S

STEP = STRETCH
# What the page promises to send at most; each step of time carries two values.
POINTS_MAX = 3000
VALUES = 2
# Our choice: lengths of time that a person thinks in.
STEPS = tuple(timedelta(minutes=minutes) for minutes in (5, 10, 15, 30, 60, 120, 180, 360, 720, 1440))
# Our choice: half of five minutes. From less, one wasp more or less would make two or more.
TELLING_S = WINDOW_S / 2.0


@dataclass(frozen=True, slots=True)
class Point:
    """One step of time.

    Attributes
    ----------
    from_at
        When it begins, aware UTC.
    most
        The most visits that were counted in any five minutes of it; nothing where none were watched enough to tell.
    mean
        Visits per five minutes of watched time; nothing where the count says the same or too little was watched.
    watched
        Which share of it was watched, 0 to 1.
    """

    from_at: datetime
    most: int | None = None
    mean: float | None = None
    watched: float = 0.0

    @property
    def whole(self) -> bool:
        """Whether so much was watched that few visits prove few."""
        return self.watched >= 1.0 - UNWATCHED_SHARE_MAX


def step_for(from_at: datetime, to_at: datetime) -> timedelta:
    """Return the shortest step with which a stretch of time makes no more than `POINTS_MAX` points.

    Raises
    ------
    ValueError
        If it is longer than the longest step allows.
    """
    for step in STEPS:
        if VALUES * ceil((to_at - floor(from_at, step)) / step) <= POINTS_MAX:
            return step
    raise ValueError(f"at most {STEPS[-1] * (POINTS_MAX // VALUES - 1)} can be plotted at once")


def points(counts: Iterable[Count], from_at: datetime, until_at: datetime, step: timedelta) -> list[Point]:
    """Return the steps from the one that holds `from_at` until the last that begins before `until_at`, gaps and all.

    Parameters
    ----------
    counts : iterable of Count
        By five minutes, in their order.
    from_at, until_at : datetime
        Aware UTC; nothing can be known beyond the latter.
    step : timedelta
        A multiple of five minutes.
    """
    first_at = floor(from_at, step)
    found = {nth: list(same) for nth, same in groupby(counts, lambda count: (count.from_at - first_at) // step)}
    begins = (first_at + nth * step for nth in range(ceil((until_at - first_at) / step)))
    return [_point(at, min(step, until_at - at), found.get(nth, ()), step) for nth, at in enumerate(begins)]


def tells(count: Count) -> bool:
    """Tell whether a five minutes' count says anything: none seen in a moment's watching proves nothing."""
    return count.visits > 0 or count.watched_s >= TELLING_S


def _point(at: datetime, length: timedelta, counts: Sequence[Count], step: timedelta) -> Point:
    watched_s = sum(count.watched_s for count in counts)
    most = max((count.visits for count in counts if tells(count)), default=None)
    point = Point(at, most, None, min(watched_s / length.total_seconds(), 1.0))
    if watched_s < TELLING_S or (step == STEP and point.whole):
        return point
    mean = sum(count.visits for count in counts) * WINDOW_S / watched_s
    return Point(at, most, mean, point.watched)


def gaps(found: Sequence[Point], step: timedelta, until_at: datetime) -> list[tuple[datetime, datetime]]:
    """Return the stretches of which nobody watched a moment, in time order."""
    unwatched = runs([point.from_at for point in found if not point.watched], step)
    return [(begins_at, min(ends_at, until_at)) for begins_at, ends_at in unwatched]
