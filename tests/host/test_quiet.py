"""Quiet hours, by the site's clock and over its changes."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_host.jobs.quiet import Quiet, quiet, waking

ZONE = ZoneInfo("Pacific/Auckland")
NIGHT = quiet("21:00-06:00")
HOUR = timedelta(hours=1)
MOMENTS = st.integers(0, 365 * 24 * 60).map(
    lambda minutes: datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
)


def at(hour: int, minute: int = 0, day: int = 10, month: int = 2) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=ZONE)


@pytest.mark.parametrize(("hour", "held"), [(20, False), (21, True), (0, True), (5, True), (6, False), (12, False)])
def test_they_run_through_midnight(hour: int, held: bool) -> None:
    assert NIGHT.holds(at(hour), ZONE) is held


@pytest.mark.parametrize(("hour", "held"), [(12, False), (13, True), (14, False)])
def test_they_may_lie_within_a_day(hour: int, held: bool) -> None:
    assert quiet("13:00-14:00").holds(at(hour), ZONE) is held


@pytest.mark.parametrize("text", ["", "21-6", "24:00-06:00", "21:00", "06:00-21:00", "07:00-07:00", "21:00-06:00x"])
def test_what_is_no_stretch_of_up_to_half_a_day_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="quiet hours"):
        quiet(text)


def test_they_read_as_they_are_written() -> None:
    assert str(quiet(" 9:05-10:00 ")) == "09:05-10:00"


def test_only_time_outside_of_them_counts() -> None:
    assert NIGHT.after(at(20), 2 * HOUR, ZONE) == at(7, day=11)
    assert NIGHT.after(at(23), HOUR, ZONE) == at(7, day=11)
    assert waking(None, at(23), HOUR, ZONE) == at(23) + HOUR


def test_a_night_with_a_changed_clock_is_an_hour_longer_or_shorter() -> None:
    # New Zealand's clocks went back at 3:00 on 5 April 2026, and forward at 2:00 on 27 September (tz database).
    back, forward = at(21, day=4, month=4), at(21, day=26, month=9)
    assert NIGHT.ends_at(back, ZONE) - back.astimezone(UTC) == 10 * HOUR
    assert NIGHT.ends_at(forward, ZONE) - forward.astimezone(UTC) == 8 * HOUR


def test_hours_that_end_while_the_clock_is_set_back_end_that_night() -> None:
    hush, again = Quiet(time(21), time(2, 30)), datetime(2026, 4, 5, 2, 15, tzinfo=ZONE, fold=1).astimezone(UTC)
    assert hush.holds(again, ZONE)
    assert hush.ends_at(again, ZONE) == again + timedelta(minutes=15)
    assert hush.after(again, HOUR, ZONE) == again + timedelta(minutes=75)


def test_hours_that_would_end_in_the_hour_that_is_left_out_end_after_it() -> None:
    hush, before = Quiet(time(21), time(2, 30)), datetime(2026, 9, 27, 1, 0, tzinfo=ZONE).astimezone(UTC)
    assert hush.after(before, timedelta(minutes=1), ZONE) >= before + HOUR


@given(MOMENTS, st.integers(0, 23), st.integers(1, 12), st.integers(1, 48))
def test_whoever_waits_long_enough_is_never_called_in_them(begun: datetime, hour: int, long: int, hours: int) -> None:
    hush = Quiet(time(hour), time((hour + long) % 24))
    then = hush.after(begun, hours * HOUR, ZONE)
    assert then >= begun + hours * HOUR
    assert not hush.holds(then - timedelta(seconds=1), ZONE)
