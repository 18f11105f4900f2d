"""Rates of visits by group, with effort as an offset: Poisson, and negative binomial where visits come in bouts.

The host's researcher asks for them; statsmodels fits, and is imported by the first question only.
"""

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum
from importlib import import_module
from typing import Any

from swapbell_models.quantity import at_least, named, positive

S_PER_H = 3600.0
# Our choice: a k of 0.001 is a rare crowd, and above 100,000 no count can tell it from Poisson.
LOG_K = (math.log(1e-3), math.log(1e5))
# Our choice: a change of the deviance that is far below any that matters, and above the rounding of floating point.
TOLERANCE = 1e-10


class Family(Enum):
    """What the counts are taken to be distributed like."""

    POISSON = "Poisson"
    NEGATIVE_BINOMIAL = "negative binomial"


@dataclass(frozen=True, slots=True)
class Sample:
    """One independent count: a station's day, say. Windows of one station on one day are not independent.

    Attributes
    ----------
    group
        What is compared: a bait, or a site.
    visits
        How many were seen.
    watched_s
        How long was watched [s], above 0.
    block
        What else differs and is taken out, such as the day; empty where nothing does.
    """

    group: str
    visits: int
    watched_s: float
    block: str = ""

    def __post_init__(self) -> None:
        """Refuse a sample that nobody can have taken."""
        named("group", self.group)
        at_least("visits", self.visits, 0.0, "visits")
        positive("watched_s", self.watched_s, "s")


@dataclass(frozen=True, slots=True)
class Fit:
    """Rates that were fitted, on the scale of logarithms.

    Attributes
    ----------
    family
        Which distribution.
    groups
        The groups in order of their names.
    log_rates, covariance
        Logarithm of each group's visits per hour in an average block, and their covariance.
    log_likelihood, parameters
        How likely the counts are under the fit, and how many numbers were fitted.
    dispersion
        Pearson's chi-square over its degrees of freedom [1]: above 1, visits come in bouts.
    deviance, null_deviance
        Of the Poisson fit, with the groups and without them.
    k
        Size of the negative binomial [1]; nothing for Poisson.
    """

    family: Family
    groups: tuple[str, ...]
    log_rates: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    log_likelihood: float
    parameters: int
    dispersion: float
    deviance: float
    null_deviance: float
    k: float | None = None

    @property
    def aic(self) -> float:
        """Akaike's criterion [1]: the lower of two fits is the better. Akaike 1974, IEEE Trans Autom Control 19."""
        return 2.0 * (self.parameters - self.log_likelihood)


def fit(samples: Sequence[Sample], family: Family | None = None) -> Fit:
    """Return the rates by Poisson, or by the negative binomial where its AIC is lower: where visits come in bouts.

    Parameters
    ----------
    samples : sequence of Sample
        Two groups or more, each and each block with a visit, and more samples than groups and blocks together.
    family : Family, optional
        The distribution, where it is not to be chosen.

    Raises
    ------
    ValueError
        If a group or a block has no visit, there are too few samples, or groups and blocks cannot be told apart.
    """
    table = _table(samples)
    poisson = _poisson(table)
    if family is Family.POISSON:
        return poisson
    bouts = _negative_binomial(table, poisson)
    return bouts if family or bouts.aic < poisson.aic else poisson


@dataclass(frozen=True, slots=True)
class _Table:
    groups: tuple[str, ...]
    design: Any
    visits: Any
    offset: Any


def _table(samples: Sequence[Sample]) -> _Table:
    np = import_module("numpy")
    groups = tuple(sorted({each.group for each in samples}))
    blocks = sorted({each.block for each in samples})
    _check_visits(groups, samples)
    design = np.array([_row(each, groups, blocks) for each in samples])
    _check_shape(design.shape, int(np.linalg.matrix_rank(design)))
    visits = np.array([each.visits for each in samples], dtype=float)
    return _Table(groups, design, visits, np.log([each.watched_s / S_PER_H for each in samples]))


def _row(sample: Sample, groups: Sequence[str], blocks: Sequence[str]) -> list[float]:
    """Return a line of the design: its group, and its block as a difference from the average block."""
    last = sample.block == blocks[-1]
    return [
        *(float(sample.group == group) for group in groups),
        *(-1.0 if last else float(sample.block == block) for block in blocks[:-1]),
    ]


def _check_visits(groups: Sequence[str], samples: Sequence[Sample]) -> None:
    if len(groups) <= 1:
        raise ValueError(f"samples must be of two groups or more, not {len(groups)}")
    visited = {name for each in samples if each.visits for name in _names(each)}
    if empty := sorted({name for each in samples for name in _names(each)} - visited):
        raise ValueError(f"samples of each group and block must hold a visit, but {', '.join(empty)} had none")


def _names(sample: Sample) -> tuple[str, str]:
    return f"group {sample.group}", f"block {sample.block}"


def _check_shape(shape: tuple[int, int], rank: int) -> None:
    samples, wanted = shape
    if samples <= wanted:
        raise ValueError(f"samples must be more than groups and blocks together, {wanted}, not {samples}")
    if rank < wanted:
        raise ValueError("samples must let groups and blocks be told apart: a block holds only one group throughout")


def _poisson(table: _Table) -> Fit:
    api = import_module("statsmodels.api")
    found = _glm(table, api.families.Poisson())
    return Fit(
        Family.POISSON,
        table.groups,
        *_of_groups(table, found),
        log_likelihood=float(found.llf),
        parameters=table.design.shape[1],
        dispersion=float(found.pearson_chi2 / found.df_resid),
        deviance=float(found.deviance),
        null_deviance=float(found.null_deviance),
    )


def _negative_binomial(table: _Table, poisson: Fit) -> Fit:
    """Fit the rates at the likeliest k, found by a search along it, as the two are nearly independent."""
    api, optimize = import_module("statsmodels.api"), import_module("scipy.optimize")

    def at(log_k: float) -> Any:
        return _glm(table, api.families.NegativeBinomial(alpha=math.exp(-log_k)))

    def unlikely(log_k: float) -> float:
        return -float(at(log_k).llf)

    best = optimize.minimize_scalar(unlikely, bounds=LOG_K, method="bounded")
    found = at(best.x)
    log_rates, covariance = _of_groups(table, found)
    return replace(
        poisson,
        family=Family.NEGATIVE_BINOMIAL,
        log_rates=log_rates,
        covariance=covariance,
        log_likelihood=float(found.llf),
        parameters=poisson.parameters + 1,
        k=math.exp(best.x),
    )


def _glm(table: _Table, family: Any) -> Any:
    api, errors = import_module("statsmodels.api"), import_module("statsmodels.tools.sm_exceptions")
    with warnings.catch_warnings():
        # Every group and block has a visit, so what looks like separation is a fit without any rest.
        warnings.simplefilter("ignore", errors.PerfectSeparationWarning)
        return api.GLM(table.visits, table.design, family=family, offset=table.offset).fit(tol=TOLERANCE)


def _of_groups(table: _Table, found: Any) -> tuple[tuple[float, ...], tuple[tuple[float, ...], ...]]:
    n, covariance = len(table.groups), found.cov_params()
    return tuple(map(float, found.params[:n])), tuple(tuple(map(float, row[:n])) for row in covariance[:n])
