"""Where a station stands, with the hemisphere said twice: a lost minus sign moves the season by half a year."""

from dataclasses import dataclass
from datetime import timedelta, timezone
from enum import Enum

from swapbell_models.quantity import within

# By definition: the earth turns one degree in 4 minutes of mean time.
S_PER_DEGREE = 240.0


class Hemisphere(Enum):
    """Which half of the earth."""

    NORTH = "north"
    SOUTH = "south"


@dataclass(frozen=True, slots=True)
class Place:
    """A point on the earth.

    Attributes
    ----------
    latitude_deg
        North is positive, south negative, -90 to 90 [degrees].
    longitude_deg
        East is positive, west negative, -180 to 180 [degrees].
    hemisphere
        The same as the sign of the latitude, in a word.
    """

    latitude_deg: float
    longitude_deg: float
    hemisphere: Hemisphere

    def __post_init__(self) -> None:
        """Refuse a point off the earth, and a sign that contradicts the word."""
        within("latitude_deg", self.latitude_deg, -90.0, 90.0, "degrees")
        within("longitude_deg", self.longitude_deg, -180.0, 180.0, "degrees")
        sign = 1.0 if self.hemisphere is Hemisphere.NORTH else -1.0
        if sign * self.latitude_deg < 0.0:
            allowed = "0 to 90" if self.hemisphere is Hemisphere.NORTH else "-90 to 0"
            half = self.hemisphere.value
            raise ValueError(f"latitude_deg must be {allowed} in the {half}, not {self.latitude_deg}: check its sign")

    @property
    def mean_time(self) -> timezone:
        """The local mean time, whose noon is the sun's on average; it needs no list of civil zones."""
        return timezone(timedelta(seconds=round(self.longitude_deg * S_PER_DEGREE)))
