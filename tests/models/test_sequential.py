"""Wald's test goes on between two lines: the book's for steady traffic, a published plan's for bouts."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from swapbell_models.sequential import WaldTest

# Wald (1947): total that accepts the low mean, and the high one, after 1 to 12 windows, at 5 % either way; the lines
# are the book's formulas by plain arithmetic.
WALD = {
    (1, 2): (
        (1.442695, 4.247928),
        [None, None, 0, 1, 2, 4, 5, 7, 8, 10, 11, 13],
        [6, 8, 9, 11, 12, 13, 15, 16, 18, 19, 21, 22],
    ),
    (2, 5): (
        (3.274070, 3.213433),
        [0, 3, 6, 9, 13, 16, 19, 22, 26, 29, 32, 36],
        [7, 10, 14, 17, 20, 23, 27, 30, 33, 36, 40, 43],
    ),
    (4, 10): (
        (6.548140, 3.213433),
        [3, 9, 16, 22, 29, 36, 42, 49, 55, 62, 68, 75],
        [10, 17, 23, 30, 36, 43, 50, 56, 63, 69, 76, 82],
    ),
    (5, 10): (
        (7.213475, 4.247928),
        [2, 10, 17, 24, 31, 39, 46, 53, 60, 67, 75, 82],
        [12, 19, 26, 34, 41, 48, 55, 62, 70, 77, 84, 91],
    ),
    (6, 12): (
        (8.656170, 4.247928),
        [4, 13, 21, 30, 39, 47, 56, 65, 73, 82, 90, 99],
        [13, 22, 31, 39, 48, 57, 65, 74, 83, 91, 100, 109],
    ),
    (8, 12): (
        (9.865214, 7.261880),
        [2, 12, 22, 32, 42, 51, 61, 71, 81, 91, 101, 111],
        [18, 27, 37, 47, 57, 67, 77, 87, 97, 106, 116, 126],
    ),
}

# A plan for beetles in maize by the negative binomial, alpha 0.10 and beta 0.05: McAuslane, Ellis and Allen, The
# Canadian Entomologist, abstract. Slope, and how far the upper and the lower line lie from it. The risks are worked
# back from the ratio of the two; the means and k are not in the abstract.
PLANS = {"fields in their first year": (0.98, 13.82, 17.75), "older fields": (0.99, 10.45, 13.42)}


@pytest.mark.parametrize(("means", "lines"), WALD.items())
def test_walds_limits_are_the_books(
    means: tuple[int, int], lines: tuple[tuple[float, float], list[int | None], list[int]]
) -> None:
    (slope, intercept), low, high = lines
    test = WaldTest(*means)
    assert (test.slope, test.above, test.below) == pytest.approx((slope, intercept, intercept), abs=1e-6)
    assert [test.accepts_low_to(n) for n in range(1, 13)] == low
    assert [test.accepts_high_from(n) for n in range(1, 13)] == high


@pytest.mark.parametrize("plan", PLANS)
@pytest.mark.parametrize("k", [0.5, 2.0, 20.0])
def test_the_lines_of_a_published_plan_for_bouts(plan: str, k: float) -> None:
    # Two means that give the published slope and upper line, whatever k was, give the published lower line.
    slope, above, below = PLANS[plan]

    def off(logs: list[float]) -> list[float]:
        low, factor = np.exp(logs)
        test = WaldTest(low, low * (1 + factor), alpha=0.10, beta=0.05, k=k)
        return [test.slope - slope, test.above / above - 1]

    low, factor = np.exp(optimize.fsolve(off, [math.log(0.8), math.log(0.3)], xtol=1e-12))
    test = WaldTest(low, low * (1 + factor), alpha=0.10, beta=0.05, k=k)
    assert (test.slope, test.above) == pytest.approx((slope, above), abs=1e-9)
    assert test.below == pytest.approx(below, abs=0.015)  # printed to two digits, the ratio to as many


@given(st.floats(0.5, 20), st.floats(1.05, 4), st.floats(0.2, 50), st.integers(1, 12), st.integers(0, 200))
def test_the_lines_are_where_the_likelihoods_stand_as_the_risks_say(
    low: float, factor: float, k: float, windows: int, total: int
) -> None:
    # SciPy's negative binomial: a total over n windows has n times the size, and the same ratio as its windows.
    test, size = WaldTest(low, low * factor, alpha=0.10, beta=0.05, k=k), windows * k
    one, other = (stats.nbinom.logpmf(total, size, k / (k + mean)) for mean in (test.low, test.high))
    share = (total - test.slope * windows) / test.above
    assert other - one == pytest.approx(share * math.log(0.95 / 0.10), rel=1e-6, abs=1e-6)


def test_bouts_so_small_that_they_are_none_leave_the_lines_where_they_are() -> None:
    steady, smooth = WaldTest(5, 10), WaldTest(5, 10, k=1e9)
    assert (smooth.slope, smooth.above) == pytest.approx((steady.slope, steady.above), rel=1e-7)


def test_unequal_risks_move_the_two_lines_apart_unequally() -> None:
    test = WaldTest(1, math.e, alpha=0.10, beta=0.05)
    assert (test.above, test.below) == pytest.approx((math.log(0.95 / 0.10), math.log(0.90 / 0.05)))


@pytest.mark.parametrize(
    ("ask", "named"),
    [
        (lambda: WaldTest(5, 5), "high"),
        (lambda: WaldTest(0, 5), "low"),
        (lambda: WaldTest(math.nan, 5), "low"),
        (lambda: WaldTest(5, math.inf), "high"),
        (lambda: WaldTest(5, 10, alpha=0.0), "alpha"),
        (lambda: WaldTest(5, 10, alpha=0.5), "alpha"),
        (lambda: WaldTest(5, 10, beta=0.0), "beta"),
        (lambda: WaldTest(5, 10, beta=0.5), "beta"),
        (lambda: WaldTest(5, 10, k=0.0), "k"),
        (lambda: WaldTest(5, 10, k=math.nan), "k"),
    ],
)
def test_means_and_risks_that_are_none_are_refused_by_name(ask: Callable[[], object], named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named} must be "):
        ask()


def test_means_just_above_zero_are_means() -> None:
    assert WaldTest(0.05, 0.1, k=0.05).slope > 0
