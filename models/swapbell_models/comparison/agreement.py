"""How well two counts of the same things agree. A high correlation is not agreement: look at the limits.

The differences are the first reading less the second, as in the machine's count less the person's.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import correlation, fmean, pvariance, stdev

from swapbell_models.chance import CONFIDENCE, deviations
from swapbell_models.quantity import between

# Bland and Altman 1999, Stat Methods Med Res 8: limits that hold 95 % of the differences.
LIMIT_SD = 1.96
# Bland and Altman 1986, Lancet 327: the variance of a limit is 3 s2/n.
LIMIT_VARIANCES = 3.0
# Our choice: with fewer than three there is nothing to say about agreement.
THINGS_MIN = 3

# McBride 2005, as in a handbook of medical statistics software: a concordance below each bound has this word.
WORDS = ((0.90, "poor"), (0.95, "moderate"), (0.99, "substantial"), (math.inf, "almost perfect"))


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its two-sided limits of confidence; nothing where they cannot be computed."""

    value: float | None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Limits:
    """Bland and Altman's limits of agreement, in the unit of the readings.

    Attributes
    ----------
    things
        How many were read twice.
    bias
        Mean difference.
    sd
        Standard deviation of the differences.
    lower, upper
        Between them lie 95 % of the differences.
    """

    things: int
    bias: Estimate
    sd: float
    lower: Estimate
    upper: Estimate


@dataclass(frozen=True, slots=True)
class Concordance:
    """Lin's concordance: how close the pairs lie to the line of equality.

    Attributes
    ----------
    concordance
        From -1 to 1 [1]; nothing where one of the readings never changes.
    precision
        Pearson's correlation [1]: how close the pairs lie to any line.
    accuracy
        Lin's Cb [1]: how close that line lies to equality.
    scale_shift, location_shift
        Ratio of the standard deviations, and difference of the means over their geometric mean [1].
    """

    concordance: Estimate
    precision: float | None = None
    accuracy: float | None = None
    scale_shift: float | None = None
    location_shift: float | None = None

    @property
    def word(self) -> str:
        """McBride's word for the concordance."""
        value = self.concordance.value
        return "unknown" if value is None else next(word for bound, word in WORDS if value < bound)


def limits_of_agreement(first: Sequence[float], second: Sequence[float], confidence: float = CONFIDENCE) -> Limits:
    """Return the bias and the limits of agreement. Bland and Altman 1986, Lancet 327:307-310.

    Parameters
    ----------
    first, second : sequence of float
        Two readings of each thing, 3 things or more, in any one unit.
    confidence : float
        Of the limits of confidence, between 0 and 1.

    Raises
    ------
    ValueError
        If the readings are not pairs, are too few or not finite, or the confidence is out of its range.
    """
    from scipy.stats import t

    differences = [one - two for one, two in _pairs(first, second, confidence)]
    n, bias, sd = len(differences), fmean(differences), stdev(differences)
    reach = float(t.ppf((1.0 + confidence) / 2.0, n - 1)) * sd / math.sqrt(n)
    edges = (bias - LIMIT_SD * sd, bias + LIMIT_SD * sd)
    lower, upper = (_around(edge, reach * math.sqrt(LIMIT_VARIANCES)) for edge in edges)
    return Limits(n, _around(bias, reach), sd, lower, upper)


def concordance(first: Sequence[float], second: Sequence[float], confidence: float = CONFIDENCE) -> Concordance:
    """Return Lin's concordance correlation coefficient, with limits by its z-transform.

    Lin 1989, Biometrics 45:255-268, variances over n as there.

    Parameters
    ----------
    first, second : sequence of float
        Two readings of each thing, 3 things or more, in any one unit.
    confidence : float
        Of the limits, between 0 and 1.

    Raises
    ------
    ValueError
        If the readings are not pairs, are too few or not finite, or the confidence is out of its range.
    """
    n = len(_pairs(first, second, confidence))
    one, two = (math.sqrt(pvariance(readings)) for readings in (first, second))
    if not (one and two):
        return Concordance(Estimate(None))
    precision = correlation(first, second)
    scale, location = one / two, (fmean(first) - fmean(second)) / math.sqrt(one * two)
    accuracy = 2.0 / (scale + 1.0 / scale + location**2)
    limits = _lin_limits(precision * accuracy, precision, location, n, confidence)
    return Concordance(limits, precision, accuracy, scale, location)


def check_table(table: Sequence[Sequence[float]], confidence: float) -> None:
    """Refuse a table of readings that cannot be compared.

    Parameters
    ----------
    table : sequence of sequences of float
        One row for each thing, in any one unit.
    confidence : float
        Between 0 and 1.

    Raises
    ------
    ValueError
        If there are fewer than 3 rows, rows of fewer than 2 readings or of uneven length, readings that are not
        finite, or a confidence out of its range.
    """
    between("confidence", confidence, 0.0, 1.0)
    if len(table) < THINGS_MIN:
        raise ValueError(f"readings must be of {THINGS_MIN} things or more, not {len(table)}")
    widths = {len(row) for row in table}
    if len(widths) != 1 or min(widths) <= 1:
        raise ValueError(f"readings must be 2 or more of each thing and as many of every one, not {sorted(widths)}")
    if wrong := next((reading for row in table for reading in row if not math.isfinite(reading)), None):
        raise ValueError(f"readings must be finite numbers, not {wrong}")


def _pairs(first: Sequence[float], second: Sequence[float], confidence: float) -> list[tuple[float, float]]:
    if len(first) != len(second):
        raise ValueError(f"second must have as many readings as first, {len(first)}, not {len(second)}")
    pairs = list(zip(first, second, strict=True))
    check_table(pairs, confidence)
    return pairs


def _around(value: float, reach: float) -> Estimate:
    return Estimate(value, value - reach, value + reach)


def _lin_limits(value: float, precision: float, location: float, n: int, confidence: float) -> Estimate:
    if abs(value) >= 1.0 or not value:
        return Estimate(value)
    # Lin 1989, the variance of the z-transform, in shares of the concordance.
    left, square = 1.0 - value**2, value**2
    spread = (1.0 - precision**2) * square / (left * precision**2)
    shift = 2.0 * value * square * (1.0 - value) * location**2 / (precision * left**2)
    tilt = (square * location**2) ** 2 / (2.0 * precision**2 * left**2)
    reach = deviations(confidence) * math.sqrt((spread + shift - tilt) / (n - 2))
    z = math.atanh(value)
    return Estimate(value, math.tanh(z - reach), math.tanh(z + reach))
