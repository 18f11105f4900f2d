"""Agreement is told by its limits: the published peak flow readings come out as published."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from swapbell_models.comparison.agreement import Concordance, Estimate, check_table, concordance, limits_of_agreement

# Bland and Altman 1986, Lancet 327:307-310: peak flow of 17 people by two meters, first readings (from memory).
WRIGHT = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]

readings = st.lists(st.tuples(st.integers(0, 100), st.integers(0, 100)), min_size=3, max_size=30)


def span(estimate: Estimate) -> tuple[float, float, float]:
    """Return an estimate that could be computed, with its limits."""
    assert estimate.value is not None
    assert estimate.low is not None
    assert estimate.high is not None
    return estimate.value, estimate.low, estimate.high


def test_the_published_bias_and_standard_deviation() -> None:
    # Paper: -2.1 and 38.8; the digits by SciPy.
    found = limits_of_agreement(WRIGHT, MINI)
    assert found.things == 17
    assert found.sd == pytest.approx(38.76513, abs=5e-6)
    assert span(found.bias) == pytest.approx((-2.117647, -22.0488, 17.8135), abs=1e-4)


def test_the_published_limits_of_agreement() -> None:
    # Paper, with 2 SD: -79.7 and 75.5. With 1.96 SD as in Bland and Altman 1999: -78.0973 and 73.8620.
    found = limits_of_agreement(WRIGHT, MINI)
    lower, upper = span(found.lower)[0], span(found.upper)[0]
    assert (lower, upper) == pytest.approx((-78.097302, 73.862007), abs=1e-6)
    widening = (2 - 1.96) * found.sd
    assert (lower - widening, upper + widening) == pytest.approx((-79.647907, 75.412613), abs=1e-6)


def test_the_limits_have_limits_of_their_own() -> None:
    # t of 16 degrees of freedom, 2.1199, times the standard error 16.2846 of Bland and Altman 1986.
    found = limits_of_agreement(WRIGHT, MINI)
    for edge in (found.lower, found.upper):
        value, low, high = span(edge)
        assert high - value == pytest.approx(value - low)
        assert high - value == pytest.approx(2.1199 * 16.2846, abs=2e-3)


def test_lins_concordance_of_the_same_readings() -> None:
    # By Lin 1989 with variances over n; with n - 1 it would be 0.942752.
    found = concordance(WRIGHT, MINI)
    assert found.concordance.value == pytest.approx(0.942742, abs=5e-7)
    assert found.concordance.value == pytest.approx(0.942752, abs=2e-5)
    assert found.precision == pytest.approx(0.943279, abs=5e-7)
    assert found.accuracy == pytest.approx(0.999431, abs=5e-7)
    assert found.scale_shift == pytest.approx(1.028268, abs=5e-7)
    assert found.location_shift == pytest.approx(-0.019030, abs=5e-7)


def test_lins_limits_by_the_z_transform() -> None:
    # By arithmetic from Lin 1989, there with variances over n - 1: 0.850516-0.978730.
    _, low, high = span(concordance(WRIGHT, MINI).concordance)
    assert (low, high) == pytest.approx((0.850516, 0.978730), abs=3e-5)


def test_lins_limits_where_one_counter_is_always_ahead() -> None:
    # Lin 1989 arranged the other way: the variance of the coefficient first, then that of its z-transform.
    ahead = [reading + 90 for reading in MINI]
    found = concordance(WRIGHT, ahead)
    value, low, high = span(found.concordance)
    assert found.precision is not None
    assert found.location_shift is not None
    r, u = found.precision, found.location_shift
    spread = (1 - r**2) * value**2 * (1 - value**2) / r**2
    shift = 2 * value**3 * (1 - value) * u**2 / r
    tilt = 0.5 * value**4 * u**4 / r**2
    reach = 1.959964 * math.sqrt((spread + shift - tilt) / 15) / (1 - value**2)
    assert u < -0.8
    assert (low, high) == pytest.approx((math.tanh(math.atanh(value) - reach), math.tanh(math.atanh(value) + reach)))


def test_a_correlation_of_0_94_is_no_agreement() -> None:
    # The paper's own lesson: r = 0.94, and readings that differ by up to 80 of about 450.
    found = concordance(WRIGHT, MINI)
    assert found.precision is not None
    assert round(found.precision, 2) == 0.94
    assert found.word == "moderate"
    assert span(limits_of_agreement(WRIGHT, MINI).upper)[0] > 70


@pytest.mark.parametrize(
    ("word", "values"),
    [
        ("poor", [-0.5, 0.8999]),
        ("moderate", [0.90, 0.9499]),
        ("substantial", [0.95, 0.9899]),
        ("almost perfect", [0.99, 1.0]),
        ("unknown", [None]),
    ],
)
def test_mcbrides_words(word: str, values: list[float | None]) -> None:
    assert {Concordance(Estimate(value)).word for value in values} == {word}


@given(readings)
def test_concordance_is_precision_times_accuracy_and_no_better_than_either(pairs: list[tuple[int, int]]) -> None:
    first, second = zip(*pairs, strict=True)
    found = concordance(first, second)
    value = found.concordance.value
    if value is not None and found.precision is not None and found.accuracy is not None:
        assert value == pytest.approx(found.precision * found.accuracy)
        assert abs(value) <= abs(found.precision) + 1e-12
        assert 0 < found.accuracy <= 1 + 1e-12


@given(readings)
def test_the_bias_is_that_of_a_paired_t_test(pairs: list[tuple[int, int]]) -> None:
    first, second = zip(*pairs, strict=True)
    found = limits_of_agreement(first, second)
    if found.sd:
        interval = stats.ttest_rel(first, second).confidence_interval(0.95)
        assert span(found.bias)[1:] == pytest.approx((interval.low, interval.high), abs=1e-9)


@given(readings)
def test_exchanging_the_readings_turns_the_bias(pairs: list[tuple[int, int]]) -> None:
    first, second = zip(*pairs, strict=True)
    one, two = limits_of_agreement(first, second), limits_of_agreement(second, first)
    assert span(one.lower)[0] == pytest.approx(-span(two.upper)[0], abs=1e-9)


def test_the_same_readings_agree_wholly_without_limits() -> None:
    found = concordance(WRIGHT, WRIGHT)
    assert found.concordance.value == pytest.approx(1.0)
    assert limits_of_agreement(WRIGHT, WRIGHT).sd == 0.0


def test_readings_that_never_change_have_no_concordance() -> None:
    found = concordance([5, 5, 5], [4, 5, 6])
    assert (found.concordance.value, found.word) == (None, "unknown")


def test_more_confidence_means_wider_limits() -> None:
    sure = limits_of_agreement(WRIGHT, MINI, confidence=0.99)
    assert span(sure.bias)[1] < -22.05
    assert span(concordance(WRIGHT, MINI, confidence=0.99).concordance)[1] < 0.8505


def test_readings_must_be_pairs() -> None:
    with pytest.raises(ValueError, match=r"^second must have as many readings as first, 3, not 2$"):
        limits_of_agreement([1, 2, 3], [1, 2])


def test_a_single_reading_of_each_thing_is_no_comparison() -> None:
    with pytest.raises(ValueError, match=r"^readings must be 2 or more of each thing"):
        check_table([(1,), (2,), (3,)], 0.95)


def test_two_things_are_too_few() -> None:
    with pytest.raises(ValueError, match=r"^readings must be of 3 things or more, not 2$"):
        limits_of_agreement([1, 2], [1, 2])
    assert limits_of_agreement([1, 2, 3], [1, 2, 3]).things == 3


@pytest.mark.parametrize("wrong", [math.nan, math.inf])
def test_a_reading_that_is_no_number_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match=rf"^readings must be finite numbers, not {wrong}$"):
        concordance([1, 2, wrong], [1, 2, 3])


def test_a_confidence_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^confidence must be above 0 and below 1, not 95$"):
        limits_of_agreement(WRIGHT, MINI, confidence=95)
