"""The shapes of growth against arithmetic, and a belief of a few known possibilities."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swapbell_models.forecasting.growth import Belief, Branch, Growth, relative

# One station whose traffic doubles each hour: watched for an hour that ends at one visit per 5 min.
DOUBLING = Branch(Growth.EXPONENTIAL, np.array([math.log(2.0)]), np.array([[12.0]]), np.array([[1.0]]))


def two_levels(low: float, high: float, share_of_low: float) -> Belief:
    weight = np.array([[share_of_low, 1.0 - share_of_low]])
    return Belief((Branch(Growth.NONE, np.zeros(1), np.array([[low, high]]), weight),), 0.0)


def test_traffic_that_doubles_each_hour_grows_tenfold_in_ln_10_over_ln_2_hours() -> None:
    # Worked by hand: ln 10 / ln 2 = 3.3219 h.
    position = 1.0 + np.arange(0.0, 5.0, 0.001)
    chances = Belief((DOUBLING,), 0.0).first(position, np.ones(len(position)), 120.0)
    assert position[chances.argmax()] - 1.0 == pytest.approx(3.3219, abs=0.001)


def test_linear_traffic_goes_on_by_the_same_amount() -> None:
    assert relative(Growth.LINEAR, np.array([0.25]), np.array([0.0, 0.5, 1.0, 2.0])).tolist() == [
        [0.25, 0.625, 1.0, 1.75]
    ]


def test_exponential_traffic_goes_on_by_the_same_factor() -> None:
    found = relative(Growth.EXPONENTIAL, np.array([math.log(4.0)]), np.array([0.0, 0.5, 1.0, 2.0]))
    assert found == pytest.approx(np.array([[0.25, 0.5, 1.0, 4.0]]))


def test_without_growth_all_stays() -> None:
    assert relative(Growth.NONE, np.zeros(1), np.array([0.0, 1.0, 9.0])).tolist() == [[1.0, 1.0, 1.0]]


def test_a_rate_is_first_reached_where_growth_times_activity_reaches_it() -> None:
    activity = np.array([0.4, 1.0, 0.4, 1.0])
    assert two_levels(50.0, 120.0, 0.3).first(np.ones(4), activity, 120.0) == pytest.approx([0.0, 0.7, 0.0, 0.0, 0.3])


def test_what_is_never_reached_stands_last() -> None:
    assert two_levels(50.0, 60.0, 0.3).first(np.ones(2), np.ones(2), 61.0) == pytest.approx([0.0, 0.0, 1.0])


def test_what_is_reached_at_once_stands_first() -> None:
    assert two_levels(50.0, 60.0, 0.3).first(np.ones(2), np.ones(2), 50.0) == pytest.approx([1.0, 0.0, 0.0])


def test_limits_are_the_quantiles_of_what_is_possible() -> None:
    assert (
        two_levels(50.0, 60.0, 0.3).limits(np.ones(2), (0.1, 0.29, 0.31, 0.9)).tolist()
        == [[50.0, 50.0, 60.0, 60.0]] * 2
    )


def test_the_shares_of_the_shapes_are_their_weights() -> None:
    half = Branch(DOUBLING.growth, DOUBLING.bend, DOUBLING.level, DOUBLING.weight / 2.0)
    none = Branch(Growth.NONE, np.zeros(1), np.array([[3.0]]), np.array([[0.5]]))
    assert Belief((none, half), 0.0).shares == {Growth.NONE: 0.5, Growth.EXPONENTIAL: 0.5}


@given(st.sampled_from(list(Growth)), st.floats(0.0, 1.0))
def test_every_shape_is_whole_at_the_end_of_the_watch(growth: Growth, bend: float) -> None:
    assert relative(growth, np.array([bend]), np.ones(1))[0, 0] == pytest.approx(1.0)


@given(st.sampled_from(list(Growth)), st.floats(0.0, 1.0), st.floats(0.0, 5.0), st.floats(0.0, 5.0))
def test_no_shape_falls(growth: Growth, bend: float, one: float, other: float) -> None:
    earlier, later = relative(growth, np.array([bend]), np.array(sorted((one, other))))[0]
    assert earlier <= later + 1e-12


@given(st.floats(1.0, 500.0), st.floats(1.0, 500.0))
def test_a_higher_rate_is_reached_no_earlier(one: float, other: float) -> None:
    position = 1.0 + np.arange(0.0, 6.0, 0.1)
    chances = [Belief((DOUBLING,), 0.0).first(position, np.ones(60), need) for need in sorted((one, other))]
    assert chances[0].argmax() <= chances[1].argmax()
