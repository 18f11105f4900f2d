"""The foraging clock against the sun, and against its own arithmetic."""

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_models.calendar.daylight import daylight
from swapbell_models.calendar.place import Hemisphere, Place
from swapbell_models.forecasting.foraging import BROAD, Curve, Foraging, fixed, seconds, sunlit

HOBART = Place(-42.9, 147.3, Hemisphere.SOUTH)
TROMSO = Place(69.65, 18.96, Hemisphere.NORTH)
DAY = timedelta(days=1)
FROM_AT = datetime(2026, 2, 3, 1, 0, tzinfo=UTC)
SIX_TO_SIX = fixed(time(6), time(18), FROM_AT, FROM_AT + 3 * DAY)


def hours(foraging: Foraging, *moments: datetime) -> list[float]:
    return foraging.read(seconds(moments)).hours.tolist()


def activity(foraging: Foraging, *moments: datetime) -> list[float]:
    return foraging.read(seconds(moments)).activity.tolist()


def clock(hour: int, minute: int = 0, day: int = 3) -> datetime:
    return datetime(2026, 2, day, hour, minute, tzinfo=UTC)


def test_the_clock_runs_by_day_and_stands_at_night() -> None:
    assert hours(SIX_TO_SIX, clock(6), clock(9), clock(18), clock(23), clock(6, day=4), clock(7, 30, day=4)) == [
        12.0,  # the day before is in, as it reaches into the stretch by its night
        15.0,
        24.0,
        24.0,
        24.0,
        25.5,
    ]


def test_the_default_day_rises_from_four_tenths_holds_and_falls() -> None:
    # Komonen and Torniainen 2022: mostly 40 to 100 % of the peak.
    told = activity(SIX_TO_SIX, clock(6), clock(7, 30), clock(9), clock(12), clock(15), clock(16, 30), clock(18))
    assert told == pytest.approx([0.4, 0.7, 1.0, 1.0, 1.0, 0.7, 0.4])


def test_the_first_day_is_as_busy_as_any_other() -> None:
    assert activity(SIX_TO_SIX, clock(12, day=2)) == [1.0]
    assert activity(SIX_TO_SIX, clock(5, day=2)) == [0.0]


def test_nobody_forages_at_night() -> None:
    assert activity(SIX_TO_SIX, clock(5, 59), clock(18, 1), clock(0)) == [0.0, 0.0, 0.0]


def test_days_are_numbered_and_the_night_belongs_to_the_day_before() -> None:
    assert SIX_TO_SIX.read(seconds([clock(5, day=2), clock(12), clock(23), clock(6, day=4)])).day.tolist() == [
        -1,
        1,
        1,
        2,
    ]


def test_days_follow_the_sun_of_the_place() -> None:
    # 3 February in Hobart begins in the evening of the 2nd by UTC.
    spans = sunlit(HOBART, FROM_AT, FROM_AT + DAY).spans
    assert daylight(HOBART, date(2026, 2, 3)).foraging in spans
    assert all(later[0] - earlier[0] > timedelta(hours=23) for earlier, later in pairwise(spans))


def test_a_sun_that_does_not_set_leaves_no_night() -> None:
    summer_at = datetime(2026, 6, 21, tzinfo=UTC)
    foraging = sunlit(TROMSO, summer_at, summer_at + 2 * DAY)
    begun, ended = hours(foraging, summer_at, summer_at + 2 * DAY)
    assert ended - begun == pytest.approx(48.0, abs=0.02)  # noons are not quite 24 h apart


def test_a_sun_that_does_not_rise_leaves_no_day() -> None:
    winter_at = datetime(2026, 12, 21, tzinfo=UTC)
    with pytest.raises(ValueError, match="spans must be foraging days in time order, at least one"):
        sunlit(TROMSO, winter_at, winter_at + 2 * DAY)


def test_fixed_hours_may_run_past_midnight() -> None:
    foraging = fixed(time(19, 30), time(9), FROM_AT, FROM_AT)
    assert (clock(19, 30, day=2), clock(9)) in foraging.spans


def test_the_same_hour_twice_is_the_whole_day() -> None:
    span = fixed(time(5), time(5), FROM_AT, FROM_AT).spans[0]
    assert span[1] - span[0] == DAY


def test_a_stretch_is_covered_from_before_its_first_moment_until_after_its_last() -> None:
    for foraging in (sunlit(HOBART, FROM_AT, FROM_AT + 3 * DAY), SIX_TO_SIX):
        assert foraging.spans[0][0] < FROM_AT
        assert foraging.spans[-1][1] > FROM_AT + 3 * DAY


@given(st.lists(st.floats(0.0, 3.0 * 86_400.0), min_size=2, max_size=20))
def test_the_clock_never_runs_backwards_nor_faster_than_time(at_s: list[float]) -> None:
    moments = np.sort(np.array(at_s)) + FROM_AT.timestamp()
    risen_h = np.diff(SIX_TO_SIX.read(moments).hours)
    assert (risen_h >= -1e-9).all()
    assert (risen_h <= np.diff(moments) / 3600.0 + 1e-9).all()


@given(st.lists(st.floats(0.0, 1.0), min_size=1, max_size=6), st.floats(0.0, 1.0))
def test_activity_is_a_share_of_the_busiest_part(levels: list[float], share: float) -> None:
    assert 0.0 <= Curve((*levels, 1.0)).at(np.array([share]))[0] <= 1.0


@pytest.mark.parametrize(
    ("levels", "complaint"),
    [
        ((1.0,), r"levels must be 2 or more, the highest 1, not \(1.0,\)"),
        ((0.5, 0.9), "levels must be 2 or more, the highest 1"),
        ((0.5, 1.1), "levels must be from 0 to 1 of the busiest part, not 1.1"),
        ((-0.1, 1.0), "not -0.1"),
        ((float("nan"), 1.0), "not nan"),
    ],
)
def test_a_curve_without_a_busiest_part_is_refused(levels: tuple[float, ...], complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        Curve(levels)


@pytest.mark.parametrize(
    "spans",
    [
        (),
        ((clock(6), clock(6)),),
        ((clock(18), clock(6)),),
        ((clock(6), clock(18)), (clock(17), clock(20))),
    ],
)
def test_days_out_of_order_are_refused(spans: tuple[tuple[datetime, datetime], ...]) -> None:
    with pytest.raises(ValueError, match="spans must be foraging days in time order"):
        Foraging(spans)


def test_a_naive_moment_is_refused_by_name() -> None:
    naive = FROM_AT.replace(tzinfo=None)
    for given_wrong, name in (((naive, FROM_AT), "from_at"), ((FROM_AT, naive), "to_at")):
        with pytest.raises(ValueError, match=f"{name} must say its offset from UTC"):
            sunlit(HOBART, *given_wrong)
        with pytest.raises(ValueError, match=f"{name} must say its offset from UTC"):
            fixed(time(6), time(18), *given_wrong)
    with pytest.raises(ValueError, match="spans must say its offset"):
        Foraging(((naive, naive + DAY),))
    with pytest.raises(ValueError, match="moments must say its offset"):
        seconds([naive])


def test_the_default_curve_is_symmetric() -> None:
    shares = np.linspace(0.0, 1.0, 21)
    assert BROAD.at(shares) == pytest.approx(BROAD.at(1.0 - shares))
