"""When the sun is up at a place, and when the absence of wasps means something.

Days are those of the local mean time. Where the sun does not rise or does not set, the day says so.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import Enum
from functools import lru_cache
from typing import TYPE_CHECKING

from swapbell_models.calendar.place import Place
from swapbell_models.quantity import aware, day, within

if TYPE_CHECKING:
    from astral import Observer, SunDirection

# Centre of the sun at rise and set: half its disc, 0.2667 degrees, and the refraction of 0.5667 degrees that the
# example of Reda and Andreas (2004, Solar Energy 76) takes.
HORIZON_DEG = -0.8333

# Kasper et al. 2008, Insectes Sociaux 55: the working day is 22 min longer than the sun's; split evenly: our choice.
MARGIN = timedelta(minutes=11)

HALF_DAY = timedelta(hours=12)
# The equations behind astral hold from 1901 to 2099 (NOAA, solar calculation details, from memory).
YEAR_FIRST, YEAR_LAST = 1901, 2099
# Our choice: the three days around now for ten thousand places and more, some 30 MB; a few that are forgotten before
# they are asked for again would make a third of all judging.
_REMEMBERED = 50_000


class Sun(Enum):
    """What the sun does on a day."""

    RISES = "rises and sets"
    STAYS_UP = "does not set"
    STAYS_DOWN = "does not rise"


@dataclass(frozen=True, slots=True)
class Daylight:
    """The sun's day at a place.

    Attributes
    ----------
    sun
        Whether it rises and sets at all.
    noon_at
        When it stands highest, aware UTC, within a minute.
    sunrise_at, sunset_at
        Aware UTC, within a minute up to 64 degrees of latitude; nothing where it does not rise or does not set.
    """

    sun: Sun
    noon_at: datetime
    sunrise_at: datetime | None
    sunset_at: datetime | None

    @property
    def foraging(self) -> tuple[datetime, datetime] | None:
        """From 11 min before sunrise to 11 min after sunset, aware UTC; the whole day if the sun stays up."""
        if self.sun is Sun.STAYS_DOWN:
            return None
        from_at = self.sunrise_at - MARGIN if self.sunrise_at else self.noon_at - HALF_DAY
        to_at = self.sunset_at + MARGIN if self.sunset_at else self.noon_at + HALF_DAY
        return from_at, to_at


@lru_cache(_REMEMBERED)
def daylight(place: Place, on: date) -> Daylight:
    """Return the sun's day at a place.

    Parameters
    ----------
    place : Place
        Anywhere on the earth; its height above the sea is left out.
    on : date
        The day in local mean time.

    Raises
    ------
    ValueError
        If a moment is given for the day, or its year is not from 1901 to 2099.

    Notes
    -----
    Computed by astral. It finds the rising and the setting of a day in UTC, which may be those of the day before or
    after at the place; the ones within 12 h of the place's noon are taken.
    """
    from astral import Observer, SunDirection
    from astral.sun import elevation, noon

    within("year of on", day("on", on).year, YEAR_FIRST, YEAR_LAST, "AD")
    observer = Observer(place.latitude_deg, place.longitude_deg, 0.0)
    noon_at = noon(observer, on)
    sunrise_at = _crossing(observer, noon_at - HALF_DAY, SunDirection.RISING)
    sunset_at = _crossing(observer, noon_at, SunDirection.SETTING)
    if sunrise_at or sunset_at:
        return Daylight(Sun.RISES, noon_at, sunrise_at, sunset_at)
    up = elevation(observer, noon_at, with_refraction=False) > HORIZON_DEG
    return Daylight(Sun.STAYS_UP if up else Sun.STAYS_DOWN, noon_at, None, None)


def _crossing(observer: "Observer", after_at: datetime, direction: "SunDirection") -> datetime | None:
    from astral.sun import time_at_elevation

    for shift in (-1, 0, 1):
        on = (after_at + timedelta(days=shift)).date()
        try:
            at = time_at_elevation(observer, HORIZON_DEG, on, direction, with_refraction=False)
        except ValueError:  # the sun does not pass the horizon on that day
            continue
        if after_at <= at <= after_at + HALF_DAY:
            return at
    return None


def forages(place: Place, at: datetime) -> bool:
    """Tell whether a moment lies in the foraging hours of its place.

    Parameters
    ----------
    place : Place
        Anywhere on the earth.
    at : datetime
        Aware.

    Raises
    ------
    ValueError
        If the moment is naive.
    """
    return any(from_at <= at <= to_at for from_at, to_at in _hours(place, aware("at", at), at))


def nights(place: Place, from_at: datetime, to_at: datetime) -> list[tuple[datetime, datetime]]:
    """Return the stretches between two moments that lie outside of the foraging hours of a place, in time order.

    Parameters
    ----------
    place : Place
        Anywhere on the earth.
    from_at, to_at : datetime
        Aware, the earlier one first.

    Raises
    ------
    ValueError
        If a moment is naive.
    """
    found, edge_at = list[tuple[datetime, datetime]](), aware("from_at", from_at)
    for begins_at, ends_at in (*_hours(place, from_at, aware("to_at", to_at)), (to_at, to_at)):
        if edge_at < (dawn_at := min(begins_at, to_at)):
            found.append((edge_at, dawn_at))
        edge_at = max(edge_at, min(ends_at, to_at))
    return found


def _hours(place: Place, from_at: datetime, to_at: datetime) -> Iterator[tuple[datetime, datetime]]:
    """Yield the foraging hours of the days around a stretch, in time order."""
    first, last = (at.astimezone(place.mean_time).date() for at in (from_at, to_at))
    days = (daylight(place, first + timedelta(days=n)) for n in range(-1, (last - first).days + 2))
    return (day.foraging for day in days if day.foraging)
