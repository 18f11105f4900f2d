"""A counter's own errors are taken out of its rate, and never below nothing."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_models.chance import poisson_limits
from swapbell_models.correction import Skill, corrected
from swapbell_models.traffic import Rate

# Ten visits counted in five minutes, with Garwood's exact limits.
TEN = Rate(10.0, *poisson_limits(10))


def test_a_perfect_counter_is_not_corrected() -> None:
    assert corrected(TEN, Skill(1.0, 0.0)) == TEN


def test_what_was_missed_is_added_and_what_was_not_there_is_taken_off() -> None:
    # By arithmetic: (10 - 12/12) / 0.9; 12 false ones in an hour are one in five minutes.
    found = corrected(TEN, Skill(0.9, 12.0))
    assert found.per_window == pytest.approx(9 / 0.9)
    assert (found.low, found.high) == pytest.approx((3.795389 / 0.9, 17.390356 / 0.9), abs=1e-6)


def test_a_longer_window_holds_more_false_visits() -> None:
    assert corrected(TEN, Skill(1.0, 12.0), window_s=600.0).per_window == pytest.approx(8.0)


def test_fewer_than_the_false_ones_are_none() -> None:
    found = corrected(Rate(1.0, *poisson_limits(1)), Skill(0.5, 60.0))
    assert (found.per_window, found.low) == (0.0, 0.0)
    assert found.high == pytest.approx((5.571643 - 5) / 0.5, abs=1e-5)


@given(st.floats(0.05, 1), st.floats(0, 100), st.floats(0, 60))
def test_what_a_counter_makes_of_a_rate_is_undone(recall: float, false_per_h: float, true: float) -> None:
    seen = true * recall + false_per_h / 12
    assert corrected(Rate(seen, seen, seen), Skill(recall, false_per_h)).per_window == pytest.approx(true, abs=1e-9)


@pytest.mark.parametrize("wrong", [0.0, -0.1, 1.1, math.nan, math.inf])
def test_a_recall_that_is_none_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match=rf"^recall must be a number .*, not {wrong}$"):
        Skill(wrong, 0.0)


@pytest.mark.parametrize("wrong", [-0.1, math.nan, math.inf])
def test_a_false_rate_that_is_none_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match=rf"^false_per_h must be a number .*, not {wrong}$"):
        Skill(0.9, wrong)


@pytest.mark.parametrize("wrong", [0.0, -1.0, math.nan, math.inf])
def test_a_window_that_is_none_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match=rf"^window_s must be a number above 0 s, not {wrong}$"):
        corrected(TEN, Skill(0.9, 0.0), window_s=wrong)
