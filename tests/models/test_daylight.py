"""The sun rises and sets when the almanac says, everywhere, and days without a sunrise do not crash."""

from datetime import UTC, date, datetime, timedelta, timezone

import pandas as pd
import pvlib
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from swapbell_models.calendar.daylight import HORIZON_DEG, MARGIN, Daylight, Sun, daylight, forages, nights
from swapbell_models.calendar.place import Hemisphere, Place

MINUTE = timedelta(minutes=1)
DAY = timedelta(days=1)


def place(latitude_deg: float, longitude_deg: float = 0.0) -> Place:
    """Return a place whose hemisphere agrees with its latitude."""
    return Place(latitude_deg, longitude_deg, Hemisphere.NORTH if latitude_deg >= 0 else Hemisphere.SOUTH)


GOLDEN = place(39.742476, -105.1786)
TROMSO = place(69.6492, 18.9553)
CHRISTCHURCH = place(-43.5321, 172.6362)


def day_of(at: str) -> datetime:
    """Return a moment from its ISO form with an offset."""
    return datetime.fromisoformat(at)


@pytest.mark.parametrize(
    ("latitude_deg", "sunrise"),
    [
        # Astronomy Answers (aa.quae.nl), position of the sun: sunrise on 1 January 2002 in local mean time.
        (-64, "01:43"),
        (-58, "03:02"),
        (-52, "03:44"),
        (-46, "04:13"),
        (-44, "04:21"),
        (-42, "04:28"),
        (-40, "04:35"),
        (-34, "04:52"),
        (0, "06:00"),
        (38, "07:16"),
        (44, "07:35"),
        (50, "07:59"),
    ],
)
def test_the_almanac_of_1_january_2002(latitude_deg: float, sunrise: str) -> None:
    found = daylight(place(latitude_deg), date(2002, 1, 1)).sunrise_at
    assert found is not None
    assert abs(found - day_of(f"2002-01-01T{sunrise}+00:00")) <= MINUTE


@pytest.mark.parametrize("latitude_deg", [-68, -70, -76, -82, -88])
def test_the_almanacs_polar_day(latitude_deg: float) -> None:
    # The same table: no sunrise from 66 to 88 degrees south. At 66 the sun does dip below the horizon for an hour, by
    # our computation and by SPA's.
    assert daylight(place(latitude_deg), date(2002, 1, 1)).sun is Sun.STAYS_UP
    assert daylight(place(-66), date(2002, 1, 1)).sun is Sun.RISES


def test_spa_sees_the_sun_dip_at_66_degrees_south() -> None:
    midnight = pd.DatetimeIndex([day_of("2002-01-01T00:00:00+00:00")])
    assert pvlib.solarposition.spa_python(midnight, -66.0, 0.0)["elevation"].iloc[0] < HORIZON_DEG


def test_the_spa_example() -> None:
    # Reda and Andreas 2004, Solar Energy 76: Golden, 17 October 2003. Its sunset is that of the day in UTC, which in
    # Golden is the evening of the 16th.
    today, eve = daylight(GOLDEN, date(2003, 10, 17)), daylight(GOLDEN, date(2003, 10, 16))
    assert today.sunrise_at is not None
    assert eve.sunset_at is not None
    assert abs(today.sunrise_at - day_of("2003-10-17T06:12:43.46-07:00")) <= timedelta(seconds=1)
    assert abs(today.noon_at - day_of("2003-10-17T11:46:04.96-07:00")) <= MINUTE
    assert abs(eve.sunset_at - day_of("2003-10-16T17:20:19.18-07:00")) <= timedelta(seconds=1)


def test_the_reference_reproduces_the_spa_example() -> None:
    # The same: Julian day, zenith with and without refraction, azimuth, equation of time. So pvlib can judge the
    # horizon further below.
    at = pd.DatetimeIndex([day_of("2003-10-17T12:30:30-07:00")])
    sun = pvlib.solarposition.spa_python(
        at, 39.742476, -105.1786, altitude=1830.14, pressure=82000, temperature=11, delta_t=67
    )
    assert sun["apparent_zenith"].iloc[0] == pytest.approx(50.111622, abs=1e-5)
    assert sun["zenith"].iloc[0] == pytest.approx(50.127954, abs=1e-5)
    assert sun["equation_of_time"].iloc[0] == pytest.approx(14.6415, abs=5e-5)
    assert at.to_julian_date()[0] == pytest.approx(2452930.312847, abs=1e-6)
    assert sun["azimuth"].iloc[0] == pytest.approx(194.340241, abs=1e-5)


def test_noon_in_detroit() -> None:
    # The Dart package spa's own example: transit 13.604236 h at UTC-4.
    noon_at = daylight(place(42.331429, -83.045753), date(2019, 7, 2)).noon_at
    assert abs(noon_at - day_of("2019-07-02T13:36:15.25-04:00")) <= MINUTE


@pytest.mark.parametrize(
    ("where", "on", "sunrise", "sunset"),
    [
        # The Dart package spa's own example: 5.994654 h and 21.212728 h; its sunset is that of the day in UTC.
        (place(42.331429, -83.045753), date(2019, 7, 2), "2019-07-02T05:59:40.8-04:00", None),
        (place(42.331429, -83.045753), date(2019, 7, 1), None, "2019-07-01T21:12:45.8-04:00"),
        # The rest by pvlib's SPA.
        (CHRISTCHURCH, date(2026, 1, 15), None, "2026-01-15T21:10:07+13:00"),
        (CHRISTCHURCH, date(2026, 1, 16), "2026-01-16T06:07:55+13:00", None),
        (CHRISTCHURCH, date(2026, 12, 21), None, "2026-12-21T21:10:15+13:00"),
        (place(51.5074, -0.1278), date(2026, 7, 15), "2026-07-15T05:00:51+01:00", "2026-07-15T21:11:26+01:00"),
        (place(51.5074, -0.1278), date(2026, 6, 21), "2026-06-21T04:43:04+01:00", "2026-06-21T21:21:34+01:00"),
        (place(51.4779), date(2000, 1, 1), "2000-01-01T08:05:36+00:00", "2000-01-01T16:01:09+00:00"),
        (place(-42.8821, 147.3272), date(2026, 1, 15), None, "2026-01-15T20:49:13+11:00"),
        (place(-41.1335, -71.3103), date(2026, 1, 15), "2026-01-15T06:30:48-03:00", None),
    ],
)
def test_sunrise_and_sunset_around_the_earth(where: Place, on: date, sunrise: str | None, sunset: str | None) -> None:
    found = daylight(where, on)
    for computed, expected in ((found.sunrise_at, sunrise), (found.sunset_at, sunset)):
        assert expected is None or (computed and abs(computed - day_of(expected)) <= timedelta(seconds=3))


@settings(max_examples=40, deadline=None)
@given(st.floats(-64, 64), st.floats(-180, 180), st.dates(date(2020, 1, 1), date(2040, 12, 31)))
def test_the_reference_sees_the_sun_pass_the_horizon_within_a_minute(
    latitude: float, longitude: float, on: date
) -> None:
    found = daylight(place(latitude, longitude), on)
    assert found.sunrise_at is not None
    assert found.sunset_at is not None
    for at, rising in ((found.sunrise_at, True), (found.sunset_at, False)):
        around = pd.DatetimeIndex([at - MINUTE, at + MINUTE])
        before, after = pvlib.solarposition.spa_python(around, latitude, longitude)["elevation"]
        assert (before < HORIZON_DEG < after) if rising else (before > HORIZON_DEG > after)


@given(st.floats(-60, 60), st.floats(-180, 180), st.dates(date(2020, 1, 1), date(2040, 12, 31)))
@example(-46.37448, -176.97651, date(2026, 2, 21))  # near the date line, noon and sunset fall on two days in UTC
def test_each_day_has_its_own_sunrise_noon_and_sunset(latitude: float, longitude: float, on: date) -> None:
    where = place(latitude, longitude)
    found = daylight(where, on)
    assert found.sunrise_at is not None
    assert found.sunset_at is not None
    assert found.sunrise_at < found.noon_at < found.sunset_at
    assert found.noon_at.astimezone(where.mean_time).date() == on
    assert found.sunrise_at.utcoffset() == timedelta()


@pytest.mark.parametrize(("on", "sun"), [(date(2026, 6, 21), Sun.STAYS_UP), (date(2026, 12, 21), Sun.STAYS_DOWN)])
def test_tromso_has_days_without_a_sunrise(on: date, sun: Sun) -> None:
    found = daylight(TROMSO, on)
    assert (found.sun, found.sunrise_at, found.sunset_at) == (sun, None, None)


@pytest.mark.parametrize("day", range(1, 31))
def test_as_the_polar_night_begins_the_sun_stays_down_and_never_up(day: int) -> None:
    # Refraction lifts a sun just below the horizon by half a degree: it must not count twice.
    assert daylight(TROMSO, date(2026, 11, day)).sun is not Sun.STAYS_UP


def test_wasps_may_forage_all_day_under_a_midnight_sun_and_never_in_a_polar_night() -> None:
    summer = daylight(TROMSO, date(2026, 6, 21))
    assert summer.foraging == (summer.noon_at - DAY / 2, summer.noon_at + DAY / 2)
    assert daylight(TROMSO, date(2026, 12, 21)).foraging is None


def test_a_day_may_have_a_sunrise_and_no_sunset() -> None:
    found = daylight(TROMSO, date(2026, 5, 18))
    assert (found.sun, found.sunset_at) == (Sun.RISES, None)
    assert found.sunrise_at is not None
    assert found.foraging == (found.sunrise_at - MARGIN, found.noon_at + DAY / 2)


@given(st.sampled_from([-90.0, -88.0, -68.0, 68.0, 88.0, 90.0]), st.dates(date(2026, 1, 1), date(2026, 12, 31)))
def test_no_day_near_the_poles_crashes(latitude: float, on: date) -> None:
    assert daylight(place(latitude), on).sun in Sun


def test_foraging_hours_are_22_minutes_longer_than_the_day() -> None:
    # Kasper et al. 2008, Insectes Sociaux 55:288-295; split evenly is our choice.
    found = daylight(CHRISTCHURCH, date(2026, 1, 15))
    assert found.foraging is not None
    assert found.sunrise_at is not None
    assert found.sunset_at is not None
    assert found.foraging[0] == found.sunrise_at - timedelta(minutes=11)
    assert found.foraging[1] == found.sunset_at + timedelta(minutes=11)


def test_wasps_forage_from_before_sunrise_to_after_sunset() -> None:
    found = daylight(CHRISTCHURCH, date(2026, 1, 15))
    assert found.foraging is not None
    from_at, to_at = found.foraging
    moments = (from_at - MINUTE, from_at, found.noon_at, to_at, to_at + MINUTE)
    assert [forages(CHRISTCHURCH, at) for at in moments] == [False, True, True, True, False]


def test_the_night_lies_between_two_days_foraging_hours() -> None:
    today, tomorrow = (daylight(CHRISTCHURCH, date(2026, 1, on)).foraging for on in (15, 16))
    assert today is not None
    assert tomorrow is not None
    found = nights(CHRISTCHURCH, today[1] - 3 * MINUTE, tomorrow[0] + 3 * MINUTE)
    assert found == [(today[1], tomorrow[0])]


def test_a_stretch_within_the_night_is_night_and_one_within_the_day_is_none() -> None:
    noon_at = daylight(CHRISTCHURCH, date(2026, 1, 15)).noon_at
    midnight_at = noon_at + DAY / 2
    assert nights(CHRISTCHURCH, midnight_at, midnight_at + MINUTE) == [(midnight_at, midnight_at + MINUTE)]
    assert nights(CHRISTCHURCH, noon_at, noon_at + MINUTE) == []


def test_a_week_has_its_nights_in_time_order() -> None:
    from_at = daylight(CHRISTCHURCH, date(2026, 1, 15)).noon_at
    found = nights(CHRISTCHURCH, from_at, from_at + 7 * DAY)
    assert len(found) == 7
    assert found == sorted(found)


@given(
    st.floats(-90.0, 90.0),
    st.floats(-180.0, 180.0),
    st.datetimes(datetime(2026, 1, 1), datetime(2026, 12, 31), timezones=st.just(UTC)),  # noqa: DTZ001 - bounds
)
def test_a_moment_is_in_the_foraging_hours_or_in_a_night(
    latitude_deg: float, longitude_deg: float, at: datetime
) -> None:
    here = place(latitude_deg, longitude_deg)
    night = nights(here, at - timedelta(hours=1), at + timedelta(hours=1))
    assert forages(here, at) != any(from_at < at < to_at for from_at, to_at in night)


def test_an_evening_that_ends_after_midnight_still_counts() -> None:
    evening = daylight(place(65.75), date(2026, 6, 18)).foraging
    assert evening is not None
    assert evening[1] > day_of("2026-06-19T00:01:00+00:00")
    assert forages(place(65.75), day_of("2026-06-19T00:00:30+00:00"))


def test_a_morning_that_begins_before_midnight_counts_already() -> None:
    morning = daylight(place(-66.75), date(2026, 12, 5)).foraging
    assert morning is not None
    assert morning[0] < day_of("2026-12-04T23:59:15+00:00")
    assert forages(place(-66.75), day_of("2026-12-04T23:59:30+00:00"))
    assert not forages(place(-66.75), day_of("2026-12-04T23:50:00+00:00"))


def test_a_naive_moment_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^at must say its offset from UTC"):
        forages(CHRISTCHURCH, datetime.fromisoformat("2026-01-15T09:00"))


def test_a_moment_is_no_day() -> None:
    with pytest.raises(ValueError, match=r"^on must be a day at the place"):
        daylight(CHRISTCHURCH, datetime(2026, 1, 15, tzinfo=UTC))


def test_the_civil_zone_of_the_caller_does_not_matter() -> None:
    at = daylight(CHRISTCHURCH, date(2026, 1, 15)).noon_at
    assert forages(CHRISTCHURCH, at.astimezone(timezone(timedelta(hours=13))))
    assert isinstance(daylight(CHRISTCHURCH, date(2026, 1, 15)), Daylight)


@pytest.mark.parametrize("year", [1, 1900, 2100, 9999])
def test_a_year_for_which_the_equations_do_not_hold_is_refused(year: int) -> None:
    with pytest.raises(ValueError, match=rf"^year of on must be from 1901 to 2099 AD, not {year}$"):
        daylight(GOLDEN, date(year, 1, 1))


@pytest.mark.parametrize("on", [date(1901, 1, 1), date(2099, 12, 31)])
def test_the_first_and_the_last_year_have_days(on: date) -> None:
    assert daylight(GOLDEN, on).sun is Sun.RISES
