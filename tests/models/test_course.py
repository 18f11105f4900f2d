import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from swapbell_models.calendar.course import course
from swapbell_models.calendar.place import Hemisphere, Place

DEGREES = st.floats(-80.0, 80.0)


def at(latitude_deg: float, longitude_deg: float) -> Place:
    return Place(latitude_deg, longitude_deg, Hemisphere.SOUTH if latitude_deg < 0.0 else Hemisphere.NORTH)


def dms(degrees: float, minutes: float, seconds: float) -> float:
    return degrees + minutes / 60.0 + seconds / 3600.0


# Flinders Peak to Buninyong, the worked example of Vincenty's formulae in the Geocentric Datum of Australia Technical
# Manual (ICSM), section 4.1: 54972.271 m, forward azimuth 306 degrees 52 minutes 05.37 seconds, on the ellipsoid.
FLINDERS_PEAK = at(-dms(37, 57, 3.72030), dms(144, 25, 29.52440))
BUNINYONG = at(-dms(37, 39, 10.15610), dms(143, 55, 35.38390))


def test_a_surveyed_line_is_as_long_as_its_survey_says() -> None:
    assert course(FLINDERS_PEAK, BUNINYONG).distance_m == pytest.approx(54_972.271, rel=0.006)


def test_a_surveyed_line_sets_out_as_its_survey_says() -> None:
    assert course(FLINDERS_PEAK, BUNINYONG).bearing_deg == pytest.approx(dms(306, 52, 5.37), abs=0.2)


def test_a_second_of_latitude_is_a_sixtieth_of_a_sixtieth_of_a_degree() -> None:
    # By definition: a quarter of a sphere's great circle is 90 degrees.
    assert course(at(0.0, 0.0), at(90.0, 0.0)).distance_m / (90 * 3600) == pytest.approx(
        course(at(10.0, 5.0), at(10.0 + 1 / 3600, 5.0)).distance_m, rel=1e-6
    )


@pytest.mark.parametrize(
    ("there", "words"),
    [
        (at(0.001, 0.0), "111 m N (000 degrees)"),
        (at(0.0, 0.001), "111 m E (090 degrees)"),
        (at(-0.001, -0.001), "157 m SW (225 degrees)"),
        (at(0.0, 0.0), "the same place"),
    ],
)
def test_a_way_is_said_in_metres_and_winds(there: Place, words: str) -> None:
    assert course(at(0.0, 0.0), there).words == words


def test_a_way_across_the_date_line_is_short() -> None:
    assert course(at(-17.0, 179.9995), at(-17.0, -179.9995)).words.startswith("106 m E")


@given(DEGREES, DEGREES, DEGREES, DEGREES)
def test_the_way_back_is_as_long(south: float, west: float, north: float, east: float) -> None:
    here, there = at(south, west), at(north, east)
    assert course(here, there).distance_m == pytest.approx(course(there, here).distance_m, abs=1e-6)


@given(DEGREES, st.floats(-179.0, 179.0), st.floats(0.0001, 0.01), st.floats(-0.01, 0.01))
def test_neighbours_see_each_other_in_opposite_directions(
    latitude: float, longitude: float, north: float, east: float
) -> None:
    assume(abs(latitude) < 70.0)
    here, there = at(latitude, longitude), at(latitude + north, longitude + east)
    forth, back = course(here, there).bearing_deg, course(there, here).bearing_deg
    assert forth is not None
    assert back is not None
    assert (forth - back) % 360.0 == pytest.approx(180.0, abs=0.1)


def test_the_other_end_of_the_earth_is_half_way_around() -> None:
    # There rounding carries the haversine beyond 1.
    here = at(69.51232454868148, 86.5812282599507)
    there = at(-here.latitude_deg, here.longitude_deg - 180.0)
    assert course(here, there).distance_m == pytest.approx(math.pi * 6_371_008.8)


def test_a_hand_is_no_distance_but_has_a_direction() -> None:
    found = course(at(0.0, 0.0), at(0.0, 5e-7))
    assert 0.05 < found.distance_m < 0.06
    assert found.bearing_deg == pytest.approx(90.0)
