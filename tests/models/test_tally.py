from datetime import UTC, datetime, timedelta

import pytest
from orchard import NOON_AT, tally, visits

from swapbell_models.sizes import SizeClass
from swapbell_models.tally import Crossing, Direction


def crossing(direction: Direction, size: SizeClass, at_s: float = 1.0) -> Crossing:
    return Crossing(at_s=at_s, direction=direction, size=size, length_mm=13.0)


def test_a_visit_is_one_wasp_sized_insect_coming_in() -> None:
    visiting = [(d, s) for d in Direction for s in SizeClass if crossing(d, s).is_visit()]
    assert visiting == [(Direction.IN, SizeClass.WASP)]


def test_a_tally_ends_when_its_interval_does() -> None:
    assert tally(1).to_at == NOON_AT + timedelta(seconds=15)


def test_visits_happen_within_the_interval() -> None:
    told = tally(2, crossings=(*visits(0.5, 2.0), crossing(Direction.OUT, SizeClass.WASP, 3.0)))
    assert told.visits_at() == [NOON_AT + timedelta(seconds=15.5), NOON_AT + timedelta(seconds=17)]


def test_more_cannot_be_watched_than_passed() -> None:
    with pytest.raises(ValueError, match="longer than the interval"):
        tally(1, watched_s=16.0)


def test_rounding_may_carry_a_hundredth_of_a_second_past_the_interval_and_no_more() -> None:
    told = tally(1, watched_s=15.01, crossings=visits(15.01))
    assert (told.watched_s, told.crossings[0].at_s) == (15.01, 15.01)
    with pytest.raises(ValueError, match="longer than the interval"):
        tally(1, watched_s=15.0105)
    with pytest.raises(ValueError, match="lies outside the interval"):
        tally(1, crossings=visits(15.0105))


@pytest.mark.parametrize("at_s", [15.1, float("inf"), float("nan")])
def test_a_crossing_lies_within_its_interval(at_s: float) -> None:
    with pytest.raises(ValueError, match="lies outside the interval"):
        tally(1, crossings=visits(at_s))


def test_equal_moments_in_two_zones_are_one_tally() -> None:
    noon_here_at = datetime(2026, 3, 15, 1, 0, tzinfo=UTC) - timedelta(hours=13)
    assert tally(1, start_at=noon_here_at) == tally(1)
