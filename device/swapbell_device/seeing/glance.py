"""A glance: whether a frame shows anything new, before any other work; some rows of it tell, without copying."""

from collections.abc import Sequence

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
# Our choice: a usual camera's mean absolute deviation, until it is known [grey levels].
MEAN_BEGUN = 1.6
# Our choice: in noise that hides what differs by this much a glance tells nothing [grey levels].
BAR_MAX = 30.0
# Our choice: this many pixels in the rows are more than chance.
PIXELS = 5
# Our choice: how fast rows and noise follow.
SHARE = 0.3
# Our choice: what is known may move this far before it is new.
MOVED_MM = 4.0


class Glance:
    """Remembers some rows of the view, and where in them something is known already.

    Parameters
    ----------
    views : sequence of Luma
        The worked-on part of some frames at full size; they may hold bodies that move.
    mm_per_px : float
        Its scale [mm/px].
    """

    def __init__(self, views: Sequence[Luma], mm_per_px: float) -> None:
        step = max(1, min(8, round(ROWS_MM / mm_per_px)))
        self._rows = slice(step // 2, None, step)
        ranked = np.sort(np.stack([view[self._rows] for view in views]), axis=0)
        self._shown: Luma = ranked[len(views) // 2]
        self._level: NDArray[np.float32] = self._shown.astype(np.float32)
        self._off: Luma = np.empty_like(self._shown)
        self._mm_per_px = mm_per_px
        self._kernel: NDArray[np.uint8] | None = None
        self._lines: NDArray[np.intp] | None = None
        self._elsewhere: Luma | None = None
        self._mean = MEAN_BEGUN
        self._bar = SIGMAS * SIGMA_PER_MEAN * MEAN_BEGUN + OFFSET

    def shows_nothing_new(self, view: Luma) -> bool:
        """Tell whether a frame shows what is known, and else the empty view."""
        if self._bar > BAR_MAX:
            return False
        cv2.absdiff(view[self._rows], self._shown, self._off)
        cv2.threshold(self._off, self._bar, 255, cv2.THRESH_BINARY, self._off)
        if self._elsewhere is not None:
            cv2.bitwise_and(self._off, self._elsewhere, self._off)
        return cv2.countNonZero(self._off) < PIXELS

    def know(self, mask: Luma, view: Luma) -> None:
        """Take what a mask of a frame shows as known, and the rest of the frame as the empty view."""
        self._elsewhere = self._beside(mask) if cv2.countNonZero(mask) else None
        if not self.shows_nothing_new(view):
            np.copyto(self._level, view[self._rows], where=self._off > 0)
            cv2.convertScaleAbs(self._level, self._shown)

    def learn(self, view: Luma) -> None:
        """Move towards a frame wherever nothing is known."""
        rows = view[self._rows]
        cv2.absdiff(rows, self._shown, self._off)
        self._mean += SHARE * (cv2.mean(self._off, self._elsewhere)[0] - self._mean)
        self._bar = SIGMAS * SIGMA_PER_MEAN * self._mean + OFFSET
        cv2.accumulateWeighted(rows, self._level, SHARE, mask=self._elsewhere)
        cv2.convertScaleAbs(self._level, self._shown)

    def _beside(self, mask: Luma) -> Luma:
        """Return where in the rows nothing is known: a mask's rows, each pixel as wide as it is in the view."""
        lines, width = self._shown.shape
        times = width // mask.shape[1]
        if self._kernel is None or self._lines is None:
            reach = 1 + 2 * max(1, round(MOVED_MM / self._mm_per_px / times))
            self._kernel = np.ones((reach, reach), np.uint8)
            self._lines = np.asarray([line * len(mask) // lines for line in range(lines)], np.intp)
        beside = np.asarray(cv2.bitwise_not(cv2.dilate(mask, self._kernel)), np.uint8)
        return _widened(beside[self._lines], times)


def _widened(mask: NDArray[np.uint8], times: int) -> Luma:
    """Repeat each pixel of a mask; 255 is -1, which fills a wider integer with the same bits."""
    wide = min(times, 8)
    bits = mask.view(np.int8).astype(f"i{wide}").view(np.uint8)
    return bits if times == wide else np.repeat(bits, times // wide, axis=1)
