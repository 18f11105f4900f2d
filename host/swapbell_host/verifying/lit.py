"""What counts when traffic is compared: watched in foraging hours, while fresh lure hung. Rain is not known here."""

import math
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from swapbell_host.count import Count
from swapbell_host.intake import Station as Key
from swapbell_host.jobs import lures
from swapbell_host.jobs.entry import Entry
from swapbell_models.calendar.daylight import nights
from swapbell_models.calendar.place import Place
from swapbell_models.traffic import Span

# The stretches that are counted: the trade's five minutes, common practice, no source.
STEP = timedelta(minutes=5)
# Our choice: fewer degrees of freedom cannot tell bouts from chance.
SCATTER_FREEDOM_MIN = 5


@dataclass(frozen=True, slots=True)
class Watched:
    """What is known of one station.

    Attributes
    ----------
    place
        Where it hangs; nothing if nobody has said.
    entries
        What stands in its log, in time order.
    counts
        What its counter told, in any order; a stretch that is not there was not watched.
    lure
        How long a lure stays fresh there.
    step
        How long each stretch is.
    """

    key: Key
    place: Place | None
    entries: Sequence[Entry]
    counts: Sequence[Count]
    lure: timedelta
    step: timedelta = STEP


@dataclass(frozen=True, slots=True)
class Seen:
    """A stretch that counts, and where it lies on the clock of the place's sun."""

    key: Key
    at: datetime
    visits: int
    watched_s: float


def seen(stations: Sequence[Watched], span: Span, now: datetime) -> list[Seen]:
    """Return what counts of some stations between two moments, as known at `now` (aware UTC)."""
    return [one for each in stations if each.place for one in _of(each, each.place, span, now)]


def _of(station: Watched, place: Place, span: Span, now: datetime) -> list[Seen]:
    """Return what counts of one station in a stretch: whole steps with fresh lure, by day."""
    hung = [(max(a, span[0]), min(b, span[1])) for a, b in lures.fresh(station.entries, station.lure, now)]
    kept = _without(hung, nights(place, *span)) if span[0] < span[1] else []
    counts = sorted(station.counts, key=_from_at)
    return [
        Seen(station.key, each.from_at.astimezone(place.mean_time), each.visits, each.watched_s)
        for a, b in kept
        for each in counts[
            bisect_left(counts, a, key=_from_at) : bisect_right(counts, b - station.step, key=_from_at)
        ]
        if each.watched_s > 0.0
    ]


def _from_at(count: Count) -> datetime:
    return count.from_at


def _without(spans: Sequence[Span], holes: Sequence[Span]) -> list[Span]:
    """Return what is left of stretches without others, both in time order."""
    left = list(spans)
    for begins_at, ends_at in holes:
        left = [
            part
            for from_at, to_at in left
            for part in ((from_at, min(to_at, begins_at)), (max(from_at, ends_at), to_at))
            if part[0] < part[1]
        ]
    return left


def alike(groups: Sequence[Sequence[Seen]]) -> list[list[Seen]]:
    """Return of each group what was seen at hours of the day that were watched in every one of them."""
    hours = [{each.at.hour for each in group} for group in groups]
    return [[each for each in group if all(each.at.hour in theirs for theirs in hours)] for group in groups]


def spread(groups: Iterable[Sequence[Seen]]) -> float | None:
    """Return the scatter of what was seen; nothing where there are too few hours."""
    return scatter(day for group in groups for day in _days(group))


def _days(group: Sequence[Seen]) -> list[list[tuple[int, float]]]:
    """Return the hours of each station's days."""
    hours = defaultdict[tuple[Key, object], dict[int, tuple[int, float]]](dict)
    for each in group:
        day = hours[each.key, each.at.date()]
        visits, watched_s = day.get(each.at.hour, (0, 0.0))
        day[each.at.hour] = visits + each.visits, watched_s + each.watched_s
    return [[*day.values()] for day in hours.values()]


def scatter(days: Iterable[Sequence[tuple[int, float]]]) -> float | None:
    """Return the variance over the mean of hourly visits around the mean of their day [1], 1 or more.

    Parameters
    ----------
    days : iterable
        Of each day the visits and the watched seconds of each hour.

    Returns
    -------
    float or None
        Nothing where there are too few hours to tell.

    Notes
    -----
    Pearson's statistic over its degrees of freedom (McCullagh and Nelder 1989, Generalized Linear Models, section
    6.2). The course of a day is in it, which makes limits wider than they need be; weather that lasts is not.
    """
    statistic, freedom = 0.0, 0
    for hours in days:
        per_s = sum(visits for visits, _ in hours) / math.fsum(watched_s for _, watched_s in hours)
        if per_s and len(hours) > 1:
            statistic += math.fsum((visits - per_s * s) ** 2 / (per_s * s) for visits, s in hours)
            freedom += len(hours) - 1
    return max(1.0, statistic / freedom) if freedom >= SCATTER_FREEDOM_MIN else None
