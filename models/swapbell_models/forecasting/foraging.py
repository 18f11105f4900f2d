"""The foraging clock of a station: it runs while wasps forage and stands at night, and says how busy they are.

Growth is told in foraging hours, because nobody recruits at night; how busy a part of the day is comes as a curve
over the foraging day, the same for each day. Moments are taken as seconds since 1970 (UTC), many at a time.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from swapbell_models.calendar.daylight import daylight
from swapbell_models.calendar.place import Place
from swapbell_models.quantity import aware, within

Array = NDArray[np.float64]
Span = tuple[datetime, datetime]

S_PER_H = 3600.0
ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Curve:
    """How busy wasps are through a foraging day, as shares of the busiest part.

    Attributes
    ----------
    levels
        At equal distances from the beginning of the foraging day to its end, straight lines between; 2 or more, each
        from 0 to 1, the highest 1 [1].
    """

    levels: tuple[float, ...]

    def __post_init__(self) -> None:
        """Refuse a curve without a busiest part."""
        for level in self.levels:
            within("levels", level, 0.0, 1.0, "of the busiest part")
        if len(self.levels) <= 1 or max(self.levels) < 1.0:
            raise ValueError(f"levels must be 2 or more, the highest 1, not {self.levels}")

    def at(self, share: Array) -> Array:
        """Return the activity at shares of the foraging day from 0 to 1."""
        return np.interp(share, np.linspace(0.0, 1.0, len(self.levels)), self.levels)


# Our choice within Komonen and Torniainen 2022, who saw *Dolichovespula saxonica* mostly at 40 to 100 % of its peak,
# with several peaks and no steady link to the hour: least at both ends of the day, even through its middle half.
BROAD = Curve((0.4, 1.0, 1.0, 1.0, 0.4))


@dataclass(frozen=True, slots=True)
class Reading:
    """What the foraging clock shows at some moments.

    Attributes
    ----------
    hours
        Foraging hours since the first foraging day began [h].
    activity
        Share of the busiest part of the day; 0 outside of the foraging day.
    day
        Which foraging day, or the one before in the night; -1 before the first.
    """

    hours: Array
    activity: Array
    day: NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Foraging:
    """The foraging days of a station, in time order, and how busy each is.

    Attributes
    ----------
    spans
        Beginning and end of each day, aware; at least one, none overlapping.
    curve
        How busy wasps are through each of them.
    """

    spans: tuple[Span, ...]
    curve: Curve = BROAD

    def __post_init__(self) -> None:
        """Refuse days that are out of order."""
        edges = [aware("spans", edge) for span in self.spans for edge in span]
        ordered = all(earlier <= later for earlier, later in pairwise(edges)) and all(a < b for a, b in self.spans)
        if not (edges and ordered):
            raise ValueError(f"spans must be foraging days in time order, at least one, not {self.spans}")

    def read(self, at_s: Array) -> Reading:
        """Return what the clock shows at moments given in seconds since 1970 [s]."""
        edges_s = seconds(edge for span in self.spans for edge in span)
        begin_s, length_s = edges_s[::2], edges_s[1::2] - edges_s[::2]
        day = np.searchsorted(begin_s, at_s, side="right") - 1
        share = (at_s - begin_s[day]) / length_s[day]
        shown_h = np.repeat(np.cumsum(length_s), 2) - np.column_stack([length_s, 0.0 * length_s]).ravel()
        hours = np.interp(at_s, edges_s, shown_h) / S_PER_H
        return Reading(hours, np.where((day >= 0) & (share <= 1.0), self.curve.at(share), 0.0), day)


def seconds(moments: Iterable[datetime]) -> Array:
    """Return moments in seconds since 1970 [s].

    Parameters
    ----------
    moments : iterable of datetime
        Aware.

    Raises
    ------
    ValueError
        If a moment is naive.
    """
    return np.array([aware("moments", at).timestamp() for at in moments])


def sunlit(place: Place, from_at: datetime, to_at: datetime, curve: Curve = BROAD) -> Foraging:
    """Return the foraging days of a place by its sun, each from 11 min before sunrise to 11 min after sunset.

    Parameters
    ----------
    place : Place
        Where the station stands.
    from_at, to_at : datetime
        Aware; all days that reach into this stretch are in.
    curve : Curve
        How busy each day is.

    Raises
    ------
    ValueError
        If a moment is naive, or the sun does not rise in the stretch.
    """
    days = (daylight(place, on).foraging for on in _dates(from_at, to_at, place.mean_time))
    return Foraging(_in_order(span for span in days if span), curve)


def fixed(opens: time, closes: time, from_at: datetime, to_at: datetime, curve: Curve = BROAD) -> Foraging:
    """Return foraging days of the same hours each day, where the place is not known.

    Parameters
    ----------
    opens, closes : time
        In UTC; a day that closes before it opens runs past midnight.
    from_at, to_at, curve
        As in `sunlit`.

    Raises
    ------
    ValueError
        If a moment is naive.
    """
    length = timedelta(hours=closes.hour - opens.hour, minutes=closes.minute - opens.minute) % ONE_DAY or ONE_DAY
    begins = (datetime.combine(on, opens, UTC) for on in _dates(from_at, to_at, UTC))
    return Foraging(_in_order((begin_at, begin_at + length) for begin_at in begins), curve)


def _dates(from_at: datetime, to_at: datetime, zone: tzinfo) -> Iterator[date]:
    """Yield the days of a stretch, the one before and the one after."""
    first = aware("from_at", from_at).astimezone(zone).date() - ONE_DAY
    last = aware("to_at", to_at).astimezone(zone).date() + ONE_DAY
    yield from (first + k * ONE_DAY for k in range((last - first).days + 1))


def _in_order(spans: Iterator[Span]) -> tuple[Span, ...]:
    """Return the spans, each beginning no earlier than the one before ends, as under a sun that does not set."""
    found = list[Span]()
    for begin_at, end_at in spans:
        found.append((max(begin_at, found[-1][1]) if found else begin_at, end_at))
    return tuple(found)
