"""How far it is from one place to the next, and in which direction."""

from dataclasses import dataclass
from math import asin, atan2, cos, degrees, radians, sin, sqrt

from swapbell_models.calendar.place import Place

# Mean radius R1 of the GRS80 ellipsoid (Moritz 2000, Geodetic Reference System 1980, J Geodesy 74:128-133).
EARTH_RADIUS_M = 6_371_008.8
# Our choice: sixteen winds are as fine as a person with a compass needs.
WINDS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")


@dataclass(frozen=True, slots=True)
class Course:
    """The straight way over the ground.

    Attributes
    ----------
    distance_m
        Along the great circle of a round earth [m]; off by at most 0.6 % of the ellipsoid's.
    bearing_deg
        The direction to set out in, clockwise from true north, 0 up to 360 [degrees]; nothing where there is no way.
    """

    distance_m: float
    bearing_deg: float | None

    @property
    def words(self) -> str:
        """The way for a person."""
        if self.bearing_deg is None:
            return "the same place"
        wind = WINDS[round(self.bearing_deg * len(WINDS) / 360.0) % len(WINDS)]
        return f"{self.distance_m:.0f} m {wind} ({self.bearing_deg:03.0f} degrees)"


def course(here: Place, there: Place) -> Course:
    """Return the way from one place to another.

    The distance is the haversine's (Sinnott 1984, Virtues of the haversine, Sky and Telescope 68:159), which stays
    exact for stations a few metres apart.
    """
    south, north = radians(here.latitude_deg), radians(there.latitude_deg)
    east = radians(there.longitude_deg - here.longitude_deg)
    share = sin((north - south) / 2.0) ** 2 + cos(south) * cos(north) * sin(east / 2.0) ** 2
    distance_m = 2.0 * EARTH_RADIUS_M * asin(sqrt(min(share, 1.0)))
    ahead = cos(south) * sin(north) - sin(south) * cos(north) * cos(east)
    bearing_deg = degrees(atan2(sin(east) * cos(north), ahead)) % 360.0
    return Course(distance_m, bearing_deg if distance_m > 0.0 else None)
