"""From counts to a belief in how traffic grows.

The visits of a bin are negative binomial about `level x growth x activity x watched hours`, times a factor of the
day. The factor of a day, for weather and whatever else, is gamma about 1; how far it scatters is not known and is
averaged over, as are level, growth and shape (Bayes' rule, on a grid).

The scatter within a day is estimated once, with a free factor for each day: Pearson's chi-square is set to its
degrees of freedom. Each bin then counts as its own variance allows (quasi-likelihood: Wedderburn 1974, Biometrika
61:439-447), which leaves sums over the day, for which the gamma factor can be integrated in closed form.
"""

from collections.abc import Iterator

import numpy as np
from scipy.optimize import brentq
from scipy.special import gammaln, logsumexp

from swapbell_models.forecasting.foraging import Array
from swapbell_models.forecasting.growth import Belief, Branch, Growth, relative
from swapbell_models.forecasting.watched import Counts

# Our choice: no shape is likelier than another before anything was counted.
SHAPE_SHARE = 1.0 / len(Growth)
# Our choice: while it is watched, exponential traffic grows e-fold four times: from a visit an hour to the rule's 120
# would be 4.8. Much more is rarer, but six days of doubling in three hours are 20.
MEAN_FOLDS, FOLDS_MAX = 4.0, 25.0
# How far days scatter about the growth (standard deviation of a day's factor), and how likely that is before anything
# was counted. Our choice, held against simulation: even days at half of all stations, else anything up to days as
# unlike as one to three.
DAY_SPREADS = np.array([0.004, 0.03, 0.08, 0.15, 0.25, 0.4, 0.7])
DAY_SHARES = np.array([0.5, 0.09, 0.09, 0.09, 0.09, 0.09, 0.05])
# Our choice: beyond 20, nearly all visits fall into one bin.
SCATTER_MAX = 20.0
# Our choice: finer grids move no limit by more than the grid of moments does.
BENDS = 60
LEVEL_STEPS = np.linspace(-3.5, 3.5, 15)
# Our choice: what is e^10 times less likely than the best is left out.
LOG_LEFT_OUT = 10.0
# Our choice: so many steps of Newton's method settle the level to far below its error.
NEWTON_STEPS = 6
# Our choice: where fewer visits are expected in a bin, a single one would say too much about the scatter.
_FEWEST = 0.2
# Keeps logarithms finite where nothing is expected.
_TINY = 1e-12
# Haldane 1956 and Anscombe 1956: half a visit keeps logarithms finite where none was seen.
HALF_VISIT = 0.5


def believe(counts: Counts) -> Belief:
    """Return what counts say of level and growth.

    Parameters
    ----------
    counts : Counts
        With a visit, and of two days or more: of a single day nobody can tell growth from the day's own shape.
    """
    scatter, expected = _scatter(counts)
    likelihood = _Likelihood(counts, 1.0 / (1.0 + scatter * expected))
    found = [likelihood.branch(growth) for growth in Growth]
    total = logsumexp(np.concatenate([branch.weight.ravel() for branch in found]))
    weighed = (Branch(each.growth, each.bend, each.level, np.exp(each.weight - total)) for each in found)
    return Belief(tuple(weighed), scatter)


def _bends(growth: Growth, low: float = 0.0, high: float = np.inf) -> tuple[Array, float]:
    """Return bends at equal distances between two bounds, and the distance."""
    if growth is Growth.NONE:
        return np.zeros(1), 1.0
    low, high = max(low, 0.0), min(high, 1.0 if growth is Growth.LINEAR else FOLDS_MAX)
    step = (high - low) / BENDS
    return np.linspace(low + step / 2.0, high - step / 2.0, BENDS, dtype=np.float64), step


def _log_prior(growth: Growth, bend: Array) -> Array:
    """Return how likely bends are before anything was counted, as the logarithm of a density."""
    match growth:
        case Growth.NONE:
            density = np.ones(len(bend))
        case Growth.LINEAR:  # our choice: a new lure begins with few, so that small shares are likelier
            density = 2.0 * (1.0 - bend)
        case Growth.EXPONENTIAL:
            density = np.exp(-bend / MEAN_FOLDS) / MEAN_FOLDS
    return np.log(SHAPE_SHARE * density)


def _rates(counts: Counts, growth: Growth, bend: Array) -> Array:
    """Return the visits expected in each bin at level 1, a row for each bend."""
    return relative(growth, bend, counts.position(counts.hours)) * counts.effort_h + _TINY


def _scatter(counts: Counts) -> tuple[float, Array]:
    """Return 1/k of the negative binomial within days, and the visits expected in each bin with each day's factor."""
    expected = max(_daily_fits(counts), key=lambda fit: fit[0])[1]
    freedom = max(len(counts.visits) - int(counts.day.max()) - 2, 1)
    squares, variance = (counts.visits - expected) ** 2, np.maximum(expected, _FEWEST)

    def excess(scatter: float) -> float:
        return float(np.sum(squares / (variance + scatter * expected**2))) - freedom

    if excess(0.0) <= 0.0:
        return 0.0, expected
    return (SCATTER_MAX if excess(SCATTER_MAX) > 0.0 else float(brentq(excess, 0.0, SCATTER_MAX))), expected


def _daily_fits(counts: Counts) -> Iterator[tuple[float, Array]]:
    """Yield the best fit of each shape with a free factor for each day: log-likelihood and expected visits."""
    days = np.eye(counts.day.max() + 1)[counts.day]
    seen = counts.visits @ days
    for growth in Growth:
        rates = _rates(counts, growth, _bends(growth)[0])
        within = np.log(rates / (rates @ days @ days.T)) @ counts.visits
        best = rates[within.argmax()]
        yield float(within.max()), best * (seen / (best @ days))[counts.day] + _TINY


class _Likelihood:
    """How likely the counts are, for any growth, level and spread of the days.

    With a gamma factor of mean 1 and size s for each day, a day of N visits where M are expected has the likelihood
    Gamma(s + N) / Gamma(s) s^s / (s + M)^(s + N) times what the split into bins gives: a negative binomial in N.
    """

    def __init__(self, counts: Counts, weight: Array) -> None:
        days = np.eye(counts.day.max() + 1)[counts.day]
        self._counts, self._weighted_days = counts, weight[:, None] * days
        self._visits = weight * counts.visits
        self._seen = self._visits @ days
        self._size = DAY_SPREADS[:, None] ** -2.0

    def branch(self, growth: Growth) -> Branch:
        """Return the possible growths of a shape with the logarithm of their weights."""
        bend, step = self._likely(growth)
        expected, split = self._expected(growth, bend)
        mode, width = self._modes(expected)
        level = mode[:, :, None] + width[:, :, None] * LEVEL_STEPS
        weight = self._log(expected, split, level) + np.log(width * DAY_SHARES)[:, :, None]
        weight += (_log_prior(growth, bend) + np.log(step))[:, None, None]
        return Branch(growth, bend, np.exp(level).reshape(len(bend), -1), weight.reshape(len(bend), -1))

    def _likely(self, growth: Growth) -> tuple[Array, float]:
        """Return a grid over those bends that are not all but impossible."""
        bend, step = _bends(growth)
        expected, split = self._expected(growth, bend)
        mode, width = self._modes(expected)
        peak = self._log(expected, split, mode[:, :, None])[:, :, 0] + np.log(width * DAY_SHARES)
        likely = logsumexp(peak, axis=1) + _log_prior(growth, bend)
        kept = bend[likely > likely.max() - LOG_LEFT_OUT]
        return _bends(growth, kept[0] - step, kept[-1] + step)

    def _expected(self, growth: Growth, bend: Array) -> tuple[Array, Array]:
        """Return the visits expected on each day at level 1, and what the split of the visits into bins gives."""
        rates = _rates(self._counts, growth, bend)
        return (rates @ self._weighted_days)[:, None, :], np.log(rates) @ self._visits

    def _modes(self, expected: Array) -> tuple[Array, Array]:
        """Return the likeliest logarithm of the level for each bend and spread of the days, and how sure it is."""
        size, seen = self._size, self._seen
        level = np.log((seen.sum() + HALF_VISIT) / expected.sum(axis=2)) + np.zeros(len(size))
        bow = np.ones_like(level)
        for _ in range(NEWTON_STEPS):
            mean = expected * np.exp(level)[:, :, None]
            rise = (seen - (size + seen) * mean / (size + mean)).sum(axis=2)
            bow = ((size + seen) * size * mean / (size + mean) ** 2).sum(axis=2)
            level = level + np.clip(rise / bow, -1.0, 1.0)
        return level, bow**-0.5

    def _log(self, expected: Array, split: Array, level: Array) -> Array:
        """Return the log-likelihood at logarithms of the level; axes: bends, spreads of the days, steps."""
        size, seen = self._size[:, None, :], self._seen
        mean = expected[:, None] * np.exp(level)[..., None]
        days = gammaln(size + seen) - gammaln(size) + size * np.log(size) - (size + seen) * np.log(size + mean)
        likely: Array = days.sum(axis=3) + split[:, None, None] + level * seen.sum()
        return likely
