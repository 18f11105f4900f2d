"""What chance alone does to a count: exact limits, and how easily a window is full.

Limits and lucky windows are for Poisson traffic, visits that come independently at a steady mean. Wasps recruit and
come in bouts, so real traffic is lumpier and lucky windows are likelier than these figures say.

Quantiles and sums come from SciPy's incomplete gamma and beta functions, imported by the first question only.
"""

import math
from functools import lru_cache

from swapbell_models import quantity
from swapbell_models.scatter import check_k

# Two-sided limits of 95 %: common practice, no source.
CONFIDENCE = 0.95
# Our choice: counts of one station's windows are small and come again and again.
_REMEMBERED = 1024


@lru_cache(_REMEMBERED)
def poisson_limits(counted: int, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Return the exact two-sided limits of a Poisson mean [visits].

    Parameters
    ----------
    counted : int
        Events seen [visits], 0 or more.
    confidence : float
        Between 0 and 1.

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Notes
    -----
    Garwood (1936), Biometrika 28:437-442: half the chi-square quantiles with 2n (low) and 2n + 2 (high) degrees of
    freedom, that is, the inverse of the regularised incomplete gamma function of n and of n + 1.
    """
    from scipy.special import gammaincinv

    quantity.at_least("counted", counted, 0.0, "visits")
    quantity.between("confidence", confidence, 0.0, 1.0)
    tail = (1.0 - confidence) / 2.0
    low = float(gammaincinv(counted, tail)) if counted else 0.0
    return low, float(gammaincinv(counted + 1, 1.0 - tail))


@lru_cache(_REMEMBERED)
def share_limits(hits: int, cases: int, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Return the exact two-sided limits of a share [1].

    Parameters
    ----------
    hits, cases : int
        How many of how many; 1 case or more.
    confidence : float
        Between 0 and 1.

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Notes
    -----
    Clopper and Pearson (1934), Biometrika 26:404-413: quantiles of the beta distribution with (hits, misses + 1) and
    (hits + 1, misses), that is, the inverse of the regularised incomplete beta function.
    """
    from scipy.special import betaincinv

    quantity.at_least("cases", cases, 1.0, "cases")
    quantity.within("hits", hits, 0.0, float(cases), "cases")
    quantity.between("confidence", confidence, 0.0, 1.0)
    tail, misses = (1.0 - confidence) / 2.0, cases - hits
    low = float(betaincinv(hits, misses + 1, tail)) if hits else 0.0
    high = float(betaincinv(hits + 1, misses, 1.0 - tail)) if misses else 1.0
    return low, high


def deviations(confidence: float) -> float:
    """Return how many standard deviations a two-sided interval of the normal distribution reaches on either side.

    Parameters
    ----------
    confidence : float
        Between 0 and 1; 0.95 gives the familiar 1.96.

    Raises
    ------
    ValueError
        If the confidence is out of its range.
    """
    from scipy.special import ndtri

    return float(ndtri((1.0 + quantity.between("confidence", confidence, 0.0, 1.0)) / 2.0))


def at_least(visits: int, mean: float, k: float = math.inf) -> float:
    """Return the chance that one window holds at least `visits`, given the true mean per window [1].

    Parameters
    ----------
    visits : int
        What the window must hold [visits]; 0 or fewer is certain.
    mean : float
        The true mean [visits per window], 0 or more.
    k : float
        Size of the negative binomial [1], above 0; infinite for Poisson.

    Raises
    ------
    ValueError
        If the mean or k is out of its range.

    Notes
    -----
    The tails of the Poisson and of the negative binomial are regularised incomplete gamma and beta functions:
    Johnson, Kemp and Kotz 2005, Univariate Discrete Distributions, 3rd ed. (from memory).
    """
    from scipy.special import betainc, gammainc

    quantity.at_least("mean", mean, 0.0, "visits per window")
    check_k(k)
    if visits <= 0:
        return 1.0
    return float(gammainc(visits, mean) if math.isinf(k) else betainc(visits, k, mean / (mean + k)))


@lru_cache(_REMEMBERED)
def lucky_window(visits: int, mean: float, look: float) -> float:
    """Return the chance that one sliding window, wherever it begins in a look, holds at least `visits` [1].

    Parameters
    ----------
    visits : int
        What the window must hold, 2 or more.
    mean : float
        The true mean [visits per window], steady over the look.
    look : float
        Length of the look, fully watched [windows], 2 or more.

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Notes
    -----
    Naus (1982), J Am Stat Assoc 77:177-183; the formulas are from memory and held against simulation. Exact for looks
    of two and of three windows; longer looks go on by the ratio of the two, good to a few thousandths.
    """
    quantity.at_least("visits", visits, 2.0, "visits")
    beyond_two = quantity.at_least("look", look, 2.0, "windows") - 2.0
    quantity.at_least("mean", mean, 0.0, "visits per window")
    none_in_two, none_in_three = _none_in_two(visits, mean), _none_in_three(visits, mean)
    if none_in_two <= 0.0:
        return 1.0
    return 1.0 - none_in_two * math.pow(max(0.0, none_in_three / none_in_two), beyond_two)


def _none_in_two(k: int, mean: float) -> float:
    return _at_most(k - 1, mean) ** 2 - _exactly(k, mean) * _room(k, mean)


def _none_in_three(k: int, mean: float) -> float:
    alone, full = _at_most(k - 1, mean), _exactly(k, mean)
    both = (k - 1) * (k - 2) * _at_most(k - 3, mean) - 2 * (k - 2) * mean * _at_most(k - 4, mean)
    either = [
        _exactly(2 * k - r, mean) * (_at_most(r - 1, mean) ** 2 - _exactly(r, mean) * _room(r, mean))
        for r in range(1, k)
    ]
    middle = full * (2.0 * alone * _room(k, mean) - 0.5 * full * (both + mean**2 * _at_most(k - 5, mean)))
    return alone**3 - middle + sum(either)


def _room(r: int, mean: float) -> float:
    return (r - 1) * _at_most(r - 2, mean) - mean * _at_most(r - 3, mean)


def _at_most(n: int, mean: float) -> float:
    return 1.0 - at_least(n + 1, mean)


def _exactly(n: int, mean: float) -> float:
    return at_least(n, mean) - at_least(n + 1, mean)
