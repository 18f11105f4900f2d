"""What chance alone does to a count: exact limits, lucky windows, and how many visits tell two means apart.

Everything here is for Poisson traffic, visits that come independently at a steady mean. Wasps recruit and come in
bouts, so real traffic is lumpier and lucky windows are likelier than these figures say.

Quantiles and sums come from SciPy's incomplete gamma functions, imported by the first question only.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

# Two-sided limits of 95 %: common practice, no source.
CONFIDENCE = 0.95
# Our choice, as in the usual tables of the test: 5 % either way.
ALPHA = BETA = 0.05
# A test that errs as often as a coin is none.
_EVEN = 0.5
# Our choice: counts of one station's windows are small and come again and again.
_REMEMBERED = 1024


@lru_cache(_REMEMBERED)
def poisson_limits(counted: int, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Return the exact two-sided limits of a Poisson mean.

    Parameters
    ----------
    counted : int
        Events seen, 0 or more.
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

    _check("counted", counted, counted >= 0, "0 or more")
    _check("confidence", confidence, 0.0 < confidence < 1.0, "between 0 and 1")
    tail = (1.0 - confidence) / 2.0
    low = float(gammaincinv(counted, tail)) if counted else 0.0
    return low, float(gammaincinv(counted + 1, 1.0 - tail))


def at_least(visits: int, mean: float) -> float:
    """Return the chance that one window holds at least `visits`, given the true mean per window.

    Raises
    ------
    ValueError
        If the mean is negative or not finite.
    """
    from scipy.special import gammainc

    _check_mean(mean)
    return float(gammainc(visits, mean)) if visits > 0 else 1.0


@lru_cache(_REMEMBERED)
def lucky_window(visits: int, mean: float, look: float) -> float:
    """Return the chance that one sliding window, wherever it begins in a look, holds at least `visits`.

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
    beyond_two = look - 2.0
    _check("visits", visits, visits > 1, "2 or more")
    _check("look", look, 0.0 <= beyond_two < math.inf, "2 windows or more")
    _check_mean(mean)
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


@dataclass(frozen=True, slots=True)
class WaldTest:
    """The sequential probability ratio test between two Poisson means.

    Attributes
    ----------
    low, high
        The two means [visits per window], 0 < low < high.
    alpha, beta
        Chances of accepting the wrong one, when a single test is begun at a moment that the counts did not choose.

    Notes
    -----
    Wald (1945), Ann Math Stat 16:117-186; Wald (1947), Sequential Analysis: after n windows with a total of T visits
    accept `high` if T >= s n + h1, `low` if T <= s n - h0, and go on between.
    """

    low: float
    high: float
    alpha: float = ALPHA
    beta: float = BETA

    def __post_init__(self) -> None:
        """Refuse means that cannot be told apart, and risks that are no risks."""
        _check("low", self.low, self.low > 0.0, "a mean greater than 0")
        _check("high", self.high, self.low < self.high < math.inf, f"a mean greater than {self.low}")
        _check("alpha", self.alpha, 0.0 < self.alpha < _EVEN, f"between 0 and {_EVEN}")
        _check("beta", self.beta, 0.0 < self.beta < _EVEN, f"between 0 and {_EVEN}")

    @property
    def slope(self) -> float:
        """Visits per window between the two lines, s."""
        return (self.high - self.low) / math.log(self.high / self.low)

    def accepts_high_from(self, windows: int) -> int:
        """Return the smallest total over `windows` that accepts the high mean."""
        above = math.log((1.0 - self.beta) / self.alpha) / math.log(self.high / self.low)
        return math.ceil(self.slope * windows + above)

    def accepts_low_to(self, windows: int) -> int | None:
        """Return the largest total over `windows` that accepts the low mean; nothing if no total does yet."""
        below = math.log((1.0 - self.alpha) / self.beta) / math.log(self.high / self.low)
        total = math.floor(self.slope * windows - below)
        return total if total >= 0 else None


def _check_mean(mean: float) -> None:
    _check("mean", mean, 0.0 <= mean < math.inf, "a finite number of visits per window, 0 or more")


def _check(name: str, value: float, good: bool, allowed: str) -> None:
    if not good:
        raise ValueError(f"{name} must be {allowed}, not {value}")
