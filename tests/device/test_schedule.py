"""A station sleeps outside the foraging hours of its place, and wakes in time."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from swapbell_device.schedule import EARLY, LONGEST, wakes_at
from swapbell_models.calendar.daylight import forages
from swapbell_models.calendar.place import Hemisphere, Place

NELSON = Place(-41.3, 173.2, Hemisphere.SOUTH)
MOMENTS = st.datetimes(datetime(2026, 1, 1), datetime(2027, 1, 1)).map(lambda at: at.replace(tzinfo=UTC))  # noqa: DTZ001


@given(MOMENTS)
def test_no_station_sleeps_in_foraging_hours(at: datetime) -> None:
    if forages(NELSON, at):
        assert wakes_at(NELSON, at) is None


@given(MOMENTS)
def test_a_station_that_sleeps_wakes_a_little_before_the_foraging_hours(at: datetime) -> None:
    wakes = wakes_at(NELSON, at)
    if wakes is not None:
        assert at < wakes <= at + LONGEST
        assert not forages(NELSON, wakes)
        assert forages(NELSON, wakes + EARLY + timedelta(minutes=1)) or wakes == at + LONGEST


@given(MOMENTS)
def test_a_station_is_awake_once_its_time_has_come(at: datetime) -> None:
    wakes = wakes_at(NELSON, at)
    if wakes is not None and wakes < at + LONGEST:
        assert wakes_at(NELSON, wakes) is None


def test_where_the_sun_stays_down_a_station_sleeps_on() -> None:
    north = Place(78.0, 15.0, Hemisphere.NORTH)
    assert wakes_at(north, datetime(2026, 12, 20, 12, 0, tzinfo=UTC)) is not None
