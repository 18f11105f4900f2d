"""What happens between the board and the sensor: a camera that shakes, a lens out of focus or with dew on it."""

import math
from dataclasses import dataclass

import cv2
import numpy as np

from swapbell_device.drawing.sprite import Picture


@dataclass(frozen=True, slots=True)
class Shake:
    """A camera that wind moves: swings of up to `reach_px` at a few hertz, with gusts.

    Attributes
    ----------
    reach_px
        Largest shift along the image's axes [px].
    rate_per_s
        Main frequency of the swing [1/s].
    phase_rad
        Where it begins.
    """

    reach_px: float
    rate_per_s: float
    phase_rad: float

    def __call__(self, light: Picture, at_s: float) -> Picture:
        """Return the image, shifted."""
        x, y = self.shift_px(at_s)
        matrix = np.array(((1.0, 0.0, x), (0.0, 1.0, y)))
        size = (light.shape[1], light.shape[0])
        return np.asarray(
            cv2.warpAffine(light, matrix, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32
        )

    def shift_px(self, at_s: float) -> tuple[float, float]:
        """Return the shift at a moment [px], no larger than `reach_px` either way."""
        turn = 2.0 * math.pi * self.rate_per_s * at_s + self.phase_rad
        gust = self.reach_px * (0.6 + 0.4 * math.sin(0.17 * turn))
        x = 0.6 * math.sin(turn) + 0.25 * math.sin(2.3 * turn + 1.0) + 0.15 * math.sin(5.1 * turn)
        y = 0.55 * math.sin(0.8 * turn + 2.0) + 0.3 * math.sin(1.9 * turn) + 0.15 * math.sin(4.3 * turn + 0.5)
        return gust * x, gust * y


@dataclass(frozen=True, slots=True)
class Dew:
    """A lens out of focus or with dew on it.

    Attributes
    ----------
    blur_px
        Standard deviation of the blur at its worst [px]; it comes and goes a little.
    veil
        Stray light as a part of all light.
    """

    blur_px: float
    veil: float

    def __call__(self, light: Picture, at_s: float) -> Picture:
        """Return the image as the lens passes it."""
        blurred = np.asarray(
            cv2.GaussianBlur(light, (0, 0), self.blur_px * (0.85 + 0.15 * math.sin(0.2 * at_s))), np.float32
        )
        blurred *= 1.0 - self.veil
        blurred += self.veil * float(np.mean(light))
        return blurred
