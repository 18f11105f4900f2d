"""Whether a frame shows anything new at all: a few rows of it tell, without copying and before any other work."""

import cv2
import numpy as np
from numpy.typing import NDArray

from swapbell_device.camera import Luma

# Our choice: rows this far apart cannot miss a walking ant for long (about 1 mm wide, and it walks on).
ROWS_MM = 1.4
# Our choice: 4.5 standard deviations and a little; of 40 000 pixels less than one is noise then.
SIGMAS, OFFSET = 4.5, 3.0
# The standard deviation of normal noise is 1.2533 times its mean absolute deviation.
SIGMA_PER_MEAN = 1.2533
# Our choice: this many pixels in the rows are more than chance.
PIXELS = 5
# Our choice: how fast rows and noise follow.
SHARE = 0.2


class Idle:
    """Remembers some rows of the empty view.

    Parameters
    ----------
    view : Luma
        The worked-on part of a frame at full size.
    mm_per_px : float
        Its scale [mm/px].
    """

    def __init__(self, view: Luma, mm_per_px: float) -> None:
        step = max(1, min(8, round(ROWS_MM / mm_per_px)))
        self._rows = slice(step // 2, None, step)
        self._level: NDArray[np.float32] = view[self._rows].astype(np.float32)
        self._shown: Luma = view[self._rows].copy()
        self._off: Luma = np.empty_like(self._shown)
        self._mean = 1.6

    def holds(self, view: Luma) -> bool:
        """Tell whether the view is still the empty one."""
        cv2.absdiff(view[self._rows], self._shown, self._off)
        bar = SIGMAS * SIGMA_PER_MEAN * self._mean + OFFSET
        cv2.threshold(self._off, bar, 255, cv2.THRESH_BINARY, self._off)
        return cv2.countNonZero(self._off) < PIXELS

    def learn(self, view: Luma) -> None:
        """Take a frame in which nothing was found."""
        rows = view[self._rows]
        cv2.absdiff(rows, self._shown, self._off)
        self._mean += SHARE * (cv2.mean(self._off)[0] - self._mean)
        cv2.accumulateWeighted(rows, self._level, SHARE)
        cv2.convertScaleAbs(self._level, self._shown)
