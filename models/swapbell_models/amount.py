"""A number with its unit as a person types it: the unit is always said, and decimals have a point.

"1,000" means two things, and a bare number means whatever its reader expects; both are refused.
"""

import math
import re
from collections.abc import Mapping

from swapbell_models.quantity import at_least, at_most

# By definition.
MASS_G = {"g": 1.0, "kg": 1000.0}
VOLUME_UL = {"uL": 1.0, "mL": 1000.0}
LENGTH_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0}
SPEED_MM_PER_S = {"mm/s": 1.0, "cm/s": 10.0, "m/s": 1000.0}
TIME_S = {"us": 1e-6, "ms": 1e-3, "s": 1.0}

# Our choice: far more stations than one round serves.
PORTIONS_MAX = 1000
# Our choice: a tonne, far more bait than one round carries.
ROUND_MAX_KG = 1000.0

_AMOUNT = re.compile(r"(\d+(?:\.\d+)?)\s*(.*)")
_TIMES = re.compile(r"(\d{1,9})\s*[x\N{MULTIPLICATION SIGN}*]\s*(\S.*)")


def amount(name: str, text: str, units: Mapping[str, float], also: str = "", *, may_be_zero: bool = False) -> float:
    """Read a number with its unit.

    Parameters
    ----------
    name : str
        What it is, for a refusal.
    text : str
        As typed: "0.5 kg", "500g", with a point before decimals; capitals do not matter.
    units : mapping
        The units that are understood, each with its factor.
    also : str
        What else the caller understands, for a refusal.
    may_be_zero : bool
        Whether nothing is an amount as well.

    Returns
    -------
    float
        The number times the factor of its unit.

    Raises
    ------
    ValueError
        If the unit is missing or unknown or the number is none, or zero where it may not be.
    """
    found = _AMOUNT.fullmatch(text.strip())
    factors = {unit.lower(): factor for unit, factor in units.items()}
    unit = " ".join(found[2].split()).replace("\N{MICRO SIGN}", "u") if found else ""
    choice, bound = ", ".join(units) + also, "from 0 up" if may_be_zero else "above 0"
    if found and not unit:
        raise ValueError(f"{name} {text!r} has no unit: say {choice}")
    if not found or unit.lower() not in factors or not (may_be_zero or float(found[1])):
        raise ValueError(f"{name} must be a number {bound}, with a point for decimals, in {choice}, not {text!r}")
    return at_least(name, float(found[1]), 0.0, unit) * factors[unit.lower()]


def masses(name: str, text: str) -> tuple[float, ...]:
    """Read the masses of portions [g].

    Parameters
    ----------
    name : str
        What they are, for a refusal.
    text : str
        "85 g", "10 x 85 g", or several of these with a plus between: "10 x 85 g + 200 g".

    Raises
    ------
    ValueError
        If one of them is no mass, or they are more than 1000 or a tonne together.
    """
    told = [_counted(part) for part in text.split("+")]
    counts = [count for count, _ in told]
    if 0 in counts or sum(counts) > PORTIONS_MAX:
        raise ValueError(f"{name} must hold 1 to {PORTIONS_MAX} portions, not {text!r}")
    found = tuple(mass for count, each in told for mass in [amount(name, each, MASS_G)] * count)
    at_most(f"{name} in all", math.fsum(found) / MASS_G["kg"], ROUND_MAX_KG, "kg")
    return found


def _counted(part: str) -> tuple[int, str]:
    times = _TIMES.fullmatch(part.strip())
    return (int(times[1]), times[2]) if times else (1, part)
