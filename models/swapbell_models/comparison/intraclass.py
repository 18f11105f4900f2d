"""How far single counts by several counters can stand for one another: the intraclass correlation."""

from collections.abc import Sequence
from statistics import fmean

from swapbell_models.chance import CONFIDENCE
from swapbell_models.comparison.agreement import Estimate, check_table

Table = Sequence[Sequence[float]]


def intraclass(readings: Table, confidence: float = CONFIDENCE) -> Estimate:
    """Return the intraclass correlation for absolute agreement of single readings, with its limits.

    ICC(2,1) of Shrout and Fleiss 1979, Psychol Bull 86:420-428; limits of ICC(A,1) by McGraw and Wong 1996, Psychol
    Methods 1:30-46.

    Parameters
    ----------
    readings : sequence of sequences of float
        One row for each thing, 3 or more; in each a reading by every counter, 2 or more, in the same order, and all
        in any one unit.
    confidence : float
        Of the limits, between 0 and 1.

    Returns
    -------
    Estimate
        At most 1 [1]. No value where all readings are the same; no limits where the counters differ by a constant, or
        agree no better than by chance (0 or less).

    Raises
    ------
    ValueError
        If the rows are too few or uneven, a reading is not finite, or the confidence is out of its range.
    """
    check_table(readings, confidence)
    n, k = len(readings), len(readings[0])
    things, counters, rest = _mean_squares(readings)
    whole = things + (k - 1) * rest + k * (counters - rest) / n
    if not whole:
        return Estimate(None)
    value = (things - rest) / whole
    if not rest or value <= 0.0:
        return Estimate(value)
    return _limits(value, (things, counters, rest), n, k, confidence)


def _mean_squares(readings: Table) -> tuple[float, float, float]:
    """Return the mean squares of a two-way table: between things, between counters, and the rest."""
    n, k = len(readings), len(readings[0])
    rows, columns = [fmean(row) for row in readings], [fmean(column) for column in zip(*readings, strict=True)]
    mean = fmean(rows)
    rest = sum(
        (readings[i][j] - row - column + mean) ** 2 for i, row in enumerate(rows) for j, column in enumerate(columns)
    )
    things, counters = sum((row - mean) ** 2 for row in rows), sum((column - mean) ** 2 for column in columns)
    return k * things / (n - 1), n * counters / (k - 1), rest / ((n - 1) * (k - 1))


def _limits(value: float, squares: tuple[float, float, float], n: int, k: int, confidence: float) -> Estimate:
    from scipy.stats import f

    things, counters, rest = squares
    tail, freedom = (1.0 + confidence) / 2.0, _freedom(value, counters, rest, n, k)
    down, up = float(f.ppf(tail, n - 1, freedom)), float(f.ppf(tail, freedom, n - 1))
    spread = k * counters + (k * n - k - n) * rest
    low = n * (things - down * rest) / (down * spread + n * things)
    high = n * (up * things - rest) / (spread + n * up * things)
    return Estimate(value, low, high)


def _freedom(value: float, counters: float, rest: float, n: int, k: int) -> float:
    """Return Satterthwaite's degrees of freedom for the mixture of both mean squares."""
    share = k * value / (n * (1.0 - value))
    a, b = share * counters, (1.0 + share * (n - 1)) * rest
    return (a + b) ** 2 / (a**2 / (k - 1) + b**2 / ((n - 1) * (k - 1)))
