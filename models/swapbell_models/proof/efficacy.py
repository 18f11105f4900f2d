"""By how much a bait lowered the traffic: five formulas, each for its own kind of data.

Every result is a fraction: 0.9 is a fall by 90 %. Negative values are kept, for a rise is a finding. Where a formula
divides by nothing, the result says which count is missing, and is never 0 or 1.

Quiet is not dead: all of them measure traffic at the bait, not the life of a nest.
"""

from dataclasses import dataclass
from enum import Enum

from swapbell_models.quantity import at_least, at_most


class Undefined(Enum):
    """Why a fall cannot be computed."""

    TREATED_BEFORE = "no visits to the treated stations before"
    CONTROL_BEFORE = "no visits to the control stations before"
    CONTROL_AFTER = "no visits to the control stations after"
    CONTROL_DEAD = "all of the control died"


@dataclass(frozen=True, slots=True)
class Efficacy:
    """A fall by a formula, or the reason why there is none.

    Attributes
    ----------
    fraction
        The fall [1]: 1 is all, 0 is none, negative is a rise. Nothing where it cannot be computed.
    undefined
        Why it cannot be computed; nothing where it can.
    """

    fraction: float | None = None
    undefined: Undefined | None = None

    def __str__(self) -> str:
        """Say the fall in percent, or why there is none."""
        if self.fraction is None:
            return f"cannot be computed: {self.undefined.value if self.undefined else 'no data'}"
        return f"{self.fraction:.1%}"


def raw(treated_before: float, treated_after: float) -> Efficacy:
    """Return 1 - Ta/Tb: what a person sees who has no control; weather and autumn are in it.

    Parameters
    ----------
    treated_before, treated_after : float
        Visits in the same watched time, or mean visits [visits], 0 or more.

    Raises
    ------
    ValueError
        If a count is negative or not a finite number.
    """
    before = at_least("treated_before", treated_before, 0.0, "visits")
    after = at_least("treated_after", treated_after, 0.0, "visits")
    return Efficacy(1.0 - after / before) if before else Efficacy(undefined=Undefined.TREATED_BEFORE)


def abbott(control_after: float, treated_after: float) -> Efficacy:
    """Return 1 - Ta/Ca: for counts after only, of plots that were alike before. Abbott 1925, J Econ Entomol 18.

    Parameters
    ----------
    control_after, treated_after : float
        Visits, or survivors, in the same watched time [visits], 0 or more.

    Raises
    ------
    ValueError
        If a count is negative or not a finite number.
    """
    control = at_least("control_after", control_after, 0.0, "visits")
    treated = at_least("treated_after", treated_after, 0.0, "visits")
    return Efficacy(1.0 - treated / control) if control else Efficacy(undefined=Undefined.CONTROL_AFTER)


def henderson_tilton(
    treated_before: float, treated_after: float, control_before: float, control_after: float
) -> Efficacy:
    """Return 1 - (Ta Cb)/(Tb Ca): for plots that differed before. Henderson and Tilton 1955, J Econ Entomol 48.

    Parameters
    ----------
    treated_before, treated_after, control_before, control_after : float
        Visits, or mean visits; the same watched time for treated and control [visits], 0 or more.

    Raises
    ------
    ValueError
        If a count is negative or not a finite number.
    """
    fall = raw(treated_before, treated_after)
    before = at_least("control_before", control_before, 0.0, "visits")
    after = at_least("control_after", control_after, 0.0, "visits")
    if fall.fraction is None:
        return fall
    if not (before and after):
        return Efficacy(undefined=Undefined.CONTROL_AFTER if before else Undefined.CONTROL_BEFORE)
    return Efficacy(1.0 - (1.0 - fall.fraction) * before / after)


def schneider_orelli(treated_dead: float, control_dead: float) -> Efficacy:
    """Return (mT - mC)/(1 - mC): for the dead in treated and control. Schneider-Orelli 1947.

    Parameters
    ----------
    treated_dead, control_dead : float
        Fraction dead, or by which the traffic fell [1], at most 1; negative where it rose.

    Raises
    ------
    ValueError
        If a fraction is above 1 or not a finite number.
    """
    treated, control = at_most("treated_dead", treated_dead, 1.0), at_most("control_dead", control_dead, 1.0)
    if control == 1.0:
        return Efficacy(undefined=Undefined.CONTROL_DEAD)
    return Efficacy((treated - control) / (1.0 - control))


def sun_shepard(treated_dead: float, control_change: float) -> Efficacy:
    """Return (mT + g)/(1 + g): for the dead in treated and the change in control. Sun and Shepard 1947.

    Parameters
    ----------
    treated_dead : float
        Fraction dead, or by which the traffic fell [1], at most 1; negative where it rose.
    control_change : float
        Change of the control, Ca/Cb - 1 [1], -1 or more.

    Raises
    ------
    ValueError
        If a fraction is out of its range or not a finite number.
    """
    treated, change = at_most("treated_dead", treated_dead, 1.0), at_least("control_change", control_change, -1.0)
    if change == -1.0:
        return Efficacy(undefined=Undefined.CONTROL_AFTER)
    return Efficacy((treated + change) / (1.0 + change))
