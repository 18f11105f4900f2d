"""Chance against published and independently computed values; each table names its source."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2, nbinom, norm, poisson
from statsmodels.stats.rates import confint_poisson

from swapbell_models.chance import at_least, deviations, lucky_window, poisson_limits, share_limits

# Newcombe 1998, Stat Med 17:857-872, table I, method 5: exact 95 % limits of four shares.
CLOPPER_PEARSON_95 = {
    (81, 263): (0.2527, 0.3676),
    (15, 148): (0.0578, 0.1617),
    (0, 20): (0.0000, 0.1684),
    (1, 29): (0.0009, 0.1776),
}

# Garwood (1936) exact 95 % limits; the columns are SciPy's chi2.ppf. Published anchors: 0 gives 3.689 and 10 gives
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
    21: (12.999331, 32.100731),
    22: (13.787283, 33.308264),
    23: (14.580027, 34.511293),
    24: (15.377253, 35.710098),
    25: (16.178682, 36.904932),
    26: (16.984063, 38.096024),
    27: (17.79317, 39.283582),
    28: (18.605797, 40.467796),
    29: (19.421755, 41.648837),
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

# Negative binomial chances by SciPy's nbinom.sf: P(N >= 10) for a size k, by the mean.
TEN_OR_MORE_IN_BOUTS = {
    1.0: {
        2: 0.017342,
        4: 0.107374,
        5: 0.161506,
        6: 0.214058,
        8: 0.307946,
        10: 0.385543,
        12: 0.449137,
        15: 0.52446,
        20: 0.613913,
    },
    2.0: {
        2: 0.005859,
        4: 0.075147,
        5: 0.133348,
        6: 0.197097,
        8: 0.322123,
        10: 0.430682,
        12: 0.519856,
        15: 0.622553,
        20: 0.736037,
    },
    5.0: {
        2: 0.001097,
        4: 0.038904,
        5: 0.089783,
        6: 0.158739,
        8: 0.320472,
        10: 0.4755,
        12: 0.603414,
        15: 0.741535,
        20: 0.87016,
    },
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


@pytest.mark.parametrize(
    ("k", "mean", "chance"), [(k, mean, p) for k, row in TEN_OR_MORE_IN_BOUTS.items() for mean, p in row.items()]
)
def test_ten_or_more_where_wasps_come_in_bouts(k: float, mean: int, chance: float) -> None:
    assert at_least(10, mean, k) == pytest.approx(chance, abs=1e-6)


@given(st.integers(0, 60), st.floats(0.01, 60), st.floats(0.05, 1e4))
def test_full_windows_are_as_likely_as_scipys_distributions_say(visits: int, mean: float, k: float) -> None:
    assert at_least(visits, mean) == pytest.approx(poisson.sf(visits - 1, mean), rel=1e-6, abs=1e-12)
    assert at_least(visits, mean, k) == pytest.approx(nbinom.sf(visits - 1, k, k / (k + mean)), rel=1e-6, abs=1e-12)


@pytest.mark.parametrize(
    ("mean", "chance"),
    [
        # One of 12 windows apart, by arithmetic from Poisson's chance of one.
        (3, 0.0131),
        (4, 0.0933),
        (5, 0.3217),
        (6, 0.6507),
    ],
)
def test_ten_or_more_in_one_of_twelve_windows_apart(mean: int, chance: float) -> None:
    assert 1 - (1 - at_least(10, mean)) ** 12 == pytest.approx(chance, abs=5e-5)
    assert chance < lucky_window(10, mean, 12)


@pytest.mark.parametrize(
    ("mean", "chance"),
    [
        # Poisson probabilities by SciPy's poisson.sf: P(N >= 30) at three times the mean.
        (4, 0.0000),
        (5, 0.0004),
        (6, 0.0059),
        (8, 0.1321),
        (10, 0.5243),
        (12, 0.8621),
        (15, 0.9927),
        (20, 1.0000),
    ],
)
def test_thirty_or_more_in_a_quarter_of_an_hour(mean: int, chance: float) -> None:
    assert at_least(30, 3 * mean) == pytest.approx(chance, abs=5e-5)


@given(st.floats(0.01, 0.999))
def test_a_normal_interval_reaches_as_far_as_scipys(confidence: float) -> None:
    assert deviations(confidence) == pytest.approx(norm.ppf((1 + confidence) / 2))


@given(st.integers(0, 500), st.floats(0.5, 0.999))
def test_exact_limits_are_those_of_statsmodels(counted: int, confidence: float) -> None:
    low, high = confint_poisson(counted, 1.0, method="exact-c", alpha=1 - confidence)
    assert poisson_limits(counted, confidence) == pytest.approx((np.nan_to_num(low), high), rel=1e-9)


@pytest.mark.parametrize(("mean", "look"), [(0.5, 2), (1.0, 3), (2.0, 3), (4.0, 2), (4.0, 3)])
def test_two_visits_within_a_window_are_as_likely_as_two_points_within_a_distance(mean: float, look: int) -> None:
    # Of n points dropped on a line of length L no two are closer than 1 with the chance (1 - (n - 1)/L)^n: Feller
    # 1971, An Introduction to Probability Theory, vol. 2, section I.13 (from memory); over Poisson's n.
    none = sum(poisson.pmf(n, mean * look) * (1 - max(n - 1, 0) / look) ** n for n in range(look + 1))
    assert lucky_window(2, mean, look) == pytest.approx(1 - none, abs=1e-9)


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


@pytest.mark.parametrize(
    ("ask", "named"),
    [
        (lambda: poisson_limits(-1), "counted"),
        (lambda: poisson_limits(3, 0.0), "confidence"),
        (lambda: poisson_limits(3, 1.0), "confidence"),
        (lambda: share_limits(1, 2, 0.0), "confidence"),
        (lambda: share_limits(1, 2, 1.0), "confidence"),
        (lambda: share_limits(1, 0), "cases"),
        (lambda: share_limits(3, 2), "hits"),
        (lambda: deviations(1.0), "confidence"),
        (lambda: at_least(3, 1.0, 0.0), "k"),
        (lambda: at_least(3, 1.0, math.nan), "k"),
        (lambda: at_least(3, math.nan), "mean"),
        (lambda: at_least(3, -1.0), "mean"),
        (lambda: lucky_window(1, 5.0, 3), "visits"),
        (lambda: lucky_window(10, math.inf, 3), "mean"),
        (lambda: lucky_window(10, 5.0, 1.5), "look"),
        (lambda: lucky_window(10, 5.0, math.inf), "look"),
    ],
)
def test_what_no_chance_can_be_told_of_is_refused_by_name(ask: Callable[[], object], named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named} must be "):
        ask()


@pytest.mark.parametrize("share", CLOPPER_PEARSON_95)
def test_the_limits_of_a_share_are_the_published_ones(share: tuple[int, int]) -> None:
    assert share_limits(*share) == pytest.approx(CLOPPER_PEARSON_95[share], abs=5e-5)


@given(st.integers(1, 200).flatmap(lambda cases: st.tuples(st.integers(0, cases), st.just(cases))))
def test_the_limits_of_a_share_hold_it_and_mirror_those_of_the_rest(share: tuple[int, int]) -> None:
    hits, cases = share
    low, high = share_limits(hits, cases)
    assert 0.0 <= low <= hits / cases <= high <= 1.0
    assert share_limits(cases - hits, cases) == pytest.approx((1.0 - high, 1.0 - low))


def test_the_limits_of_a_share_close_in_where_little_confidence_is_asked_for() -> None:
    low, high = share_limits(20, 40, 0.05)
    assert low < 0.5 < high
    assert share_limits(20, 40, 0.04)[0] > low
