"""A fall comes with limits that hold what they promise, and with the words that quiet is not dead."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from swapbell_models.proof.efficacy import Undefined, henderson_tilton
from swapbell_models.proof.fall import NOT_DEAD, Count, Fall, fall, fall_against_control, pooled

MINUTE = 60.0


def limits(found: Fall) -> tuple[float, float]:
    """Return both limits of a ratio that could be computed."""
    assert found.low is not None
    assert found.high is not None
    return found.low, found.high


def test_the_published_comparison_of_two_rates() -> None:
    # R help of poisson.test, c(11, 21) events in c(800, 3011): ratio 1.971488, 0.8584264-4.2772659, p 0.07967.
    found = fall(Count(21, 3011.0), Count(11, 800.0))
    assert found.ratio == pytest.approx(1.971488, abs=5e-7)
    assert limits(found) == pytest.approx((0.8584264, 4.2772659), abs=1e-6)
    assert found.p == pytest.approx(0.07967, abs=5e-6)


@pytest.mark.parametrize(
    ("after", "after_min", "before", "before_min", "ratio", "low", "high"),
    [
        # Clopper and Pearson 1934 by SciPy's beta quantiles, over the odds.
        (6, 5, 120, 5, 0.05, 0.017991, 0.112057),
        (3, 5, 100, 5, 0.03, 0.006084, 0.090233),
        (0, 5, 50, 5, 0.0, 0.0, 0.076567),
        (1, 5, 20, 5, 0.05, 0.001206, 0.312611),
        (0, 5, 10, 5, 0.0, 0.0, 0.446126),
        (0, 60, 10, 5, 0.0, 0.0, 0.037177),
        (5, 30, 40, 60, 0.25, 0.077009, 0.633436),
    ],
)
def test_the_limits_of_a_fall(
    after: int, after_min: int, before: int, before_min: int, ratio: float, low: float, high: float
) -> None:
    found = fall(Count(before, before_min * MINUTE), Count(after, after_min * MINUTE))
    assert found.ratio == pytest.approx(ratio)
    assert limits(found) == pytest.approx((low, high), abs=1e-6)


def test_the_chance_of_a_fall_by_a_quarter() -> None:
    # The exact binomial test of SciPy.
    found = fall(Count(40, 60 * MINUTE), Count(5, 30 * MINUTE))
    assert found.p == pytest.approx(0.001243, abs=5e-7)


@given(st.integers(1, 300), st.integers(0, 300), st.floats(60.0, 7200.0), st.floats(60.0, 7200.0))
def test_the_limits_are_those_of_the_beta_quantiles(before: int, after: int, before_s: float, after_s: float) -> None:
    share_low = stats.beta.ppf(0.025, after, before + 1) if after else 0.0
    share_high = stats.beta.ppf(0.975, after + 1, before)
    expected = [share / (1 - share) * before_s / after_s for share in (share_low, share_high)]
    assert limits(fall(Count(before, before_s), Count(after, after_s))) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        (120, 6, "Visits: a fall by 95.0% (95% limits: a fall by 88.8% to a fall by 98.2%). Quiet is not dead"),
        (6, 120, "Visits: a rise by 1900.0% (95% limits: a rise by 5458.3% to a rise by 792.4%). Quiet is not"),
        (
            10,
            8,
            "Visits: a fall by 20.0% (95% limits: a rise by 125.1% to a fall by 72.6%). That can be chance: watch",
        ),
        (10, 0, "Visits: a fall by 100.0% (95% limits: a fall by 55.4% to a fall by 100.0%). Quiet is not dead"),
    ],
)
def test_a_fall_is_told_with_its_limits(before: int, after: int, told: str) -> None:
    assert fall(Count(before, 300.0), Count(after, 300.0)).words.startswith(told)


@pytest.mark.parametrize(
    ("found", "told"),
    [
        (Fall(1.05, 1.02, 1.08), "a rise by 5.0% (95% limits: a rise by 8.0% to a rise by 2.0%). Quiet"),
        (Fall(0.95, 0.92, 0.98), "a fall by 5.0% (95% limits: a fall by 2.0% to a fall by 8.0%). Quiet"),
        (Fall(0.95, 0.92, 1.02), "a fall by 5.0% (95% limits: a rise by 2.0% to a fall by 8.0%). That can be chance"),
        (Fall(1.0, 1.0, 1.0), "a fall by 0.0% (95% limits: a fall by 0.0% to a fall by 0.0%). That can be chance"),
    ],
)
def test_a_small_change_is_told_for_what_it_is(found: Fall, told: str) -> None:
    assert told in found.words


def test_every_fall_ends_with_quiet_is_not_dead() -> None:
    assert fall(Count(10, 300.0), Count(8, 300.0)).words.endswith(f"watch longer. {NOT_DEAD}")


def test_quiet_is_not_dead_tells_the_published_trial() -> None:
    # Howse et al. 2024, doi 10.1007/s10340-024-01788-9.
    assert "96.5 %" in NOT_DEAD
    assert "29.8 %" in NOT_DEAD


def test_without_visits_before_there_is_no_fall() -> None:
    found = fall(Count(0, 300.0), Count(5, 300.0))
    assert (found.ratio, found.low, found.high, found.undefined) == (None, None, None, Undefined.TREATED_BEFORE)
    assert found.words == "The fall cannot be computed: no visits to the treated stations before."


def test_the_interval_narrows_with_less_confidence() -> None:
    narrow = fall(Count(120, 300.0), Count(6, 300.0), confidence=0.8)
    low, high = limits(narrow)
    assert 0.017991 < low < 0.05 < high < 0.112057
    assert "80% limits" in narrow.words


def test_overdispersion_widens_the_limits_by_its_root() -> None:
    plain, wide = (limits(fall(Count(120, 300.0), Count(6, 300.0), fano)) for fano in (1.0, 4.0))
    centre = 6.5 / 120.5
    for exact, stretched in zip(plain, wide, strict=True):
        assert math.log(stretched / centre) == pytest.approx(2 * math.log(exact / centre))
    assert fall(Count(120, 300.0), Count(6, 300.0), 4.0).p is None


def test_overdispersion_stretches_from_the_ratio_of_the_rates() -> None:
    even, half = (fall(Count(120, 300.0), Count(6, watched_s), 4.0) for watched_s in (300.0, 150.0))
    assert [2 * limit for limit in limits(even)] == pytest.approx(limits(half))


@pytest.mark.parametrize("fano", [2.0, 4.0])
def test_the_widened_limits_hold_what_they_promise(fano: float) -> None:
    # Negative binomial counts of mean m with variance fano x m, seeded; the true ratio is 0.25.
    rng, held, runs = np.random.default_rng(7), 0, 400
    for _ in range(runs):
        before, after = (int(rng.negative_binomial(m / (fano - 1), 1 / fano)) for m in (80, 20))
        low, high = limits(fall(Count(max(before, 1), 300.0), Count(after, 300.0), fano))
        held += low <= 0.25 <= high
    assert held / runs >= 0.917  # 0.95 less three errors of the simulation


def test_a_fall_against_control_is_that_of_henderson_and_tilton() -> None:
    found = fall_against_control((Count(300, 60.0), Count(60, 60.0)), (Count(200, 60.0), Count(400, 60.0)))
    expected = henderson_tilton(300, 60, 200, 400).fraction
    assert expected is not None
    assert found.ratio == pytest.approx(1 - expected)


@settings(max_examples=25)
@given(st.integers(1, 60), st.integers(0, 60), st.integers(1, 60), st.integers(1, 60))
def test_a_control_of_the_same_effort_gives_fishers_limits(tb: int, ta: int, cb: int, ca: int) -> None:
    found = fall_against_control((Count(tb, 60.0), Count(ta, 60.0)), (Count(cb, 60.0), Count(ca, 60.0)))
    fisher = stats.contingency.odds_ratio([[ta, tb], [ca, cb]]).confidence_interval(0.95)
    assert limits(found) == pytest.approx((fisher.low, fisher.high), rel=1e-6)


@settings(max_examples=25)
@given(st.floats(60.0, 7200.0), st.floats(60.0, 7200.0))
def test_watched_time_divides_out_where_both_were_watched_alike(before_s: float, after_s: float) -> None:
    even = fall_against_control((Count(120, 60.0), Count(6, 60.0)), (Count(110, 60.0), Count(99, 60.0)))
    other = fall_against_control(
        (Count(120, before_s), Count(6, after_s)), (Count(110, before_s), Count(99, after_s))
    )
    assert limits(other) == pytest.approx(limits(even))
    assert other.ratio == pytest.approx(even.ratio)


def test_watched_time_counts_where_it_differs() -> None:
    found = fall_against_control((Count(100, 60.0), Count(20, 120.0)), (Count(50, 60.0), Count(50, 60.0)))
    even = fall_against_control((Count(100, 60.0), Count(20, 60.0)), (Count(50, 60.0), Count(50, 60.0)))
    assert found.ratio == pytest.approx(0.1)
    assert [2 * limit for limit in limits(found)] == pytest.approx(limits(even))


def test_limits_are_exact_up_to_2000_visits_and_nearly_the_same_beyond() -> None:
    exact = stats.contingency.odds_ratio([[200, 600], [600, 600]]).confidence_interval(0.95)
    upto = fall_against_control((Count(600, 60.0), Count(200, 60.0)), (Count(600, 60.0), Count(600, 60.0)))
    beyond = fall_against_control((Count(600, 60.0), Count(200, 60.0)), (Count(600, 60.0), Count(601, 60.0)))
    assert limits(upto) == pytest.approx((exact.low, exact.high), rel=1e-6)
    assert limits(beyond) != pytest.approx((exact.low, exact.high), rel=4e-3)
    assert limits(beyond) == pytest.approx((exact.low, exact.high), rel=0.01)


def test_approximate_limits_are_those_of_statsmodels() -> None:
    from statsmodels.stats.contingency_tables import Table2x2

    found = fall_against_control((Count(2000, 60.0), Count(100, 60.0)), (Count(1500, 60.0), Count(1400, 60.0)))
    low, high = Table2x2(np.array([[100.5, 2000.5], [1400.5, 1500.5]])).oddsratio_confint(0.05)
    assert limits(found) == pytest.approx((low, high), rel=1e-9)


def test_a_control_that_fell_too_takes_the_credit_away() -> None:
    found = fall_against_control((Count(50, 60.0), Count(40, 60.0)), (Count(60, 60.0), Count(30, 60.0)))
    assert found.ratio == pytest.approx(1.6)
    assert "a rise by 60.0%" in found.words


@pytest.mark.parametrize(
    ("tb", "ta", "cb", "ca", "why"),
    [
        (0, 5, 10, 10, Undefined.TREATED_BEFORE),
        (10, 5, 0, 10, Undefined.CONTROL_BEFORE),
        (10, 5, 10, 0, Undefined.CONTROL_AFTER),
    ],
)
def test_a_missing_count_is_named(tb: int, ta: int, cb: int, ca: int, why: Undefined) -> None:
    found = fall_against_control((Count(tb, 60.0), Count(ta, 60.0)), (Count(cb, 60.0), Count(ca, 60.0)))
    assert (found.ratio, found.undefined) == (None, why)


def test_overdispersion_widens_a_fall_against_control() -> None:
    pair = ((Count(300, 60.0), Count(60, 60.0)), (Count(200, 60.0), Count(400, 60.0)))
    plain, wide = limits(fall_against_control(*pair)), limits(fall_against_control(*pair, fano=3.0))
    assert wide[0] < plain[0] < plain[1] < wide[1]


def test_stations_are_pooled_with_their_watched_time() -> None:
    assert pooled([Count(3, 60.0), Count(4, 30.0)]) == Count(7, 90.0)
    with pytest.raises(ValueError, match=r"^watched_s must be"):
        pooled([])


@pytest.mark.parametrize(("visits", "watched_s", "named"), [(-1, 60.0, "visits"), (1, 0.0, "watched_s")])
def test_a_count_without_watched_time_is_no_count(visits: int, watched_s: float, named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named} must be a number"):
        Count(visits, watched_s)


@pytest.mark.parametrize("wrong", [0.9, math.nan, math.inf])
def test_a_fano_factor_below_one_is_refused(wrong: float) -> None:
    count = Count(10, 60.0)
    for compute in (
        lambda: fall(count, count, wrong),
        lambda: fall_against_control((count, count), (count, count), wrong),
    ):
        with pytest.raises(ValueError, match=rf"^fano must be a number from 1 up, not {wrong}$"):
            compute()


@pytest.mark.parametrize("wrong", [0.0, 1.0, math.nan])
def test_a_confidence_that_is_none_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match=rf"^confidence must be above 0 and below 1, not {wrong}$"):
        fall(Count(10, 60.0), Count(10, 60.0), confidence=wrong)
