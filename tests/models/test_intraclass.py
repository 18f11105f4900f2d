"""The intraclass correlation comes out as published, and agrees with Lin's by arithmetic."""

from statistics import covariance, fmean, variance

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from swapbell_models.comparison.agreement import Estimate
from swapbell_models.comparison.intraclass import intraclass

# Shrout and Fleiss 1979, Psychol Bull 86:420-428: six things by four judges (from memory); ICC(2,1) = 0.29.
JUDGED = [(9, 2, 5, 8), (6, 1, 3, 2), (8, 4, 6, 8), (7, 1, 2, 6), (10, 5, 6, 9), (6, 2, 4, 7)]


def test_the_published_example() -> None:
    found = intraclass(JUDGED)
    assert found.value == pytest.approx(0.29, abs=0.005)
    assert found.value == pytest.approx(0.289764, abs=5e-7)  # pingouin 0.6, ICC(A,1)
    assert found.low == pytest.approx(0.02, abs=0.005)  # the same
    assert found.high == pytest.approx(0.76, abs=0.005)


@pytest.mark.parametrize("table", [JUDGED, [(3, 4, 5), (10, 9, 14), (6, 8, 7), (15, 14, 19), (1, 1, 3)]])
def test_the_limits_as_shrout_and_fleiss_arrange_them(table: list[tuple[int, ...]]) -> None:
    # Shrout and Fleiss 1979, the interval of ICC(2,1), from the mean squares of a two-way table by NumPy.
    values = np.array(table, dtype=float)
    n, k = values.shape
    things, judges = values.mean(axis=1, keepdims=True), values.mean(axis=0, keepdims=True)
    bms, jms = k * things.var(ddof=1), n * judges.var(ddof=1)
    ems = ((values - things - judges + values.mean()) ** 2).sum() / ((n - 1) * (k - 1))
    icc = (bms - ems) / (bms + (k - 1) * ems + k * (jms - ems) / n)
    whole = n * (1 + (k - 1) * icc) - k * icc
    nu = (k - 1) * (n - 1) * (k * icc * jms / ems + whole) ** 2 / ((n - 1) * (k * icc * jms / ems) ** 2 + whole**2)
    lower, upper = stats.f.ppf(0.975, n - 1, nu), stats.f.ppf(0.975, nu, n - 1)
    rest = k * jms + (k * n - k - n) * ems
    found = intraclass(table)
    assert found.value == pytest.approx(icc)
    assert found.low == pytest.approx(n * (bms - lower * ems) / (lower * rest + n * bms))
    assert found.high == pytest.approx(n * (upper * bms - ems) / (rest + n * upper * bms))


@given(st.lists(st.tuples(st.integers(0, 100), st.integers(0, 100)), min_size=3, max_size=20))
def test_two_counters_agree_nearly_as_lin_says(pairs: list[tuple[int, int]]) -> None:
    # By arithmetic of the mean squares for two counters: Lin's denominator less the error of the mean difference.
    first, second = zip(*pairs, strict=True)
    both, difference = variance(first) + variance(second), fmean(first) - fmean(second)
    cross = 2 * covariance(first, second)
    whole = both + difference**2 - (both - cross) / len(pairs)
    found = intraclass(pairs).value
    assert found == pytest.approx(cross / whole, abs=1e-9) if found is not None else abs(whole) < 1e-9


@given(st.lists(st.tuples(*[st.integers(0, 30)] * 3), min_size=3, max_size=12))
def test_the_limits_lie_around_the_value(table: list[tuple[int, int, int]]) -> None:
    found = intraclass(table)
    if found.value is not None and found.low is not None and found.high is not None:
        assert found.low <= found.value + 1e-9
        assert found.value <= found.high + 1e-9 <= 1 + 2e-9


def test_a_counter_who_is_always_two_ahead_agrees_less_than_wholly() -> None:
    found = intraclass([(1, 3), (5, 7), (9, 11)])
    assert found.value is not None
    assert 0.8 < found.value < 1.0
    assert found.low is None


def test_counters_no_better_than_chance_have_no_limits() -> None:
    found = intraclass([(0, 0, 3), (0, 0, 3), (0, 1, 2)])
    assert found.value == pytest.approx(-0.05)
    assert (found.low, found.high) == (None, None)


def test_counters_who_agree_just_as_chance_has_it_have_no_limits() -> None:
    assert intraclass([(0, 0), (0, 0), (0, 1)]) == Estimate(0.0)


def test_counters_who_agree_hardly_at_all_have_wide_limits() -> None:
    found = intraclass([(0, 0), (0, 3), (1, 2)])
    assert found.value == pytest.approx(1 / 11)
    assert found.low is not None
    assert found.low < 0.0


def test_the_same_counts_agree_wholly() -> None:
    assert intraclass([(1, 1), (5, 5), (9, 9)]).value == 1.0


def test_counts_that_never_differ_say_nothing() -> None:
    assert intraclass([(4, 4), (4, 4), (4, 4)]).value is None


def test_less_confidence_means_narrower_limits() -> None:
    wide, narrow = intraclass(JUDGED), intraclass(JUDGED, confidence=0.8)
    assert wide.low is not None
    assert narrow.low is not None
    assert wide.low < narrow.low


@pytest.mark.parametrize("table", [[(1, 2), (3, 4), (5,)], [(1,), (2,), (3,)], [(), (), ()]])
def test_an_uneven_or_narrow_table_is_refused(table: list[tuple[int, ...]]) -> None:
    with pytest.raises(ValueError, match=r"^readings must be 2 or more of each thing and as many of every one, not"):
        intraclass(table)
