"""Size classes by body length; `visitors` tells who they are, with sources, and whom length cannot tell apart."""

from enum import Enum

# Our choice: the middle between the longest house fly (8, general web pages) and the shortest worker (10, Museums
# Victoria).
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
