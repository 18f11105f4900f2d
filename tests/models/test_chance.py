"""Chance against published and independently computed values; each table names its source."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2

from swapbell_models.chance import WaldTest, at_least, lucky_window, poisson_limits

# Garwood (1936) exact 95 % limits; the column is SciPy's chi2.ppf. Published anchors: 0 gives 3.689 and 10 gives
# 4.80-18.39 (tables of exact Poisson limits), 25 gives 16.18-36.90.
GARWOOD_95 = {
    0: (0.0, 3.688879),
    1: (0.025318, 5.571643),
    2: (0.242209, 7.224688),
    3: (0.618672, 8.767273),
    4: (1.089865, 10.241589),
    5: (1.623486, 11.668332),
    6: (2.201894, 13.059474),
    7: (2.814363, 14.422675),
    8: (3.453832, 15.763189),
    9: (4.115373, 17.084803),
    10: (4.795389, 18.390356),
    11: (5.49116, 19.682039),
    12: (6.200575, 20.961585),
    13: (6.921952, 22.230396),
    14: (7.65393, 23.489621),
    15: (8.395386, 24.740219),
    16: (9.145382, 25.982998),
    17: (9.903126, 27.218647),
    18: (10.667941, 28.44776),
    19: (11.439241, 29.670854),
    20: (12.21652, 30.888378),
    25: (16.178682, 36.904932),
    30: (20.240874, 42.826865),
    50: (37.110964, 65.918767),
    100: (81.363991, 121.626794),
}

# Poisson probabilities by SciPy's poisson.sf: P(N >= 10), and by arithmetic two windows in a row and two of three.
TEN_OR_MORE = {
    4: (0.008132, 0.0001, 0.0002),
    5: (0.031828, 0.0010, 0.0030),
    6: (0.083924, 0.0070, 0.0199),
    8: (0.283376, 0.0803, 0.1954),
    10: (0.54207, 0.2938, 0.5630),
    12: (0.757608, 0.5740, 0.8522),
    15: (0.930146, 0.8652, 0.9860),
    20: (0.995005, 0.9900, 0.9999),
}
ALSO_TEN_OR_MORE = {
    2: 0.000046,
    3: 0.001102,
    7: 0.169504,
    9: 0.412592,
    11: 0.659489,
    13: 0.834188,
    14: 0.890601,
    16: 0.956702,
    18: 0.984619,
}

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

# Simulated chance that some sliding window of one watched hour reaches ten (20,000 runs, +- 0.007).
SLIDING_HOUR = {3: 0.063, 4: 0.309, 5: 0.698, 6: 0.936}


@pytest.mark.parametrize(("counted", "limits"), GARWOOD_95.items())
def test_exact_limits_are_garwoods(counted: int, limits: tuple[float, float]) -> None:
    assert poisson_limits(counted) == pytest.approx(limits, abs=1e-6)


@given(st.integers(1, 2000), st.floats(0.01, 0.99))
def test_exact_limits_are_half_the_chi_square_quantiles(counted: int, confidence: float) -> None:
    tail = (1 - confidence) / 2
    expected = chi2.ppf(tail, 2 * counted) / 2, chi2.ppf(1 - tail, 2 * counted + 2) / 2
    assert poisson_limits(counted, confidence) == pytest.approx(expected, rel=1e-9)


def test_no_visits_bound_the_mean_at_twice_the_one_sided_risk() -> None:
    # The trap of the tables: one-sided 95 % is 2.996, which is the two-sided 90 %.
    assert poisson_limits(0, 0.90)[1] == pytest.approx(2.996, abs=5e-4)


@pytest.mark.parametrize(("mean", "chances"), TEN_OR_MORE.items())
def test_ten_or_more_in_one_window_in_two_running_and_in_two_of_three(
    mean: int, chances: tuple[float, float, float]
) -> None:
    p = at_least(10, mean)
    assert p == pytest.approx(chances[0], abs=1e-6)
    assert (p**2, p**2 * (3 - 2 * p)) == pytest.approx(chances[1:], abs=5e-5)


@pytest.mark.parametrize(("mean", "chance"), ALSO_TEN_OR_MORE.items())
def test_ten_or_more_at_the_means_between(mean: int, chance: float) -> None:
    assert at_least(10, mean) == pytest.approx(chance, abs=1e-6)


def test_at_least_none_is_certain_and_anything_at_no_traffic_is_not() -> None:
    assert (at_least(0, 0.0), at_least(0, 7.0), at_least(1, 0.0)) == (1.0, 1.0, 0.0)


@pytest.mark.parametrize(("mean", "chance"), SLIDING_HOUR.items())
def test_a_lucky_window_in_an_hour_is_as_likely_as_simulated(mean: int, chance: float) -> None:
    assert lucky_window(10, mean, 12) == pytest.approx(chance, abs=0.007)


@pytest.mark.parametrize(
    ("visits", "mean", "look"), [(2, 0.3, 2), (3, 1.0, 3), (4, 1.5, 3), (10, 5.0, 3), (5, 1.0, 12)]
)
def test_a_lucky_window_is_as_likely_as_in_drawn_traffic(visits: int, mean: float, look: int) -> None:
    draw, runs = np.random.default_rng(20260225), 4000
    looks = (np.sort(draw.uniform(0, look, draw.poisson(mean * look))) for _ in range(runs))
    hits = sum(bool(np.any(t[visits - 1 :] - t[: len(t) - visits + 1] < 1)) for t in looks if len(t) >= visits)
    chance = lucky_window(visits, mean, look)
    assert hits / runs == pytest.approx(chance, abs=4 * math.sqrt(chance * (1 - chance) / runs))


def test_far_above_the_rule_a_full_window_is_certain_and_without_traffic_impossible() -> None:
    assert (lucky_window(10, 100.0, 3), lucky_window(10, 0.0, 3)) == (1.0, 0.0)
    assert 0.99 < lucky_window(10, 15.0, 2) < 0.999


@given(st.integers(2, 40), st.floats(0, 60), st.floats(2, 500))
def test_a_lucky_window_is_a_chance_that_grows_with_the_look_and_shrinks_with_what_is_asked(
    visits: int, mean: float, look: float
) -> None:
    chance = lucky_window(visits, mean, look)
    assert -1e-9 <= lucky_window(visits + 1, mean, look) <= chance + 1e-9
    assert chance <= lucky_window(visits, mean, look + 1) + 1e-9 <= 1 + 2e-9


@pytest.mark.parametrize(("means", "lines"), WALD.items())
def test_walds_limits_are_the_books(
    means: tuple[int, int], lines: tuple[tuple[float, float], list[int | None], list[int]]
) -> None:
    (slope, _), low, high = lines
    test = WaldTest(*means)
    assert test.slope == pytest.approx(slope, abs=1e-6)
    assert [test.accepts_low_to(n) for n in range(1, 13)] == low
    assert [test.accepts_high_from(n) for n in range(1, 13)] == high


def test_unequal_risks_move_walds_two_lines_apart_unequally() -> None:
    # Intercepts of a published plan with alpha 0.10 and beta 0.05 (McAuslane, Ellis & Allen, Can Ent: 13.82 and 17.75
    # about 0.98 n) stand as ln(0.90/0.05) to ln(0.95/0.10), that is 1.28387.
    test = WaldTest(1, math.e, alpha=0.10, beta=0.05)
    above = [test.accepts_high_from(n) - test.slope * n for n in range(1000, 2000)]
    below = [test.slope * n - (test.accepts_low_to(n) or 0) for n in range(1000, 2000)]
    assert min(below) / min(above) == pytest.approx(17.75 / 13.82, abs=2e-3)


@pytest.mark.parametrize(
    ("ask", "named"),
    [
        (lambda: poisson_limits(-1), "counted"),
        (lambda: poisson_limits(3, 0.0), "confidence"),
        (lambda: poisson_limits(3, 1.0), "confidence"),
        (lambda: at_least(3, math.nan), "mean"),
        (lambda: at_least(3, -1.0), "mean"),
        (lambda: lucky_window(1, 5.0, 3), "visits"),
        (lambda: lucky_window(10, math.inf, 3), "mean"),
        (lambda: lucky_window(10, 5.0, 1.5), "look"),
        (lambda: lucky_window(10, 5.0, math.inf), "look"),
        (lambda: WaldTest(5, 5), "high"),
        (lambda: WaldTest(0, 5), "low"),
        (lambda: WaldTest(5, 10, alpha=0.0), "alpha"),
        (lambda: WaldTest(5, 10, alpha=0.5), "alpha"),
        (lambda: WaldTest(5, 10, beta=0.0), "beta"),
        (lambda: WaldTest(5, 10, beta=0.5), "beta"),
        (lambda: WaldTest(5, math.inf), "high"),
    ],
)
def test_what_no_chance_can_be_told_of_is_refused_by_name(ask: Callable[[], object], named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named} must be "):
        ask()
