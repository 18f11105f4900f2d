"""How sharply a counter sees, in words: by how many of the view's edges lie side by side across a worker's body."""

from enum import Enum

from swapbell_models import quantity

# The width of a worker's body, about a third of its length (the plan of the exposure takes 4 mm).
WORKER_WIDTH_MM = 4.0
# Our choice: an edge as wide as a third of a body's width still tells two legs from a body.
SHARP_MIN = 3.0
# Drawn walkers on two boards that were put out of focus step by step: all found at 1.5 and at 1.1, half of those of
# the first at 0.96, one in twelve at 0.7.
BLURRED_BELOW = 1.0


class Focus(Enum):
    """What an edge in the view looks like."""

    SHARP = "sharp"
    SOFT = "a little out of focus"
    BLURRED = "out of focus"


def focus(sharpness: float) -> Focus:
    """Return what a sharpness means.

    Parameters
    ----------
    sharpness : float
        How many edges lie side by side across a worker's body [1], above 0; see `swapbell_device.sharpness`.

    Raises
    ------
    ValueError
        If it is not above 0.
    """
    quantity.positive("sharpness", sharpness)
    if sharpness < BLURRED_BELOW:
        return Focus.BLURRED
    return Focus.SHARP if sharpness >= SHARP_MIN else Focus.SOFT


def focus_words(sharpness: float) -> str:
    """Return a sharpness in words and millimetres.

    Parameters
    ----------
    sharpness : float
        As for `focus`.

    Raises
    ------
    ValueError
        If it is not above 0.
    """
    return f"{focus(sharpness).value}: an edge is {WORKER_WIDTH_MM / sharpness:.1f} mm wide"
