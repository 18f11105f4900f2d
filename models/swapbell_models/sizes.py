"""Size classes by body length, and what length cannot tell.

Body lengths of visitors [mm]: *Vespula germanica* worker 10-15 (Museums Victoria), *V. vulgaris* worker 11-14,
queens and males of both to 20 (Museums Victoria), *Vespa crabro* worker about 25 (general web page), house fly 5-8
(general web pages), blowflies 5-15 (British Calliphoridae).
Worker wasps, honey bees, hoverflies and blowflies overlap: length alone never tells a wasp from a honey bee.
"""

from enum import Enum

# Our choice: the middle of the gap between the longest house fly (8) and the shortest worker (10).
WASP_MIN_MM = 9.0
# Queens and males of both species reach 20 (Museums Victoria); a hornet worker is about 25.
WASP_MAX_MM = 20.0

CAUTION = "Length alone cannot tell a wasp from a honey bee, a hoverfly or a large blowfly."


class SizeClass(Enum):
    """A body's class by its length alone."""

    SMALL = "small"
    WASP = "wasp"
    LARGE = "large"


def size_class(length_mm: float) -> SizeClass:
    """Return the class of a body.

    Parameters
    ----------
    length_mm : float
        Body length without legs and antennae [mm], greater than 0.

    Raises
    ------
    ValueError
        If the length is not a positive number.
    """
    if not 0.0 < length_mm < float("inf"):
        raise ValueError(f"length_mm must be a positive number of millimetres, not {length_mm}")
    if length_mm < WASP_MIN_MM:
        return SizeClass.SMALL
    return SizeClass.WASP if length_mm <= WASP_MAX_MM else SizeClass.LARGE
