"""After a collapse the look goes on, and a return is told apart from chance."""

from datetime import UTC, datetime

import pytest

from swapbell_models.proof.fall import NOT_DEAD, Count, Fall, fall
from swapbell_models.proof.rebound import Rebound, looks, rebound

SWAPPED_AT = datetime(2026, 1, 15, 9, tzinfo=UTC)
BEFORE = Count(120, 3600.0)


def test_looks_are_due_on_days_4_7_14_and_28() -> None:
    # Common practice, no source.
    assert [(look - SWAPPED_AT).days for look in looks(SWAPPED_AT)] == [4, 7, 14, 28]


def test_a_naive_swap_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^swapped_at must say its offset from UTC"):
        looks(SWAPPED_AT.replace(tzinfo=None))


def test_a_return_to_three_tenths_is_seen() -> None:
    # Visits back to about 30 % after four weeks: Spurr 1991.
    found = rebound(BEFORE, quietest=Count(4, 3600.0), now=Count(36, 3600.0))
    assert found.is_returning
    assert found.words == (
        "Visits are at 30% of what they were before the swap and rising again: "
        "brood that emerged, or other nests. A second round may be needed. "
        "Weather and season are in this: it is held against no control station."
    )


def test_a_return_from_nothing_is_seen() -> None:
    assert rebound(BEFORE, quietest=Count(0, 3600.0), now=Count(12, 3600.0)).is_returning


def test_a_few_visits_more_are_chance() -> None:
    found = rebound(BEFORE, quietest=Count(4, 3600.0), now=Count(8, 3600.0))
    assert not found.is_returning
    assert found.words == (
        "Visits are at 7% of what they were before the swap; no return is seen so far. "
        f"Weather and season are in this: it is held against no control station. {NOT_DEAD}"
    )


def test_what_better_weather_does_to_control_stations_too_is_no_return() -> None:
    bare = BEFORE, Count(10, 3600.0), Count(60, 3600.0)
    assert rebound(*bare).is_returning
    found = rebound(*bare, control=(Count(200, 3600.0), Count(20, 3600.0), Count(120, 3600.0)))
    assert not found.is_returning
    # Henderson and Tilton 1955, by plain arithmetic: 60 of 120 where the control kept 120 of 200.
    assert found.against_before.ratio == pytest.approx(60 * 200 / (120 * 120))
    assert found.words.startswith("Visits are at 83% of what they were before the swap against the control stations;")
    assert "Weather and season" not in found.words


def test_what_comes_back_while_control_stations_stay_is_a_return() -> None:
    steady = (Count(200, 3600.0), Count(190, 3600.0), Count(210, 3600.0))
    found = rebound(BEFORE, Count(4, 3600.0), Count(60, 3600.0), control=steady)
    assert found.is_returning
    assert "against the control stations and rising again: brood that emerged, or other nests" in found.words
    assert "Weather and season" not in found.words


def test_the_return_begins_where_the_limits_leave_the_quietest() -> None:
    # The upper limits of the ratio of the quietest to now are 1.0998 and 0.9960.
    assert not rebound(BEFORE, quietest=Count(4, 3600.0), now=Count(12, 3600.0)).is_returning
    assert rebound(BEFORE, quietest=Count(4, 3600.0), now=Count(13, 3600.0)).is_returning


def test_without_word_of_bouts_visits_are_taken_as_poisson() -> None:
    found = rebound(BEFORE, quietest=Count(4, 3600.0), now=Count(36, 3600.0))
    assert found.against_before == fall(BEFORE, Count(36, 3600.0), fano=1.0)


def test_limits_that_touch_the_quietest_are_no_return() -> None:
    assert not Rebound(Fall(0.5, 0.4, 0.6), Fall(0.5, 0.2, 1.0)).is_returning


def test_nobody_at_all_is_no_return() -> None:
    assert not rebound(BEFORE, quietest=Count(0, 3600.0), now=Count(0, 3600.0)).is_returning


def test_bouts_make_a_return_harder_to_see() -> None:
    look = (BEFORE, Count(8, 3600.0), Count(24, 3600.0))
    assert rebound(*look).is_returning
    assert not rebound(*look, fano=4.0).is_returning


def test_without_visits_before_the_share_is_unknown() -> None:
    found = rebound(Count(0, 3600.0), quietest=Count(1, 3600.0), now=Count(2, 3600.0))
    assert found.words.startswith("Visits are of an unknown share of what they were")
