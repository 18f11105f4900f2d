"""A warning not to swap before somebody has looked, and when it is over."""

from datetime import datetime, timedelta

import pytest
from evidence import BEES, EVENING_AT, PLACE, Stretch, by_hour, counted, lured, past
from hypothesis import given, settings
from hypothesis import strategies as st

from swapbell_host.jobs.plan import Role
from swapbell_host.judging import visitors
from swapbell_host.judging.evidence import Evidence
from swapbell_models.calendar.daylight import forages
from swapbell_models.notice import NoticeKind
from swapbell_models.phase import Phase

HOUR = timedelta(hours=1)


def words(evidence: Evidence) -> str:
    told = visitors.warning(evidence)
    return told.text if told else ""


def daily(first: int, second: int) -> tuple[Stretch, ...]:
    """Return two days with so many visits in each five minutes by day, first on the one, then on the other."""

    def make(at: datetime) -> Stretch:
        light = forages(PLACE, at)
        return Stretch(at, (first if EVENING_AT - at > timedelta(days=1) else second) if light else 0)

    return counted(make)


def test_wasps_alone_are_no_warning() -> None:
    assert visitors.warning(lured(counts=by_hour(20, 60, 120))) is None


def test_a_trail_of_small_ones_is_likely_ants() -> None:
    told = words(lured(counts=by_hour(30, 30, small=[0, 90])))
    assert "90 small ones in 1.0 h beside 30 wasp-sized: ants take bait away" in told
    assert "do not swap while bees or other harmless animals visit" in told


def test_a_few_flies_are_none() -> None:
    assert not words(lured(counts=by_hour(30, 30, small=[59, 59])))


def test_many_wasps_of_which_some_are_measured_short_are_none() -> None:
    assert not words(lured(counts=by_hour(200, 200, small=[90, 90])))


def test_a_raid_of_the_morning_is_over_by_the_evening() -> None:
    assert not words(lured(counts=by_hour(0, 0, 0, 0, 0, small=[300, 0, 0, 0, 0])))


@pytest.mark.parametrize(("large", "warned"), [([3, 3], True), ([3, 2], False)])
def test_several_large_ones_in_a_day_are_hornets_or_mice(large: list[int], warned: bool) -> None:
    assert ("large ones in a day" in words(lured(counts=by_hour(0, 0, large=large)))) is warned


def test_large_ones_among_very_many_wasps_may_be_two_abreast() -> None:
    assert not words(lured(counts=by_hour(300, 300, large=[15, 15])))


def test_a_mouse_at_night_is_seen_beside_the_wasps_of_the_day() -> None:
    assert "6 large ones" in words(lured(counts=by_hour(300, 300, 0, large=[0, 0, 6])))


def test_visitors_all_day_long_that_become_no_more_may_be_bees() -> None:
    told = words(lured(counts=daily(3, 3)))
    assert "35 wasp-sized ones an hour all day long, not more than the day before" in told
    assert "Length alone cannot tell a wasp from a honey bee" in told


def test_traffic_that_grows_from_day_to_day_is_what_a_nest_sends() -> None:
    assert not words(lured(counts=daily(3, 4)))


def test_traffic_that_falls_met_weather_or_a_dry_lure() -> None:
    assert not words(lured(counts=daily(4, 3)))


def test_traffic_that_pauses_for_hours_is_not_all_day_long() -> None:
    steady = daily(3, 3)
    pausing = tuple(each for each in steady if each.from_at.hour not in {1, 2, 3})
    quiet = tuple(Stretch(each.from_at) if each.from_at.hour in {1, 2, 3} else each for each in steady)
    assert words(lured(counts=pausing)), "hours that nobody watched are no pause"
    assert not words(lured(counts=quiet))


def test_without_a_place_nobody_knows_what_a_day_is() -> None:
    assert not words(lured(counts=daily(3, 3), place=None))


def test_all_day_long_is_said_once_of_a_lure() -> None:
    told = past(NoticeKind.VISITORS, timedelta(days=2), acknowledged=timedelta(days=2))
    assert not words(lured(told, counts=daily(3, 3)))
    earlier = past(NoticeKind.VISITORS, timedelta(days=4), acknowledged=timedelta(days=4))
    assert words(lured(earlier, counts=daily(3, 3)))


def test_who_was_called_to_the_swap_was_told_to_look_for_bees_by_that() -> None:
    assert not words(lured(past(NoticeKind.READY, timedelta(hours=30)), counts=daily(3, 3)))


@pytest.mark.parametrize("phase", [phase for phase in Phase if phase is not Phase.LURING])
def test_only_before_a_swap_are_visitors_a_warning(phase: Phase) -> None:
    assert not words(lured(counts=by_hour(large=[50]), phase=phase))


def test_a_control_station_is_never_swapped() -> None:
    assert not words(lured(counts=by_hour(large=[50]), role=Role.CONTROL))


def test_a_warning_is_over_when_a_whole_day_shows_none_of_them() -> None:
    warning = past(NoticeKind.VISITORS, timedelta(days=1))
    calm = by_hour(*[10] * 24)
    assert visitors.are_gone(warning, lured(warning, counts=calm))
    assert not visitors.are_gone(warning, lured(warning, counts=by_hour(*[10] * 24, small=[40, *[0] * 23])))
    assert not visitors.are_gone(warning, lured(warning, counts=by_hour(large=[3, *[0] * 23])))


def test_a_warning_stays_while_they_come_all_day_long() -> None:
    warning = past(NoticeKind.VISITORS, timedelta(hours=1))
    assert not visitors.are_gone(warning, lured(warning, counts=daily(3, 3)))
    assert visitors.are_gone(warning, lured(warning, counts=daily(3, 4)))


def test_a_warning_stays_while_the_log_names_others() -> None:
    warning = past(NoticeKind.VISITORS, timedelta(hours=1))
    assert not visitors.are_gone(warning, lured(warning, counts=by_hour(*[10] * 24), sighting=BEES))


def test_a_day_that_nobody_watched_ends_no_warning() -> None:
    assert not visitors.are_gone(None, lured(counts=by_hour(*[10] * 5)))


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.tuples(st.integers(0, 300), st.integers(0, 300), st.integers(0, 60), st.floats(0, 300)), max_size=576)
)
def test_whoever_warns_does_not_end_at_once(seen: list[tuple[int, int, int, float]]) -> None:
    begin_at = EVENING_AT - len(seen) * timedelta(minutes=5)
    evidence = lured(counts=[Stretch(begin_at + k * timedelta(minutes=5), *each) for k, each in enumerate(seen)])
    assert not (visitors.warning(evidence) and visitors.are_gone(None, evidence))
