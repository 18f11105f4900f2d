"""The counts as rows of a table: by the hours of the site's clock, or by the days of its calendar."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

from swapbell_host.count import Count, known
from swapbell_host.page.plotting.clock import BY_HOUR_MAX, days, hours
from swapbell_host.page.plotting.points import tells


@dataclass(frozen=True, slots=True)
class Row:
    """One hour or day.

    Attributes
    ----------
    label
        As the site's clock or calendar says it.
    seconds, watched_s
        How long it is, as far as it is shown, and how much of that was watched [s].
    twofold
        Whether two counters reported under the station's name in it: nothing of that is counted.
    visits, most
        Counted in all, and in its fullest five minutes; nothing where nobody watched.
    """

    label: str
    seconds: float
    watched_s: float
    visits: int | None
    most: int | None
    twofold: bool = False

    @property
    def share(self) -> float:
        """Which share of it was watched, 0 to 1."""
        return min(self.watched_s / self.seconds, 1.0)


def rows(counts: Sequence[Count], zone: ZoneInfo, from_at: datetime, until_at: datetime) -> list[Row]:
    """Return the rows of a stretch of time (aware UTC), in time order, also of what nobody watched.

    Parameters
    ----------
    counts : sequence of Count
        By five minutes, in time order: no hour of any clock and no day begins within one.
    """
    hourly = until_at - from_at <= BY_HOUR_MAX
    inner = hours(zone, from_at, until_at) if hourly else days(zone, from_at, until_at)
    edges = [from_at, *(at for at, _ in inner if at > from_at), until_at]
    waiting, found = iter(counts), list[Row]()
    count = next(waiting, None)
    for begin_at, end_at in pairwise(edges):
        own = list[Count]()
        while count is not None and count.from_at < end_at:
            own.append(count)
            count = next(waiting, None)
        label = _hour(begin_at, end_at, zone) if hourly else _day(begin_at, zone)
        found.append(_row(label, (end_at - begin_at).total_seconds(), own))
    return found


def _row(label: str, seconds: float, counts: Sequence[Count]) -> Row:
    watched_s = min(sum(count.watched_s for count in counts), seconds)
    visits = sum(count.visits for count in counts)
    most = max((count.visits for count in counts if tells(count)), default=None)
    return Row(label, seconds, watched_s, known(visits, watched_s), most, any(count.twofold_s for count in counts))


def _hour(begin_at: datetime, end_at: datetime, zone: ZoneInfo) -> str:
    begin, end = begin_at.astimezone(zone), end_at.astimezone(zone)
    return f"{begin:%a} {begin:%H:%M} to {end:%H:%M} {begin.tzname()}"


def _day(begin_at: datetime, zone: ZoneInfo) -> str:
    begin = begin_at.astimezone(zone)
    return f"{begin:%a} {begin.day} {begin:%b} {begin.year}"
