"""How sure a fall in visits is: counts before and after with their watched time, and exact limits.

One quiet look after a swap proves almost nothing: 0 visits after 10 in the same five minutes may be a fall by 55 %.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from swapbell_models.chance import CONFIDENCE, deviations
from swapbell_models.proof.efficacy import Undefined
from swapbell_models.quantity import at_least, between, positive

# Howse et al. 2024, doi 10.1007/s10340-024-01788-9: 19 days after 3 days of bait.
NOT_DEAD = (
    "Quiet is not dead: in a published trial the median traffic of nests had fallen by 96.5 % "
    "while only 29.8 % of the nests were dead."
)

# Our choice: beyond so many visits the exact limits take seconds, and differ by less than 1 % from the approximate.
EXACT_MAX_VISITS = 2000
# Haldane 1956 and Anscombe 1956: half a visit added to each count keeps logarithms finite.
HALF_VISIT = 0.5


@dataclass(frozen=True, slots=True)
class Count:
    """Visits in watched time.

    Attributes
    ----------
    visits
        How many were seen.
    watched_s
        How long was really watched [s], above 0: no data is not zero.
    """

    visits: int
    watched_s: float

    def __post_init__(self) -> None:
        """Refuse a count that nobody can have made."""
        at_least("visits", self.visits, 0.0, "visits")
        positive("watched_s", self.watched_s, "s")


def pooled(counts: Iterable[Count]) -> Count:
    """Return several counts as one; at least one.

    Raises
    ------
    ValueError
        If there is none.
    """
    every = tuple(counts)
    return Count(sum(each.visits for each in every), math.fsum(each.watched_s for each in every))


@dataclass(frozen=True, slots=True)
class Fall:
    """A ratio of traffic after to traffic before, with its limits; the fall is 1 less the ratio.

    Attributes
    ----------
    ratio, low, high
        After to before, and its two-sided limits [1]. Nothing where it cannot be computed.
    confidence
        Of the limits [1].
    p
        Chance of a difference as unlikely as this one if nothing had changed [1]; nothing where it is not computed.
    undefined
        Why the ratio cannot be computed; nothing where it can.
    """

    ratio: float | None = None
    low: float | None = None
    high: float | None = None
    confidence: float = CONFIDENCE
    p: float | None = None
    undefined: Undefined | None = None

    @property
    def words(self) -> str:
        """The fall for a person; that quiet is not dead is part of it."""
        if self.ratio is None or self.low is None or self.high is None:
            return f"The fall cannot be computed: {self.undefined.value if self.undefined else 'no data'}."
        limits = f"{self.confidence:.0%} limits: {_change(self.high)} to {_change(self.low)}"
        chance = " That can be chance: watch longer." if self.low <= 1.0 <= self.high else ""
        return f"Visits: {_change(self.ratio)} ({limits}).{chance} {NOT_DEAD}"


def fall(before: Count, after: Count, fano: float = 1.0, confidence: float = CONFIDENCE) -> Fall:
    """Return the fall between two counts, with exact conditional limits.

    Parameters
    ----------
    before, after : Count
        Of the same station or the same stations.
    fano : float
        Variance over mean of the windows' counts [1], 1 or more, estimated at the site; widens the limits.
    confidence : float
        Between 0 and 1.

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Notes
    -----
    Given the sum, the count after is binomial; Clopper and Pearson 1934 give its exact limits. Wasps come in bouts:
    each limit's distance from the estimate, on the scale of logarithms, is stretched by the root of the Fano factor
    (quasi-Poisson: McCullagh and Nelder 1989, section 6.2).
    """
    from scipy.stats import binomtest

    _check(fano, confidence)
    if not before.visits:
        return Fall(confidence=confidence, undefined=Undefined.TREATED_BEFORE)
    per_time = before.watched_s / after.watched_s
    expected = after.watched_s / (before.watched_s + after.watched_s)
    test = binomtest(after.visits, before.visits + after.visits, expected)
    exact = test.proportion_ci(confidence, method="exact")
    limits = (_odds(exact.low) * per_time, _odds(exact.high) * per_time)
    centre = (after.visits + HALF_VISIT) / (before.visits + HALF_VISIT) * per_time
    low, high = _stretched(limits, centre, fano)
    p = float(test.pvalue) if fano == 1.0 else None
    return Fall(after.visits / before.visits * per_time, low, high, confidence, p)


def fall_against_control(
    treated: tuple[Count, Count],
    control: tuple[Count, Count],
    fano: float = 1.0,
    confidence: float = CONFIDENCE,
) -> Fall:
    """Return the fall of treated stations beyond that of control stations: Henderson and Tilton's, with limits.

    Parameters
    ----------
    treated, control : tuple of Count
        Before and after, of the treated and of the control stations.
    fano : float
        Variance over mean of the windows' counts [1], 1 or more, estimated at the site; widens the limits.
    confidence : float
        Between 0 and 1.

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Notes
    -----
    The ratio is the odds ratio of the four counts times a ratio of watched times; its limits are Fisher's exact
    conditional ones up to 2000 visits in all, and beyond that those of the logarithm with half a visit added to each
    count (Haldane 1956, Anscombe 1956).
    """
    _check(fano, confidence)
    (tb, ta), (cb, ca) = treated, control
    if missing := _missing(tb, cb, ca):
        return Fall(confidence=confidence, undefined=missing)
    per_time = tb.watched_s * ca.watched_s / (ta.watched_s * cb.watched_s)
    odds = (ta.visits * cb.visits) / (tb.visits * ca.visits)
    limits, centre = _odds_limits(((ta.visits, tb.visits), (ca.visits, cb.visits)), confidence)
    low, high = _stretched(limits, centre, fano)
    return Fall(odds * per_time, low * per_time, high * per_time, confidence)


def _check(fano: float, confidence: float) -> None:
    at_least("fano", fano, 1.0)
    between("confidence", confidence, 0.0, 1.0)


def _missing(treated_before: Count, control_before: Count, control_after: Count) -> Undefined | None:
    if not treated_before.visits:
        return Undefined.TREATED_BEFORE
    if not control_before.visits:
        return Undefined.CONTROL_BEFORE
    return None if control_after.visits else Undefined.CONTROL_AFTER


def _odds(share: float) -> float:
    return share / (1.0 - share)


def _change(ratio: float) -> str:
    return f"a {'fall' if ratio <= 1.0 else 'rise'} by {abs(1.0 - ratio):.1%}"


Table = tuple[tuple[int, int], tuple[int, int]]


def _odds_limits(table: Table, confidence: float) -> tuple[tuple[float, float], float]:
    from scipy.stats.contingency import odds_ratio

    (a, b), (c, d) = ((row[0] + HALF_VISIT, row[1] + HALF_VISIT) for row in table)
    centre = a * d / (b * c)
    if sum(map(sum, table)) <= EXACT_MAX_VISITS:
        exact = odds_ratio(table).confidence_interval(confidence)
        return (float(exact.low), float(exact.high)), centre
    return _log_limits(centre, math.sqrt(1 / a + 1 / b + 1 / c + 1 / d), confidence), centre


def _log_limits(centre: float, error: float, confidence: float) -> tuple[float, float]:
    reach = math.exp(deviations(confidence) * error)
    return centre / reach, centre * reach


def _stretched(limits: tuple[float, float], centre: float, fano: float) -> tuple[float, float]:
    low, high = (centre * (limit / centre) ** math.sqrt(fano) for limit in limits)
    return low, high
