"""What was watched of the lure's traffic, bin by bin on the foraging clock."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from operator import attrgetter

import numpy as np
from numpy.typing import NDArray

from swapbell_models.forecasting.foraging import S_PER_H, Array, Foraging, seconds
from swapbell_models.quantity import FLOAT_SLACK, at_least, aware, lasting, within
from swapbell_models.traffic import Window

# Our choice: within longer bins the activity changes too much for an average.
BIN_MAX = timedelta(hours=2)
# Our choice: the activity of a bin is the mean of its quarters; one across dawn counts by those in the light.
QUARTERS = np.array([0.125, 0.375, 0.625, 0.875])
# Our choice: an hour is the least that says anything of a day.
DAY_MIN_H = 1.0

_from_at = attrgetter("from_at")


@dataclass(frozen=True, slots=True)
class Basis:
    """What a forecast stands on.

    Attributes
    ----------
    days
        Foraging days with an hour of watching or more.
    watched_h, visits
        Watched foraging hours [h], and the visits in them.
    to_at
        When the last of them ended, aware UTC; nothing if nothing was watched.
    """

    days: int = 0
    watched_h: float = 0.0
    visits: int = 0
    to_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Counts:
    """Visits by bins in the order of time.

    Attributes
    ----------
    hours
        Middle of each bin on the foraging clock [h].
    activity
        How busy its part of the day is, as a share of the busiest.
    watched_h
        How long was watched [h].
    visits
        How many were seen.
    day
        Number of the foraging day, from 0 without holes.
    from_h, to_h
        Where the watch began and ended on the foraging clock [h].
    to_at
        When it ended, aware UTC.
    """

    hours: Array
    activity: Array
    watched_h: Array
    visits: Array
    day: NDArray[np.intp]
    from_h: float
    to_h: float
    to_at: datetime

    @property
    def effort_h(self) -> Array:
        """Watched hours, each weighted by how busy its part of the day is [h]."""
        return self.activity * self.watched_h

    @property
    def basis(self) -> Basis:
        """How much there is of it."""
        day_h = np.bincount(self.day, self.watched_h)
        return Basis(int((day_h >= DAY_MIN_H).sum()), float(day_h.sum()), int(self.visits.sum()), self.to_at)

    def position(self, hours: Array) -> Array:
        """Return where moments of the foraging clock lie: 0 where the watch began, 1 where it ended."""
        return (hours - self.from_h) / (self.to_h - self.from_h)


def read(windows: Sequence[Window], foraging: Foraging, now: datetime) -> Counts | None:
    """Return what was watched in foraging hours until now; nothing if nothing was.

    Parameters
    ----------
    windows : sequence of Window
        Bins of at most `BIN_MAX` that do not overlap, in any order.
    foraging : Foraging
        The foraging days of the station.
    now : datetime
        Aware UTC; what ends later is left out.

    Raises
    ------
    ValueError
        If `now` is naive, a bin is longer than `BIN_MAX`, bins overlap, or visits or seconds cannot be.
    """
    aware("now", now)
    told = [w for w in _checked(windows) if w.to_at <= now and w.watched_s > 0.0]
    quarters = foraging.read(np.array([w.from_at.timestamp() + w.seconds * QUARTERS for w in told]).reshape(-1, 4))
    light = quarters.activity > 0.0
    kept = np.flatnonzero(light.any(axis=1))
    if not len(kept):
        return None
    lit, light = [told[k] for k in kept], light[kept]
    from_h, to_h = foraging.read(seconds([lit[0].from_at, lit[-1].to_at])).hours
    light_h = np.array([w.seconds for w in lit]) * light.mean(axis=1) / S_PER_H
    return Counts(
        hours=np.average(quarters.hours[kept], axis=1, weights=light),
        activity=np.average(quarters.activity[kept], axis=1, weights=light),
        watched_h=np.minimum(np.array([w.watched_s for w in lit]) / S_PER_H, light_h),
        visits=np.array([w.counted for w in lit], dtype=float),
        day=np.unique(quarters.day[kept, -1], return_inverse=True)[1],
        from_h=float(from_h),
        to_h=float(to_h),
        to_at=lit[-1].to_at,
    )


def _checked(windows: Sequence[Window]) -> Sequence[Window]:
    """Return bins in the order of time, or refuse those that nobody can have watched."""
    for window in windows:
        lasting("windows", aware("windows", window.to_at) - aware("windows", window.from_at), BIN_MAX)
        at_least("windows' visits", window.counted, 0.0, "visits")
        within("windows' watched_s", window.watched_s, 0.0, window.seconds + FLOAT_SLACK, "s")
    told = sorted(windows, key=_from_at)
    for before, after in pairwise(told):
        if after.from_at < before.to_at:
            raise ValueError(f"windows must not overlap, not begin at {after.from_at} before {before.to_at}")
    return told
