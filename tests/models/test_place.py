"""A place says its hemisphere twice, and its own mean time."""

import math
from datetime import timedelta

import pytest

from swapbell_models.calendar.place import Hemisphere, Place


@pytest.mark.parametrize(
    ("latitude_deg", "hemisphere", "allowed"),
    [(43.5, Hemisphere.SOUTH, "-90 to 0 in the south"), (-51.5, Hemisphere.NORTH, "0 to 90 in the north")],
)
def test_a_lost_sign_is_seen(latitude_deg: float, hemisphere: Hemisphere, allowed: str) -> None:
    with pytest.raises(ValueError, match=rf"^latitude_deg must be {allowed}, not {latitude_deg}: check its sign$"):
        Place(latitude_deg, 0.0, hemisphere)


@pytest.mark.parametrize("hemisphere", Hemisphere)
def test_the_equator_lies_in_both(hemisphere: Hemisphere) -> None:
    assert Place(0.0, 0.0, hemisphere).latitude_deg == 0.0


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "named"),
    [
        (90.1, 0.0, "latitude_deg"),
        (math.nan, 0.0, "latitude_deg"),
        (0.0, 180.1, "longitude_deg"),
        (0.0, -181, "long"),
    ],
)
def test_a_point_off_the_earth_is_refused(latitude_deg: float, longitude_deg: float, named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named}.* must be from -"):
        Place(latitude_deg, longitude_deg, Hemisphere.NORTH)


def test_beyond_the_south_pole_is_no_place() -> None:
    with pytest.raises(ValueError, match=r"^latitude_deg must be from -90 to 90 degrees, not -90\.1$"):
        Place(-90.1, 0.0, Hemisphere.SOUTH)


@pytest.mark.parametrize("edge", [(90.0, 180.0), (0.0, -180.0)])
def test_the_edges_belong_to_the_earth(edge: tuple[float, float]) -> None:
    Place(*edge, Hemisphere.NORTH)
    Place(-edge[0], edge[1], Hemisphere.SOUTH)


def test_mean_time_is_four_minutes_a_degree() -> None:
    assert Place(0.0, 15.0, Hemisphere.NORTH).mean_time.utcoffset(None) == timedelta(hours=1)
    assert Place(0.0, -90.25, Hemisphere.NORTH).mean_time.utcoffset(None) == -timedelta(hours=6, minutes=1)
