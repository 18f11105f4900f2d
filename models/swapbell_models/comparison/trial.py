"""Which of several baits or sites draws more wasps: rates with limits, each pair compared, and a plain sentence.

A trial speaks of the place and the days where it was held: draw by lot which bait hangs where, and change places.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from swapbell_models.chance import CONFIDENCE, deviations, poisson_limits
from swapbell_models.comparison.rates import S_PER_H, Fit, Sample, fit
from swapbell_models.quantity import between

# Our choice: rates that differ by less than a millionth of a visit per hour stand in the order of their names.
EQUAL_DIGITS = 6


@dataclass(frozen=True, slots=True)
class Group:
    """One bait or site in the trial.

    Attributes
    ----------
    name
        Which.
    samples, visits, watched_h
        What was seen, and in how many hours [h].
    per_h, low, high
        Visits per watched hour in an average block, with limits [1/h].
    """

    name: str
    samples: int
    visits: int
    watched_h: float
    per_h: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Pair:
    """Two groups compared.

    Attributes
    ----------
    first, second
        Their names.
    ratio, low, high
        First's rate over second's, with limits that hold for all pairs together [1].
    p
        Chance of a ratio as far from 1 if both drew alike, corrected for the number of pairs [1].
    """

    first: str
    second: str
    ratio: float
    low: float
    high: float
    p: float

    @property
    def differs(self) -> bool:
        """Whether the limits leave out 1."""
        return not self.low <= 1.0 <= self.high


@dataclass(frozen=True, slots=True)
class Trial:
    """The outcome of a trial.

    Attributes
    ----------
    groups
        The highest rate first; those without a visit last.
    pairs
        Every two groups that had visits, the one with the higher rate first.
    fit
        The rates behind them.
    confidence
        Of the limits [1].
    """

    groups: tuple[Group, ...]
    pairs: tuple[Pair, ...]
    fit: Fit
    confidence: float

    @property
    def words(self) -> str:
        """The outcome for a person."""
        best = self.groups[0]
        against = [pair for pair in self.pairs if pair.first == best.name]
        alike = [pair.second for pair in against if not pair.differs]
        fewer = [f"{pair.second} ({1 / pair.ratio:.0%} of it)" for pair in against if pair.differs]
        none = [f"{group.name} (at most {group.high:.3g} per hour)" for group in self.groups if not group.visits]
        limits = f"{self.confidence:.0%} limits {best.low:.3g} to {best.high:.3g}"
        parts = [f"{best.name} drew most: {best.per_h:.3g} visits per watched hour ({limits})"]
        parts += [f"{_list(alike)} cannot be told apart from it"] if alike else []
        parts += [f"fewer came to {_list(fewer)}"] if fewer else []
        parts += [f"nobody came to {_list(none)}"] if none else []
        return "; ".join(parts) + f". ({self.fit.family.value} rates, {len(self.pairs)} pairs compared together)"


def compare(samples: Sequence[Sample], confidence: float = CONFIDENCE) -> Trial:
    """Compare the rates of several groups.

    Parameters
    ----------
    samples : sequence of Sample
        Two groups or more with visits, and more samples than groups and blocks together.
    confidence : float
        Of each group's limits, and of all pairs' limits together; between 0 and 1.

    Raises
    ------
    ValueError
        If there are too few samples, groups and blocks cannot be told apart, or the confidence is out of its range.

    Notes
    -----
    Limits and p are Wald's on the scale of logarithms; pairs are corrected by Bonferroni, which holds however they
    depend on each other and lets limits and p agree. A group without a visit has no logarithm: it is left out of the
    fit and has Garwood's exact upper limit for Poisson counts instead.
    """
    between("confidence", confidence, 0.0, 1.0)
    seen = {each.group for each in samples if each.visits}
    fitted = fit([each for each in samples if each.group in seen])
    rates = dict(zip(fitted.groups, range(len(fitted.groups)), strict=True))
    groups = [_group(name, samples, fitted, rates.get(name), confidence) for name in {each.group for each in samples}]
    order = sorted(groups, key=lambda group: (-round(group.per_h, EQUAL_DIGITS), group.name))
    pairs = list(combinations([group.name for group in order if group.visits], 2))
    compared = (_pair(fitted, (rates[one], rates[two]), len(pairs), confidence) for one, two in pairs)
    return Trial(tuple(order), tuple(compared), fitted, confidence)


def _group(name: str, samples: Sequence[Sample], fitted: Fit, place: int | None, confidence: float) -> Group:
    own = [each for each in samples if each.group == name]
    visits, watched_h = sum(each.visits for each in own), math.fsum(each.watched_s for each in own) / S_PER_H
    if place is None:
        limits = (0.0, 0.0, poisson_limits(0, confidence)[1] / watched_h)
    else:
        error = math.sqrt(fitted.covariance[place][place])
        limits = _limits(fitted.log_rates[place], deviations(confidence) * error)
    return Group(name, len(own), visits, watched_h, *limits)


def _pair(fitted: Fit, places: tuple[int, int], pairs: int, confidence: float) -> Pair:
    i, j = places
    log_ratio = fitted.log_rates[i] - fitted.log_rates[j]
    error = math.sqrt(fitted.covariance[i][i] + fitted.covariance[j][j] - 2.0 * fitted.covariance[i][j])
    reach = deviations(1.0 - (1.0 - confidence) / pairs) * error
    p = min(1.0, pairs * 2.0 * _tail(abs(log_ratio) / error))
    return Pair(fitted.groups[i], fitted.groups[j], *_limits(log_ratio, reach), p)


def _limits(log_value: float, reach: float) -> tuple[float, float, float]:
    return math.exp(log_value), math.exp(log_value - reach), math.exp(log_value + reach)


def _tail(z: float) -> float:
    from scipy.special import ndtr

    return float(ndtr(-z))


def _list(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
