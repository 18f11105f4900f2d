"""How lumpy the traffic of a site is: whether its windows vary more than independent visits would.

Give it windows of one steady stretch, fully watched: growth and the course of a day scatter counts, too. No published
value for visits of wasps to bait was found, so each site estimates its own.
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, variance

# With one window there is no scatter.
WINDOWS_MIN = 2
# Our choice: a k of a millionth is one crowd a season, and above a million no count can tell it from Poisson.
LOG_K = (math.log(1e-6), math.log(1e6))


@dataclass(frozen=True, slots=True)
class Scatter:
    """How counts of equal windows vary.

    Attributes
    ----------
    windows
        How many were counted.
    mean
        Visits per window.
    variance
        With windows - 1 below the bar [visits squared].
    k
        Likeliest size of the negative binomial [1]: the smaller, the lumpier. Nothing where the counts vary no more
        than Poisson's.
    """

    windows: int
    mean: float
    variance: float
    k: float | None

    @property
    def fano(self) -> float | None:
        """Variance over mean, Fano's factor [1]: 1 for Poisson, more for bouts. Nothing without a visit."""
        return self.variance / self.mean if self.mean else None

    @property
    def k_by_moments(self) -> float | None:
        """Size of the negative binomial by mean and variance [1]; nothing where it varies no more than Poisson."""
        beyond = self.variance - self.mean
        return self.mean**2 / beyond if beyond > 0.0 else None

    @property
    def chi_square(self) -> float | None:
        """Fisher's index of dispersion [1], chi-square with windows - 1 degrees of freedom for Poisson counts."""
        return None if self.fano is None else (self.windows - 1) * self.fano

    @property
    def p(self) -> float | None:
        """Chance that Poisson counts scatter as much or more [1]; nothing without a visit."""
        from scipy.special import gammaincc

        if self.chi_square is None:
            return None
        return float(gammaincc((self.windows - 1) / 2.0, self.chi_square / 2.0))


def scatter(counts: Sequence[int]) -> Scatter:
    """Return how counts of equal windows vary.

    Parameters
    ----------
    counts : sequence of int
        Visits in each window [visits], 0 or more; two windows or more, of one length and fully watched.

    Raises
    ------
    ValueError
        If there are fewer than two windows or a count is negative or no whole number.

    Notes
    -----
    Fisher 1950, Biometrics 6:17-24, for the index of dispersion. The likeliest k solves Bliss and Fisher's equation
    (1953, Biometrics 9:176-200): the sum over j of the share of counts above j, over k + j, is ln(1 + mean/k).
    """
    if len(counts) < WINDOWS_MIN:
        raise ValueError(f"counts must be of {WINDOWS_MIN} windows or more, not {len(counts)}")
    if (wrong := next((count for count in counts if not _is_count(count)), None)) is not None:
        raise ValueError(f"counts must be whole numbers from 0 visits up, not {wrong}")
    return Scatter(len(counts), fmean(counts), variance(counts), _likeliest_k(counts))


def check_k(k: float) -> float:
    """Return a size of the negative binomial, infinite for Poisson, or refuse it.

    Parameters
    ----------
    k : float
        The size [1], above 0.

    Raises
    ------
    ValueError
        If it is zero, negative or not a number.
    """
    if not k > 0.0:
        raise ValueError(f"k must be a number above 0, or infinite for Poisson, not {k}")
    return k


def _is_count(count: float) -> bool:
    return math.isfinite(count) and count >= 0 and count == math.floor(count)


def _likeliest_k(counts: Sequence[int]) -> float | None:
    from scipy.optimize import brentq

    n, mean, seen = len(counts), fmean(counts), Counter(counts)
    if variance(counts) * (n - 1) / n <= mean:
        return None
    above = [sum(times for count, times in seen.items() if count > j) / n for j in range(max(counts))]

    def excess(log_k: float) -> float:
        k = math.exp(log_k)
        return sum(share / (k + j) for j, share in enumerate(above)) - math.log1p(mean / k)

    if excess(LOG_K[0]) * excess(LOG_K[1]) >= 0.0:
        return None
    return math.exp(float(brentq(excess, *LOG_K)))
