"""What turns a touch of the rule into a call for the swap, and how often it errs.

Confirmations, over the consecutive windows of a look, the last of which ends with the last tally:

first       none asked for: the bare rule
2 of 3      at least two of the three windows count `visits` or more
sequential  for some n from 1 to 3, the last n windows together count at least what Wald's test asks for to accept the
            higher of its two means. Trying every n, at every tally, is Page's cumulative sum (Biometrika 41:100-115,
            1954), whose false alarms per hour are not Wald's alpha; the decision record gives them.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache
from statistics import fmean

from swapbell_models import chance
from swapbell_models.quantity import at_least
from swapbell_models.scatter import check_k
from swapbell_models.sequential import WaldTest

# Our choice: two of three full windows confirm, within a quarter of an hour by the trade's window. Two running would
# be stricter, but one shower breaks them; more windows would take longer than traffic takes to change.
WINDOWS = 3
TO_CONFIRM = 2
# Our choice: a fifth on either side of the rule, because the limit then grows by 0.99 of the rule per window: only
# traffic above the rule itself drives the sum up.
LOW_SHARE, HIGH_SHARE = 0.8, 1.2
# Our choice: half the rule. A swap there is too early, and growing traffic is one doubling short of the rule.
EARLY_SHARE = 0.5
# Our choice: as far above the rule as half of it is below. Who waits on there loses bait and season.
LATE_SHARE = 1.5
# Our choice: between Bliss and Fisher's mites (1.02) and Student's yeast (3.6). No published value for visits to
# bait was found; a site estimates its own (`scatter`).
BOUTS_K = 2.0
# Our choice: more means change no risk by a ten-thousandth.
_MEANS = 50


class Confirm(Enum):
    """What turns `touched` into `ready`."""

    TWO_OF_THREE = "2 of 3"
    FIRST = "first"
    SEQUENTIAL = "sequential"


@dataclass(frozen=True, slots=True)
class Risk:
    """How often one look errs.

    Attributes
    ----------
    k
        How lumpy the traffic is [1]: the size of the negative binomial of its windows; infinite for Poisson.
    false_alarm
        Chance that a look calls the station ready at half the rule [1].
    miss
        Chance that a look does not, at one and a half of the rule [1].
    """

    k: float
    false_alarm: float
    miss: float


def confirmed(counts: Sequence[int], visits: int, confirm: Confirm) -> bool:
    """Tell whether the consecutive windows' counts confirm a rule that was reached.

    Parameters
    ----------
    counts : sequence of int
        Visits in each window, oldest first [visits], as they were seen.
    visits : int
        What the rule asks of a window [visits], 2 or more.
    confirm : Confirm
        The confirmation.
    """
    match confirm:
        case Confirm.FIRST:
            return True
        case Confirm.TWO_OF_THREE:
            return sum(count >= visits for count in counts) >= TO_CONFIRM
        case Confirm.SEQUENTIAL:
            return any(sum(counts[-n:]) >= total for n, total in enumerate(_totals(visits, len(counts)), start=1))


def chance_of_ready(mean: float, visits: int, confirm: Confirm, k: float = math.inf) -> float:
    """Return the chance that one look of three windows, fully watched, calls a station ready.

    Parameters
    ----------
    mean : float
        True mean [visits per window], 0 or more.
    visits : int
        What the rule asks of a window [visits], 2 or more.
    confirm : Confirm
        The confirmation.
    k : float
        How lumpy the traffic is [1], above 0; infinite for Poisson.

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Notes
    -----
    Poisson: by arithmetic for two of three, by convolution for the sequential test, and `lucky_window` for the bare
    rule, which looks at every window wherever it begins. Bouts: the mean wanders from look to look like a gamma
    variable of shape k, so that each window is negative binomial (Greenwood and Yule 1920), and stays the same
    within one look; averaged over the means of equal shares. Bouts that are over within minutes err less in two of
    three.
    """
    at_least("mean", mean, 0.0, "visits per window")
    by_mean = _BY_MEAN[confirm]
    if math.isinf(check_k(k)):
        return by_mean(mean, visits)
    from scipy.special import gammaincinv

    shares = ((n + 0.5) / _MEANS for n in range(_MEANS))
    means = (mean * float(gammaincinv(k, share)) / k for share in shares)
    return fmean(by_mean(each, visits) for each in means)


@lru_cache
def risks(visits: int, confirm: Confirm) -> tuple[Risk, ...]:
    """Return how often one look errs: for steady traffic, and for wasps that come in bouts.

    Parameters
    ----------
    visits : int
        What the rule asks of a window [visits], 2 or more.
    confirm : Confirm
        The confirmation.

    Raises
    ------
    ValueError
        If the visits are fewer than 2.
    """
    early, late = EARLY_SHARE * visits, LATE_SHARE * visits
    return tuple(
        Risk(k, chance_of_ready(early, visits, confirm, k), 1.0 - chance_of_ready(late, visits, confirm, k))
        for k in (math.inf, BOUTS_K)
    )


def _totals(visits: int, windows: int) -> list[int]:
    """Return what the last 1, 2, ... windows must count for the sequential test."""
    test = WaldTest(LOW_SHARE * visits, HIGH_SHARE * visits)
    return [test.accepts_high_from(n) for n in range(1, windows + 1)]


def _first(mean: float, visits: int) -> float:
    return chance.lucky_window(visits, mean, WINDOWS)


def _two_of_three(mean: float, visits: int) -> float:
    p = chance.at_least(visits, mean)
    return p**2 * (3.0 - 2.0 * p)


def _sequential(mean: float, visits: int) -> float:
    """Return 1 less the chance that all sums, from the last window backwards, stay below their totals."""
    import numpy as np
    from scipy.special import gammaln, xlogy

    below = np.ones(1)
    for total in _totals(visits, WINDOWS):
        counts = np.arange(total)
        below = np.convolve(below, np.exp(xlogy(counts, mean) - mean - gammaln(counts + 1)))[:total]
    return 1.0 - float(below.sum())


_BY_MEAN: dict[Confirm, Callable[[float, int], float]] = {
    Confirm.FIRST: _first,
    Confirm.TWO_OF_THREE: _two_of_three,
    Confirm.SEQUENTIAL: _sequential,
}
