"""What of a station's windows a forecast stands on: light and watched, or not there at all."""

import math
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

import pytest

from swapbell_models.forecasting.foraging import Curve, fixed
from swapbell_models.forecasting.watched import Basis, Counts, read
from swapbell_models.traffic import Window

HOUR = timedelta(hours=1)
DAWN_AT = datetime(2026, 2, 3, 6, 0, tzinfo=UTC)
FORAGING = fixed(time(6), time(18), DAWN_AT, DAWN_AT + timedelta(days=5))
NOW = DAWN_AT + timedelta(days=4)


def window(from_h: float, hours: float = 1.0, visits: int = 5, watched_share: float = 1.0) -> Window:
    from_at = DAWN_AT + from_h * HOUR
    return Window(from_at, from_at + hours * HOUR, visits, hours * 3600.0 * watched_share)


def counts(*windows: Window) -> Counts:
    found = read(windows, FORAGING, NOW)
    assert found is not None
    return found


def test_bins_stand_at_their_middle_on_the_clock() -> None:
    found = counts(window(0.0), window(5.0), window(24.0))
    assert (found.hours - found.from_h).tolist() == [0.5, 5.5, 12.5]
    assert (found.from_h, found.to_h) == (12.0, 25.0)
    assert found.day.tolist() == [0, 0, 1]


def test_the_watch_runs_from_0_to_1() -> None:
    found = counts(window(0.0), window(24.0))
    assert found.position(found.hours).tolist() == [0.5 / 13.0, 12.5 / 13.0]


def test_effort_is_watched_time_weighted_by_activity() -> None:
    found = counts(window(5.0, watched_share=0.5), window(6.0, hours=0.5), window(1.0))
    # By the default curve the activity in the middle of the second hour of twelve is 0.4 + 0.6 * 1.5 / 3.
    assert found.effort_h == pytest.approx([0.7, 0.5, 0.5])


def test_a_bin_that_ends_now_is_in_and_a_later_one_is_not() -> None:
    now = DAWN_AT + 6 * HOUR
    found = read([window(4.0), window(5.0), window(6.0)], FORAGING, now)
    assert found is not None
    assert len(found.visits) == 2


def test_a_moment_of_watching_is_watching() -> None:
    assert counts(window(5.0, watched_share=1e-5)).watched_h == pytest.approx([1e-5])


def test_a_part_of_the_day_that_few_fly_in_is_no_night() -> None:
    idle = fixed(time(6), time(18), DAWN_AT, DAWN_AT + timedelta(days=5), Curve((0.05, 0.05, 1.0)))
    found = read([window(1.0)], idle, NOW)
    assert found is not None
    assert found.activity == pytest.approx([0.05])


def test_a_forecast_without_a_watch_stands_on_nothing() -> None:
    assert Basis() == Basis(days=0, watched_h=0.0, visits=0, to_at=None)


def test_the_night_is_left_out() -> None:
    assert counts(window(5.0), window(14.0, visits=3)).visits.tolist() == [5.0]
    assert read([window(14.0), window(20.0)], FORAGING, NOW) is None


def test_a_bin_across_dawn_counts_by_its_part_in_the_light() -> None:
    found = counts(window(-0.5))
    assert found.watched_h == pytest.approx([0.5])
    assert found.activity == pytest.approx([0.4 + 0.6 * 0.25 / 3.0])
    assert found.hours - 12.0 == pytest.approx([0.25])


def test_what_was_not_watched_is_a_gap_and_no_zero() -> None:
    watched = [window(1.0), window(25.0)]
    gaps = [window(2.0, visits=0, watched_share=0.0), window(30.0, visits=0, watched_share=0.0)]
    assert counts(*watched, *gaps).basis == counts(*watched).basis


def test_what_ends_after_now_is_left_out() -> None:
    assert counts(window(5.0), window(4 * 24.0 - 1.0), window(4 * 24.0)).visits.tolist() == [5.0]


def test_bins_may_come_in_any_order() -> None:
    assert counts(window(25.0, visits=7), window(1.0)).visits.tolist() == [5.0, 7.0]


def test_a_day_counts_from_an_hour_of_watching_on() -> None:
    basis = counts(
        window(1.0), window(25.0, watched_share=0.99), window(50.0, hours=0.5), window(51.0, hours=0.5)
    ).basis
    assert (basis.days, basis.visits) == (2, 20)
    assert basis.watched_h == pytest.approx(2.99)
    assert basis.to_at == DAWN_AT + 51.5 * HOUR


def test_bins_of_two_hours_are_the_longest() -> None:
    counts(window(1.0, hours=2.0))
    with pytest.raises(ValueError, match="windows must be above 0 and at most 2:00:00, not 2:00:36"):
        counts(window(1.0, hours=2.01))


@pytest.mark.parametrize(
    ("wrong", "complaint"),
    [
        ({"counted": -1}, "windows' visits must be a number from 0 visits up, not -1"),
        ({"watched_s": math.nan}, "windows' watched_s must be from 0 to 3600 s, not nan"),
        ({"watched_s": -1.0}, "not -1"),
        ({"watched_s": 3601.0}, "not 3601"),
        ({"from_at": DAWN_AT.replace(tzinfo=None)}, "windows must say its offset from UTC"),
        ({"to_at": DAWN_AT.replace(tzinfo=None) + HOUR}, "windows must say its offset from UTC"),
        ({"to_at": DAWN_AT}, "windows must be above 0"),
    ],
)
def test_what_nobody_can_have_watched_is_refused(wrong: dict[str, object], complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        read([replace(window(0.0), **wrong)], FORAGING, NOW)  # type: ignore[arg-type] # wrong by intent


def test_what_overlaps_is_refused() -> None:
    with pytest.raises(ValueError, match="windows must not overlap"):
        counts(window(1.0), window(1.5))


def test_a_naive_now_is_refused() -> None:
    with pytest.raises(ValueError, match="now must say its offset from UTC"):
        read([], FORAGING, NOW.replace(tzinfo=None))
