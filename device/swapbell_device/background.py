"""What the view looks like without bodies: its level, its light and its noise, pixel by pixel."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from swapbell_device.camera import Luma

if TYPE_CHECKING:
    from cv2.typing import MatLike

Plane = NDArray[np.float32]

# Our choice: 4.5 standard deviations leave less than one noisy pixel in a frame of 320 x 240 (normal noise).
BAR_SIGMAS = 4.5
# Our choice: below this a difference is rounding and compression, whatever the noise seems to be [grey levels].
BAR_MIN = 7.0
# The standard deviation of normal noise is 1.2533 times its mean absolute deviation, 1.4826 times the median's.
SIGMA_PER_MEAN = 1.2533
SIGMA_PER_MEDIAN = 1.4826
# Our choice: with fewer frames the noise cannot be told yet, and this is a usual camera's [grey levels].
OPENING_MIN = 5
SIGMA_DEFAULT = 2.0
# Our choice: slow enough to leave a passing body out, fast enough for the sun.
LEVEL_S = 6.0
SPREAD_S = 10.0
# Our choice: light is compared in cells this many halvings coarse, with the median of 5 x 5: larger than bodies.
CELL_HALVINGS = 4
CELLS_MIN = 3
# Our choice: dark pixels carry more offset than gain; this keeps their ratio calm [grey levels].
LIGHT_OFFSET = 8.0
# Our choice: a smaller change of light is within the rounding.
LIGHT_STEP = 0.01


class Background:
    """Learns from an opening of frames, then follows slowly.

    Attributes
    ----------
    shown
        The level in today's light, as the camera would show it.
    bar
        What a pixel must differ by to be more than noise.
    """

    def __init__(self, opening: Sequence[Luma]) -> None:
        stack = np.stack(opening)
        middle = np.median(stack, axis=0).astype(np.float32)
        self._level: Plane = middle
        self._cells = _cells(middle)
        self._light: Plane = np.ones_like(self._cells)
        self._spread: Plane = _spread(stack, middle)
        self.shown: Luma = _rounded(middle)
        self.bar: Luma = np.zeros_like(self.shown)
        self.raise_bar(BAR_MIN)

    def relight(self, work: Luma) -> None:
        """Follow the light of a frame: clouds, sun and soft shadows, not bodies."""
        ratio = (_cells(work) + LIGHT_OFFSET) / (self._cells + LIGHT_OFFSET)
        light = ratio.astype(np.float32)
        if min(light.shape) >= CELLS_MIN:
            light = np.asarray(cv2.medianBlur(light, 5), np.float32)
        if float(np.abs(light - self._light).max()) > LIGHT_STEP:
            self._light = light
            self._show()

    def renew(self, work: Luma, bodies: Luma, step_s: float) -> None:
        """Move towards a frame wherever there are no bodies (a mask)."""
        free = cv2.bitwise_not(cv2.dilate(bodies, np.ones((5, 5), np.uint8)))
        cv2.accumulateWeighted(self._unlit(work), self._level, 1.0 - math.exp(-step_s / LEVEL_S), mask=free)
        off = cv2.absdiff(work, self.shown)
        cv2.accumulateWeighted(off, self._spread, 1.0 - math.exp(-step_s / SPREAD_S), mask=free)
        self._cells = _cells(self._level)
        self._show()

    def mend(self, work: Luma, where: NDArray[np.bool_]) -> None:
        """Take a part of the frame as it is: there was a ghost."""
        np.copyto(self._level, self._unlit(work), where=where)
        self._cells = _cells(self._level)
        self._show()

    def raise_bar(self, least: float) -> None:
        """Set the bar anew; nothing weaker than `least` is worth seeing [grey levels]."""
        self.bar = _rounded(np.maximum(max(BAR_MIN, least), BAR_SIGMAS * SIGMA_PER_MEAN * self._spread))

    def _unlit(self, work: Luma) -> Plane:
        return (work.astype(np.float32) + LIGHT_OFFSET) / self._wide_light() - LIGHT_OFFSET

    def _wide_light(self) -> Plane:
        height, width = self._level.shape
        return np.asarray(cv2.resize(self._light, (width, height), interpolation=cv2.INTER_LINEAR), np.float32)

    def _show(self) -> None:
        self.shown = _rounded((self._level + LIGHT_OFFSET) * self._wide_light() - LIGHT_OFFSET)


def _spread(stack: NDArray[np.uint8], middle: Plane) -> Plane:
    if len(stack) < OPENING_MIN:
        return np.full_like(middle, SIGMA_DEFAULT / SIGMA_PER_MEAN)
    off = np.median(np.abs(stack - middle), axis=0).astype(np.float32)
    return np.asarray(cv2.blur(off, (5, 5)), np.float32) * np.float32(SIGMA_PER_MEDIAN / SIGMA_PER_MEAN)


def _rounded(plane: Plane) -> Luma:
    return np.clip(np.rint(plane), 0, 255).astype(np.uint8)


def _cells(image: "MatLike") -> Plane:
    cells = image
    for _ in range(CELL_HALVINGS):
        if min(cells.shape) <= CELLS_MIN:
            break
        cells = cv2.resize(cells, (cells.shape[1] // 2, cells.shape[0] // 2), interpolation=cv2.INTER_AREA)
    return cells.astype(np.float32)
