"""What counts say of growth, against SciPy's distributions and statsmodels' regression."""

import math

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.stats import gamma
from tallies import START_AT

from swapbell_models.forecasting import inference
from swapbell_models.forecasting.foraging import Array
from swapbell_models.forecasting.growth import Belief, Growth
from swapbell_models.forecasting.inference import believe
from swapbell_models.forecasting.watched import Counts

DAYS, BINS = 4, 12


def counts(visits: Array) -> Counts:
    hours = np.arange(DAYS * BINS) + 0.5
    return Counts(
        hours=hours,
        activity=np.ones(len(hours)),
        watched_h=np.ones(len(hours)),
        visits=visits,
        day=np.repeat(np.arange(DAYS), BINS),
        from_h=0.0,
        to_h=float(len(hours)),
        to_at=START_AT,
    )


def drawn(mean_at_end: float, folds: float = 0.0, size: float = math.inf, spread: float = 0.0) -> Counts:
    """Return what was counted at a station of known growth, by one draw."""
    rng = np.random.default_rng(5)
    position = (np.arange(DAYS * BINS) + 0.5) / (DAYS * BINS)
    lumps = rng.gamma(size, 1.0 / size, DAYS * BINS) if math.isfinite(size) else 1.0
    factor = np.repeat(rng.gamma(spread**-2, spread**2, DAYS), BINS) if spread else 1.0
    return counts(rng.poisson(mean_at_end * np.exp(folds * (position - 1.0)) * lumps * factor).astype(float))


@pytest.fixture
def even_days(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(inference, "DAY_SPREADS", np.array([1e-3]))
    monkeypatch.setattr(inference, "DAY_SHARES", np.ones(1))
    monkeypatch.setattr(inference, "SCATTER_MAX", 0.0)


def of(belief: Belief, growth: Growth) -> tuple[Array, Array, Array]:
    """Return bends, levels and weights of one shape, the weights together 1."""
    branch = next(branch for branch in belief.branches if branch.growth is growth)
    bend = np.broadcast_to(branch.bend[:, None], branch.weight.shape)
    return bend, branch.level, branch.weight / branch.weight.sum()


def mean_and_error(values: Array, weight: Array) -> tuple[float, float]:
    mean = float((values * weight).sum())
    return mean, math.sqrt(float(((values - mean) ** 2 * weight).sum()))


@pytest.mark.usefixtures("even_days")
def test_a_steady_level_is_known_as_well_as_gamma_says() -> None:
    # Poisson counts of N in all and a prior flat in the logarithm: the level is gamma of N over the watched hours.
    seen = drawn(10.0)
    exact = gamma(seen.visits.sum(), scale=1.0 / seen.watched_h.sum())
    _, level, weight = of(believe(seen), Growth.NONE)
    assert mean_and_error(level, weight) == pytest.approx((exact.mean(), exact.std()), rel=0.005)


@pytest.mark.usefixtures("even_days")
def test_exponential_growth_is_found_as_by_a_poisson_regression() -> None:
    # statsmodels' GLM with a log link fits the same line; with some 1,000 visits the prior weighs little.
    seen = drawn(60.0, folds=2.0)
    position = seen.position(seen.hours)
    line = sm.GLM(seen.visits, sm.add_constant(position), family=sm.families.Poisson()).fit()
    bend, _, weight = of(believe(seen), Growth.EXPONENTIAL)
    assert mean_and_error(bend, weight) == pytest.approx((line.params[1], line.bse[1]), rel=0.02)


@pytest.mark.filterwarnings("ignore:The Identity link")
@pytest.mark.usefixtures("even_days")
def test_linear_growth_is_found_as_by_a_regression_with_an_identity_link() -> None:
    seen = drawn(60.0, folds=1.0)
    position = seen.position(seen.hours) - 1.0
    family = sm.families.Poisson(sm.families.links.Identity())
    line = sm.GLM(seen.visits, sm.add_constant(position), family=family).fit()
    bend, level, weight = of(believe(seen), Growth.LINEAR)
    assert mean_and_error(level * (1.0 - bend), weight) == pytest.approx((line.params[1], line.bse[1]), rel=0.05)


def test_even_counts_leave_poisson_scatter() -> None:
    assert believe(counts(np.full(DAYS * BINS, 9.0))).scatter == 0.0


def test_the_scatter_within_days_is_found_again() -> None:
    # k = 5 drawn over 48 bins: Pearson's estimate has a relative error of about sqrt(2 / 42).
    assert believe(drawn(60.0, folds=2.0, size=5.0)).scatter == pytest.approx(0.2, rel=0.45)


def test_days_that_differ_are_no_scatter_within_days() -> None:
    assert believe(drawn(60.0, spread=0.4)).scatter < 0.02


def test_scatter_ends_at_its_bound(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(inference, "SCATTER_MAX", 2.0)
    lumpy = np.zeros(DAYS * BINS)
    lumpy[::BINS] = 400.0
    assert believe(counts(lumpy)).scatter == 2.0


def test_days_that_differ_make_the_growth_less_sure() -> None:
    (even, uneven) = (
        mean_and_error(*of(believe(drawn(60.0, folds=2.0, spread=spread)), Growth.EXPONENTIAL)[::2])[1]
        for spread in (0.0, 0.4)
    )
    assert uneven > 1.3 * even


def test_the_weights_are_a_whole() -> None:
    assert sum(believe(drawn(20.0, folds=1.0, size=5.0, spread=0.2)).shares.values()) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("folds", "growth", "least"), [(0.0, Growth.NONE, 0.5), (4.0, Growth.EXPONENTIAL, 0.99), (1.5, Growth.NONE, 0.0)]
)
def test_the_shape_that_was_drawn_is_believed(folds: float, growth: Growth, least: float) -> None:
    assert believe(drawn(60.0, folds=folds)).shares[growth] >= least


def test_falling_traffic_is_taken_for_none_and_not_for_growth() -> None:
    assert believe(drawn(20.0, folds=-2.0)).shares[Growth.NONE] > 0.9


def test_before_anything_was_counted_the_shapes_are_alike() -> None:
    for growth in Growth:
        bend, step = inference._bends(growth)
        whole = float(np.exp(inference._log_prior(growth, bend)).sum() * step)
        assert whole == pytest.approx(1.0 / 3.0, rel=0.005)


def test_the_spreads_of_the_days_are_all_that_is_possible() -> None:
    assert inference.DAY_SHARES.sum() == pytest.approx(1.0)
    assert len(inference.DAY_SHARES) == len(inference.DAY_SPREADS)
