"""How traffic grows from day to day: the shapes, and a weighted set of possible growths.

The shapes are those that Lozada et al. 2016 (PLoS ONE 11:e0152080) saw for arrivals at protein bait; time runs in
foraging hours.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np

from swapbell_models.forecasting.foraging import Array


class Growth(Enum):
    """How traffic changes with foraging hours."""

    NONE = "none"
    LINEAR = "linear"
    EXPONENTIAL = "exponential"


@dataclass(frozen=True, slots=True)
class Branch:
    """All possible growths of one shape.

    Attributes
    ----------
    growth
        The shape.
    bend
        One number for each: the share that was there at the beginning (linear), or how many e-folds (exponential).
    level
        Possible levels for each bend [visits per h in the busiest part of the day, at the end of the watch].
    weight
        How likely each is; all branches together have 1.
    """

    growth: Growth
    bend: Array
    level: Array
    weight: Array

    def relative(self, position: Array) -> Array:
        """Return the traffic at some positions as a share of that at the end of the watch, a row for each bend."""
        return relative(self.growth, self.bend, position)


def relative(growth: Growth, bend: Array, position: Array) -> Array:
    """Return the traffic at positions of the watch as a share of that at its end, a row for each bend."""
    match growth:
        case Growth.NONE:
            return np.ones((len(bend), len(position)))
        case Growth.LINEAR:
            return bend[:, None] + (1.0 - bend[:, None]) * position
        case Growth.EXPONENTIAL:
            return np.exp(bend[:, None] * (position - 1.0))


@dataclass(frozen=True, slots=True)
class Belief:
    """What counts say of level and growth.

    Attributes
    ----------
    branches
        The possible growths of each shape.
    scatter
        Variance within a day beyond Poisson's, as 1/k of the negative binomial [1]; 0 for Poisson.
    """

    branches: tuple[Branch, ...]
    scatter: float

    @property
    def shares(self) -> Mapping[Growth, float]:
        """How likely each shape is, between 0 and 1."""
        return {branch.growth: float(branch.weight.sum()) for branch in self.branches}

    def first(self, position: Array, activity: Array, need_per_h: float) -> Array:
        """Return how likely it is that a rate is first reached at each of some moments; last, that at none of them.

        Parameters
        ----------
        position, activity : array
            The moments in time order, on the clock of the watch, and how busy that part of the day is.
        need_per_h : float
            The rate [visits per h].
        """
        found = np.zeros(len(position) + 1)
        for branch in self.branches:
            rising = np.maximum.accumulate(branch.relative(position) * activity, axis=1)
            for k in range(len(branch.bend)):
                steps = rising[k].searchsorted(need_per_h / branch.level[k])
                found += np.bincount(steps, branch.weight[k], len(found))
        return found

    def limits(self, position: Array, shares: tuple[float, ...]) -> Array:
        """Return quantiles of the traffic in the busiest part of the day [visits per h], a row for each moment."""
        rates = [branch.relative(position).T[:, :, None] * branch.level for branch in self.branches]
        flat = np.concatenate([rate.reshape(len(position), -1) for rate in rates], axis=1)
        weight = np.concatenate([branch.weight.ravel() for branch in self.branches])
        order = np.argsort(flat, axis=1)
        risen = np.cumsum(weight[order], axis=1)
        at = np.column_stack([np.argmax(risen >= share, axis=1) for share in shares])
        return np.take_along_axis(np.take_along_axis(flat, order, axis=1), at, axis=1)
